//! What is written where in a `plan.toml`: the keys of the format, with their places in the text.
//!
//! Not here: what the values mean.
use super::{
    check::{self, limit_of},
    stages,
};
use crate::limits;
use crate::schema::{names, one_of, quantity, words_or_list};
use crate::written::{Q, Spanned};
use plumeline_procedure::{outcome::StageKind, plan::Policy};
use schemars::JsonSchema;
use serde::{
    Deserialize, Deserializer,
    de::{Error, MapAccess, SeqAccess, Visitor, value::MapAccessDeserializer},
};
use std::fmt;

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "plan.toml: what a job does and what it is judged by")]
pub(super) struct File {
    /// Version of the format.
    #[schemars(extend("const" = super::FORMAT))]
    pub(super) format: Spanned<i64>,
    /// Site and zone.
    pub(super) site: String,
    /// Who does the job.
    pub(super) technician: String,
    /// The unit that is replaced; without this table nothing is captured.
    pub(super) outgoing: Option<Unit>,
    /// The unit that replaces it.
    #[serde(default)]
    pub(super) replacement: Unit,
    /// Which stages are run, in their order; all if not stated.
    pub(super) stages: Option<Spanned<Vec<Spanned<Stage>>>>,
    /// Rate of the unit's readings; 10 Hz if not stated.
    #[schemars(transform = quantity(&check::RATE))]
    pub(super) readings: Option<Q>,
    /// Inhibits lapse when they are not renewed for this long; 60 s if not stated.
    #[schemars(transform = quantity(&check::LEASE))]
    pub(super) inhibit_lease: Option<Q>,
    /// What the job is judged by.
    #[serde(default)]
    pub(super) limits: Limits,
    /// When the flow counts as steady.
    #[serde(default)]
    pub(super) settle: Settle,
    /// How the flow of each pipe is proved.
    #[serde(default)]
    pub(super) flow: Flow,
    /// How the holes are proved.
    #[serde(default)]
    pub(super) holes: Holes,
    /// How the smoke test is done.
    #[serde(default)]
    pub(super) smoke: Smoke,
    /// The rule of decision (JCGM 106).
    #[serde(default)]
    pub(super) rule: Rule,
    /// How the outputs are proven.
    #[serde(default)]
    pub(super) outputs: Outputs,
    /// How the supply is proven.
    #[serde(default)]
    pub(super) supply: Supply,
    /// Hand-work that a person ticks off.
    #[serde(default)]
    pub(super) checklist: Vec<Check>,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Unit {
    /// Checked if stated.
    pub(super) model: Option<String>,
    /// Checked if stated.
    pub(super) serial: Option<String>,
    /// Checked if stated.
    pub(super) firmware: Option<String>,
    /// Its local time against UTC, such as "+01:00"; checked if stated.
    #[schemars(regex(pattern = "^[+-][0-9]{2}:[0-9]{2}$"))]
    pub(super) zone: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Stage {
    /// Which stage.
    #[schemars(transform = one_of(StageKind::ALL.map(StageKind::name).into()))]
    pub(super) stage: Spanned<String>,
    /// What happens when it does not pass: "stop" ends the job safely, "go-on" goes on; "skip" leaves it out.
    #[schemars(transform = names(Policy::NAMES))]
    pub(super) policy: Option<Spanned<String>>,
    /// How long it may take.
    #[schemars(transform = quantity(&stages::DEADLINE))]
    pub(super) deadline: Option<Q>,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Limits {
    /// Transport time of the farthest hole, at most.
    #[schemars(transform = limit_of(&limits::TRANSPORT))]
    pub(super) transport: Option<Spanned<Limit>>,
    /// Measured against predicted transport time, as a share of the predicted.
    #[schemars(transform = limit_of(&limits::TRANSPORT_AGREEMENT))]
    pub(super) transport_agreement: Option<Spanned<Limit>>,
    /// The least difference of transport times that counts.
    #[schemars(transform = limit_of(&limits::TRANSPORT_AGREEMENT_LEAST))]
    pub(super) transport_agreement_least: Option<Spanned<Limit>>,
    /// Suction at the last hole, at least.
    #[schemars(transform = limit_of(&limits::LAST_HOLE_SUCTION))]
    pub(super) last_hole_suction: Option<Spanned<Limit>>,
    /// Change of the unit's volumetric flow that raises a flow fault.
    #[schemars(transform = limit_of(&limits::FLOW_BAND))]
    pub(super) flow_band: Option<Spanned<Limit>>,
    /// A flow fault is raised within.
    #[schemars(transform = limit_of(&limits::FLOW_FAULT_WITHIN))]
    pub(super) flow_fault_within: Option<Spanned<Limit>>,
    /// Out of service, at most, before other measures are called for.
    #[schemars(transform = limit_of(&limits::OUT_OF_SERVICE))]
    pub(super) out_of_service: Option<Spanned<Limit>>,
    /// Waiting for the unit to start, at most.
    #[schemars(transform = limit_of(&limits::BOOT))]
    pub(super) boot: Option<Spanned<Limit>>,
    /// The unit's date and time against the job's, at most.
    #[schemars(transform = limit_of(&limits::CLOCK))]
    pub(super) clock: Option<Spanned<Limit>>,
    /// Supply voltage under load, at least.
    #[schemars(transform = limit_of(&limits::SUPPLY_VOLTAGE))]
    pub(super) supply_voltage: Option<Spanned<Limit>>,
    /// A lost supply is shown as a fault within.
    #[schemars(transform = limit_of(&limits::SUPPLY_FAULT_WITHIN))]
    pub(super) supply_fault_within: Option<Spanned<Limit>>,
    /// Obscuration that a port may need, by level of the new unit; none if not stated.
    #[serde(default)]
    pub(super) port_obscuration: Vec<Spanned<PortLimit>>,
}

/// What a port may need for a level.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PortLimit {
    /// Level of the new unit.
    #[schemars(range(min = 1, max = 32))]
    pub(super) level: Spanned<i64>,
    /// The name of a preset, an obscuration such as "0.2 %/ft", or one with its source.
    pub(super) at_most: Spanned<Limit>,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Settle {
    /// Length of the windows that are compared; 120 s if not stated.
    #[schemars(transform = quantity(&check::SPAN))]
    pub(super) window: Option<Q>,
    /// Largest slope of a steady flow, as a share of it, a minute.
    #[schemars(transform = limit_of(&limits::STEADY))]
    pub(super) slope_per_min: Option<Spanned<Limit>>,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Flow {
    /// How long the flow is averaged; 60 s if not stated.
    #[schemars(transform = quantity(&check::SPAN))]
    pub(super) average: Option<Q>,
    /// What the smallest material defect does to a pipe's flow.
    #[schemars(transform = limit_of(&limits::MATERIAL))]
    pub(super) material: Option<Spanned<Limit>>,
    /// Standard uncertainty of the unit's flow readings that its inlets share; 3 % if not stated.
    #[schemars(transform = quantity(&check::SHARE))]
    pub(super) calibration_common: Option<Q>,
    /// Standard uncertainty of the flow readings of each inlet by itself; 2 % if not stated.
    #[schemars(transform = quantity(&check::SHARE))]
    pub(super) calibration_individual: Option<Q>,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Holes {
    /// The holes that are closed in turn: "reachable" (all in reach; if not stated), "none", or a list.
    #[schemars(transform = words_or_list(check::WHICH))]
    pub(super) which: Option<Spanned<Which>>,
    /// How long the flow is averaged with a hole open, and closed; 10 s if not stated.
    #[schemars(transform = quantity(&check::SPAN))]
    pub(super) average: Option<Q>,
    /// How long is waited after a hole was closed or opened; 10 s if not stated.
    #[schemars(transform = quantity(&check::WAIT))]
    pub(super) wait: Option<Q>,
    /// How far a hole's drop may be from the predicted one, as a share of it.
    #[schemars(transform = limit_of(&limits::HOLE_AGREEMENT))]
    pub(super) agreement: Option<Spanned<Limit>>,
    /// By how much the obscuration needed at a hole for an alarm may be worse than by design, as a share of it: what a hole may
    /// draw less than the pipe's other holes let expect comes from it.
    #[schemars(transform = limit_of(&limits::HOLE_WORSE))]
    pub(super) worse: Option<Spanned<Limit>>,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Smoke {
    /// Where smoke is released: "farthest" (of each pipe, by length; if not stated), or a list.
    #[schemars(transform = words_or_list(check::AT))]
    pub(super) at: Option<Spanned<Which>>,
    /// Holes shown to draw by smoke that is not timed, where closing them can't show it: "not-closed" (all that are not
    /// closed in turn), "none" (if not stated), or a list.
    #[schemars(transform = words_or_list(check::PRESENCE))]
    pub(super) presence: Option<Spanned<Which>>,
    /// Runs at each place; 1 if not stated.
    #[schemars(range(min = 1, max = check::MAX_RUNS))]
    pub(super) runs: Option<Spanned<i64>>,
    /// Who marks the release; "by-hand" if not stated.
    #[schemars(transform = names(check::MARKS))]
    pub(super) mark: Option<Spanned<String>>,
    /// Standard uncertainty of the mark.
    #[schemars(transform = quantity(&check::SHORT))]
    pub(super) mark_uncertainty: Option<Q>,
    /// How long smoke is released; 10 s if not stated.
    #[schemars(transform = quantity(&check::SPAN))]
    pub(super) release: Option<Q>,
    /// Purged when obscuration stays under this share of the lowest alarm level; 50 % if not stated.
    #[schemars(transform = quantity(&check::SHARE))]
    pub(super) purge_below: Option<Q>,
    /// How long it has to stay there; 30 s if not stated.
    #[schemars(transform = quantity(&check::SPAN))]
    pub(super) purge_hold: Option<Q>,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Rule {
    /// Risk of passing what does not conform, over all tests together; 5 % if not stated.
    #[schemars(transform = quantity(&check::RISK))]
    pub(super) accept_risk: Option<Q>,
    /// Risk of failing what conforms, over all tests together; 5 % if not stated.
    #[schemars(transform = quantity(&check::RISK))]
    pub(super) reject_risk: Option<Q>,
    /// Coverage of the intervals that are printed; 95 % if not stated.
    #[schemars(transform = quantity(&check::COVERAGE))]
    pub(super) coverage: Option<Q>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Check {
    /// At which stage it is asked for.
    #[schemars(transform = one_of(StageKind::ALL.map(StageKind::name).into()))]
    pub(super) stage: Spanned<String>,
    /// What is to be done.
    pub(super) text: String,
    /// Whether the job stays undecided without it.
    #[serde(default)]
    pub(super) required: bool,
    /// Asked for when the stage's own work is done; before it if not stated.
    #[serde(default)]
    pub(super) after: bool,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Outputs {
    /// Whether the inhibit is let lapse once, to see its fault come first.
    #[serde(default)]
    pub(super) lapse: bool,
    /// The wiring sheet, line by line.
    #[serde(default)]
    pub(super) wire: Vec<Wire>,
}
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Wire {
    /// Output of the replacement.
    #[schemars(range(min = 1, max = 32))]
    pub(super) output: Spanned<i64>,
    /// What it stands for, in the words of the unit's settings.
    pub(super) function: String,
    /// What it is called at the panel.
    pub(super) panel: Option<String>,
    /// Input of the unit to which the panel gives its reaction back, in place of the operator's word.
    #[schemars(range(min = 1, max = 32))]
    pub(super) input: Option<Spanned<i64>>,
}

/// The names that a calculation of the battery may have.
fn battery_names() -> Vec<&'static str> {
    limits::BATTERY.iter().map(|b| b.name).collect()
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Supply {
    /// Rated capacity of the battery fitted; without it the battery stays undecided.
    #[schemars(transform = quantity(&check::CAPACITY))]
    pub(super) battery: Option<Q>,
    /// How the capacity is calculated; "BS 5839-1" if not stated.
    #[schemars(transform = one_of(battery_names()))]
    pub(super) calculation: Option<Spanned<String>>,
    /// Time at standby, in place of the calculation's.
    #[schemars(transform = quantity(&check::STANDBY))]
    pub(super) standby: Option<Q>,
    /// Time in alarm, in place of the calculation's.
    #[schemars(transform = quantity(&check::STANDBY))]
    pub(super) alarm: Option<Q>,
    /// Factor on the alarm's charge, in place of the calculation's.
    #[schemars(transform = quantity(&check::FACTOR))]
    pub(super) derating: Option<Q>,
    /// Factor on the whole, in place of the calculation's.
    #[schemars(transform = quantity(&check::FACTOR))]
    pub(super) margin: Option<Q>,
    /// Current of whatever else is on the same battery at standby; none if not stated.
    #[schemars(transform = quantity(&check::CURRENT))]
    pub(super) other_standby: Option<Q>,
    /// Current of whatever else is on the same battery in alarm; none if not stated.
    #[schemars(transform = quantity(&check::CURRENT))]
    pub(super) other_alarm: Option<Q>,
    /// Current of the unit in alarm by its data sheet; measured if not stated.
    #[schemars(transform = quantity(&check::CURRENT))]
    pub(super) alarm_current: Option<Q>,
    /// Standard uncertainty of the unit's own readings of voltage and current; 2 % if not stated.
    #[schemars(transform = quantity(&check::SHARE))]
    pub(super) unit_uncertainty: Option<Q>,
    /// Standard uncertainty of the instrument that a person reads; 1 % if not stated.
    #[schemars(transform = quantity(&check::SHARE))]
    pub(super) meter_uncertainty: Option<Q>,
}

/// A hole by its pipe's inlet and its number.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Hole {
    /// The inlet of its pipe.
    #[schemars(range(min = 1, max = 255))]
    pub(super) inlet: Spanned<i64>,
    /// Its number, from the unit outward.
    #[schemars(range(min = 1, max = u32::MAX))]
    pub(super) hole: Spanned<i64>,
}

/// The name of a preset, a value of the job's own, or a value with its source.
#[derive(Clone, Debug, JsonSchema)]
#[schemars(untagged, inline)]
pub(super) enum Limit {
    Text(String),
    Own(Own),
}
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Own {
    /// The limit.
    pub(super) value: Q,
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
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Limit, A::Error> {
                Own::deserialize(MapAccessDeserializer::new(map)).map(Limit::Own)
            }
        }
        d.deserialize_any(AsWritten)
    }
}

/// A choice of holes by a word, or a list of them.
#[derive(Clone, Debug, JsonSchema)]
#[schemars(untagged, inline)]
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
