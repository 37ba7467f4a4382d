//! What is written where in a `plan.toml`: the keys of the format, with their places in the text.
//!
//! Not here: what the values mean.
use super::{
    instruments::{Interval, Lag, RelativeUncertainty},
    stages::Deadline,
};
use crate::written::{Q, Spanned, Written};
use serde::{
    Deserialize, Deserializer,
    de::{Error, MapAccess, SeqAccess, Visitor, value::MapAccessDeserializer},
};
use std::fmt;
#[cfg(feature = "schema")]
use {
    super::{
        check::MARKS,
        instruments::{DATES, MARKS_OF_DECIMALS, TIME_UNITS},
    },
    crate::schema::{names, one_of, words_or_list},
    plumeline_procedure::{
        instrument::{Kind, Place, UNITS},
        outcome::StageKind,
        plan::{Policy, Visit},
        rules::declared::BATTERY,
    },
};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(
    feature = "schema",
    derive(schemars::JsonSchema),
    schemars(title = "plan.toml: what a job does and what it is judged by")
)]
pub(super) struct File {
    /// Version of the format.
    #[cfg_attr(feature = "schema", schemars(extend("const" = super::FORMAT)))]
    pub(super) format: Spanned<i64>,
    /// Site and zone.
    pub(super) site: String,
    /// The port that the job is run through where the command is given none.
    pub(super) port: Option<String>,
    /// Who does the job.
    pub(super) technician: String,
    /// Whether the site and the units are invented (a demonstration or a test): every report says so loudly.
    #[serde(default)]
    pub(super) invented: bool,
    /// A service visit, at which no unit is exchanged: the unit keeps its settings, and its baseline or not.
    #[cfg_attr(feature = "schema", schemars(transform = names(&Visit::NAMES)))]
    pub(super) visit: Option<Spanned<String>>,
    /// What the replacement may leave unshown, by name: it then costs no pass.
    #[serde(default)]
    pub(super) not_shown: Vec<Spanned<String>>,
    /// The unit that is replaced; without this table nothing is captured.
    pub(super) outgoing: Option<Unit>,
    /// The unit that replaces it.
    #[serde(default)]
    pub(super) replacement: Unit,
    /// Which stages are run, in their order; all if not stated.
    pub(super) stages: Option<Spanned<Vec<Spanned<Stage>>>>,
    /// What the job is judged by.
    #[serde(default)]
    pub(super) limits: Limits,
    /// How the holes are proved.
    #[serde(default)]
    pub(super) holes: Holes,
    /// How the smoke test is done.
    #[serde(default)]
    pub(super) smoke: Smoke,
    /// Where suction is read off a manometer.
    #[serde(default)]
    pub(super) suction: Suction,
    /// How the outputs are proven.
    #[serde(default)]
    pub(super) outputs: Outputs,
    /// How the supply is proven.
    #[serde(default)]
    pub(super) supply: Supply,
    /// Hand-work that a person ticks off.
    #[serde(default)]
    pub(super) checklist: Vec<Check>,
    /// The instruments that numbers are read off, an entry for each quantity that one measures.
    #[serde(default)]
    pub(super) instruments: Vec<Instrument>,
}

/// An instrument, as it measures one quantity.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Instrument {
    /// What people call it; each entry has a name of its own.
    pub(super) name: Spanned<String>,
    /// What it is.
    #[cfg_attr(feature = "schema", schemars(transform = names(&Kind::NAMES)))]
    pub(super) kind: Spanned<String>,
    /// Its serial number.
    pub(super) serial: String,
    /// The unit in which it shows the quantity.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(instrument_units())))]
    pub(super) unit: Spanned<String>,
    /// Least and greatest that it can show, in its unit.
    pub(super) range: Spanned<(f64, f64)>,
    /// The step in which it shows it, in its unit.
    pub(super) resolution: Spanned<f64>,
    /// Standard uncertainty by its certificate, in its unit; 0 if not stated.
    pub(super) uncertainty: Option<Spanned<f64>>,
    /// Standard uncertainty by its certificate as a share of the reading, such as "0.5 %"; 0 if not stated.
    pub(super) relative_uncertainty: Option<Q<RelativeUncertainty>>,
    /// Where a flow meter sits: put between a pipe and its inlet when that is asked for (if not stated), or at the unit's exhaust, where
    /// it shows what all open inlets draw together, and all flows of the job are read off it.
    #[cfg_attr(feature = "schema", schemars(transform = names(&Place::NAMES)))]
    pub(super) at: Option<Spanned<String>>,
    /// Of a logger: from one stored reading to the next; it must be stated.
    pub(super) interval: Option<Q<Interval>>,
    /// Of a logger: what it stores stands for the signal of up to so long before, by averaging or a lag; none if not stated.
    pub(super) lag: Option<Q<Lag>>,
    /// Of a logger: how its files are to be read, as far as they do not say it by themselves.
    pub(super) file: Option<Spanned<LoggerFile>>,
    /// The day on which it was calibrated, such as "2026-03-02".
    #[cfg_attr(feature = "schema", schemars(regex(pattern = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$")))]
    pub(super) calibrated: Spanned<String>,
    /// The last day on which that holds.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$")))]
    pub(super) due: Spanned<String>,
}

/// How the files of a logger are to be read: what `plumeline judge FILE --columns` asks for.
#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct LoggerFile {
    /// The column of the times, by name, heading or number.
    pub(super) time: Option<String>,
    /// The column of the smoke signal, likewise.
    pub(super) column: Option<String>,
    /// The order of its dates.
    #[cfg_attr(feature = "schema", schemars(transform = names(&DATES)))]
    pub(super) dates: Option<Spanned<String>>,
    /// Its decimal mark.
    #[cfg_attr(feature = "schema", schemars(transform = names(&MARKS_OF_DECIMALS)))]
    pub(super) decimal: Option<Spanned<String>>,
    /// The unit of its times, where they are numbers.
    #[cfg_attr(feature = "schema", schemars(transform = names(&TIME_UNITS)))]
    pub(super) time_unit: Option<Spanned<String>>,
    /// Further words for no value.
    #[serde(default)]
    pub(super) gaps: Vec<String>,
    /// Its encoding, by the name that browsers know.
    pub(super) encoding: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Unit {
    /// Checked if stated.
    pub(super) model: Option<String>,
    /// Checked if stated.
    pub(super) serial: Option<String>,
    /// Checked if stated.
    pub(super) firmware: Option<String>,
    /// Its local time against UTC, such as "+01:00"; checked if stated.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = "^[+-][0-9]{2}:[0-9]{2}$")))]
    pub(super) zone: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Stage {
    /// Which stage.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(StageKind::ALL.map(StageKind::name).into())))]
    pub(super) stage: Spanned<String>,
    /// What happens when it does not pass: "stop" ends the job safely, "go-on" goes on; "skip" leaves it out.
    #[cfg_attr(feature = "schema", schemars(transform = names(Policy::NAMES)))]
    pub(super) policy: Option<Spanned<String>>,
    /// How long it may take.
    pub(super) deadline: Option<Q<Deadline>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Limits {
    /// Obscuration that a port may need, by level of the new unit; none if not stated.
    #[serde(default)]
    pub(super) port_obscuration: Vec<Spanned<PortLimit>>,
}

/// What a port may need for a level.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct PortLimit {
    /// Level of the new unit.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = 32)))]
    pub(super) level: Spanned<i64>,
    /// The name of a preset, an obscuration such as "0.2 %/ft", or one with its source.
    pub(super) at_most: Spanned<Limit>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Holes {
    /// The holes that are closed in turn: "reachable" (all in reach; if not stated), "none", or a list.
    #[cfg_attr(feature = "schema", schemars(transform = words_or_list(vec!["reachable", "none"])))]
    pub(super) which: Option<Spanned<Which>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Smoke {
    /// Where smoke is released: "farthest" (of each pipe, by length; if not stated), or a list.
    #[cfg_attr(feature = "schema", schemars(transform = words_or_list(vec!["farthest"])))]
    pub(super) at: Option<Spanned<Which>>,
    /// Holes shown to draw by smoke that is not timed, where closing them can't show it: "not-closed" (all that are not
    /// closed in turn), "none" (if not stated), or a list.
    #[cfg_attr(feature = "schema", schemars(transform = words_or_list(vec!["not-closed", "none"])))]
    pub(super) presence: Option<Spanned<Which>>,
    /// Alarm levels that the smoke need not reach, by number from 1, the lowest: they are listed as not shown. None if not stated.
    #[serde(default)]
    pub(super) levels_not_shown: Vec<Spanned<u8>>,
    /// Who marks the release; "by-hand" if not stated.
    #[cfg_attr(feature = "schema", schemars(transform = names(MARKS)))]
    pub(super) mark: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Suction {
    /// The holes: "farthest" (of each pipe, by length), "none" (if not stated), or a list.
    #[cfg_attr(feature = "schema", schemars(transform = words_or_list(vec!["farthest", "none"])))]
    pub(super) at: Option<Spanned<Which>>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Check {
    /// At which stage it is asked for.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(StageKind::ALL.map(StageKind::name).into())))]
    pub(super) stage: Spanned<String>,
    /// What is to be done.
    pub(super) text: String,
    /// Whether the job stays undecided without it.
    #[serde(default)]
    pub(super) required: bool,
    /// Asked for when the stage's own work is done; before it if not stated.
    #[serde(default)]
    pub(super) after: bool,
    /// It belongs to an exchange of units: a service visit is asked nothing of it.
    #[serde(default)]
    pub(super) exchange: bool,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Outputs {
    /// Whether the inhibit is let lapse once, to see its fault come first.
    #[serde(default)]
    pub(super) lapse: bool,
    /// The wiring sheet, line by line.
    #[serde(default)]
    pub(super) wire: Vec<Wire>,
}
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Wire {
    /// Output of the replacement.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = 32)))]
    pub(super) output: Spanned<i64>,
    /// What it stands for, in the words of the unit's settings.
    pub(super) function: String,
    /// What it is called at the panel.
    pub(super) panel: Option<String>,
    /// Input of the unit to which the panel gives its reaction back, in place of the operator's word.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = 32)))]
    pub(super) input: Option<Spanned<i64>>,
}

#[cfg(feature = "schema")]
fn instrument_units() -> Vec<&'static str> {
    UNITS.iter().map(|(unit, ..)| *unit).collect()
}
#[cfg(feature = "schema")]
fn battery_names() -> Vec<&'static str> {
    BATTERY.iter().map(|b| b.name).collect()
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Supply {
    /// How the capacity is calculated; "BS 5839-1" if not stated.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(battery_names())))]
    pub(super) calculation: Option<Spanned<String>>,
}

/// A hole by its pipe's inlet and its number.
#[derive(Clone, Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Hole {
    /// The inlet of its pipe.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = 255)))]
    pub(super) inlet: Spanned<i64>,
    /// Its number, from the unit outward.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = u32::MAX)))]
    pub(super) hole: Spanned<i64>,
}

/// The name of a preset, a value of the job's own, or a value with its source.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(untagged, inline))]
pub(super) enum Limit {
    Text(String),
    #[cfg_attr(feature = "schema", schemars(skip))]
    Number(f64),
    Own(Own),
}
#[derive(Clone, Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Own {
    /// The limit.
    pub(super) value: Spanned<Written>,
    /// Where it comes from.
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
            fn visit_i64<E: Error>(self, v: i64) -> Result<Limit, E> {
                Ok(Limit::Number(v as f64))
            }
            fn visit_f64<E: Error>(self, v: f64) -> Result<Limit, E> {
                Ok(Limit::Number(v))
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(untagged, inline))]
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
