//! What is written where in a `pipework.toml`: the keys of the format, with their places in the text.
//!
//! Not here: what the values mean; see the modules beside this one.
use crate::written::{Q, Written};
use serde::{
    Deserialize, Deserializer,
    de::{Error, Visitor},
};
use serde_spanned::Spanned;
use std::{collections::BTreeMap, fmt};

/// One value for all, or a list with one for each.
#[derive(Clone, Debug)]
pub(crate) enum OneOrEach {
    One(Written),
    Each(Vec<Q>),
}
impl<'de> Deserialize<'de> for OneOrEach {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct AsWritten;
        impl<'de> Visitor<'de> for AsWritten {
            type Value = OneOrEach;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a value with its unit in quotes, such as \"3 mm\", or a list of them, one for each hole")
            }
            fn visit_str<E: Error>(self, v: &str) -> Result<OneOrEach, E> {
                Ok(OneOrEach::One(Written::Text(v.to_owned())))
            }
            fn visit_i64<E: Error>(self, v: i64) -> Result<OneOrEach, E> {
                Ok(OneOrEach::One(Written::Number(v as f64)))
            }
            fn visit_f64<E: Error>(self, v: f64) -> Result<OneOrEach, E> {
                Ok(OneOrEach::One(Written::Number(v)))
            }
            fn visit_seq<A: serde::de::SeqAccess<'de>>(self, mut seq: A) -> Result<OneOrEach, A::Error> {
                let mut all = Vec::new();
                while let Some(v) = seq.next_element()? {
                    all.push(v);
                }
                Ok(OneOrEach::Each(all))
            }
        }
        d.deserialize_any(AsWritten)
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct File {
    pub(crate) format: Spanned<i64>,
    #[serde(default)]
    pub(crate) name: String,
    #[serde(default)]
    pub(crate) defaults: Defaults,
    #[serde(default)]
    pub(crate) air: Air,
    #[serde(default)]
    pub(crate) unit: Unit,
    #[serde(default)]
    pub(crate) model: Model,
    #[serde(default)]
    pub(crate) tolerance: Tolerances,
    #[serde(default)]
    pub(crate) fitting: BTreeMap<String, Q>,
    #[serde(default)]
    pub(crate) pipe: Vec<Spanned<Pipe>>,
    #[serde(default)]
    pub(crate) node: Vec<Node>,
    #[serde(default)]
    pub(crate) segment: Vec<Segment>,
    #[serde(default)]
    pub(crate) opening: Vec<Opening>,
    #[serde(default)]
    pub(crate) inlet: Vec<Inlet>,
}

/// What holds where nothing else is said.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Defaults {
    pub(crate) bore: Option<Q>,
    pub(crate) roughness: Option<Q>,
    pub(crate) discharge: Option<Q>,
    pub(crate) basis: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Air {
    pub(crate) temperature: Option<Q>,
    pub(crate) pressure: Option<Q>,
    pub(crate) altitude: Option<Q>,
    pub(crate) humidity: Option<Q>,
    pub(crate) density: Option<Q>,
    pub(crate) viscosity: Option<Q>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Unit {
    pub(crate) inlets: Option<Spanned<i64>>,
    pub(crate) inlet_bore: Option<Q>,
    pub(crate) inlet_loss: Option<Spanned<Loss>>,
    pub(crate) inlet_volume: Option<Q>,
    pub(crate) loss: Option<Spanned<Loss>>,
    pub(crate) volume: Option<Q>,
    pub(crate) sensor_lag: Option<Q>,
    pub(crate) exhaust_loss: Option<Spanned<Loss>>,
    pub(crate) exhaust_pressure: Option<Q>,
    pub(crate) exhaust_height: Option<Q>,
    pub(crate) fan: Option<Spanned<Fan>>,
}

/// Pressure lost at a flow, in its part that grows with the flow and its part that grows with the flow's square.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Loss {
    pub(crate) flow: Q,
    pub(crate) linear: Option<Q>,
    pub(crate) quadratic: Option<Q>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Fan {
    pub(crate) curve: Spanned<Vec<Spanned<(Q, Q)>>>,
    pub(crate) interpolation: Option<Spanned<String>>,
    pub(crate) speed: Option<Q>,
    pub(crate) density: Option<Q>,
    pub(crate) uncertainty: Option<Q>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Model {
    pub(crate) friction: Option<Spanned<String>>,
    pub(crate) momentum: Option<bool>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Tolerances {
    pub(crate) preset: Option<Spanned<String>>,
    pub(crate) surveyed: Option<Known>,
    pub(crate) drawing: Option<Known>,
    pub(crate) assumed: Option<Known>,
}

#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Known {
    pub(crate) diameter: Option<Tolerance>,
    pub(crate) discharge: Option<Tolerance>,
    pub(crate) bore: Option<Tolerance>,
    pub(crate) length: Option<Tolerance>,
    pub(crate) roughness: Option<Tolerance>,
    pub(crate) fittings: Option<Tolerance>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Tolerance {
    pub(crate) common: Q,
    pub(crate) individual: Q,
}

/// A pipe in the usual form: the way from the unit outward, step by step.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Pipe {
    pub(crate) inlet: Spanned<i64>,
    pub(crate) bore: Option<Q>,
    pub(crate) roughness: Option<Q>,
    pub(crate) discharge: Option<Q>,
    pub(crate) basis: Option<Spanned<String>>,
    pub(crate) suction: Option<Q>,
    pub(crate) number_from: Option<Spanned<i64>>,
    pub(crate) run: Spanned<Vec<Spanned<Step>>>,
    #[serde(default)]
    pub(crate) except: Vec<Spanned<Except>>,
}

/// A step of the way. Exactly one of the keys in [`Step::what`] says what it is.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Step {
    // What it is.
    pub(crate) pipe: Option<Q>,
    pub(crate) fitting: Option<Spanned<String>>,
    pub(crate) hole: Option<Q>,
    pub(crate) holes: Option<Spanned<i64>>,
    pub(crate) holes_at: Option<Spanned<Vec<Q>>>,
    pub(crate) cap: Option<Q>,
    pub(crate) open: Option<Spanned<bool>>,
    pub(crate) branch: Option<Spanned<Vec<Spanned<Step>>>>,
    pub(crate) mark: Option<Spanned<String>>,
    pub(crate) join: Option<Spanned<String>>,
    // How it is.
    pub(crate) diameter: Option<Spanned<OneOrEach>>,
    pub(crate) first: Option<Q>,
    pub(crate) every: Option<Q>,
    pub(crate) bore: Option<Q>,
    pub(crate) roughness: Option<Q>,
    pub(crate) rise: Option<Q>,
    pub(crate) temperature: Option<Q>,
    pub(crate) count: Option<Spanned<i64>>,
    pub(crate) k: Option<Q>,
    pub(crate) k_branch: Option<Q>,
    pub(crate) k_run: Option<Q>,
    pub(crate) discharge: Option<Q>,
    pub(crate) outside: Option<Q>,
    pub(crate) reachable: Option<Spanned<bool>>,
    pub(crate) blocked: Option<Spanned<bool>>,
    pub(crate) drop: Option<Spanned<DropTube>>,
    pub(crate) basis: Option<Spanned<String>>,
}

/// A capillary from the pipe to a sampling point.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DropTube {
    pub(crate) length: Q,
    pub(crate) bore: Q,
    pub(crate) rise: Option<Q>,
    pub(crate) k: Option<Q>,
}

/// What is different at some holes of a pipe, by their numbers.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Except {
    pub(crate) holes: Spanned<Vec<Spanned<i64>>>,
    pub(crate) diameter: Option<Q>,
    pub(crate) discharge: Option<Q>,
    pub(crate) outside: Option<Q>,
    pub(crate) reachable: Option<bool>,
    pub(crate) blocked: Option<bool>,
    pub(crate) basis: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Node {
    pub(crate) name: Spanned<String>,
    pub(crate) height: Option<Q>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Segment {
    pub(crate) near: Spanned<String>,
    pub(crate) far: Spanned<String>,
    pub(crate) length: Q,
    pub(crate) bore: Option<Q>,
    pub(crate) roughness: Option<Q>,
    #[serde(default)]
    pub(crate) fittings: Vec<Spanned<String>>,
    pub(crate) k: Option<Q>,
    pub(crate) capillary: Option<bool>,
    pub(crate) temperature: Option<Q>,
    pub(crate) basis: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Opening {
    pub(crate) node: Spanned<String>,
    pub(crate) number: Spanned<i64>,
    pub(crate) kind: Option<Spanned<String>>,
    pub(crate) diameter: Q,
    pub(crate) discharge: Option<Q>,
    pub(crate) outside: Option<Q>,
    pub(crate) reachable: Option<bool>,
    pub(crate) blocked: Option<bool>,
    pub(crate) basis: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Inlet {
    pub(crate) number: Spanned<i64>,
    pub(crate) node: Option<Spanned<String>>,
    pub(crate) suction: Option<Q>,
    pub(crate) bore: Option<Q>,
    pub(crate) loss: Option<Spanned<Loss>>,
    pub(crate) volume: Option<Q>,
}
