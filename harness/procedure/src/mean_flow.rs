//! A mean flow of one inlet with its uncertainty: what flows are judged by.
//!
//! Not here: how it is averaged ([`crate::stages::flow`]) and what it is compared with ([`crate::judge`]).
use crate::{facts::fixed, instrument::Instrument, job::JobInputs, outcome::Figure};
use alloc::{format, string::String};
use plumeline_base::{
    Instant,
    pipework::Air,
    quantity::{Estimate, KELVIN_AT_0_C, M3_S_PER_L_MIN},
};
use plumeline_detector::vocabulary::{FlowBasis, WHOLE_M3_S};
use plumeline_measure::{
    difference::{Common, Reading},
    mean::{Mean, welch_satterthwaite},
    stats::t_quantile,
};

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
    /// The part of its standard uncertainty that shifts all readings of one instrument by as much, m3/s: it drops out of their
    /// differences, not of what such a difference is a share of.
    pub(crate) u_offset: f64,
    /// It was told as a share of what the unit holds to be normal, which is taken for this flow, m3/s: its level is not known.
    pub(crate) share_of: Option<f64>,
}
impl MeanFlow {
    pub(crate) fn new(mean: &Mean, scale: f64, individual: f64, share_of: Option<f64>) -> Self {
        let value = mean.estimate.value * scale;
        let u_scatter = mean.estimate.u_individual * scale;
        let estimate = Estimate::new(value, mean.estimate.u_common * scale, libm::hypot(u_scatter, individual * value));
        let expanded = estimate.u() * mean.coverage_factor;
        Self { estimate, dof: mean.dof, expanded, window: (mean.from, mean.to), u_scatter, u_offset: 0.0, share_of }
    }
    /// One reading of an instrument, at this moment.
    pub(crate) fn metered(estimate: Estimate, coverage_factor: f64, at: Instant) -> Self {
        let (u_scatter, expanded) = (estimate.u_individual, coverage_factor * estimate.u());
        Self { estimate, dof: f64::INFINITY, expanded, window: (at, at), u_scatter, u_offset: 0.0, share_of: None }
    }
    /// The mean of several readings of an instrument: what its certificate leaves open is common to all of them, and only what they
    /// scatter is their own.
    pub(crate) fn by_meter(mean: &Mean, meter: &Instrument, coverage: f64) -> Self {
        let (value, u_scatter) = (mean.estimate.value, mean.estimate.u_individual);
        let (u_offset, u_gain) = (meter.u * meter.si, meter.u_relative * value);
        let estimate = Estimate::new(value, libm::hypot(u_offset, u_gain), u_scatter);
        let dof = welch_satterthwaite(estimate.u(), &[(u_scatter, mean.dof)]);
        let expanded = t_quantile(0.5 + 0.5 * coverage, dof) * estimate.u();
        Self { estimate, dof, expanded, window: (mean.from, mean.to), u_scatter, u_offset, share_of: None }
    }
    /// What was read for a while, by a sensor that stood still.
    pub(crate) fn still(value: f64, u_scatter: f64, window: (Instant, Instant)) -> Self {
        let estimate = Estimate::new(value, 0.0, u_scatter);
        Self {
            estimate,
            dof: f64::INFINITY,
            expanded: 2.0 * u_scatter,
            window,
            u_scatter,
            u_offset: 0.0,
            share_of: None,
        }
    }
    /// What an offset of the instrument shifts every share of this flow by, as a part of that share.
    pub(crate) fn offset_of_share(&self) -> f64 {
        Common { offset: self.u_offset, gain: 0.0 }.of_share(self.estimate.value)
    }
    /// Beside other readings of the same instrument.
    pub(crate) fn read(&self) -> Reading {
        Reading { value: self.estimate.value, u_own: self.u_scatter }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::{Measurand, Place, tests::manometer};
    use core::time::Duration;
    use plumeline_measure::{Sample, few};

    /// By hand: three readings of 40.0, 40.1, 40.2 L/min; hypot(0.5, 1 % of 40.1) is 0.641 for the certificate, and the mean scatters
    /// by 0.1 / root 3 and the step's part of it.
    #[test]
    fn a_mean_off_a_meter_has_its_certificate_in_common_and_its_scatter_by_itself() {
        let meter = Instrument { measures: Measurand::Flow, at: Place::Exhaust, si: M3_S_PER_L_MIN, ..manometer() };
        let at = |s: u64| Instant::START + Duration::from_secs(s);
        let values = [40.0, 40.1, 40.2].map(|l| l * M3_S_PER_L_MIN);
        let samples: [Sample; 3] = [0, 1, 2].map(|i| Sample::new(at(i as u64 * 10), values[i]));
        let mut scatter = few::Scatter::default();
        scatter.take(&values);
        let terms = few::Terms {
            resolution: 0.1 * M3_S_PER_L_MIN,
            calibration_relative: 0.0,
            coverage: 0.95,
            each: Duration::ZERO,
        };
        let mean = MeanFlow::by_meter(&few::mean_of(&samples, &scatter, &terms).unwrap(), &meter, 0.95);
        let l_min = |q: f64| q * L_MIN;
        assert!((l_min(mean.estimate.u_common) - 0.640_938).abs() < 1e-5, "{mean:?}");
        assert!((l_min(mean.u_offset) - 0.5).abs() < 1e-9 && (mean.offset_of_share() - 0.5 / 40.1).abs() < 1e-9);
        assert!((0.057..0.07).contains(&l_min(mean.u_scatter)), "{}", l_min(mean.u_scatter));
        // The certificate's part is so much the greater that the few readings hardly widen the interval.
        assert!((mean.expanded / mean.estimate.u() - 1.96).abs() < 0.01, "{mean:?}");
    }
}
