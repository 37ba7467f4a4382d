//! What happens in the field and in a build server: cables are pulled at every stage, adapters come back under other names,
//! ports are refused, people press Ctrl-C, and batches of jobs run unattended.
#![cfg(target_os = "linux")]

mod at_a_terminal;
mod batches;
mod cable;
mod ended;
mod eyes;
mod live;
mod person;
mod pulled;
mod refused;
mod slips;
pub(crate) mod terminal;
