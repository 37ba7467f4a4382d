//! Settings seen through the description of their model: what each item means, and its value in neutral terms.
//!
//! Not here: what becomes of them.
use crate::{
    description::{Description, Kind, Slot, Word},
    meaning::{Contact, Function, Meaning, Takes},
    number,
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use plumeline_detector::settings::{Item, Settings, Value};

/// A value in neutral terms.
#[derive(Clone, Debug, PartialEq)]
pub enum Sense {
    /// Yes or no.
    Switch(bool),
    /// A number: extinction in 1/m, a time in s, a share in %, or a setting as it is.
    Number(f64),
    /// What an output follows or an input does.
    Function(Function),
    /// What a contact does.
    Contact(Contact),
    /// Words, a number or bytes that stand for themselves.
    AsItIs(Value),
}
impl Sense {
    /// Nothing is lost where nothing takes this up: an unused inlet, output or input.
    pub fn is_unused(&self, meaning: Meaning) -> bool {
        match (meaning, self) {
            (Meaning::InletPipe(_), Self::Switch(used)) => !used,
            (_, Self::Function(f)) => *f == Function::Nothing,
            (Meaning::LabelSite | Meaning::LabelZone | Meaning::LabelUnit, Self::AsItIs(Value::Text(t))) => {
                t.is_empty()
            }
            _ => false,
        }
    }
}

/// An item with what it means.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenItem<'a> {
    /// As the unit has it.
    pub item: &'a Item,
    /// What it means; [`Meaning::Vendor`] where the description does not understand it.
    pub meaning: Meaning,
    /// Its value in neutral terms.
    pub sense: Sense,
    /// Why it is not understood.
    pub strange: Option<String>,
}

/// Settings seen through a description.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen<'a> {
    /// Every item, by key.
    pub items: Vec<SeenItem<'a>>,
    /// Keys that the description names and the settings lack.
    pub missing: Vec<String>,
    /// Inlets that the unit has, as far as its settings show.
    pub inlets: u8,
}

impl<'a> Seen<'a> {
    /// These settings through this description.
    pub fn of(settings: &'a Settings, description: &Description) -> Self {
        let items = settings.items.iter().map(|item| see(item, description.slot(&item.key))).collect();
        let there = description.slots.iter().filter(|s| settings.get(&s.key).is_some());
        let inlets = there.filter_map(|s| s.inlet).max().unwrap_or(description.inlets.0);
        let missing =
            description.slots_with(inlets).filter(|s| settings.get(&s.key).is_none()).map(|s| s.key.clone()).collect();
        Self { items, missing, inlets }
    }
    /// The item that means this; never one that only the maker understands.
    pub fn get(&self, meaning: Meaning) -> Option<&SeenItem<'a>> {
        self.items.iter().find(|i| i.meaning == meaning && meaning != Meaning::Vendor)
    }
    /// The item with this key.
    pub fn key(&self, key: &str) -> Option<&SeenItem<'a>> {
        self.items.iter().find(|i| i.item.key == key)
    }
    /// A number in neutral terms.
    pub fn number(&self, meaning: Meaning) -> Option<f64> {
        match self.get(meaning)?.sense {
            Sense::Number(x) => Some(x),
            _ => None,
        }
    }
    /// A function.
    pub fn function(&self, meaning: Meaning) -> Option<Function> {
        match self.get(meaning)?.sense {
            Sense::Function(f) => Some(f),
            _ => None,
        }
    }
    /// A contact.
    pub fn contact(&self, meaning: Meaning) -> Option<Contact> {
        match self.get(meaning)?.sense {
            Sense::Contact(c) => Some(c),
            _ => None,
        }
    }
    /// Yes or no.
    pub fn switch(&self, meaning: Meaning) -> Option<bool> {
        match self.get(meaning)?.sense {
            Sense::Switch(on) => Some(on),
            _ => None,
        }
    }
}

fn see<'a>(item: &'a Item, slot: Option<&Slot>) -> SeenItem<'a> {
    let strange = |why: String| SeenItem {
        item,
        meaning: Meaning::Vendor,
        sense: Sense::AsItIs(item.value.clone()),
        strange: Some(why),
    };
    let Some(slot) = slot else {
        return strange("the description does not name it".to_string());
    };
    match sense(item, slot) {
        Ok(sense) => SeenItem { item, meaning: slot.meaning, sense, strange: None },
        Err(why) => strange(why),
    }
}

/// The number of a value, if it is one.
pub fn plain(value: &Value) -> Option<f64> {
    match value {
        Value::Int(n) => Some(*n as f64),
        Value::Number(x) => Some(*x).filter(|x| x.is_finite()),
        _ => None,
    }
}

/// What an item of this slot says; the reason if it can't be understood.
pub fn sense(item: &Item, slot: &Slot) -> Result<Sense, String> {
    let dimension = match slot.meaning.takes() {
        Takes::Anything | Takes::AsItIs => return Ok(Sense::AsItIs(item.value.clone())),
        Takes::Number(d) => d,
        Takes::Switch if item.value == Value::Bool(true) => return Ok(Sense::Switch(true)),
        Takes::Switch if item.value == Value::Bool(false) => return Ok(Sense::Switch(false)),
        Takes::Switch | Takes::Function | Takes::Contact => return word(item, slot),
    };
    let Some(x) = plain(&item.value) else {
        return Err(format!("it is no number, but should be one ({})", slot.meaning.words()));
    };
    number::neutral(dimension, x, item.unit.as_deref()).map(Sense::Number).ok_or_else(|| {
        let unit = item.unit.as_deref().unwrap_or("no unit");
        format!("{x} with {unit} is nothing for `{}`", slot.meaning)
    })
}

fn word(item: &Item, slot: &Slot) -> Result<Sense, String> {
    let (Value::Text(text), Kind::Words(words)) = (&item.value, &slot.kind) else {
        return Err(format!("its value is of another kind than the description says ({})", slot.meaning.words()));
    };
    match words.iter().find(|(w, _)| w == text) {
        Some((_, Word::Switch(on))) => Ok(Sense::Switch(*on)),
        Some((_, Word::Function(f))) => Ok(Sense::Function(*f)),
        Some((_, Word::Contact(c))) => Ok(Sense::Contact(*c)),
        Some((_, Word::Own)) | None => Err("the description does not know its word".to_string()),
    }
}
