//! Settings loaded for certain: sent whole or not at all (by registers item by item, until none is left), read back item by
//! item, and read again after a restart. A change by anybody else is noticed by the unit's own revision and digest.
use super::{clock, unit};
use crate::{
    context::{Context, Stop},
    effect::{Entry, KeptSettings},
    facts::{Fact, load as fact, missed},
    judge::load::{self as judge, Read},
    outcome::{Finding, StageKind, Statement, Subject},
    prompt::{Act, name_and_reason},
};
use alloc::{format, vec::Vec};
use plumeline_base::input::Answer;
use plumeline_detector::{
    Abilities, Identity, Request, SettingsState, Trouble, ask,
    driver::{Means, RefusalKind, Wants},
    settings::Settings,
};

fn of_unit(stage: StageKind, fact: Fact) -> Finding {
    Finding::of(stage, Subject::Replacement, fact)
}
fn all_found(ctx: &Context, findings: Vec<Finding>) {
    findings.into_iter().for_each(|f| ctx.found(f));
}

/// Loads the settings into the unit on the wall.
pub(crate) async fn load(ctx: Context) -> Result<(), Stop> {
    let before = ctx.get().unit.bench.clone().and_then(|(_, held)| held);
    if let Some(before) = before {
        let now = state(&ctx).await;
        if now.as_ref().is_some_and(|now| *now != before) {
            ctx.found(of_unit(StageKind::Load, fact::changed_since_bench()));
        }
    }
    let held = load_settings(&ctx, StageKind::Load, true).await?;
    ctx.edit().unit.loaded = held;
    Ok(())
}

/// The whole load, on the bench or on the wall; gives what the unit holds afterwards by its own account. Whatever starts
/// the unit anew meanwhile voids nothing: nothing was measured yet.
pub(super) async fn load_settings(
    ctx: &Context,
    stage: StageKind,
    mounted: bool,
) -> Result<Option<SettingsState>, Stop> {
    ctx.edit().unit.start_expected = true;
    let end = whole(ctx, stage, mounted).await;
    {
        let mut s = ctx.edit();
        (s.unit.start_expected, s.unit.started_anew) = (false, false);
    }
    let lost = mounted && end.is_ok() && !ctx.get().inhibit.on;
    if let Some(abilities) = ctx.abilities().filter(|_| lost) {
        unit::inhibit(ctx, &abilities, Subject::Replacement).await?;
    }
    end
}

async fn whole(ctx: &Context, stage: StageKind, mounted: bool) -> Result<Option<SettingsState>, Stop> {
    let Some(wanted) = ctx.inputs().to_load.clone() else {
        ctx.found(of_unit(stage, fact::nothing_to_load()));
        return Err(Stop::Found);
    };
    let Some(abilities) = ctx.abilities() else {
        return Err(Stop::Trouble(Trouble::CannotDo("the unit was not identified".into())));
    };
    if ctx.means(&Request::ReadSettings) == Means::Person {
        return by_hand(ctx, stage, mounted, &wanted, &abilities).await;
    }
    if ctx.inputs().plan.visit.is_some() {
        return as_left_before(ctx, stage, &wanted, &abilities).await;
    }
    let before = state(ctx).await;
    if abilities.write_settings {
        write(ctx, stage, &wanted).await?;
    } else {
        ctx.remark("the unit takes no settings this way: they were set by hand and are only compared here");
    }
    let sent = state(ctx).await;
    let stuck = before.as_ref().zip(sent.as_ref()).and_then(|(before, sent)| judge::counted(stage, before, sent));
    stuck.into_iter().for_each(|f| ctx.found(f));
    let read = read_settings(ctx).await?;
    all_found(ctx, judge::items(stage, &wanted, &read, Read::Back));
    let set = clock::set(ctx, stage, &abilities).await?;
    if !abilities.restart {
        ctx.found(of_unit(stage, fact::no_restart()));
        return Ok(sent);
    }
    let identity = restart(ctx, stage, &abilities).await?;
    if mounted {
        ctx.edit().outcome.replacement = Some(identity.clone());
        unit::inhibit(ctx, &abilities, Subject::Replacement).await?;
    }
    let again = read_settings(ctx).await?;
    all_found(ctx, judge::items(stage, &wanted, &again, Read::AfterRestart));
    let held = state(ctx).await;
    if let (Some(sent), Some(held)) = (&sent, &held) {
        ctx.note(Entry::SettingsHeld { revision: held.revision, sha256: held.sha256.clone() });
        ctx.found(judge::revision(stage, sent, held));
    }
    if set {
        clock::check(ctx, stage).await?;
    }
    if mounted {
        unit::keep(ctx, KeptSettings::AsLeft, &again, &identity);
        ctx.edit().unit.as_left = Some(again);
    }
    Ok(held)
}

/// A service visit loads nothing: the unit holds what it was left with, or what differs is found.
async fn as_left_before(
    ctx: &Context,
    stage: StageKind,
    wanted: &Settings,
    abilities: &Abilities,
) -> Result<Option<SettingsState>, Stop> {
    let read = read_settings(ctx).await?;
    all_found(ctx, judge::items(stage, wanted, &read, Read::AtVisit));
    let identity = ctx.get().unit.identity.clone().unwrap_or_default();
    unit::keep(ctx, KeptSettings::AsLeft, &read, &identity);
    ctx.edit().unit.as_left = Some(read);
    if clock::set(ctx, stage, abilities).await? {
        ctx.remark("the unit's date and time were set");
    }
    Ok(state(ctx).await)
}

/// The same by a person's hands and eyes: entered by the sheet, the unit started anew, and read back item by item without a sight
/// of what they should be. What was entered and read back on the bench is only read back on the wall.
async fn by_hand(
    ctx: &Context,
    stage: StageKind,
    mounted: bool,
    wanted: &Settings,
    abilities: &Abilities,
) -> Result<Option<SettingsState>, Stop> {
    if !abilities.read_settings {
        ctx.found(of_unit(stage, fact::not_shown_here()));
        return Ok(None);
    }
    let visit = ctx.inputs().plan.visit.is_some();
    let entered = visit || mounted && ctx.get().unit.bench.is_some();
    let mut identity = ctx.get().unit.identity.clone().unwrap_or_default();
    if !entered {
        if abilities.write_settings {
            write(ctx, stage, wanted).await?;
        } else {
            ctx.remark("nobody can enter settings at the unit by its keys: they are only compared here");
        }
        clock::set(ctx, stage, abilities).await?;
        if abilities.restart {
            identity = restart(ctx, stage, abilities).await?;
            if mounted {
                ctx.edit().outcome.replacement = Some(identity.clone());
                unit::inhibit(ctx, abilities, Subject::Replacement).await?;
            }
        } else {
            ctx.found(of_unit(stage, fact::no_restart()));
        }
    }
    let read = read_settings(ctx).await?;
    // On the wall it has been without power since the bench.
    let when = if visit {
        Read::AtVisit
    } else if entered || abilities.restart {
        Read::AfterRestart
    } else {
        Read::Back
    };
    all_found(ctx, judge::items(stage, wanted, &read, when));
    if mounted {
        let stated = Statement::of(Subject::Replacement, missed::settings_by_hand());
        ctx.edit().outcome.could_have_missed.push(stated);
        unit::keep(ctx, KeptSettings::AsLeft, &read, &identity);
        ctx.edit().unit.as_left = Some(read);
    }
    Ok(None)
}

/// Sends the settings until the unit holds them whole. A unit that loses power meanwhile holds what it held before.
async fn write(ctx: &Context, stage: StageKind, wanted: &Settings) -> Result<(), Stop> {
    let boot_id = |ctx: &Context| ctx.get().unit.identity.as_ref().and_then(|i| i.boot_id);
    let began = boot_id(ctx);
    let mut last = Trouble::Silent;
    for _ in 0..ctx.inputs().plan.advanced.load.most_tries {
        let end = ctx.unit(ask::WriteSettings { settings: wanted.clone() }).await;
        match end {
            Ok(_) => {
                if boot_id(ctx) != began {
                    ctx.remark("the unit started anew while its settings were sent; the load was taken up again");
                    started(ctx).await?;
                }
                return Ok(());
            }
            Err(trouble @ Trouble::Refused { kind: RefusalKind::StillStarting, .. }) => {
                last = trouble;
                started(ctx).await?;
            }
            Err(Trouble::Refused { kind: kind @ RefusalKind::SettingsChanged, code, reason }) => {
                changed_meanwhile(ctx, stage, &reason).await?;
                last = Trouble::Refused { kind, code, reason };
            }
            Err(trouble @ Trouble::Refused { .. }) => {
                ctx.found(of_unit(stage, fact::refused(trouble)));
                return Err(Stop::Found);
            }
            Err(trouble @ Trouble::Mixture(_)) => {
                ctx.note_trouble(&trouble);
                last = trouble;
            }
            Err(trouble) => return Err(Stop::Trouble(trouble)),
        }
    }
    if matches!(last, Trouble::Mixture(_)) {
        ctx.found(of_unit(stage, fact::mixture(last)));
        return Err(Stop::Found);
    }
    Err(Stop::Trouble(last))
}

/// Waits until the unit has started; further starts are as little an end of the load.
async fn started(ctx: &Context) -> Result<(), Stop> {
    unit::wait_for_start(ctx, None).await?;
    ctx.edit().unit.start_expected = true;
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
    ctx.found(of_unit(stage, fact::changed_meanwhile(reason)));
    Err(Stop::Found)
}

async fn restart(ctx: &Context, stage: StageKind, abilities: &Abilities) -> Result<Identity, Stop> {
    let before = {
        let mut s = ctx.edit();
        s.unit.start_expected = true;
        s.stream.hz = None;
        s.unit.identity.clone()
    };
    ctx.unit(ask::Restart).await.map_err(Stop::Trouble)?;
    let (identity, can) = unit::wait_for_start(ctx, before.as_ref().and_then(|i| i.boot_id)).await?;
    ctx.edit().unit.start_expected = true;
    if !judge::same_unit(before.as_ref().map(|b| (b, abilities)), (&identity, &can)) {
        ctx.found(of_unit(stage, fact::another_unit()));
        return Err(Stop::Found);
    }
    ctx.note(Entry::Unit { role: "replacement".into(), identity: identity.clone() });
    Ok(identity)
}

/// Which settings the unit holds, where it can tell.
async fn state(ctx: &Context) -> Option<SettingsState> {
    ctx.unit(ask::SettingsState).await.ok()
}

async fn read_settings(ctx: &Context) -> Result<Settings, Stop> {
    ctx.unit(ask::ReadSettings).await.map_err(Stop::Trouble)
}
