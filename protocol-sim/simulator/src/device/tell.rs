//! What the unit tells of itself: its faults, and what it sees at a moment.
use super::{Device, outputs::Inhibit};
use crate::{lie::LieKind, site::control::Shown};
use plumeline_base::{
    Instant,
    obscuration::{Extinction, ObscurationUnit},
    quantity::M3_S_PER_L_MIN,
};
use plumewire::{Conditions, EventCode, Faults};
use std::time::Duration;

/// The fan is at fault when it is off its speed by more than this for so long after the start.
const FAN_OFF: f64 = 0.1;
const FAN_GRACE: Duration = Duration::from_secs(25);
/// Least supply voltage, V.
const LEAST_SUPPLY_V: f64 = 20.0;

/// The faults as a display names them.
const FAULT_WORDS: [(Faults, &str); 11] = [
    (Faults::FLOW, "flow"),
    (Faults::FAN, "fan"),
    (Faults::SENSOR, "sensor"),
    (Faults::SUPPLY, "supply"),
    (Faults::MAINS, "mains"),
    (Faults::BATTERY, "battery"),
    (Faults::SETTINGS, "settings"),
    (Faults::INHIBIT_LAPSED, "inhibit lapsed"),
    (Faults::BASELINE, "no baseline"),
    (Faults::COVER, "cover"),
    (Faults::FILTER, "filter"),
];

/// What a unit tells of one moment.
#[derive(Clone, Debug)]
pub(crate) struct Snapshot {
    pub(crate) taken_us: u64,
    /// Nothing is known of the air yet.
    pub(crate) starting: bool,
    pub(crate) flow_m3_s: Vec<f64>,
    /// At the sensor, or at each of them.
    pub(crate) extinction_per_m: Vec<f64>,
    pub(crate) fan_mrev_s: i64,
    pub(crate) temperature_c: f64,
    pub(crate) supply_v: f64,
    pub(crate) supply_a: f64,
    pub(crate) inputs: u32,
    pub(crate) outputs: u32,
    pub(crate) faults: Faults,
    pub(crate) faults_latched: Faults,
    pub(crate) flow_low: u8,
    pub(crate) flow_high: u8,
    pub(crate) alarms: u32,
    pub(crate) alarms_latched: u32,
    pub(crate) conditions: Conditions,
    /// Outputs were inhibited before.
    pub(crate) was_inhibited: bool,
}

impl Device {
    pub(super) fn judge_faults(&mut self, now: Instant, up: bool, since_start: Duration) {
        let target = self.running_speed();
        let blind = self.liar.tells(LieKind::SupplyUnseen);
        let [mains, battery] = self.liar.tells_missing(now, [!self.truth.mains, !self.truth.battery]);
        let m = &self.measured;
        let lapsed = matches!(self.control.inhibit, Inhibit::Lapsed { .. }) && !self.liar.tells(LieKind::LapseSilent);
        let own = !self.liar.tells(LieKind::OwnFaultsNever);
        let list = [
            (Faults::FLOW, self.supervision.low | self.supervision.high != 0, "airflow"),
            (Faults::FAN, own && since_start > FAN_GRACE && (m.fan - target).abs() > FAN_OFF * target, "fan"),
            (Faults::SUPPLY, m.supply_v < LEAST_SUPPLY_V, "supply voltage"),
            (Faults::MAINS, mains && !blind, "mains missing"),
            (Faults::BATTERY, battery && !blind, "battery missing"),
            (Faults::FILTER, self.liar.tells(LieKind::FilterDue), "filter due"),
            (Faults::SENSOR, self.liar.tells(LieKind::SensorFault), "sensor"),
            (Faults::COVER, own && self.truth.cover_open, "cover open"),
            (Faults::INHIBIT_LAPSED, lapsed, "inhibit lapsed"),
            (Faults::BASELINE, up && self.baseline().is_none(), "no airflow baseline"),
            (Faults::SETTINGS, self.faults.settings, "settings"),
        ];
        let before = self.faults.now;
        self.faults.now = list.iter().filter(|(_, on, _)| *on).fold(Faults(0), |all, (f, ..)| all.with(*f));
        self.faults.latched = self.faults.latched.with(self.faults.now);
        if self.faults.now == before {
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

    /// What its display and its lamps show now; `None` when it tells nothing.
    pub(crate) fn shown(&mut self, now: Instant) -> Option<Shown> {
        let seen = self.snapshot(now)?;
        let numbers = |bits: u32| (1..=32u8).filter(|n| bits >> (n - 1) & 1 != 0).collect::<Vec<u8>>();
        let percent = |per_m: &f64| Extinction(*per_m).stated(ObscurationUnit::PercentPerMetre);
        Some(Shown {
            flow_l_min: seen.flow_m3_s.iter().map(|q| q / M3_S_PER_L_MIN).collect(),
            smoke_percent_per_m: seen.extinction_per_m.iter().map(percent).collect(),
            levels: numbers(seen.alarms),
            latched: numbers(seen.alarms_latched),
            outputs: numbers(seen.outputs),
            faults: FAULT_WORDS.iter().filter(|(f, _)| seen.faults.has(*f)).map(|(_, words)| *words).collect(),
            flow_low: numbers(seen.flow_low.into()),
            flow_high: numbers(seen.flow_high.into()),
            busy: seen.starting || seen.conditions.has(Conditions::SPINNING_UP),
        })
    }

    /// What it tells now; `None` when it tells nothing.
    pub(crate) fn snapshot(&mut self, now: Instant) -> Option<Snapshot> {
        if self.liar.loses_reading() {
            return None;
        }
        let m = &self.measured;
        let starting = self.starting(now);
        let conditions = [
            (Conditions::STARTING, starting),
            (Conditions::SPINNING_UP, !self.at_speed()),
            (Conditions::INHIBITED, self.control.inhibit.holds()),
            (Conditions::DRIVEN, self.control.driven.bits() != 0),
            (Conditions::LEARNING, self.config.learning),
            (Conditions::TAKING_BASELINE, self.is_taking()),
        ];
        let per_inlet = self.fitted.sensor_per_inlet;
        let mut seen = Snapshot {
            taken_us: self.clock_us(now),
            starting,
            flow_m3_s: m.flow_m3_s.clone(),
            extinction_per_m: if per_inlet { m.inlet_extinction_per_m.clone() } else { vec![m.extinction_per_m] },
            fan_mrev_s: self.fan_mrev_s(),
            temperature_c: m.temperature_c,
            supply_v: m.supply_v,
            supply_a: m.supply_a,
            inputs: self.truth.inputs,
            outputs: self.told_operated(),
            faults: self.faults.now,
            faults_latched: self.faults.latched,
            flow_low: self.supervision.low,
            flow_high: self.supervision.high,
            alarms: self.alarms.reached,
            alarms_latched: self.alarms.latched,
            conditions: conditions.iter().filter(|(_, on)| *on).fold(Conditions(0), |all, (c, _)| all.with(*c)),
            was_inhibited: self.control.leases > 0,
        };
        let run_s = self.run.as_ref().map_or(0.0, |r| now.since(r.since).as_secs_f64());
        self.liar.tell(now, run_s, &self.config, &mut seen);
        Some(seen)
    }
}
