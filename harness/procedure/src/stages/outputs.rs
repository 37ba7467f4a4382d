//! What the wires mean: each output operated by itself must operate its own input at the panel and no other; and an inhibit
//! that nobody renews must raise its fault before it gives anything back.
use super::unit;
use crate::{
    context::{Context, Stop},
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Wire,
    prompt::Act,
};
use alloc::{format, string::String};
use core::time::Duration;
use plumeline_base::{Verdict, input::Answer, time::seconds};
use plumeline_detector::{Faults, Request, driver::Wants, settings::Value};

/// The bit of output or input `n`, from 1.
pub(super) fn bit(n: u8) -> u32 {
    n.checked_sub(1).and_then(|n| 1u32.checked_shl(n.into())).unwrap_or(0)
}

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
    let stage = StageKind::Outputs;
    let Some(abilities) = ctx.abilities().filter(|a| a.drive_outputs) else {
        ctx.found(Finding::new(stage, Subject::Replacement, Verdict::Undecided, "outputs can't be operated this way"));
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
        if function.is_none() && wire.is_none() {
            continue;
        }
        any = true;
        let f = one(&ctx, output, function, wire).await;
        ctx.found(f);
    }
    if !any {
        ctx.found(Finding::new(
            stage,
            Subject::Replacement,
            Verdict::Undecided,
            "no output is in use by the settings read back",
        ));
    }
    if abilities.inhibit && plan.lapse {
        lapse(&ctx).await;
    }
    Ok(())
}

/// Operates one output and finds out what that does.
async fn one(ctx: &Context, output: u8, function: Option<String>, wire: Option<&Wire>) -> Finding {
    let rules = &ctx.inputs().plan.advanced.outputs.clone();
    let mut f = Finding::new(StageKind::Outputs, Subject::Output(output), Verdict::Undecided, "");
    let sheet = |f: &mut Finding| {
        f.next = Some(
            "compare settings and wires with the wiring sheet, put them right, and operate every output again".into(),
        );
    };
    let function = match (function, wire) {
        (Some(function), Some(wire)) if wire.function != function => {
            f.verdict = Verdict::Fail;
            f.says = format!("the wiring sheet has \"{}\" here, the settings have \"{function}\"", wire.function);
            sheet(&mut f);
            return f;
        }
        (None, Some(wire)) => {
            f.verdict = Verdict::Fail;
            f.says = format!("the wiring sheet has \"{}\" here, the settings leave it unused", wire.function);
            sheet(&mut f);
            return f;
        }
        (Some(function), _) => function,
        (None, None) => return f,
    };
    let input = wire.and_then(|w| w.input);
    let before = ctx.until_reading(seconds(rules.shown_s), |_| true).await.map(|t| t.reading.outputs);
    match before {
        Some(on) if on & bit(output) != 0 => {
            f.says = format!("\"{function}\" is active already for another reason: driving it would show nothing");
            f.next = Some("clear what holds it active, then operate every output again".into());
            return f;
        }
        Some(_) => {}
        None => {
            f.says = "no fresh reading shows whether the output is at rest".into();
            f.next = Some("bring the readings back first".into());
            return f;
        }
    }
    let rest = before.unwrap_or(0);
    if let Err(trouble) = ctx.unit(Request::Drive { output, on: true }).await {
        f.says = format!("the output could not be operated: {trouble}");
        f.next = Some(trouble.remedy().into());
        return f;
    }
    ctx.sleep(seconds(rules.panel_s)).await;
    let alone = ctx.until_reading(seconds(rules.shown_s), |t| t.reading.outputs == rest | bit(output)).await.is_some();
    let called = wire.and_then(|w| w.panel.as_deref()).map_or_else(String::new, |p| format!(", at the panel \"{p}\","));
    let shows = match input {
        Some(n) => seen(ctx, n, true).await,
        None => {
            let text = format!(
                "Output {output} stands for \"{function}\"{called} and is operated now. Does the panel show exactly that input?"
            );
            ctx.ask(Act::PanelShows { output, function: function.clone() }, text, Wants::YesNo).await.1
        }
    };
    let off = ctx.unit(Request::Drive { output, on: false }).await;
    ctx.sleep(seconds(rules.panel_s)).await;
    let clear = match input {
        Some(n) => seen(ctx, n, false).await,
        None => {
            let text = format!("Output {output} is at rest again. Has the panel's input cleared?");
            ctx.ask(Act::PanelClear { output }, text, Wants::YesNo).await.1
        }
    };
    let at_rest = ctx.until_reading(seconds(rules.shown_s), |t| t.reading.outputs & bit(output) == 0).await.is_some();
    let by = input.map_or_else(|| "the operator says".into(), |n| format!("input {n} shows"));
    (f.verdict, f.says) = match (&shows, &clear, &off) {
        (Answer::Yes, Answer::Yes, Ok(_)) if alone && at_rest => {
            (Verdict::Pass, format!("operates \"{function}\" at the panel and no other, and clears ({by})"))
        }
        (Answer::Yes, Answer::Yes, Ok(_)) => {
            (Verdict::Undecided, "the unit's own readings do not show that this output alone was operated".into())
        }
        (Answer::No, ..) => (Verdict::Fail, format!("does not operate \"{function}\" at the panel ({by})")),
        (Answer::Yes, Answer::No, _) => (Verdict::Fail, format!("\"{function}\" does not clear at the panel ({by})")),
        _ => (Verdict::Undecided, "the panel's reaction was not told".into()),
    };
    if f.verdict == Verdict::Fail {
        f.likely = Some(
            "wires on the wrong terminals, or another contact sense (the order of outputs differs from unit to unit)"
                .into(),
        );
        sheet(&mut f);
    }
    f
}

/// What an input of the unit says of the panel's reaction, in place of a person.
async fn seen(ctx: &Context, input: u8, on: bool) -> Answer {
    let rules = &ctx.inputs().plan.advanced.outputs.clone();
    if ctx.until_reading(seconds(rules.shown_s), |t| (t.reading.inputs & bit(input) != 0) == on).await.is_some() {
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
    let rules = &ctx.inputs().plan.advanced.outputs.clone();
    let mut f = Finding::new(StageKind::Outputs, Subject::Replacement, Verdict::Undecided, "");
    let calm = |t: &crate::readings::Timed| {
        t.reading.levels | t.reading.latched == 0 && !t.reading.faults.has(Faults::INHIBIT_LAPSED)
    };
    if ctx.until_reading(seconds(rules.shown_s), calm).await.is_none() || !ctx.get().inhibited {
        f.says =
            "the lapse of the inhibit was not tried: air and latches were not clear, or nothing was inhibited".into();
        ctx.found(f);
        return;
    }
    ctx.edit().renewing = false;
    let shown = match ctx.unit(Request::Inhibit { lease: seconds(rules.lapsing_s) }).await {
        Ok(_) => {
            let from = ctx.now();
            let shown =
                ctx.until_reading(seconds(rules.lapse_shown_s), |t| t.reading.faults.has(Faults::INHIBIT_LAPSED)).await;
            shown.map(|t| (t.at.since(from).as_secs_f64(), t.reading.inhibited))
        }
        Err(_) => None,
    };
    let lease = Duration::from_secs(u64::from(ctx.inputs().plan.link.inhibit_lease_s));
    let regained = ctx.unit(Request::Inhibit { lease }).await.is_ok();
    {
        let mut s = ctx.edit();
        s.renewing = true;
        s.inhibited = regained;
    }
    let holds = |t: &crate::readings::Timed| t.reading.inhibited && !t.reading.faults.has(Faults::INHIBIT_LAPSED);
    let again = regained && ctx.until_reading(seconds(rules.lapse_shown_s), holds).await.is_some();
    f.measured = shown.map(|(after, _)| Figure::plain(after, "s"));
    (f.verdict, f.says) = match (shown, again) {
        (Some((_, true)), true) => (
            Verdict::Pass,
            "an inhibit that nobody renewed raised its fault while the outputs were still held back, and was regained"
                .into(),
        ),
        (Some((_, false)), _) => {
            (Verdict::Fail, "the lapsed inhibit gave the outputs back before its fault was shown".into())
        }
        (Some(_), false) => (Verdict::Undecided, "the lapsed inhibit could not be regained".into()),
        (None, _) if ctx.latest().is_none() => (Verdict::Undecided, "readings stopped while the inhibit lapsed".into()),
        (None, _) => (Verdict::Fail, "an inhibit that nobody renewed raised no fault".into()),
    };
    if !f.verdict.is_pass() {
        f.next = Some("do not rely on the unit's inhibit to end by itself; tell its maker".into());
    }
    ctx.found(f);
}
