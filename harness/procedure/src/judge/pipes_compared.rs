//! The flows of all pipes compared: what shifts one pipe alone, and what shifts all of them alike.
//!
//! Prediction and calibration are largely common to the pipes of a unit. So one pipe's flow against the others' tells a leak or
//! a blockage of that pipe far more sharply than against the prediction alone, and only what they share can be the fan,
//! the filter or the exhaust. Not here: single holes.
use super::{
    alone::AllClosed,
    conforms,
    holes_compared::{by_cause, matters},
};
use crate::{
    job::{JobInputs, Pipe},
    mean_flow::MeanFlow,
    plan::Limit,
};
use alloc::vec::Vec;
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::{
    decide::Limits,
    joint::{self, Given, Seen},
};

/// The measured flows of all pipes against their prediction, as fractions of it.
#[derive(Clone, Debug, Default)]
pub(crate) struct PipesCompared {
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
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum PipesShow {
    /// Neither this pipe alone nor all alike is shifted by what matters.
    Sound {
        /// Off what the other pipes predict, as a fraction; `None`: there is no other pipe.
        alone: Option<Given>,
        /// What shifts all pipes alike, as a fraction.
        alike: Given,
        /// What that may be at most.
        limit: f64,
    },
    /// This pipe alone may be shifted.
    ThisPipe(Given),
    /// All pipes may be shifted.
    AllPipes(Given),
    Unknown,
}
impl PipesShow {
    /// The pipe by itself seems to draw more: air may enter elsewhere than at its holes.
    pub(crate) fn draws_more(&self) -> bool {
        matches!(self, Self::ThisPipe(alone) if alone.value > 0.0)
    }
}

impl PipesCompared {
    /// Of the pipes whose flow was measured and is predicted.
    pub(crate) fn new(inputs: &JobInputs, measured: &[(Pipe, MeanFlow)]) -> Self {
        let (common, metered) = (inputs.plan.flow.calibration_common, inputs.plan.exhaust_meter().is_some());
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
                common: by_cause(inputs, &inputs.prediction.inlets[at].flow_common, predicted.value),
            });
            this.deviations.push(mean.estimate.value / predicted.value - 1.0);
            places.push((at, predicted));
            let share = |x: f64| x / predicted.value;
            let MeanFlow { estimate, .. } = mean;
            own.push((share(estimate.value), share(estimate.u_individual), share(estimate.u_common)));
        }
        let drawn = |a: usize, b: usize| inputs.prediction.inlet_covariance.get(a)?.get(b).copied();
        for (i, (a, p)) in places.iter().enumerate() {
            let row = places.iter().enumerate().map(|(j, (b, q))| {
                // Not narrower than the prediction itself states.
                let widen = |at: usize, e: &Estimate| drawn(at, at).map_or(1.0, |v| (e.u() / libm::sqrt(v)).max(1.0));
                let predicted = drawn(*a, *b).unwrap_or(f64::NAN) * widen(*a, p) * widen(*b, q) / (p.value * q.value);
                // By one meter, what its certificate leaves open is common to all flows too.
                let calibration = match metered {
                    true => own[i].2 * own[j].2,
                    false => common * common * own[i].0 * own[j].0,
                };
                predicted + calibration + if i == j { own[i].1 * own[i].1 } else { 0.0 }
            });
            this.covariance.push(row.collect());
        }
        this
    }

    /// What was seen at a pipe's holes: it shows the common causes, and so sharpens what each pipe's flow is held against.
    pub(crate) fn holes(&mut self, inlet: u8, seen: &[Seen]) {
        // What only the readings of one pipe's holes have in common is each one's own beside other pipes.
        let causes = self.flows.iter().map(|f| f.common.len()).max().unwrap_or(0);
        let beside = |s: &Seen| {
            let mut s = s.clone();
            let readings = s.common.split_off(causes.min(s.common.len()));
            s.u = readings.iter().fold(s.u, |u, x| libm::hypot(u, *x));
            s
        };
        self.holes.extend(seen.iter().map(|s| (inlet, beside(s))));
    }

    /// How far this pipe's flow is off what the other pipes and all holes predict. What shifts the pipe's own holes all alike
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
        // Beside the only other pipe nothing tells which of the two stands out.
        let always: &[usize] = if self.flows.len() == 2 { &[1] } else { &[] };
        joint::part_by(&all, always).first().copied()?.map(|parted| parted.own)
    }

    /// What shifts the flows of all pipes alike, as a share; `None` where none could be compared.
    pub(crate) fn alike(&self) -> Option<Given> {
        joint::shared(&self.deviations, &self.covariance)
    }

    /// Whether this pipe's flow is what the others and the prediction say, by the job's risk of a wrong pass. `closed`: what it
    /// drew with all its holes closed, where they were.
    pub(crate) fn shows(&self, inputs: &JobInputs, inlet: u8, closed: Option<&AllClosed>) -> PipesShow {
        let Some(i) = self.inlets.iter().position(|n| *n == inlet) else { return PipesShow::Unknown };
        let (material, band) = (&inputs.plan.flow.material, &inputs.plan.limits.flow_band);
        let conforms = |g: Given, less: f64, more: f64| {
            let value = Estimate::new(g.value, g.u, 0.0);
            conforms(inputs, &value, &Limits::between(-less, more)) == Some(Verdict::Pass)
        };
        // With every hole shown, what a pipe draws less than the others predict is what its holes draw less together; what it
        // draws more is air that comes in elsewhere, and a small net rise may hide a large leak, unless that was looked for.
        let less = material.value.max(matters(inputs));
        let tight = closed.and_then(|c| c.tight(inputs)) == Some(Verdict::Pass);
        let more = if tight { less } else { material.value };
        let alone = self.alone(i);
        if let Some(alone) = alone.filter(|g| !conforms(*g, less, more)) {
            return PipesShow::ThisPipe(alone);
        }
        let Some(alike) = self.alike() else { return PipesShow::Unknown };
        let limit = unit_limit(material, band);
        if !conforms(alike, limit, limit) {
            return PipesShow::AllPipes(alike);
        }
        PipesShow::Sound { alone, alike, limit }
    }
}

/// What a shift of all pipes alike may be at most: it changes no hole's share, its transport times are timed by smoke, and the
/// unit's own supervision has the same band. Never less than the change of a single pipe that matters.
pub(crate) fn unit_limit(material: &Limit, band: &Limit) -> f64 {
    material.value.max(band.value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample::{self, flow, pipe};

    fn shows(flows: &[(u8, f64)], inlet: u8) -> PipesShow {
        let inputs = sample::inputs();
        let measured: Vec<_> = flows.iter().map(|(n, q)| (pipe(&inputs, *n), flow(*q, 0.5))).collect();
        PipesCompared::new(&inputs, &measured).shows(&inputs, inlet, None)
    }

    #[test]
    fn a_shift_of_one_pipe_is_told_from_a_shift_of_all() {
        assert!(matches!(shows(&[(1, 30.2), (2, 30.0)], 1), PipesShow::Sound { alone: Some(_), .. }));
        assert!(matches!(shows(&[(1, 26.0), (2, 30.0)], 1), PipesShow::ThisPipe(g) if g.value < -0.1));
        assert!(matches!(shows(&[(1, 23.0), (2, 23.0)], 1), PipesShow::AllPipes(g) if g.value < -0.2));
        // All alike within the unit's own band.
        assert!(matches!(shows(&[(1, 27.0), (2, 27.0)], 1), PipesShow::Sound { .. }));
    }

    #[test]
    fn a_pipe_that_was_shown_to_be_tight_may_draw_more_as_it_may_draw_less() {
        let inputs = sample::inputs();
        let measured = [(pipe(&inputs, 1), flow(33.0, 0.3)), (pipe(&inputs, 2), flow(30.0, 0.3))];
        let compared = PipesCompared::new(&inputs, &measured);
        let closed = |share: f64| {
            let (own, open) = (pipe(&inputs, 1), flow(33.0, 0.3));
            AllClosed::new(&inputs, &own, &open, &flow(33.0 * share, 0.3))
        };
        let of = |closed: Option<&AllClosed>| compared.shows(&inputs, 1, closed);
        assert!(of(None).draws_more());
        assert!(matches!(of(closed(0.0).as_ref()), PipesShow::Sound { .. }));
        assert!(of(closed(0.4).as_ref()).draws_more());
    }

    #[test]
    fn a_single_pipe_has_no_other_and_an_unmeasured_one_shows_nothing() {
        assert!(matches!(shows(&[(1, 30.0)], 1), PipesShow::Sound { alone: None, .. }));
        assert_eq!(shows(&[(1, 30.0)], 2), PipesShow::Unknown);
        assert_eq!(shows(&[], 1), PipesShow::Unknown);
    }
}
