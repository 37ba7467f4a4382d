//! The neutral words: who a unit is, what it can do, what it reports.
//!
//! Not here: what it can be asked ([`crate::ask`]).
use crate::ask::{Look, Request};
use alloc::{string::String, vec::Vec};
use plumeline_base::{Instant, quantity::M3_S_PER_L_MIN};
use serde::{Deserialize, Serialize};

/// How long an output is driven unless it is stopped or driven anew, s: the longest that the protocol has.
pub const DRIVE_S: u8 = 60;

/// Who a unit says it is. Evidence is bound to this.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Identity {
    /// Maker, as the unit states it.
    pub maker: String,
    /// Model, as the unit states it.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// Changes at every start of the unit; `None` where the unit can't tell.
    pub boot_id: Option<u64>,
}

/// Whether a flow reading is a volume as it is or at reference conditions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FlowBasis {
    /// Volumetric flow of the air as it is in the pipe.
    Actual,
    /// Volumetric flow converted to reference conditions (mass-type sensors).
    Reference {
        /// Reference temperature, millidegree Celsius.
        temperature_mc: i32,
        /// Reference pressure, Pa.
        pressure_pa: u32,
    },
    /// A share of a flow that the unit holds to be normal: ratios count, the level is not told. All of it stands in a reading
    /// as [`WHOLE_M3_S`].
    Share,
}
/// What a reading says where the flow is all of what the unit holds to be normal, by [`FlowBasis::Share`].
pub const WHOLE_M3_S: f64 = 1e-3;
impl FlowBasis {
    /// The unit in which people read such flows, and its size in a reading, m3/s.
    pub const fn unit(self) -> (&'static str, f64) {
        match self {
            Self::Actual | Self::Reference { .. } => ("L/min", M3_S_PER_L_MIN),
            Self::Share => (OF_NORMAL, WHOLE_M3_S / 100.0),
        }
    }
}
/// The unit of a flow of which no more is known than its share of what the unit holds to be normal.
pub const OF_NORMAL: &str = "% of its normal flow";

/// How a unit's readings are come by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingsBy {
    /// They can't be had.
    None,
    /// They come by themselves, once asked for.
    Stream {
        /// The lowest and the highest rate, readings per second.
        hz: (u8, u8),
    },
    /// Each is asked for by itself, as of a person at a display.
    Asking,
}
impl ReadingsBy {
    /// They come by themselves.
    pub const fn streams(self) -> bool {
        matches!(self, Self::Stream { .. })
    }
}

/// How a unit measures obscuration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ObscurationSensing {
    /// Not told.
    None,
    /// One chamber for all inlets.
    One,
    /// One value per inlet.
    PerInlet,
}

/// What a unit can do. A stage asks here before it asks the unit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Abilities {
    /// Number of inlets, 1 to 8.
    pub inlets: u8,
    /// Number of alarm levels.
    pub alarm_levels: u8,
    /// Number of outputs.
    pub outputs: u8,
    /// Number of inputs.
    pub inputs: u8,
    /// How readings are come by.
    pub readings: ReadingsBy,
    /// Flow is told for each inlet.
    pub flow_per_inlet: bool,
    /// What a flow reading means.
    pub flow_basis: FlowBasis,
    /// Resolution of a flow reading, nL/s; 0 if not stated.
    pub flow_step_nl_s: u32,
    /// Largest flow that an inlet's sensor can tell, nL/s; 0 if not stated.
    pub flow_max_nl_s: u32,
    /// Largest extinction that its sensor can tell, 1e-9/m; 0 if not stated.
    #[serde(default)]
    pub extinction_max_n_m: u64,
    /// Resolution of an extinction reading, 1e-9/m; 0 if not stated.
    #[serde(default)]
    pub extinction_step_n_m: u64,
    /// Over how long an extinction reading is averaged before it is told, as a lag of first order beside the sensor's own, ms.
    #[serde(default)]
    pub extinction_averaged_ms: u32,
    /// How obscuration is told.
    pub obscuration: ObscurationSensing,
    /// Device time can be compared with ours.
    pub clock: bool,
    /// It knows date and time, and they can be set.
    #[serde(default)]
    pub wall_clock: bool,
    /// It says itself that it is a simulation.
    #[serde(default)]
    pub simulated: bool,
    /// Settings can be read whole, with a digest.
    pub read_settings: bool,
    /// Settings can be written as one transaction.
    pub write_settings: bool,
    /// The airflow baseline can be taken and read.
    pub baseline: bool,
    /// Outputs can be inhibited on a lease.
    pub inhibit: bool,
    /// Outputs can be driven for test.
    pub drive_outputs: bool,
    /// Latched alarms can be reset.
    pub reset_latches: bool,
    /// The event log can be read.
    pub event_log: bool,
    /// Notes can be written into the event log.
    #[serde(default)]
    pub notes: bool,
    /// The unit can be restarted.
    pub restart: bool,
}

impl Abilities {
    /// A unit with so many inlets that can nothing, until somebody says what.
    pub const fn nothing(inlets: u8) -> Self {
        Self {
            inlets,
            alarm_levels: 0,
            outputs: 0,
            inputs: 0,
            readings: ReadingsBy::None,
            flow_per_inlet: false,
            flow_basis: FlowBasis::Actual,
            flow_step_nl_s: 0,
            flow_max_nl_s: 0,
            extinction_max_n_m: 0,
            extinction_step_n_m: 0,
            extinction_averaged_ms: 0,
            obscuration: ObscurationSensing::None,
            clock: false,
            wall_clock: false,
            simulated: false,
            read_settings: false,
            write_settings: false,
            baseline: false,
            inhibit: false,
            drive_outputs: false,
            reset_latches: false,
            event_log: false,
            notes: false,
            restart: false,
        }
    }
    /// It has a way to answer this.
    pub fn can(&self, request: &Request) -> bool {
        match request {
            Request::Identify => true,
            Request::Clock => self.clock,
            Request::StartReadings { .. } | Request::StopReadings => self.readings.streams(),
            Request::ReadOnce { look: Look::Flows } => self.flow_per_inlet,
            Request::ReadOnce { look: Look::Smoke } => self.obscuration != ObscurationSensing::None,
            Request::ReadOnce { look: Look::State } => self.readings != ReadingsBy::None,
            Request::ReadSettings | Request::SettingsState => self.read_settings,
            Request::WriteSettings { .. } => self.write_settings,
            Request::TellTime | Request::SetTime { .. } => self.wall_clock,
            Request::TakeBaseline | Request::ReadBaseline => self.baseline,
            Request::Inhibit { .. } | Request::RenewInhibit | Request::ReleaseInhibit => self.inhibit,
            Request::Drive { .. } => self.drive_outputs,
            Request::ResetLatches => self.reset_latches,
            Request::ReadEvents { .. } => self.event_log,
            Request::WriteNote { .. } => self.notes,
            Request::Restart => self.restart,
        }
    }
}

/// Faults that a unit reports, as plain flags.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Faults(pub u32);
impl Faults {
    /// The airflow of an inlet has left its band (any inlet).
    pub const FLOW: Self = Self(1);
    /// Fan fault.
    pub const FAN: Self = Self(1 << 1);
    /// Chamber or sensor fault.
    pub const SENSOR: Self = Self(1 << 2);
    /// Mains or supply fault.
    pub const SUPPLY: Self = Self(1 << 3);
    /// Battery fault.
    pub const BATTERY: Self = Self(1 << 4);
    /// Settings fault (store damaged, defaults in force).
    pub const SETTINGS: Self = Self(1 << 5);
    /// An inhibit lapsed because it was not renewed.
    pub const INHIBIT_LAPSED: Self = Self(1 << 6);
    /// No airflow baseline is held.
    pub const NO_BASELINE: Self = Self(1 << 7);
    /// The cover is open.
    pub const COVER: Self = Self(1 << 8);
    /// The filter is due.
    pub const FILTER: Self = Self(1 << 9);
    /// Any other fault.
    pub const OTHER: Self = Self(1 << 31);
    /// True if every flag of `other` is set.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
    /// True if none is set.
    pub const fn is_clear(self) -> bool {
        self.0 == 0
    }
}

/// The bit of inlet, level, output or input `n`, from 1, in a set of them; none for 0 and beyond 32.
pub fn bit(n: u8) -> u32 {
    n.checked_sub(1).and_then(|n| 1u32.checked_shl(n.into())).unwrap_or(0)
}

/// What a unit says of its own state, as plain flags.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conditions(pub u32);
impl Conditions {
    /// It still starts.
    pub const STARTING: Self = Self(1);
    /// Its fan is not at speed.
    pub const FAN_NOT_AT_SPEED: Self = Self(1 << 1);
    /// Outputs are inhibited.
    pub const INHIBITED: Self = Self(1 << 2);
    /// An output is driven for test.
    pub const DRIVEN: Self = Self(1 << 3);
    /// Alarm thresholds are being learnt from what it sees.
    pub const LEARNING: Self = Self(1 << 4);
    /// The airflow baseline is being taken.
    pub const TAKING_BASELINE: Self = Self(1 << 5);
    /// Any other.
    pub const OTHER: Self = Self(1 << 31);
    /// True if every flag of `other` is set.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
}

/// One set of readings. What a unit does not tell, or can't be told this way, is `None`: unknown, never clear.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// When it reached us, log time.
    pub received: Instant,
    /// When the unit measured it, by the unit's own clock, us.
    pub device_us: Option<u64>,
    /// Readings that the unit dropped or the line lost between the one before and this one.
    pub missed: u32,
    /// Flow of each inlet in the order of the unit's inlets, m3/s, on the unit's [`FlowBasis`]; `None`: not told.
    pub flow_m3_s: Vec<Option<f64>>,
    /// Flow of all inlets together, where one sensor serves them all, m3/s on the unit's [`FlowBasis`].
    pub flow_all_m3_s: Option<f64>,
    /// Extinction, 1/m: one entry for the unit, or one per inlet.
    pub extinction_per_m: Vec<Option<f64>>,
    /// Fan speed, revolutions per minute.
    pub fan_rpm: Option<f64>,
    /// Air temperature, degC.
    pub temperature_c: Option<f64>,
    /// Supply voltage, V.
    pub supply_v: Option<f64>,
    /// Supply current, A.
    pub supply_a: Option<f64>,
    /// Inputs, bit 0 is input 1.
    pub inputs: Option<u32>,
    /// Faults.
    pub faults: Option<Faults>,
    /// Faults that stay shown until they are reset.
    pub faults_latched: Option<Faults>,
    /// Inlets whose flow is under their band, bit 0 is inlet 1.
    pub flow_low: Option<u32>,
    /// Inlets whose flow is over their band, bit 0 is inlet 1.
    pub flow_high: Option<u32>,
    /// Alarm levels active, bit 0 is the lowest level.
    pub levels: Option<u32>,
    /// Alarm levels latched, bit 0 is the lowest level.
    pub latched: Option<u32>,
    /// Outputs active, bit 0 is output 1.
    pub outputs: Option<u32>,
    /// What the unit says of its own state.
    pub conditions: Option<Conditions>,
}
impl Reading {
    /// A reading that tells of every flag, and that none is set; of quantities it tells nothing.
    pub fn clear() -> Self {
        Self {
            inputs: Some(0),
            faults: Some(Faults::default()),
            faults_latched: Some(Faults::default()),
            flow_low: Some(0),
            flow_high: Some(0),
            levels: Some(0),
            latched: Some(0),
            outputs: Some(0),
            conditions: Some(Conditions::default()),
            ..Self::default()
        }
    }
    /// Outputs are inhibited.
    pub fn inhibited(&self) -> Option<bool> {
        self.conditions.map(|c| c.has(Conditions::INHIBITED))
    }
    /// This fault stands.
    pub fn has_fault(&self, fault: Faults) -> Option<bool> {
        self.faults.map(|faults| faults.has(fault))
    }
    /// Alarm levels that are active or latched.
    pub fn levels_standing(&self) -> Option<u32> {
        Some(self.levels? | self.latched?)
    }
}

/// The airflow baseline that a unit holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Baseline {
    /// Flow of each inlet, m3/s; `None` for an inlet without one.
    pub flow_m3_s: Vec<Option<f64>>,
    /// Standard uncertainty of each, m3/s; `None` where it is not told.
    pub u_m3_s: Vec<Option<f64>>,
    /// How long was averaged, ms; 0 where it is not told.
    pub duration_ms: u32,
    /// Fan speed meanwhile, revolutions per minute.
    pub fan_rpm: Option<f64>,
    /// Revision of the settings under which it was taken; `None` where it is not told.
    pub settings_revision: Option<u64>,
    /// When it was taken, by the unit's own clock, us.
    pub device_us: Option<u64>,
    /// Boot id under which it was taken.
    pub boot_id: Option<u64>,
    /// Another for every baseline taken; `None` where the unit does not count them.
    pub number: Option<u32>,
}

/// Which settings a unit holds, without the settings themselves.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SettingsState {
    /// Greater after every change, however it came about; `None` where the unit counts none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<u64>,
    /// SHA-256 over them, hexadecimal: the unit's own, or the driver's over what it read back.
    pub sha256: String,
}

/// The date and time that a unit keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnitTime {
    /// Milliseconds since 1970-01-01 UTC; `None` where it was never set.
    pub utc_ms: Option<u64>,
    /// How far its local time is ahead of UTC, minutes.
    pub zone_min: i64,
}

/// What a line of an event log tells of, as far as somebody asks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EventKind {
    /// The unit started.
    Started,
    /// Other settings came into force.
    SettingsChanged,
    /// An airflow baseline was taken.
    BaselineTaken,
    /// An alarm level was reached.
    LevelReached,
    /// A tool left a note.
    Noted,
    /// Anything else.
    #[default]
    Other,
}

/// A line of the unit's own event log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnitEvent {
    /// Position in the unit's log.
    pub position: u32,
    /// The unit's own clock, us.
    pub device_us: u64,
    /// Kind, the unit's own code.
    pub code: u16,
    /// Kind, as far as it is known.
    #[serde(default)]
    pub kind: EventKind,
    /// The unit's own words.
    pub text: String,
}
