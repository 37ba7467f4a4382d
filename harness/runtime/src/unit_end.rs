//! The unit's end of a line: a simulation behind a pseudo-terminal or an address, in real or scaled time.
//!
//! Not here: the site control, which is no line of a unit's.
use crate::{failure::Failure, operator::SimulatedSite};
use plumeline_link::{
    RealClock,
    serve::{Server, ServerEvent},
};
use plumeline_simulator::scenario::Which;
use std::{
    path::{Path, PathBuf},
    rc::Rc,
};
use tokio::sync::Notify;

/// The unit's end of a line with the simulation behind it.
pub struct UnitEnd {
    server: Server,
    site: SimulatedSite,
    /// The unit that is served; `None`: the one that the site's cable goes to.
    unit: Option<Which>,
    clock: RealClock,
    /// Something was done at the site: look again.
    pub disturbed: Rc<Notify>,
    /// Where the units' settings are kept, so that they outlive the process.
    pub store: Option<PathBuf>,
    stored: u64,
}
impl UnitEnd {
    /// On a new pseudo-terminal.
    pub fn pty(link: Option<&Path>, site: SimulatedSite, clock: RealClock) -> Result<Self, Failure> {
        Ok(Self::over(Server::pty(link)?, site, clock))
    }
    /// On a line that is open already.
    pub fn over(server: Server, site: SimulatedSite, clock: RealClock) -> Self {
        Self { server, site, unit: None, clock, disturbed: Rc::default(), store: None, stored: 0 }
    }
    /// The same for this unit alone, which has a line of its own.
    #[must_use]
    pub fn of(self, unit: Option<Which>) -> Self {
        Self { unit, ..self }
    }
    /// How the other end is named on a command line.
    pub fn address(&self) -> &str {
        self.server.address()
    }
    /// Serves until the line itself fails.
    pub async fn serve(&mut self) -> Result<(), Failure> {
        loop {
            while let Some(bytes) = self.site.poll_transmit(self.unit) {
                self.server.send(&bytes);
            }
            self.keep()?;
            // The site's script changes the simulation behind our back: look at least this often (log time 100 ms).
            let now = self.clock.now();
            let soon = now + std::time::Duration::from_millis(100);
            let due = self.site.poll_timeout().map_or(soon, |t| t.min(soon));
            let disturbed = self.disturbed.clone();
            tokio::select! {
                event = self.server.next() => match event? {
                    ServerEvent::Received(bytes) => self.site.handle_bytes(self.unit, self.clock.now(), &bytes),
                    ServerEvent::Opened(who) => tracing::info!(%who, "connected"),
                    ServerEvent::Gone => tracing::info!("disconnected"),
                },
                () = self.clock.until(due) => {}
                () = disturbed.notified() => {}
            }
            let now = self.clock.now();
            self.site.handle_timeout(now);
            // What is due even so may be another line's to send: its end gets its turn.
            if self.unit.is_some() && self.site.poll_timeout().is_some_and(|t| t <= now) {
                self.disturbed.notify_waiters();
                tokio::task::yield_now().await;
            }
        }
    }
    /// Keeps the units' settings when they have changed: whole old or whole new, never a mixture.
    fn keep(&mut self) -> Result<(), Failure> {
        let Some(path) = &self.store else { return Ok(()) };
        let simulation = self.site.simulation();
        let sim = simulation.borrow();
        let generation = sim.store_generation();
        if generation != self.stored {
            plumeline_job::disk::replace(&plumeline_job::disk::OsDisk, path, &sim.store())
                .map_err(|e| plumeline_job::Problem::from_io(path, "keep the units' settings", &e))?;
            self.stored = generation;
        }
        Ok(())
    }
}
