//! Settings loaded for certain: sent whole or not at all, read back item by item, the clock set and checked, and all of it
//! read again after a restart. A change by anybody else is noticed by the unit's own revision and digest.
use super::unit;
use crate::{
    context::{Context, Stop},
    effect::{Entry, KeptSettings},
    executor::{Either, race},
    outcome::{Figure, Finding, StageKind, Subject},
    prompt::{Act, name_and_reason},
};
use alloc::{format, string::String};
use core::time::Duration;
use plumeline_base::{Verdict, input::Answer, time::seconds};
use plumeline_detector::{
    Abilities, Identity, Request, SettingsState, Told, Trouble,
    driver::Wants,
    settings::{Difference, Settings},
};

/// The unit's refusals that have a way out of their own (docs/wire-protocol.md): it still starts; its settings changed.
const STARTING: u16 = 9;
const CHANGED: u16 = 10;

/// Loads the settings into the unit on the wall.
pub(crate) async fn load(ctx: Context) -> Result<(), Stop> {
    let before = ctx.get().bench.clone().and_then(|(_, held)| held);
    if let Some(before) = before {
        let now = state(&ctx).await;
        if now.as_ref().is_some_and(|now| *now != before) {
            let says = "the unit no longer holds the settings that were loaded on the bench";
            let mut f = Finding::new(StageKind::Load, Subject::Replacement, Verdict::Undecided, says);
            f.likely = Some("somebody changed them at its keys, or it lost them when its power was off".into());
            f.next = Some("find out which; if the unit loses settings, do not put it into service".into());
            ctx.found(f);
        }
    }
    let held = load_settings(&ctx, StageKind::Load, true).await?;
    ctx.edit().loaded = held;
    Ok(())
}

/// The whole load, on the bench or on the wall; gives what the unit holds afterwards by its own account. Whatever starts
/// the unit anew meanwhile voids nothing: nothing was measured yet.
pub(super) async fn load_settings(
    ctx: &Context,
    stage: StageKind,
    mounted: bool,
) -> Result<Option<SettingsState>, Stop> {
    ctx.edit().start_expected = true;
    let end = whole(ctx, stage, mounted).await;
    {
        let mut s = ctx.edit();
        (s.start_expected, s.started_anew) = (false, false);
    }
    let lost = mounted && end.is_ok() && !ctx.get().inhibited;
    if let Some(abilities) = ctx.abilities().filter(|_| lost) {
        unit::inhibit(ctx, &abilities, Subject::Replacement).await?;
    }
    end
}

async fn whole(ctx: &Context, stage: StageKind, mounted: bool) -> Result<Option<SettingsState>, Stop> {
    let Some(wanted) = ctx.inputs().to_load.clone() else {
        let mut f = Finding::new(stage, Subject::Replacement, Verdict::Undecided, "there are no settings to load");
        f.next = Some(
            "put the settings for the replacement into the job folder as settings-new.json, then run the job again"
                .into(),
        );
        ctx.found(f);
        return Err(Stop::Found);
    };
    let Some(abilities) = ctx.abilities() else {
        return Err(Stop::Trouble(Trouble::CannotDo("the unit was not identified".into())));
    };
    if abilities.write_settings {
        write(ctx, stage, &wanted).await?;
    } else {
        ctx.remark("the unit takes no settings this way: they were set by hand and are only compared here");
    }
    let sent = state(ctx).await;
    let read = read_settings(ctx).await?;
    compare(ctx, stage, &wanted, &read, "sent and read back");
    let set = set_clock(ctx, stage, &abilities).await?;
    if !abilities.restart {
        ctx.found(Finding::new(
            stage,
            Subject::Replacement,
            Verdict::Undecided,
            "not shown that the settings survive a restart: the unit can't be restarted this way",
        ));
        return Ok(sent);
    }
    let identity = restart(ctx, stage, &abilities).await?;
    if mounted {
        ctx.edit().outcome.replacement = Some(identity.clone());
        unit::inhibit(ctx, &abilities, Subject::Replacement).await?;
    }
    let again = read_settings(ctx).await?;
    compare(ctx, stage, &wanted, &again, "still there after a restart");
    let held = state(ctx).await;
    if let (Some(sent), Some(held)) = (&sent, &held) {
        ctx.note(Entry::SettingsHeld { revision: held.revision, sha256: held.sha256.clone() });
        same(ctx, stage, sent, held);
    }
    if set {
        check_clock(ctx, stage).await?;
    }
    if mounted {
        unit::keep(ctx, KeptSettings::AsLeft, &again, &identity);
        ctx.edit().as_left = Some(again);
    }
    Ok(held)
}

/// Sends the settings until the unit holds them whole. A unit that loses power meanwhile holds what it held before.
async fn write(ctx: &Context, stage: StageKind, wanted: &Settings) -> Result<(), Stop> {
    let boot_id = |ctx: &Context| ctx.get().identity.as_ref().and_then(|i| i.boot_id);
    let began = boot_id(ctx);
    let mut last = Trouble::Silent;
    for _ in 0..ctx.inputs().plan.advanced.load.most_tries {
        let end = ctx.unit(Request::WriteSettings(wanted.clone())).await;
        match end {
            Ok(_) => {
                if boot_id(ctx) != began {
                    ctx.remark("the unit started anew while its settings were sent; the load was taken up again");
                    started(ctx).await?;
                }
                return Ok(());
            }
            Err(Trouble::Refused { code: STARTING, reason }) => {
                last = Trouble::Refused { code: STARTING, reason };
                started(ctx).await?;
            }
            Err(Trouble::Refused { code: CHANGED, reason }) => {
                last = Trouble::Refused { code: CHANGED, reason: reason.clone() };
                changed_meanwhile(ctx, stage, &reason).await?;
            }
            Err(trouble @ Trouble::Refused { .. }) => {
                let says = format!("the unit did not take the settings: {trouble}");
                let mut f = Finding::new(stage, Subject::Replacement, Verdict::Fail, says);
                f.next = Some(
                    "correct settings-new.json as the unit's reason says; the unit still holds what it held before"
                        .into(),
                );
                ctx.found(f);
                return Err(Stop::Found);
            }
            Err(trouble) => return Err(Stop::Trouble(trouble)),
        }
    }
    Err(Stop::Trouble(last))
}

/// Waits until the unit has started; further starts are as little an end of the load.
async fn started(ctx: &Context) -> Result<(), Stop> {
    unit::wait_for_start(ctx, None).await?;
    ctx.edit().start_expected = true;
    Ok(())
}

/// Somebody else changed the settings while they were sent: a person decides whether they are sent over that.
async fn changed_meanwhile(ctx: &Context, stage: StageKind, reason: &str) -> Result<(), Stop> {
    let text = format!(
        "Somebody changed the unit's settings while they were being loaded ({reason}). Find out who works at the unit. Load over \
         that change all the same? Type \"NAME: REASON\", or: no"
    );
    if let Answer::Text(words) = ctx.ask(Act::Override, text, Wants::Text).await.1
        && name_and_reason(&words).is_some()
    {
        ctx.remark(format!("settings changed at the unit during the load; loaded over that by decision: {words}"));
        return Ok(());
    }
    let says = format!("somebody changed the unit's settings while they were being loaded: {reason}");
    let mut f = Finding::new(stage, Subject::Replacement, Verdict::Undecided, says);
    f.likely = Some("somebody works at the unit's own keys, or with another tool".into());
    f.next = Some("see that nobody else works at the unit, then run the job again".into());
    ctx.found(f);
    Err(Stop::Found)
}

async fn restart(ctx: &Context, stage: StageKind, abilities: &Abilities) -> Result<Identity, Stop> {
    let before = {
        let mut s = ctx.edit();
        s.start_expected = true;
        s.stream = None;
        s.identity.clone()
    };
    ctx.unit(Request::Restart).await.map_err(Stop::Trouble)?;
    let (identity, can) = unit::wait_for_start(ctx, before.as_ref().and_then(|i| i.boot_id)).await?;
    ctx.edit().start_expected = true;
    let same = |b: &Identity| *b == Identity { boot_id: b.boot_id, ..identity.clone() };
    if !before.as_ref().is_some_and(same) || can != *abilities {
        let mut f = Finding::new(stage, Subject::Replacement, Verdict::Fail, "another unit answers after the restart");
        f.next = Some(
            "check which unit the cable goes to; a unit that says another thing at each start is defective".into(),
        );
        ctx.found(f);
        return Err(Stop::Found);
    }
    ctx.note(Entry::Unit { role: "replacement".into(), identity: identity.clone() });
    Ok(identity)
}

/// Which settings the unit holds, where it can tell.
async fn state(ctx: &Context) -> Option<SettingsState> {
    match ctx.unit(Request::SettingsState).await {
        Ok(Told::SettingsState(state)) => Some(state),
        _ => None,
    }
}

async fn read_settings(ctx: &Context) -> Result<Settings, Stop> {
    match ctx.unit(Request::ReadSettings).await {
        Ok(Told::Settings(settings)) => Ok(settings),
        Ok(_) => Err(Stop::Trouble(Trouble::Nonsense("the unit answered something else than settings".into()))),
        Err(trouble) => Err(Stop::Trouble(trouble)),
    }
}

fn compare(ctx: &Context, stage: StageKind, wanted: &Settings, read: &Settings, what: &str) {
    let differences = wanted.differences(read);
    if differences.is_empty() {
        let says = format!("all {} settings {what}, item by item", wanted.items.len());
        ctx.found(Finding::new(stage, Subject::Replacement, Verdict::Pass, says));
    }
    for d in differences {
        let mut f = Finding::new(stage, Subject::Setting(d.key().into()), Verdict::Fail, format!("not {what}: {d}"));
        f.likely = Some(match d {
            Difference::Missing(_) => "the unit dropped the item".into(),
            Difference::Extra(_) => "the unit has an item that settings-new.json lacks".into(),
            Difference::Changed { .. } => {
                "the unit fell back to another value, or somebody changed it at its keys".into()
            }
        });
        f.next = Some(
            "load the settings again; if it comes back, do not put this unit into service and tell its maker".into(),
        );
        ctx.found(f);
    }
}

/// The unit's own account before and after: another digest shows item by item, another revision shows here.
fn same(ctx: &Context, stage: StageKind, sent: &SettingsState, held: &SettingsState) {
    let digest = held.sha256.get(..12).unwrap_or(&held.sha256);
    let (verdict, says) = if sent == held {
        let says =
            format!("the unit holds revision {} with digest {digest}… before and after the restart", held.revision);
        (Verdict::Pass, says)
    } else {
        let says = format!(
            "the unit's settings went from revision {} to {} although nobody here sent any",
            sent.revision, held.revision
        );
        (Verdict::Undecided, says)
    };
    let mut f = Finding::new(stage, Subject::Replacement, verdict, says);
    if !verdict.is_pass() {
        f.likely = Some("somebody changed settings at the unit's own keys".into());
        f.next = Some("see that nobody else works at the unit, then load again".into());
    }
    ctx.found(f);
}

/// Asks the unit, but gives it up after a time: nothing may hold up making the site safe.
async fn soon(ctx: &Context, request: Request) -> Result<Told, Trouble> {
    match race(ctx.unit(request), ctx.sleep(seconds(ctx.inputs().plan.advanced.load.soon_s))).await {
        Either::First(end) => end,
        Either::Second(()) => Err(ctx.get().last_trouble.clone().unwrap_or(Trouble::Silent)),
    }
}

/// Before the unit is given back: does it still hold what was loaded?
pub(super) async fn unchanged(ctx: &Context, stage: StageKind) {
    let (loaded, as_left, another) = {
        let s = ctx.get();
        let serial = |i: &Option<plumeline_detector::Identity>| i.as_ref().map(|i| i.serial.clone());
        (s.loaded.clone(), s.as_left.clone(), serial(&s.identity) != serial(&s.outcome.replacement))
    };
    let (Some(loaded), Some(as_left)) = (loaded, as_left) else { return };
    if another {
        let says = "another unit answers than the one that the settings were loaded into";
        let mut f = Finding::new(stage, Subject::Replacement, Verdict::Undecided, says);
        f.next = Some("find out which unit is on the wall; load and prove it before it is relied upon".into());
        ctx.found(f);
        return;
    }
    let mut f = Finding::new(stage, Subject::Replacement, Verdict::Undecided, "");
    f.likely = Some("somebody changed settings at the unit's own keys".into());
    f.next = Some("load the settings again, and prove what hangs on them again".into());
    match soon(ctx, Request::SettingsState).await {
        Ok(Told::SettingsState(now)) if now == loaded => {
            let says = format!("the unit still holds the settings loaded, revision {}", now.revision);
            ctx.found(Finding::new(stage, Subject::Replacement, Verdict::Pass, says));
            return;
        }
        Ok(Told::SettingsState(now)) if now.sha256 == loaded.sha256 => {
            f.says = format!(
                "settings were changed at the unit after the load and changed back: revision {} became {}",
                loaded.revision, now.revision
            );
        }
        Ok(Told::SettingsState(now)) => {
            let what =
                format!("changed at the unit after the load (revision {} became {})", loaded.revision, now.revision);
            if let Ok(Told::Settings(read)) = soon(ctx, Request::ReadSettings).await {
                for d in as_left.differences(&read) {
                    let mut f = f.clone();
                    (f.subject, f.verdict, f.says) =
                        (Subject::Setting(d.key().into()), Verdict::Fail, format!("{what}: {d}"));
                    ctx.found(f);
                }
            }
            (f.verdict, f.says) = (Verdict::Fail, format!("settings were {what}"));
        }
        end => {
            let why = end.err().map_or_else(|| "another answer than was asked for".into(), |t| format!("{t}"));
            f.says = format!("not shown that the unit still holds the settings loaded: {why}");
            (f.likely, f.next) = (None, Some("look at the unit's settings before it is relied upon".into()));
        }
    }
    ctx.found(f);
}

/// Sets the unit's date and time; false where it keeps none.
async fn set_clock(ctx: &Context, stage: StageKind, abilities: &Abilities) -> Result<bool, Stop> {
    if !abilities.wall_clock {
        ctx.remark("the unit keeps no date and time that can be set this way");
        return Ok(false);
    }
    loop {
        // A unit that is silent is waited for here: what is set must not be of a while ago.
        ctx.unit(Request::TellTime).await.map_err(Stop::Trouble)?;
        let asked = ctx.now();
        let Some(utc_ms) = ctx.utc_ms(asked) else {
            let says = "the unit's clock was not set: the record knows no date";
            ctx.found(Finding::new(stage, Subject::Replacement, Verdict::Undecided, says));
            return Ok(false);
        };
        match ctx.unit_once(Request::SetTime { utc_ms }).await {
            Ok(_) if ctx.now().since(asked) <= seconds(ctx.inputs().plan.advanced.load.at_once_s) => return Ok(true),
            Ok(_) | Err(Trouble::Silent | Trouble::Garbled | Trouble::LinkDown(_)) => {}
            Err(trouble) => return Err(Stop::Trouble(trouble)),
        }
    }
}

/// The unit's date and time against the job's, and its local time against the plan's.
async fn check_clock(ctx: &Context, stage: StageKind) -> Result<(), Stop> {
    let time = match ctx.unit(Request::TellTime).await {
        Ok(Told::Time(time)) => time,
        Ok(_) => return Err(Stop::Trouble(Trouble::Nonsense("the unit answered something else than its time".into()))),
        Err(trouble) => return Err(Stop::Trouble(trouble)),
    };
    let limit = ctx.inputs().plan.limits.clock.clone();
    let mut f = Finding::new(stage, Subject::Replacement, Verdict::Fail, "the unit's clock was set and is lost again");
    f.next = Some("set the clock again; if it does not stay, tell the unit's maker".into());
    if let (Some(unit), Some(ours)) = (time.utc_ms, ctx.utc_ms(ctx.now())) {
        let off_s = (unit as f64 - ours as f64) / 1e3;
        f.measured = Some(Figure::plain(off_s, "s"));
        if libm::fabs(off_s) <= limit.value {
            (f.verdict, f.says, f.next) =
                (Verdict::Pass, "the unit's clock is set, and kept over the restart".into(), None);
        } else {
            f.says = "the unit's clock is not at the time that was set".into();
            // The job's own time comes from the computer's date at each take-up: which of the two is off can't be told.
            if ctx.get().paused > Duration::ZERO {
                f.verdict = Verdict::Undecided;
                f.next =
                    Some("compare the clocks of this computer and of the unit with a third, then load again".into());
            }
        }
    }
    f.limit = Some(limit);
    ctx.found(f);
    let zone = |min: i64| -> String {
        format!("UTC{}{:02}:{:02}", if min < 0 { '-' } else { '+' }, min.abs() / 60, min.abs() % 60)
    };
    let told = zone(time.zone_min);
    let mut f = Finding::new(stage, Subject::Replacement, Verdict::Pass, format!("the unit's local time is {told}"));
    match ctx.inputs().plan.replacement.zone_min {
        None => f.says.push_str(", as its settings say; the plan states no zone to hold that against"),
        Some(wanted) if wanted == time.zone_min => f.says.push_str(", as the plan states"),
        Some(wanted) => {
            f.verdict = Verdict::Fail;
            f.says = format!("the unit's local time is {told}, the plan states {}", zone(wanted));
            f.next = Some("correct the zone in the settings, load them, and try again".into());
        }
    }
    ctx.found(f);
    Ok(())
}
