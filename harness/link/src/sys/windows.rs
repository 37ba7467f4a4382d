//! Windows, and whatever else is not Unix: error numbers. There are no pseudo-terminals behind this wall.
use crate::Down;
use plumeline_base::input::LinkDown;
use std::{fs::OpenOptions, io, path::Path, time::Duration};

/// System error codes (Windows SDK, winerror.h).
mod code {
    pub(super) const FILE_NOT_FOUND: i32 = 2;
    pub(super) const PATH_NOT_FOUND: i32 = 3;
    pub(super) const ACCESS_DENIED: i32 = 5;
    pub(super) const BAD_COMMAND: i32 = 22;
    pub(super) const GEN_FAILURE: i32 = 31;
    pub(super) const SHARING_VIOLATION: i32 = 32;
    pub(super) const BAD_UNIT: i32 = 20;
    pub(super) const OPERATION_ABORTED: i32 = 995;
    pub(super) const NO_SUCH_DEVICE: i32 = 433;
}

/// The cause that an error of an open line stands for: `ended` if it says that the line is gone.
pub(crate) fn ended_by(e: &io::Error, ended: LinkDown) -> LinkDown {
    match (e.kind(), e.raw_os_error()) {
        (
            _,
            Some(
                code::ACCESS_DENIED
                | code::BAD_COMMAND
                | code::GEN_FAILURE
                | code::BAD_UNIT
                | code::OPERATION_ABORTED
                | code::NO_SUCH_DEVICE
                | code::FILE_NOT_FOUND,
            ),
        ) => ended,
        (
            io::ErrorKind::BrokenPipe
            | io::ErrorKind::ConnectionReset
            | io::ErrorKind::ConnectionAborted
            | io::ErrorKind::TimedOut,
            _,
        ) => ended,
        _ => LinkDown::Other,
    }
}

/// The cause that an error of opening a port or a connection stands for.
pub(crate) fn refused_by(e: &io::Error) -> LinkDown {
    match (e.kind(), e.raw_os_error()) {
        (_, Some(code::FILE_NOT_FOUND | code::PATH_NOT_FOUND)) => LinkDown::Absent,
        // Ports have no owners here: access is denied to whoever comes second.
        (_, Some(code::ACCESS_DENIED | code::SHARING_VIOLATION)) => LinkDown::Busy,
        (io::ErrorKind::ConnectionRefused | io::ErrorKind::ConnectionReset, _) => LinkDown::Closed,
        (
            io::ErrorKind::HostUnreachable
            | io::ErrorKind::NetworkUnreachable
            | io::ErrorKind::TimedOut
            | io::ErrorKind::AddrNotAvailable,
            _,
        ) => LinkDown::Absent,
        _ => LinkDown::Other,
    }
}

/// Nothing is held here: a second handle would make the port busy.
pub(crate) struct Held;

/// Tells absent and busy apart, which the serial library reports alike.
pub(crate) fn probe(path: &str) -> Result<Held, Down> {
    let device = if path.starts_with(r"\\") { path.to_owned() } else { format!(r"\\.\{path}") };
    match OpenOptions::new().read(true).write(true).open(device) {
        Ok(_) => Ok(Held),
        Err(e) => Err(Down::new(refused_by(&e), format!("{path}: {e}"))),
    }
}

/// Ports have no owners here, and who has one open can't be told without opening it.
pub(crate) fn look_at(_: &Path) -> (Option<String>, Option<Down>) {
    (None, None)
}

/// Not done here: what was typed too early is told by its time alone.
pub(crate) const fn forget_typed() {}
/// No terminal here stops a program.
pub(crate) const fn stop_here() {}
/// Only once they are told to, which is not done here.
pub(crate) const SCROLLS_REGIONS: bool = false;

/// None is needed: the performance counter behind the standard clock goes on in sleep (from memory of its
/// documentation).
pub(crate) fn clock_with_sleep() -> Option<Duration> {
    None
}
