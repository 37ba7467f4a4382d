//! What is written where in a register map: the keys of `[registers]`, with their places in the text.
//!
//! Not here: what the values mean.
use super::raw::Count;
use crate::{
    pipework::bounds,
    units::Dimension,
    written::{Bounded, Bounds, Q, Spanned},
};
use serde::Deserialize;
use std::collections::BTreeMap;
#[cfg(feature = "schema")]
use {super::registers as check, crate::schema::names, plumeline_detector::registers::map};

/// A time on the bus.
#[derive(Clone, Debug)]
pub(super) struct Short;
impl Bounded for Short {
    const BOUNDS: Bounds =
        Bounds::new(Dimension::Time, 0.0, 60.0, "a time on the bus", "a time from 0 to 60 s, such as \"500 ms\"");
}
/// How often something is asked, or how long it takes.
#[derive(Clone, Debug)]
pub(super) struct Long;
impl Bounded for Long {
    const BOUNDS: Bounds = Bounds::new(Dimension::Time, 0.05, 600.0, "a period", "a time from 50 ms to 600 s");
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(super) struct Registers {
    /// Framing: "rtu", "ascii" or "tcp".
    #[cfg_attr(feature = "schema", schemars(transform = names(&map::Protocol::NAMES)))]
    pub(super) protocol: Spanned<String>,
    /// Address of the unit on the bus: 1 to 247, with TCP 0 to 255.
    pub(super) address: Spanned<i64>,
    /// Which register of a longer number comes first: "high first" if not stated, or "low first".
    #[cfg_attr(feature = "schema", schemars(transform = names(&check::FIRST)))]
    pub(super) words: Option<Spanned<String>>,
    /// Which byte of a register comes first: "high first" if not stated, as the specification has it, or "low first".
    #[cfg_attr(feature = "schema", schemars(transform = names(&check::FIRST)))]
    pub(super) bytes: Option<Spanned<String>>,
    /// Least quiet time between frames; 10 ms if not stated, with TCP none.
    pub(super) gap: Option<Q<Short>>,
    /// How long an answer may take; 500 ms if not stated.
    pub(super) timeout: Option<Q<Short>>,
    /// How often a request is made before it is given up; 3 if not stated.
    pub(super) tries: Option<Spanned<i64>>,
    /// Most registers in one request; 100 if not stated.
    pub(super) most: Option<Spanned<i64>>,
    /// How often readings are polled; every second if not stated.
    pub(super) every: Option<Q<Long>>,
    /// What flow readings refer to, where `flow_reading` is "reference"; 20 degC if not stated.
    pub(super) reference_temperature: Option<Q<bounds::Temperature>>,
    /// The same; 1013.25 hPa if not stated.
    pub(super) reference_pressure: Option<Q<bounds::AirPressure>>,
    /// Numbers and texts that are read.
    #[serde(default)]
    pub(super) value: Vec<Spanned<Value>>,
    /// Single bits that are read.
    #[serde(default)]
    pub(super) bits: Vec<Spanned<Bits>>,
    /// Settings: every [[item]] of the description, or none.
    #[serde(default)]
    pub(super) setting: Vec<Spanned<Setting>>,
    /// What can be ordered.
    #[serde(default)]
    pub(super) command: Vec<Spanned<Command>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(super) struct Value {
    /// What it is, such as "flow.{n}"; docs/descriptions.md lists all.
    pub(super) means: Spanned<String>,
    /// How far `{n}` goes: a number, or "inlets".
    pub(super) n: Option<Spanned<Count>>,
    /// The table: "input", "holding".
    #[cfg_attr(feature = "schema", schemars(transform = names(&map::Table::NAMES)))]
    pub(super) function: Spanned<String>,
    /// Address on the wire, from 0.
    pub(super) address: Spanned<i64>,
    /// From one `{n}` to the next; the length of the type if not stated.
    pub(super) stride: Option<Spanned<i64>>,
    /// Its type.
    #[cfg_attr(feature = "schema", schemars(transform = names(check::TYPES)))]
    pub(super) r#type: Spanned<String>,
    /// Registers of a text.
    pub(super) registers: Option<Spanned<i64>>,
    /// The value is raw * scale + offset; 1 if not stated.
    pub(super) scale: Option<Spanned<f64>>,
    /// 0 if not stated.
    pub(super) offset: Option<Spanned<f64>>,
    /// Its unit.
    pub(super) unit: Option<Spanned<String>>,
    /// Bore of the pipe, where a flow is told as a velocity.
    pub(super) bore: Option<Q<bounds::Bore>>,
    /// What stands in the register where there is no reading now.
    pub(super) none: Option<Spanned<f64>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(super) struct Bits {
    /// The table.
    #[cfg_attr(feature = "schema", schemars(transform = names(&map::Table::NAMES)))]
    pub(super) function: Spanned<String>,
    /// Address on the wire, from 0.
    pub(super) address: Spanned<i64>,
    /// Bit of the register from 0, the lowest (in "coil" and "discrete": addresses further on), with what it means.
    pub(super) bits: BTreeMap<String, Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(super) struct Setting {
    /// Key of an [[item]], `{n}` included.
    pub(super) key: Spanned<String>,
    /// How far `{n}` goes: a number, or "inlets".
    pub(super) n: Option<Spanned<Count>>,
    /// The table: "holding" or "coil".
    #[cfg_attr(feature = "schema", schemars(transform = names(&map::Table::NAMES)))]
    pub(super) function: Spanned<String>,
    /// Address on the wire, from 0.
    pub(super) address: Spanned<i64>,
    /// From one `{n}` to the next; the length of the type if not stated.
    pub(super) stride: Option<Spanned<i64>>,
    /// Its type; a coil has none.
    #[cfg_attr(feature = "schema", schemars(transform = names(check::TYPES)))]
    pub(super) r#type: Option<Spanned<String>>,
    /// Registers of a text, or of bytes.
    pub(super) registers: Option<Spanned<i64>>,
    /// The value is raw * scale + offset; 1 if not stated.
    pub(super) scale: Option<Spanned<f64>>,
    /// 0 if not stated.
    pub(super) offset: Option<Spanned<f64>>,
    /// The number of each of the item's words.
    #[serde(default)]
    pub(super) words: BTreeMap<String, Spanned<i64>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(super) struct Command {
    /// What it does.
    #[cfg_attr(feature = "schema", schemars(transform = names(&check::DOES)))]
    pub(super) does: Spanned<String>,
    /// How many outputs can be driven, from output 1.
    pub(super) n: Option<Spanned<i64>>,
    /// The table: "coil" or "holding".
    #[cfg_attr(feature = "schema", schemars(transform = names(&map::Table::NAMES)))]
    pub(super) function: Spanned<String>,
    /// Address on the wire, from 0.
    pub(super) address: Spanned<i64>,
    /// What is written; 1 if not stated.
    pub(super) value: Option<Spanned<i64>>,
    /// What is written to end it; 0 if not stated.
    pub(super) off: Option<Spanned<i64>>,
    /// How long the baseline takes, where no bit means "condition.taking-baseline".
    pub(super) takes: Option<Q<Long>>,
}
