//! Ctrl-C, a terminal that hangs up, and the system's wish that the program end. One that comes between two waits is not lost.
use plumeline_base::input::AbortCause;
use std::io;

/// Listens from the moment it is made.
#[cfg(unix)]
pub struct Interrupts {
    ctrl_c: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
    hang_up: tokio::signal::unix::Signal,
}
#[cfg(unix)]
impl Interrupts {
    /// Begins to listen, within a runtime.
    pub fn listen() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Self {
            ctrl_c: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }
    /// The next one.
    pub async fn next(&mut self) -> AbortCause {
        tokio::select! {
            _ = self.ctrl_c.recv() => AbortCause::Operator,
            _ = self.terminate.recv() => AbortCause::Shutdown,
            _ = self.hang_up.recv() => AbortCause::Shutdown,
        }
    }
}

/// Listens from the moment it is made.
#[cfg(windows)]
pub struct Interrupts(tokio::signal::windows::CtrlC);
#[cfg(windows)]
impl Interrupts {
    /// Begins to listen, within a runtime.
    pub fn listen() -> io::Result<Self> {
        tokio::signal::windows::ctrl_c().map(Self)
    }
    /// The next one.
    pub async fn next(&mut self) -> AbortCause {
        let _ = self.0.recv().await;
        AbortCause::Operator
    }
}
