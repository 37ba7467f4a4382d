//! The airflow engine: what every pipe and hole of an aspirating detector's pipework should do, and how surely.
//!
//! Pure and deterministic: no files, no clock, no `std` mathematics; the same input gives the same bits on every
//! platform and for every thread count. Equations, sources and what is left out: `docs/airflow-model.md`.
//!
//! Flows are volumes per second at the density of the site's air ([`Pipework::air`]); where a segment's air has
//! another temperature, mass is what is conserved. Pressures are gauge against the site's ambient air at the same
//! height. A flow is positive towards the unit (into an opening, from a segment's `far` end to its `near` end).
//!
//! Not here: verdicts and limits (they live in the job), reading of files, and the simulator's physics, which is
//! written apart on purpose.
//!
//! [`Pipework::air`]: plumeline_base::pipework::Pipework::air
#![no_std]
// Sweeps over a tree run over parallel arrays by position; an index is the plainest way to write them.
#![allow(clippy::needless_range_loop)]
extern crate alloc;

mod adjoint;
pub mod air;
pub mod defects;
pub mod dilution;
mod error;
pub mod friction;
mod math;
mod network;
mod options;
pub mod sensitivity;
mod solution;
pub mod transport;
pub mod uncertainty;
pub mod warnings;

pub use error::{AirflowError, BuildError, Fault, Place, SolveError};
pub use network::{Network, Workspace, solve};
pub use options::SolveOptions;
pub use solution::{Residual, Solution};
