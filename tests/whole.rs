//! Every test that drives whole jobs or the command, in one program: built and linked once.
//!
//! `cargo test -p plumeline --test whole` runs them all, and a module's name in addition only those. What takes minutes is
//! ignored here and run by name in `.ci/run`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

mod common;
#[path = "common/devices.rs"]
mod devices;
#[path = "common/person.rs"]
mod person;
#[path = "common/simulator.rs"]
mod simulator;

mod bad_input;
mod batches;
mod by_hand;
mod by_lines;
mod by_logger;
mod by_meter;
mod campaign;
mod carry;
mod command_line;
mod compare;
mod directions;
mod evidence;
mod field;
mod forgive;
mod hand_work;
mod hostile_text;
mod judge;
mod line_faults;
mod load_cuts;
mod models;
mod new_job;
mod other_units;
mod over_a_line;
mod physics_agree;
mod predict;
mod record;
mod registers;
mod rejudge;
mod replay;
mod resume;
mod sentences;
mod stages;
mod trust;
mod visits;
mod whole_job;
