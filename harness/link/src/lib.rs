//! Links to a unit: serial ports, USB serial ports, TCP, a file that another program writes. They move bytes and say up or down, with a cause.
//!
//! A link never blocks, never retries by itself and never guesses: bytes that are to be sent are queued and written
//! in small pieces while [`Link::next`] is awaited, the end of a line is an event, and when to try again is the
//! caller's business. The recorder of a link is the job's input log (crate `plumeline-trace`): whatever a link
//! reports enters the log before anything acts on it, so nothing more is kept here.
//!
//! Not here: frames (drivers know them, and so what is silent or garbled), back-off policy (the procedure's).

mod clock;
mod down;
pub mod faults;
mod follow;
mod layer;
mod link;
mod open;
pub mod ports;
pub mod serve;
mod spec;
mod sys;

pub use clock::RealClock;
pub use down::Down;
pub use layer::Injected;
pub use link::{Link, LinkEvent};
pub use open::{Opener, open};
pub use spec::{ByteForm, LineSpec, LinkSpec, Parity, SerialSettings, SpecError};

/// Throws away what was typed at the terminal of standard input and not read yet; nothing where it is no terminal.
pub fn forget_typed() {
    sys::forget_typed();
}

/// Stops this program until it is told to go on; nothing on a system whose terminals do not know that.
pub fn stop_here() {
    sys::stop_here();
}
/// What a terminal sends for it.
#[cfg(unix)]
pub const STOP_SIGNAL: i32 = sys::STOP_SIGNAL;
/// Whether a terminal here takes sequences that move, keep and scroll (ECMA-48) as it is.
pub const SCROLLS_REGIONS: bool = sys::SCROLLS_REGIONS;
