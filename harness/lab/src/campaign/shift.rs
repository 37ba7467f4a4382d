//! How far a defect moves what can be measured, in combined standard uncertainties: what any method could tell.
//!
//! Defined before any run: each quantity's change from the site as built to the site with the defect, over the standard
//! uncertainty of the difference between reading and prediction; the greatest over all pipes or holes counts. Not here: what
//! the procedure made of it.
use super::truth::Facts;
use plumeline_base::quantity::{Estimate, M3_S_PER_L_MIN};
use plumeline_procedure::JobInputs;
use plumeline_simulator::{Defect, DefectKind, sensors::SensorLaws};
use serde::{Deserialize, Serialize};

/// Over this many combined standard uncertainties any method could tell a defect.
pub const TELLABLE: f64 = 3.0;

/// Shifts in combined standard uncertainties.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Shift {
    /// Flow of a pipe against its prediction.
    pub flow: f64,
    /// Drop of a pipe's flow when a hole is closed, against its prediction.
    pub hole: f64,
    /// Time from release to half of the plateau, against its prediction.
    pub time: f64,
}
impl Shift {
    /// The greatest.
    pub fn any(&self) -> f64 {
        self.flow.max(self.hole).max(self.time)
    }
    /// Of a site against what was built; `None`: a defect that air does not show.
    pub(super) fn of(
        inputs: &JobInputs,
        sensors: &SensorLaws,
        built: &Facts,
        site: &Facts,
        defect: Defect,
    ) -> Option<Self> {
        match defect.kind {
            DefectKind::SettingLost | DefectKind::WiresCrossed => return None,
            _ => {}
        }
        let plan = &inputs.plan;
        let calibration = plan.flow.calibration_common.hypot(plan.flow.calibration_individual);
        // Mean of first-order autoregressive noise over a span much longer than its memory.
        let noise = |span_s: f64| sensors.flow_noise * (2.0 * sensors.flow_noise_s / span_s).sqrt();
        let flow_u = |p: &Estimate| (p.value * calibration.hypot(noise(plan.flow.average_s))).hypot(p.u());
        let mut shift = Self { flow: 0.0, hole: 0.0, time: 0.0 };
        let further = |to: &mut f64, change: f64, u: f64| *to = to.max(change.abs() / u);
        for (p, ((_, b), (_, s))) in inputs.prediction.inlets.iter().zip(built.flows.iter().zip(&site.flows)) {
            further(&mut shift.flow, (s - b) * M3_S_PER_L_MIN, flow_u(&p.flow_m3_s));
        }
        for p in &inputs.prediction.openings {
            let here = |f: &Facts| f.holes.iter().find(|h| (h.pipe, h.number) == (p.inlet, p.number)).map(|h| h.flow);
            let (Some(b), Some(s)) = (here(built), here(site)) else { continue };
            let pipe = inputs.prediction.inlets.iter().find(|i| i.number == p.inlet).map_or(0.0, |i| i.flow_m3_s.value);
            let u = p.closed_drop_m3_s.u().hypot(pipe * noise(plan.holes.average_s) * std::f64::consts::SQRT_2);
            // A drop goes with its hole's flow; at a crossed pipe's own inlet there is none.
            let share = if defect.kind == DefectKind::PipesCrossed { -1.0 } else { s / b - 1.0 };
            further(&mut shift.hole, share * p.closed_drop_m3_s.value, u);
        }
        for ((pipe, [_, b]), (_, [_, s])) in built.arrivals.iter().zip(&site.arrivals) {
            let last = inputs.prediction.openings.iter().filter(|p| p.inlet == *pipe).max_by_key(|p| p.number);
            let (Some(p), Some(b)) = (last, b) else { continue };
            let u = p.half_plateau_s.u().hypot(plan.smoke.mark_u_s);
            // Smoke that never comes is as far off as can be waited for.
            further(&mut shift.time, s.unwrap_or(2.0 * plan.limits.transport.value) - b, u);
        }
        Some(shift)
    }
}
