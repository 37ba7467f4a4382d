//! A mean flow of one inlet with its uncertainty: what flows are judged by.
//!
//! Not here: how it is averaged ([`crate::stages::flow`]) and what it is compared with ([`crate::judge`]).
use crate::{facts::fixed, job::JobInputs, outcome::Figure};
use alloc::{format, string::String};
use plumeline_base::{
    Instant,
    pipework::Air,
    quantity::{Estimate, KELVIN_AT_0_C, M3_S_PER_L_MIN},
};
use plumeline_detector::vocabulary::{FlowBasis, WHOLE_M3_S};
use plumeline_measure::mean::Mean;

/// L/min in a m3/s.
pub(crate) const L_MIN: f64 = 1.0 / M3_S_PER_L_MIN;

/// The factor that turns a unit's flow reading into the volume that actually flows (ideal gas). A share is taken of the flow that is
/// predicted: whoever uses it must not take the level from it.
pub(crate) fn to_actual(basis: FlowBasis, air: &Air, predicted: Option<Estimate>) -> f64 {
    match basis {
        FlowBasis::Actual => 1.0,
        FlowBasis::Share => predicted.map_or(f64::NAN, |p| p.value / WHOLE_M3_S),
        FlowBasis::Reference { temperature_mc, pressure_pa } => {
            let t_ref = f64::from(temperature_mc) / 1000.0 + KELVIN_AT_0_C;
            (air.temperature_c + KELVIN_AT_0_C) / t_ref * f64::from(pressure_pa) / air.pressure_pa
        }
    }
}

/// Coverage factor of the job's coverage for a normal distribution (JCGM 100, table G.2 for infinite degrees of freedom).
pub(crate) fn coverage_factor(inputs: &JobInputs) -> f64 {
    plumeline_measure::stats::normal_quantile(0.5 + inputs.plan.rule.coverage / 2.0)
}

/// A mean flow of one inlet, m3/s as it is in the pipe, with the plan's calibration terms.
#[derive(Clone, Copy, Debug)]
pub(crate) struct MeanFlow {
    pub(crate) estimate: Estimate,
    pub(crate) dof: f64,
    pub(crate) expanded: f64,
    pub(crate) window: (Instant, Instant),
    /// The scatter part of the mean's standard uncertainty: what differences of the same sensor carry.
    pub(crate) u_scatter: f64,
    /// It was told as a share of what the unit holds to be normal, which is taken for this flow, m3/s: its level is not known.
    pub(crate) share_of: Option<f64>,
}
impl MeanFlow {
    pub(crate) fn new(mean: &Mean, scale: f64, individual: f64, share_of: Option<f64>) -> Self {
        let value = mean.estimate.value * scale;
        let u_scatter = mean.estimate.u_individual * scale;
        let estimate = Estimate::new(value, mean.estimate.u_common * scale, libm::hypot(u_scatter, individual * value));
        let expanded = estimate.u() * mean.coverage_factor;
        Self { estimate, dof: mean.dof, expanded, window: (mean.from, mean.to), u_scatter, share_of }
    }
    /// One reading of an instrument, at this moment.
    pub(crate) fn metered(estimate: Estimate, coverage_factor: f64, at: Instant) -> Self {
        let (u_scatter, expanded) = (estimate.u_individual, coverage_factor * estimate.u());
        Self { estimate, dof: f64::INFINITY, expanded, window: (at, at), u_scatter, share_of: None }
    }
    /// What was read for a while, by a sensor that stood still.
    pub(crate) fn still(value: f64, u_scatter: f64, window: (Instant, Instant)) -> Self {
        let estimate = Estimate::new(value, 0.0, u_scatter);
        Self { estimate, dof: f64::INFINITY, expanded: 2.0 * u_scatter, window, u_scatter, share_of: None }
    }
    pub(crate) fn figure(&self) -> Figure {
        // Of a share no calibration counts: the level is not known.
        let expanded = self.share_of.map_or(self.expanded, |_| self.u_scatter * 2.0);
        self.told().figure(self.estimate.value, expanded)
    }
    pub(crate) fn told(&self) -> Told {
        Told { share_of: self.share_of }
    }
}

/// In what flows are told: as they are, or as shares of what the unit holds to be normal, which is taken for this flow, m3/s.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Told {
    share_of: Option<f64>,
}
impl Told {
    /// A flow of the calculation, m3/s, as the unit tells it.
    pub(crate) fn figure(self, value: f64, expanded: f64) -> Figure {
        Figure::with(value * self.size(), expanded * self.size(), self.unit())
    }
    /// The same in words.
    pub(crate) fn words(self, value: f64) -> String {
        format!("{} {}", fixed(value * self.size(), if self.share_of.is_some() { 1 } else { 2 }), self.unit())
    }
    /// How many of its units a flow of 1 m3/s is.
    pub(crate) fn size(self) -> f64 {
        self.share_of.map_or(L_MIN, |of| 100.0 / of)
    }
    fn unit(self) -> &'static str {
        let basis = if self.share_of.is_some() { FlowBasis::Share } else { FlowBasis::Actual };
        basis.unit().0
    }
}
