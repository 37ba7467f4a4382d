//! The driver of a unit that is read by registers (Modbus RTU, ASCII or TCP), by the register map of its description.
//!
//! One request at a time, of which each is a task (`task.rs`): reads in blocks without holes, writes, pauses. Between its
//! steps readings are polled as long as a stream is wanted; each counts at the middle of the time in which it was read. What
//! the unit can do follows from the map. Settings go item by item and are read back (`load.rs`). Not here: how the map is
//! written and checked (the job crate).
mod bus;
mod frame;
mod load;
pub mod map;
mod task;
mod tell;
mod value;

pub use map::Map;

use crate::{
    ask::{Look, Request},
    driver::{Driver, End, LineCounters, Report, Ticket, Trouble},
    mixed::Offer,
    told::{Boot, Told as _},
    vocabulary::{Abilities, Identity},
};
use alloc::{collections::VecDeque, vec::Vec};
use bus::{Answered, Bus};
use core::time::Duration;
use frame::{Ask, Span};
use plumeline_base::{
    Instant,
    input::{Answer, LinkDown},
};
use task::{Known, Next, Task};
use tell::Read;
use value::Image;

/// A poll that fails is made again after this at the earliest.
const AGAIN: Duration = Duration::from_secs(1);

/// A unit at the other end of a line that is read by registers.
#[derive(Debug)]
pub struct Registers {
    map: Map,
    bus: Bus,
    /// Why the link is down; `None` while it is up.
    down: Option<LinkDown>,
    unit: Option<(Identity, Abilities)>,
    boot: Boot,
    lease: Option<u16>,
    stream: Option<Stream>,
    next_ticket: u32,
    waiting: VecDeque<(Ticket, Request)>,
    active: Option<Active>,
    reports: VecDeque<Report>,
    missed: u64,
}

/// A request under way.
#[derive(Debug)]
struct Active {
    ticket: Ticket,
    task: Task,
    /// When it goes on.
    wake: Option<Instant>,
}

/// Readings that were asked for.
#[derive(Debug)]
struct Stream {
    period: Duration,
    due: Instant,
    poll: Option<Poll>,
    /// Said to be silent, garbled or unfit, and not back yet.
    quiet: bool,
    missed: u32,
}
/// A reading on its way.
#[derive(Debug)]
struct Poll {
    left: VecDeque<Span>,
    image: Image,
    began: Option<Instant>,
    ended: Instant,
}

impl Registers {
    /// A unit with this map, on a link that is not open yet.
    pub fn new(map: Map) -> Self {
        let spans = task::reading(&map, map.inlets());
        let heads = spans.iter().map(|s| Span { count: 1, ..*s });
        let probes = spans.iter().copied().chain(heads).map(Ask::Read).collect();
        Self {
            bus: Bus::new(map.bus, probes),
            map,
            down: Some(LinkDown::Absent),
            unit: None,
            boot: Boot::default(),
            lease: None,
            stream: None,
            next_ticket: 0,
            waiting: VecDeque::new(),
            active: None,
            reports: VecDeque::new(),
            missed: 0,
        }
    }
    /// What units with this map have to offer.
    pub fn offer(map: &Map) -> Offer {
        let read = Read { map, image: &Image::default() };
        Offer { can: tell::abilities(&read, map.inlets()), state: read.tells_state(map.has.0) }
    }
    fn inlets(&self) -> u8 {
        self.unit.as_ref().map_or_else(|| self.map.inlets(), |(_, can)| can.inlets)
    }
    fn known(&self) -> Known<'_> {
        Known { map: &self.map, inlets: self.inlets(), unit: self.unit.clone(), lease: self.lease }
    }
    fn polling(&self) -> bool {
        self.stream.as_ref().is_some_and(|s| s.poll.is_some())
    }
    /// Goes on as far as it can.
    fn go_on(&mut self, now: Instant) {
        while !self.bus.is_busy() && self.down.is_none() {
            if !self.poll_next(now) && !self.task_next(now) {
                return;
            }
        }
    }
    /// Asks for the next part of a reading, if one is due; false if none is.
    fn poll_next(&mut self, now: Instant) -> bool {
        let (inlets, map) = (self.inlets(), &self.map);
        let Some(stream) = &mut self.stream else { return false };
        if stream.poll.is_none() && now >= stream.due {
            let left = task::reading(map, inlets).into();
            stream.poll = Some(Poll { left, image: Image::default(), began: None, ended: now });
            let next = stream.due + stream.period;
            stream.due = if next > now { next } else { now + stream.period };
        }
        let Some(span) = stream.poll.as_ref().and_then(|p| p.left.front()) else { return false };
        let ask = Ask::Read(*span);
        self.bus.ask(now, ask);
        true
    }
    /// Goes on with the request under way, or with the next; false if there is nothing to do now.
    fn task_next(&mut self, now: Instant) -> bool {
        if self.active.is_none() {
            let Some((ticket, request)) = self.waiting.pop_front() else { return false };
            match Task::new(&self.known(), request) {
                Ok(task) => self.active = Some(Active { ticket, task, wake: None }),
                Err(trouble) => self.reports.push_back(Report::Ended(ticket, Err(trouble))),
            }
            return true;
        }
        let Some(mut active) = self.active.take_if(|a| a.wake.is_none_or(|at| now >= at)) else { return false };
        active.wake = None;
        let made_out =
            if active.task.identifies() && active.task.is_read() { self.make_out(now, &active) } else { Ok(()) };
        let next = match made_out {
            Ok(()) => active.task.next_of(&self.known()),
            Err(trouble) => Next::End(Err(trouble)),
        };
        let active = self.active.insert(active);
        match next {
            Next::Ask(ask) => self.bus.ask(now, ask),
            Next::Pause(wait) => active.wake = Some(now + wait),
            Next::End(end) => self.end(now, end),
        }
        true
    }
    /// Who answered, by what was read.
    fn make_out(&mut self, now: Instant, active: &Active) -> Result<(), Trouble> {
        let boot = self.boot.see(&Read { map: &self.map, image: &active.task.image }, now).map_err(task::nonsense)?;
        let unit = tell::unit(&self.map, &active.task.image, boot)?;
        self.unit = Some(unit);
        Ok(())
    }
    /// Ends the request under way.
    fn end(&mut self, now: Instant, end: End) {
        let Some(active) = self.active.take() else { return };
        if end.is_ok() {
            if let Some(lease) = active.task.lease() {
                self.lease = Some(lease).filter(|s| *s > 0);
            }
            match active.task.stream() {
                Some(Some(hz)) => {
                    let period = self.map.every.max(Duration::from_secs(1) / u32::from(hz.max(1)));
                    self.stream = Some(Stream { period, due: now + period, poll: None, quiet: false, missed: 0 });
                }
                Some(None) => self.stream = None,
                None => {}
            }
        }
        self.reports.push_back(Report::Ended(active.ticket, end));
    }
    /// A request on the bus ended.
    fn answered(&mut self, now: Instant, answered: Answered) {
        if self.polling() {
            self.polled(now, answered);
        } else if let Some(mut active) = self.active.take() {
            active.task.began.get_or_insert(answered.sent);
            active.task.ended = answered.received;
            let end = active.task.told(&self.known(), answered.told);
            if let Some((done, total)) = active.task.progress.take() {
                self.reports.push_back(Report::Progress { done, total });
            }
            self.active = Some(active);
            if let Some(end) = end {
                self.end(now, end);
            }
        }
        self.go_on(now);
    }
    /// A part of a reading came, or did not.
    fn polled(&mut self, now: Instant, answered: Answered) {
        let inlets = self.inlets();
        let Some(stream) = &mut self.stream else { return };
        let Some(poll) = &mut stream.poll else { return };
        let values = match answered.told {
            Ok(values) => values,
            Err(trouble) => return self.poll_failed(now, &trouble),
        };
        poll.began.get_or_insert(answered.sent);
        poll.ended = answered.received;
        if let Some(span) = poll.left.pop_front() {
            poll.image.take(span, &values);
        }
        if !poll.left.is_empty() {
            return;
        }
        let at = tell::middle(poll.began.unwrap_or(now), poll.ended);
        let image = core::mem::take(&mut poll.image);
        stream.poll = None;
        let told = self.boot.see(&Read { map: &self.map, image: &image }, now).and_then(|boot| {
            self.started(boot);
            Read { map: &self.map, image: &image }.reading(inlets, at)
        });
        let Some(stream) = &mut self.stream else { return };
        match told {
            Ok(mut reading) => {
                reading.missed = core::mem::take(&mut stream.missed);
                self.missed += u64::from(reading.missed);
                if core::mem::take(&mut stream.quiet) {
                    self.reports.push_back(Report::Back);
                }
                self.reports.push_back(Report::Reading(reading));
            }
            Err(why) => {
                stream.missed = stream.missed.saturating_add(1);
                self.reports.push_back(Report::Unfit(why));
            }
        }
    }
    /// A reading shows that the unit has started since.
    fn started(&mut self, boot: Option<u64>) {
        if let Some((identity, can)) = &mut self.unit
            && boot.is_some()
            && identity.boot_id != boot
        {
            identity.boot_id = boot;
            self.lease = None;
            self.reports.push_back(Report::StartedAnew(identity.clone(), can.clone()));
        }
    }
    fn poll_failed(&mut self, now: Instant, trouble: &Trouble) {
        let Some(stream) = &mut self.stream else { return };
        stream.poll = None;
        stream.missed = stream.missed.saturating_add(1);
        stream.due = stream.due.max(now + AGAIN);
        let report = match trouble {
            Trouble::Silent if !stream.quiet => Report::Silent,
            Trouble::Garbled if !stream.quiet => Report::Garbled,
            Trouble::Silent | Trouble::Garbled => return,
            other => return self.reports.push_back(Report::Unfit(alloc::format!("{other}"))),
        };
        stream.quiet = true;
        self.reports.push_back(report);
    }
}

impl Driver for Registers {
    fn link_up(&mut self, now: Instant) {
        self.down = None;
        self.bus.close();
        self.go_on(now);
    }
    fn link_down(&mut self, now: Instant, cause: LinkDown) {
        self.down = Some(cause);
        self.bus.close();
        self.stream = None;
        let trouble = Trouble::LinkDown(cause);
        let end = self.active.as_ref().map(|a| a.task.broken(trouble.clone()));
        if let Some(end) = end {
            self.end(now, Err(end));
        }
        let waiting = core::mem::take(&mut self.waiting);
        self.reports.extend(waiting.into_iter().map(|(ticket, _)| Report::Ended(ticket, Err(trouble.clone()))));
    }
    fn receive(&mut self, now: Instant, bytes: &[u8]) {
        if self.down.is_some() {
            return;
        }
        if let Some(answered) = self.bus.receive(now, bytes) {
            self.answered(now, answered);
        }
    }
    fn answer(&mut self, _: Instant, _: u32, _: &Answer) {}
    fn timeout(&mut self, now: Instant) {
        if self.down.is_some() {
            return;
        }
        if let Some(answered) = self.bus.timeout(now) {
            self.answered(now, answered);
        }
        self.go_on(now);
    }
    fn next_timeout(&self) -> Option<Instant> {
        if self.down.is_some() {
            return None;
        }
        if self.bus.is_busy() {
            return self.bus.next_timeout();
        }
        let stream = self.stream.as_ref().map(|s| s.due);
        [stream, self.active.as_ref().and_then(|a| a.wake)].into_iter().flatten().min()
    }
    fn request(&mut self, now: Instant, request: Request) -> Ticket {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket = self.next_ticket.wrapping_add(1);
        if let Some(cause) = self.down {
            self.reports.push_back(Report::Ended(ticket, Err(Trouble::LinkDown(cause))));
        } else {
            self.waiting.push_back((ticket, request));
            self.go_on(now);
        }
        ticket
    }
    fn poll_send(&mut self, out: &mut Vec<u8>) -> bool {
        self.bus.poll_send(out)
    }
    fn poll_report(&mut self) -> Option<Report> {
        self.reports.pop_front()
    }
    fn abilities(&self) -> Option<&Abilities> {
        self.unit.as_ref().map(|(_, can)| can)
    }
    fn can(&self, request: &Request) -> bool {
        match request {
            Request::ReadOnce { look: Look::State } => Self::offer(&self.map).state,
            request => self.abilities().is_some_and(|can| can.can(request)),
        }
    }
    fn line(&self) -> LineCounters {
        LineCounters { missed_readings: self.missed, ..self.bus.counters }
    }
}
