//! Ctrl-C, a terminal that hangs up, and the system's wish that the program end. One that comes between two waits is not lost.
use crate::failure::Exit;
use plumeline_base::input::AbortCause;
use std::{io, time::Duration};
use tokio::sync::Notify;

/// Whoever began this process is gone.
static LEFT_ALONE: Notify = Notify::const_new();
/// A job that has not come to rest by then is ended; it goes on where it stopped.
const COMES_TO_REST: Duration = Duration::from_secs(5);

/// Ends this process with the one that began it and that holds the other end of its standard input.
pub fn end_with_stdin() {
    std::thread::spawn(|| {
        let _ = io::copy(&mut io::stdin(), &mut io::sink());
        LEFT_ALONE.notify_one();
        std::thread::sleep(COMES_TO_REST);
        std::process::exit(Exit::Paused as i32);
    });
}

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
            () = LEFT_ALONE.notified() => AbortCause::Shutdown,
        }
    }
}

/// The terminal's wish that the program stop until it is told to go on. From the moment this is made, the program does it itself.
#[cfg(unix)]
pub struct Stops(tokio::signal::unix::Signal);
#[cfg(unix)]
impl Stops {
    /// Begins to listen, within a runtime.
    pub fn listen() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        signal(SignalKind::from_raw(plumeline_link::STOP_SIGNAL)).map(Self)
    }
    /// The next one; never without somebody who listens.
    pub async fn next(stops: &mut Option<Self>) {
        match stops {
            Some(stops) => {
                stops.0.recv().await;
            }
            None => std::future::pending().await,
        }
    }
}

/// No terminal of this system stops a program.
#[cfg(windows)]
pub struct Stops;
#[cfg(windows)]
impl Stops {
    /// There is nothing to listen to.
    pub fn listen() -> io::Result<Self> {
        Ok(Self)
    }
    /// Never.
    pub async fn next(_: &mut Option<Self>) {
        std::future::pending().await
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
        tokio::select! {
            _ = self.0.recv() => AbortCause::Operator,
            () = LEFT_ALONE.notified() => AbortCause::Shutdown,
        }
    }
}
