//! The alarm levels while smoke is at the unit: smoke is held until each level that it reaches has risen or failed to, and
//! what goes with the smoke is followed.
//!
//! Not here: what that shows ([`crate::judge::alarms`]).
use super::{by_eye, release::Gather};
use crate::{
    context::Context,
    facts::{alarms as fact, fixed, missed},
    judge::alarms::{self as judge, Goes, Level, Seen, Within},
    outcome::{Finding, StageKind, Statement, Subject},
    readings::Item,
    rise::{Leaving, Rise},
};
use alloc::{format, vec::Vec};
use plumeline_base::{Verdict, time::seconds};
use plumeline_detector::{ask::Look, bit};
use plumeline_unit::Known;

fn within(ctx: &Context) -> Within {
    let rules = &ctx.inputs().plan.advanced.alarms;
    Within {
        threshold: rules.threshold,
        time_s: rules.time_s,
        hysteresis: rules.hysteresis,
        follows_s: rules.follows_s,
    }
}

/// Every alarm level by the replacement's description and the settings read back.
pub(super) fn levels(ctx: &Context) -> Known<Vec<Level>> {
    ctx.replacement(|unit| {
        let level = |number| {
            let (lowest, highest) = unit.thresholds(number)?;
            Ok(Level {
                number,
                threshold: lowest.0,
                highest: highest.0,
                delay_s: unit.delay_s(number)?,
                latches: unit.latching(number)?,
            })
        };
        (1..=unit.levels()?).map(level).collect()
    })
}

/// Holds the smoke that is at the unit until its levels are shown, and keeps what they did.
pub(super) async fn watch(ctx: &Context, words: &str, gather: &mut Gather) {
    let Ok(levels) = levels(ctx) else { return };
    let within = within(ctx);
    let look = seconds(ctx.inputs().plan.advanced.alarms.look_s);
    let longest = levels.iter().map(|l| l.delay_s).fold(0.0, f64::max);
    let end = ctx.within(seconds(longest + 2.0 * within.time_s));
    while judge::still_open(&levels, gather.levels(), within) && !ctx.left(end).is_zero() && !gather.is_broken() {
        let says = format!("smoke is held at {words} until the alarm levels that it reaches have risen");
        ctx.progress(says, None, Some(ctx.left(end)));
        gather.until(ctx.within(look.min(ctx.left(end)))).await;
    }
    if gather.is_broken() {
        return;
    }
    let standing = gather.levels().first().map_or(0, |s: &Seen| s.reached);
    let mut s = ctx.edit();
    // What stood before the smoke came tells nothing of this smoke.
    for level in levels.iter().filter(|l| standing & bit(l.number) == 0) {
        let rise = judge::rise(level, gather.levels(), within);
        let so_far = s.record.alarms.entry(level.number).or_insert(Rise::NotReached);
        *so_far = so_far.and(rise);
    }
}

/// That level was told to act wrongly.
fn told_wrong(ctx: &Context, level: u8) -> bool {
    let of = |f: &Finding| f.stage == StageKind::ProveSmoke && f.subject == Subject::Level(level) && f.stands();
    ctx.get().outcome.findings.iter().any(|f| of(f) && f.verdict == Verdict::Fail)
}

/// What one level came to.
fn tell(ctx: &Context, level: &Level) {
    let rise = ctx.get().record.alarms.get(&level.number).copied().unwrap_or(Rise::NotReached);
    let left_out = ctx.inputs().plan.smoke.levels_not_shown.contains(&level.number);
    ctx.found(judge::risen(level, rise, left_out, within(ctx)));
}

/// Levels that have acted wrongly are told at once: no later release makes that good.
pub(super) fn wrong_so_far(ctx: &Context) {
    let wrong = |level: &Level| {
        let rise = ctx.get().record.alarms.get(&level.number).copied();
        matches!(rise, Some(Rise::Early(_) | Rise::Late(_) | Rise::Never(_))) && !told_wrong(ctx, level.number)
    };
    let levels = levels(ctx).unwrap_or_default();
    levels.iter().filter(|l| wrong(l)).for_each(|l| tell(ctx, l));
    // Between releases the smoke goes, and the levels with it.
    for level in levels.iter().filter(|l| !told_wrong(ctx, l.number)) {
        let leaving = ctx.get().record.leaving.get(&level.number).copied();
        if matches!(leaving, Some(Leaving::Above(_) | Leaving::Below(_))) {
            ctx.found(judge::gone(StageKind::ProveSmoke, level.number, leaving));
        }
    }
}

/// Once all smoke was released: what each level came to.
pub(super) fn conclude(ctx: &Context) {
    let stage = StageKind::ProveSmoke;
    let levels = match levels(ctx) {
        Ok(levels) => levels,
        Err(why) => {
            ctx.found(Finding::of(stage, Subject::Replacement, fact::unknown(why)));
            return;
        }
    };
    let stated = ctx.abilities().map(|a| a.alarm_levels);
    if let Some(stated) = stated.filter(|n| usize::from(*n) != levels.len()) {
        ctx.found(Finding::of(stage, Subject::Replacement, fact::other_number(stated, levels.len())));
    }
    if levels.is_empty() {
        ctx.found(Finding::of(stage, Subject::Replacement, fact::none()));
    }
    for level in levels.iter().filter(|l| !told_wrong(ctx, l.number)) {
        tell(ctx, level);
    }
    let rises: Vec<(Level, Rise)> = {
        let told = &ctx.get().record.alarms;
        levels.iter().filter_map(|l| told.get(&l.number).map(|rise| (*l, *rise))).collect()
    };
    judge::exchanged(&rises, within(ctx)).into_iter().for_each(|f| ctx.found(f));
}

/// Follows the levels that go with the smoke, for as long as the job runs.
pub(crate) async fn watch_leaving(ctx: Context) {
    let within = within(&ctx);
    let mut goes = Goes::default();
    let mut feed = ctx.feed();
    loop {
        let Item::Reading(t) = feed.next().await else {
            goes.gap();
            continue;
        };
        let Some((extinction, reached)) = t.highest_extinction().zip(t.reading.levels) else { continue };
        let levels = levels(&ctx).unwrap_or_default();
        let not_clear = ctx.inputs().plan.smoke.purge_below;
        if levels.iter().any(|l| extinction.0 >= not_clear * l.threshold) {
            ctx.edit().record.smoke_at = Some(t.at);
        }
        let seen = Seen { at: t.at, extinction: extinction.0, reached };
        for (number, leaving) in goes.take(seen, &levels, within) {
            let mut s = ctx.edit();
            let so_far = s.record.leaving.entry(number).or_insert(leaving);
            *so_far = so_far.and(leaving);
        }
    }
}

/// Once the air is clear and before latches are reset: what stayed and what went.
pub(super) async fn after_smoke(ctx: &Context) {
    // That the levels are not known is found where the smoke is concluded.
    let Ok(levels) = levels(ctx) else { return };
    let by_eye = ctx.is_asked(Look::State);
    let now = if by_eye { by_eye::state(ctx, false).await } else { ctx.latest() };
    let Some((active, latched)) = now.and_then(|t| t.reading.levels.zip(t.reading.latched)) else {
        let why = "no fresh reading that tells its levels came once the smoke was gone";
        ctx.found(Finding::of(StageKind::Purge, Subject::Replacement, fact::unknown(why)));
        return;
    };
    let risen = {
        let s = ctx.get();
        let rose = s.record.alarms.iter().filter(|(_, rise)| !matches!(rise, Rise::NotReached | Rise::Never(_)));
        rose.fold(0, |bits, (n, _)| bits | bit(*n))
    };
    // Where this is done again, latches were reset since: what is latched shows with smoke alone.
    let latched = {
        let mut s = ctx.edit();
        s.record.latched |= latched;
        s.record.latched
    };
    for finding in judge::after_smoke(&levels, risen, active, latched) {
        ctx.found(finding);
    }
    // A person saw that they came, not at which reading they went: the report states that of each.
    for level in levels.iter().filter(|l| !by_eye && risen & bit(l.number) != 0) {
        let leaving = ctx.get().record.leaving.get(&level.number).copied();
        ctx.found(judge::gone(StageKind::Purge, level.number, leaving));
        if let Some(Leaving::AtThreshold(least, most)) = leaving {
            let within = within(ctx);
            let (low, high) = judge::may_act_at((least, most), within);
            let [low, high] = [low, high].map(|share| fixed(share * 100.0, 0));
            let fact = missed::threshold(level.number, low, high, fixed(within.time_s, 0));
            ctx.edit().outcome.could_have_missed.push(Statement::of(Subject::Level(level.number), fact));
        }
    }
}
