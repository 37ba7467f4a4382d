//! `decisions.toml`: what a person decided about a carry-over, item by item, with name and reason.
//!
//! Not here: whether a decision fits the settings (the carry crate says, and this module points at the place).
use crate::{
    TEXT_LIMIT,
    any::{self, Any},
    error::{Kind, Problem, Source, choices},
    written::{self, Spanned},
};
use plumeline_carry::{
    Decision, DecisionFault,
    account::Open,
    decision::{About, Choice},
};
use plumeline_detector::settings::Value;
use serde::Deserialize;
use std::{fmt::Write, ops::Range};

/// The version of the format that is read and written.
pub const FORMAT: i64 = 1;
/// Most decisions in one file.
pub const MAX_DECISIONS: usize = 10_000;
/// Longest name or reason, bytes.
const WORDS: usize = 1000;

const LEAVE_OUT: &str = "leave out";
const DEFAULT: &str = "default";
const SAME_NUMBER: &str = "same number";
const SAME_HOLES: &str = "same hole obscuration";
const GO_ON: &str = "go on";

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(
    feature = "schema",
    derive(schemars::JsonSchema),
    schemars(title = "decisions.toml: what a person decided about a carry-over")
)]
struct File {
    /// Version of the format.
    #[cfg_attr(feature = "schema", schemars(extend("const" = FORMAT)))]
    format: Spanned<i64>,
    /// The decisions.
    #[serde(default)]
    decision: Vec<Spanned<Raw>>,
}

/// A decision. One of `old`, `new`, `levels`, `outputs`, `inlets` and `capture` says about what.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct Raw {
    /// Settings of the old unit, by key: they are left out.
    old: Option<Spanned<Vec<String>>>,
    /// Settings of the new unit, by key.
    new: Option<Spanned<Vec<String>>>,
    /// Which level of the old unit becomes which of the new one, as [old, new]; the others are left out.
    levels: Option<Spanned<Vec<(u8, u8)>>>,
    /// Which output of the old unit becomes which of the new one, as [old, new]; the others are left out.
    outputs: Option<Spanned<Vec<(u8, u8)>>>,
    /// Which inlet with a pipe of the old unit becomes which of the new one, as [old, new].
    inlets: Option<Spanned<Vec<(u8, u8)>>>,
    /// The captured settings are not whole: "go on" with them.
    #[cfg_attr(feature = "schema", schemars(extend("const" = GO_ON)))]
    capture: Option<Spanned<String>>,
    /// For `old`: "leave out". For `new`: "default", or for thresholds "same number" or "same hole obscuration".
    #[cfg_attr(feature = "schema", schemars(transform = crate::schema::one_of(vec![LEAVE_OUT, DEFAULT, SAME_NUMBER, SAME_HOLES])))]
    choice: Option<Spanned<String>>,
    /// For `new`, in place of a choice: the value, in the setting's own unit.
    value: Option<Spanned<Any>>,
    /// Who decided.
    name: Spanned<String>,
    /// Why.
    reason: Spanned<String>,
}

/// A `decisions.toml` as it was read.
#[derive(Clone, Debug, Default)]
pub struct Decisions {
    /// The decisions, in their order.
    pub all: Vec<Decision>,
    places: Vec<Range<usize>>,
    name: String,
    text: String,
}

impl Decisions {
    /// Points at the decision that does not fit.
    pub fn problem(&self, fault: &DecisionFault) -> Problem {
        let span = self.places.get(fault.index).cloned().unwrap_or(0..0);
        match Source::new(&self.name, self.text.as_bytes(), TEXT_LIMIT) {
            Ok(source) => source.problem(Kind::Conflict, span, fault.cause.as_str(), fault.remedy.as_str()),
            Err(problem) => problem,
        }
    }
}

/// Reads a `decisions.toml`. `name` is what messages call it.
///
/// # Errors
/// The first thing that is wrong, with its line, column and remedy.
pub fn parse(name: &str, bytes: &[u8]) -> Result<Decisions, Problem> {
    let source = Source::new(name, bytes, TEXT_LIMIT)?;
    let file: File = written::from_toml(&source)?;
    written::version(&source, &file.format, FORMAT)?;
    if let Some(extra) = file.decision.get(MAX_DECISIONS) {
        let cause = format!("there are more than {MAX_DECISIONS} decisions");
        return Err(source.problem(Kind::TooLarge, extra.span(), cause, "name several settings in one decision"));
    }
    let mut read = Decisions { name: name.to_owned(), text: source.text().to_owned(), ..Decisions::default() };
    for raw in &file.decision {
        read.all.push(decision(&source, raw)?);
        read.places.push(raw.span());
    }
    Ok(read)
}

fn decision(source: &Source<'_>, raw: &Spanned<Raw>) -> Result<Decision, Problem> {
    let (at, raw) = (raw.span(), raw.as_ref());
    let told = |words: &Spanned<String>, nobody: &str, remedy: &str| {
        let text = words.as_ref().trim();
        if text.is_empty() || text.len() > WORDS {
            return Err(source.problem(Kind::MissingKey, words.span(), nobody, remedy));
        }
        Ok(text.to_owned())
    };
    let mut about = Vec::new();
    for (written, make) in [(&raw.old, About::Old as fn(Vec<String>) -> About), (&raw.new, About::New)] {
        if let Some(keys) = written {
            if keys.as_ref().is_empty() {
                return Err(source.problem(
                    Kind::MissingKey,
                    keys.span(),
                    "no setting is named",
                    "name at least one key",
                ));
            }
            about.push((keys.span(), make(keys.as_ref().clone()), None));
        }
    }
    for (written, what) in [(&raw.levels, About::Levels), (&raw.outputs, About::Outputs), (&raw.inlets, About::Inlets)]
    {
        if let Some(pairs) = written {
            about.push((pairs.span(), what, Some(Choice::Map(pairs.as_ref().clone()))));
        }
    }
    if let Some(word) = &raw.capture {
        if word.as_ref() != GO_ON {
            return Err(source.problem(Kind::UnknownName, word.span(), "this can't be chosen", "write \"go on\""));
        }
        about.push((word.span(), About::Capture, Some(Choice::GoOn)));
    }
    let mut about = about.into_iter();
    let one = "say one of `old`, `new`, `levels`, `outputs`, `inlets`, `capture`";
    let Some((_, about, implied)) = about.next().filter(|_| raw.count() <= 1) else {
        let cause = if raw.count() == 0 { "nothing says what this is about" } else { "this is about several things" };
        return Err(source.problem(Kind::Conflict, at, cause, one));
    };
    let choice = match (implied, &raw.choice, &raw.value) {
        (Some(_), Some(extra), _) => {
            return Err(source.problem(Kind::Conflict, extra.span(), "the pairs say it all", "take the choice out"));
        }
        (Some(_), None, Some(extra)) => {
            return Err(source.problem(Kind::Conflict, extra.span(), "the pairs say it all", "take the value out"));
        }
        (Some(implied), None, None) => implied,
        (None, Some(choice), None) => chosen(source, choice, &about)?,
        (None, None, Some(value)) if matches!(about, About::New(_)) => Choice::Value(any::one(source, value)?),
        (None, None, Some(value)) => {
            let remedy = "write `choice = \"leave out\"`";
            return Err(source.problem(Kind::Conflict, value.span(), "an old setting takes no value", remedy));
        }
        (None, Some(_), Some(value)) => {
            let cause = "there is a choice and a value";
            return Err(source.problem(Kind::Conflict, value.span(), cause, "keep one of the two"));
        }
        (None, None, None) => {
            let remedy = match about {
                About::Old(_) => "add `choice = \"leave out\"`",
                _ => {
                    "add `value = …`, or `choice = \"default\"`, or for a threshold \"same number\" or \"same hole obscuration\""
                }
            };
            return Err(source.problem(Kind::MissingKey, at, "nothing is chosen", remedy));
        }
    };
    let name = told(&raw.name, "nobody is named", "write the name of who decided (up to 1000 bytes)")?;
    let reason = told(&raw.reason, "no reason is given", "write why (up to 1000 bytes)")?;
    if loses(&choice) && !is_said(&reason) {
        let cause = "this decision gives something up, and its reason says nothing";
        let remedy = "write why the site can do without it, in a sentence of three words or more";
        return Err(source.problem(Kind::MissingKey, raw.reason.span(), cause, remedy));
    }
    Ok(Decision { about, choice, name, reason })
}

/// Something of the old unit may be gone after it.
const fn loses(choice: &Choice) -> bool {
    matches!(choice, Choice::LeaveOut | Choice::Map(_) | Choice::GoOn)
}

/// A reason that says something: three words, and not one word over and over ("ok ok ok").
fn is_said(reason: &str) -> bool {
    let mut words: Vec<String> =
        reason.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).map(str::to_lowercase).collect();
    words.sort();
    words.dedup();
    words.len() >= 3 && words.iter().map(|w| w.chars().count()).sum::<usize>() >= 8
}

impl Raw {
    /// How many things it is about.
    fn count(&self) -> usize {
        let keys = [self.old.is_some(), self.new.is_some(), self.capture.is_some()];
        let pairs = [self.levels.is_some(), self.outputs.is_some(), self.inlets.is_some()];
        keys.iter().chain(&pairs).filter(|given| **given).count()
    }
}

fn chosen(source: &Source<'_>, choice: &Spanned<String>, about: &About) -> Result<Choice, Problem> {
    let known: &[(&'static str, Choice)] = match about {
        About::Old(_) => &[(LEAVE_OUT, Choice::LeaveOut)],
        _ => {
            &[(DEFAULT, Choice::Default), (SAME_NUMBER, Choice::SameNumber), (SAME_HOLES, Choice::SameHoleObscuration)]
        }
    };
    known.iter().find(|(name, _)| name == choice.as_ref()).map(|(_, c)| c.clone()).ok_or_else(|| {
        let remedy = format!("use one of {}, or give a `value`", choices(known.iter().map(|(name, _)| *name)));
        source.problem(Kind::UnknownName, choice.span(), "this can't be chosen here", remedy)
    })
}

/// A choice as a decisions file writes it: one line of TOML.
pub fn choice_line(choice: &Choice) -> String {
    match choice {
        Choice::LeaveOut => format!("choice = \"{LEAVE_OUT}\""),
        Choice::Default => format!("choice = \"{DEFAULT}\""),
        Choice::SameNumber => format!("choice = \"{SAME_NUMBER}\""),
        Choice::SameHoleObscuration => format!("choice = \"{SAME_HOLES}\""),
        Choice::Value(v) => format!("value = {}", value(v)),
        Choice::Map(pairs) => {
            let all: Vec<String> = pairs.iter().map(|(a, b)| format!("[{a}, {b}]")).collect();
            format!("[{}]", all.join(", "))
        }
        Choice::GoOn => format!("\"{GO_ON}\""),
    }
}

fn text(words: &str) -> String {
    toml::Value::String(words.to_owned()).to_string()
}
fn value(v: &Value) -> String {
    match v {
        Value::Bool(b) => b.to_string(),
        Value::Int(n) => n.to_string(),
        Value::Number(x) => x.to_string(),
        Value::Text(t) => text(t),
        Value::Opaque { hex } => format!("{{ hex = \"{hex}\" }}"),
    }
}

/// A decisions file with everything that is open, to be filled in: the first choice of each is proposed, the others stand
/// beside it. What gives something up is not proposed but shown behind `#`: a person has to write it. `decided` is what the
/// file held before.
pub fn template(decided: &str, open: &[Open]) -> String {
    let mut out = String::new();
    if decided.trim().is_empty() {
        out.push_str(
            "# What was decided about the carry-over. Every decision needs a name and a reason.\nformat = 1\n",
        );
    } else {
        out.push_str(decided.trim_end());
        out.push('\n');
    }
    for o in open {
        out.push_str("\n[[decision]]\n");
        for line in o.why.lines() {
            let _ = writeln!(out, "# {line}");
        }
        let first = o.choices.first();
        let proposed = first.map(choice_line);
        let behind = if first.is_some_and(loses) { "# " } else { "" };
        if !behind.is_empty() {
            out.push_str(
                "# This gives something up. Take the # away only if the site can do without it, and say why.\n",
            );
        }
        match &o.about {
            About::Old(keys) | About::New(keys) => {
                let side = if matches!(o.about, About::Old(_)) { "old" } else { "new" };
                let keys: Vec<String> = keys.iter().map(|k| text(k)).collect();
                let _ = writeln!(out, "{side} = [{}]", keys.join(", "));
                let _ = writeln!(out, "{behind}{}", proposed.unwrap_or_else(|| "# value = ".to_owned()));
                for other in o.choices.iter().skip(1) {
                    let _ = writeln!(out, "# or: {}", choice_line(other));
                }
                if side == "new" && first.is_some() {
                    out.push_str("# or: value = …\n");
                }
            }
            about => {
                let key = match about {
                    About::Levels => "levels",
                    About::Outputs => "outputs",
                    About::Inlets => "inlets",
                    _ => "capture",
                };
                let _ = writeln!(out, "{behind}{key} = {}", proposed.unwrap_or_else(|| "[]".to_owned()));
            }
        }
        out.push_str("name = \"\"\nreason = \"\"\n");
    }
    out
}

/// The format's JSON Schema, as text.
#[cfg(feature = "schema")]
pub(crate) fn schema() -> String {
    crate::schema::of_toml::<File>()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(choice: &str, reason: &str) -> Result<Decisions, Problem> {
        let text = format!("format = 1\n[[decision]]\n{choice}\nname = \"A. Tech\"\nreason = \"{reason}\"\n");
        parse("decisions.toml", text.as_bytes())
    }

    #[test]
    fn what_gives_something_up_needs_a_reason_that_says_something() {
        for loses in
            ["levels = [[1, 1]]", "outputs = [[1, 1]]", "old = [\"x\"]\nchoice = \"leave out\"", "capture = \"go on\""]
        {
            for reason in ["ok", "yes", "none", "n/a", "ok ok ok", "- . -", "as is", "a b c"] {
                assert_eq!(read(loses, reason).unwrap_err().kind(), Kind::MissingKey, "{loses}: {reason}");
            }
            read(loses, "relay 5 is not wired at all").unwrap();
        }
        read("new = [\"x\"]\nchoice = \"default\"", "ok").unwrap();
    }

    #[test]
    fn the_template_gives_nothing_up_by_itself() {
        let why = "the old unit has 4 levels".to_owned();
        for (about, choice) in [
            (About::Levels, Choice::Map(vec![(1, 1)])),
            (About::Outputs, Choice::Map(vec![(1, 1)])),
            (About::Old(vec!["x".into()]), Choice::LeaveOut),
            (About::Capture, Choice::GoOn),
        ] {
            let text = template("", &[Open { about, why: why.clone(), choices: vec![choice] }]);
            let filled = text.replace("name = \"\"", "name = \"A. Tech\"");
            let filled = filled.replace("reason = \"\"", "reason = \"the strategy asks for three\"");
            parse("decisions.toml", filled.as_bytes()).unwrap_err();
            let written = filled.lines().map(|l| if l.contains(" = ") { l.trim_start_matches("# ") } else { l });
            parse("decisions.toml", written.collect::<Vec<_>>().join("\n").as_bytes()).unwrap();
        }
    }
}
