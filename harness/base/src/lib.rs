//! What every part of plumeline shares: instants, quantities, verdicts, the input events of a job and the
//! geometry of pipework.
//!
//! Not here: physics (see the airflow engine and, apart from it, the simulator), files, links, protocols.
#![no_std]
extern crate alloc;

pub mod dimension;
pub mod grid;
pub mod input;
pub mod logger;
pub mod obscuration;
pub mod pipework;
pub mod quantity;
pub mod text;
pub mod time;
pub mod verdict;
mod walk;

pub use time::Instant;
pub use verdict::Verdict;
