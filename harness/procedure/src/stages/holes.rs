//! Prove flow: each pipe against the prediction, then every reachable hole shown to draw by closing it in turn.
//!
//! A closed hole's inlet must drop by about its predicted share. Drops are differences of one sensor, so its calibration
//! bias drops out; what is left is scatter and the prediction's own uncertainty.
use super::{
    as_found,
    flow::{self, L_MIN, MeanFlow, average},
    presence::presence,
    together::Shown,
};
use crate::{
    context::{Context, Stop, list},
    job::{JobInputs, Pipe, hole_words},
    judge::judge,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::{HoleChoice, HoleRef},
    prompt::Act,
};
use alloc::{format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{Verdict, quantity::Estimate, time::seconds};
use plumeline_measure::decide::{Because, Limits};

const STAGE: StageKind = StageKind::ProveFlow;

/// The holes of a pipe that the plan wants closed, and those it leaves out.
pub(crate) fn chosen(inputs: &JobInputs, pipe: &Pipe) -> (Vec<(HoleRef, usize)>, Vec<HoleRef>) {
    let (mut take, mut leave) = (Vec::new(), Vec::new());
    for (hole, opening) in inputs.holes(pipe) {
        let wanted = match &inputs.plan.holes.choice {
            HoleChoice::Reachable => inputs.pipework.openings[opening].reachable,
            HoleChoice::These(list) => list.contains(&hole),
            HoleChoice::None => false,
        };
        if wanted { take.push((hole, opening)) } else { leave.push(hole) }
    }
    (take, leave)
}

/// Flow of each pipe against the prediction, then hole by hole.
pub(crate) async fn prove_flow(ctx: Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    if ctx.get().stream.is_none() {
        ctx.start_readings().await?;
    }
    let flow::Flows { by_pipe, together, measured } = flow::against_prediction(&ctx).await;
    let mut shown = Vec::new();
    let failed = by_pipe.iter().any(|(_, f)| f.verdict == Verdict::Fail);
    for (pipe, mut finding) in by_pipe {
        // Over a pipe that already fails, single holes prove nothing more: first things first.
        if failed {
            ctx.found(finding);
            continue;
        }
        let (holes, left_out) = chosen(&inputs, &pipe);
        let mut verdicts = Vec::new();
        let mut by_smoke: Vec<HoleRef> = Vec::new();
        for (hole, opening) in &holes {
            let mut found = close_one(&ctx, &inputs, &pipe, *hole, *opening).await?;
            if found.too_small {
                by_smoke.push(*hole);
                found.finding = presence(&ctx, &inputs, *hole).await?;
            }
            verdicts.push(found.finding.verdict);
            ctx.found(found.finding);
        }
        let (planned, left_out): (Vec<_>, Vec<_>) =
            left_out.into_iter().partition(|h| inputs.plan.smoke.presence.contains(h));
        for hole in planned {
            by_smoke.push(hole);
            let found = presence(&ctx, &inputs, hole).await?;
            verdicts.push(found.verdict);
            ctx.found(found);
        }
        if !by_smoke.is_empty() {
            let text = format!(
                "pipe {}: how much less or more than predicted holes {} draw (shown by smoke, which tells only that they draw)",
                pipe.inlet,
                list(by_smoke.iter().map(|h| h.number))
            );
            ctx.edit().outcome.could_have_missed.push(text);
        }
        suction_at_last_hole(&ctx, &inputs, &pipe);
        if finding.verdict == Verdict::Undecided && finding.decision.is_some() {
            by_holes(&mut finding, &verdicts, &left_out, &together.shows(&ctx, pipe.inlet));
        }
        if !left_out.is_empty() {
            let text = format!(
                "pipe {}: a blocked hole among {} (not closed in turn)",
                pipe.inlet,
                list(left_out.iter().map(|h| h.number))
            );
            ctx.edit().outcome.could_have_missed.push(text);
        }
        let holes_shown = left_out.is_empty() && !verdicts.is_empty() && verdicts.iter().all(|v| *v == Verdict::Pass);
        if finding.verdict == Verdict::Pass && holes_shown {
            shown.push(pipe.inlet);
        }
        ctx.found(finding);
    }
    for finding in as_found::against_as_found(&ctx, &measured, &shown) {
        ctx.found(finding);
    }
    smallest_missed(&ctx, &inputs);
    Ok(())
}

/// What flow alone left open, the holes may settle: all of them, or it stays open. What shifts a whole pipe (a leak near the
/// unit) or all pipes alike (filter, fan, exhaust) no hole shows: that the flows of all pipes together must.
fn by_holes(finding: &mut Finding, verdicts: &[Verdict], left_out: &[HoleRef], together: &Shown) {
    if verdicts.is_empty() || Verdict::over(verdicts.iter().copied()) != Verdict::Pass {
        finding.next =
            Some("prove by holes: close each reachable hole in turn; put right those that do not draw".into());
        return;
    }
    if !left_out.is_empty() {
        finding.says =
            format!("{}; holes {} were not reached: unproven", finding.says, list(left_out.iter().map(|h| h.number)));
        finding.next = Some("reach the holes that are left, or show by smoke or manometer that they draw".into());
        return;
    }
    let (likely, next, says) = match together {
        Shown::Sound(says) => {
            let flow = finding.says.replace(": prove by holes", "").replace(": too near the limit to tell", "");
            finding.verdict = Verdict::Pass;
            finding.says = format!("{flow}; every hole was shown to draw; {says}");
            return;
        }
        Shown::ThisPipe(says) => (
            "a leak near the unit, a pipe that is not fully seated, or a crushed pipe: each shifts a whole pipe",
            "look at the seat of this pipe and along it, then prove flow again",
            says.as_str(),
        ),
        Shown::AllPipes(says) => (
            "the filter, the fan setting or the exhaust: each shifts all pipes alike",
            "check filter, fan setting and exhaust, then prove flow again",
            says.as_str(),
        ),
        Shown::Unknown => ("", "prove flow again", "the pipes together show nothing"),
    };
    finding.says = format!("{}; every hole was shown to draw; {says}", finding.says);
    finding.likely = (!likely.is_empty()).then(|| likely.into());
    finding.next = Some(next.into());
}

/// What closing one hole showed.
struct Closed {
    finding: Finding,
    /// The predicted drop drowns in the noise: closing can't show it.
    too_small: bool,
}
impl From<Finding> for Closed {
    fn from(finding: Finding) -> Self {
        Self { finding, too_small: false }
    }
}

async fn close_one(
    ctx: &Context,
    inputs: &JobInputs,
    pipe: &Pipe,
    hole: HoleRef,
    opening: usize,
) -> Result<Closed, Stop> {
    let kind = inputs.pipework.openings[opening].kind;
    let words = hole_words(hole, kind);
    let mut f = Finding::new(
        STAGE,
        Subject::Hole(hole.inlet, hole.number),
        Verdict::Undecided,
        format!("{words} was not closed"),
    );
    f.limit = Some(inputs.plan.holes.agreement.clone());
    let pipes = inputs.pipes();
    let span = seconds(inputs.plan.holes.average_s);
    let wait = seconds(inputs.plan.holes.wait_s);
    let says_open = format!("{words}: flow while open");
    let mut open = average(ctx, &pipes, span, &says_open).await;
    let own = pipes.iter().position(|p| p.inlet == pipe.inlet);
    let span = long_enough(inputs, opening, own.and_then(|i| open.get(i)?.as_ref().ok()), span);
    if span > seconds(inputs.plan.holes.average_s) {
        open = average(ctx, &pipes, span, &says_open).await;
    }
    if let Err(why) =
        ctx.ask_done(Act::CloseHole(hole), format!("Close {words} (tape or a finger) and keep it closed. Done?")).await
    {
        f.says = format!("{words} was not closed: {why}");
        f.next = Some("show by smoke or manometer that it draws, or reach it another way".into());
        return Ok(f.into());
    }
    ctx.sleep(wait).await;
    let closed = average(ctx, &pipes, span, &format!("{words}: flow while closed")).await;
    if let Err(why) = ctx.ask_done(Act::OpenHole(hole), format!("Open {words} again. Done?")).await {
        // A hole that stays closed is a defect of our own making: say so, loudly.
        f.verdict = Verdict::Fail;
        f.says = format!("{words} was closed for the check and not opened again: {why}");
        f.next = Some("open it, then prove flow again".into());
        return Ok(f.into());
    }
    ctx.sleep(wait).await;
    let Some(predicted) = inputs.predicted(opening) else {
        f.says = format!("the pipework predicts nothing for {words}");
        return Ok(f.into());
    };
    // What keeps its own inlet from being read is told; the others only serve to notice crossed pipes.
    if let Some(error) = own.and_then(|i| open.get(i)?.as_ref().err().or(closed.get(i)?.as_ref().err())) {
        f.says = format!("the flow while {words} was open or closed could not be measured: {error}");
        f.next = Some(error.remedy().into());
        return Ok(f.into());
    }
    let drops: Vec<Option<Drop>> =
        open.iter().zip(&closed).map(|(a, b)| Drop::between(a.as_ref().ok()?, b.as_ref().ok()?)).collect();
    // As a share of the flow while open: the calibration drops out.
    let flow = own.and_then(|i| open.get(i)?.as_ref().ok()).map_or(f64::NAN, |m| m.estimate.value);
    let share = predicted.closed_share;
    let expected = Estimate::new(share.value * flow, share.u_common * flow, share.u_individual * flow);
    let too_small = judge_drop(ctx, inputs, pipe, &words, &pipes, &drops, &expected, &mut f);
    Ok(Closed { finding: f, too_small })
}

/// Averages longer where scatter would leave a sound hole near the limit: up to this many times as long.
const MOST_LONGER: f64 = 6.0;
/// Standard uncertainty of a drop that settles it, as a part of what the drop may be off. At three tenths a fifth of the
/// sound jobs of a campaign were left undecided at a hole; a tenth leaves most of it to the hole itself.
const SETTLES: f64 = 0.1;

/// How long to average so that this hole's drop stands out of the scatter, by the scatter that was seen.
fn long_enough(inputs: &JobInputs, opening: usize, seen: Option<&MeanFlow>, span: Duration) -> Duration {
    let (Some(seen), Some(predicted)) = (seen, inputs.predicted(opening)) else { return span };
    let wanted = SETTLES * inputs.plan.holes.agreement.value * predicted.closed_drop_m3_s.value;
    let has = seen.u_scatter * core::f64::consts::SQRT_2;
    let times = (has / wanted) * (has / wanted);
    if times > 1.0 && times.is_finite() { span.mul_f64(times.min(MOST_LONGER)) } else { span }
}

/// How much a flow fell when a hole was closed.
#[derive(Clone, Copy)]
struct Drop {
    value: f64,
    u: f64,
    dof: f64,
    window: (plumeline_base::Instant, plumeline_base::Instant),
}
impl Drop {
    fn between(open: &MeanFlow, closed: &MeanFlow) -> Option<Self> {
        let u = libm::hypot(open.u_scatter, closed.u_scatter);
        (u > 0.0).then(|| Self {
            value: open.estimate.value - closed.estimate.value,
            u,
            dof: open.dof.min(closed.dof),
            window: (open.window.0, closed.window.1),
        })
    }
}

#[expect(clippy::too_many_arguments, reason = "one judgement over everything that was measured at one hole")]
fn judge_drop(
    ctx: &Context,
    inputs: &JobInputs,
    pipe: &Pipe,
    words: &str,
    pipes: &[Pipe],
    drops: &[Option<Drop>],
    predicted: &Estimate,
    f: &mut Finding,
) -> bool {
    let k = flow::coverage_factor(inputs);
    f.expected = Some(Figure::with(predicted.value * L_MIN, predicted.u() * k * L_MIN, "L/min"));
    let own = pipes.iter().position(|p| p.inlet == pipe.inlet).and_then(|i| *drops.get(i)?);
    let Some(own) = own else {
        f.says = format!("the flow while {words} was open or closed could not be measured");
        return false;
    };
    f.measured = Some(Figure::with(own.value * L_MIN, own.u * k * L_MIN, "L/min"));
    f.window = Some(own.window);
    let three_sigma = 3.0 * own.u;
    // Another inlet that drops by more than this one, and clearly, takes the air of this hole: pipes crossed.
    let elsewhere =
        pipes.iter().zip(drops).filter(|(p, _)| p.inlet != pipe.inlet).filter_map(|(p, d)| Some((p.inlet, (*d)?)));
    let largest = elsewhere
        .filter(|(_, d)| d.value > 3.0 * d.u && d.value > own.value + three_sigma)
        .max_by(|a, b| a.1.value.total_cmp(&b.1.value));
    if let Some((inlet, d)) = largest {
        f.verdict = Verdict::Fail;
        f.says =
            format!("closing {words} lowered inlet {inlet} by {:.2} L/min, not inlet {}", d.value * L_MIN, pipe.inlet);
        f.likely = Some(format!("pipes {} and {inlet} are crossed", pipe.inlet));
        f.next = Some("put each pipe into the inlet of its own number, then prove flow again".into());
        return false;
    }
    if predicted.value < three_sigma {
        f.says = format!(
            "closing {words} should lower the flow by {:.2} L/min, less than three times the noise: flow can't show it",
            predicted.value * L_MIN
        );
        f.next = Some("show by smoke or manometer that this hole draws".into());
        return true;
    }
    // The hole's own share is what is predicted; its common uncertainty (drill, Cd) moves all holes alike.
    let drop =
        Estimate::new(own.value - predicted.value, predicted.u_common, libm::hypot(own.u, predicted.u_individual));
    let allowed = inputs.plan.holes.agreement.value * predicted.value;
    f.says = match judge(ctx, f, &drop, own.dof, &Limits::between(-allowed, allowed), None, L_MIN) {
        Some(Because::Within) => {
            format!("{words} draws: closing it lowered the flow by {:.2} L/min", own.value * L_MIN)
        }
        Some(Because::Outside) if own.value < predicted.value => {
            f.likely = Some("the hole is blocked, taped, or smaller than the pipework file says".into());
            f.next = Some("clear it outward from the unit's end (never blow into a unit), then close it again".into());
            format!("{words} draws too little: closing it lowered the flow by {:.2} L/min only", own.value * L_MIN)
        }
        Some(Because::Outside) => {
            f.likely = Some(
                "the hole is larger than the pipework file says, its cap is missing, or others are blocked".into(),
            );
            f.next = Some("measure the hole, look at the others, correct the pipework file if it is wrong".into());
            format!("{words} draws too much: closing it lowered the flow by {:.2} L/min", own.value * L_MIN)
        }
        _ => {
            f.next = Some("average for longer, or show by smoke or manometer that it draws".into());
            format!("closing {words} lowered the flow by {:.2} L/min: too near the limit to tell", own.value * L_MIN)
        }
    };
    false
}

/// The design's own check: enough suction at the last hole, by prediction.
fn suction_at_last_hole(ctx: &Context, inputs: &JobInputs, pipe: &Pipe) {
    let limit = &inputs.plan.limits.last_hole_suction;
    let Some((hole, p)) = inputs.holes(pipe).last().and_then(|(h, o)| Some((*h, inputs.predicted(*o)?))) else {
        return;
    };
    if p.suction_pa.value < limit.value {
        ctx.remark(format!(
            "pipe {}: the predicted suction at its last hole ({}) is {:.0} Pa, under the {:.0} Pa of {}: this is the design's, not the work's",
            pipe.inlet, hole.number, p.suction_pa.value, limit.value, limit.source
        ));
    }
}

/// In plain words, the smallest defect that each pipe's checks could have missed.
fn smallest_missed(ctx: &Context, inputs: &JobInputs) {
    let lines: Vec<String> = {
        let s = ctx.get();
        let pipes = s.outcome.pipes.iter();
        pipes
            .filter_map(|p| Some((p.inlet, p.smallest_visible?)))
            .map(|(inlet, visible)| {
                let agreement = inputs.plan.holes.agreement.value * 100.0;
                format!(
                    "pipe {inlet}: a change of its whole flow by less than {:.1} % (by flow alone), and a single closed-in-turn hole that draws up to {agreement:.0} % less or more than predicted",
                    visible * 100.0
                )
            })
            .collect()
    };
    ctx.edit().outcome.could_have_missed.extend(lines);
}
