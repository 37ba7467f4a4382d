//! What happens in the field and in a build server: cables are pulled at every stage, adapters come back under other names,
//! ports are refused, people press Ctrl-C, and batches of jobs run unattended.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
#![cfg(target_os = "linux")]
mod common;
#[path = "common/devices.rs"]
mod devices;
#[path = "common/simulator.rs"]
mod simulator;

#[path = "field/at_a_terminal.rs"]
mod at_a_terminal;
#[path = "field/batches.rs"]
mod batches;
#[path = "field/cable.rs"]
mod cable;
#[path = "field/pulled.rs"]
mod pulled;
#[path = "field/refused.rs"]
mod refused;
