//! The wall to the operating system: what differs from one to the next, and nothing else.

#[cfg(unix)]
mod holder;
#[cfg(unix)]
mod unix;
#[cfg(unix)]
pub(crate) use unix::*;

#[cfg(not(unix))]
mod windows;
#[cfg(not(unix))]
pub(crate) use windows::*;
