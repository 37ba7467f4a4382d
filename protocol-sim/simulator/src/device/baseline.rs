//! The airflow baseline in a unit: taken, kept, made void, and the flow supervised against it.
//!
//! Not here: how readings become a baseline and what is out of its band (see [`super::airflow`]).
use super::{Device, airflow, store::KeptBaseline};
use crate::{
    lie::LieKind as K,
    sensors::{NL_S, Truth},
};
use plumeline_base::{Instant, quantity::KELVIN_AT_0_C};
use plumewire::{BaselineState, EventCode};

impl Device {
    /// Gives the unit a baseline from long ago, taken over the flows that its sensors read now.
    pub(crate) fn adopt_baseline(&mut self, truth: &Truth) {
        let measured = self.sensors.read(truth, 0.0, 0);
        let nl_s = |x: f64| libm::round(x / NL_S) as i64;
        let used = |i: usize| self.config.used.get(i).copied().unwrap_or(false);
        let by_inlet = |f: fn(f64) -> f64| {
            measured.flow_m3_s.iter().enumerate().map(|(i, q)| if used(i) { nl_s(f(*q)) } else { -1 }).collect()
        };
        self.memory.baseline = Some(KeptBaseline {
            id: 1,
            flow_nl_s: by_inlet(|q| q),
            uncertainty_nl_s: by_inlet(|q| q * 0.002),
            temperature_mk: libm::round((measured.temperature_c + KELVIN_AT_0_C) * 1e3) as i64,
            fan_mrev_s: libm::round(truth.fan * self.fitted.model.fan.full_speed_rev_s * 1e3) as i64,
            duration_ms: airflow::READINGS as u32 * 1000,
            boot_id: 1,
            taken_us: 3_600_000_000,
            settings_revision: self.memory.revision,
            holds: true,
        });
        self.keep();
    }
    pub(super) fn void_baseline(&mut self, now: Instant, why: &str) {
        if let Some(baseline) = self.memory.baseline.as_mut().filter(|b| b.holds) {
            baseline.holds = false;
            self.keep();
            self.note(now, EventCode::Fault, format!("the baseline no longer holds: {why}"));
        }
        self.supervision.restart();
    }
    /// Supervises the flow against the baseline that holds.
    pub(super) fn supervise(&mut self, now: Instant) {
        if let Some(run) = &mut self.run {
            run.first_flow_m3_s.get_or_insert_with(|| self.measured.flow_m3_s.clone());
        }
        let before = (self.supervision.low, self.supervision.high);
        if self.at_speed()
            && !self.liar.tells(K::BaselineUnsupervised)
            && let Some(b) = self.memory.baseline.as_ref().filter(|b| b.holds)
        {
            self.supervision.judge(now, &self.config, b, &self.measured.flow_m3_s);
        }
        if self.liar.tells(K::RiseUnsupervised) {
            self.supervision.high = 0;
        }
        if self.liar.tells(K::LastUnsupervised) {
            let last = self.config.used.iter().rposition(|used| *used).and_then(|i| 1u8.checked_shl(i as u32));
            self.supervision.low &= !last.unwrap_or(0);
            self.supervision.high &= !last.unwrap_or(0);
        }
        if self.liar.tells(K::FlowFaultSticks) {
            self.supervision.low |= before.0;
            self.supervision.high |= before.1;
        }
        let asked_s = self.liar.severity(K::FlowFaultUnasked).unwrap_or(f64::INFINITY);
        let taken_us = self.baseline().filter(|b| b.boot_id == self.boot_id()).map(|b| b.taken_us);
        if taken_us.is_some_and(|at| self.clock_us(now).saturating_sub(at) as f64 >= asked_s * 1e6) {
            self.supervision.low |= 1;
        }
    }
    /// A second of taking a baseline.
    pub(super) fn take_baseline(&mut self, now: Instant) {
        let at_speed = self.at_speed();
        let Some(run) = &mut self.run else { return };
        let Some(taking) = &mut run.taking else { return };
        let outcome = if !at_speed {
            Err("the fan is not at its speed".into())
        } else if self.truth.cover_open {
            Err("the cover is open".into())
        } else if taking.add(&self.measured.flow_m3_s) {
            taking.finish(&self.config.used)
        } else {
            return;
        };
        run.taking = None;
        match outcome {
            Ok((mut flow_nl_s, uncertainty_nl_s)) => {
                let first = run.first_flow_m3_s.as_deref().unwrap_or_default();
                self.liar.baseline(&mut flow_nl_s, first);
                run.baseline_state = BaselineState::Taken;
                run.baseline_reason = None;
                let (boot_id, revision) = (run.boot_id, self.memory.revision);
                self.memory.baseline = Some(KeptBaseline {
                    id: self.memory.baseline.as_ref().map_or(1, |b| b.id + 1),
                    flow_nl_s,
                    uncertainty_nl_s,
                    temperature_mk: libm::round((self.measured.temperature_c + KELVIN_AT_0_C) * 1e3) as i64,
                    fan_mrev_s: self.fan_mrev_s(),
                    duration_ms: airflow::READINGS as u32 * 1000,
                    boot_id,
                    taken_us: self.clock_us(now),
                    settings_revision: revision,
                    holds: true,
                });
                if self.liar.tells(K::BaselineNotKept) {
                    self.memory.baseline = None;
                }
                self.supervision.restart();
                self.keep();
                self.note(now, EventCode::BaselineTaken, "airflow baseline taken".into());
            }
            Err(why) => {
                run.baseline_state = BaselineState::Failed;
                run.baseline_reason = Some(why);
            }
        }
    }
}
