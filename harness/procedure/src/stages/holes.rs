//! Prove flow: each pipe against the prediction, then every reachable hole shown to draw by closing it in turn.
//!
//! A closed hole's inlet must drop by about its predicted share, and by what the pipe's other holes let expect (see
//! [`super::compare`]). Drops are differences of one sensor, so its calibration bias drops out.
use super::{
    as_found,
    compare::{self, Held, Look},
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
use alloc::{format, rc::Rc, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{Verdict, quantity::Estimate, time::seconds};
use plumeline_measure::{
    Error,
    decide::{Because, Limits},
    joint::Seen,
};

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
    let flow::Flows { by_pipe, mut together, measured } = flow::against_prediction(&ctx).await;
    let failed = by_pipe.iter().any(|(_, f)| f.verdict == Verdict::Fail);
    let mut proven = Vec::new();
    for (pipe, finding) in by_pipe {
        // Over a pipe that already fails, single holes prove nothing more: first things first.
        if failed {
            ctx.found(finding);
            continue;
        }
        let by_holes = hole_by_hole(&ctx, &inputs, &pipe).await?;
        together.holes(pipe.inlet, &by_holes.seen);
        proven.push((pipe, finding, by_holes));
    }
    let mut shown = Vec::new();
    for (pipe, mut finding, ByHoles { verdicts, left_out, .. }) in proven {
        if finding.verdict == Verdict::Undecided && finding.decision.is_some() {
            by_holes(&mut finding, &verdicts, &left_out, &together.shows(&ctx, pipe.inlet));
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

/// What the holes of a pipe came to.
struct ByHoles {
    verdicts: Vec<Verdict>,
    /// Neither closed nor shown by smoke.
    left_out: Vec<HoleRef>,
    /// How far the drops were off their predictions.
    seen: Vec<Seen>,
}

/// Every hole of a pipe that is to be closed, in turn, and those that smoke shows.
async fn hole_by_hole(ctx: &Context, inputs: &JobInputs, pipe: &Pipe) -> Result<ByHoles, Stop> {
    let (holes, left_out) = chosen(inputs, pipe);
    let mut verdicts = Vec::new();
    let mut by_smoke: Vec<HoleRef> = Vec::new();
    let mut tell = |finding: Finding| {
        verdicts.push(finding.verdict);
        ctx.found(finding);
    };
    let mut turn = Turn::new(ctx, pipe);
    let mut held = Vec::new();
    for (hole, opening) in &holes {
        let base = turn.base();
        match turn.close(*hole, *opening, base).await? {
            Closed::Told(finding) => tell(finding),
            Closed::TooSmall => {
                by_smoke.push(*hole);
                tell(presence(ctx, inputs, *hole).await?);
                turn.interrupted();
            }
            Closed::Held(one) => held.push(one),
        }
    }
    let (findings, seen) = compare::settle(&mut turn, held).await?;
    findings.into_iter().for_each(&mut tell);
    let (planned, left_out): (Vec<_>, Vec<_>) =
        left_out.into_iter().partition(|h| inputs.plan.smoke.presence.contains(h));
    for hole in planned {
        by_smoke.push(hole);
        tell(presence(ctx, inputs, hole).await?);
    }
    let could_have_missed = |what: &str, holes: &[HoleRef], why: &str| {
        if !holes.is_empty() {
            let text = format!("pipe {}: {what} {} {why}", pipe.inlet, list(holes.iter().map(|h| h.number)));
            ctx.edit().outcome.could_have_missed.push(text);
        }
    };
    could_have_missed(
        "how much less or more than predicted holes",
        &by_smoke,
        "draw (shown by smoke, which tells only that they draw)",
    );
    could_have_missed("a blocked hole among", &left_out, "(not closed in turn)");
    suction_at_last_hole(ctx, inputs, pipe);
    Ok(ByHoles { verdicts, left_out, seen })
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
enum Closed {
    /// Nothing more is to be found out.
    Told(Finding),
    /// The predicted drop drowns in the noise: closing can't show it.
    TooSmall,
    /// Measured; to be held against the pipe's other holes.
    Held(Held),
}
impl From<Finding> for Closed {
    fn from(finding: Finding) -> Self {
        Self::Told(finding)
    }
}

/// One pipe's holes closed in turn. Its flow while open after one hole serves as the flow before the next, so that each drop
/// lies between two open flows: a slow drift drops out, and time is saved.
pub(super) struct Turn<'a> {
    pub(super) ctx: &'a Context,
    pub(super) inputs: Rc<JobInputs>,
    pub(super) pipe: &'a Pipe,
    pipes: Vec<Pipe>,
    /// Flows of all pipes with every hole open, if they are known.
    before: Option<Flows>,
}
type Flows = Vec<Result<MeanFlow, Error>>;

impl<'a> Turn<'a> {
    fn new(ctx: &'a Context, pipe: &'a Pipe) -> Self {
        let inputs = ctx.inputs();
        Self { ctx, pipes: inputs.pipes(), inputs, pipe, before: None }
    }
    /// The shortest average.
    fn base(&self) -> Duration {
        seconds(self.inputs.plan.holes.average_s)
    }
    /// The longest average.
    pub(super) fn longest(&self) -> Duration {
        self.base().mul_f64(self.inputs.plan.advanced.holes.most_longer)
    }
    /// The air was disturbed: the flow while open is no longer known.
    fn interrupted(&mut self) {
        self.before = None;
    }
    fn own<'m>(&self, flows: &'m [Result<MeanFlow, Error>]) -> Option<&'m Result<MeanFlow, Error>> {
        flows.get(self.pipes.iter().position(|p| p.inlet == self.pipe.inlet)?)
    }

    /// Closes one hole, averaging for at least `least`.
    async fn close(&mut self, hole: HoleRef, opening: usize, least: Duration) -> Result<Closed, Stop> {
        let (ctx, inputs) = (self.ctx, self.inputs.clone());
        let words = hole_words(hole, inputs.pipework.openings[opening].kind);
        let mut f = Finding::new(
            STAGE,
            Subject::Hole(hole.inlet, hole.number),
            Verdict::Undecided,
            format!("{words} was not closed"),
        );
        f.limit = Some(inputs.plan.holes.agreement.clone());
        let wait = seconds(inputs.plan.holes.wait_s);
        let before = match self.before.take() {
            Some(before) if before.iter().all(Result::is_ok) => before,
            _ => average(ctx, &self.pipes, least, &format!("{words}: flow while open")).await,
        };
        let span = long_enough(&inputs, opening, self.own(&before).and_then(|m| m.as_ref().ok())).max(least);
        let ask = format!("Close {words} (tape or a finger) and keep it closed. Done?");
        if let Err(why) = ctx.ask_done(Act::CloseHole(hole), ask).await {
            self.before = Some(before);
            f.says = format!("{words} was not closed: {why}");
            f.next = Some("show by smoke or manometer that it draws, or reach it another way".into());
            return Ok(f.into());
        }
        ctx.sleep(wait).await;
        let closed = average(ctx, &self.pipes, span, &format!("{words}: flow while closed")).await;
        if let Err(why) = ctx.ask_done(Act::OpenHole(hole), format!("Open {words} again. Done?")).await {
            // A hole that stays closed is a defect of our own making: say so, loudly.
            f.verdict = Verdict::Fail;
            f.says = format!("{words} was closed for the check and not opened again: {why}");
            f.next = Some("open it, then prove flow again".into());
            return Ok(f.into());
        }
        ctx.sleep(wait).await;
        let after = average(ctx, &self.pipes, span, &format!("{words}: flow while open again")).await;
        let judged = self.judge(hole, opening, &words, [&before, &closed, &after], f);
        self.before = Some(after);
        Ok(judged)
    }
    /// Closes a hole again for as long as can be asked for; `None`: it could not be measured.
    pub(super) async fn again(&mut self, hole: HoleRef, opening: usize) -> Result<Result<Look, Finding>, Stop> {
        let longest = self.longest();
        Ok(match self.close(hole, opening, longest).await? {
            Closed::Held(held) => Ok(held.pooled()),
            Closed::Told(finding) => Err(finding),
            Closed::TooSmall => Err(Finding::new(
                STAGE,
                Subject::Hole(hole.inlet, hole.number),
                Verdict::Undecided,
                "closed again, the noise was greater than before",
            )),
        })
    }

    /// What the flows before, while closed and after show.
    fn judge(
        &self,
        hole: HoleRef,
        opening: usize,
        words: &str,
        [before, closed, after]: [&Flows; 3],
        mut f: Finding,
    ) -> Closed {
        let inputs = &self.inputs;
        let Some(predicted) = inputs.predicted(opening) else {
            f.says = format!("the pipework predicts nothing for {words}");
            return f.into();
        };
        // What keeps its own inlet from being read is told; the others only serve to notice crossed pipes.
        let error = [before, closed, after].into_iter().find_map(|m| self.own(m)?.as_ref().err());
        if let Some(error) = error {
            f.says = format!("the flow while {words} was open or closed could not be measured: {error}");
            f.next = Some(error.remedy().into());
            return f.into();
        }
        let drops: Vec<Option<Drop>> = (0..self.pipes.len())
            .map(|i| {
                let m = |flows: &Flows| flows.get(i).and_then(|m| m.as_ref().ok()).copied();
                Drop::between(m(before)?, m(closed)?, m(after)?)
            })
            .collect();
        let own = self.pipes.iter().position(|p| p.inlet == self.pipe.inlet).and_then(|i| *drops.get(i)?);
        let Some(own) = own else {
            f.says = format!("the flow while {words} was open or closed could not be measured");
            return f.into();
        };
        // As a share of the flow while open: the calibration drops out.
        let share = predicted.closed_share;
        let expected = Estimate::new(share.value * own.open, share.u_common * own.open, share.u_individual * own.open);
        let k = flow::coverage_factor(inputs);
        f.expected = Some(Figure::with(expected.value * L_MIN, expected.u() * k * L_MIN, "L/min"));
        f.measured = Some(Figure::with(own.value * L_MIN, own.u * k * L_MIN, "L/min"));
        f.window = Some(own.window);
        let noise = inputs.plan.advanced.holes.noise;
        let least = noise * own.u;
        // Another inlet that drops by more than this one, and clearly, takes the air of this hole: pipes crossed.
        let others = self.pipes.iter().zip(&drops).filter(|(p, _)| p.inlet != self.pipe.inlet);
        let largest = others
            .filter_map(|(p, d)| Some((p.inlet, (*d)?)))
            .filter(|(_, d)| d.value > noise * d.u && d.value > own.value + least)
            .max_by(|a, b| a.1.value.total_cmp(&b.1.value));
        if let Some((inlet, d)) = largest {
            f.verdict = Verdict::Fail;
            f.says = format!(
                "closing {words} lowered inlet {inlet} by {:.2} L/min, not inlet {}",
                d.value * L_MIN,
                self.pipe.inlet
            );
            f.likely = Some(format!("pipes {} and {inlet} are crossed", self.pipe.inlet));
            f.next = Some("put each pipe into the inlet of its own number, then prove flow again".into());
            return f.into();
        }
        if expected.value < least {
            return Closed::TooSmall;
        }
        // What is far off by itself needs no comparison, and is told while the person stands at the hole.
        let off =
            Estimate::new(own.value - expected.value, expected.u_common, libm::hypot(own.u, expected.u_individual));
        let less = inputs.plan.holes.agreement.value * expected.value;
        let more = compare::takes_from_others(inputs, predicted.share_of_pipe) * expected.value;
        let mut gross = f.clone();
        if judge(self.ctx, &mut gross, &off, own.dof, &Limits::between(-less, more), None, L_MIN)
            == Some(Because::Outside)
        {
            outside(&mut gross, words, own.value, own.value < expected.value);
            return gross.into();
        }
        self.ctx.progress(
            format!(
                "{words}: closing it lowered the flow by {:.2} L/min; it is judged with the pipe's other holes",
                own.value * L_MIN
            ),
            None,
            None,
        );
        let look = Look { deviation: own.value / expected.value - 1.0, u: own.u / expected.value, dof: own.dof };
        Closed::Held(Held::new(inputs, hole, opening, words.into(), f, expected, look, predicted))
    }
}

/// The words for a hole whose drop is outside its limits.
pub(super) fn outside(f: &mut Finding, words: &str, drop: f64, less: bool) {
    if less {
        f.likely = Some("the hole is blocked, taped, or smaller than the pipework file says".into());
        f.next = Some("clear it outward from the unit's end (never blow into a unit), then close it again".into());
        f.says = format!("{words} draws too little: closing it lowered the flow by {:.2} L/min only", drop * L_MIN);
    } else {
        f.likely =
            Some("the hole is larger than the pipework file says, its cap is missing, or others are blocked".into());
        f.next = Some("measure the hole, look at the others, correct the pipework file if it is wrong".into());
        f.says = format!("{words} draws too much: closing it lowered the flow by {:.2} L/min", drop * L_MIN);
    }
}

/// How long to average so that this hole's drop stands out of the scatter, by the scatter that was seen.
fn long_enough(inputs: &JobInputs, opening: usize, before: Option<&MeanFlow>) -> Duration {
    let base = seconds(inputs.plan.holes.average_s);
    let (Some(before), Some(predicted)) = (before, inputs.predicted(opening)) else { return base };
    let rules = &inputs.plan.advanced.holes;
    let wanted = rules.settles * compare::matters(inputs) * predicted.closed_share.value * before.estimate.value;
    // Half of the flow before and half of that after make the flow while open: u^2 = u_closed^2 + (u_before^2 + u_after^2) / 4.
    let left = wanted * wanted - 0.25 * before.u_scatter * before.u_scatter;
    let of_a_second = before.u_scatter * before.u_scatter * before.window.1.since(before.window.0).as_secs_f64();
    let times = 1.25 * of_a_second / left / base.as_secs_f64();
    if left > 0.0 && times.is_finite() {
        base.mul_f64(times.clamp(1.0, rules.most_longer))
    } else {
        base.mul_f64(rules.most_longer)
    }
}

/// How much a flow fell when a hole was closed.
#[derive(Clone, Copy)]
struct Drop {
    value: f64,
    u: f64,
    dof: f64,
    /// The flow while open.
    open: f64,
    window: (plumeline_base::Instant, plumeline_base::Instant),
}
impl Drop {
    fn between(before: MeanFlow, closed: MeanFlow, after: MeanFlow) -> Option<Self> {
        let u = libm::hypot(closed.u_scatter, 0.5 * libm::hypot(before.u_scatter, after.u_scatter));
        let open = 0.5 * (before.estimate.value + after.estimate.value);
        (u > 0.0).then(|| Self {
            value: open - closed.estimate.value,
            u,
            dof: before.dof.min(closed.dof).min(after.dof),
            open,
            window: (before.window.0, after.window.1),
        })
    }
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
                let (less, more) = (compare::matters(inputs) * 100.0, inputs.plan.holes.agreement.value * 100.0);
                format!(
                    "pipe {inlet}: a change of its whole flow by less than {:.1} % (by flow alone); one hole that draws up to {less:.0} % less or {more:.0} % more than the pipe's others let expect",
                    visible * 100.0
                )
            })
            .collect()
    };
    ctx.edit().outcome.could_have_missed.extend(lines);
}
