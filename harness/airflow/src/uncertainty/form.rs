//! The form of the friction law: the same pipework by every law, and what their differences leave open.
//!
//! Which law a pipe follows between laminar and turbulent is not known; all are held to be equally likely. Each is a common
//! cause of its own, by its distance from their mean over the root of 2. The squares add up to twice the variance of the
//! laws, the mean square difference of two of them taken at random: it is the same whichever of them a prediction is made
//! by, and no law's answer lies farther from another's than two such standard uncertainties. Not here: the draws.
use super::{PredictOptions, threads::each};
use crate::{
    AirflowError,
    adjoint::Adjoint,
    friction::FrictionLaw,
    network::{Network, Workspace},
    options::SolveOptions,
    sensitivity::Sensitivity,
    solution::Solution,
    transport::mean_times,
};
use alloc::{vec, vec::Vec};
use plumeline_base::pipework::Pipework;

/// How many laws there are.
pub(super) const LAWS: usize = FrictionLaw::ALL.len();

/// A pipework by every law.
pub(super) struct Form {
    /// How much of the difference counts.
    weight: f64,
    /// None where nothing of it counts.
    laws: Vec<ByLaw>,
    /// Which of them the prediction is made by.
    own: usize,
}

/// A pipework by one law. Vectors are in the order of those of `Pipework`.
pub(super) struct ByLaw {
    pub(super) solution: Solution,
    pub(super) mean_s: Vec<f64>,
    /// Share of its inlet's flow that closing an opening takes; of more than [`EXACT`] openings, linearised.
    closed_share: Vec<f64>,
}

impl Form {
    /// `owner` is the inlet (index) of each opening. A law by which the flows can't be found is left out, but for the own one.
    pub(super) fn new(pipework: &Pipework, options: &PredictOptions, owner: &[usize]) -> Result<Self, AirflowError> {
        let weight = options.model.friction_form;
        let own = options.solve.friction;
        let by_law = |(): &mut (), i: usize| {
            let friction = FrictionLaw::ALL[i];
            match ByLaw::new(pipework, &SolveOptions { friction, ..options.solve.clone() }, owner) {
                Err(_) if friction != own => Ok(None),
                other => other.map(|law| Some((friction, law))),
            }
        };
        let all = each(if weight > 0.0 { LAWS } else { 0 }, || (), by_law)?;
        let (names, laws): (Vec<_>, Vec<_>) = all.into_iter().flatten().unzip();
        Ok(Self { weight, own: names.iter().position(|law| *law == own).unwrap_or(0), laws })
    }

    /// How many laws count.
    pub(super) fn laws(&self) -> u32 {
        self.laws.len() as u32
    }

    /// What one standard uncertainty by each law does to a quantity. A law by which it has no end says nothing.
    pub(super) fn causes(&self, at: impl Fn(&ByLaw) -> f64) -> [f64; LAWS] {
        causes(self.weight, &self.laws.iter().map(at).collect::<Vec<f64>>())
    }

    /// The same for the share of its inlet's flow that closing an opening takes, which is `exact` by the own law.
    pub(super) fn closed_share(&self, opening: usize, exact: f64) -> impl Fn(&ByLaw) -> f64 {
        let own = self.laws.get(self.own).map_or(0.0, |law| law.closed_share[opening]);
        move |law| if own > 0.0 { exact * law.closed_share[opening] / own } else { exact }
    }

    /// A draw's value by the law that falls to it, for what adds up.
    pub(super) fn moved(&self, draw: usize, value: f64, at: impl Fn(&ByLaw) -> f64) -> f64 {
        let Some(own) = self.laws.get(self.own) else { return value };
        value + self.weight * (at(&self.laws[draw % self.laws.len()]) - at(own))
    }

    /// The same for what can't be negative.
    pub(super) fn scaled(&self, draw: usize, value: f64, at: impl Fn(&ByLaw) -> f64) -> f64 {
        let Some(own) = self.laws.get(self.own) else { return value };
        let ratio = at(&self.laws[draw % self.laws.len()]) / at(own);
        value * (1.0 + self.weight * (ratio - 1.0)).max(0.0)
    }
}

/// What one standard uncertainty of each law does to a value that they give so, by how much their choice counts.
pub(super) fn causes(weight: f64, values: &[f64]) -> [f64; LAWS] {
    let finite = || values.iter().filter(|x| x.is_finite());
    let mean = finite().sum::<f64>() / finite().count() as f64;
    core::array::from_fn(|i| match values.get(i) {
        Some(x) if x.is_finite() => weight * (x - mean) * core::f64::consts::FRAC_1_SQRT_2,
        _ => 0.0,
    })
}

/// Up to so many openings each is closed by each law. A law that turns turbulent within a few hundred Reynolds numbers is no
/// straight line over what closing a hole changes; but a pipe of 2,000 holes shall not ask for 8,000 solves.
const EXACT: usize = 400;

/// An inlet's flow with an opening (by its place in the layout) closed, if that can be solved.
fn without(network: &Network, nominal: &Workspace, place: usize, inlet: usize) -> Option<f64> {
    let (mut network, mut ws) = (network.clone(), nominal.clone());
    network.close(&mut ws, place);
    network.resume(&mut ws).ok().map(|solution| solution.inlet_flow_m3_s[inlet])
}

impl ByLaw {
    fn new(pipework: &Pipework, solve: &SolveOptions, owner: &[usize]) -> Result<Self, AirflowError> {
        let network = Network::build(pipework, solve)?;
        let mut ws = network.workspace();
        let solution = network.solve(&mut ws)?.clone();
        let open = &network.layout.open;
        let few = (2..=EXACT).contains(&open.len());
        let nominal = ws.clone();
        let mut sensitivity = Sensitivity::new(Adjoint::new(&network, ws));
        let by_pulls: Vec<Vec<f64>> = (0..pipework.inlets.len()).map(|i| sensitivity.by_pulls(i)).collect();
        let mut closed_share = vec![0.0; pipework.openings.len()];
        for (hole, &k) in open.iter().enumerate() {
            let inlet = owner[k as usize];
            let flow = solution.inlet_flow_m3_s[inlet];
            let closed = few.then(|| without(&network, &nominal, hole, inlet)).flatten();
            let drop = closed.map_or_else(|| sensitivity.closed_drop(hole, &by_pulls[inlet]), |left| flow - left);
            closed_share[k as usize] = drop / flow;
        }
        Ok(Self { mean_s: mean_times(pipework, &solution), closed_share, solution })
    }
}
