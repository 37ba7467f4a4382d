//! Measurement: settling, means with uncertainty, smoke onset, clock ties and decision rules, as pure functions
//! of readings. The methods, their sources and what they were measured to achieve are in `docs/measurement.md`.
//!
//! Not here: what a reading is of (units are the caller's, SI inside the harness), where it came from, when to
//! take one, or what a stage does with the answer.
#![no_std]
extern crate alloc;

pub mod clock;
pub mod decide;
pub mod difference;
pub mod error;
pub mod far_clock;
pub mod few;
pub mod joint;
pub mod mean;
pub mod pool;
pub mod rise;
pub mod settle;
pub mod smoke;
pub mod stats;

pub use error::Error;
use plumeline_base::Instant;
use serde::{Deserialize, Serialize};

/// One reading: a value at an instant of log time (a device's own time is mapped first, see [`clock`]).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sample {
    /// When it was taken, in log time.
    pub at: Instant,
    /// What was read. Anything but a finite number is refused wherever readings are judged.
    pub value: f64,
}
impl Sample {
    /// A reading.
    pub const fn new(at: Instant, value: f64) -> Self {
        Self { at, value }
    }
}
