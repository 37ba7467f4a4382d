//! One hole closed in turn: by how much the flow fell, and what that shows without the pipe's other holes.
//!
//! A closed hole's inlet must drop by about its predicted share. Drops are differences of one sensor, so its calibration bias
//! drops out. Not here: what the other holes of the pipe add ([`super::holes_compared`]).
use super::{
    decide,
    holes_compared::{by_cause, matters, takes_from_others},
};
use crate::{
    drops::{Closings, DropLook, MeasuredDrop},
    facts::{Fact, holes as fact},
    job::{JobInputs, Pipe},
    mean_flow::{MeanFlow, Told, coverage_factor},
    outcome::{Finding, StageKind, Subject},
    plan::HoleRef,
};
use alloc::{boxed::Box, vec::Vec};
use core::time::Duration;
use plumeline_airflow::uncertainty::OpeningPrediction;
use plumeline_base::{Instant, quantity::Estimate, time::seconds};
use plumeline_measure::{
    Error, Sample,
    decide::{Because, Limits},
};

/// What is said of a hole.
pub(crate) fn of_hole(inputs: &JobInputs, hole: HoleRef, fact: Fact) -> Finding {
    let mut f = Finding::of(StageKind::ProveFlow, Subject::Hole(hole.inlet, hole.number), fact);
    f.limit = Some(inputs.plan.holes.agreement.clone());
    f
}

/// Flows of all pipes with a hole open, closed, and open again, in the order of `pipes`.
pub(crate) struct Closing<'a> {
    pub(crate) hole: HoleRef,
    pub(crate) opening: usize,
    pub(crate) words: &'a str,
    pub(crate) pipes: &'a [Pipe],
    pub(crate) before: &'a [Result<MeanFlow, Error>],
    pub(crate) closed: &'a [Result<MeanFlow, Error>],
    pub(crate) after: &'a [Result<MeanFlow, Error>],
}

/// What closing one hole showed.
pub(crate) enum Closed {
    /// Nothing more is to be found out.
    Found(Box<Finding>),
    /// The predicted drop drowns in the noise: closing can't show it.
    TooSmall,
    /// Measured; to be compared with the pipe's other holes.
    Measured(MeasuredDrop),
}

/// By how much the flow fell, and whether that alone shows something.
pub(crate) fn closing(inputs: &JobInputs, c: &Closing<'_>) -> Closed {
    let (hole, words) = (c.hole, c.words);
    let found = |fact| Closed::Found(Box::new(of_hole(inputs, hole, fact)));
    let Some(predicted) = inputs.predicted(c.opening) else { return found(fact::not_predicted(words)) };
    let at = c.pipes.iter().position(|p| p.inlet == hole.inlet);
    // A hole that is closed and opened again moves whatever measures its flow.
    let stuck = |flows: &[Result<MeanFlow, Error>]| {
        at.and_then(|i| flows.get(i)).is_some_and(|m| matches!(m, Err(Error::Stuck { .. })))
    };
    if stuck(c.closed) && stuck(c.after) {
        return found(fact::stands_still(words));
    }
    // What keeps its own inlet from being read is told; the others only serve to notice crossed pipes.
    if let Some(error) = [c.before, c.closed, c.after].iter().find_map(|flows| flows.get(at?)?.as_ref().err()) {
        return found(fact::not_measured(words, error, error.remedy()));
    }
    let Some(own) = at.and_then(|i| c.drop(i)) else { return found(fact::no_scatter(words)) };
    // As a share of the flow while open: the calibration drops out.
    let share = predicted.closed_share;
    let expected = Estimate::new(share.value * own.open, share.u_common * own.open, share.u_individual * own.open);
    let k = coverage_factor(inputs);
    let with_figures = |fact| {
        let mut f = of_hole(inputs, hole, fact);
        f.expected = Some(own.told.figure(expected.value, expected.u() * k));
        f.measured = Some(own.told.figure(own.value, own.u * k));
        f.window = Some(own.window);
        f
    };
    if let Some((inlet, drop)) = c.taken_from(own, inputs.plan.advanced.holes.noise) {
        let fact = fact::crossed(words, inlet, drop.told.words(drop.value), hole.inlet);
        return Closed::Found(Box::new(with_figures(fact)));
    }
    if expected.value < inputs.plan.advanced.holes.noise * own.u {
        return Closed::TooSmall;
    }
    // What is far off by itself needs no comparison, and is told while the person stands at the hole.
    let off = Estimate::new(own.value - expected.value, expected.u_common, libm::hypot(own.u, expected.u_individual));
    let less = inputs.plan.holes.agreement.value * expected.value;
    let more = takes_from_others(inputs, predicted.share_of_pipe) * expected.value;
    if let Ok(ruling) = decide(inputs, &off, own.dof, &Limits::between(-less, more), None, own.told.size())
        && ruling.because == Because::Outside
    {
        let drop = own.told.words(own.value);
        let fact = if off.value < 0.0 { fact::far_less(words, drop) } else { fact::far_more(words, drop) };
        let mut f = with_figures(fact.clone());
        ruling.state(&mut f, fact);
        return Closed::Found(Box::new(f));
    }
    let look = DropLook { deviation: own.value / expected.value - 1.0, u: own.u / expected.value, dof: own.dof };
    Closed::Measured(MeasuredDrop {
        hole,
        opening: c.opening,
        by: Closings::One,
        told: own.told,
        words: words.into(),
        window: own.window,
        expected,
        looks: alloc::vec![look],
        common: common_of(inputs, predicted, own.offset),
        share_of_pipe: predicted.share_of_pipe,
    })
}

/// What each common cause does to the drop, as a share of it. An offset of the instrument shifts the shares of all holes alike; it
/// stands where it stands of holes that were opened alone.
fn common_of(inputs: &JobInputs, predicted: &OpeningPrediction, offset: f64) -> Vec<f64> {
    let mut common = by_cause(inputs, &predicted.closed_common, predicted.closed_share.value);
    if offset > 0.0 {
        common.extend([0.0, 0.0, 0.0, offset]);
    }
    common
}

impl Closing<'_> {
    /// By how much the flow of a pipe fell, by its position.
    fn drop(&self, i: usize) -> Option<FlowDrop> {
        let mean = |flows: &[Result<MeanFlow, Error>]| flows.get(i).and_then(|m| m.as_ref().ok()).copied();
        FlowDrop::between(mean(self.before)?, mean(self.closed)?, mean(self.after)?)
    }
    /// Another inlet that drops by more than the hole's own, and clearly, takes the air of this hole: pipes crossed.
    fn taken_from(&self, own: FlowDrop, noise: f64) -> Option<(u8, FlowDrop)> {
        let others = self.pipes.iter().enumerate().filter(|(_, p)| p.inlet != self.hole.inlet);
        others
            .filter_map(|(i, p)| Some((p.inlet, self.drop(i)?)))
            .filter(|(_, d)| d.value > noise * d.u && d.value > own.value + noise * own.u)
            .max_by(|a, b| a.1.value.total_cmp(&b.1.value))
    }
}

/// By how much less than predicted most holes of a pipe together must draw before that is looked for at the unit: what a prediction
/// leaves open of a pipe's drops is less.
const ALL_LESS: f64 = 0.1;

/// Half of a pipe's holes or more draw too little, by how far each drop is off its prediction. That is no hole's own.
pub(crate) fn all_too_little(deviations: &[f64]) -> bool {
    deviations.len() > 1 && 2 * deviations.iter().filter(|d| **d < -ALL_LESS).count() >= deviations.len()
}

/// How long to average so that this hole's drop stands out of the scatter, by the scatter that was seen.
pub(crate) fn long_enough(inputs: &JobInputs, opening: usize, before: Option<&MeanFlow>) -> Duration {
    let base = seconds(inputs.plan.holes.average_s);
    let (Some(before), Some(predicted)) = (before, inputs.predicted(opening)) else { return base };
    let rules = &inputs.plan.advanced.holes;
    let wanted = rules.settles * matters(inputs) * predicted.closed_share.value * before.estimate.value;
    // Half of the flow before and half of that after make the flow while open: u^2 = u_closed^2 + (u_before^2 + u_after^2) / 4.
    let left = wanted * wanted - 0.25 * before.u_scatter * before.u_scatter;
    let of_a_second = before.u_scatter * before.u_scatter * before.window.1.since(before.window.0).as_secs_f64();
    let times = 1.25 * of_a_second / left / base.as_secs_f64();
    if left > 0.0 && times.is_finite() { base.mul_f64(times.clamp(1.0, rules.most_longer)) } else { longest(inputs) }
}

/// The longest average.
pub(crate) fn longest(inputs: &JobInputs) -> Duration {
    seconds(inputs.plan.holes.average_s).mul_f64(inputs.plan.advanced.holes.most_longer)
}

/// By how much a flow fell when a hole was closed.
#[derive(Clone, Copy)]
struct FlowDrop {
    value: f64,
    u: f64,
    dof: f64,
    /// The flow while open.
    open: f64,
    /// What an offset of the instrument shifts the drop's share by, as a part of it.
    offset: f64,
    told: Told,
    window: (Instant, Instant),
}
impl FlowDrop {
    /// `None` without scatter, by which to tell how sure it is.
    fn between(before: MeanFlow, closed: MeanFlow, after: MeanFlow) -> Option<Self> {
        let u = libm::hypot(closed.u_scatter, 0.5 * libm::hypot(before.u_scatter, after.u_scatter));
        let open = 0.5 * (before.estimate.value + after.estimate.value);
        (u > 0.0).then(|| Self {
            value: open - closed.estimate.value,
            u,
            dof: before.dof.min(closed.dof).min(after.dof),
            open,
            offset: before.offset_of_share(),
            told: before.told(),
            window: (before.window.0, after.window.1),
        })
    }
}

/// How the flow shows that a closed hole is open again: averaged for so long it is back by half of the drop or more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Reopened {
    /// The flow half-way between closed and open, m3/s.
    above: f64,
    pub(crate) over: Duration,
}
/// It is averaged for this long at least and at most: a person at the hole waits for it (practice, no source).
const BACK_WITHIN: (Duration, Duration) = (Duration::from_secs(5), Duration::from_secs(30));
/// Standard uncertainties of that average in half of the drop: it is looked at for as long as a person takes, again and again.
const BACK: f64 = 5.0;

impl Reopened {
    /// By the flows before it was closed and while it was. `None`: the drop is too small to be seen within the time.
    pub(crate) fn by(before: &MeanFlow, closed: &MeanFlow) -> Option<Self> {
        let half = 0.5 * (before.estimate.value - closed.estimate.value);
        let of_a_second = |m: &MeanFlow| m.u_scatter * m.u_scatter * m.window.1.since(m.window.0).as_secs_f64();
        let over_s = of_a_second(before).max(of_a_second(closed)) * (BACK / half) * (BACK / half);
        let (least, most) = BACK_WITHIN;
        (half > 0.0 && over_s <= most.as_secs_f64())
            .then(|| Self { above: closed.estimate.value + half, over: seconds(over_s).max(least) })
    }
    /// Whether these flows without a gap show it by their latest.
    pub(crate) fn shows(&self, flows: &[Sample]) -> bool {
        let Some(last) = flows.last() else { return false };
        let from = flows.partition_point(|q| last.at.since(q.at) > self.over);
        // The time must have passed, not just some of it.
        let latest = &flows[from..];
        from > 0 && latest.iter().map(|q| q.value).sum::<f64>() > self.above * latest.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample::{self, FLOW, SHARE, flow};
    use plumeline_base::Verdict;

    type Flows = [Result<MeanFlow, Error>; 2];

    fn both(first: f64, second: f64, scatter: f64) -> Flows {
        [Ok(flow(first, scatter)), Ok(flow(second, scatter))]
    }
    fn close(inputs: &JobInputs, before: &Flows, closed: &Flows) -> Closed {
        let pipes: Vec<Pipe> = inputs.pipes();
        let hole = sample::hole(1, 1);
        closing(inputs, &Closing { hole, opening: 0, words: "hole 1", pipes: &pipes, before, closed, after: before })
    }
    fn found(closed: Closed) -> (alloc::string::String, Verdict) {
        let Closed::Found(f) = closed else { panic!("nothing was found") };
        assert!(f.limit.is_some() && f.subject == Subject::Hole(1, 1));
        (f.code.as_str().into(), f.verdict)
    }
    const DROP: f64 = FLOW * SHARE;

    #[test]
    fn a_drop_near_its_prediction_waits_for_the_other_holes() {
        let inputs = sample::inputs();
        let Closed::Measured(drop) = close(&inputs, &both(FLOW, FLOW, 0.1), &both(FLOW - DROP, FLOW, 0.1)) else {
            panic!("it was judged at once")
        };
        assert!(drop.pooled().deviation.abs() < 1e-9 && drop.looks.len() == 1);
        assert!(matches!(close(&inputs, &both(FLOW, FLOW, 20.0), &both(FLOW - DROP, FLOW, 20.0)), Closed::TooSmall));
    }

    #[test]
    fn a_drop_that_is_far_off_or_in_another_pipe_fails_at_once() {
        let inputs = sample::inputs();
        let open = both(FLOW, FLOW, 0.1);
        let code = |first: f64, second: f64| found(close(&inputs, &open, &both(first, second, 0.1)));
        assert_eq!(code(FLOW - 0.1, FLOW), ("holes.far-too-little".into(), Verdict::Fail));
        assert_eq!(code(FLOW - 20.0, FLOW), ("holes.far-too-much".into(), Verdict::Fail));
        assert_eq!(code(FLOW, FLOW - DROP), ("holes.pipes-crossed".into(), Verdict::Fail));
    }

    #[test]
    fn what_was_not_measured_or_not_predicted_is_open() {
        let mut inputs = sample::inputs();
        let open = both(FLOW, FLOW, 0.1);
        let missing = [Err(Error::TooFew { have: 0, need: 2 }), Ok(flow(FLOW, 0.1))];
        assert_eq!(found(close(&inputs, &open, &missing)), ("holes.not-measured".into(), Verdict::Undecided));
        // Only this inlet's own readings are needed.
        let [first, second] = missing;
        assert!(
            matches!(close(&inputs, &open, &[second, first]), Closed::Found(f) if f.code == "holes.far-too-little")
        );
        let same = || [Err(Error::Stuck { since: Instant::START }), Ok(flow(FLOW, 0.1))];
        let pipes = inputs.pipes();
        let (closed, after) = (same(), same());
        let (hole, opening, words) = (sample::hole(1, 1), 0, "hole 1");
        let stands = Closing { hole, opening, words, pipes: &pipes, before: &open, closed: &closed, after: &after };
        assert_eq!(found(closing(&inputs, &stands)), ("holes.stands-still".into(), Verdict::Undecided));
        let still = both(FLOW, FLOW, 0.0);
        assert_eq!(found(close(&inputs, &still, &still)), ("holes.no-scatter".into(), Verdict::Undecided));
        inputs.prediction.openings.clear();
        assert_eq!(found(close(&inputs, &open, &open)), ("holes.not-predicted".into(), Verdict::Undecided));
    }

    #[test]
    fn one_hole_that_draws_too_little_is_told_from_all_that_do() {
        assert!(all_too_little(&[-0.5, -0.4, -0.6]) && all_too_little(&[-0.2, 0.1]));
        assert!(!all_too_little(&[-0.9, 0.1, 0.1]) && !all_too_little(&[-0.05, -0.08, 0.02]));
        assert!(!all_too_little(&[-0.9]) && !all_too_little(&[]), "a single hole may be blocked");
    }

    #[test]
    fn more_scatter_is_averaged_for_longer_up_to_a_limit() {
        let inputs = sample::inputs();
        let base = seconds(inputs.plan.holes.average_s);
        assert_eq!(long_enough(&inputs, 0, None), base);
        assert_eq!(long_enough(&inputs, 0, Some(&flow(FLOW, 0.01))), base);
        let some = long_enough(&inputs, 0, Some(&flow(FLOW, 0.8)));
        assert!(base < some && some < longest(&inputs), "{some:?}");
        assert_eq!(long_enough(&inputs, 0, Some(&flow(FLOW, 10.0))), longest(&inputs));
    }
    #[test]
    fn a_hole_that_is_open_again_shows_in_the_flow() {
        let (open, closed) = (flow(FLOW, 0.1), flow(FLOW * 0.95, 0.1));
        let back = Reopened::by(&open, &closed).unwrap();
        let flows = |of: &dyn Fn(u32) -> f64| -> Vec<Sample> {
            let at = |i: u32| Instant::START + Duration::from_millis(u64::from(i) * 100);
            (0..600).map(|i| Sample { at: at(i), value: of(i) * open.estimate.value }).collect()
        };
        let noise = |i: u32| 0.01 * f64::from(i % 7) - 0.03;
        assert!(!back.shows(&flows(&|i| 0.95 + noise(i))), "still closed");
        assert!(back.shows(&flows(&|i| if i < 500 { 0.95 } else { 1.0 } + noise(i))), "open for 10 s");
        assert!(!back.shows(&flows(&|i| if i < 580 { 0.95 } else { 1.0 } + noise(i))), "for 2 s only");
        assert!(!back.shows(&flows(&|_| 1.0)[..40]), "not looked at for long enough");
        assert!(!back.shows(&[]));
    }
    #[test]
    fn a_drop_within_the_noise_is_no_sign_of_a_hole_that_is_open_again() {
        let open = flow(FLOW, 1.0);
        assert_eq!(Reopened::by(&open, &flow(FLOW * 0.95, 1.0)), None);
        assert_eq!(Reopened::by(&open, &open), None);
        assert_eq!(Reopened::by(&open, &flow(FLOW * 1.05, 0.0)), None, "it rose");
    }
}
