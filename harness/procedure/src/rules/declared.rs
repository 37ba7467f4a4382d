//! The rules that a plan usually states: limits by codes, measuring times, accepted risks.
//!
//! Not here: the rules that few jobs change ([`super::advanced`]).
use super::{Limit, Preset, between, memory, over, practice, practice_of, sections};
use crate::plan::{BatteryRule, HoleChoice, HoleRef, ReleaseMark};
use alloc::vec::Vec;
use serde::Serialize;

sections! {
    /// How the unit is asked.
    LinkPlan in "" {
        /// Readings asked for, a second
        readings_hz: u8 = "readings", Frequency, between(1.0, 20.0), [practice(10.0)];
        /// Inhibits lapse when they are not renewed for this long
        inhibit_lease_s: u32 = "inhibit_lease", Time, between(5.0, 3600.0), [practice(60.0)];
    }
    /// The limits of a job.
    Limits in "limits" {
        /// Transport time of the farthest hole, at most
        transport: Limit = "transport", Time, over(0.0, 172_800.0), [
            memory("NFPA 72", 120.0, "NFPA 72, air-sampling detectors"),
            memory("NFPA 76 early warning", 90.0, "NFPA 76, telecommunications, early warning"),
            memory("NFPA 76 very early warning", 60.0, "NFPA 76, telecommunications, very early warning"),
            memory("code of practice normal", 120.0, "UK industry code of practice for ASD systems, normal sensitivity"),
            memory("code of practice enhanced", 90.0, "UK industry code of practice for ASD systems, enhanced sensitivity"),
            memory("code of practice very high", 60.0, "UK industry code of practice for ASD systems, very high sensitivity")
        ];
        /// Measured against predicted transport time, within this share of the predicted time (a prediction is known to about 9 %) ...
        transport_agreement: Limit = "transport_agreement", Ratio, over(0.0, 1.0),
            [practice_of(0.15, "measured against predicted transport time")];
        /// ... or within this time, whichever is larger
        transport_agreement_least: Limit = "transport_agreement_least", Time, over(0.0, 172_800.0),
            [practice_of(5.0, "measured against predicted transport time, least difference")];
        /// Suction at the last hole (predicted), at least
        last_hole_suction: Limit = "last_hole_suction", Pressure, between(0.0, 20_000.0), [practice_of(25.0, "suction at the last hole")];
        /// Change of the unit's volumetric flow, either way, that raises its flow fault
        flow_band: Limit = "flow_band", Ratio, over(0.0, 1.0),
            [memory("EN 54-20", 0.20, "EN 54-20 / ISO 7240-20, flow monitoring, volumetric flow of the unit")];
        /// A flow fault is raised within
        flow_fault_within: Limit = "flow_fault_within", Time, over(0.0, 172_800.0),
            [memory("EN 54-20", 300.0, "EN 54-20 / ISO 7240-20, flow monitoring, time to the fault")];
        /// Out of service before other measures are called for, at most
        out_of_service: Limit = "out_of_service", Time, over(0.0, 172_800.0),
            [memory("NFPA 101", 14_400.0, "NFPA 101, over 4 h in 24 h: fire watch or evacuation")];
        /// Waiting for a unit to start, at most
        boot: Limit = "boot", Time, over(0.0, 172_800.0), [practice_of(180.0, "start of a new unit")];
        /// The unit's date and time against the job's, at most
        clock: Limit = "clock", Time, over(0.0, 172_800.0), [practice_of(5.0, "a unit's clock against the job's")];
        /// Supply voltage under load, at least
        supply_voltage: Limit = "supply_voltage", Voltage, between(0.0, 400.0),
            [practice_of(20.4, "supply of 24 V less 15 %, at the unit's terminals under load")];
        /// A lost supply is shown as a fault within
        supply_fault_within: Limit = "supply_fault_within", Time, over(0.0, 172_800.0), [
            memory("EN 54-2", 100.0, "EN 54-2, fault warning condition"),
            memory("NFPA 72", 200.0, "NFPA 72, trouble signals")
        ];
    }
    /// When flow counts as steady.
    SettlePlan in "settle" {
        /// Length of each of the two windows that are compared; short ones can't tell a drift from noise
        window_s: f64 = "window", Time, between(1.0, 3600.0), [practice(120.0)];
        /// Largest slope of a steady flow, as a share of it, a minute
        slope_per_min: Limit = "slope_per_min", Ratio, over(0.0, 1.0), [practice_of(0.02, "slope of a steady flow, a minute")];
    }
    /// How flow is measured and judged.
    FlowPlan in "flow" {
        /// How long the flow is averaged
        average_s: f64 = "average", Time, between(1.0, 3600.0), [practice(60.0)];
        /// What the smallest material defect does to a pipe's flow (the tolerance): set it from its consequence
        material: Limit = "material", Ratio, over(0.0, 1.0), [practice_of(0.10, "change of a pipe's flow by the smallest material defect")];
        /// What an inlet without a pipe may draw at most, as a share of the flow of all pipes
        unused_inlet: Limit = "unused_inlet", Ratio, over(0.0, 1.0),
            [practice_of(0.02, "flow of an inlet without a pipe, as a share of the flow of all pipes")];
        /// How far the baseline may be off what was measured just before it, as a share of the unit's band around it: a band of 20 % round a baseline 5 % off is not 20 %
        baseline_off: Limit = "baseline_off", Ratio, over(0.0, 1.0),
            [practice_of(0.1, "baseline against the flow just before it, as a share of the unit's band")];
        /// How far the flow at the last look may be off the baseline, as a share of the unit's band around it
        last_look_off: Limit = "last_look_off", Ratio, over(0.0, 1.0),
            [practice_of(0.15, "flow at the last look against the baseline, as a share of the unit's band")];
        /// Standard uncertainty of the unit's flow readings that its inlets share
        calibration_common: f64 = "calibration_common", Ratio, between(0.0, 1.0), [practice(0.03)];
        /// Standard uncertainty of the flow readings of each inlet by itself
        calibration_individual: f64 = "calibration_individual", Ratio, between(0.0, 1.0), [practice(0.02)];
    }
    /// How single holes are checked.
    HolePlan in "holes" {
        facts {
            /// Which.
            choice: HoleChoice = HoleChoice::Reachable;
        }
        /// How long the flow is averaged with a hole open, and closed; longer where readings hang together
        average_s: f64 = "average", Time, between(1.0, 3600.0), [practice(40.0)];
        /// How long is waited after a hole was closed or opened until readings count
        wait_s: f64 = "wait", Time, between(0.0, 3600.0), [practice(10.0)];
        /// Drop at a closed hole against the predicted drop, within this share of it
        agreement: Limit = "agreement", Ratio, over(0.0, 1.0),
            [practice_of(0.50, "drop of an inlet's flow by a closed hole, against the prediction")];
        /// Obscuration needed at a hole for an alarm, worse than by design by at most: how much less a hole may draw than the pipe's other holes predict follows from it
        worse: Limit = "worse", Ratio, over(0.0, 1.0),
            [practice_of(0.20, "obscuration needed at a hole for an alarm, worse than by design")];
    }
    /// Smoke tests.
    SmokePlan in "smoke" {
        facts {
            /// Where smoke is released: the farthest hole of each pipe, and others.
            at: Vec<HoleRef> = Vec::new();
            /// Holes shown to draw by smoke, which is not timed: those that closing can't show.
            presence: Vec<HoleRef> = Vec::new();
            /// Alarm levels that the smoke need not reach: they are then listed as not shown.
            levels_not_shown: Vec<u8> = Vec::new();
            /// How the moment of release is known.
            mark: ReleaseMark = ReleaseMark::ByHand;
        }
        /// Runs at each place; three or more show their own scatter
        runs: u8 = "runs", Count, between(1.0, 20.0), [practice(1.0)];
        /// Standard uncertainty of the mark of a release
        mark_u_s: f64 = "mark_uncertainty", Time, over(0.0, 60.0), [
            Preset { name: "by a person", ..practice_of(0.35, "a person's press; how late a call over the radio comes is counted apart") },
            Preset { name: "by a device", ..practice_of(0.1, "a release device's own delay") }
        ];
        /// How long smoke is released at least; it is held there until its plateau has been seen
        release_s: f64 = "release", Time, between(1.0, 3600.0), [practice(10.0)];
        /// Purged when obscuration stays under this share of the lowest alarm level ...
        purge_below: f64 = "purge_below", Ratio, between(0.0, 1.0), [practice(0.5)];
        /// ... for this long
        purge_hold_s: f64 = "purge_hold", Time, between(1.0, 3600.0), [practice(30.0)];
    }
    /// How the supply is proven.
    SupplyPlan in "supply" {
        facts {
            /// How the battery's capacity is calculated.
            rule: BatteryRule = BATTERY[0].rule();
        }
        /// Rated capacity of the battery fitted; without it the battery stays undecided
        fitted_ah: Option<f64> = "battery", Charge, over(0.0, 10_000.0), [];
        /// Time at standby, in place of the calculation's
        standby_s: Option<f64> = "standby", Time, between(0.0, 604_800.0), [];
        /// Time in alarm, in place of the calculation's
        alarm_s: Option<f64> = "alarm", Time, between(0.0, 604_800.0), [];
        /// Factor on the alarm's charge, in place of the calculation's
        derating: Option<f64> = "derating", Ratio, between(1.0, 10.0), [];
        /// Factor on the whole, in place of the calculation's
        margin: Option<f64> = "margin", Ratio, between(1.0, 10.0), [];
        /// Current of whatever else is on the same battery at standby
        other_standby_a: f64 = "other_standby", Current, between(0.0, 1_000.0), [Preset { name: "none", ..practice(0.0) }];
        /// Current of whatever else is on the same battery in alarm
        other_alarm_a: f64 = "other_alarm", Current, between(0.0, 1_000.0), [Preset { name: "none", ..practice(0.0) }];
        /// Current of the unit in alarm by its data sheet; measured where not stated
        alarm_a: Option<f64> = "alarm_current", Current, between(0.0, 1_000.0), [];
        /// Standard uncertainty of the unit's own readings of voltage and current
        unit_u: f64 = "unit_uncertainty", Ratio, between(0.0, 1.0), [practice(0.02)];
        /// Standard uncertainty of the instrument that a person reads where the unit tells none
        meter_u: f64 = "meter_uncertainty", Ratio, between(0.0, 1.0), [practice(0.01)];
    }
    /// By which rule measured values are judged.
    RulePlan in "rule" {
        /// Accepted risk, of each test by itself, of passing what does not conform
        accept_risk: f64 = "accept_risk", Ratio, over(0.0, 0.5), [practice(0.05)];
        /// Accepted risk, of all tests of the job together, of failing what conforms
        reject_risk: f64 = "reject_risk", Ratio, over(0.0, 0.5), [practice(0.05)];
        /// Coverage of the intervals that are printed
        coverage: f64 = "coverage", Ratio, between(0.5, 0.9999), [practice(0.95)];
    }
}

/// Obscuration that a port may need for a level, by the per cent per foot that the texts state. None holds where the plan says
/// nothing: they are for telecommunications and data rooms.
pub const PORT_OBSCURATION: &[Preset] = &[
    memory("NFPA 76 very early warning alert", 0.2, "NFPA 76, obscuration at each port, very early warning, alert"),
    memory("NFPA 76 very early warning alarm", 1.0, "NFPA 76, obscuration at each port, very early warning, alarm"),
    memory("NFPA 76 early warning alarm", 1.5, "NFPA 76, obscuration at each port, early warning, alarm"),
];

/// A calculation of the battery's capacity that a plan picks by name: `margin * (T1 I1 + derating * T2 I2)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Battery {
    /// The name in `plan.toml`.
    pub name: &'static str,
    /// T1, time at standby, h.
    pub standby_h: f64,
    /// T2, time in alarm, h.
    pub alarm_h: f64,
    /// Factor on the alarm's charge.
    pub derating: f64,
    /// Factor on the whole.
    pub margin: f64,
    /// Where it comes from.
    pub source: &'static str,
    /// How well that is known.
    pub mark: super::Mark,
}
impl Battery {
    /// The calculation as a plan keeps it.
    pub fn rule(&self) -> BatteryRule {
        BatteryRule {
            standby_h: self.standby_h,
            alarm_h: self.alarm_h,
            derating: self.derating,
            margin: self.margin,
            source: self.source.into(),
            mark: self.mark,
        }
    }
}
/// The calculations; the first is what holds where the plan says nothing.
pub const BATTERY: &[Battery] = &[
    Battery {
        name: "BS 5839-1",
        standby_h: 24.0,
        alarm_h: 0.5,
        derating: 1.75,
        margin: 1.25,
        source: "BS 5839-1, C = 1.25 (T1 I1 + D I2 / 2), D = 1.75",
        mark: super::Mark::FromMemory,
    },
    Battery {
        name: "NFPA 72",
        standby_h: 24.0,
        alarm_h: 5.0 / 60.0,
        derating: 1.0,
        margin: 1.2,
        source: "NFPA 72, 24 h and 5 min, 20 % more",
        mark: super::Mark::FromMemory,
    },
];
