//! What the wires mean: each output operated by itself must operate its own input at the panel and no other; and an inhibit
//! that nobody renews must raise its fault before it gives anything back.
use super::{purge, unit};
use crate::{
    answers::one_of,
    context::{Context, Stop},
    facts::{
        Fact, Reason,
        inhibit::NOT_SEEN,
        outputs::{self as fact, By},
    },
    judge::outputs::{self as judge, Lapsed, Operated},
    outcome::{Finding, Subject},
    plan::Wire,
    prompt::Act,
    readings::Timed,
};
use alloc::{format, string::String};
use core::time::Duration;
use plumeline_base::{input::Answer, time::seconds};
use plumeline_detector::{
    DRIVE_S, Faults, Request, ask,
    ask::Look,
    bit,
    driver::{Means, Wants},
};

/// Each output in use is operated; the panel must show what it stands for, and then no longer.
pub(crate) async fn outputs(ctx: Context) -> Result<(), Stop> {
    let Some(abilities) = ctx.abilities().filter(|a| a.drive_outputs) else {
        ctx.found(judge::of_unit(fact::cannot_operate()));
        return Ok(());
    };
    let inputs = ctx.inputs();
    if ctx.get().stream.hz.is_none() {
        ctx.start_readings().await?;
    }
    if !ctx.get().inhibit.on {
        unit::inhibit(&ctx, &abilities, Subject::Replacement).await?;
    }
    each(&ctx, abilities.outputs).await;
    // What a hand holds back has no lease that could lapse.
    if abilities.inhibit && inputs.plan.outputs.lapse && is_leased(&ctx) {
        lapse(&ctx).await;
    }
    Ok(())
}

/// Every output that the unit has, its description names or the wiring sheet names.
async fn each(ctx: &Context, has: u8) {
    let described = match ctx.replacement(|u| u.description().map(|d| d.outputs.len())) {
        Ok(outputs) => u8::try_from(outputs).unwrap_or(u8::MAX),
        Err(why) => return ctx.found(judge::of_unit(fact::unknown(&why, why.remedy()))),
    };
    let inputs = ctx.inputs();
    let wires = &inputs.plan.outputs.wires;
    let most = wires.iter().map(|w| w.output).fold(has.max(described), u8::max);
    let mut any = false;
    for output in 1..=most {
        let wire = wires.iter().find(|w| w.output == output);
        let wiring = ctx.replacement(|u| {
            let sheet = wire.map(|w| (w.function.as_str(), u.function_called(output, &w.function)));
            judge::wiring(sheet, u.output(output))
        });
        let fact = match wiring {
            Ok(None) => continue,
            Ok(Some(unit)) => watched(ctx, output, &unit.said, wire).await,
            Err(differs) => *differs,
        };
        any = true;
        ctx.found(judge::of_output(output, fact));
    }
    if !any {
        ctx.found(judge::of_unit(fact::none_in_use()));
    }
}

/// Operates one output; once more from the beginning where the job was paused meanwhile: the drive ended with it, and a lapsed
/// inhibit operates outputs by its own fault.
async fn watched(ctx: &Context, output: u8, function: &str, wire: Option<&Wire>) -> Fact {
    for _ in 0..ctx.inputs().plan.advanced.outputs.most_again {
        let paused = ctx.paused();
        let fact = one(ctx, output, function, wire).await;
        if ctx.paused() == paused {
            return fact;
        }
        ctx.remark(format!("the job was paused while output {output} was tried: it is operated anew"));
        held_back(ctx).await;
    }
    fact::panel_not_told(Reason(&Answer::Cannot("the job was paused each time".into())))
}

/// The inhibit is on a lease: what a hand holds back has none.
fn is_leased(ctx: &Context) -> bool {
    ctx.means(&Request::RenewInhibit) == Means::Protocol
}

/// Waits until the inhibit holds again.
async fn held_back(ctx: &Context) -> bool {
    if !is_leased(ctx) || ctx.is_asked(Look::State) {
        return ctx.get().inhibit.on;
    }
    let holds =
        |t: &Timed| t.reading.inhibited() == Some(true) && t.reading.has_fault(Faults::INHIBIT_LAPSED) == Some(false);
    let within = seconds(ctx.inputs().plan.advanced.outputs.lapse_shown_s);
    ctx.until_reading(within, holds).await.is_some()
}

/// Operates one output and finds out what that does.
async fn one(ctx: &Context, output: u8, function: &str, wire: Option<&Wire>) -> Fact {
    let rules = &ctx.inputs().plan.advanced.outputs.clone();
    let before = ctx.until_shown(seconds(rules.shown_s), |_| true).await.and_then(|t| t.reading.outputs);
    if let Some(fact) = judge::before(function, before, bit(output)) {
        return fact;
    }
    let rest = before.unwrap_or(0);
    if let Err(trouble) = ctx.unit(ask::Drive { output, on: true }).await {
        return fact::not_operated(&trouble, trouble.remedy());
    }
    ctx.sleep(seconds(rules.panel_s)).await;
    let mut never = false;
    let alone = ctx
        .until_shown(seconds(rules.shown_s), |t| {
            never = is_on(t, output) == Some(false);
            t.reading.outputs == Some(rest | bit(output))
        })
        .await
        .is_some();
    let input = wire.and_then(|w| w.input);
    let shows = match input {
        Some(n) => seen(ctx, n, true).await,
        None => panel_shows(ctx, output, function, wire, alone && !ctx.is_asked(Look::State)).await,
    };
    let released = ctx.unit(ask::Drive { output, on: false }).await.map(|_| ());
    ctx.sleep(seconds(rules.panel_s)).await;
    let clears = match input {
        Some(n) => seen(ctx, n, false).await,
        None => {
            let text = format!("Output {output} is at rest again. Has the panel's input cleared?");
            ctx.ask(Act::PanelClear { output }, text, Wants::YesNo).await.1
        }
    };
    let at_rest = ctx.until_shown(seconds(rules.shown_s), |t| is_on(t, output) == Some(false)).await.is_some();
    let by = input.map_or(By::Operator, By::Input);
    judge::operated(function, &Operated { shows, clears, released, alone: alone && at_rest, never, by })
}

/// By a reading: the output is operated.
fn is_on(t: &Timed, output: u8) -> Option<bool> {
    t.reading.outputs.map(|on| on & bit(output) != 0)
}

/// What the panel shows while the output is operated. An answer given when the unit no longer drives it tells nothing of its
/// wire: the output is operated anew and the question asked again. `driven`: the unit's readings showed it.
async fn panel_shows(ctx: &Context, output: u8, function: &str, wire: Option<&Wire>, driven: bool) -> Answer {
    const WORDS: &[(&str, &str)] = &[
        ("yes", "the panel shows exactly this input"),
        ("no", "the panel does not show exactly this input"),
        ("again", "the output is to be operated anew"),
    ];
    let called = wire.and_then(|w| w.panel.as_deref());
    let called = called.map_or_else(String::new, |p| format!(", at the panel \"{p}\","));
    let mut lapsed = "";
    for _ in 0..ctx.inputs().plan.advanced.outputs.most_again {
        let text = format!(
            "{lapsed}Output {output} stands for \"{function}\"{called} and is operated now, for {DRIVE_S} s. Does the panel show exactly \
             that input?"
        );
        let act = Act::PanelShows { output, function: function.into() };
        let answer = ctx.ask(act, text, one_of(WORDS)).await.1;
        let still = !driven || ctx.latest().is_some_and(|t| is_on(&t, output) == Some(true));
        match answer {
            Answer::Yes | Answer::No | Answer::NoBecause(_) if !still => {
                lapsed = "The unit no longer operated the output when you answered: not taken. ";
                ctx.remark(format!("output {output} was no longer operated when the answer came: it is operated anew"));
            }
            Answer::Text(word) if word == "again" => lapsed = "",
            answer => return answer,
        }
        if let Err(trouble) = ctx.unit(ask::Drive { output, on: true }).await {
            return Answer::Cannot(format!("it could not be operated again: {trouble}"));
        }
        ctx.sleep(seconds(ctx.inputs().plan.advanced.outputs.panel_s)).await;
    }
    Answer::Cannot("the drive had lapsed each time before the answer".into())
}

/// What an input of the unit says of the panel's reaction, in place of a person.
async fn seen(ctx: &Context, input: u8, on: bool) -> Answer {
    let rules = &ctx.inputs().plan.advanced.outputs.clone();
    if ctx
        .until_reading(seconds(rules.shown_s), |t| t.reading.inputs.is_some_and(|all| (all & bit(input) != 0) == on))
        .await
        .is_some()
    {
        Answer::Yes
    } else if ctx.latest().is_some_and(|t| t.reading.inputs.is_some()) {
        Answer::No
    } else {
        Answer::Cannot("readings stopped, or do not tell the inputs".into())
    }
}

/// So often an inhibit is left to lapse whose readings were missing.
const LAPSES: usize = 2;

/// A lease is not renewed once, at a moment when nothing hangs on it: the fault must come first, the outputs stay held
/// back meanwhile, and the inhibit is regained.
async fn lapse(ctx: &Context) {
    purge::smoke_left(ctx).await;
    let mut finding = lapsed_once(ctx).await;
    for _ in 1..LAPSES {
        if finding.code != NOT_SEEN {
            break;
        }
        ctx.remark("readings were missing while an inhibit was left to lapse: it is tried once more");
        finding = lapsed_once(ctx).await;
    }
    ctx.found(finding);
}
async fn lapsed_once(ctx: &Context) -> Finding {
    let rules = &ctx.inputs().plan.advanced.outputs.clone();
    let calm = |t: &Timed| {
        t.reading.levels_standing() == Some(0) && t.reading.has_fault(Faults::INHIBIT_LAPSED) == Some(false)
    };
    if ctx.until_reading(seconds(rules.shown_s), calm).await.is_none() || !ctx.get().inhibit.on {
        return judge::lapsed(None);
    }
    ctx.edit().inhibit.renewing = false;
    // Without its answer the unit may never have been told, or have lapsed and been asked anew in the silence.
    let mut whole = false;
    let fault = match ctx.unit(ask::Inhibit { lease: seconds(rules.lapsing_s) }).await {
        Ok(_) => {
            let from = ctx.now();
            let lapsed = |t: &Timed| t.reading.has_fault(Faults::INHIBIT_LAPSED) == Some(true);
            let shown;
            (shown, whole) = ctx.watched(seconds(rules.lapse_shown_s), lapsed).await;
            shown.map(|t| (t.at.since(from).as_secs_f64(), t.reading.inhibited()))
        }
        Err(_) => None,
    };
    let lease = Duration::from_secs(u64::from(ctx.inputs().plan.link.inhibit_lease_s));
    let regained = ctx.unit(ask::Inhibit { lease }).await.is_ok();
    {
        let mut s = ctx.edit();
        s.inhibit.renewing = true;
        s.inhibit.on = regained;
    }
    let regained = regained && held_back(ctx).await;
    judge::lapsed(Some(Lapsed { fault, regained, readings: whole && ctx.faults().is_some() }))
}
