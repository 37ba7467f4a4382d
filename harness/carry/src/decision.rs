//! What a person decided about a carry-over: about which items, what, who, and why.
//!
//! Not here: the file that it is written in, and whether it fits (the engine says).
use alloc::{string::String, vec::Vec};
use plumeline_detector::settings::Value;
use serde::{Deserialize, Serialize};

/// A decision.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// About what.
    pub about: About,
    /// What was chosen.
    pub choice: Choice,
    /// Who decided.
    pub name: String,
    /// Why.
    pub reason: String,
}

/// What a decision is about.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum About {
    /// Settings of the old unit, by key.
    Old(Vec<String>),
    /// Settings of the new unit, by key.
    New(Vec<String>),
    /// Which level of the old unit becomes which of the new one.
    Levels,
    /// Which output of the old unit becomes which of the new one.
    Outputs,
    /// Which inlet of the old unit becomes which of the new one.
    Inlets,
    /// That the captured settings are not whole.
    Capture,
}

/// What was chosen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Choice {
    /// Old items: they are left out.
    LeaveOut,
    /// New items: what the description says the factory delivers.
    Default,
    /// New items: this value, in the item's own unit.
    Value(Value),
    /// Thresholds: the old number, converted.
    SameNumber,
    /// Thresholds: the number at which no hole needs more smoke than before, as far as it can be computed.
    SameHoleObscuration,
    /// Old and new numbers that belong together.
    Map(Vec<(u8, u8)>),
    /// Captured settings that are not whole are carried over as far as they go.
    GoOn,
}

/// A decision that does not fit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DecisionFault {
    /// Which one, from 0.
    pub index: usize,
    /// What is wrong.
    pub cause: String,
    /// What to do about it.
    pub remedy: String,
}
