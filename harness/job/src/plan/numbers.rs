//! The numbers of a plan: every key that a rule declares is taken out of the text's tree and set in the typed plan. What is left
//! of the tree are the job's facts.
//!
//! Not here: which rules there are ([`plumeline_procedure::rules`]).
use super::raw;
use crate::{
    error::{Kind, Problem, Source, choices, quoted},
    units,
    written::{self, Written, no_such_key, toml_problem},
};
use plumeline_procedure::{
    plan::{Limit, Plan},
    rules::{Rule, TABLES, THE_PLAN},
};
use serde::Deserialize;
use std::{collections::BTreeSet, ops::Range};
use toml::de::{DeTable, DeValue, ValueDeserializer};

/// The keys of each table that are facts of the job and no rules.
const FACTS: &[(&str, &[&str])] = &[
    (
        "",
        &[
            "format",
            "site",
            "technician",
            "port",
            "invented",
            "visit",
            "not_shown",
            "outgoing",
            "replacement",
            "stages",
            "limits",
            "settle",
            "flow",
            "holes",
            "smoke",
            "suction",
            "rule",
            "outputs",
            "supply",
            "advanced",
            "checklist",
            "instruments",
        ],
    ),
    ("limits", &["port_obscuration"]),
    ("holes", &["which"]),
    ("smoke", &["at", "presence", "levels_not_shown", "mark"]),
    ("supply", &["calculation"]),
];

/// The table with this path, if the text has it.
fn table<'t, 'i>(
    source: &Source<'_>,
    top: &'t mut DeTable<'i>,
    path: &str,
) -> Result<Option<&'t mut DeTable<'i>>, Problem> {
    let mut at = top;
    for name in path.split('.').filter(|n| !n.is_empty()) {
        let Some(value) = at.get_mut(name) else { return Ok(None) };
        let span = value.span();
        match value.get_mut() {
            DeValue::Table(table) => at = table,
            other => {
                let cause = format!("`{name}` is {} here, not a table", other.type_str());
                return Err(source.problem(
                    Kind::WrongType,
                    span,
                    cause,
                    format!("write [{path}] and its keys below it"),
                ));
            }
        }
    }
    Ok(Some(at))
}

/// Takes the rules out of the tree into the plan. Gives the paths of those that were written.
pub(super) fn take(source: &Source<'_>, top: &mut DeTable<'_>, plan: &mut Plan) -> Result<BTreeSet<String>, Problem> {
    let mut stated = BTreeSet::new();
    let parts: Vec<&str> = TABLES.iter().filter_map(|t| t.section.strip_prefix("advanced.")).collect();
    if let Some(advanced) = table(source, top, "advanced")? {
        known(source, advanced, &parts)?;
    }
    for t in TABLES {
        let facts = FACTS.iter().find(|(name, _)| *name == t.section).map_or(&[][..], |(_, keys)| keys);
        let Some(here) = table(source, top, t.section)? else { continue };
        let keys: Vec<&str> = t.rules.iter().map(|r| r.key).chain(facts.iter().copied()).collect();
        known(source, here, &keys)?;
        for rule in t.rules {
            let Some(value) = here.remove(rule.key) else { continue };
            let span = value.span();
            let written =
                raw::Limit::deserialize(ValueDeserializer::from(value)).map_err(|e| toml_problem(source, &e))?;
            plan.set(rule, &limit(source, &written, span, rule)?);
            stated.insert(rule.path());
        }
        if facts.is_empty() && !t.section.contains('.') {
            top.remove(t.section);
        }
    }
    top.remove("advanced");
    Ok(stated)
}

/// Refuses keys that are not known.
fn known(source: &Source<'_>, table: &DeTable<'_>, keys: &[&str]) -> Result<(), Problem> {
    let wrong = table.keys().find(|k| !keys.contains(&k.get_ref().as_ref()));
    wrong.map_or(Ok(()), |k| {
        let (cause, remedy) = no_such_key(k.get_ref(), keys);
        Err(source.problem(Kind::UnknownKey, k.span(), cause, remedy))
    })
}

/// A value by the name of a preset, or one of the job's own.
fn limit(source: &Source<'_>, written: &raw::Limit, span: Range<usize>, rule: &Rule) -> Result<Limit, Problem> {
    let what = format!("`{}`", rule.path());
    let read = |written: &Written, span| {
        written::read_in(source, written, span, rule.dimension, rule.range, &what, &rule.allowed())
    };
    match written {
        raw::Limit::Own(o) => Ok(rule.own(read(o.value.as_ref(), o.value.span())?, &o.source)),
        raw::Limit::Number(n) => Ok(rule.own(read(&Written::Number(*n), span)?, THE_PLAN)),
        raw::Limit::Text(text) => match rule.preset(text) {
            Some(preset) => Ok(preset),
            // What is not even a number can only have been meant as a name.
            None if !rule.presets.is_empty()
                && units::parse(rule.dimension, text).is_err()
                && !text.starts_with(|c: char| c.is_ascii_digit() || c == '-') =>
            {
                let names = rule.presets.iter().map(|p| p.name);
                let cause = format!("{} is no preset of this limit", quoted(text));
                let remedy =
                    format!("use one of {}, or a value such as \"{}\"", choices(names), rule.dimension.example());
                Err(source.problem(Kind::UnknownName, span, cause, remedy))
            }
            None => Ok(rule.own(read(&Written::Text(text.clone()), span)?, THE_PLAN)),
        },
    }
}
