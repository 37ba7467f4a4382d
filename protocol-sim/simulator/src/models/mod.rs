//! A model of detector as plain data: what it has, what each of its settings means, how it reads. The simulated unit behaves
//! by these meanings and knows no key.
//!
//! Not here: what a unit does with its settings (see [`crate::device`]), and descriptions in files (the caller turns those
//! into this).
pub mod invented;

use crate::device::settings::{Setting, SettingValue};
use plumeline_base::pipework::AirPath;

/// A model.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// Name of the maker.
    pub maker: String,
    /// Name of the model.
    pub name: String,
    /// Firmware version.
    pub firmware: String,
    /// Name of the settings' schema.
    pub schema: String,
    /// First letter of its serial numbers.
    pub serial: char,
    /// Alarm levels.
    pub levels: u8,
    /// Its outputs, the first is output 1: what each follows where no setting says so.
    pub outputs: Vec<Follows>,
    /// Inputs.
    pub inputs: u8,
    /// Reference conditions of a flow reading, degC and Pa; `None`: actual volume.
    pub flow_reference: Option<(f64, f64)>,
    /// The fan.
    pub fan: FanDrive,
    /// Current at idle and of the fan at 100 %, A.
    pub current_a: (f64, f64),
    /// Time from power to running, s.
    pub boot_s: f64,
    /// What its readings can show.
    pub readings: Readings,
    /// The air path as its maker states it, the fan at 100 %.
    pub air_path: AirPath,
    /// How it is spoken to.
    pub spoken: Spoken,
    /// Every setting.
    pub slots: Vec<Slot>,
}
/// How a model is spoken to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Spoken {
    /// By frames of plumewire.
    #[default]
    Plumewire,
    /// By registers.
    Registers(RegisterBus),
    /// Not at all: it prints lines.
    Lines,
}
/// How the registers of a model are reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RegisterBus {
    /// Framing.
    pub framing: Framing,
    /// Its address on the bus.
    pub address: u8,
}
/// Framing of registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Framing {
    /// Binary with a check.
    Rtu,
    /// Hexadecimal lines.
    Ascii,
    /// With a header.
    Tcp,
}
/// How a model drives its fan.
#[derive(Clone, Debug, PartialEq)]
pub struct FanDrive {
    /// Speed at 100 %, revolutions per second.
    pub full_speed_rev_s: f64,
    /// Time constant of the spin-up, s.
    pub spin_s: f64,
    /// Values of the fan setting with the share of full speed at each, by rising value; straight lines between.
    pub speeds: Vec<(f64, f64)>,
}
impl FanDrive {
    /// Share of full speed at a value of the setting; at the ends of the map beyond it, 1 without a map.
    pub fn speed(&self, setting: f64) -> f64 {
        let (Some(first), Some(last)) = (self.speeds.first(), self.speeds.last()) else { return 1.0 };
        let pair = self.speeds.windows(2).find(|w| (w[0].0..=w[1].0).contains(&setting));
        match pair {
            Some(&[(a, from), (b, to)]) => from + (to - from) * ((setting - a) / (b - a)),
            _ if setting < first.0 => first.1,
            _ => last.1,
        }
    }
}
/// What a model's readings can show.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Readings {
    /// Highest rate, Hz.
    pub rate_max_hz: u8,
    /// Step of a flow reading, m3/s; 0: as fine as its sensor.
    pub flow_step_m3_s: f64,
    /// Step of an extinction reading, 1/m; 0: as fine as its sensor.
    pub extinction_step_per_m: f64,
    /// Time constant over which flow readings are smoothed, s; 0: not at all.
    pub flow_smoothing_s: f64,
    /// Time constant over which extinction readings are smoothed, s; 0: not at all.
    pub extinction_smoothing_s: f64,
}

/// What a setting means for the unit. Numbers count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// Threshold of an alarm level.
    Threshold(u8),
    /// How long an alarm level has to stand.
    Delay(u8),
    /// An alarm level stays until it is reset.
    Latching(u8),
    /// All alarm levels stay until they are reset.
    LatchingAll,
    /// Flow fault: how far below the baseline.
    FlowLow,
    /// Flow fault: how far above the baseline.
    FlowHigh,
    /// Flow fault: how long it has to stand.
    FlowDelay,
    /// What an output follows.
    Output(u8),
    /// An output stays operated until latches are reset.
    OutputLatching(u8),
    /// An inlet carries a pipe.
    Inlet(u8),
    /// The fan's speed, by [`FanDrive::speeds`].
    Fan,
    /// Local time ahead of UTC.
    ClockZone,
    /// Thresholds are being learnt.
    Learning,
    /// Kept, and nothing follows from it.
    Opaque,
}
/// What an output follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Follows {
    /// Nothing.
    Nothing,
    /// Any fault.
    Fault,
    /// Flow faults only.
    FlowFault,
    /// Alarm level, from 1.
    Level(u8),
    /// Power: operated while the unit has it.
    Power,
}
/// What a word means as the value of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// Yes or no.
    Switch(bool),
    /// What an output follows.
    Follows(Follows),
    /// Nothing that the unit acts on.
    Own,
}

/// Longest text or bytes of one setting, bytes.
pub const LONGEST: usize = 64;
/// What a setting takes.
#[derive(Clone, Debug, PartialEq)]
pub enum Allowed {
    /// On or off.
    Switch,
    /// A number from `low` to `high`.
    Number {
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
    },
    /// Text of up to so many bytes.
    Text(usize),
    /// One of these words.
    OneOf(Vec<(String, Word)>),
    /// Up to so many bytes.
    Bytes(usize),
}
/// A setting that a model has.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// Key, unit and factory value.
    pub factory: Setting,
    /// What it takes.
    pub allowed: Allowed,
    /// What it means.
    pub meaning: Meaning,
    /// It belongs to this inlet, and is there only if the unit has that.
    pub inlet: Option<u8>,
}
impl Slot {
    /// Why `setting` does not fit here, if it does not.
    pub(crate) fn objection(&self, setting: &Setting) -> Option<&'static str> {
        if setting.unit != self.factory.unit {
            return Some("its unit is another");
        }
        let fits = match (&self.allowed, &setting.value) {
            (Allowed::Switch, SettingValue::Switch(_)) => true,
            (Allowed::Number { low, high }, SettingValue::Number(n)) => (*low..=*high).contains(&n.to_f64()),
            (Allowed::Text(longest), SettingValue::Text(t)) => t.len() <= *longest,
            (Allowed::OneOf(words), SettingValue::Text(t)) => words.iter().any(|(w, _)| w == t),
            (Allowed::Bytes(longest), SettingValue::Bytes(b)) => b.len() <= *longest,
            _ => return Some("its value is of another kind"),
        };
        (!fits).then_some("its value is not allowed")
    }
    /// What a word means here.
    pub(crate) fn word(&self, word: &str) -> Word {
        match &self.allowed {
            Allowed::OneOf(words) => words.iter().find(|(w, _)| w == word).map_or(Word::Own, |(_, means)| *means),
            _ => Word::Own,
        }
    }
}

impl Model {
    /// Every setting of a unit with `inlets` inlets, by key.
    pub fn schema(&self, inlets: u8) -> Vec<&Slot> {
        let mut slots: Vec<&Slot> = self.slots.iter().filter(|s| s.inlet.is_none_or(|n| n <= inlets)).collect();
        slots.sort_by(|a, b| a.factory.key.cmp(&b.factory.key));
        slots
    }
    /// The settings as the factory delivers them, by key.
    pub fn factory_settings(&self, inlets: u8) -> Vec<Setting> {
        self.schema(inlets).into_iter().map(|s| s.factory.clone()).collect()
    }
}
