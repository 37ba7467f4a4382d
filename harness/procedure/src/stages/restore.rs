//! Outputs given back only over clear air, then the zone restored and the release circuit unlocked.
use super::{by_eye, held, isolate::NONE, purge};
use crate::{
    answers::{one_of, said},
    context::{Context, Stop},
    effect::Entry,
    executor::race,
    facts::{missed, restore as fact},
    judge::{inhibit::Followed, log as judge_log, restore as judge, states, unit as judge_unit},
    outcome::{StageKind, Statement, Subject},
    plan::Untold,
    prompt::Act,
    rise::Rise,
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use plumeline_base::input::Answer;
use plumeline_base::time::seconds;
use plumeline_detector::{ask, ask::Look, driver::Wants, vocabulary::EventKind};

pub(crate) async fn restore(ctx: Context) -> Result<(), Stop> {
    held::unchanged(&ctx, StageKind::Restore).await;
    lapses(&ctx).await;
    if ctx.get().inhibit.on {
        give_back(&ctx).await;
    } else if ctx.get().inhibit.given_back {
        ctx.found(judge::given_back(Ok(())));
    } else if ctx.get().outcome.replacement.is_some() && ctx.abilities().is_some_and(|a| a.inhibit) {
        // A lease that lapsed and was not regained: nobody saw the outputs given back over clear air.
        ctx.found(judge::of_unit(fact::not_inhibited()));
    } else if ctx.get().outcome.replacement.is_some() && ctx.get().lines.used().link.up {
        // Nothing to give back: in which state it is left counts all the same.
        look_at_the_air(&ctx).await;
        left(&ctx).await;
    }
    log(&ctx).await;
    untold(&ctx);
    if ctx.get().site.isolated_at.is_some() {
        zone(&ctx).await;
    } else {
        ctx.found(judge::of_zone(fact::never_isolated()));
    }
    Ok(())
}

/// An inhibit that lapsed and was regained: what the outputs did meanwhile only the panel can tell.
async fn lapses(ctx: &Context) {
    let lapses = ctx.get().inhibit.lapses.clone();
    let (Some(why), n) = (lapses.first(), lapses.len()) else { return };
    let text = format!(
        "The inhibit of the unit's outputs did not hold all the time ({n} times; first: {why}). Did the panel stay isolated, and does it \
         show that nothing was operated meanwhile?"
    );
    let nothing = ctx.ask(Act::NothingOperated, text, Wants::YesNo).await.1 == Answer::Yes;
    judge::lapses(&lapses, nothing).into_iter().for_each(|f| ctx.found(f));
}

/// What the unit has no way to show, by name.
fn untold(ctx: &Context) {
    let Some(abilities) = ctx.abilities().filter(|_| ctx.get().outcome.replacement.is_some()) else { return };
    let without = ctx.inputs().plan.not_shown.clone();
    judge_unit::untold(StageKind::Restore, &abilities, &without).into_iter().for_each(|f| ctx.found(f));
    // What an instrument is worth, no unit would show: that is found where it is used.
    let names: Vec<&str> = without.iter().filter(|w| **w != Untold::Calibration).map(|what| what.name()).collect();
    if !names.is_empty() {
        let stated = Statement::of(Subject::Replacement, missed::not_told(names.join(", ")));
        ctx.edit().outcome.could_have_missed.push(stated);
    }
}

/// The unit's own event log, where it keeps one: whoever comes later relies on it.
async fn log(ctx: &Context) {
    let reachable = ctx.get().outcome.replacement.is_some() && ctx.get().lines.used().link.up;
    let Some(abilities) = ctx.abilities().filter(|a| a.event_log && reachable) else { return };
    let done: Vec<EventKind> = {
        let s = ctx.get();
        let plan = &s.inputs.plan;
        let rose = s.record.alarms.values().any(|rise| !matches!(rise, Rise::NotReached | Rise::Never(_)));
        [
            (EventKind::Started, abilities.restart && plan.visit.is_none()),
            (EventKind::SettingsChanged, abilities.write_settings && s.unit.loaded.is_some() && plan.visit.is_none()),
            (EventKind::BaselineTaken, s.unit.baseline.is_some() && !plan.keeps_baseline()),
            (EventKind::LevelReached, rose),
        ]
        .into_iter()
        .filter_map(|(kind, done)| done.then_some(kind))
        .collect()
    };
    // Nothing was done that it would have to tell.
    if done.is_empty() {
        return;
    }
    let read = held::soon(ctx, ask::ReadEvents { from: 0 }).await.map_err(|trouble| trouble.to_string());
    ctx.found(judge_log::log(&done, read.as_deref().map_err(String::as_str)));
}

async fn give_back(ctx: &Context) {
    look_at_the_air(ctx).await;
    race(purge::smoke_left(ctx), ctx.stage_end()).await;
    // What the tests of supplies and supervision left latched is no finding; what comes back after this is.
    let _ = ctx.unit_once(ask::ResetLatches).await;
    let latest = if ctx.is_asked(Look::State) { by_eye::state(ctx, false).await } else { ctx.latest() };
    if let Some(kept) = judge::kept(latest.as_ref().and_then(|t| t.reading.levels_standing())) {
        ctx.found(kept);
    } else {
        // A renewal that is under way may now be refused: no sign that the inhibit lapsed.
        ctx.edit().inhibit.renewing = false;
        let released = ctx.unit(ask::ReleaseInhibit).await;
        {
            let mut s = ctx.edit();
            s.inhibit.renewing = true;
            s.inhibit.on &= released.is_err();
            s.inhibit.given_back |= released.is_ok();
        }
        ctx.found(judge::given_back(released.as_ref().map(|_| ())));
    }
    if ctx.get().inhibit.on {
        if let Some(t) = latest {
            ctx.found(judge::faults(t.reading.faults, ctx.verdict_of(StageKind::Baseline)));
        }
    } else {
        left(ctx).await;
    }
}

/// In which state the unit is left, by a reading of after its outputs were given back.
async fn left(ctx: &Context) {
    let left = if ctx.is_asked(Look::State) {
        by_eye::state(ctx, false).await
    } else {
        let shows = seconds(ctx.inputs().plan.advanced.purge.shows_s);
        let from = ctx.now() + shows;
        ctx.until_reading(shows * 3, |t| t.at > from).await
    };
    let reading = left.as_ref().map(|t| &t.reading);
    states::as_left(reading, ctx.replacement(Followed::of)).into_iter().for_each(|f| ctx.found(f));
    if let Some(reading) = reading {
        ctx.found(judge::faults(reading.faults, ctx.verdict_of(StageKind::Baseline)));
    }
}

/// A job that was told to stop before it wanted readings has none: they are started, so that the outputs can be given back
/// over air that is shown to be clear. A unit that can't be reached holds nobody up.
async fn look_at_the_air(ctx: &Context) {
    if ctx.get().stream.hz.is_some() || !ctx.get().lines.used().link.up {
        return;
    }
    let rules = &ctx.inputs().plan.advanced.purge.clone();
    let look = async {
        if ctx.start_readings().await.is_ok() {
            ctx.until_reading(seconds(rules.fresh_s), |_| true).await;
        }
    };
    race(look, ctx.sleep(seconds(rules.look_s))).await;
}

/// The panel and the release circuits, in the state that the job leaves. What holds the release back stays while the zone is
/// isolated.
async fn zone(ctx: &Context) {
    const RESTORED: &[(&str, &str)] = &[("restored", "the zone is restored at the panel")];
    const UNLOCKED: &[(&str, &str)] =
        &[("unlocked", "the release circuits are unlocked"), (NONE, "there is no release circuit")];
    let back_at = loop {
        // Where this is done again, what was put back already is not asked for.
        let mut asked = None;
        if ctx.get().site.zone_isolated {
            let (id, at, answer) = ctx.ask_after(None, Act::Restore, restore_text(ctx), one_of(RESTORED)).await;
            asked = Some(id);
            ctx.edit().site.zone_isolated = said(RESTORED, answer).is_err();
            if !ctx.get().site.zone_isolated && !ctx.get().site.locked_off {
                break Some(at);
            }
        }
        let still = (ctx.get().site.zone_isolated, ctx.get().site.locked_off);
        if still != (false, true) {
            break ctx.get().site.restored_at;
        }
        let (_, unlocked_at, answer) = ctx.ask_after(asked, Act::Unlock, unlock_text(ctx), one_of(UNLOCKED)).await;
        if let (Answer::Back, Some(id)) = (&answer, asked) {
            ctx.edit().site.zone_isolated = true;
            ctx.taken_back(id, Act::Restore);
            continue;
        }
        ctx.edit().site.locked_off = said(UNLOCKED, answer).is_err();
        break Some(unlocked_at);
    };
    let (is_restored, unlocked) = {
        let s = ctx.get();
        (!s.site.zone_isolated, !s.site.locked_off)
    };
    if let (Some(at), true) = (back_at, unlocked) {
        ctx.edit().site.restored_at = Some(at);
        let since = ctx.get().site.isolated_at;
        ctx.note(Entry::BackInService { after_s: since.map_or(0.0, |t| at.since(t).as_secs_f64()) });
    }
    judge::put_back(is_restored, unlocked).into_iter().for_each(|f| ctx.found(f));
}

fn restore_text(ctx: &Context) -> &'static str {
    if judge::all_proven(&ctx.get().outcome.findings) {
        "Restore the zone at the panel. Is it restored and healthy?"
    } else {
        "Not everything was proven. Whoever is responsible for the site decides whether the zone is restored in this state. Is it \
         restored?"
    }
}
fn unlock_text(ctx: &Context) -> &'static str {
    if judge::release_proven(&ctx.get().outcome) && !ctx.get().inhibit.on {
        "Unlock the release circuits, by a licensed person where the local code asks for one. Done, or is there none?"
    } else {
        "Unit or outputs were not proven: keep the release circuits locked off (type: no, NOT PROVEN), unless whoever is responsible for \
         the site decides otherwise and a licensed person unlocks them. Are they unlocked, or is there none?"
    }
}
