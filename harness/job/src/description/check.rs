//! From what stands in a description to what it says.
//!
//! Not here: the keys of the format.
use super::{MAX_ITEMS, display, lines, raw, registers};
use crate::{
    any::Any,
    error::{Kind as Wrong, Problem, Source, choices, nearest, quoted},
    pipework::{MAX_INLETS, unit},
    tables,
    written::{ReadOr, Spanned, choice, whole},
};
use plumeline_unit::{
    Description, Meaning,
    description::{Abilities, FlowReading, Kind, Output, Slot, UnitAir, Word},
    meaning::{Contact, Function, Takes},
    number::{self, Grid},
};
use std::collections::BTreeSet;

/// Most levels, outputs or inputs: as many as flags in a reading.
pub(super) const MOST: i64 = 32;
/// Longest text or bytes of a setting.
pub(super) const LONGEST: i64 = 4096;
const USUAL_LONGEST: u32 = 64;
/// Most sets of times.
const MOST_SETS: u8 = 8;
/// Longest key or word.
const NAME: usize = 200;

pub(super) const FLOW_READINGS: &[(&str, FlowReading)] =
    &[("actual", FlowReading::Actual), ("reference", FlowReading::Reference)];

/// What a setting can take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Switch,
    Number,
    Words,
    Text,
    Bytes,
}
pub(super) const TAKES: &[(&str, Form)] = &[
    ("switch", Form::Switch),
    ("number", Form::Number),
    ("words", Form::Words),
    ("text", Form::Text),
    ("bytes", Form::Bytes),
];

/// The meanings, for remedies; N stands for a number.
const MEANINGS: &[&str] = &[
    "label.site",
    "label.zone",
    "label.unit",
    "clock.zone",
    "inlet.{n}.pipe",
    "level.{n}.threshold",
    "level.{n}.delay",
    "level.{n}.latching",
    "levels.latching",
    "levels.learning",
    "set.{n}.from",
    "set.2.level.{n}.threshold",
    "flow.low",
    "flow.high",
    "flow.delay",
    "output.{n}.function",
    "output.{n}.contact",
    "output.{n}.latching",
    "input.{n}.function",
    "fan.setting",
    "filter.changed",
    "filter.due",
    "network.address",
    "vendor",
];

pub(super) fn check(source: &Source<'_>, f: &raw::File) -> Result<Description, Problem> {
    let name = |n: &Spanned<String>, what: &str| {
        let tame =
            !n.as_ref().trim().is_empty() && n.as_ref().len() <= NAME && !n.as_ref().chars().any(char::is_control);
        let told =
            || source.problem(Wrong::Range, n.span(), format!("this is no {what}"), "write it as the unit states it");
        tame.then(|| n.as_ref().clone()).ok_or_else(told)
    };
    let count = |n: &Spanned<i64>, low: i64, high: i64, what: &str| whole::<u8>(source, n, low, high, what);
    let most = MAX_INLETS as i64;
    let inlets = (
        count(&f.inlets.0, 1, most, "the fewest inlets")?,
        count(&f.inlets.1, *f.inlets.0.as_ref(), most, "the most inlets")?,
    );
    if let Some(extra) = f.output.get(MOST as usize) {
        return Err(source.problem(Wrong::TooLarge, extra.span(), "a unit has at most 32 outputs", "take some out"));
    }
    let outputs = (1..).zip(&f.output).map(|(n, o)| output(source, n, o)).collect::<Result<Vec<_>, _>>()?;
    let can = |what| f.can.iter().any(|c| *c.as_ref() == what);
    let mut description = Description {
        maker: name(&f.maker, "name of a maker")?,
        model: name(&f.model, "name of a model")?,
        inlets,
        levels: count(&f.levels, 1, MOST, "the number of levels")?,
        outputs,
        inputs: f.inputs.as_ref().map_or(Ok(0), |n| count(n, 0, MOST, "the number of inputs"))?,
        flow: choice(source, &f.flow_reading, "a kind of flow reading", FLOW_READINGS)?,
        can: Abilities { read_settings: can(raw::Can::ReadSettings), write_settings: can(raw::Can::WriteSettings) },
        display: None,
        slots: Vec::new(),
        air: None,
        registers: None,
        lines: None,
    };
    items(source, f, &mut description)?;
    for (o, written) in description.outputs.iter().zip(&f.output) {
        let set = description.meaning(Meaning::OutputFunction(o.number)).is_some();
        if set == o.fixed.is_some() {
            let cause = if set {
                "what this output follows is both set and fixed"
            } else {
                "nothing says what this output follows"
            };
            let remedy = format!(
                "add `fixed = \"fault\"` here, or an [[item]] that means \"output.{}.function\"; not both",
                o.number
            );
            return Err(source.problem(Wrong::Conflict, written.span(), cause, remedy));
        }
    }
    description.display = f.display.as_ref().map(|shown| display::display(source, shown, &description)).transpose()?;
    display::readable(source, f, &description)?;
    description.air = f.air.as_ref().map(|a| air(source, a, &description)).transpose()?;
    description.registers = f.registers.as_ref().map(|r| registers::check(source, r, &description)).transpose()?;
    description.lines = f.lines.as_ref().map(|l| lines::check(source, l, &description)).transpose()?;
    Ok(description)
}

fn output(source: &Source<'_>, number: u8, o: &Spanned<raw::Output>) -> Result<Output, Problem> {
    let o = o.as_ref();
    if o.terminals.as_ref().trim().is_empty() || o.terminals.as_ref().len() > NAME {
        let remedy = "write them as they are marked at the unit, such as \"11 C, 12 NO, 13 NC\"";
        return Err(source.problem(Wrong::Range, o.terminals.span(), "these are no terminals", remedy));
    }
    let fixed = o.fixed.as_ref().map(|text| function(source, text)).transpose()?;
    Ok(Output {
        number,
        terminals: o.terminals.as_ref().clone(),
        contact: choice(source, &o.contact, "a way in which a contact acts", &Contact::NAMES)?,
        energised_at_rest: o.energised_at_rest,
        fixed,
    })
}

fn function(source: &Source<'_>, text: &Spanned<String>) -> Result<Function, Problem> {
    Function::parse(text.as_ref()).ok_or_else(|| {
        let cause = format!("{} is nothing that an output follows or an input does", quoted(text.as_ref()));
        let remedy = "use one of \"nothing\", \"fault\", \"flow fault\", \"level 1\" and so on, \"power\", \"reset\", \"isolate\", \"next set\"";
        source.problem(Wrong::UnknownName, text.span(), cause, remedy)
    })
}

fn items(source: &Source<'_>, f: &raw::File, d: &mut Description) -> Result<(), Problem> {
    let (mut keys, mut meanings) = (BTreeSet::new(), BTreeSet::new());
    for written in &f.item {
        let item = written.as_ref();
        let (times, per_inlet) = times(source, item, d)?;
        for n in 1..=times {
            let slot = slot(source, item, n, times, per_inlet, d)?;
            if !keys.insert(slot.key.clone()) {
                let cause = format!("the key {} stands twice", quoted(&slot.key));
                return Err(source.problem(Wrong::Duplicate, item.key.span(), cause, "keep one of the two"));
            }
            if slot.meaning != Meaning::Vendor && !meanings.insert(slot.meaning) {
                let cause = format!("two settings mean {}", quoted(&slot.meaning.to_string()));
                let remedy = "keep one; what only the maker understands means \"vendor\"";
                return Err(source.problem(Wrong::Duplicate, item.means.span(), cause, remedy));
            }
            d.slots.push(slot);
            if d.slots.len() > MAX_ITEMS {
                let cause = format!("the description has more than {MAX_ITEMS} settings");
                return Err(source.problem(Wrong::TooLarge, written.span(), cause, "take some out"));
            }
        }
    }
    d.slots.sort_by(|a, b| a.key.as_bytes().cmp(b.key.as_bytes()));
    Ok(())
}

/// How often an item stands, and whether once for each inlet.
fn times(source: &Source<'_>, item: &raw::Item, d: &Description) -> Result<(u8, bool), Problem> {
    let holds = |t: &Spanned<String>| t.as_ref().contains("{n}");
    let Some(n) = &item.n else {
        if let Some(at) = [&item.key, &item.means].into_iter().find(|t| holds(t)) {
            let remedy = "add `n = 4` for 1 to 4, or `n = \"inlets\"`";
            return Err(source.problem(Wrong::MissingKey, at.span(), "nothing says how far {n} goes", remedy));
        }
        return Ok((1, false));
    };
    if !holds(&item.key) {
        let cause = "the key has no {n}, so that all of these would have the same";
        return Err(source.problem(
            Wrong::Conflict,
            item.key.span(),
            cause,
            "write {n} into the key, or leave `n` out",
        ));
    }
    match n.as_ref() {
        raw::Count::Number(count) if (1..=64).contains(count) => Ok((*count as u8, false)),
        raw::Count::Word(word) if word == "inlets" => Ok((d.inlets.1, true)),
        _ => {
            let remedy = "write a whole number from 1 to 64, or \"inlets\"";
            Err(source.problem(Wrong::Range, n.span(), "{n} can't go that far", remedy))
        }
    }
}

fn slot(
    source: &Source<'_>,
    item: &raw::Item,
    n: u8,
    times: u8,
    per_inlet: bool,
    d: &Description,
) -> Result<Slot, Problem> {
    let key = item.key.as_ref().replace("{n}", &n.to_string());
    if key.is_empty() || key.len() > NAME || key.chars().any(char::is_control) {
        let remedy = format!("use 1 to {NAME} characters on one line");
        return Err(source.problem(Wrong::Range, item.key.span(), "this is no key of a setting", remedy));
    }
    let meaning = meaning(source, item, n, d)?;
    let kind = kind(source, item, meaning)?;
    let inlet = match meaning {
        Meaning::InletPipe(n) => Some(n),
        _ => per_inlet.then_some(n),
    };
    let mut slot = Slot { key, meaning, kind, default: None, inlet };
    if let Some(written) = &item.default {
        let given = match written.as_ref() {
            Any::One(v) => Some(v),
            Any::Each(all) if all.len() == usize::from(times) => all.get(usize::from(n) - 1),
            Any::Each(all) => {
                let cause = format!("the list has {} values for {times} settings", all.len());
                return Err(source.problem(Wrong::Range, written.span(), cause, "write one for all, or one for each"));
            }
        };
        if let Some(given) = given {
            slot.check(given).map_err(|why| {
                let cause = format!("this default is none that the setting takes: {why}");
                source.problem(Wrong::Range, written.span(), cause, "correct it, or the range and step")
            })?;
            slot.default = Some(given.clone());
        }
    }
    Ok(slot)
}

fn meaning(source: &Source<'_>, item: &raw::Item, n: u8, d: &Description) -> Result<Meaning, Problem> {
    let text = item.means.as_ref().replace("{n}", &n.to_string());
    let Some(meaning) = Meaning::parse(&text) else {
        let near = nearest(item.means.as_ref(), MEANINGS.iter().copied());
        let near = near.map_or_else(String::new, |m| format!("; did you mean `{m}`?"));
        let cause = format!("{} is no meaning of a setting{near}", quoted(&text));
        let remedy = format!("use one of {}", choices(MEANINGS.iter().copied()));
        return Err(source.problem(Wrong::UnknownName, item.means.span(), cause, remedy));
    };
    let outputs = d.outputs.len() as u8;
    let beyond = match meaning {
        Meaning::InletPipe(n) => (n > d.inlets.1).then_some(("inlets", d.inlets.1)),
        Meaning::Threshold { level, .. } | Meaning::Delay(level) | Meaning::Latching(level) => {
            (level > d.levels).then_some(("levels", d.levels))
        }
        Meaning::OutputFunction(n) | Meaning::OutputContact(n) | Meaning::OutputLatching(n) => {
            (n > outputs).then_some(("outputs", outputs))
        }
        Meaning::InputFunction(n) => (n > d.inputs).then_some(("inputs", d.inputs)),
        _ => None,
    };
    if let Some((what, has)) = beyond {
        let cause = format!("{} is beyond the {has} {what} that the unit has", quoted(&text));
        return Err(source.problem(Wrong::Conflict, item.means.span(), cause, format!("correct it, or the {what}")));
    }
    if let Meaning::SetFrom(set) | Meaning::Threshold { set, .. } = meaning
        && set > MOST_SETS
    {
        let cause = format!("there are at most {MOST_SETS} sets of times");
        return Err(source.problem(Wrong::Range, item.means.span(), cause, "use set.2 to set.8"));
    }
    Ok(meaning)
}

fn kind(source: &Source<'_>, item: &raw::Item, meaning: Meaning) -> Result<Kind, Problem> {
    let form = choice(source, &item.takes, "a kind of value", TAKES)?;
    let fits = match meaning.takes() {
        Takes::Switch => matches!(form, Form::Switch | Form::Words),
        Takes::Number(_) => form == Form::Number,
        Takes::Function | Takes::Contact => form == Form::Words,
        Takes::AsItIs => matches!(form, Form::Text | Form::Number | Form::Words),
        Takes::Anything => true,
    };
    if !fits {
        let cause =
            format!("{} can't be told by a setting that takes {}", quoted(&meaning.to_string()), item.takes.as_ref());
        let remedy = match meaning.takes() {
            Takes::Switch => "it takes \"switch\", or \"words\" that mean \"yes\" and \"no\"",
            Takes::Number(_) => "it takes \"number\"",
            Takes::Function | Takes::Contact => "it takes \"words\"",
            _ => "it takes \"text\", \"number\" or \"words\"",
        };
        return Err(source.problem(Wrong::Conflict, item.takes.span(), cause, remedy));
    }
    let foreign = |span, what: &str| {
        let cause = format!("`{what}` says nothing of a setting that takes {}", item.takes.as_ref());
        Err(source.problem(Wrong::Conflict, span, cause, "take it out"))
    };
    if form != Form::Number {
        for (span, what) in [
            (item.unit.as_ref().map(Spanned::span), "unit"),
            (item.range.as_ref().map(Spanned::span), "range"),
            (item.step.as_ref().map(Spanned::span), "step"),
        ] {
            if let Some(span) = span {
                return foreign(span, what);
            }
        }
    }
    if let (Some(longest), false) = (&item.longest, matches!(form, Form::Text | Form::Bytes)) {
        return foreign(longest.span(), "longest");
    }
    if let (Some(word), false) = (item.words.values().next(), form == Form::Words) {
        return foreign(word.span(), "words");
    }
    let longest = || item.longest.as_ref().map_or(Ok(USUAL_LONGEST), |n| whole(source, n, 1, LONGEST, "a length"));
    Ok(match form {
        Form::Switch => Kind::Switch,
        Form::Text => Kind::Text { longest: longest()? },
        Form::Bytes => Kind::Bytes { longest: longest()? },
        Form::Words => Kind::Words(words(source, item, meaning)?),
        Form::Number => number_kind(source, item, meaning)?,
    })
}

fn number_kind(source: &Source<'_>, item: &raw::Item, meaning: Meaning) -> Result<Kind, Problem> {
    let missing = |what: &str, example: &str| {
        let cause = format!("a number needs its {what}");
        source.problem(Wrong::MissingKey, item.takes.span(), cause, format!("add `{example}`"))
    };
    let unit = item.unit.as_ref().map(|u| u.as_ref().clone());
    if let Takes::Number(dimension) = meaning.takes()
        && !number::fits(dimension, unit.as_deref())
    {
        let at = item.unit.as_ref().map_or_else(|| item.takes.span(), Spanned::span);
        let cause = format!(
            "{} can't be stated in {}",
            quoted(&meaning.to_string()),
            quoted(unit.as_deref().unwrap_or("no unit"))
        );
        let remedy = format!("use one of {}", choices(number::units(dimension).iter().copied()));
        return Err(source.problem(Wrong::Unit, at, cause, remedy));
    }
    let range = item.range.as_ref().ok_or_else(|| missing("range", "range = [0, 60]"))?;
    let (low, high) = *range.as_ref();
    if !(low.is_finite() && high.is_finite() && low <= high) {
        return Err(source.problem(Wrong::Range, range.span(), "this is no range", "write [least, greatest]"));
    }
    let step = item.step.as_ref().ok_or_else(|| missing("step", "step = 1"))?;
    if Grid::of(*step.as_ref()).is_none() {
        let remedy = "write a number over 0 with at most nine decimals";
        return Err(source.problem(Wrong::Range, step.span(), "this is no step", remedy));
    }
    Ok(Kind::Number { unit, low, high, step: *step.as_ref() })
}

fn words(source: &Source<'_>, item: &raw::Item, meaning: Meaning) -> Result<Vec<(String, Word)>, Problem> {
    if item.words.is_empty() {
        let remedy = "add `words = { trouble = \"fault\" }`: the unit's word, and what it means";
        return Err(source.problem(Wrong::MissingKey, item.takes.span(), "nothing says which words", remedy));
    }
    let mut means = BTreeSet::new();
    item.words
        .iter()
        .map(|(word, says)| {
            let wrong = |cause: String, remedy: &str| source.problem(Wrong::UnknownName, says.span(), cause, remedy);
            let text = says.as_ref();
            let read = match meaning.takes() {
                Takes::Switch => match text.as_str() {
                    "yes" => Word::Switch(true),
                    "no" => Word::Switch(false),
                    _ => {
                        return Err(wrong(
                            format!("{} is neither yes nor no", quoted(text)),
                            "write \"yes\" or \"no\"",
                        ));
                    }
                },
                Takes::Function => Word::Function(function(source, says)?),
                Takes::Contact => {
                    Word::Contact(choice(source, says, "a way in which a contact acts", &Contact::NAMES)?)
                }
                _ => Word::Own,
            };
            if read != Word::Own && !means.insert(text.clone()) {
                return Err(wrong(format!("two words mean {}", quoted(text)), "keep one of the two"));
            }
            Ok((word.clone(), read))
        })
        .collect()
}

fn air(source: &Source<'_>, a: &Spanned<raw::Air>, d: &Description) -> Result<UnitAir, Problem> {
    let at = a.span();
    let a = a.as_ref();
    if let Some(speed) = &a.fan.as_ref().speed {
        let remedy = "take it out; `speeds` says which setting means which speed";
        return Err(source.problem(Wrong::Conflict, speed.span(), "the fan is described at full speed", remedy));
    }
    let mut speeds: Vec<(f64, f64)> = Vec::with_capacity(a.speeds.len());
    for pair in &a.speeds {
        let (setting, speed) = pair.as_ref();
        if !setting.is_finite() || speeds.last().is_some_and(|s| s.0 >= *setting) || speeds.len() >= 64 {
            let cause = "the settings of the fan do not rise, or are too many";
            return Err(source.problem(Wrong::Range, pair.span(), cause, "sort them; at most 64"));
        }
        speeds.push((*setting, speed.read(source)?));
    }
    let air = UnitAir {
        inlet_loss: unit::loss_or_none(source, a.inlet_loss.as_ref())?,
        inlet_bore_m: a.inlet_bore.read_or(source, tables::BORE_M)?,
        inlet_volume_m3: a.inlet_volume.read_or(source, 0.0)?,
        loss: unit::loss_or_none(source, a.loss.as_ref())?,
        volume_m3: a.volume.read_or(source, 0.0)?,
        sensor_lag_s: a.sensor_lag.read_or(source, 0.0)?,
        exhaust_loss: unit::loss_or_none(source, a.exhaust_loss.as_ref())?,
        fan: unit::fan(source, a.fan.as_ref())?,
        speeds,
    };
    let ends = match d.meaning(Meaning::Fan).map(|s| &s.kind) {
        Some(Kind::Number { low, high, .. }) => Some((*low, *high)),
        _ => None,
    };
    let cause = match ends {
        Some((low, high)) if air.speed(low).is_none() || air.speed(high).is_none() => {
            format!("the speeds do not cover the fan's settings from {low} to {high}")
        }
        None if !air.speeds.is_empty() => "there are speeds, but no setting means \"fan.setting\"".to_owned(),
        _ => return Ok(air),
    };
    Err(source.problem(
        Wrong::Conflict,
        at,
        cause,
        "write `speeds = [[least setting, \"50 %\"], [greatest, \"100 %\"]]`",
    ))
}
