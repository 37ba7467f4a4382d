//! The job itself: a plan, stages, supervisors. Events go in, effects come out; no I/O and no clock.
//!
//! [`Procedure`] is the one machine that live runs, replays, campaigns and tests all drive. Its stages are written
//! as plain sequential `async` functions; a small executor polls them after each event, so the same events always give
//! the same effects. Not here: files, links, protocols, displays.
#![no_std]
extern crate alloc;

mod again;
pub mod anchor;
mod answers;
pub mod battery;
mod context;
mod date;
mod described;
mod digest;
mod drops;
pub mod effect;
mod executor;
pub mod facts;
mod feed;
pub mod instrument;
mod job;
mod judge;
mod lines;
mod machine;
mod marks;
mod mean_flow;
mod means;
pub mod mending;
mod metered;
pub mod outcome;
pub mod plan;
pub mod prompt;
mod readings;
mod rise;
pub mod rules;
pub mod stage;
mod stages;
mod state;
mod stop;
mod supervisors;
mod typed;
mod watch;

pub use effect::{Effect, Entry, Progress};
pub use facts::smoke::NOTHING_ROSE;
pub use job::{JobInputs, Warned, pipe_alone};
pub use judge::conclusion::decided_by;
pub use lines::Drivers;
pub use machine::{Procedure, STARTED_AGAIN};
pub use outcome::{Finding, Outcome, StageKind, Subject};
pub use plan::Plan;
pub use prompt::{Act, Prompt};
