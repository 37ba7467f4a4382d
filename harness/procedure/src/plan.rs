//! The plan of a job, checked and typed: what is done, in which order, and by which limits. Read from `plan.toml`
//! by the job crate; nothing here is a default, and every limit carries its source.
pub use crate::stage::Policy;
use crate::stage::StageKind;
use alloc::{string::String, vec::Vec};
use serde::{Deserialize, Serialize};

/// What a job does and what it is judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Site and zone, for people.
    pub site: String,
    /// Who does the job.
    pub technician: String,
    /// The outgoing unit, if its settings and figures are to be captured.
    pub outgoing: Option<ExpectedUnit>,
    /// The replacement unit.
    pub replacement: ExpectedUnit,
    /// Stages to run, in order. A stage that is not listed is reported as not done.
    pub stages: Vec<StagePlan>,
    /// Readings asked for, per second (1 to 20).
    pub readings_hz: u8,
    /// How long the lease of an inhibit runs without renewal, s.
    pub inhibit_lease_s: u32,
    /// Limits that a verdict hangs on.
    pub limits: Limits,
    /// When flow counts as steady.
    pub settle: SettlePlan,
    /// How flow is measured and judged.
    pub flow: FlowPlan,
    /// How single holes are checked.
    pub holes: HolePlan,
    /// Smoke tests, at least one for each pipe for a pass.
    pub smoke: SmokePlan,
    /// By which rule measured values are judged.
    pub rule: RulePlan,
    /// How outputs are proven.
    pub outputs: OutputPlan,
    /// How the supply is proven.
    pub supply: SupplyPlan,
    /// What hands must do at each stage and a person ticks off.
    pub checklist: Vec<ChecklistItem>,
}

/// A unit that is expected; what is not stated is not checked.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ExpectedUnit {
    /// Model as the unit states it.
    pub model: Option<String>,
    /// Serial number.
    pub serial: Option<String>,
    /// Firmware version.
    #[serde(default)]
    pub firmware: Option<String>,
    /// How far its local time is ahead of UTC, minutes.
    #[serde(default)]
    pub zone_min: Option<i64>,
}

/// One stage of the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StagePlan {
    /// Which.
    pub stage: StageKind,
    /// What happens when it does not pass.
    pub policy: Policy,
    /// How long it may take, s.
    pub deadline_s: u32,
}

/// How well the origin of a value is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// Checked against the published text.
    Published,
    /// Written down from memory of the published text: check before a verdict hangs on it.
    FromMemory,
    /// Common practice, no source.
    CommonPractice,
    /// Set by this job.
    ThisJob,
}
impl Mark {
    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::FromMemory => "from memory, check the source",
            Self::CommonPractice => "common practice, no source",
            Self::ThisJob => "set by this job",
        }
    }
}

/// A limit with where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Limit {
    /// The value, in `unit`.
    pub value: f64,
    /// Unit: `s`, `Pa`, `1` (a fraction).
    pub unit: String,
    /// What it is and where it comes from, for example `NFPA 72, air-sampling detectors`.
    pub source: String,
    /// How well that is known.
    pub mark: Mark,
}

/// The limits of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Transport time of the farthest hole, s, at most.
    pub transport: Limit,
    /// Measured against predicted transport time: allowed difference as a fraction of the predicted time ...
    pub transport_agreement: Limit,
    /// ... or this many seconds, whichever is larger.
    pub transport_agreement_least: Limit,
    /// Suction at the last hole, Pa, at least.
    pub last_hole_suction: Limit,
    /// The band of a unit's flow that raises a flow fault, as a fraction of normal flow.
    pub flow_band: Limit,
    /// A flow fault is raised within, s.
    pub flow_fault_within: Limit,
    /// Out of service, s, at most, before other measures are called for.
    pub out_of_service: Limit,
    /// Waiting for a unit to start, s, at most.
    pub boot: Limit,
    /// The unit's date and time against the job's, s, at most.
    pub clock: Limit,
    /// Supply voltage under load, V, at least.
    pub supply_voltage: Limit,
    /// A lost supply is shown as a fault within, s.
    pub supply_fault_within: Limit,
}

/// When flow counts as steady.
#[derive(Clone, Debug, PartialEq)]
pub struct SettlePlan {
    /// Length of each of the two windows, s.
    pub window_s: f64,
    /// Largest slope, as a fraction of the mean a minute.
    pub slope_per_min: Limit,
}

/// How flow is measured and judged.
#[derive(Clone, Debug, PartialEq)]
pub struct FlowPlan {
    /// Time averaged over, s.
    pub average_s: f64,
    /// Smallest change of a pipe's flow, as a fraction, that a material defect makes: the tolerance.
    pub material: Limit,
    /// Standard uncertainty of the unit's flow readings that all its inlets share, as a fraction.
    pub calibration_common: f64,
    /// Standard uncertainty of the unit's flow readings of each inlet by itself, as a fraction.
    pub calibration_individual: f64,
}

/// Which holes are closed in turn.
#[derive(Clone, Debug, PartialEq)]
pub enum HoleChoice {
    /// Every hole marked reachable.
    Reachable,
    /// These only.
    These(Vec<HoleRef>),
    /// None: what hangs on it stays undecided.
    None,
}

/// An opening, as people name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct HoleRef {
    /// Inlet number of its pipe.
    pub inlet: u8,
    /// Number along the pipe, from the unit.
    pub number: u32,
}

/// How single holes are checked.
#[derive(Clone, Debug, PartialEq)]
pub struct HolePlan {
    /// Which.
    pub choice: HoleChoice,
    /// Time averaged over while closed, and again while open, s.
    pub average_s: f64,
    /// Waiting after a hole was closed or opened until readings count, s.
    pub wait_s: f64,
    /// How far the drop may be from the predicted drop, as a fraction of it.
    pub agreement: Limit,
    /// By how much the obscuration needed at a hole for an alarm may be worse than by design, as a fraction: what a hole may
    /// draw less than the pipe's other holes let expect comes from it.
    pub worse: Limit,
}

/// How a release of smoke is marked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReleaseMark {
    /// The person who releases presses the key.
    ByHand,
    /// Called over a radio to the person at the laptop: comes late.
    ByRadio,
    /// A release device gives the moment.
    Device,
}

/// Smoke tests.
#[derive(Clone, Debug, PartialEq)]
pub struct SmokePlan {
    /// Where smoke is released: the farthest hole of each pipe, and others.
    pub at: Vec<HoleRef>,
    /// Holes shown to draw by smoke, which is not timed: those that closing can't show.
    pub presence: Vec<HoleRef>,
    /// Runs at each place; three or more can be pooled by their own scatter.
    pub runs: u8,
    /// How the moment of release is known.
    pub mark: ReleaseMark,
    /// Standard uncertainty of the mark, s.
    pub mark_u_s: f64,
    /// Length of a release that the operator is asked for, s.
    pub release_s: f64,
    /// The purge is over when obscuration has stayed under this fraction of the lowest alarm level ...
    pub purge_below: f64,
    /// ... for this long, s.
    pub purge_hold_s: f64,
}

/// By which rule measured values are judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RulePlan {
    /// Largest accepted risk, over all tests of the job together, of passing what does not conform (0 to 0.5).
    pub accept_risk: f64,
    /// Largest accepted risk, over all tests of the job together, of failing what conforms (0 to 0.5).
    pub reject_risk: f64,
    /// Coverage of the intervals that are printed, for example 0.95.
    pub coverage: f64,
}

/// Something that hands must do, ticked off by a person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChecklistItem {
    /// The stage it belongs to.
    pub stage: StageKind,
    /// What is to be done or seen, in plain words.
    pub text: String,
    /// The job can't pass without it.
    pub required: bool,
    /// Asked when the stage's own work is done, not before it.
    #[serde(default)]
    pub after: bool,
}

/// How outputs are proven.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OutputPlan {
    /// The wiring sheet: what is wired to where, for the outputs that it names.
    pub wires: Vec<Wire>,
    /// The inhibit is let lapse once, to see that it raises its fault and holds the outputs meanwhile.
    pub lapse: bool,
}

/// A line of the wiring sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wire {
    /// Output of the replacement.
    pub output: u8,
    /// What the output stands for: in neutral words ("fault", "level 1"), or in those of the unit's settings.
    pub function: String,
    /// What it is called at the panel.
    pub panel: Option<String>,
    /// Input of the unit to which the panel gives its reaction back, in place of the operator's word.
    pub input: Option<u8>,
}

/// How the supply is proven.
#[derive(Clone, Debug, PartialEq)]
pub struct SupplyPlan {
    /// How the battery's capacity is calculated.
    pub rule: BatteryRule,
    /// Rated capacity of the battery fitted, A h.
    pub fitted_ah: Option<f64>,
    /// Current of whatever else is on the same battery at standby, A.
    pub other_standby_a: f64,
    /// Current of whatever else is on the same battery in alarm, A.
    pub other_alarm_a: f64,
    /// Current of the unit in alarm by its data sheet, A; measured where not stated.
    pub alarm_a: Option<f64>,
    /// Relative standard uncertainty of the unit's own readings of voltage and current.
    pub unit_u: f64,
    /// Relative standard uncertainty of the instrument that a person reads.
    pub meter_u: f64,
}

/// How a battery's capacity is calculated: `margin * (standby I1 + derating * alarm I2)`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BatteryRule {
    /// Time at standby, h.
    pub standby_h: f64,
    /// Time in alarm after it, h.
    pub alarm_h: f64,
    /// Factor on the alarm's charge: a battery gives less at a higher current.
    pub derating: f64,
    /// Factor on the whole, for ageing.
    pub margin: f64,
    /// Where that comes from.
    pub source: String,
    /// How well that is known.
    pub mark: Mark,
}
