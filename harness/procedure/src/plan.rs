//! The plan of a job, checked and typed: what is done, in which order, and by which limits. Read from `plan.toml`
//! by the job crate; its numbers are declared in [`crate::rules`], with their defaults and sources.
use crate::{
    instrument::Instrument,
    rules::{self, Rule},
    stage::StageKind,
};
pub use crate::{
    rules::{
        Limit, Mark,
        advanced::Advanced,
        declared::{FlowPlan, HolePlan, Limits, LinkPlan, RulePlan, SettlePlan, SmokePlan, SupplyPlan},
    },
    stage::Policy,
};
use alloc::{collections::BTreeMap, string::String, vec::Vec};
use plumeline_detector::Abilities;
use serde::{Deserialize, Serialize};

/// What a job does and what it is judged by.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// Site and zone, for people.
    pub site: String,
    /// Who does the job.
    pub technician: String,
    /// A service visit, at which no unit is exchanged.
    pub visit: Option<Visit>,
    /// The outgoing unit, if its settings and figures are to be captured.
    pub outgoing: Option<ExpectedUnit>,
    /// The replacement unit.
    pub replacement: ExpectedUnit,
    /// Stages to run, in order. A stage that is not listed is reported as not done.
    pub stages: Vec<StagePlan>,
    /// The site and the units are invented (a demonstration or a test): every report says so loudly.
    pub invented: bool,
    /// How the unit is asked.
    pub link: LinkPlan,
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
    /// The rules that few jobs change.
    pub advanced: Advanced,
    /// Where the job's own values come from, by the path of the rule, where the plan says so and the field keeps a number alone.
    pub sources: BTreeMap<String, String>,
    /// What hands must do at each stage and a person ticks off.
    pub checklist: Vec<ChecklistItem>,
    /// What the unit may leave unshown: named here, it costs no pass.
    pub not_shown: Vec<Untold>,
    /// Holes whose suction is read off a manometer.
    pub suction_at: Vec<HoleRef>,
    /// The instruments that numbers are read off, as each measures one quantity.
    pub instruments: Vec<Instrument>,
}
impl Plan {
    /// This stage belongs to the job: a service visit has none of those of an exchange.
    pub fn has(&self, stage: StageKind) -> bool {
        self.visit.is_none() || !stage.row().traits.of_exchange
    }
    /// The unit keeps the baseline that it holds.
    pub fn keeps_baseline(&self) -> bool {
        self.visit == Some(Visit::KeepBaseline)
    }
    /// Sets what holds for a rule.
    pub fn set(&mut self, rule: &Rule, limit: &Limit) {
        rules::set(self, rule, limit);
        if limit.mark == Mark::ThisJob && limit.source != rules::THE_PLAN {
            self.sources.insert(rule.path(), limit.source.clone());
        }
    }
}

/// A service visit: the unit on the wall stays, keeps its settings, and is proven as on its first day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Visit {
    /// The unit keeps its baseline, and the flows are held against it.
    KeepBaseline,
    /// A new baseline is taken over proven airflow.
    NewBaseline,
}
impl Visit {
    /// The names in plans.
    pub const NAMES: [(&'static str, Self); 2] =
        [("keep-baseline", Self::KeepBaseline), ("new-baseline", Self::NewBaseline)];
}

/// What a unit that is read over a line may have no way to show.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Untold {
    /// When it measured what it tells.
    DeviceTime,
    /// What it did, by its own log.
    EventLog,
    /// That its outputs are held back, on a lease.
    Inhibit,
    /// That its date and time are set and kept.
    DateAndTime,
    /// That no air enters which it does not tell.
    Air,
    /// That an instrument's calibration still holds.
    Calibration,
    /// What it holds as its airflow baseline.
    Baseline,
}
impl Untold {
    /// The names in plans.
    pub const NAMES: [(&'static str, Self); 7] = [
        ("device time", Self::DeviceTime),
        ("event log", Self::EventLog),
        ("inhibit", Self::Inhibit),
        ("date and time", Self::DateAndTime),
        ("untold air", Self::Air),
        ("calibration in date", Self::Calibration),
        ("baseline", Self::Baseline),
    ];
    /// A unit that can do this shows it.
    pub const fn is_shown(self, can: &Abilities) -> bool {
        match self {
            Self::DeviceTime => can.clock,
            Self::EventLog => can.event_log,
            // What the job does about it shows it, or a certificate, not the unit.
            Self::Air | Self::Calibration | Self::Baseline => true,
            Self::Inhibit => can.inhibit,
            // It speaks of its clock itself, and says that it has no date.
            Self::DateAndTime => can.wall_clock || can.clock,
        }
    }
    /// The name in plans.
    pub fn name(self) -> &'static str {
        Self::NAMES.iter().find(|(_, known)| *known == self).map_or("", |(name, _)| *name)
    }
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

/// Which holes are closed in turn.
#[derive(Clone, Debug, PartialEq, Serialize)]
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
