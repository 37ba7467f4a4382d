//! What is written where in a `plan.toml`: the keys of the format, with their places in the text.
//!
//! Not here: what the values mean.
use crate::written::Q;
use serde::{
    Deserialize, Deserializer,
    de::{Error, MapAccess, SeqAccess, Visitor, value::MapAccessDeserializer},
};
use serde_spanned::Spanned;
use std::fmt;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct File {
    pub(super) format: Spanned<i64>,
    pub(super) site: String,
    pub(super) technician: String,
    pub(super) outgoing: Option<Unit>,
    #[serde(default)]
    pub(super) replacement: Unit,
    pub(super) stages: Option<Spanned<Vec<Spanned<Stage>>>>,
    pub(super) readings: Option<Q>,
    pub(super) inhibit_lease: Option<Q>,
    #[serde(default)]
    pub(super) limits: Limits,
    #[serde(default)]
    pub(super) settle: Settle,
    #[serde(default)]
    pub(super) flow: Flow,
    #[serde(default)]
    pub(super) holes: Holes,
    #[serde(default)]
    pub(super) smoke: Smoke,
    #[serde(default)]
    pub(super) rule: Rule,
    #[serde(default)]
    pub(super) checklist: Vec<Check>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Unit {
    pub(super) model: Option<String>,
    pub(super) serial: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Stage {
    pub(super) stage: Spanned<String>,
    pub(super) policy: Option<Spanned<String>>,
    pub(super) deadline: Option<Q>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Limits {
    pub(super) transport: Option<Spanned<Limit>>,
    pub(super) transport_agreement: Option<Spanned<Limit>>,
    pub(super) transport_agreement_least: Option<Spanned<Limit>>,
    pub(super) last_hole_suction: Option<Spanned<Limit>>,
    pub(super) flow_band: Option<Spanned<Limit>>,
    pub(super) flow_fault_within: Option<Spanned<Limit>>,
    pub(super) out_of_service: Option<Spanned<Limit>>,
    pub(super) boot: Option<Spanned<Limit>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Settle {
    pub(super) window: Option<Q>,
    pub(super) slope_per_min: Option<Spanned<Limit>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Flow {
    pub(super) average: Option<Q>,
    pub(super) material: Option<Spanned<Limit>>,
    pub(super) calibration_common: Option<Q>,
    pub(super) calibration_individual: Option<Q>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Holes {
    pub(super) which: Option<Spanned<Which>>,
    pub(super) average: Option<Q>,
    pub(super) wait: Option<Q>,
    pub(super) agreement: Option<Spanned<Limit>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Smoke {
    pub(super) at: Option<Spanned<Which>>,
    pub(super) runs: Option<Spanned<i64>>,
    pub(super) mark: Option<Spanned<String>>,
    pub(super) mark_uncertainty: Option<Q>,
    pub(super) release: Option<Q>,
    pub(super) purge_below: Option<Q>,
    pub(super) purge_hold: Option<Q>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Rule {
    pub(super) accept_risk: Option<Q>,
    pub(super) reject_risk: Option<Q>,
    pub(super) coverage: Option<Q>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Check {
    pub(super) stage: Spanned<String>,
    pub(super) text: String,
    #[serde(default)]
    pub(super) required: bool,
}

/// A hole by its pipe's inlet and its number.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Hole {
    pub(super) inlet: Spanned<i64>,
    pub(super) hole: Spanned<i64>,
}

/// The name of a preset, a value of the job's own, or a value with its source.
#[derive(Clone, Debug)]
pub(super) enum Limit {
    Text(String),
    Own(Own),
}
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Own {
    pub(super) value: Q,
    pub(super) source: String,
}
impl<'de> Deserialize<'de> for Limit {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct AsWritten;
        impl<'de> Visitor<'de> for AsWritten {
            type Value = Limit;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the name of a preset, a value such as \"90 s\", or { value = \"90 s\", source = \"…\" }")
            }
            fn visit_str<E: Error>(self, v: &str) -> Result<Limit, E> {
                Ok(Limit::Text(v.to_owned()))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Limit, A::Error> {
                Own::deserialize(MapAccessDeserializer::new(map)).map(Limit::Own)
            }
        }
        d.deserialize_any(AsWritten)
    }
}

/// A choice of holes by a word, or a list of them.
#[derive(Clone, Debug)]
pub(super) enum Which {
    Word(String),
    These(Vec<Hole>),
}
impl<'de> Deserialize<'de> for Which {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct AsWritten;
        impl<'de> Visitor<'de> for AsWritten {
            type Value = Which;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a word in quotes, or a list of holes such as [{ inlet = 1, hole = 9 }]")
            }
            fn visit_str<E: Error>(self, v: &str) -> Result<Which, E> {
                Ok(Which::Word(v.to_owned()))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Which, A::Error> {
                let mut all = Vec::new();
                while let Some(hole) = seq.next_element()? {
                    all.push(hole);
                }
                Ok(Which::These(all))
            }
        }
        d.deserialize_any(AsWritten)
    }
}
