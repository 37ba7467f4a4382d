//! The account of a carry-over: what became of every old item and where every new one comes from.
//!
//! Not here: how it is shown.
use crate::meaning::{Contact, Function, Group, Meaning};
use alloc::{string::String, vec::Vec};
use plumeline_detector::settings::{Item, Settings};
use serde::{Deserialize, Serialize};

/// What becomes of an item.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fate {
    /// The same value, or the new model's word for it.
    Kept,
    /// The same value in another unit.
    Converted,
    /// Nearly the same value: the new model takes steps.
    Rounded,
    /// A person set it.
    Decided,
    /// The new model has nothing for it.
    NoCounterpart,
    /// A person has to decide first.
    Open,
}
impl Fate {
    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Kept => "kept",
            Self::Converted => "converted",
            Self::Rounded => "rounded",
            Self::Decided => "decided",
            Self::NoCounterpart => "no counterpart",
            Self::Open => "needs a decision",
        }
    }
    /// All, in the order in which they are counted.
    pub const ALL: [Self; 6] =
        [Self::Kept, Self::Converted, Self::Rounded, Self::Decided, Self::NoCounterpart, Self::Open];
}

/// A line of the account. Every old item stands in at least one row, every new item in exactly one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// What it means, in the new model's terms where it has any.
    pub meaning: Meaning,
    /// Old items that it comes from; empty if nothing old answers it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub old: Vec<Item>,
    /// The new item: its value, or while it is open the one proposed (none if there is no sensible one).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub new: Option<New>,
    /// What became of it.
    pub fate: Fate,
    /// How, in plain words: the exact conversion, the effect of rounding, why it is open.
    pub says: String,
    /// The decision that it rests on, from 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<usize>,
}
impl Row {
    /// The group that it belongs to.
    pub fn group(&self) -> Group {
        self.meaning.group()
    }
}

/// A new item.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct New {
    /// Key.
    pub key: String,
    /// Value with its unit, once there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<Item>,
    /// The exact number before it was rounded, in the unit of the item.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exact: Option<f64>,
}

/// Something that a person has to decide, as `decisions.toml` asks for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Open {
    /// About what.
    pub about: crate::decision::About,
    /// Why it is not plain.
    pub why: String,
    /// What may be chosen, the proposal first if there is one.
    pub choices: Vec<crate::decision::Choice>,
}

/// A line of the wiring sheet: an old output, a new one, or both.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wire {
    /// The output that the wires come from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Terminal>,
    /// The output that they go to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Terminal>,
    /// What to mind.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub mind: Vec<String>,
}

/// An output at its terminals.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Terminal {
    /// Number of the output.
    pub output: u8,
    /// Its terminals as they are marked.
    pub terminals: String,
    /// What it follows, in the terms of its own model.
    pub function: Function,
    /// What its contact does when that arises.
    pub contact: Contact,
    /// It is held energised at rest.
    pub energised_at_rest: bool,
}

/// What a level asks of the holes, before and after.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LevelAtHoles {
    /// Set of times.
    pub set: u8,
    /// Level of the old unit.
    pub old_level: u8,
    /// Level of the new unit.
    pub new_level: u8,
    /// Extinction at the old unit's sensor, 1/m.
    pub before: f64,
    /// Extinction at the new unit's sensor, 1/m.
    pub after: f64,
    /// What every hole needs, in the order of [`Holes::holes`]; nothing where a hole draws nothing or the extinction is
    /// beyond all bounds.
    pub needs: Vec<Need>,
    /// Extinction that a port may need, 1/m, if the job says, and in its own words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<AtMost>,
}

/// A limit for what a port may need.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AtMost {
    /// Extinction, 1/m.
    pub extinction: f64,
    /// As it was stated, with where it comes from and how well that is known.
    pub says: String,
}

/// What a hole needs for a level, as extinction in 1/m.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Need {
    /// With the old unit.
    pub before: Option<f64>,
    /// With the new unit.
    pub after: Option<f64>,
}

/// A hole with its shares of the unit's flow.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hole {
    /// Inlet of its pipe at the new unit.
    pub inlet: u8,
    /// Number along the pipe.
    pub number: u32,
    /// Share of the old unit's flow.
    pub share_before: f64,
    /// Share of the new unit's flow.
    pub share_after: f64,
}

/// Thresholds compared at the holes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Holes {
    /// Flow through the old unit, m3/s.
    pub flow_before_m3_s: f64,
    /// Flow through the new unit, m3/s.
    pub flow_after_m3_s: f64,
    /// Every hole that is not closed on purpose.
    pub holes: Vec<Hole>,
    /// Every level that is carried over.
    pub levels: Vec<LevelAtHoles>,
}

/// The account.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Account {
    /// Every item.
    pub rows: Vec<Row>,
    /// What has to be decided first; empty: the settings can be loaded.
    pub open: Vec<Open>,
    /// Thresholds at the holes, if they could be computed; otherwise the remarks say why not.
    pub holes: Option<Holes>,
    /// Which wires go where.
    pub wiring: Vec<Wire>,
    /// What gets worse or deserves a look.
    pub warnings: Vec<String>,
    /// What else a reader should know.
    pub remarks: Vec<String>,
}
impl Account {
    /// The new settings, whole; `None` while anything is open.
    pub fn settings(&self) -> Option<Settings> {
        if !self.open.is_empty() {
            return None;
        }
        let new = self.rows.iter().filter_map(|r| r.new.as_ref());
        let items = new.map(|n| n.item.clone()).collect::<Option<Vec<_>>>()?;
        Settings::from_items(None, items).ok()
    }
    /// How many rows have this fate.
    pub fn count(&self, fate: Fate) -> usize {
        self.rows.iter().filter(|r| r.fate == fate).count()
    }
}
