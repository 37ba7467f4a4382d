//! What each fuzz target does with its bytes, and what must hold whatever they are.
//!
//! Not here: how the bytes are come by (`fuzz_targets/` hands them over from libFuzzer; `docs/fuzzing.md` says how to
//! run it).
mod dice;
mod files;
mod job;
mod line;
mod lines;
mod log;
mod page;
mod registers;
mod sequence;
mod site;
mod typed;
#[allow(dead_code, reason = "the pair tests of the drivers use more of it")]
#[path = "../../../harness/detector/tests/common/mod.rs"]
mod unit;

pub use files::{journal, pipework, plan, settings};
pub use line::{frames, payloads};
pub use lines::lines;
pub use log::trace;
pub use page::page;
pub use registers::registers;
pub use sequence::procedure;
pub use site::device;
pub use typed::typed;
