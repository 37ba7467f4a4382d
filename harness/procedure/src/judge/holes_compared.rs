//! The holes of a pipe compared with each other.
//!
//! How far a drop is off its prediction has two parts: what common causes do to all holes of the pipe (the friction law, the
//! bore, a drill, the fan), and what is the hole's own. The others show the first, so it does not widen the judgement of
//! the second; and what a hole draws less by itself is what makes its place worse protected. Not here: closing a hole again
//! where this leaves it open ([`crate::stages::holes`]).
use super::{conforms, decide, holes::of_hole};
use crate::{
    drops::MeasuredDrop,
    facts::{Fact, give_or_take, holes as fact, signed},
    job::JobInputs,
    mean_flow::coverage_factor,
    outcome::Finding,
};
use alloc::{string::String, vec::Vec};
use plumeline_airflow::uncertainty::OF_THE_UNIT;
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::{
    decide::{Because, Limits},
    joint::{self, Parted, Seen},
};

/// What each common cause does to a figure, as a share of it. What the unit's filter, exhaust and fan do to drops is no hole's
/// own, however wrong they are: it is judged by the flows of all pipes, and here taken to be less known than stated.
pub(crate) fn by_cause(inputs: &JobInputs, common: &[f64], value: f64) -> Vec<f64> {
    let freely = |cause: usize| if OF_THE_UNIT.contains(&cause) { inputs.plan.advanced.holes.freely } else { 1.0 };
    common.iter().enumerate().map(|(cause, c)| c / value * freely(cause)).collect()
}

/// By how much more than expected a hole must draw so that its pipe's others are short of as much as matters, and no less
/// than what counts as agreement.
pub(crate) fn takes_from_others(inputs: &JobInputs, share_of_pipe: f64) -> f64 {
    (inputs.plan.holes.worse.value / share_of_pipe).max(inputs.plan.holes.agreement.value)
}

/// By how much less than expected a hole must draw to matter, as a share: what is needed there for an alarm goes with one
/// over the hole's share of the air.
pub(crate) fn matters(inputs: &JobInputs) -> f64 {
    1.0 - 1.0 / (1.0 + inputs.plan.holes.worse.value)
}

/// What a hole shows beside the other holes of its pipe.
pub(crate) struct HoleJudged {
    pub(crate) finding: Finding,
    /// A longer look may settle it.
    pub(crate) worth_another_look: bool,
    /// Only a gross shift could be told.
    pub(crate) coarse: bool,
}

/// Each hole of a pipe compared with the others, in their order.
pub(crate) fn compared(inputs: &JobInputs, drops: &[MeasuredDrop]) -> Vec<HoleJudged> {
    let seen: Vec<Seen> = drops.iter().map(MeasuredDrop::seen).collect();
    drops.iter().zip(joint::part(&seen)).map(|(drop, parted)| one(inputs, drop, parted)).collect()
}

/// What is said of a hole that is so far off: its name, what was shown, how far.
type Off = fn(String, String, String) -> Fact;

fn one(inputs: &JobInputs, h: &MeasuredDrop, parted: Option<Parted>) -> HoleJudged {
    let words = &h.words;
    let mut f = of_hole(inputs, h.hole, fact::not_parted(words));
    let look = h.pooled();
    let k = coverage_factor(inputs);
    let flow = h.expected.value;
    let off = parted.map_or(0.0, |p| p.common.value);
    let expected_u = parted.map_or_else(|| h.expected.u() / h.expected.value, |p| p.common.u);
    let (drop, u) = h.figure();
    f.measured = Some(h.told.figure(drop * flow, u * flow * k));
    // What the pipe's other holes predict here.
    f.expected = Some(h.told.figure((1.0 + off) * flow, expected_u * flow * k));
    f.window = Some(h.window);
    let Some(Parted { own, common }) = parted else {
        return HoleJudged { finding: f, worth_another_look: false, coarse: false };
    };
    let seen = h.says();
    let most = inputs.plan.holes.agreement.value;
    let alike = Estimate::new(common.value, common.u, 0.0);
    if conforms(inputs, &alike, &Limits::between(-most, most)) != Some(Verdict::Pass) {
        f.state(fact::all_off(words, seen, signed(common.value * 100.0, 0)));
        return HoleJudged { finding: f, worth_another_look: false, coarse: false };
    }
    let less = matters(inputs);
    let coarse = own.u > inputs.plan.advanced.holes.coarse * less;
    let low = if coarse { most } else { less };
    let plan = &inputs.plan.holes;
    f.limit = Some(if coarse { plan.agreement.clone() } else { plan.worse.clone() });
    let value = Estimate::new(own.value, common.u, look.u);
    let decide = |high: f64| decide(inputs, &value, look.dof, &Limits::between(-low, high), None, flow * h.told.size());
    let ruling = match decide(most) {
        Ok(ruling) => ruling,
        Err(error) => {
            f.state(fact::not_judged(words, error, error.remedy()));
            return HoleJudged { finding: f, worth_another_look: false, coarse };
        }
    };
    // Whatever the limit: what stands out of noise and usual scatter is not passed over.
    let stands_out = coarse && own.value < -inputs.plan.advanced.holes.stands_out * libm::hypot(own.u, h.spread());
    let against = give_or_take(own.value * 100.0, k * own.u * 100.0, 0);
    let say = |fact: Off| fact(words.clone(), seen.clone(), against.clone());
    match ruling.because {
        Because::Within if stands_out => ruling.state(&mut f, say(fact::stands_out)),
        Because::Within => ruling.state(&mut f, say(fact::draws)),
        Because::Outside if own.value < 0.0 => ruling.state(&mut f, say(fact::less)),
        Because::Outside => match decide(takes_from_others(inputs, h.share_of_pipe)) {
            Ok(starves) if starves.because == Because::Outside => starves.state(&mut f, say(fact::more)),
            Ok(starves) => starves.state(&mut f, say(fact::more_but_others_draw)),
            Err(error) => f.state(fact::not_judged(words, error, error.remedy())),
        },
        Because::InGuardBand | Because::ProveByHoles => ruling.state(&mut f, say(fact::near_limit)),
    }
    let worth_another_look = f.verdict == Verdict::Undecided;
    HoleJudged { finding: f, worth_another_look, coarse }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        drops::{Closings, DropLook},
        judge::sample,
    };
    use alloc::vec;
    use plumeline_base::Instant;

    /// Three holes whose drops are so far off their predictions, each known to `u`.
    fn drops(off: [f64; 3], u: f64) -> Vec<MeasuredDrop> {
        let drop = |(number, deviation): (u32, f64)| MeasuredDrop {
            told: sample::flow(30.0, 0.5).told(),
            hole: sample::hole(1, number),
            opening: number as usize - 1,
            by: Closings::One,
            words: "a hole".into(),
            window: (Instant::START, Instant::START),
            expected: Estimate::new(1e-4, 2e-6, 2e-6),
            looks: vec![DropLook { deviation, u, dof: 50.0 }],
            common: vec![0.05],
            share_of_pipe: 1.0 / 3.0,
        };
        (1..).zip(off).map(drop).collect()
    }
    fn first(drops: &[MeasuredDrop]) -> (String, Verdict, bool, bool) {
        let judged = compared(&sample::inputs(), drops);
        assert_eq!(judged.len(), drops.len());
        let f = &judged[0].finding;
        (f.code.as_str().into(), f.verdict, judged[0].worth_another_look, judged[0].coarse)
    }
    fn is(code: &str, verdict: Verdict, again: bool, coarse: bool) -> (String, Verdict, bool, bool) {
        (code.into(), verdict, again, coarse)
    }

    #[test]
    fn a_hole_is_held_to_what_the_others_predict() {
        let (pass, fail, open) = (Verdict::Pass, Verdict::Fail, Verdict::Undecided);
        assert_eq!(first(&drops([0.0, 0.01, -0.01], 0.01)), is("holes.draws", pass, false, false));
        assert_eq!(first(&drops([-0.3, 0.0, 0.0], 0.01)), is("holes.too-little", fail, false, false));
        assert_eq!(first(&drops([-0.13, 0.0, 0.0], 0.01)), is("holes.near-limit", open, true, false));
        assert_eq!(first(&drops([0.7, 0.0, 0.0], 0.01)), is("holes.too-much", fail, false, false));
        // One that is blocked does not shift its neighbours.
        let judged = compared(&sample::inputs(), &drops([-0.9, 0.0, 0.0], 0.01));
        assert!(judged[1..].iter().all(|j| j.finding.code == "holes.draws"));
        // A small hole that draws too much takes little from the others.
        let mut small = drops([0.7, 0.0, 0.0], 0.01);
        small[0].share_of_pipe = 0.1;
        assert_eq!(first(&small), is("holes.too-much-but-others-draw", open, true, false));
    }

    #[test]
    fn a_hole_of_which_closing_tells_little_passes_only_if_it_does_not_stand_out() {
        assert_eq!(first(&drops([0.0; 3], 0.06)), is("holes.draws", Verdict::Pass, false, true));
        assert_eq!(first(&drops([-0.3, 0.0, 0.0], 0.06)), is("holes.stands-out", Verdict::Undecided, true, true));
    }

    #[test]
    fn holes_that_are_all_off_or_no_numbers_are_open() {
        let mut all = drops([-0.8; 3], 0.01);
        all.iter_mut().for_each(|d| d.common = vec![1.0]);
        assert_eq!(first(&all), is("holes.all-off", Verdict::Undecided, false, false));
        assert_eq!(
            first(&drops([f64::NAN, 0.0, 0.0], 0.01)),
            is("holes.not-compared", Verdict::Undecided, false, false)
        );
        assert!(compared(&sample::inputs(), &[]).is_empty());
    }

    #[test]
    fn looks_are_pooled_by_their_variance() {
        let mut drop = drops([0.1, 0.0, 0.0], 0.02).swap_remove(0);
        drop.looks.push(DropLook { deviation: 0.0, u: 0.01, dof: 20.0 });
        let pooled = drop.pooled();
        assert!((pooled.deviation - 0.02).abs() < 1e-12 && pooled.dof == 20.0, "{pooled:?}");
        assert!((pooled.u - libm::sqrt(1.0 / 12_500.0)).abs() < 1e-12);
    }
}
