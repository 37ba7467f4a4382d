//! The driver that speaks plumewire: neutral requests in, frames out, and the other way round.
//!
//! One request at a time. Each is a task (`task.rs`) that makes one or more wire requests; `exchange.rs` carries one
//! wire request at a time, repeating it with the same sequence until it is answered. Whoever asks decides how long to
//! go on asking: here a request ends after about seven seconds without an answer. A unit that answers but still starts
//! is not identified: that request ends refused, with code 9 and the reason. A new conversation ends the unit's stream;
//! that readings stay out is then told as silence, and who wants them asks for them again.
mod convert;
mod exchange;
mod settings;
mod task;

use crate::{
    ask::{Reply, Request},
    driver::{Driver, End, LineCounters, Report, Ticket, Trouble},
    vocabulary::{Abilities, Identity},
};
use alloc::{collections::VecDeque, string::ToString, vec::Vec};
use core::time::Duration;
use exchange::{Answer as Wire, Exchange};
use plumeline_base::{
    Instant,
    input::{Answer, LinkDown},
};
use plumewire::{Decoder, Frame, HelloReply, Kind, Message, Refusal, RefusalCode};
use task::{Next, Session, Task};

/// A stream is silent after so many periods of it, and no sooner than [`QUIET_LEAST`]: on a line that loses two frames
/// of three, ten in a row still mean something.
const QUIET_PERIODS: u32 = 10;
const QUIET_LEAST: Duration = Duration::from_secs(2);
/// How often one request may say hello anew before it is given up.
const MOST_HELLOS: u8 = 3;

/// A unit at the other end of a line that speaks plumewire.
#[derive(Debug)]
pub struct Plumewire {
    decoder: Decoder,
    exchange: Exchange,
    /// Why the link is down; `None` while it is up.
    down: Option<LinkDown>,
    session: Session,
    unit: Option<(Identity, Abilities)>,
    stream: Option<Stream>,
    next_ticket: u32,
    waiting: VecDeque<(Ticket, Request)>,
    active: Option<Active>,
    reports: VecDeque<Report>,
    counters: LineCounters,
}

/// A request under way.
#[derive(Debug)]
struct Active {
    ticket: Ticket,
    task: Task,
    /// When the task wants to go on by itself.
    wake: Option<Instant>,
    hellos: u8,
}

/// Reports that are remembered, so that one that comes again is told from the next: more than a line can hold back.
const REMEMBERED: usize = 32;

/// Readings that were asked for.
#[derive(Debug)]
struct Stream {
    hz: u8,
    /// Last good report, or the start.
    heard: Instant,
    /// Bytes since the last good frame of any kind.
    noise: bool,
    /// Said to be silent or garbled, and not back yet.
    quiet: bool,
    /// Sequence of the last report.
    sequence: Option<u32>,
    /// The reports that came last, by sequence and bytes: a line may bring one twice.
    recent: VecDeque<(u32, Vec<u8>)>,
    /// Readings that the unit said it dropped, so far.
    dropped: u32,
    /// Missed since the last reading that was passed on.
    missed: u32,
}
impl Stream {
    const fn new(hz: u8, now: Instant) -> Self {
        let recent = VecDeque::new();
        Self { hz, heard: now, noise: false, quiet: false, sequence: None, recent, dropped: 0, missed: 0 }
    }
    /// Whether this report came before, byte for byte; it is remembered for a while.
    fn came_before(&mut self, sequence: u32, payload: &[u8]) -> bool {
        if self.recent.iter().any(|(s, bytes)| *s == sequence && bytes == payload) {
            return true;
        }
        self.recent.truncate(REMEMBERED - 1);
        self.recent.push_front((sequence, payload.to_vec()));
        false
    }
    fn due(&self) -> Option<Instant> {
        let patience = (Duration::from_secs(1) * QUIET_PERIODS / u32::from(self.hz.max(1))).max(QUIET_LEAST);
        (!self.quiet).then(|| self.heard + patience)
    }
}

impl Default for Plumewire {
    fn default() -> Self {
        Self::new()
    }
}

impl Plumewire {
    /// A unit of which nothing is known, on a link that is not open yet.
    pub fn new() -> Self {
        Self {
            decoder: Decoder::new(),
            exchange: Exchange::default(),
            down: Some(LinkDown::Absent),
            session: Session::default(),
            unit: None,
            stream: None,
            next_ticket: 0,
            waiting: VecDeque::new(),
            active: None,
            reports: VecDeque::new(),
            counters: LineCounters::default(),
        }
    }
    fn tell(&mut self, report: Report) {
        self.reports.push_back(report);
    }
    /// Ends the request under way and starts the next.
    fn end(&mut self, now: Instant, end: End) {
        self.exchange.drop_flight();
        if let Some(active) = self.active.take() {
            match (&active.task, &end) {
                (Task::Start { .. }, Ok(_)) => self.stream = self.session.hz.map(|hz| Stream::new(hz, now)),
                (Task::Stop, Ok(_)) => self.stream = None,
                (Task::Restart { .. }, Ok(_)) => {
                    self.stream = None;
                    self.exchange.close();
                }
                _ => {}
            }
            self.tell(Report::Ended(active.ticket, end));
        }
        self.begin(now);
    }
    fn fail(&mut self, now: Instant, trouble: Trouble) {
        self.end(now, Err(trouble));
    }
    /// Starts the next request if none is under way.
    fn begin(&mut self, now: Instant) {
        if self.active.is_some() {
            return;
        }
        let Some((ticket, request)) = self.waiting.pop_front() else { return };
        if let Some(cause) = self.down {
            self.tell(Report::Ended(ticket, Err(Trouble::LinkDown(cause))));
            return self.begin(now);
        }
        let streaming = self.stream.is_some();
        match Task::new(request, streaming) {
            Ok(task) => {
                let identify = matches!(task, Task::Identify);
                self.active = Some(Active { ticket, task, wake: None, hellos: 0 });
                if identify {
                    self.exchange.close();
                }
                self.send(now);
            }
            Err(trouble) => {
                self.tell(Report::Ended(ticket, Err(trouble)));
                self.begin(now);
            }
        }
    }
    /// Sends what the request under way wants next, or a hello if there is no conversation.
    fn send(&mut self, now: Instant) {
        let Some(active) = &mut self.active else { return };
        active.wake = None;
        let sent = if self.exchange.is_open() {
            match active.task.wire(&self.session, now) {
                Some(request) => self.exchange.ask(now, &request),
                None => {
                    active.wake = Some(now + task::PATIENCE);
                    Ok(())
                }
            }
        } else {
            active.hellos += 1;
            if active.hellos > MOST_HELLOS {
                let why = "the unit starts every conversation and then does not know it".to_string();
                return self.fail(now, Trouble::Nonsense(why));
            }
            self.exchange.hello(now)
        };
        if let Err(e) = sent {
            self.fail(now, Trouble::CannotDo(e.to_string()));
        }
    }
    /// Does what a task wants.
    fn follow(&mut self, now: Instant, next: Next) {
        match next {
            Next::Send => self.send(now),
            Next::Progress { done, total, pause } => {
                let Some(active) = &mut self.active else { return };
                if pause.is_zero() {
                    self.send(now);
                } else {
                    active.wake = Some(now + pause);
                }
                self.tell(Report::Progress { done, total });
            }
            Next::End(end) => self.end(now, end),
        }
    }

    fn frame(&mut self, now: Instant, frame: &Frame<'_>) {
        self.counters.good += 1;
        self.exchange.heard();
        if let Some(stream) = &mut self.stream {
            stream.noise = false;
        }
        let message = match Message::decode(frame) {
            Ok(message) => message,
            // A report that can't be read is as good as lost; an answer that can't be read ends its request.
            Err(e) => {
                if frame.header.kind != Kind::Report && self.exchange.answers(frame) {
                    self.fail(now, Trouble::Nonsense(e.to_string()));
                }
                return;
            }
        };
        match message {
            Message::Request(_) => {}
            Message::Report(report) => {
                let (sequence, payload) = (frame.header.sequence, frame.payload);
                if !self.exchange.is_current(frame.header.conversation) {
                    return;
                }
                if self.stream.as_mut().is_some_and(|stream| stream.came_before(sequence, payload)) {
                    self.counters.twice += 1;
                    return;
                }
                self.report(now, sequence, &report);
            }
            Message::Reply(_) | Message::Refusal(..) if !self.exchange.answers(frame) => {}
            Message::Reply(plumewire::Reply::Hello(hello)) => self.hello(now, frame.header.conversation, &hello),
            Message::Reply(reply) => {
                self.exchange.drop_flight();
                let Some(active) = &mut self.active else { return };
                let next = active.task.reply(now, &reply, &mut self.session);
                self.follow(now, next);
            }
            Message::Refusal(_, refusal) => self.refused(now, &refusal),
        }
    }
    fn hello(&mut self, now: Instant, conversation: u32, hello: &HelloReply<'_>) {
        if !self.exchange.is_hello(hello.token) {
            return;
        }
        self.exchange.open(conversation);
        let (identity, abilities) = match convert::unit(hello) {
            Ok(unit) => unit,
            Err(why) => return self.fail(now, Trouble::Nonsense(why)),
        };
        self.session.meet(hello);
        let before = self.unit.replace((identity.clone(), abilities.clone()));
        let anew = before.as_ref().is_some_and(|(i, _)| i.boot_id != identity.boot_id || i.serial != identity.serial);
        if anew {
            self.session.lease = None;
        }
        let Some(active) = &mut self.active else { return };
        if !matches!(active.task, Task::Identify) {
            let next = active.task.new_conversation(anew);
            if anew {
                self.tell(Report::StartedAnew(identity, abilities));
            }
            return self.follow(now, next);
        }
        if hello.starting {
            // It can't be asked anything yet: not identified for any purpose but waiting.
            if anew {
                self.tell(Report::StartedAnew(identity, abilities));
            }
            return self.fail(now, task::refused(&Refusal::new(RefusalCode::Starting)));
        }
        self.end(now, Ok(Reply::Identity((identity, abilities))));
    }
    fn refused(&mut self, now: Instant, refusal: &Refusal<'_>) {
        let hello = self.exchange.in_hello();
        self.exchange.drop_flight();
        let Some(active) = &mut self.active else { return };
        match refusal.code {
            // The unit started anew, or another tool spoke to it.
            RefusalCode::Conversation => {
                self.exchange.close();
                self.send(now);
            }
            // A token that the unit has seen before: take another.
            RefusalCode::Stale if hello => self.send(now),
            _ if hello => self.fail(now, task::refused(refusal)),
            _ => {
                let next = active.task.refusal(refusal, &mut self.session);
                self.follow(now, next);
            }
        }
    }
    fn report(&mut self, now: Instant, sequence: u32, report: &plumewire::Report<'_>) {
        let once = self.active.as_ref().is_some_and(|a| a.task.wants_reading());
        if self.stream.is_none() && !once {
            return;
        }
        let mut missed = 0;
        let mut back = false;
        if let Some(stream) = &mut self.stream {
            let gap = stream.sequence.map_or(0, |last| sequence.wrapping_sub(last).wrapping_sub(1));
            // A step back is no gap: the stream was started anew.
            stream.missed = stream.missed.saturating_add(if gap > u32::MAX / 2 { 0 } else { gap });
            stream.sequence = Some(sequence);
            back = core::mem::take(&mut stream.quiet);
            stream.heard = now;
            if let plumewire::Report::Reading(r) = report {
                stream.missed = stream.missed.saturating_add(r.dropped.saturating_sub(stream.dropped));
                stream.dropped = r.dropped;
                missed = core::mem::take(&mut stream.missed);
            }
        }
        if back {
            self.tell(Report::Back);
        }
        let plumewire::Report::Reading(wire) = report else { return };
        self.counters.missed_readings += u64::from(missed);
        let Some(reading) = self.unit.as_ref().and_then(|(_, a)| convert::reading(now, wire, missed, a)) else {
            if let Some(stream) = &mut self.stream {
                stream.missed = missed.saturating_add(1);
            }
            let text = "it has another number of inlets or sensors than the unit stated";
            self.tell(Report::Unfit(text.into()));
            return;
        };
        if let Some(active) = self.active.as_mut().filter(|_| once) {
            let next = active.task.reading(reading);
            self.follow(now, next);
        } else {
            self.tell(Report::Reading(reading));
        }
    }
    fn check_stream(&mut self, now: Instant) {
        let Some(stream) = &mut self.stream else { return };
        if stream.due().is_some_and(|due| now >= due) {
            stream.quiet = true;
            let report = if stream.noise { Report::Garbled } else { Report::Silent };
            self.tell(report);
        }
    }
}

impl Driver for Plumewire {
    fn link_up(&mut self, now: Instant) {
        self.down = None;
        self.decoder.reset();
        self.exchange.close();
        self.begin(now);
    }
    fn link_down(&mut self, now: Instant, cause: LinkDown) {
        self.down = Some(cause);
        self.exchange.close();
        self.stream = None;
        // Ends the request under way, and then those that wait.
        self.fail(now, Trouble::LinkDown(cause));
    }
    fn receive(&mut self, now: Instant, bytes: &[u8]) {
        if self.down.is_some() {
            return;
        }
        if let Some(stream) = self.stream.as_mut().filter(|_| !bytes.is_empty()) {
            stream.noise = true;
        }
        self.exchange.noise(bytes.len());
        let mut rest = bytes;
        while !rest.is_empty() {
            // The frame borrows the decoder, so its bytes are copied out before anything is done about it.
            let found = self.decoder.next_frame(&mut rest).map(|f| f.map(|f| (f.header, f.payload.to_vec())));
            match found {
                Some(Ok((header, payload))) => self.frame(now, &Frame { header, payload: &payload }),
                Some(Err(_)) => {
                    self.counters.garbled += 1;
                    self.exchange.garbled();
                }
                None => {}
            }
        }
        self.check_stream(now);
    }
    fn answer(&mut self, _: Instant, _: u32, _: &Answer) {}
    fn timeout(&mut self, now: Instant) {
        self.check_stream(now);
        let Some(active) = &mut self.active else { return };
        if active.wake.is_some_and(|wake| now >= wake) {
            active.wake = None;
            let next = active.task.wake();
            return self.follow(now, next);
        }
        match self.exchange.timeout(now, active.task.made_anew()) {
            Wire::Pending => {}
            Wire::Repeated => self.counters.repeated += 1,
            Wire::AskAnew => {
                self.counters.repeated += 1;
                active.task.tried_in_vain(&mut self.session);
                let sent = active.task.wire(&self.session, now).map(|request| self.exchange.again(now, &request));
                if let Some(Err(e)) = sent {
                    self.fail(now, Trouble::CannotDo(e.to_string()));
                }
            }
            Wire::GivenUp { garbled } => {
                let trouble = if garbled { Trouble::Garbled } else { Trouble::Silent };
                self.fail(now, trouble);
            }
        }
    }
    fn next_timeout(&self) -> Option<Instant> {
        let wake = self.active.as_ref().and_then(|a| a.wake);
        [wake, self.exchange.due(), self.stream.as_ref().and_then(Stream::due)].into_iter().flatten().min()
    }
    fn request(&mut self, now: Instant, request: Request) -> Ticket {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket = self.next_ticket.wrapping_add(1);
        self.waiting.push_back((ticket, request));
        self.begin(now);
        ticket
    }
    fn poll_send(&mut self, out: &mut Vec<u8>) -> bool {
        self.exchange.poll_send(out)
    }
    fn poll_report(&mut self) -> Option<Report> {
        self.reports.pop_front()
    }
    fn abilities(&self) -> Option<&Abilities> {
        self.unit.as_ref().map(|(_, abilities)| abilities)
    }
    fn line(&self) -> LineCounters {
        self.counters
    }
}
