//! The units themselves: what the outgoing one was set to, the exchange, the new one's start, its settings.
use super::flow;
use crate::{
    context::{Context, Stop},
    effect::{Effect, Entry, KeptSettings},
    machine::hex,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::ExpectedUnit,
    prompt::Act,
};
use alloc::{format, string::String};
use core::time::Duration;
use plumeline_base::{Verdict, time::seconds};
use plumeline_detector::{
    Abilities, Identity, Request, Told, Trouble,
    settings::{Difference, Settings},
};
use sha2::{Digest, Sha256};

/// What the outgoing unit is and shows. A dead or mute one is normal: what it can't tell is 'not captured'.
pub(crate) async fn as_found(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::AsFound;
    let Some(expected) = ctx.inputs().plan.outgoing.clone() else {
        ctx.found(Finding::new(
            stage,
            Subject::Outgoing,
            Verdict::Undecided,
            "not captured: the plan names no outgoing unit",
        ));
        return Ok(());
    };
    let not_captured = |what: &str, trouble: &Trouble| {
        let mut f =
            Finding::new(stage, Subject::Outgoing, Verdict::Undecided, format!("{what} not captured: {trouble}"));
        f.next = Some("take the item from the site's own documents, or do without the comparison".into());
        f
    };
    // A dead unit must not hold the job up: a few tries, not the whole stage.
    let mut identified = ctx.unit_once(Request::Identify).await;
    for _ in 0..2 {
        if identified.is_ok() {
            break;
        }
        ctx.sleep(Duration::from_secs(3)).await;
        identified = ctx.unit_once(Request::Identify).await;
    }
    let (identity, abilities) = match identified {
        Ok(Told::Identity(identity, abilities)) => (identity, abilities),
        Ok(_) => {
            ctx.found(not_captured("identity, settings and flows", &Trouble::Nonsense("not an identity".into())));
            return Ok(());
        }
        Err(trouble) => {
            ctx.found(not_captured("identity, settings and flows", &trouble));
            return Ok(());
        }
    };
    ctx.note(Entry::Unit { role: "outgoing".into(), identity: identity.clone() });
    ctx.edit().outcome.outgoing = Some(identity.clone());
    ctx.found(match mismatch(&expected, &identity) {
        None => Finding::new(
            stage,
            Subject::Outgoing,
            Verdict::Pass,
            format!("{} {}, serial {}", identity.maker, identity.model, identity.serial),
        ),
        Some(why) => Finding::new(stage, Subject::Outgoing, Verdict::Undecided, why),
    });
    inhibit(&ctx, &abilities, Subject::Outgoing).await?;
    match ctx.unit_once(Request::ReadSettings).await {
        Ok(Told::Settings(settings)) => {
            let items = settings.items.len();
            keep(&ctx, KeptSettings::AsFound, &settings, &identity);
            ctx.found(Finding::new(
                stage,
                Subject::Outgoing,
                Verdict::Pass,
                format!("settings captured whole: {items} items, digest checked"),
            ));
        }
        Ok(_) => ctx.found(not_captured("settings", &Trouble::Nonsense("not settings".into()))),
        Err(trouble) => ctx.found(not_captured("settings", &trouble)),
    }
    match ctx.unit_once(Request::ReadEvents { from: 0 }).await {
        Ok(Told::Events(events)) => ctx.remark(format!("the outgoing unit's event log has {} lines", events.len())),
        Ok(_) => {}
        Err(trouble) => ctx.found(not_captured("event log", &trouble)),
    }
    if abilities.stream_hz.is_some() && abilities.flow_per_inlet {
        ctx.start_readings().await?;
        flow::as_found_flows(&ctx).await;
        ctx.stop_readings().await;
    } else {
        match ctx.unit_once(Request::ReadOnce).await {
            Ok(Told::Reading(reading)) => flow::as_found_once(&ctx, &reading),
            Ok(_) => {}
            Err(trouble) => ctx.found(not_captured("flows", &trouble)),
        }
    }
    Ok(())
}

/// The units are exchanged by hand.
pub(crate) async fn swap(ctx: Context) -> Result<(), Stop> {
    {
        // From here until the new unit has said who it is, a silent line and a new start are what is expected.
        let mut s = ctx.edit();
        s.stream = None;
        s.inhibited = false;
        s.lapses.clear();
        s.untie();
        s.start_expected = true;
        s.identity = None;
    }
    let text = "Take the outgoing unit off and keep it refittable until hand-back. Mind ladders and live supplies: switch off mains and \
                battery first. Fit the replacement: pipes pushed dry into the inlets of the same number and sealed, unused inlets \
                plugged, exhaust refitted, wires as marked, cover on. Give it power and connect the cable. Done?";
    match ctx.ask_done(Act::Swap, text).await {
        Ok(_) => {
            ctx.found(Finding::new(
                StageKind::Swap,
                Subject::Replacement,
                Verdict::Pass,
                "the replacement is fitted and has power, says the technician",
            ));
            Ok(())
        }
        Err(why) => {
            ctx.found(Finding::new(
                StageKind::Swap,
                Subject::Replacement,
                Verdict::Undecided,
                format!("not fitted: {why}"),
            ));
            Err(Stop::Found)
        }
    }
}

/// The new unit has started, is the one expected, and its outputs are inhibited.
pub(crate) async fn boot(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::Boot;
    let began = ctx.now();
    let (identity, abilities) = wait_for_start(&ctx, None).await?;
    let took = ctx.now().since(began).as_secs_f64();
    ctx.note(Entry::Unit { role: "replacement".into(), identity: identity.clone() });
    let (expected, limit, pipes, outgoing) = {
        let inputs = ctx.inputs();
        let outgoing = ctx.get().outcome.outgoing.clone();
        (inputs.plan.replacement.clone(), inputs.plan.limits.boot.clone(), inputs.pipes(), outgoing)
    };
    ctx.edit().outcome.replacement = Some(identity.clone());
    let mut f = Finding::new(
        stage,
        Subject::Replacement,
        Verdict::Pass,
        format!("{} {}, serial {}, firmware {}", identity.maker, identity.model, identity.serial, identity.firmware),
    );
    f.measured = Some(Figure::plain(took, "s"));
    f.limit = Some(limit);
    let wrong = if outgoing.is_some_and(|o| !o.serial.is_empty() && o.serial == identity.serial) {
        Some("the unit that answers is still the outgoing one".into())
    } else {
        mismatch(&expected, &identity).or_else(|| {
            let most = pipes.iter().map(|p| p.inlet).max().unwrap_or(0);
            (abilities.inlets < most)
                .then(|| format!("the pipework uses inlet {most}, the unit has {} inlets", abilities.inlets))
        })
    };
    if let Some(why) = wrong {
        f.verdict = Verdict::Fail;
        f.says = why;
        f.next = Some("check which unit the cable goes to and which unit was delivered".into());
        ctx.found(f);
        return Err(Stop::Found);
    }
    ctx.found(f);
    inhibit(&ctx, &abilities, Subject::Replacement).await
}

/// Settings sent as a whole, read back item by item, and read back again after a restart.
pub(crate) async fn load(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::Load;
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
        match ctx.unit(Request::WriteSettings(wanted.clone())).await {
            Ok(_) => {}
            Err(trouble @ Trouble::Refused { .. }) => {
                let mut f = Finding::new(
                    stage,
                    Subject::Replacement,
                    Verdict::Fail,
                    format!("the unit did not take the settings: {trouble}"),
                );
                f.next = Some(
                    "correct settings-new.json as the unit's reason says; the unit still holds what it held before"
                        .into(),
                );
                ctx.found(f);
                return Err(Stop::Found);
            }
            Err(trouble) => return Err(Stop::Trouble(trouble)),
        }
    } else {
        ctx.remark("the unit takes no settings this way: they were set by hand and are only compared here");
    }
    let read = read_settings(&ctx).await?;
    compare(&ctx, &wanted, &read, "sent and read back");
    if !abilities.restart {
        ctx.found(Finding::new(
            stage,
            Subject::Replacement,
            Verdict::Undecided,
            "not shown that the settings survive a restart: the unit can't be restarted this way",
        ));
        return Ok(());
    }
    let before = {
        let mut s = ctx.edit();
        s.start_expected = true;
        s.stream = None;
        s.identity.clone()
    };
    ctx.unit(Request::Restart).await.map_err(Stop::Trouble)?;
    let (identity, can) = wait_for_start(&ctx, before.as_ref().and_then(|i| i.boot_id)).await?;
    let same = |b: &Identity| *b == Identity { boot_id: b.boot_id, ..identity.clone() };
    if !before.as_ref().is_some_and(same) || can != abilities {
        let mut f = Finding::new(stage, Subject::Replacement, Verdict::Fail, "another unit answers after the restart");
        f.next = Some(
            "check which unit the cable goes to; a unit that says another thing at each start is defective".into(),
        );
        ctx.found(f);
        return Err(Stop::Found);
    }
    ctx.note(Entry::Unit { role: "replacement".into(), identity: identity.clone() });
    ctx.edit().outcome.replacement = Some(identity.clone());
    inhibit(&ctx, &abilities, Subject::Replacement).await?;
    let again = read_settings(&ctx).await?;
    compare(&ctx, &wanted, &again, "still there after a restart");
    keep(&ctx, KeptSettings::AsLeft, &again, &identity);
    ctx.edit().as_left = Some(again);
    Ok(())
}

/// Asks until the unit answers; with `not` given, until it has started anew. At most as long as the job allows for a start.
async fn wait_for_start(ctx: &Context, not: Option<u64>) -> Result<(Identity, Abilities), Stop> {
    let limit = seconds(ctx.inputs().plan.limits.boot.value);
    let end = ctx.within(limit);
    let mut last = Trouble::Silent;
    loop {
        let left = ctx.left(end);
        if left.is_zero() {
            return Err(Stop::Trouble(last));
        }
        let fraction = 1.0 - left.as_secs_f64() / limit.as_secs_f64().max(1.0);
        ctx.progress("waiting for the unit to start", Some(fraction), Some(left));
        match ctx.unit_once(Request::Identify).await {
            Ok(Told::Identity(identity, abilities)) if not.is_none() || identity.boot_id != not => {
                let mut s = ctx.edit();
                s.start_expected = false;
                s.started_anew = false;
                s.last_trouble = None;
                drop(s);
                return Ok((identity, abilities));
            }
            Ok(_) => {}
            Err(trouble @ (Trouble::CannotDo(_) | Trouble::NotTold(_))) => return Err(Stop::Trouble(trouble)),
            Err(trouble) => last = trouble,
        }
        ctx.sleep(Duration::from_secs(2)).await;
    }
}

async fn inhibit(ctx: &Context, abilities: &Abilities, subject: Subject) -> Result<(), Stop> {
    let stage = ctx.stage();
    if !abilities.inhibit {
        ctx.remark("this unit's outputs can't be inhibited this way: the isolation at the panel is the only one");
        return Ok(());
    }
    let lease = Duration::from_secs(u64::from(ctx.inputs().plan.inhibit_lease_s));
    match ctx.unit(Request::Inhibit { lease }).await {
        Ok(_) => {
            ctx.edit().inhibited = true;
            ctx.found(Finding::new(
                stage,
                subject,
                Verdict::Pass,
                "the unit's own outputs are inhibited, on a lease that is renewed",
            ));
            Ok(())
        }
        Err(trouble) => {
            ctx.found(Finding::new(
                stage,
                subject,
                Verdict::Undecided,
                format!("the unit's own outputs are not inhibited: {trouble}"),
            ));
            Ok(())
        }
    }
}

async fn read_settings(ctx: &Context) -> Result<Settings, Stop> {
    match ctx.unit(Request::ReadSettings).await {
        Ok(Told::Settings(settings)) => Ok(settings),
        Ok(_) => Err(Stop::Trouble(Trouble::Nonsense("the unit answered something else than settings".into()))),
        Err(trouble) => Err(Stop::Trouble(trouble)),
    }
}

fn compare(ctx: &Context, wanted: &Settings, read: &Settings, what: &str) {
    let differences = wanted.differences(read);
    if differences.is_empty() {
        let says = format!("all {} settings {what}, item by item", wanted.items.len());
        ctx.found(Finding::new(StageKind::Load, Subject::Replacement, Verdict::Pass, says));
    }
    for d in differences {
        let mut f =
            Finding::new(StageKind::Load, Subject::Setting(d.key().into()), Verdict::Fail, format!("not {what}: {d}"));
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

fn keep(ctx: &Context, which: KeptSettings, settings: &Settings, unit: &Identity) {
    let items = u32::try_from(settings.items.len()).unwrap_or(u32::MAX);
    ctx.note(Entry::Settings { which, items, sha256: settings_digest(settings) });
    ctx.effect(Effect::Keep { which, settings: settings.clone(), unit: unit.clone() });
}

/// SHA-256 over the items in their canonical form, the maker's own bytes included.
pub(crate) fn settings_digest(settings: &Settings) -> String {
    hex(&Sha256::digest(settings.canonical().as_bytes()))
}

fn mismatch(expected: &ExpectedUnit, found: &Identity) -> Option<String> {
    let differs = |what: &str, want: &Option<String>, have: &str| {
        let want = want.as_deref()?;
        (want != have).then(|| format!("the plan expects {what} {want}, the unit says {have}"))
    };
    differs("model", &expected.model, &found.model).or_else(|| differs("serial", &expected.serial, &found.serial))
}
