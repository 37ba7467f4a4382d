//! What is written where in `[lines]`: its keys, with their places in the text.
//!
//! Not here: what the values mean.
use super::{raw::Count, raw_registers::Long};
use crate::{
    pipework::bounds,
    written::{Q, Spanned},
};
use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(super) struct Lines {
    /// How often the first kind of line comes; every second if not stated.
    pub(super) every: Option<Q<Long>>,
    /// What flow readings refer to, where `flow_reading` is "reference"; 20 degC if not stated.
    pub(super) reference_temperature: Option<Q<bounds::Temperature>>,
    /// The same; 1013.25 hPa if not stated.
    pub(super) reference_pressure: Option<Q<bounds::AirPressure>>,
    /// Kinds of line as they are printed, with `{name}` where a field stands and `{}` where anything does. Each of the first kind
    /// makes a reading.
    pub(super) line: Vec<Spanned<String>>,
    /// What the fields say.
    pub(super) field: Vec<Spanned<Field>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(super) struct Field {
    /// Its name in the kinds of line; `{n}` in it stands for 1, 2, 3 and so on.
    pub(super) name: Spanned<String>,
    /// How far `{n}` goes: a number, or "inlets".
    pub(super) n: Option<Spanned<Count>>,
    /// What a number or a text is, such as "flow.{n}"; docs/descriptions.md lists all. None for `words` and `bits`.
    pub(super) means: Option<Spanned<String>>,
    /// Its unit.
    pub(super) unit: Option<Spanned<String>>,
    /// Bore of the pipe, where a flow is told as a velocity.
    pub(super) bore: Option<Q<bounds::Bore>>,
    /// The value is printed * scale + offset; 1 if not stated.
    pub(super) scale: Option<Spanned<f64>>,
    /// 0 if not stated.
    pub(super) offset: Option<Spanned<f64>>,
    /// The step in which it is printed, before `scale`.
    pub(super) step: Option<Spanned<f64>>,
    /// What is printed where there is no reading.
    pub(super) none: Option<Spanned<String>>,
    /// The words that may be printed, each with what stands then: `OK = []`.
    #[serde(default)]
    pub(super) words: BTreeMap<String, Vec<Spanned<String>>>,
    /// Bit of a printed number from 0, the lowest, with what it means.
    #[serde(default)]
    pub(super) bits: BTreeMap<String, Spanned<String>>,
    /// Base of that number: 2, 10 or 16; 16 if not stated.
    pub(super) base: Option<Spanned<i64>>,
}
