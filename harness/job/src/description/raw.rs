//! What is written where in a description: the keys of the format, with their places in the text.
//!
//! Not here: what the values mean.
use crate::{
    any::Any,
    pipework::{
        bounds,
        raw::{Fan, Loss},
    },
    written::{Q, Spanned},
};
use serde::{
    Deserialize, Deserializer,
    de::{Error, Visitor},
};
use std::{collections::BTreeMap, fmt};
#[cfg(feature = "schema")]
use {super::check, crate::schema::names};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(title = "Description of a model of unit"))]
pub(super) struct File {
    /// Version of the format.
    #[cfg_attr(feature = "schema", schemars(extend("const" = super::FORMAT)))]
    pub(super) format: Spanned<i64>,
    /// Maker, as the unit states it.
    pub(super) maker: Spanned<String>,
    /// Model, as the unit states it.
    pub(super) model: Spanned<String>,
    /// Fewest and most inlets that a unit of this model has.
    pub(super) inlets: (Spanned<i64>, Spanned<i64>),
    /// Alarm levels.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = check::MOST)))]
    pub(super) levels: Spanned<i64>,
    /// Inputs; none if not stated.
    #[cfg_attr(feature = "schema", schemars(range(min = 0, max = check::MOST)))]
    pub(super) inputs: Option<Spanned<i64>>,
    /// What flow readings and the per cent of flow bands refer to.
    #[cfg_attr(feature = "schema", schemars(transform = names(check::FLOW_READINGS)))]
    pub(super) flow_reading: Spanned<String>,
    /// What it can be asked over a line.
    #[serde(default)]
    pub(super) can: Vec<Spanned<Can>>,
    /// Its outputs, output 1 first.
    #[serde(default)]
    pub(super) output: Vec<Spanned<Output>>,
    /// Its settings.
    #[serde(default)]
    pub(super) item: Vec<Spanned<Item>>,
    /// What it shows to a person, and what a person can do at it.
    pub(super) display: Option<Display>,
    /// Its air path; without it nothing can be said of the holes.
    pub(super) air: Option<Spanned<Air>>,
    /// Its register map, where it is read by registers (Modbus).
    pub(super) registers: Option<Spanned<super::raw_registers::Registers>>,
    /// The lines that it prints by itself.
    pub(super) lines: Option<Spanned<super::raw_lines::Lines>>,
}

/// Something that a unit can be asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(super) enum Can {
    #[serde(rename = "read settings")]
    ReadSettings,
    #[serde(rename = "write settings")]
    WriteSettings,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Output {
    /// Its terminals as they are marked.
    pub(super) terminals: Spanned<String>,
    /// What its contact does when its function arises, if no setting says otherwise.
    #[cfg_attr(feature = "schema", schemars(transform = names(&plumeline_unit::meaning::Contact::NAMES)))]
    pub(super) contact: Spanned<String>,
    /// Held energised at rest, so that it operates when power fails; no if not stated.
    #[serde(default)]
    pub(super) energised_at_rest: bool,
    /// What it follows, if no setting says so: "fault", "level 1" and so on.
    pub(super) fixed: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Item {
    /// Its key; `{n}` in it stands for 1, 2, 3 and so on.
    pub(super) key: Spanned<String>,
    /// How far `{n}` goes: a number, or "inlets" for as many as the unit has.
    pub(super) n: Option<Spanned<Count>>,
    /// What it means, such as "level.{n}.threshold"; docs/descriptions.md lists all.
    pub(super) means: Spanned<String>,
    /// What it takes.
    #[cfg_attr(feature = "schema", schemars(transform = names(check::TAKES)))]
    pub(super) takes: Spanned<String>,
    /// Unit of a number.
    pub(super) unit: Option<Spanned<String>>,
    /// Least and greatest number.
    pub(super) range: Option<Spanned<(f64, f64)>>,
    /// Step of a number.
    pub(super) step: Option<Spanned<f64>>,
    /// The words that it takes, each with what it means.
    #[serde(default)]
    pub(super) words: BTreeMap<String, Spanned<String>>,
    /// Longest text or bytes, in bytes; 64 if not stated.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = check::LONGEST)))]
    pub(super) longest: Option<Spanned<i64>>,
    /// What the factory delivers it with: one for all, or a list with one for each.
    pub(super) default: Option<Spanned<Any>>,
}

/// What a unit shows to a person, and what a person can do at it.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Display {
    /// The flow.
    pub(super) flow: Option<Spanned<Flow>>,
    /// The smoke in its chamber.
    pub(super) smoke: Option<Spanned<Smoke>>,
    /// The flows that it holds as its baseline.
    pub(super) baseline: Option<Spanned<Flow>>,
    /// Its lamps, or lines of its display, by what is written at them: "fault", "flow 1 low", "level 1" and so on.
    #[serde(default)]
    pub(super) lamps: BTreeMap<String, Spanned<String>>,
    /// It shows its settings.
    #[serde(default)]
    pub(super) settings: bool,
    /// It shows date and time.
    #[serde(default)]
    pub(super) clock: bool,
    /// What can be done at it by hand, each with the words that say how.
    #[serde(default)]
    pub(super) by_hand: ByHand,
}

/// The smoke that a unit shows.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Smoke {
    /// Its unit.
    pub(super) unit: Spanned<String>,
    /// The step in which it is shown.
    pub(super) step: Spanned<f64>,
    /// Least and greatest that is shown.
    pub(super) range: Spanned<(f64, f64)>,
    /// Over how long it is averaged beside the sensor's own lag (time constant); not at all if not stated.
    pub(super) averaged: Option<Q<bounds::Renewed>>,
}

/// A flow that a unit shows.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Flow {
    /// Its unit; "%" of the unit's own normal flow.
    pub(super) unit: Spanned<String>,
    /// The step in which it is shown.
    pub(super) step: Spanned<f64>,
    /// Least and greatest that is shown.
    pub(super) range: Spanned<(f64, f64)>,
    /// "each inlet" has a number of its own (so if not stated), or one stands for "all inlets".
    #[cfg_attr(feature = "schema", schemars(transform = names(super::display::SHOWN_FOR)))]
    #[serde(rename = "for")]
    pub(super) shown_for: Option<Spanned<String>>,
    /// How long it takes until another number can be shown; at once if not stated.
    pub(super) renewed: Option<Q<bounds::Renewed>>,
    /// Temperature that a flow at reference conditions refers to.
    pub(super) reference_temperature: Option<Q<bounds::Temperature>>,
    /// Pressure that a flow at reference conditions refers to.
    pub(super) reference_pressure: Option<Q<bounds::AirPressure>>,
}

/// What can be done at a unit by hand, each with the words that say how; what is left out can't be done.
#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct ByHand {
    /// Take the airflow baseline.
    pub(super) baseline: Option<Spanned<String>>,
    /// Reset what is latched.
    pub(super) reset: Option<Spanned<String>>,
    /// Start it anew.
    pub(super) restart: Option<Spanned<String>>,
    /// Enter settings.
    pub(super) settings: Option<Spanned<String>>,
    /// Set date and time.
    pub(super) clock: Option<Spanned<String>>,
    /// Operate an output for test.
    pub(super) test_output: Option<Spanned<String>>,
    /// How long an output stays operated for test.
    pub(super) test_lasts: Option<Q<bounds::TestLasts>>,
    /// Hold the outputs back.
    pub(super) inhibit: Option<Spanned<String>>,
}

/// How far `{n}` goes.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(untagged, inline))]
pub(super) enum Count {
    Number(i64),
    Word(String),
}
impl<'de> Deserialize<'de> for Count {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct AsWritten;
        impl Visitor<'_> for AsWritten {
            type Value = Count;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a whole number, or \"inlets\"")
            }
            fn visit_i64<E: Error>(self, v: i64) -> Result<Count, E> {
                Ok(Count::Number(v))
            }
            fn visit_str<E: Error>(self, v: &str) -> Result<Count, E> {
                Ok(Count::Word(v.to_owned()))
            }
        }
        d.deserialize_any(AsWritten)
    }
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Air {
    /// Loss of each inlet, up to the manifold.
    pub(super) inlet_loss: Option<Spanned<Loss>>,
    /// Inside diameter of each inlet; 21 mm if not stated.
    pub(super) inlet_bore: Option<Q<bounds::Bore>>,
    /// Volume of each inlet, up to the manifold.
    pub(super) inlet_volume: Option<Q<bounds::Volume>>,
    /// Loss from the manifold to the fan: filter, chamber.
    pub(super) loss: Option<Spanned<Loss>>,
    /// Volume from the manifold to the sensor.
    pub(super) volume: Option<Q<bounds::Volume>>,
    /// Time constant of the sensor's own response.
    pub(super) sensor_lag: Option<Q<bounds::Lag>>,
    /// Loss of the exhaust.
    pub(super) exhaust_loss: Option<Spanned<Loss>>,
    /// The fan at full speed.
    pub(super) fan: Spanned<Fan>,
    /// Fan settings with the share of full speed at each, by rising setting: [[1, "55 %"], [10, "100 %"]].
    #[serde(default)]
    pub(super) speeds: Vec<Spanned<(f64, Q<bounds::Speed>)>>,
}
