//! The presets of limits, tolerances and measuring times that a plan picks by name, each with its source and how
//! well that is known.
//!
//! Not here: how a limit is judged. Local codes, the listing of the unit and a licensed person decide which apply.
use plumeline_procedure::plan::{Limit, Mark};

/// A limit that a plan may pick by name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Preset {
    /// The name in `plan.toml`.
    pub name: &'static str,
    /// The value, in the unit of its table.
    pub value: f64,
    /// What it is and where it comes from.
    pub source: &'static str,
    /// How well that is known.
    pub mark: Mark,
}

/// A kind of limit, with its presets; the first is what holds where the plan says nothing.
#[derive(Clone, Copy, Debug)]
pub struct Presets {
    /// Unit of the values: `s`, `Pa`, `%/ft` or `1` (a fraction).
    pub unit: &'static str,
    /// The presets.
    pub all: &'static [Preset],
}

impl Presets {
    /// The preset of this name.
    pub fn get(&self, name: &str) -> Option<Limit> {
        self.all.iter().find(|p| p.name == name).map(|p| self.limit(p))
    }
    /// The preset that holds where the plan says nothing.
    pub fn first(&self) -> Limit {
        let nothing = Preset { name: "", value: f64::NAN, source: "", mark: Mark::ThisJob };
        self.limit(self.all.first().unwrap_or(&nothing))
    }
    fn limit(&self, p: &Preset) -> Limit {
        Limit { value: p.value, unit: self.unit.to_owned(), source: p.source.to_owned(), mark: p.mark }
    }
}

const fn memory(name: &'static str, value: f64, source: &'static str) -> Preset {
    Preset { name, value, source, mark: Mark::FromMemory }
}
const fn practice(value: f64, source: &'static str) -> Preset {
    Preset { name: "common practice", value, source, mark: Mark::CommonPractice }
}

/// Transport time of the farthest hole, at most.
pub const TRANSPORT: Presets = Presets {
    unit: "s",
    all: &[
        memory("NFPA 72", 120.0, "NFPA 72, air-sampling detectors"),
        memory("NFPA 76 early warning", 90.0, "NFPA 76, telecommunications, early warning"),
        memory("NFPA 76 very early warning", 60.0, "NFPA 76, telecommunications, very early warning"),
        memory("code of practice normal", 120.0, "UK industry code of practice for ASD systems, normal sensitivity"),
        memory("code of practice enhanced", 90.0, "UK industry code of practice for ASD systems, enhanced sensitivity"),
        memory(
            "code of practice very high",
            60.0,
            "UK industry code of practice for ASD systems, very high sensitivity",
        ),
    ],
};
/// Obscuration that a port may need for a level, by the per cent per foot that the texts state. None holds where the plan says
/// nothing: they are for telecommunications and data rooms.
pub const PORT_OBSCURATION: Presets = Presets {
    unit: "%/ft",
    all: &[
        memory("NFPA 76 very early warning alert", 0.2, "NFPA 76, obscuration at each port, very early warning, alert"),
        memory("NFPA 76 very early warning alarm", 1.0, "NFPA 76, obscuration at each port, very early warning, alarm"),
        memory("NFPA 76 early warning alarm", 1.5, "NFPA 76, obscuration at each port, early warning, alarm"),
    ],
};
/// Measured against predicted transport time, as a fraction of the predicted.
pub const TRANSPORT_AGREEMENT: Presets =
    Presets { unit: "1", all: &[practice(0.15, "measured against predicted transport time")] };
/// The least difference of transport times that counts.
pub const TRANSPORT_AGREEMENT_LEAST: Presets =
    Presets { unit: "s", all: &[practice(5.0, "measured against predicted transport time, least difference")] };
/// Suction at the last hole, at least.
pub const LAST_HOLE_SUCTION: Presets = Presets { unit: "Pa", all: &[practice(25.0, "suction at the last hole")] };
/// The band of a unit's flow that raises a flow fault.
pub const FLOW_BAND: Presets = Presets {
    unit: "1",
    all: &[memory("EN 54-20", 0.20, "EN 54-20 / ISO 7240-20, flow monitoring, volumetric flow of the unit")],
};
/// A flow fault is raised within.
pub const FLOW_FAULT_WITHIN: Presets = Presets {
    unit: "s",
    all: &[memory("EN 54-20", 300.0, "EN 54-20 / ISO 7240-20, flow monitoring, time to the fault")],
};
/// Out of service, at most, before other measures are called for.
pub const OUT_OF_SERVICE: Presets =
    Presets { unit: "s", all: &[memory("NFPA 101", 14_400.0, "NFPA 101, over 4 h in 24 h: fire watch or evacuation")] };
/// Waiting for a unit to start, at most.
pub const BOOT: Presets = Presets { unit: "s", all: &[practice(180.0, "start of a new unit")] };
/// The unit's date and time against the job's, at most.
pub const CLOCK: Presets = Presets { unit: "s", all: &[practice(5.0, "a unit's clock against the job's")] };
/// Supply voltage under load, at least.
pub const SUPPLY_VOLTAGE: Presets =
    Presets { unit: "V", all: &[practice(20.4, "supply of 24 V less 15 %, at the unit's terminals under load")] };
/// A lost supply is shown as a fault within.
pub const SUPPLY_FAULT_WITHIN: Presets = Presets {
    unit: "s",
    all: &[
        memory("EN 54-2", 100.0, "EN 54-2, fault warning condition"),
        memory("NFPA 72", 200.0, "NFPA 72, trouble signals"),
    ],
};

/// How a battery's capacity is calculated: `margin * (T1 I1 + derating * T2 I2)`.
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
    pub mark: Mark,
}
/// The calculations that a plan picks by name; the first is what holds where the plan says nothing.
pub const BATTERY: &[Battery] = &[
    Battery {
        name: "BS 5839-1",
        standby_h: 24.0,
        alarm_h: 0.5,
        derating: 1.75,
        margin: 1.25,
        source: "BS 5839-1, C = 1.25 (T1 I1 + D I2 / 2), D = 1.75",
        mark: Mark::FromMemory,
    },
    Battery {
        name: "NFPA 72",
        standby_h: 24.0,
        alarm_h: 5.0 / 60.0,
        derating: 1.0,
        margin: 1.2,
        source: "NFPA 72, 24 h and 5 min, 20 % more",
        mark: Mark::FromMemory,
    },
];
/// Largest slope of a steady flow, as a fraction of its mean a minute.
pub const STEADY: Presets = Presets { unit: "1", all: &[practice(0.02, "slope of a steady flow, a minute")] };
/// Smallest change of a pipe's flow that a material defect makes.
pub const MATERIAL: Presets =
    Presets { unit: "1", all: &[practice(0.10, "change of a pipe's flow by the smallest material defect")] };
/// How far a hole's drop may be from the predicted one, as a fraction of it.
pub const HOLE_AGREEMENT: Presets =
    Presets { unit: "1", all: &[practice(0.50, "drop of an inlet's flow by a closed hole, against the prediction")] };
/// By how much the obscuration needed at a hole may be worse than by design, as a fraction.
pub const HOLE_WORSE: Presets =
    Presets { unit: "1", all: &[practice(0.20, "obscuration needed at a hole for an alarm, worse than by design")] };
