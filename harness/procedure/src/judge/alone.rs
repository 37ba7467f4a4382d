//! A pipe's holes one at a time, its others closed: what each draws alone, and what is drawn while all of them are closed.
//!
//! A display that shows shares of the unit's normal flow in whole per cent hides most of what one hole among many takes away;
//! what a hole draws alone it shows whole. And what is drawn while every hole is closed comes in elsewhere, whatever the model
//! of the pipe. Not here: the holes against each other ([`super::holes_compared`]), and the prompts ([`crate::stages`]).
use super::{
    conforms,
    holes_compared::{by_cause, matters},
    pipes_compared::unit_limit,
};
use crate::{
    drops::{Closings, DropLook, MeasuredDrop},
    facts::{Fact, fixed, flow as fact, give_or_take},
    job::{JobInputs, Pipe},
    mean_flow::{MeanFlow, coverage_factor},
    outcome::Finding,
    plan::HoleRef,
};
use alloc::{string::String, vec::Vec};
use libm::{fabs, hypot, sqrt};
use plumeline_airflow::uncertainty::OF_THE_UNIT;
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::{
    decide::Limits,
    joint::{self, Seen},
};

/// Part of a pipe's flow that goes with its holes, and above which it is the pipe of these holes (practice, no source).
const ITS_OWN: f64 = 0.5;

/// The inlet whose flow went when all holes of this pipe were closed, while the pipe's own did not, and by which share of it.
pub(crate) fn crossed(flows: &[(u8, MeanFlow, MeanFlow)], inlet: u8) -> Option<(u8, f64)> {
    let fell = |(_, open, closed): &(u8, MeanFlow, MeanFlow)| 1.0 - closed.estimate.value / open.estimate.value;
    let own = flows.iter().find(|(n, ..)| *n == inlet).map(fell)?;
    let others = flows.iter().filter(|(n, ..)| *n != inlet).map(|f| (f.0, fell(f)));
    others.filter(|(_, fell)| own < ITS_OWN && *fell > ITS_OWN).max_by(|a, b| a.1.total_cmp(&b.1))
}

/// The part of a flow that is still there after every hole of the only open pipe was closed, where most of it is: it is another's.
pub(crate) fn of_another(open: &MeanFlow, closed: &MeanFlow) -> Option<f64> {
    let left = closed.estimate.value / open.estimate.value;
    (left > ITS_OWN).then_some(left)
}

/// What is read of a pipe while all its holes are closed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct AllClosed {
    /// As a share of its flow while they are open.
    read: f64,
    /// What enters elsewhere while they are open, as such a share.
    elsewhere: Estimate,
}
impl AllClosed {
    /// A leak draws more while the holes are closed: by the root of the suction, which at an unknown place lies between that at
    /// the last opening and that at the inlet (rectangular, JCGM 100 clause 4.3.7). `None`: nothing is predicted of the pipe.
    pub(crate) fn new(inputs: &JobInputs, pipe: &Pipe, open: &MeanFlow, closed: &MeanFlow) -> Option<Self> {
        let suctions = pipe.openings.iter().filter_map(|o| inputs.predicted(*o)).map(|p| p.suction_pa.value);
        let inlet = inputs.prediction.inlets.iter().find(|p| p.number == pipe.inlet)?.suction_pa.value;
        let (least, most) = suctions.chain([inlet]).fold((inlet, inlet), |(a, b), s| (a.min(s), b.max(s)));
        let alone = inputs.alone.iter().filter(|a| pipe.openings.contains(&a.opening)).map(|a| a.suction_pa);
        let shut = alone.fold(most, f64::max);
        let less = |suction: f64| sqrt((suction / shut).clamp(0.0, 1.0));
        let (low, high) = (less(least), less(most));
        let read = closed.estimate.value / open.estimate.value;
        // Where nothing moves an offset of the instrument is all that it shows.
        let u = hypot(closed.u_scatter, closed.u_offset) / open.estimate.value;
        let middle = 0.5 * (low + high);
        let elsewhere = Estimate::new(middle * read, 0.5 * (high - low) * read / sqrt(3.0), middle * u);
        (read.is_finite() && elsewhere.is_sound()).then_some(Self { read, elsewhere })
    }
    /// Nothing that matters enters elsewhere, by the job's risk of a wrong pass; `None`: that can't be judged.
    pub(crate) fn tight(&self, inputs: &JobInputs) -> Option<Verdict> {
        self.within(inputs, inputs.plan.flow.material.value)
    }
    fn within(&self, inputs: &JobInputs, most: f64) -> Option<Verdict> {
        conforms(inputs, &self.elsewhere, &Limits::between(-most, most))
    }
    /// What it says of the pipe, unless that is tight. What enters elsewhere thins the smoke of every hole of the pipe by its share, so what
    /// fails is held to the consequence, as other air that enters elsewhere is; more than the tolerance is left to whoever looks.
    fn fact(&self, inputs: &JobInputs) -> Option<Fact> {
        let elsewhere = self.elsewhere;
        let told = give_or_take(elsewhere.value * 100.0, coverage_factor(inputs) * elsewhere.u() * 100.0, 1);
        let read = fixed(self.read * 100.0, 1);
        match (self.tight(inputs), self.within(inputs, matters(inputs))) {
            (Some(Verdict::Pass), _) => None,
            (Some(Verdict::Fail), Some(Verdict::Fail)) => Some(fact::draws_when_closed(read, told)),
            (Some(Verdict::Fail), _) => Some(fact::draws_a_little_when_closed(read, told)),
            _ => Some(fact::may_draw_when_closed(read, told)),
        }
    }
}

/// What a pipe drew while all its holes were closed, beside what flows and holes showed of it: air that enters elsewhere is said
/// whatever else is open; what may be, or what thins the smoke of a hole that draws less, where nothing else is.
pub(crate) fn beside_closed(inputs: &JobInputs, finding: &mut Finding, closed: &AllClosed, seen: &[Seen]) {
    let enters = closed.tight(inputs) == Some(Verdict::Fail);
    if let Some(fact) =
        closed.fact(inputs).filter(|_| finding.verdict == Verdict::Pass || enters && finding.verdict != Verdict::Fail)
    {
        finding.state(fact);
    }
    if let Some(fact) = thinned(inputs, seen, closed).filter(|_| finding.verdict == Verdict::Pass) {
        finding.state(fact);
    }
}

/// One hole opened alone.
pub(crate) struct OpenedAlone {
    pub(crate) hole: HoleRef,
    pub(crate) opening: usize,
    pub(crate) words: String,
    /// The pipe's flow, at each look.
    pub(crate) flows: Vec<MeanFlow>,
}
impl OpenedAlone {
    /// What it drew against the prediction, the flow of the pipe with all holes open and with all of them closed. `None`: nothing
    /// is predicted or read.
    pub(crate) fn drop(&self, inputs: &JobInputs, open: &MeanFlow, closed: &MeanFlow) -> Option<MeasuredDrop> {
        let predicted = inputs.alone.iter().find(|a| a.opening == self.opening)?;
        let (share, whole) = (predicted.share, open.estimate.value);
        let expected = Estimate::new(share.value * whole, share.u_common * whole, share.u_individual * whole);
        let look = |flow: &MeanFlow| DropLook {
            deviation: (flow.estimate.value - closed.estimate.value) / expected.value - 1.0,
            u: flow.u_scatter / expected.value,
            dof: flow.dof,
        };
        // All holes of the pipe are held against the same two flows, by the same sensor far below its normal flow.
        let readings =
            [closed.u_scatter / expected.value, open.u_scatter / whole, inputs.plan.advanced.typed.linearity];
        let offset = Some(open.offset_of_share()).filter(|offset| *offset > 0.0);
        Some(MeasuredDrop {
            hole: self.hole,
            opening: self.opening,
            by: Closings::AllOthers(share.value),
            told: open.told(),
            words: self.words.clone(),
            window: self.flows.last()?.window,
            expected,
            looks: self.flows.iter().map(look).collect(),
            common: by_cause(inputs, &predicted.common, share.value)
                .into_iter()
                .chain(readings)
                .chain(offset)
                .collect(),
            share_of_pipe: inputs.predicted(self.opening)?.share_of_pipe,
        })
    }
}

/// Holes of a pipe that were each closed by itself, and those of them that were each open by itself as well: what both show of a hole,
/// each weighing by how sure it is of the hole's own (inverse of the variance). So the second look adds to the first and does not
/// replace it, whatever it shows.
pub(crate) fn both(closed: &[MeasuredDrop], alone: &[MeasuredDrop]) -> Vec<MeasuredDrop> {
    let own_u = |drops: &[MeasuredDrop]| -> Vec<Option<f64>> {
        let seen: Vec<Seen> = drops.iter().map(MeasuredDrop::seen).collect();
        joint::part(&seen).into_iter().map(|parted| parted.map(|p| p.own.u)).collect()
    };
    let (u_closed, u_alone) = (own_u(closed), own_u(alone));
    let causes = closed.iter().chain(alone).map(|d| d.common.len()).max().unwrap_or(0);
    let one = |(of_closed, u): (&MeasuredDrop, Option<f64>)| {
        let at = alone.iter().position(|d| d.hole == of_closed.hole);
        let second = at.and_then(|i| Some((alone.get(i)?, u_alone.get(i).copied()??)));
        let mut drop = of_closed.clone();
        drop.common.resize(causes, 0.0);
        if let Some((of_alone, u_alone)) = second {
            drop.add(of_alone, u.map_or(1.0, |u| u * u / (u * u + u_alone * u_alone)));
        }
        drop
    };
    closed.iter().zip(u_closed).map(one).collect()
}

/// What a hole drew alone is so near its prediction that nothing hangs on one more look.
pub(crate) fn is_near(inputs: &JobInputs, drop: &MeasuredDrop) -> bool {
    fabs(drop.pooled().deviation) < 0.5 * matters(inputs)
}

/// What a flow shows of whether all is open again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Opened {
    /// A hole less would show, and none is missing.
    AsBefore,
    /// There is clearly less, by this share: something is still closed.
    Less(f64),
    /// There is clearly less, by this share, and a whole hole would take more: nothing explains it.
    Part(f64),
    /// There is clearly more, by this share.
    More(f64),
    /// The scatter hides what one hole takes, or nothing is predicted of one.
    Unseen,
}
impl Opened {
    /// By a share that the flow changed, with its standard uncertainty, where the hole that matters least takes the share `least`. A change
    /// is clear that the plan's noise does not explain, of half a hole or more; it is a hole's where the interval that the plan asks for
    /// reaches a whole one. Nothing changed where no change is clear and that interval holds no whole hole.
    pub(crate) fn by(inputs: &JobInputs, change: f64, u: f64, least: f64) -> Self {
        let (off, wide) = (fabs(change), coverage_factor(inputs) * u);
        let clear = off > (inputs.plan.advanced.holes.noise * u).max(0.5 * least);
        match (clear, off + wide >= least) {
            _ if !(change.is_finite() && u.is_finite() && least.is_finite()) => Self::Unseen,
            (true, _) if change > 0.0 => Self::More(off),
            (true, true) => Self::Less(off),
            (true, false) => Self::Part(off),
            (false, false) => Self::AsBefore,
            (false, true) => Self::Unseen,
        }
    }
}

/// Whether a pipe draws what it did before, once all its holes were opened again.
pub(crate) fn opened_again(inputs: &JobInputs, pipe: &Pipe, before: &MeanFlow, after: &MeanFlow) -> Opened {
    let least = pipe.openings.iter().filter_map(|o| inputs.predicted(*o)).map(|p| p.closed_share.value);
    let u = hypot(before.u_scatter, after.u_scatter) / before.estimate.value;
    let change = after.estimate.value / before.estimate.value - 1.0;
    Opened::by(inputs, change, u, least.fold(f64::INFINITY, f64::min))
}

/// What a pipe's holes show of it where the level of its flow is not told. What enters elsewhere fails whatever the holes show.
/// What all holes draw alone, against what they draw together, tells what narrows the pipe or the unit; it is held to the
/// unit's own band, as the smoke's times are.
pub(crate) fn by_alone(
    inputs: &JobInputs,
    finding: &mut Finding,
    verdicts: &[Verdict],
    seen: &[Seen],
    closed: &AllClosed,
) {
    // A level that a meter told still says nothing of where the air enters.
    if finding.verdict == Verdict::Fail || finding.measured.is_none() {
        return;
    }
    if let Some(fact) = closed.fact(inputs) {
        return finding.state(fact);
    }
    let k = coverage_factor(inputs);
    let told = |e: &Estimate| give_or_take(e.value * 100.0, k * e.u() * 100.0, 1);
    if let Some(fact) = thinned(inputs, seen, closed) {
        return finding.state(fact);
    }
    let read = fixed(closed.read * 100.0, 1);
    let shown = !verdicts.is_empty() && !seen.is_empty() && Verdict::over(verdicts.iter().copied()) == Verdict::Pass;
    if finding.verdict == Verdict::Pass || !shown {
        return;
    }
    let all = together(inputs, seen);
    let band = unit_limit(&inputs.plan.flow.material, &inputs.plan.limits.flow_band);
    finding.state(match conforms(inputs, &all, &Limits::between(-band, band)) {
        Some(Verdict::Pass) => fact::proven_alone(read, told(&all)),
        Some(Verdict::Fail) => fact::alone_shifted(told(&all)),
        _ => fact::alone_unsure(told(&all)),
    });
}

/// A hole that draws less by itself, and air that clearly enters elsewhere, thin the smoke of that hole together: each may be within its
/// limit and both beyond, at the worst hole. `None`: within the limit.
fn thinned(inputs: &JobInputs, seen: &[Seen], closed: &AllClosed) -> Option<Fact> {
    let (e, k) = (closed.elsewhere, coverage_factor(inputs));
    if e.value <= k * e.u() {
        return None;
    }
    let both = |own: joint::Given| {
        let (left, through) = (1.0 + own.value, 1.0 - e.value);
        Estimate::new(1.0 - left * through, e.u_common * left, hypot(own.u * through, e.u_individual * left))
    };
    let all = joint::part(seen).into_iter().flatten().filter(|p| p.own.value < 0.0).map(|p| both(p.own));
    let worst = all.max_by(|a, b| a.value.total_cmp(&b.value))?;
    let told = |e: &Estimate| give_or_take(e.value * 100.0, k * e.u() * 100.0, 1);
    match conforms(inputs, &worst, &Limits::at_most(matters(inputs))) {
        Some(Verdict::Pass) => None,
        Some(Verdict::Fail) => Some(fact::less_and_thinned(told(&e), told(&worst))),
        _ => Some(fact::perhaps_less_and_thinned(told(&e), told(&worst))),
    }
}

/// How far all holes of a pipe together are off their predictions, as a share. Among the holes the unit's own causes are taken
/// to be less known than stated; here they count as stated.
pub(crate) fn together(inputs: &JobInputs, seen: &[Seen]) -> Estimate {
    let n = seen.len() as f64;
    let mean = |of: &dyn Fn(&Seen) -> f64| seen.iter().map(of).sum::<f64>() / n;
    let own = sqrt(seen.iter().map(|s| s.u * s.u + s.spread * s.spread).sum::<f64>()) / n;
    let causes = seen.iter().map(|s| s.common.len()).max().unwrap_or(0);
    let as_stated = |k: usize| if OF_THE_UNIT.contains(&k) { inputs.plan.advanced.holes.freely } else { 1.0 };
    let cause = |k: usize| mean(&|s: &Seen| s.common.get(k).copied().unwrap_or(0.0)) / as_stated(k);
    let common = sqrt((0..causes).map(|k| cause(k) * cause(k)).sum::<f64>());
    Estimate::new(mean(&|s| s.deviation), common, own)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{
        holes_compared::compared,
        sample::{self, ALONE, FLOW, flow},
    };
    use alloc::{borrow::ToOwned, vec};

    /// Codes of the three holes of pipe 1 that take these parts of the predicted flow alone, each known to `scatter` % of it.
    fn codes(parts: [f64; 3], scatter: f64) -> Vec<(String, Verdict)> {
        let inputs = sample::inputs();
        let (open, closed) = (flow(FLOW, scatter), flow(0.0, scatter));
        let one = |(opening, part): (usize, f64)| {
            let hole = sample::hole(1, opening as u32 + 1);
            let flow = flow(FLOW * ALONE * part, scatter);
            OpenedAlone { hole, opening, words: "a hole".into(), flows: vec![flow] }
                .drop(&inputs, &open, &closed)
                .unwrap()
        };
        let drops: Vec<MeasuredDrop> = parts.into_iter().enumerate().map(one).collect();
        let judged = compared(&inputs, &drops);
        judged.into_iter().map(|j| (j.finding.code.as_str().to_owned(), j.finding.verdict)).collect()
    }

    #[test]
    fn each_hole_is_told_by_what_it_takes_alone() {
        let is = |code: &str, verdict| (code.to_owned(), verdict);
        let draws = is("holes.draws", Verdict::Pass);
        assert_eq!(codes([1.0, 1.01, 0.99], 0.5), [draws.clone(), draws.clone(), draws.clone()]);
        assert_eq!(codes([0.0, 1.0, 1.0], 0.5), [is("holes.too-little", Verdict::Fail), draws.clone(), draws]);
        assert_eq!(codes([1.0, 1.0, 1.8], 0.5)[2], is("holes.too-much", Verdict::Fail));
        assert_eq!(codes([0.86, 1.0, 1.0], 0.5)[0], is("holes.near-limit", Verdict::Undecided));
        // A display that tells nothing passes nothing.
        assert!(codes([1.0, 1.0, 1.0], 30.0).iter().all(|(_, v)| *v == Verdict::Undecided));
    }

    /// The three holes of pipe 1 by both: closed in turn, known to 5 %, and alone, known to 1 %.
    fn by_both(closed: [f64; 3], alone: [f64; 3]) -> Vec<MeasuredDrop> {
        let inputs = sample::inputs();
        let (whole, shut) = (flow(FLOW, 0.2), flow(0.0, 0.2));
        let one = |(opening, part): (usize, f64)| {
            let hole = sample::hole(1, opening as u32 + 1);
            let flow = flow(FLOW * ALONE * part, 0.2);
            OpenedAlone { hole, opening, words: "a hole".into(), flows: Vec::from([flow]) }
                .drop(&inputs, &whole, &shut)
                .unwrap()
        };
        let opened: Vec<MeasuredDrop> = alone.into_iter().enumerate().map(one).collect();
        let causes = inputs.predicted(0).unwrap().closed_common.len();
        let first = |(of, part): (&MeasuredDrop, f64)| MeasuredDrop {
            by: Closings::One,
            looks: alloc::vec![DropLook { deviation: part - 1.0, u: 0.05, dof: 50.0 }],
            common: alloc::vec![0.02; causes],
            ..of.clone()
        };
        let closed: Vec<MeasuredDrop> = opened.iter().zip(closed).map(first).collect();
        both(&closed, &opened)
    }

    #[test]
    fn what_a_hole_drew_alone_adds_to_what_closing_it_showed() {
        let inputs = sample::inputs();
        let verdicts =
            |drops: &[MeasuredDrop]| compared(&inputs, drops).iter().map(|j| j.finding.verdict).collect::<Vec<_>>();
        let sound = by_both([0.85, 1.0, 1.0], [1.0, 1.0, 1.0]);
        assert_eq!(verdicts(&sound), [Verdict::Pass; 3]);
        assert!(sound[0].says().contains("alone it takes 40.0 %"), "{}", sound[0].says());
        // The first look is not forgotten: it counts by how sure it was.
        let off = sound[0].pooled().deviation;
        assert!(off < -0.001 && off > -0.05, "{off}");
        assert_eq!(verdicts(&by_both([0.85, 1.0, 1.0], [0.6, 1.0, 1.0]))[0], Verdict::Fail);
        assert_eq!(verdicts(&by_both([1.0, 1.0, 1.0], [0.84, 1.0, 1.0]))[0], Verdict::Undecided);
        // A hole that was not opened alone stays what it was, beside the others.
        let closed = by_both([0.8, 1.0, 1.0], [1.0; 3]);
        let left = both(&closed[..1], &[]);
        assert_eq!(left[0].pooled().deviation, closed[0].pooled().deviation);
    }

    #[test]
    fn a_tight_pipe_may_draw_more_than_the_others_say_and_one_that_is_not_fails() {
        let inputs = sample::inputs();
        let own = sample::pipe(&inputs, 1);
        let told = |share: f64, passed: bool| {
            let closed = AllClosed::new(&inputs, &own, &flow(FLOW, 0.5), &flow(FLOW * share, 0.5)).unwrap();
            let litres = if passed { FLOW } else { FLOW * 1.1 };
            let measured = [(own.clone(), Ok(flow(litres, 0.5)))];
            let [mut f] = <[Finding; 1]>::try_from(crate::judge::flow::against_prediction(&inputs, &measured)).unwrap();
            beside_closed(&inputs, &mut f, &closed, &[]);
            f.code.as_str().to_owned()
        };
        assert_eq!((told(0.0, true), told(0.0, false)), ("flow.as-predicted".into(), "flow.near-limit".into()));
        assert_eq!(
            (told(0.4, true), told(0.4, false)),
            ("flow.draws-when-closed".into(), "flow.draws-when-closed".into())
        );
        // What may be is told of a pipe that would pass; of one that is open anyway the first reason stands.
        assert_eq!(
            (told(0.13, true), told(0.13, false)),
            ("flow.may-draw-when-closed".into(), "flow.near-limit".into())
        );
    }

    /// The pipe's finding where it draws this share with all holes closed, and its holes are so far off together.
    fn pipe(share: f64, off: f64, verdict: Verdict) -> (String, Verdict) {
        let inputs = sample::inputs();
        let own = sample::pipe(&inputs, 1);
        let mut f = crate::judge::flow::level_not_told(&inputs, 1, &Ok(flow(FLOW, 0.5)));
        let closed = AllClosed::new(&inputs, &own, &flow(FLOW, 0.5), &flow(FLOW * share, 0.5)).unwrap();
        let seen = Seen { deviation: off, u: 0.01, spread: 0.02, common: alloc::vec![0.02] };
        by_alone(&inputs, &mut f, &[verdict; 3], &[seen.clone(), seen.clone(), seen], &closed);
        (f.code.as_str().to_owned(), f.verdict)
    }

    /// Each within its limit, and both beyond: what a hole of three draws less, and what is read while all are closed.
    #[test]
    fn a_hole_that_draws_less_is_thinned_by_what_enters_elsewhere_as_well() {
        let of = |less: f64, share: f64| {
            let inputs = sample::inputs();
            let own = sample::pipe(&inputs, 1);
            let mut f = crate::judge::flow::level_not_told(&inputs, 1, &Ok(flow(FLOW, 0.1)));
            let closed = AllClosed::new(&inputs, &own, &flow(FLOW, 0.1), &flow(FLOW * share, 0.1)).unwrap();
            let seen = |deviation: f64| Seen { deviation, u: 0.004, spread: 0.02, common: alloc::vec![0.01] };
            by_alone(&inputs, &mut f, &[Verdict::Pass; 3], &[seen(-less), seen(0.0), seen(0.0)], &closed);
            (f.code.as_str().to_owned(), f.verdict)
        };
        let proven = ("flow.proven-alone".to_owned(), Verdict::Pass);
        assert_eq!((of(0.0, 0.06), of(0.10, 0.0), of(0.02, 0.06)), (proven.clone(), proven.clone(), proven));
        assert_eq!(of(0.11, 0.075), ("flow.less-and-thinned".to_owned(), Verdict::Fail));
        assert_eq!(of(0.09, 0.06), ("flow.perhaps-less-and-thinned".to_owned(), Verdict::Undecided));
        // Nor does a level that was told hide it.
        let inputs = sample::inputs();
        let own = sample::pipe(&inputs, 1);
        let [mut f] = <[Finding; 1]>::try_from(crate::judge::flow::against_prediction(
            &inputs,
            &[(own.clone(), Ok(flow(FLOW, 0.1)))],
        ))
        .unwrap();
        let closed = AllClosed::new(&inputs, &own, &flow(FLOW, 0.1), &flow(FLOW * 0.075, 0.1)).unwrap();
        let seen = |deviation: f64| Seen { deviation, u: 0.004, spread: 0.02, common: alloc::vec![0.01] };
        beside_closed(&inputs, &mut f, &closed, &[seen(0.0), seen(0.0), seen(0.0)]);
        assert_eq!(f.verdict, Verdict::Pass, "{}", f.code);
        beside_closed(&inputs, &mut f, &closed, &[seen(-0.11), seen(0.0), seen(0.0)]);
        assert_eq!((f.code.as_str(), f.verdict), ("flow.less-and-thinned", Verdict::Fail));
    }

    /// A meter that told the level as predicted does not hide what enters elsewhere.
    #[test]
    fn what_enters_elsewhere_fails_a_pipe_of_which_a_meter_told_the_level() {
        let inputs = sample::inputs();
        let own = sample::pipe(&inputs, 1);
        let [mut f] = <[Finding; 1]>::try_from(crate::judge::flow::against_prediction(
            &inputs,
            &[(own.clone(), Ok(flow(FLOW, 0.5)))],
        ))
        .unwrap();
        assert_eq!(f.verdict, Verdict::Pass);
        let closed = |share: f64| AllClosed::new(&inputs, &own, &flow(FLOW, 0.5), &flow(FLOW * share, 0.5)).unwrap();
        by_alone(&inputs, &mut f, &[], &[], &closed(0.0));
        assert_eq!((f.code.as_str(), f.verdict), ("flow.as-predicted", Verdict::Pass));
        by_alone(&inputs, &mut f, &[], &[], &closed(0.6));
        assert_eq!((f.code.as_str(), f.verdict), ("flow.draws-when-closed", Verdict::Fail));
    }

    #[test]
    fn what_is_drawn_while_all_holes_are_closed_enters_elsewhere() {
        let is = |code: &str, verdict| (code.to_owned(), verdict);
        assert_eq!(pipe(0.0, 0.0, Verdict::Pass), is("flow.proven-alone", Verdict::Pass));
        assert_eq!(pipe(0.4, 0.0, Verdict::Pass), is("flow.draws-when-closed", Verdict::Fail));
        assert_eq!(
            pipe(0.4, 0.0, Verdict::Fail),
            is("flow.draws-when-closed", Verdict::Fail),
            "whatever the holes show"
        );
        assert_eq!(pipe(0.13, 0.0, Verdict::Pass), is("flow.may-draw-when-closed", Verdict::Undecided));
        // Over the tolerance of 10 % and under the 13 % by which smoke would be 15 % thinner.
        assert_eq!(pipe(0.15, 0.0, Verdict::Pass), is("flow.draws-a-little-when-closed", Verdict::Undecided));
        assert_eq!(pipe(0.0, 0.5, Verdict::Pass), is("flow.alone-shifted", Verdict::Fail));
        assert_eq!(pipe(0.0, 0.2, Verdict::Pass), is("flow.alone-too-uncertain", Verdict::Undecided));
        assert_eq!(pipe(0.0, 0.0, Verdict::Undecided), is("flow.level-not-told", Verdict::Undecided));
    }

    #[test]
    fn a_pipe_in_anothers_inlet_and_a_hole_that_stays_closed_are_told() {
        let pair = |n: u8, closed: f64| (n, flow(FLOW, 0.5), flow(closed, 0.5));
        assert_eq!(crossed(&[pair(1, 0.0), pair(2, FLOW)], 1), None);
        assert_eq!(crossed(&[pair(1, FLOW), pair(2, 0.0)], 1), Some((2, 1.0)));
        assert_eq!(crossed(&[pair(1, FLOW), pair(2, FLOW)], 1), None, "nothing was closed");
        let inputs = sample::inputs();
        let own = sample::pipe(&inputs, 1);
        let again = |after: f64, scatter| opened_again(&inputs, &own, &flow(FLOW, scatter), &flow(after, scatter));
        assert_eq!(again(FLOW, 0.5), Opened::AsBefore);
        assert!(matches!(again(FLOW * (1.0 - sample::SHARE), 0.5), Opened::Less(_)));
        // What scatters by as much as a hole takes shows nothing, and more of it no more.
        assert_eq!([50.0, 500.0].map(|scatter| again(FLOW, scatter)), [Opened::Unseen; 2]);
        // Clearly less, and by less than any hole takes: neither all nor one hole less.
        assert!(matches!(again(FLOW * (1.0 - 0.6 * sample::SHARE), 0.5), Opened::Part(_)));
        assert_eq!(again(FLOW * (1.0 - 0.05 * sample::SHARE), 0.1), Opened::AsBefore, "a change that no hole makes");
    }
}
