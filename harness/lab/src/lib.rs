//! Many jobs at once: campaigns of simulated replacements with known defects, and batches of jobs held against what is expected.
//!
//! Not here: how one job is run (runtime), arguments (cli).
pub mod batch;
pub mod campaign;
pub mod rehearsal;
