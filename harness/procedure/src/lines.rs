//! The lines of a job: for each a driver, and whether it is up. The units are talked to on one of them at a time.
//!
//! Not here: which unit a stage talks to (the stages), what a driver says, how a line is opened.
use alloc::boxed::Box;
use core::time::Duration;
use plumeline_base::{Instant, input::LineId};
use plumeline_detector::Driver;

/// Tries to open the link again after this long at first, and never less often than the second.
const RECONNECT_S: (u64, u64) = (1, 15);

/// The drivers that a job is done through.
pub struct Drivers {
    /// For the replacement, and for the outgoing unit too where it has none of its own.
    pub main: Box<dyn Driver>,
    /// For the outgoing unit on a line of its own.
    pub outgoing: Option<Box<dyn Driver>>,
}
impl From<Box<dyn Driver>> for Drivers {
    /// One line that serves both units in turn.
    fn from(main: Box<dyn Driver>) -> Self {
        Self { main, outgoing: None }
    }
}

/// A link as the procedure sees it.
#[derive(Default)]
pub(crate) struct Link {
    pub(crate) up: bool,
    pub(crate) next_try: Option<Instant>,
    failures: u32,
}
impl Link {
    pub(crate) fn is_up(&mut self) {
        *self = Self { up: true, ..Self::default() };
    }
    /// It is down; it is tried again if it is `wanted`.
    pub(crate) fn is_down(&mut self, now: Instant, wanted: bool) {
        self.up = false;
        let wait = (RECONNECT_S.0 << self.failures.min(6)).min(RECONNECT_S.1);
        self.failures = self.failures.saturating_add(1);
        self.next_try = wanted.then(|| now + Duration::from_secs(wait));
    }
}

/// One line.
pub(crate) struct Line {
    pub(crate) driver: Box<dyn Driver>,
    pub(crate) link: Link,
}
impl Line {
    fn new(driver: Box<dyn Driver>) -> Self {
        Self { driver, link: Link::default() }
    }
}

/// All lines of a job.
pub(crate) struct Lines {
    main: Line,
    outgoing: Option<Line>,
    in_use: LineId,
}
impl Lines {
    /// A job begins with the outgoing unit on the wall.
    pub(crate) fn new(drivers: Drivers) -> Self {
        let outgoing = drivers.outgoing.map(Line::new);
        let in_use = if outgoing.is_some() { LineId::Outgoing } else { LineId::Main };
        Self { main: Line::new(drivers.main), outgoing, in_use }
    }
    /// Each unit has a line of its own.
    pub(crate) fn are_two(&self) -> bool {
        self.outgoing.is_some()
    }
    /// The one that the unit is talked to on.
    pub(crate) fn in_use(&self) -> LineId {
        self.in_use
    }
    /// Talks on another line from now on; false if it is the same, or there is no other.
    pub(crate) fn turn_to(&mut self, line: LineId) -> bool {
        if line == self.in_use || !self.are_two() {
            return false;
        }
        // The line that is left stays open, but nobody waits for it any more.
        self.used_mut().link.next_try = None;
        self.in_use = line;
        true
    }
    pub(crate) fn used(&self) -> &Line {
        match (&self.outgoing, self.in_use) {
            (Some(line), LineId::Outgoing) => line,
            _ => &self.main,
        }
    }
    pub(crate) fn used_mut(&mut self) -> &mut Line {
        match (&mut self.outgoing, self.in_use) {
            (Some(line), LineId::Outgoing) => line,
            _ => &mut self.main,
        }
    }
    /// A line by its name; `None` if the job has no such line.
    pub(crate) fn get_mut(&mut self, line: LineId) -> Option<&mut Line> {
        match line {
            LineId::Main => Some(&mut self.main),
            LineId::Outgoing => self.outgoing.as_mut(),
        }
    }
    /// When a driver or a link wants to be looked at next.
    pub(crate) fn next_timeout(&self) -> Option<Instant> {
        let all = [Some(&self.main), self.outgoing.as_ref()];
        all.into_iter().flatten().flat_map(|l| [l.driver.next_timeout(), l.link.next_try]).flatten().min()
    }
}
