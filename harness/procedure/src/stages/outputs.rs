//! What the wires mean: each output operated by itself must operate its own input at the panel and no other; and an inhibit
//! that nobody renews must raise its fault before it gives anything back.
use super::unit;
use crate::{
    context::{Context, Stop},
    facts::{
        Fact,
        outputs::{self as fact, By},
    },
    judge::outputs::{self as judge, Lapsed, Operated},
    outcome::Subject,
    plan::Wire,
    prompt::Act,
};
use alloc::{format, string::String};
use core::time::Duration;
use plumeline_base::input::Answer;
use plumeline_detector::{Faults, Request, bit, driver::Wants, settings::Value};

/// A panel takes its time to show an input.
const PANEL: Duration = Duration::from_secs(3);
/// How soon a unit's own readings must show what was asked of it.
const SHOWN: Duration = Duration::from_secs(5);
/// The lease that is let lapse, and how long its fault may take.
const LAPSING: Duration = Duration::from_secs(5);
const LAPSE_SHOWN: Duration = Duration::from_secs(30);

/// What an output is set to stand for; `None` if it is unused or unknown.
pub(super) fn function(ctx: &Context, output: u8) -> Option<String> {
    let s = ctx.get();
    match &s.as_left.as_ref()?.get(&format!("output.{output}.function"))?.value {
        // Makers have words of their own for an output that follows nothing.
        Value::Text(words) if !matches!(words.as_str(), "" | "none" | "nothing" | "unused") => Some(words.clone()),
        _ => None,
    }
}

/// Each output in use is operated; the panel must show what it stands for, and then no longer.
pub(crate) async fn outputs(ctx: Context) -> Result<(), Stop> {
    let Some(abilities) = ctx.abilities().filter(|a| a.drive_outputs) else {
        ctx.found(judge::of_unit(fact::cannot_operate()));
        return Ok(());
    };
    let inputs = ctx.inputs();
    let plan = &inputs.plan.outputs;
    if ctx.get().stream.is_none() {
        ctx.start_readings().await?;
    }
    if !ctx.get().inhibited {
        unit::inhibit(&ctx, &abilities, Subject::Replacement).await?;
    }
    let mut any = false;
    for output in 1..=abilities.outputs {
        let wire = plan.wires.iter().find(|w| w.output == output);
        let function = function(&ctx, output);
        let fact = match judge::wiring(wire.map(|w| &*w.function), function.as_deref()) {
            Ok(None) => continue,
            Ok(Some(function)) => one(&ctx, output, function, wire).await,
            Err(differs) => differs,
        };
        any = true;
        ctx.found(judge::of_output(output, fact));
    }
    if !any {
        ctx.found(judge::of_unit(fact::none_in_use()));
    }
    if abilities.inhibit && plan.lapse {
        lapse(&ctx).await;
    }
    Ok(())
}

/// Operates one output and finds out what that does.
async fn one(ctx: &Context, output: u8, function: &str, wire: Option<&Wire>) -> Fact {
    let before = ctx.until_reading(SHOWN, |_| true).await.map(|t| t.reading.outputs);
    if let Some(fact) = judge::before(function, before, bit(output)) {
        return fact;
    }
    let rest = before.unwrap_or(0);
    if let Err(trouble) = ctx.unit(Request::Drive { output, on: true }).await {
        return fact::not_operated(&trouble, trouble.remedy());
    }
    ctx.sleep(PANEL).await;
    let alone = ctx.until_reading(SHOWN, |t| t.reading.outputs == rest | bit(output)).await.is_some();
    let input = wire.and_then(|w| w.input);
    let shows = match input {
        Some(n) => seen(ctx, n, true).await,
        None => {
            let called = wire.and_then(|w| w.panel.as_deref());
            let called = called.map_or_else(String::new, |p| format!(", at the panel \"{p}\","));
            let text = format!(
                "Output {output} stands for \"{function}\"{called} and is operated now. Does the panel show exactly that input?"
            );
            ctx.ask(Act::PanelShows { output, function: function.into() }, text, Wants::YesNo).await.1
        }
    };
    let released = ctx.unit(Request::Drive { output, on: false }).await.map(|_| ());
    ctx.sleep(PANEL).await;
    let clears = match input {
        Some(n) => seen(ctx, n, false).await,
        None => {
            let text = format!("Output {output} is at rest again. Has the panel's input cleared?");
            ctx.ask(Act::PanelClear { output }, text, Wants::YesNo).await.1
        }
    };
    let at_rest = ctx.until_reading(SHOWN, |t| t.reading.outputs & bit(output) == 0).await.is_some();
    let by = input.map_or(By::Operator, By::Input);
    judge::operated(function, &Operated { shows, clears, released, alone: alone && at_rest, by })
}

/// What an input of the unit says of the panel's reaction, in place of a person.
async fn seen(ctx: &Context, input: u8, on: bool) -> Answer {
    if ctx.until_reading(SHOWN, |t| (t.reading.inputs & bit(input) != 0) == on).await.is_some() {
        Answer::Yes
    } else if ctx.latest().is_some() {
        Answer::No
    } else {
        Answer::Cannot("readings stopped".into())
    }
}

/// A lease is not renewed once, at a moment when nothing hangs on it: the fault must come first, the outputs stay held
/// back meanwhile, and the inhibit is regained.
async fn lapse(ctx: &Context) {
    let calm = |t: &crate::readings::Timed| {
        t.reading.levels | t.reading.latched == 0 && !t.reading.faults.has(Faults::INHIBIT_LAPSED)
    };
    if ctx.until_reading(SHOWN, calm).await.is_none() || !ctx.get().inhibited {
        ctx.found(judge::lapsed(None));
        return;
    }
    ctx.edit().renewing = false;
    let fault = match ctx.unit(Request::Inhibit { lease: LAPSING }).await {
        Ok(_) => {
            let from = ctx.now();
            let shown = ctx.until_reading(LAPSE_SHOWN, |t| t.reading.faults.has(Faults::INHIBIT_LAPSED)).await;
            shown.map(|t| (t.at.since(from).as_secs_f64(), t.reading.inhibited()))
        }
        Err(_) => None,
    };
    let lease = Duration::from_secs(u64::from(ctx.inputs().plan.inhibit_lease_s));
    let regained = ctx.unit(Request::Inhibit { lease }).await.is_ok();
    {
        let mut s = ctx.edit();
        s.renewing = true;
        s.inhibited = regained;
    }
    let holds = |t: &crate::readings::Timed| t.reading.inhibited() && !t.reading.faults.has(Faults::INHIBIT_LAPSED);
    let regained = regained && ctx.until_reading(LAPSE_SHOWN, holds).await.is_some();
    ctx.found(judge::lapsed(Some(Lapsed { fault, regained, readings: ctx.latest().is_some() })));
}
