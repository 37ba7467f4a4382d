//! A job's way to a unit: a line of the system, a line to the bundled simulator in this process, or a person at a display.
//!
//! Moves bytes and says what became of the line. Not here: back-off and retries (the procedure), frames (the drivers).
use crate::operator::SimulatedSite;
use plumeline_base::{
    Instant,
    input::{Input, LineId, LinkDown},
};
use plumeline_link::{
    Down, Link, LinkEvent, Opener,
    faults::{FaultSpec, Faults},
};
use plumeline_simulator::scenario::Which;
use std::{future::pending, pin::Pin, time::Duration};

/// The last request still leaves when a job is over; nothing hangs on it.
const DRAIN: Duration = Duration::from_millis(500);

/// A way to a unit.
pub enum Line {
    /// A line that is opened when the procedure asks for it.
    System(Box<SystemLine>),
    /// A line to the bundled simulator, through the same faults as a real one.
    Simulated(Box<SimulatedLine>),
    /// None: a person reads a display.
    Display,
}

/// A line that is being opened.
type Opening = Pin<Box<dyn Future<Output = Result<Link, Down>>>>;

/// A line of the system, in real time.
pub struct SystemLine {
    opener: Opener,
    link: Option<Link>,
    opening: Option<Opening>,
}

/// A line within the process.
pub struct SimulatedLine {
    site: SimulatedSite,
    /// The unit at its end; `None`: the one that the site's cable goes to.
    unit: Option<Which>,
    spec: FaultSpec,
    to_unit: Faults,
    from_unit: Faults,
    up: bool,
}

impl Line {
    /// A line that this opens.
    pub fn system(opener: Opener) -> Self {
        Self::System(Box::new(SystemLine { opener, link: None, opening: None }))
    }
    /// A line to a simulated site; `unit`: to that unit alone, else to the one that the cable goes to.
    pub fn simulated(site: &SimulatedSite, unit: Option<Which>, faults: FaultSpec, seed: u64) -> Self {
        Self::Simulated(Box::new(SimulatedLine {
            site: site.clone(),
            unit,
            to_unit: Faults::new(faults.clone(), seed, 0),
            from_unit: Faults::new(faults.clone(), seed, 1),
            spec: faults,
            up: false,
        }))
    }
    /// The procedure wants it open. What follows at once is an input.
    pub(crate) fn connect(&mut self, id: LineId, now: Instant) -> Option<Input> {
        match self {
            Self::Display => Some(Input::LinkUp { line: id, link: "display:".into() }),
            Self::System(line) => {
                if line.link.is_none() && line.opening.is_none() {
                    let opener = line.opener.clone();
                    line.opening = Some(Box::pin(async move { opener.open().await }));
                }
                None
            }
            Self::Simulated(line) if line.spec.unplugged(now) => Some(Input::LinkDown {
                line: id,
                cause: LinkDown::Absent,
                detail: "the injected fault holds the cable out".into(),
            }),
            Self::Simulated(line) => {
                line.up = true;
                Some(Input::LinkUp { line: id, link: "sim:".into() })
            }
        }
    }
    /// Sends bytes; nothing while it is not open.
    pub(crate) fn send(&mut self, now: Instant, bytes: &[u8]) {
        match self {
            Self::System(line) => {
                if let Some(link) = &mut line.link {
                    link.send(bytes);
                }
            }
            Self::Simulated(line) if line.up => line.to_unit.feed(now, bytes),
            Self::Simulated(_) | Self::Display => {}
        }
    }
    /// When something at it comes due by itself.
    pub(crate) fn due(&self, now: Instant) -> Option<Instant> {
        let Self::Simulated(line) = self else { return None };
        let unplug = line.up.then(|| line.spec.next_unplug(now)).flatten();
        let due = [line.site.poll_timeout(), line.to_unit.next_due(), line.from_unit.next_due(), unplug];
        due.into_iter().flatten().min()
    }
    /// Does what has come due at `now`.
    pub(crate) fn what_is_due(&mut self, id: LineId, now: Instant) -> Option<Input> {
        let Self::Simulated(line) = self else { return None };
        line.site.handle_timeout(now);
        if !line.up || !line.spec.unplugged(now) {
            return None;
        }
        line.up = false;
        line.to_unit.clear();
        line.from_unit.clear();
        Some(Input::LinkDown {
            line: id,
            cause: LinkDown::Unplugged,
            detail: "the injected fault pulled the cable".into(),
        })
    }
    /// Moves bytes of this instant, both ways. True if anything moved.
    pub(crate) fn exchange(&mut self, now: Instant, mut received: impl FnMut(Vec<u8>)) -> bool {
        let Self::Simulated(line) = self else { return false };
        let mut moved = false;
        while let Some(bytes) = line.site.poll_transmit(line.unit) {
            moved = true;
            if line.up {
                line.from_unit.feed(now, &bytes);
            }
        }
        while let Some((_, bytes)) = line.from_unit.take_due(now) {
            moved = true;
            received(bytes);
        }
        while let Some((_, bytes)) = line.to_unit.take_due(now) {
            moved = true;
            line.site.handle_bytes(line.unit, now, &bytes);
        }
        moved
    }
    /// Waits for something from outside this process. Giving the wait up loses nothing.
    pub(crate) async fn next(&mut self, id: LineId) -> Option<Input> {
        let Self::System(line) = self else { return pending().await };
        if let Some(opening) = &mut line.opening {
            let opened = opening.await;
            line.opening = None;
            return Some(match opened {
                Ok(link) => Input::LinkUp { line: id, link: line.link.insert(link).described().to_owned() },
                Err(down) => down.on(id),
            });
        }
        let Some(link) = &mut line.link else { return pending().await };
        match link.next().await {
            Some(LinkEvent::Received(bytes)) => Some(Input::Received(id, bytes)),
            Some(LinkEvent::Down(down)) => {
                line.link = None;
                Some(down.on(id))
            }
            None => {
                line.link = None;
                None
            }
        }
    }
    /// What was sent leaves.
    pub(crate) async fn drain(&mut self) {
        if let Self::System(line) = self
            && let Some(link) = &mut line.link
        {
            let _ = link.drain(DRAIN).await;
        }
    }
}
