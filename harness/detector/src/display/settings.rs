//! Settings by hand: read off the display a few at a time, without showing what they should be, and entered by a sheet.
//!
//! Not here: whether they are the right ones.
use super::{
    Asked, Said, Step, Task,
    face::{SheetItem, Takes},
    memory::Memory,
    typed::{numbers, same, short},
};
use crate::{
    ask::Reply,
    driver::{About, Wants, Word},
    settings::{Item, Settings, Value},
};
use alloc::{
    boxed::Box,
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::mem::take;
use plumeline_base::Instant;

/// As many values are typed in a row as a person keeps in order (practice, no source).
const IN_A_ROW: usize = 4;
/// As many settings are entered between two answers.
const ENTERED_AT_ONCE: usize = 6;

/// The settings of the unit, read off its display.
pub(super) fn read(memory: &Memory) -> Result<Box<dyn Task>, String> {
    let unit = memory.at_unit()?;
    if !unit.face.shows.settings {
        return Err("this model does not show its settings".into());
    }
    let left: Vec<SheetItem> = unit.face.items_of(unit.abilities.inlets).cloned().collect();
    if left.is_empty() {
        return Err("the description of this model names no settings".into());
    }
    Ok(Box::new(Read { all: left.len(), left, got: Vec::new() }))
}

/// These settings, entered at the unit by hand.
pub(super) fn enter(settings: &Settings, memory: &Memory) -> Result<Box<dyn Task>, String> {
    let unit = memory.at_unit()?;
    let how = unit.face.hands.settings.clone().ok_or("settings can't be entered at this model by hand")?;
    let mut left: Vec<(&'static str, Item)> = Vec::new();
    for sheet in &unit.face.items {
        left.extend(settings.get(&sheet.key).map(|item| (sheet.group, item.clone())));
    }
    let unknown = settings.items.iter().find(|item| left.iter().all(|(_, i)| i.key != item.key));
    match unknown {
        Some(item) => Err(format!("the description of this model names no setting {}", short(&item.key))),
        None if left.is_empty() => Err("there is nothing to enter".into()),
        None => Ok(Box::new(Enter { how, all: left.len(), left })),
    }
}

/// Settings that are being read.
struct Read {
    all: usize,
    left: Vec<SheetItem>,
    got: Vec<Item>,
}
impl Read {
    /// How many of those left are asked for in one row.
    fn row(&self) -> usize {
        let Some(first) = self.left.first() else { return 0 };
        let fits = |i: &&SheetItem| i.group == first.group && is_one_word(&i.takes);
        if !is_one_word(&first.takes) {
            return 1;
        }
        self.left.iter().take_while(fits).take(IN_A_ROW).count()
    }
}
/// Its value has no blanks and does not read as a refusal, so that several can be typed in a row.
fn is_one_word(takes: &Takes) -> bool {
    match takes {
        Takes::Number(_) => true,
        Takes::Words(words) => words.iter().all(|w| !w.contains([' ', ';', ',']) && !w.eq_ignore_ascii_case("no")),
        Takes::Switch | Takes::Text(_) => false,
    }
}
/// What is asked for, in the model's own words.
fn called(item: &SheetItem) -> String {
    let takes = match &item.takes {
        Takes::Switch => " [yes/no]".into(),
        Takes::Number(scale) if scale.unit.is_empty() => String::new(),
        Takes::Number(scale) => format!(" [{}]", scale.unit),
        Takes::Words(words) => format!(" [{}]", words.join("/")),
        Takes::Text(_) => " [text, in quotes if it begins with \"no\"; - where it is empty]".into(),
    };
    format!("{}{takes}, {}", item.key, item.means)
}
impl Task for Read {
    fn ask(&self, memory: &Memory) -> Asked {
        let row = self.left.get(..self.row()).unwrap_or_default();
        let keys = row.iter().map(|i| i.key.clone()).collect();
        let named: Vec<String> = row.iter().map(called).collect();
        let nth = self.all - self.left.len() + 1;
        let order = if row.len() > 1 { " Type the values in this order, with a blank between." } else { "" };
        let who = if memory.entered && nth == 1 {
            " Let somebody read them who did not enter them, where there is one."
        } else {
            ""
        };
        let text = format!("Settings as the unit shows them, {nth} of {}: {}.{order}{who}", self.all, named.join("; "));
        let wants = match row {
            [SheetItem { takes: Takes::Switch, .. }] => Wants::YesNo,
            [SheetItem { takes: Takes::Words(words), .. }] => {
                Wants::OneOf { words: words.iter().map(|w| Word::of(w, w)).collect() }
            }
            _ => Wants::Text,
        };
        Asked { about: About::Settings { keys }, text, wants }
    }
    fn take(&mut self, _: Instant, said: Said, _: &mut Memory) -> Step {
        let words = match said {
            Said::Words(words) => words,
            // A switch or a word may well be "yes" or "no".
            Said::Yes => "yes".into(),
            Said::No(why) if why.is_empty() => "no".into(),
            Said::No(why) | Said::Cannot(why) => return Step::not_told(&why),
        };
        let row = self.left.get(..self.row()).unwrap_or_default();
        let cells = cells(&words, row);
        if cells.len() != row.len() {
            return Step::Again(format!("{} values are wanted, {} typed", row.len(), cells.len()));
        }
        let mut taken = 0;
        let mut wrong = None;
        for (item, cell) in row.iter().zip(&cells) {
            match value(&item.takes, cell) {
                Ok(value) => {
                    let unit = match &item.takes {
                        Takes::Number(scale) => Some(scale.unit.clone()).filter(|u| !u.is_empty()),
                        _ => None,
                    };
                    self.got.extend(value.map(|value| Item { key: item.key.clone(), value, unit }));
                    taken += 1;
                }
                Err(why) => {
                    wrong = Some(format!("{}: {why}", item.key));
                    break;
                }
            }
        }
        self.left.drain(..taken);
        match wrong {
            Some(why) => Step::Again(why),
            None if self.left.is_empty() => match Settings::from_items(None, take(&mut self.got)) {
                Ok(settings) => Step::told(Reply::Settings(settings)),
                Err(key) => Step::not_told(&format!("the setting {key} stands twice in the description")),
            },
            None => Step::Ask,
        }
    }
}

/// What was typed, one cell for each value; units that stand behind are left out.
fn cells(words: &str, row: &[SheetItem]) -> Vec<String> {
    if row.len() <= 1 {
        return alloc::vec![words.trim().to_string()];
    }
    let unit = |i: usize| match row.get(i).map(|item| &item.takes) {
        Some(Takes::Number(scale)) => scale.unit.as_str(),
        _ => "",
    };
    let typed: Vec<&str> =
        if words.contains(';') { words.split(';').collect() } else { words.split_whitespace().collect() };
    let mut cells: Vec<String> = Vec::new();
    for cell in typed.into_iter().map(|c| c.trim().trim_end_matches(',')).filter(|c| !c.is_empty()) {
        let behind = cells.len().checked_sub(1).map_or("", unit);
        if behind.is_empty() || !same(cell, behind) {
            cells.push(cell.into());
        }
    }
    cells
}

/// The value of a setting as it was typed; `None`: the unit does not show it.
fn value(takes: &Takes, cell: &str) -> Result<Option<Value>, String> {
    Ok(Some(match takes {
        Takes::Text(_) if cell == "-" => Value::Text(String::new()),
        Takes::Text(longest) if cell.len() > *longest as usize => {
            return Err(format!("it is {} bytes long, the unit takes {longest}", cell.len()));
        }
        Takes::Text(_) => Value::Text(unquoted(cell).into()),
        _ if cell == "-" => return Ok(None),
        Takes::Switch => match cell.to_lowercase().as_str() {
            "yes" | "y" | "on" | "true" => Value::Bool(true),
            "no" | "n" | "off" | "false" => Value::Bool(false),
            _ => return Err(format!("{} is neither yes nor no", short(cell))),
        },
        Takes::Words(words) => match words.iter().find(|w| same(w, cell)) {
            Some(word) => Value::Text(word.clone()),
            None => return Err(format!("{} is none of {}", short(cell), words.join(", "))),
        },
        Takes::Number(scale) => match numbers(cell, &scale.unit, 1)?.first() {
            Some(Some(x)) => {
                scale.check(*x)?;
                Value::Number(*x)
            }
            _ => return Ok(None),
        },
    }))
}

fn unquoted(text: &str) -> &str {
    text.strip_prefix('"').and_then(|t| t.strip_suffix('"')).unwrap_or(text)
}

/// Settings that are being entered.
struct Enter {
    how: String,
    all: usize,
    left: Vec<(&'static str, Item)>,
}
impl Enter {
    fn at_once(&self) -> usize {
        let first = self.left.first().map(|(group, _)| *group);
        self.left.iter().take_while(|(group, _)| Some(*group) == first).take(ENTERED_AT_ONCE).count()
    }
}
impl Task for Enter {
    fn ask(&self, _: &Memory) -> Asked {
        let row = self.left.get(..self.at_once()).unwrap_or_default();
        let items = row.iter().map(|(_, i)| (i.key.clone(), entered(i))).collect();
        let said: Vec<String> = row.iter().map(|(_, i)| format!("{} = {}", i.key, entered(i))).collect();
        let nth = self.all - self.left.len() + 1;
        let group = row.first().map_or("", |(group, _)| group);
        let text =
            format!("Enter at the unit ({}), {nth} of {}, {group}: {}. Entered?", self.how, self.all, said.join("; "));
        Asked { about: About::Enter { items }, text, wants: Wants::Done }
    }
    fn take(&mut self, _: Instant, said: Said, memory: &mut Memory) -> Step {
        match said {
            Said::No(why) | Said::Cannot(why) => return Step::not_told(&why),
            Said::Yes | Said::Words(_) => {}
        }
        self.left.drain(..self.at_once());
        if !self.left.is_empty() {
            return Step::Ask;
        }
        memory.entered = true;
        Step::told(Reply::Written(None))
    }
}
/// A value as it is entered.
fn entered(item: &Item) -> String {
    let unit = item.unit.as_deref().unwrap_or_default();
    match &item.value {
        Value::Text(text) if text.is_empty() => "(empty)".into(),
        Value::Text(text) => text.clone(),
        value => format!("{value} {unit}").trim().into(),
    }
}
