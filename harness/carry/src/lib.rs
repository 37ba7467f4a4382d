//! How the settings of a model are carried over to another model: by descriptions of the two, not by code that knows them,
//! with an account of every old and every new item and of everything that a person decided.
//!
//! Pure: no files, no clock. Not here: how descriptions, decisions and accounts are written (the job crate) and shown
//! (the report crate), and whether the two units answer one smoke alike: nobody can compute that.
#![no_std]
extern crate alloc;

pub mod account;
pub mod decision;
mod diff;
mod engine;
mod holes;
mod maps;

pub use account::Account;
pub use decision::{Decision, DecisionFault};
pub use diff::{Line, Side, compare, listing};
pub use engine::{Carry, PortLimit, carry};
use plumeline_unit::neutral;
pub use plumeline_unit::{Description, Meaning, Seen, Sense, description, meaning, number};
