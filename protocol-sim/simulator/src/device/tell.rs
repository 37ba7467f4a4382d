//! What the unit tells of itself: its faults, and its readings.
use super::{Device, NL_S, outputs::Inhibit};
use plumeline_base::{Instant, quantity::KELVIN_AT_0_C};
use plumewire::{Conditions, EventCode, Faults, Message, PerInlet, Reading, Report, Sample};
use std::time::Duration;

/// The fan is at fault when it is off its speed by more than this for so long after the start.
const FAN_OFF: f64 = 0.1;
const FAN_GRACE: Duration = Duration::from_secs(25);
/// Least supply voltage, V.
const LEAST_SUPPLY_V: f64 = 20.0;

impl Device {
    pub(super) fn judge_faults(&mut self, now: Instant, up: bool, since_start: Duration) {
        let m = &self.measured;
        let target = self.running_speed();
        let list = [
            (Faults::FLOW, self.supervision.low | self.supervision.high != 0, "airflow"),
            (Faults::FAN, since_start > FAN_GRACE && (m.fan - target).abs() > FAN_OFF * target, "fan"),
            (Faults::SUPPLY, m.supply_v < LEAST_SUPPLY_V, "supply voltage"),
            (Faults::MAINS, !self.truth.mains, "mains missing"),
            (Faults::BATTERY, !self.truth.battery, "battery missing"),
            (Faults::COVER, self.truth.cover_open, "cover open"),
            (Faults::INHIBIT_LAPSED, matches!(self.inhibit, Inhibit::Lapsed { .. }), "inhibit lapsed"),
            (Faults::BASELINE, up && self.baseline().is_none(), "no airflow baseline"),
            (Faults::SETTINGS, self.settings_fault, "settings"),
        ];
        let before = self.faults;
        self.faults = list.iter().filter(|(_, on, _)| *on).fold(Faults(0), |all, (f, ..)| all.with(*f));
        self.faults_latched = self.faults_latched.with(self.faults);
        if self.faults == before {
            return;
        }
        for (fault, on, words) in list {
            match (before.has(fault), on) {
                (false, true) => self.note(now, EventCode::Fault, format!("fault: {words}")),
                (true, false) => self.note(now, EventCode::FaultCleared, format!("fault gone: {words}")),
                _ => {}
            }
        }
    }
    pub(super) fn fan_mrev_s(&self) -> i64 {
        libm::round(self.measured.fan * self.fitted.model.fan.full_speed_rev_s * 1e3) as i64
    }

    pub(super) fn send_reading(&mut self, now: Instant) {
        let m = &self.measured;
        let whole = |x: f64| if x.is_finite() { Sample::Value(libm::round(x) as i64) } else { Sample::Failed };
        let starting = self.starting(now);
        let mut flow = PerInlet::new();
        for q in &m.flow_m3_s {
            // A list has room for the most inlets that a unit can have.
            let _ = flow.push(if starting { Sample::Failed } else { whole(q / NL_S) });
        }
        let extinction = |x: f64| if starting { Sample::Failed } else { whole(x * 1e9) };
        let obscuration: Vec<Sample> = if self.fitted.sensor_per_inlet {
            m.inlet_extinction_per_m.iter().map(|x| extinction(*x)).collect()
        } else {
            vec![extinction(m.extinction_per_m)]
        };
        let conditions = [
            (Conditions::STARTING, starting),
            (Conditions::SPINNING_UP, !self.at_speed()),
            (Conditions::INHIBITED, self.inhibit.holds()),
            (Conditions::DRIVEN, self.driven.bits() != 0),
            (Conditions::LEARNING, self.config.learning),
            (Conditions::TAKING_BASELINE, self.run.as_ref().is_some_and(|r| r.taking.is_some())),
        ];
        let mut reading = Reading {
            taken_us: self.clock_us(now),
            dropped: 0,
            flow_nl_s: flow,
            obscuration_n_m: PerInlet::from_slice(&obscuration).unwrap_or_default(),
            fan_mrev_s: Sample::Value(self.fan_mrev_s()),
            temperature_mk: whole((m.temperature_c + KELVIN_AT_0_C) * 1e3),
            supply_mv: whole(m.supply_v * 1e3),
            supply_ma: whole(m.supply_a * 1e3),
            inputs: self.truth.inputs,
            outputs: self.operated(),
            faults: self.faults,
            faults_latched: self.faults_latched,
            flow_low: self.supervision.low,
            flow_high: self.supervision.high,
            alarms: self.alarms.reached,
            alarms_latched: self.alarms.latched,
            conditions: conditions.iter().filter(|(_, on)| *on).fold(Conditions(0), |all, (c, _)| all.with(*c)),
        };
        let Some(run) = &mut self.run else { return };
        reading.dropped = run.dropped;
        if self.line.report(now, &Message::Report(Report::Reading(reading)), run.reports) {
            run.reports = run.reports.wrapping_add(1);
        } else {
            run.dropped = run.dropped.saturating_add(1);
        }
        while let Some(entry) = self.log.report() {
            self.line.report(now, &Message::Report(Report::Log(entry)), run.reports);
            run.reports = run.reports.wrapping_add(1);
        }
    }
}
