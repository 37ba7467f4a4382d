//! The holes of a pipe held against each other.
//!
//! How far a drop is off its prediction has two parts: what common causes do to all holes of the pipe (the friction law, the
//! bore, a drill, the fan), and what is the hole's own. The others show the first, so it does not widen the judgement of
//! the second; and what a hole draws less by itself is what makes its place worse protected. A hole that this leaves
//! open is closed again for longer.
use super::{
    flow::{self, L_MIN},
    holes::{Turn, outside},
};
use crate::{
    context::{Stop, list},
    job::JobInputs,
    judge::{conforms, judge},
    outcome::{Figure, Finding},
    plan::HoleRef,
};
use alloc::{format, string::String, vec::Vec};
use plumeline_airflow::uncertainty::{OF_THE_UNIT, OpeningPrediction};
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::{
    decide::{Because, Limits},
    joint::{self, Parted, Seen},
};

/// What each common cause does to a figure, as a share of it. What the unit's filter, exhaust and fan do to drops is no hole's
/// own, however wrong they are: it is judged by the flows of all pipes, and here taken to be less known than stated.
pub(super) fn by_cause(inputs: &JobInputs, common: &[f64], value: f64) -> Vec<f64> {
    let freely = |cause: usize| if OF_THE_UNIT.contains(&cause) { inputs.plan.advanced.holes.freely } else { 1.0 };
    common.iter().enumerate().map(|(cause, c)| c / value * freely(cause)).collect()
}

/// By how much more than expected a hole must draw so that its pipe's others are short of as much as matters, and no less
/// than what counts as agreement.
pub(super) fn takes_from_others(inputs: &JobInputs, share_of_pipe: f64) -> f64 {
    (inputs.plan.holes.worse.value / share_of_pipe).max(inputs.plan.holes.agreement.value)
}

/// By how much less than expected a hole must draw to matter, as a share: what is needed there for an alarm goes with one
/// over the hole's share of the air.
pub(super) fn matters(inputs: &JobInputs) -> f64 {
    1.0 - 1.0 / (1.0 + inputs.plan.holes.worse.value)
}

/// What closing a hole once showed, as shares of the predicted drop.
#[derive(Clone, Copy)]
pub(super) struct Look {
    /// Measured drop less the predicted one.
    pub(super) deviation: f64,
    /// Standard uncertainty of the measured drop.
    pub(super) u: f64,
    /// Degrees of freedom of that.
    pub(super) dof: f64,
}

/// A hole that was measured and waits to be held against the others.
pub(super) struct Held {
    hole: HoleRef,
    opening: usize,
    words: String,
    finding: Finding,
    /// The predicted drop, m3/s.
    expected: Estimate,
    looks: Vec<Look>,
    common: Vec<f64>,
    share_of_pipe: f64,
}
impl Held {
    #[expect(clippy::too_many_arguments, reason = "what was seen at one hole")]
    pub(super) fn new(
        inputs: &JobInputs,
        hole: HoleRef,
        opening: usize,
        words: String,
        finding: Finding,
        expected: Estimate,
        look: Look,
        predicted: &OpeningPrediction,
    ) -> Self {
        let common = by_cause(inputs, &predicted.closed_common, predicted.closed_share.value);
        let share_of_pipe = predicted.share_of_pipe;
        Self { hole, opening, words, finding, expected, looks: alloc::vec![look], common, share_of_pipe }
    }
    /// All looks together, each by the inverse of its variance.
    pub(super) fn pooled(&self) -> Look {
        let weight = |l: &Look| 1.0 / (l.u * l.u);
        let total: f64 = self.looks.iter().map(weight).sum();
        Look {
            deviation: self.looks.iter().map(|l| l.deviation * weight(l)).sum::<f64>() / total,
            u: libm::sqrt(1.0 / total),
            dof: self.looks.iter().map(|l| l.dof).fold(f64::INFINITY, f64::min),
        }
    }
    fn seen(&self) -> Seen {
        let look = self.pooled();
        let spread = self.expected.u_individual / self.expected.value;
        Seen { deviation: look.deviation, u: look.u, spread, common: self.common.clone() }
    }
}

/// Judges the holes of a pipe that were held back; those left open are closed again for longer. Gives the findings and what
/// was seen.
pub(super) async fn settle(turn: &mut Turn<'_>, mut held: Vec<Held>) -> Result<(Vec<Finding>, Vec<Seen>), Stop> {
    let mut told = Vec::new();
    for _ in 0..turn.inputs.plan.advanced.holes.again {
        let open: Vec<HoleRef> = judged(turn, &held).into_iter().filter_map(|j| j.worth_another_look).collect();
        for hole in open {
            let Some(at) = held.iter().position(|h| h.hole == hole) else { continue };
            match turn.again(hole, held[at].opening).await? {
                Ok(look) => held[at].looks.push(look),
                Err(finding) if finding.verdict == Verdict::Fail => {
                    held.remove(at);
                    told.push(finding);
                }
                // Not closed or not measured again: what was seen stands.
                Err(finding) => turn.ctx.remark(finding.says),
            }
        }
    }
    let mut coarse = Vec::new();
    for j in judged(turn, &held) {
        coarse.extend(j.coarse);
        told.push(j.finding);
    }
    if !coarse.is_empty() {
        let text = format!(
            "pipe {}: a hole among {} that draws up to {:.0} % less than predicted (its drop is too small a part of the flow to tell more)",
            turn.pipe.inlet,
            list(coarse.iter().map(|h| h.number)),
            turn.inputs.plan.holes.agreement.value * 100.0
        );
        turn.ctx.edit().outcome.could_have_missed.push(text);
    }
    Ok((told, held.iter().map(Held::seen).collect()))
}

struct Judged {
    finding: Finding,
    /// The hole, where a longer look may settle it.
    worth_another_look: Option<HoleRef>,
    /// The hole, where only a gross shift could be told.
    coarse: Option<HoleRef>,
}

fn judged(turn: &Turn<'_>, held: &[Held]) -> Vec<Judged> {
    let seen: Vec<Seen> = held.iter().map(Held::seen).collect();
    held.iter().zip(joint::part(&seen)).map(|(h, parted)| judge_one(turn, h, parted)).collect()
}

fn judge_one(turn: &Turn<'_>, h: &Held, parted: Option<Parted>) -> Judged {
    let (ctx, inputs) = (turn.ctx, &turn.inputs);
    let mut f = h.finding.clone();
    let look = h.pooled();
    let drop = h.expected.value * (1.0 + look.deviation);
    let Some(Parted { own, common }) = parted else {
        f.says = format!("closing {} showed a fall of flow that can't be judged", h.words);
        return Judged { finding: f, worth_another_look: None, coarse: None };
    };
    let k = flow::coverage_factor(inputs);
    let most = inputs.plan.holes.agreement.value;
    let less = matters(inputs);
    // What the pipe's other holes let expect here.
    let expected = h.expected.value * (1.0 + common.value);
    f.measured = Some(Figure::with(drop * L_MIN, look.u * h.expected.value * k * L_MIN, "L/min"));
    f.expected = Some(Figure::with(expected * L_MIN, common.u * h.expected.value * k * L_MIN, "L/min"));
    let alike = Estimate::new(common.value, common.u, 0.0);
    if conforms(inputs, &alike, &Limits::between(-most, most)) != Some(Verdict::Pass) {
        f.verdict = Verdict::Undecided;
        f.says = format!(
            "closing {} lowered the flow by {:.2} L/min, and all holes of the pipe are alike {:+.0} % off the prediction",
            h.words,
            drop * L_MIN,
            common.value * 100.0
        );
        f.next = Some("check the pipe's bore, lengths and holes against the pipework file".into());
        return Judged { finding: f, worth_another_look: None, coarse: None };
    }
    let coarse = own.u > inputs.plan.advanced.holes.coarse * less;
    let low = if coarse { most } else { less };
    let value = Estimate::new(own.value, common.u, look.u);
    f.limit = Some(if coarse { inputs.plan.holes.agreement.clone() } else { inputs.plan.holes.worse.clone() });
    let scale = h.expected.value * L_MIN;
    let because = judge(ctx, &mut f, &value, look.dof, &Limits::between(-low, most), None, scale);
    let against =
        format!("{:+.0} ± {:.0} % of what the pipe's other holes let expect", own.value * 100.0, k * own.u * 100.0);
    // Whatever the limit: what stands out of noise and usual scatter is not passed over.
    let stands_out = own.value < -inputs.plan.advanced.holes.stands_out * libm::hypot(own.u, h.seen().spread);
    match because {
        Some(Because::Within) if coarse && stands_out => {
            f.verdict = Verdict::Undecided;
            f.next = Some("look at the hole and measure it".into());
            f.says = format!(
                "closing {} lowered the flow by {:.2} L/min, {against}: less than chance makes it, not enough to tell by how much",
                h.words,
                drop * L_MIN
            );
        }
        Some(Because::Within) => {
            f.says = format!("{} draws: closing it lowered the flow by {:.2} L/min, {against}", h.words, drop * L_MIN);
        }
        Some(Because::Outside) => {
            outside(&mut f, &h.words, drop, own.value < 0.0);
            f.says = format!("{}, {against}", f.says);
            let limits = Limits::between(-low, takes_from_others(inputs, h.share_of_pipe));
            if own.value > 0.0 && judge(ctx, &mut f, &value, look.dof, &limits, None, scale) != Some(Because::Outside) {
                // A wrong hole, or a wrong file: a person decides which. What it takes from the others is less than matters.
                f.verdict = Verdict::Undecided;
            }
        }
        Some(_) => {
            f.next = Some(
                "look at the hole and measure it; average for longer, or show by smoke or manometer that it draws"
                    .into(),
            );
            f.says = format!(
                "closing {} lowered the flow by {:.2} L/min, {against}: too near the limit to tell",
                h.words,
                drop * L_MIN
            );
        }
        None => {}
    }
    let worth_another_look = (f.verdict == Verdict::Undecided && because.is_some()).then_some(h.hole);
    Judged { finding: f, worth_another_look, coarse: coarse.then_some(h.hole) }
}
