//! What the outgoing unit is and shows. A dead or mute one is normal: what it can't tell is 'not captured'.
use super::{anchor, flow, supply, unit};
use crate::{
    context::{Context, Stop},
    effect::{Entry, KeptSettings},
    facts::{Fact, outgoing as fact},
    judge::unit as judge,
    outcome::{Figure, Subject},
    prompt::Act,
};
use alloc::{format, string::String};
use plumeline_base::time::seconds;
use plumeline_detector::{Abilities, Identity, Trouble, ask};

/// So often the cable is asked to be moved.
const CABLE_ASKED: u32 = 3;

pub(crate) async fn as_found(ctx: Context) -> Result<(), Stop> {
    let Some(planned) = ctx.inputs().plan.outgoing.clone() else {
        ctx.found(judge::as_found(fact::not_planned()));
        return Ok(());
    };
    let (identity, abilities) = match identify_outgoing(&ctx).await {
        Ok(told) => told,
        Err(fact) => {
            ctx.found(judge::as_found(fact));
            return Ok(());
        }
    };
    ctx.note(Entry::Unit { role: "outgoing".into(), identity: identity.clone() });
    ctx.edit().outcome.outgoing = Some(identity.clone());
    ctx.found(judge::outgoing(&planned, &identity));
    unit::inhibit(&ctx, &abilities, Subject::Outgoing).await?;
    settings(&ctx, &identity).await;
    match ctx.unit_once(ask::ReadEvents { from: 0 }).await {
        Ok(events) => {
            ctx.remark(format!("the outgoing unit's event log has {} lines", events.len()));
            anchor::met(&ctx, &identity.serial, &events);
        }
        Err(trouble) => ctx.found(judge::as_found(fact::no_events(trouble))),
    }
    anchor::isolated(&ctx).await;
    flows(&ctx, &abilities).await
}

/// The unit on the cable, once it is not the replacement: what that one holds must not be taken for what was found.
async fn identify_outgoing(ctx: &Context) -> Result<(Identity, Abilities), Fact> {
    let mut serial = String::new();
    for _ in 0..CABLE_ASKED {
        let told = identify(ctx).await.map_err(fact::nothing)?;
        if !is_replacement(ctx, &told.0) {
            return Ok(told);
        }
        serial.clone_from(&told.0.serial);
        let text = format!(
            "The unit on the cable has the serial number {serial}: it is the replacement, not the outgoing unit. Connect the cable \
             to the outgoing unit. Done?"
        );
        ctx.ask_done(Act::BenchDone, text).await.map_err(|why| fact::bench_unit(&serial, why))?;
        unit::forget(ctx);
    }
    Err(fact::bench_unit(&serial, "it was still there when the cable was said to be moved"))
}

/// The unit that was tried on the bench, or whose serial number the plan gives to the replacement.
fn is_replacement(ctx: &Context, told: &Identity) -> bool {
    let on_bench = ctx.get().unit.bench.as_ref().map(|(unit, _)| unit.serial.clone());
    let planned = ctx.inputs().plan.replacement.serial.clone();
    !told.serial.is_empty() && [on_bench, planned].into_iter().flatten().any(|serial| serial == told.serial)
}

/// A dead unit must not hold the job up: a few tries, not the whole stage.
async fn identify(ctx: &Context) -> Result<(Identity, Abilities), Trouble> {
    let mut last = Trouble::Silent;
    let rules = &ctx.inputs().plan.advanced.as_found.clone();
    for k in 0..rules.tries {
        if k > 0 {
            ctx.sleep(seconds(rules.apart_s)).await;
        }
        match ctx.unit_once(ask::Identify).await {
            Ok(told) => return Ok(told),
            Err(trouble) => last = trouble,
        }
    }
    Err(last)
}

async fn settings(ctx: &Context, identity: &Identity) {
    let fact = match ctx.unit_once(ask::ReadSettings).await {
        Ok(settings) => {
            unit::keep(ctx, KeptSettings::AsFound, &settings, identity);
            fact::settings(settings.items.len())
        }
        Err(trouble) => fact::no_settings(trouble),
    };
    ctx.found(judge::as_found(fact));
}

/// Flows and current, averaged where the unit streams readings and once where it does not.
async fn flows(ctx: &Context, abilities: &Abilities) -> Result<(), Stop> {
    if abilities.readings.streams() && abilities.flow_per_inlet {
        ctx.start_readings().await?;
        flow::as_found_flows(ctx).await;
        if let (_, Some(amps)) = supply::told(ctx).await {
            let expanded = flow::coverage_factor(&ctx.inputs()) * amps.u();
            ctx.edit().outcome.supply.outgoing = Some(Figure::with(amps.value, expanded, "A"));
        }
        ctx.stop_readings().await;
        return Ok(());
    }
    match ctx.unit_once(ask::ReadOnce { look: ask::Look::Flows }).await {
        Ok(reading) => flow::as_found_once(ctx, &reading),
        Err(trouble) => ctx.found(judge::as_found(fact::no_flows(trouble))),
    }
    Ok(())
}
