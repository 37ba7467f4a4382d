//! The units themselves: what the outgoing one was set to, the exchange, the new one's start, its settings.
use super::{flow, supply};
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
use plumeline_base::{Verdict, input::LineId, time::seconds};
use plumeline_detector::{Abilities, Identity, Request, Told, Trouble, settings::Settings};
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
        if let (_, Some(amps)) = supply::told(&ctx, Duration::from_secs(10)).await {
            let expanded = flow::coverage_factor(&ctx.inputs()) * amps.u();
            ctx.edit().outcome.supply.outgoing = Some(Figure::with(amps.value, expanded, "A"));
        }
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

/// From here until the next unit has said who it is, a silent line and a new start are what is expected.
pub(super) fn forget(ctx: &Context) {
    let mut s = ctx.edit();
    s.stream = None;
    s.inhibited = false;
    s.lapses.clear();
    s.untie();
    s.start_expected = true;
    s.identity = None;
}

/// The units are exchanged by hand.
pub(crate) async fn swap(ctx: Context) -> Result<(), Stop> {
    forget(&ctx);
    let text = "Take the outgoing unit off and keep it refittable until hand-back. Mind ladders and live supplies: switch off mains and \
                battery first. Fit the replacement: pipes pushed dry into the inlets of the same number and sealed, unused inlets \
                plugged, exhaust refitted, wires as marked, cover on. Give it power and connect the cable. Done?";
    match ctx.ask_done(Act::Swap, text).await {
        Ok(_) => {
            ctx.turn_to(LineId::Main);
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
    ctx.edit().outcome.replacement = Some(identity.clone());
    let mut f = is_expected(&ctx, stage, &identity, &abilities)?;
    f.measured = Some(Figure::plain(took, "s"));
    f.limit = Some(ctx.inputs().plan.limits.boot.clone());
    ctx.found(f);
    let on_bench = ctx.get().bench.clone().map(|(unit, _)| unit);
    if let Some(bench) = on_bench.filter(|b| b.serial != identity.serial || b.firmware != identity.firmware) {
        let says = format!(
            "another unit than on the bench: serial {}, firmware {} there; that trial counts for nothing",
            bench.serial, bench.firmware
        );
        ctx.found(Finding::new(stage, Subject::Replacement, Verdict::Undecided, says));
    }
    inhibit(&ctx, &abilities, Subject::Replacement).await
}

/// The unit is the one that the plan expects and the pipework needs; gives the finding to be noted. Else the job stops.
pub(super) fn is_expected(
    ctx: &Context,
    stage: StageKind,
    identity: &Identity,
    abilities: &Abilities,
) -> Result<Finding, Stop> {
    let inputs = ctx.inputs();
    let expected = &inputs.plan.replacement;
    let outgoing = ctx.get().outcome.outgoing.clone();
    let wrong = if outgoing.is_some_and(|o| !o.serial.is_empty() && o.serial == identity.serial) {
        Some("the unit that answers is still the outgoing one".into())
    } else {
        mismatch(expected, identity).or_else(|| {
            let most = inputs.pipes().iter().map(|p| p.inlet).max().unwrap_or(0);
            (abilities.inlets < most)
                .then(|| format!("the pipework uses inlet {most}, the unit has {} inlets", abilities.inlets))
        })
    };
    if let Some(why) = wrong {
        let mut f = Finding::new(stage, Subject::Replacement, Verdict::Fail, why);
        f.next = Some("check which unit the cable goes to, which unit was delivered, and with which firmware".into());
        ctx.found(f);
        return Err(Stop::Found);
    }
    let checked = if expected.firmware.is_some() { "as planned" } else { "held against nothing: the plan states none" };
    let says = format!(
        "{} {}, serial {}, firmware {} ({checked})",
        identity.maker, identity.model, identity.serial, identity.firmware
    );
    Ok(Finding::new(stage, Subject::Replacement, Verdict::Pass, says))
}

/// Asks until the unit answers; with `not` given, until it has started anew. At most as long as the job allows for a start.
pub(super) async fn wait_for_start(ctx: &Context, not: Option<u64>) -> Result<(Identity, Abilities), Stop> {
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

pub(super) async fn inhibit(ctx: &Context, abilities: &Abilities, subject: Subject) -> Result<(), Stop> {
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

pub(super) fn keep(ctx: &Context, which: KeptSettings, settings: &Settings, unit: &Identity) {
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
    differs("model", &expected.model, &found.model)
        .or_else(|| differs("serial", &expected.serial, &found.serial))
        .or_else(|| differs("firmware", &expected.firmware, &found.firmware))
}
