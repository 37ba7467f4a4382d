//! The flows of all pipes together: what shifts one pipe alone, and what shifts all of them alike.
//!
//! Prediction and calibration are largely common to the pipes of a unit. So one pipe's flow against the others' tells a leak or
//! a blockage of that pipe far more sharply than against the prediction alone, and only what they share can be the fan,
//! the filter or the exhaust. Not here: single holes.
use super::flow::MeanFlow;
use crate::{
    context::Context,
    job::{JobInputs, Pipe},
    judge,
    plan::Limit,
};
use alloc::{format, string::String, vec::Vec};
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::{
    decide::Limits,
    joint::{self, Given, Seen},
};

/// The measured flows of all pipes against their prediction, as fractions of it.
#[derive(Clone, Debug, Default)]
pub(super) struct Together {
    inlets: Vec<u8>,
    deviations: Vec<f64>,
    covariance: Vec<Vec<f64>>,
    /// The same flows, by the common causes that the drops at closed holes hang on too.
    flows: Vec<Seen>,
    /// What was seen at closed holes, by inlet.
    holes: Vec<(u8, Seen)>,
    /// Beside the prediction's common causes: whatever shifts the flows of all pipes alike (or all holes of a pipe), of which
    /// nothing is known beforehand.
    alike: f64,
}

/// What the pipes together show of one of them.
pub(super) enum Shown {
    /// Neither this pipe alone nor all alike is shifted by what matters; in plain words with the numbers.
    Sound(String),
    /// This pipe alone may be shifted.
    ThisPipe(String),
    /// All pipes may be shifted.
    AllPipes(String),
    Unknown,
}

impl Together {
    /// Of the pipes whose flow was measured and is predicted.
    pub(super) fn new(inputs: &JobInputs, measured: &[(Pipe, MeanFlow)]) -> Self {
        let common = inputs.plan.flow.calibration_common;
        let mut this = Self { alike: inputs.plan.advanced.as_found.alike, ..Self::default() };
        let (mut places, mut own) = (Vec::new(), Vec::new());
        for (pipe, mean) in measured {
            let at = inputs.prediction.inlets.iter().position(|p| p.number == pipe.inlet);
            let Some((at, predicted)) = at.and_then(|i| Some((i, inputs.prediction.inlets.get(i)?.flow_m3_s))) else {
                continue;
            };
            this.inlets.push(pipe.inlet);
            this.flows.push(Seen {
                deviation: mean.estimate.value / predicted.value - 1.0,
                u: mean.estimate.u_individual / predicted.value,
                spread: predicted.u_individual / predicted.value,
                common: super::compare::by_cause(inputs, &inputs.prediction.inlets[at].flow_common, predicted.value),
            });
            this.deviations.push(mean.estimate.value / predicted.value - 1.0);
            places.push((at, predicted));
            own.push((mean.estimate.value / predicted.value, mean.estimate.u_individual / predicted.value));
        }
        let drawn = |a: usize, b: usize| inputs.prediction.inlet_covariance.get(a)?.get(b).copied();
        for (i, (a, p)) in places.iter().enumerate() {
            let row = places.iter().enumerate().map(|(j, (b, q))| {
                // Not narrower than the prediction itself states.
                let widen = |at: usize, e: &Estimate| drawn(at, at).map_or(1.0, |v| (e.u() / libm::sqrt(v)).max(1.0));
                let predicted = drawn(*a, *b).unwrap_or(f64::NAN) * widen(*a, p) * widen(*b, q) / (p.value * q.value);
                let calibration = common * common * own[i].0 * own[j].0;
                predicted + calibration + if i == j { own[i].1 * own[i].1 } else { 0.0 }
            });
            this.covariance.push(row.collect());
        }
        this
    }

    /// What was seen at a pipe's holes: it shows the common causes, and so sharpens what each pipe's flow is held against.
    pub(super) fn holes(&mut self, inlet: u8, seen: &[Seen]) {
        self.holes.extend(seen.iter().map(|s| (inlet, s.clone())));
    }

    /// How far this pipe's flow is off what the other pipes and all holes let expect. What shifts the pipe's own holes all alike
    /// does not count: what comes in at a leak does that too. `None` without another pipe.
    fn alone(&self, i: usize) -> Option<Given> {
        let inlet = *self.inlets.get(i)?;
        if self.flows.len() < 2 {
            return None;
        }
        let with = |s: &Seen, flow: f64, own_hole: f64| {
            let common = s.common.iter().copied().chain([flow, own_hole]).collect();
            Seen { common, ..s.clone() }
        };
        let others = self.flows.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, s)| s);
        let flows = self.flows.get(i).into_iter().chain(others).map(|s| with(s, self.alike, 0.0));
        let holes = self.holes.iter().map(|(n, s)| with(s, 0.0, if *n == inlet { self.alike } else { 0.0 }));
        let all: Vec<Seen> = flows.chain(holes).collect();
        joint::part(&all).first().copied()?.map(|parted| parted.own)
    }

    /// Whether this pipe's flow is what the others and the prediction let expect, by the job's risk of a wrong pass.
    pub(super) fn shows(&self, ctx: &Context, inlet: u8) -> Shown {
        let inputs = ctx.inputs();
        let Some(i) = self.inlets.iter().position(|n| *n == inlet) else { return Shown::Unknown };
        let (material, band) = (&inputs.plan.flow.material, &inputs.plan.limits.flow_band);
        let conforms = |g: Given, less: f64, more: f64| {
            let value = Estimate::new(g.value, g.u, 0.0);
            judge::conforms(&inputs, &value, &Limits::between(-less, more)) == Some(Verdict::Pass)
        };
        // With every hole shown, what a pipe draws less than the others let expect is what its holes draw less together; what it
        // draws more is air that comes in elsewhere, and a small net rise may hide a large leak.
        let less = material.value.max(super::compare::matters(&inputs));
        let k = super::flow::coverage_factor(&inputs);
        let words = |g: Given| format!("{:+.1} ± {:.1} %", g.value * 100.0, k * g.u * 100.0);
        let mut says = String::new();
        if let Some(alone) = self.alone(i) {
            if !conforms(alone, less, material.value) {
                return Shown::ThisPipe(format!("{} off what the other pipes let expect", words(alone)));
            }
            says = format!("{} against the other pipes; ", words(alone));
        }
        let Some(alike) = joint::shared(&self.deviations, &self.covariance) else { return Shown::Unknown };
        let limit = unit_limit(material, band);
        if !conforms(alike, limit, limit) {
            return Shown::AllPipes(format!("all pipes together {} off the prediction", words(alike)));
        }
        says.push_str(&format!(
            "all pipes alike {}, within the unit's own {:.0} % ({})",
            words(alike),
            limit * 100.0,
            band.source
        ));
        Shown::Sound(says)
    }
}

/// What a shift of all pipes alike may be at most: it changes no hole's share, its transport times are timed by smoke, and the
/// unit's own supervision has the same band. Never less than the change of a single pipe that matters.
fn unit_limit(material: &Limit, band: &Limit) -> f64 {
    material.value.max(band.value)
}
