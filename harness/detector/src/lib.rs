//! What any detector can be asked and can tell, in neutral words, and the drivers that turn it into a protocol.
//!
//! A [`Driver`] is a pure machine: bytes, answers and time go in; bytes, questions and reports come out. It knows
//! frames (and so what is silent or garbled) and knows no stage of a job. [`plumewire`] speaks the framed serial
//! protocol; [`registers`] reads units by a register map, [`lines`] those that print lines; [`display`] is a person who reads a
//! display, [`mixed`] a line with a person at it. Not here: ports, clocks, stages, limits.
#![no_std]
extern crate alloc;

pub mod ask;
pub mod display;
pub mod driver;
pub mod lines;
pub mod mixed;
pub mod plumewire;
pub mod registers;
pub mod settings;
pub mod told;
pub mod vocabulary;

pub use ask::{Ask, Reply, Request};
pub use driver::{Driver, Question, Report, Ticket, Trouble};
pub use vocabulary::{
    Abilities, Baseline, Conditions, DRIVE_S, Faults, Identity, Reading, ReadingsBy, SettingsState, UnitEvent,
    UnitTime, bit,
};
