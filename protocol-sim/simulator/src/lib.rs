//! A simulated detector and site, for trying a commissioning job without a building: the unit's state machine
//! (sans-IO), the pipework's physics marched in time, and the people who close holes and release smoke.
//!
//! Not here: clocks, ports, files (the caller moves the bytes and says what time it is), and nothing of the
//! airflow engine that predicts: the physics is written apart from it, so that the two can check each other.
//!
//! Start at [`Scenario`] and [`Simulation`].

pub mod defect;
pub mod demo;
pub mod device;
mod front;
pub mod lie;
pub mod models;
pub mod physics;
mod rng;
pub mod scenario;
pub mod sensors;
pub mod simulation;
pub mod site;

pub use defect::{Defect, DefectKind};
pub use lie::{Class, Lie, LieKind};
pub use scenario::Scenario;
pub use simulation::Simulation;
