//! What a setting can mean, in neutral words that every description uses: `level.1.threshold`, `output.2.function`.
//!
//! Not here: which key of which model means it (the description), and values.
use alloc::{
    format,
    string::{String, ToString},
};
use core::fmt;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};

/// What a setting means. Numbers count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Meaning {
    /// Name of the site or place.
    LabelSite,
    /// Name of the zone.
    LabelZone,
    /// Name of the unit itself.
    LabelUnit,
    /// Offset of the unit's clock from UTC.
    ClockZone,
    /// Whether this inlet carries a pipe.
    InletPipe(u8),
    /// Threshold of an alarm level, while this set of times is in force; set 1 holds where no other does.
    Threshold {
        /// Set of times.
        set: u8,
        /// Level, the lowest is 1.
        level: u8,
    },
    /// How long an alarm level has to stand before it is told.
    Delay(u8),
    /// Whether an alarm level stays until it is reset.
    Latching(u8),
    /// Whether all alarm levels stay until they are reset.
    LatchingAll,
    /// Whether thresholds are being learnt from what the unit sees.
    Learning,
    /// Time of day from which a set is in force.
    SetFrom(u8),
    /// Flow fault: how far below the baseline.
    FlowLow,
    /// Flow fault: how far above the baseline.
    FlowHigh,
    /// Flow fault: how long it has to stand.
    FlowDelay,
    /// What an output follows.
    OutputFunction(u8),
    /// Whether an output closes or opens when it operates.
    OutputContact(u8),
    /// Whether an output stays operated until it is reset.
    OutputLatching(u8),
    /// What an input does.
    InputFunction(u8),
    /// Speed of the fan.
    Fan,
    /// When the filter was changed.
    FilterChanged,
    /// When the filter is due to be changed.
    FilterDue,
    /// Address on a network or loop.
    Address,
    /// Only the maker knows: carried to the same model only.
    Vendor,
}
use Meaning::*;

/// What belongs together when it is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Group {
    /// Labels.
    Labels,
    /// Clock.
    Clock,
    /// Inlets.
    Inlets,
    /// Alarm levels.
    Levels,
    /// Sets of times.
    Sets,
    /// Flow fault.
    Flow,
    /// Outputs.
    Outputs,
    /// Inputs.
    Inputs,
    /// Fan.
    Fan,
    /// Filter.
    Filter,
    /// Network.
    Network,
    /// The maker's own.
    Vendor,
}
impl Group {
    /// Heading.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Labels => "Labels",
            Self::Clock => "Clock",
            Self::Inlets => "Inlets",
            Self::Levels => "Alarm levels",
            Self::Sets => "Times of day",
            Self::Flow => "Flow fault",
            Self::Outputs => "Outputs",
            Self::Inputs => "Inputs",
            Self::Fan => "Fan",
            Self::Filter => "Filter",
            Self::Network => "Network",
            Self::Vendor => "The maker's own",
        }
    }
}

/// What kind of value a meaning takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Takes {
    /// Yes or no.
    Switch,
    /// A number of this dimension.
    Number(Dimension),
    /// One of the words for what an output or input does.
    Function,
    /// One of the words for how a contact acts.
    Contact,
    /// Words, or a number, as they are.
    AsItIs,
    /// Anything, kept verbatim.
    Anything,
}

/// What a number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// Obscuration: %/m, %/ft, dB/m.
    Obscuration,
    /// A time: s, ms, min, h.
    Time,
    /// A share: %.
    Share,
    /// A setting of the maker's own, with or without a unit.
    Plain,
}

impl Meaning {
    /// The group that it belongs to.
    pub const fn group(self) -> Group {
        match self {
            LabelSite | LabelZone | LabelUnit => Group::Labels,
            ClockZone => Group::Clock,
            InletPipe(_) => Group::Inlets,
            Threshold { set: 1, .. } | Delay(_) | Latching(_) | LatchingAll | Learning => Group::Levels,
            SetFrom(_) | Threshold { .. } => Group::Sets,
            FlowLow | FlowHigh | FlowDelay => Group::Flow,
            OutputFunction(_) | OutputContact(_) | OutputLatching(_) => Group::Outputs,
            InputFunction(_) => Group::Inputs,
            Fan => Group::Fan,
            FilterChanged | FilterDue => Group::Filter,
            Address => Group::Network,
            Vendor => Group::Vendor,
        }
    }
    /// The kind of value that it takes.
    pub const fn takes(self) -> Takes {
        match self {
            InletPipe(_) | Latching(_) | LatchingAll | Learning | OutputLatching(_) => Takes::Switch,
            Threshold { .. } => Takes::Number(Dimension::Obscuration),
            ClockZone | Delay(_) | FlowDelay => Takes::Number(Dimension::Time),
            FlowLow | FlowHigh => Takes::Number(Dimension::Share),
            Fan => Takes::Number(Dimension::Plain),
            OutputFunction(_) | InputFunction(_) => Takes::Function,
            OutputContact(_) => Takes::Contact,
            LabelSite | LabelZone | LabelUnit | SetFrom(_) | FilterChanged | FilterDue | Address => Takes::AsItIs,
            Vendor => Takes::Anything,
        }
    }
    /// In plain words for people.
    pub fn words(self) -> String {
        match self {
            LabelSite => "place".into(),
            LabelZone => "zone".into(),
            LabelUnit => "name of the unit".into(),
            ClockZone => "offset from UTC".into(),
            InletPipe(n) => format!("inlet {n} carries a pipe"),
            Threshold { set: 1, level } => format!("level {level}, threshold"),
            Threshold { set, level } => format!("set {set}, level {level}, threshold"),
            Delay(n) => format!("level {n}, delay"),
            Latching(n) => format!("level {n}, latching"),
            LatchingAll => "all levels, latching".into(),
            Learning => "thresholds are learnt".into(),
            SetFrom(n) => format!("set {n}, in force from"),
            FlowLow => "below the baseline".into(),
            FlowHigh => "above the baseline".into(),
            FlowDelay => "delay".into(),
            OutputFunction(n) => format!("output {n}, follows"),
            OutputContact(n) => format!("output {n}, contact"),
            OutputLatching(n) => format!("output {n}, latching"),
            InputFunction(n) => format!("input {n}, does"),
            Fan => "fan setting".into(),
            FilterChanged => "filter changed on".into(),
            FilterDue => "filter due on".into(),
            Address => "address".into(),
            Vendor => "known to the maker only".into(),
        }
    }
    /// The meaning written so, if there is one.
    pub fn parse(text: &str) -> Option<Self> {
        let number = |t: &str| t.parse::<u8>().ok().filter(|n| *n > 0 && !t.starts_with(['+', '0']));
        let mut parts = text.split('.');
        let (a, b, c, d, e) = (parts.next()?, parts.next(), parts.next(), parts.next(), parts.next());
        if parts.next().is_some() {
            return None;
        }
        Some(match (a, b, c, d, e) {
            ("label", Some("site"), None, ..) => LabelSite,
            ("label", Some("zone"), None, ..) => LabelZone,
            ("label", Some("unit"), None, ..) => LabelUnit,
            ("clock", Some("zone"), None, ..) => ClockZone,
            ("inlet", Some(n), Some("pipe"), None, None) => InletPipe(number(n)?),
            ("level", Some(n), Some("threshold"), None, None) => Threshold { set: 1, level: number(n)? },
            ("level", Some(n), Some("delay"), None, None) => Delay(number(n)?),
            ("level", Some(n), Some("latching"), None, None) => Latching(number(n)?),
            ("levels", Some("latching"), None, ..) => LatchingAll,
            ("levels", Some("learning"), None, ..) => Learning,
            ("set", Some(n), Some("from"), None, None) => SetFrom(number(n)?),
            ("set", Some(set), Some("level"), Some(n), Some("threshold")) => {
                Threshold { set: number(set).filter(|n| *n > 1)?, level: number(n)? }
            }
            ("flow", Some("low"), None, ..) => FlowLow,
            ("flow", Some("high"), None, ..) => FlowHigh,
            ("flow", Some("delay"), None, ..) => FlowDelay,
            ("output", Some(n), Some("function"), None, None) => OutputFunction(number(n)?),
            ("output", Some(n), Some("contact"), None, None) => OutputContact(number(n)?),
            ("output", Some(n), Some("latching"), None, None) => OutputLatching(number(n)?),
            ("input", Some(n), Some("function"), None, None) => InputFunction(number(n)?),
            ("fan", Some("setting"), None, ..) => Fan,
            ("filter", Some("changed"), None, ..) => FilterChanged,
            ("filter", Some("due"), None, ..) => FilterDue,
            ("network", Some("address"), None, ..) => Address,
            ("vendor", None, ..) => Vendor,
            _ => return None,
        })
    }
}
impl fmt::Display for Meaning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LabelSite => f.write_str("label.site"),
            LabelZone => f.write_str("label.zone"),
            LabelUnit => f.write_str("label.unit"),
            ClockZone => f.write_str("clock.zone"),
            InletPipe(n) => write!(f, "inlet.{n}.pipe"),
            Threshold { set: 1, level } => write!(f, "level.{level}.threshold"),
            Threshold { set, level } => write!(f, "set.{set}.level.{level}.threshold"),
            Delay(n) => write!(f, "level.{n}.delay"),
            Latching(n) => write!(f, "level.{n}.latching"),
            LatchingAll => f.write_str("levels.latching"),
            Learning => f.write_str("levels.learning"),
            SetFrom(n) => write!(f, "set.{n}.from"),
            FlowLow => f.write_str("flow.low"),
            FlowHigh => f.write_str("flow.high"),
            FlowDelay => f.write_str("flow.delay"),
            OutputFunction(n) => write!(f, "output.{n}.function"),
            OutputContact(n) => write!(f, "output.{n}.contact"),
            OutputLatching(n) => write!(f, "output.{n}.latching"),
            InputFunction(n) => write!(f, "input.{n}.function"),
            Fan => f.write_str("fan.setting"),
            FilterChanged => f.write_str("filter.changed"),
            FilterDue => f.write_str("filter.due"),
            Address => f.write_str("network.address"),
            Vendor => f.write_str("vendor"),
        }
    }
}

/// What an output follows, or an input does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Function {
    /// Nothing: not used.
    Nothing,
    /// Any fault of the unit.
    Fault,
    /// Flow faults only.
    FlowFault,
    /// An alarm level.
    Level(u8),
    /// The unit's supply: operated while it has power.
    Power,
    /// An input that resets latched alarms.
    Reset,
    /// An input that isolates the outputs.
    Isolate,
    /// An input that brings the next set of times into force.
    NextSet,
}
impl Function {
    /// The function written so, if there is one.
    pub fn parse(text: &str) -> Option<Self> {
        Some(match text {
            "nothing" => Self::Nothing,
            "fault" => Self::Fault,
            "flow fault" => Self::FlowFault,
            "power" => Self::Power,
            "reset" => Self::Reset,
            "isolate" => Self::Isolate,
            "next set" => Self::NextSet,
            _ => {
                let n = text.strip_prefix("level ")?;
                Self::Level(n.parse().ok().filter(|v| *v > 0 && !n.starts_with(['+', '0']))?)
            }
        })
    }
}
impl fmt::Display for Function {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Nothing => f.write_str("nothing"),
            Self::Fault => f.write_str("fault"),
            Self::FlowFault => f.write_str("flow fault"),
            Self::Level(n) => write!(f, "level {n}"),
            Self::Power => f.write_str("power"),
            Self::Reset => f.write_str("reset"),
            Self::Isolate => f.write_str("isolate"),
            Self::NextSet => f.write_str("next set"),
        }
    }
}

/// What the contact between an output's terminals does when its function arises.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Contact {
    /// It closes (normally open).
    Closes,
    /// It opens (normally closed).
    Opens,
    /// One closes and one opens (change-over).
    ChangesOver,
}
impl Contact {
    /// The three, as they are written.
    pub const NAMES: [(&'static str, Self); 3] =
        [("closes", Self::Closes), ("opens", Self::Opens), ("changes over", Self::ChangesOver)];
    /// The contact written so, if there is one.
    pub fn parse(text: &str) -> Option<Self> {
        Self::NAMES.into_iter().find(|(name, _)| *name == text).map(|(_, c)| c)
    }
}
impl fmt::Display for Contact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Closes => "closes",
            Self::Opens => "opens",
            Self::ChangesOver => "changes over",
        })
    }
}

/// Serialised as it is written.
macro_rules! as_text {
    ($($t:ty),*) => {$(
        impl Serialize for $t {
            fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
                s.serialize_str(&self.to_string())
            }
        }
        impl<'de> Deserialize<'de> for $t {
            fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
                let text = String::deserialize(d)?;
                Self::parse(&text).ok_or_else(|| D::Error::custom(format!("`{text}` is not known here")))
            }
        }
    )*};
}
as_text!(Meaning, Function, Contact);

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;
    fn all() -> Vec<Meaning> {
        alloc::vec![
            LabelSite,
            LabelZone,
            LabelUnit,
            ClockZone,
            InletPipe(3),
            Threshold { set: 1, level: 2 },
            Threshold { set: 2, level: 4 },
            Delay(1),
            Latching(255),
            LatchingAll,
            Learning,
            SetFrom(2),
            FlowLow,
            FlowHigh,
            FlowDelay,
            OutputFunction(1),
            OutputContact(2),
            OutputLatching(3),
            InputFunction(1),
            Fan,
            FilterChanged,
            FilterDue,
            Address,
            Vendor,
        ]
    }
    #[test]
    fn each_is_read_as_it_is_written() {
        for m in all() {
            assert_eq!(Meaning::parse(&m.to_string()), Some(m), "{m}");
        }
        for wrong in
            ["", "label", "level.0.delay", "level.01.delay", "set.1.level.1.threshold", "level.1.delay.x", "vendor.1"]
        {
            assert_eq!(Meaning::parse(wrong), None, "{wrong}");
        }
        for f in [Function::Nothing, Function::FlowFault, Function::Level(12)] {
            assert_eq!(Function::parse(&f.to_string()), Some(f));
        }
        assert_eq!(Function::parse("level 0"), None);
    }
}
