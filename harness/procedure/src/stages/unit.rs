//! The unit on the wall or on the bench: the exchange, the new one's start, who it is, its inhibit and its settings.
use super::{anchor, held};
use crate::{
    context::{Context, Stop},
    digest::settings_digest,
    effect::{Effect, Entry, KeptSettings},
    facts::unit as fact,
    judge::unit as judge,
    outcome::{Figure, Finding, StageKind, Subject},
    prompt::Act,
};
use alloc::format;
use core::time::Duration;
use plumeline_base::{Verdict, input::LineId, time::seconds};
use plumeline_detector::{Abilities, Identity, Request, Trouble, ask, driver::Means, settings::Settings};

/// A unit that starts is asked this often.
const ASKED: Duration = Duration::from_secs(2);

/// From here until the next unit has said who it is, a silent line and a new start are what is expected.
pub(super) fn forget(ctx: &Context) {
    let mut s = ctx.edit();
    s.stream.hz = None;
    s.inhibit.on = false;
    s.inhibit.lapses.clear();
    s.untie();
    s.unit.start_expected = true;
    s.unit.identity = None;
}

/// The units are exchanged by hand.
pub(crate) async fn swap(ctx: Context) -> Result<(), Stop> {
    forget(&ctx);
    let text = "Take the outgoing unit off and keep it refittable until hand-back. Mind ladders and live supplies: switch off mains and \
                battery first. Fit the replacement: pipes pushed dry into the inlets of the same number and sealed, unused inlets \
                plugged, exhaust refitted, wires as marked, cover on. Give it power and connect the cable. Done?";
    let fitted = ctx.ask_done(Act::Swap, text).await;
    if fitted.is_ok() {
        ctx.turn_to(LineId::Main);
    }
    ctx.found(judge::replacement(StageKind::Swap, fitted.as_ref().map_or_else(fact::not_fitted, |_| fact::fitted())));
    fitted.map(|_| ()).map_err(|_| Stop::Found)
}

/// The new unit has started, is the one expected, and its outputs are inhibited.
pub(crate) async fn boot(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::Boot;
    let began = ctx.now();
    let visit = ctx.inputs().plan.visit.is_some();
    forget(&ctx);
    if visit {
        // Nobody moves a cable: the one unit is on the main line.
        ctx.turn_to(LineId::Main);
    }
    let (identity, abilities) = wait_for_start(&ctx, None).await?;
    let took = ctx.now().since(began).as_secs_f64();
    ctx.note(Entry::Unit { role: "replacement".into(), identity: identity.clone() });
    ctx.edit().outcome.replacement = Some(identity.clone());
    let mut f = is_expected(&ctx, stage, &identity, &abilities)?;
    // How long a person took to answer says nothing of the unit, nor does how long one that runs took.
    if !visit && ctx.means(&Request::Identify) == Means::Protocol {
        f.measured = Some(Figure::plain(took, "s"));
        f.limit = Some(ctx.inputs().plan.limits.boot.clone());
    }
    ctx.found(f);
    let on_bench = ctx.get().unit.bench.clone().map(|(unit, _)| unit);
    let other = on_bench.and_then(|bench| judge::against_bench(stage, &bench, &identity));
    other.into_iter().for_each(|f| ctx.found(f));
    inhibit(&ctx, &abilities, Subject::Replacement).await?;
    if visit && abilities.event_log {
        match held::soon(&ctx, ask::ReadEvents { from: 0 }).await {
            Ok(events) => anchor::met(&ctx, &identity.serial, &events),
            Err(trouble) => {
                ctx.remark(format!("what earlier records left in the unit's event log is not known: {trouble}"))
            }
        }
    }
    anchor::isolated(&ctx).await;
    Ok(())
}

/// The unit is the one that the plan expects and the pipework needs; gives the finding to be noted. Else the job stops.
pub(super) fn is_expected(
    ctx: &Context,
    stage: StageKind,
    identity: &Identity,
    abilities: &Abilities,
) -> Result<Finding, Stop> {
    let inputs = ctx.inputs();
    let needed = inputs.pipes().iter().map(|p| p.inlet).max().unwrap_or(0);
    let outgoing = ctx.get().outcome.outgoing.clone();
    let inlets = (needed, abilities.inlets);
    let f = judge::expected(stage, &inputs.plan.replacement, identity, outgoing.as_ref(), inlets);
    if f.verdict == Verdict::Fail {
        ctx.found(f);
        return Err(Stop::Found);
    }
    Ok(f)
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
        match ctx.unit_once(ask::Identify).await {
            Ok((identity, abilities)) if not.is_none() || identity.boot_id != not => {
                let mut s = ctx.edit();
                s.unit.start_expected = false;
                s.unit.started_anew = false;
                drop(s);
                return Ok((identity, abilities));
            }
            Ok(_) => {}
            Err(trouble @ (Trouble::CannotDo(_) | Trouble::NotTold(_))) => return Err(Stop::Trouble(trouble)),
            Err(trouble) => last = trouble,
        }
        ctx.sleep(ASKED).await;
    }
}

pub(super) async fn inhibit(ctx: &Context, abilities: &Abilities, subject: Subject) -> Result<(), Stop> {
    let stage = ctx.stage();
    if !abilities.inhibit {
        ctx.remark("this unit's outputs can't be inhibited this way: the isolation at the panel is the only one");
        return Ok(());
    }
    let lease = Duration::from_secs(u64::from(ctx.inputs().plan.link.inhibit_lease_s));
    let end = ctx.unit(ask::Inhibit { lease }).await;
    {
        let mut s = ctx.edit();
        s.inhibit.on |= end.is_ok();
        s.unit.inhibit_wanted |= end.is_ok() && stage > StageKind::Swap;
    }
    let by_hand = ctx.means(&Request::Inhibit { lease }) != Means::Protocol;
    ctx.found(judge::inhibited(stage, subject, end.as_ref().map(|_| ()), by_hand));
    Ok(())
}

/// A replacement that started anew, or whose lease ran out while nobody watched, no longer holds its outputs back: it does
/// before anything else is done with it. Whether something was operated meanwhile is asked before the zone is restored.
pub(super) async fn inhibit_again(ctx: &Context) -> Result<(), Stop> {
    let stage = ctx.stage();
    let lost = {
        let s = ctx.get();
        s.running.attended
            && s.unit.inhibit_wanted
            && !s.inhibit.on
            && stage > StageKind::Load
            && !stage.row().traits.winds_down
    };
    let Some(abilities) = ctx.abilities().filter(|a| lost && a.inhibit) else { return Ok(()) };
    ctx.edit().inhibit.lapses.push(Trouble::NotTold("it was gone when the unit started anew".into()));
    inhibit(ctx, &abilities, Subject::Replacement).await
}

pub(super) fn keep(ctx: &Context, which: KeptSettings, settings: &Settings, unit: &Identity) {
    let items = u32::try_from(settings.items.len()).unwrap_or(u32::MAX);
    ctx.note(Entry::Settings { which, items, sha256: settings_digest(settings) });
    ctx.effect(Effect::Keep { which, settings: settings.clone(), unit: unit.clone() });
}
