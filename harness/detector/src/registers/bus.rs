//! One request at a time on a bus: sent after quiet time, answered, made again, or given up.
//!
//! A frame of the serial kinds bears no number, so that the late reply to a request that was given up looks like the reply to
//! the next. After a time-out the line is therefore let fall quiet, and then another request is made whose reply can't be
//! mistaken; a unit answers in order, so whatever was late has gone by once that reply is there. Not here: what is asked and why.
use super::{
    frame::{self, Ask, Found, Told},
    map::{BusRules, Protocol},
};
use crate::driver::{LineCounters, RefusalKind, Trouble};
use alloc::{format, vec::Vec};
use core::time::Duration;
use plumeline_base::Instant;

/// A unit that is busy is asked again after this.
const BUSY: Duration = Duration::from_millis(500);
/// So many times, as far as it only says that it is busy.
const MOST_BUSY: u8 = 20;

/// How a request on the bus ended, with when it was sent and when its reply was there.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Answered {
    pub(super) told: Result<Vec<u16>, Trouble>,
    pub(super) sent: Instant,
    pub(super) received: Instant,
}

/// The bus and the request in flight.
#[derive(Debug)]
pub(super) struct Bus {
    rules: BusRules,
    /// Requests with replies that differ from each other's.
    probes: Vec<Ask>,
    number: u16,
    flight: Option<Flight>,
    out: Vec<u8>,
    buffer: Vec<u8>,
    /// When bytes last went either way.
    busy: Instant,
    /// The adapter gives back what is sent.
    echo: bool,
    pub(super) counters: LineCounters,
}
#[derive(Debug)]
struct Flight {
    ask: Ask,
    state: State,
    tries: u8,
    refused: u8,
    sent: Instant,
    frame: Vec<u8>,
    /// Bytes came that were no frame, or one of another device.
    noise: bool,
    other: Option<u8>,
}
#[derive(Clone, Debug)]
enum State {
    /// The line is let fall quiet until then.
    Waits(Instant),
    /// Sent, with when it is given up.
    Sent(Instant),
    /// Late replies are let go by until then.
    Drains(Instant),
    /// Another request was sent whose reply shows that nothing is late any more.
    Probes(Ask, Instant),
}

impl Bus {
    pub(super) fn new(rules: BusRules, probes: Vec<Ask>) -> Self {
        Self {
            rules,
            probes,
            number: 0,
            flight: None,
            out: Vec::new(),
            buffer: Vec::new(),
            busy: Instant::START,
            echo: false,
            counters: LineCounters::default(),
        }
    }
    /// A request is in flight.
    pub(super) const fn is_busy(&self) -> bool {
        self.flight.is_some()
    }
    /// Forgets the request in flight and what is not sent yet.
    pub(super) fn close(&mut self) {
        self.flight = None;
        self.out.clear();
        self.buffer.clear();
    }
    /// Asks, as soon as the line has been quiet for long enough.
    pub(super) fn ask(&mut self, now: Instant, ask: Ask) {
        let state = State::Waits(now.max(self.busy + self.rules.gap));
        let frame = Vec::new();
        self.flight = Some(Flight { ask, state, tries: 0, refused: 0, sent: now, frame, noise: false, other: None });
        let _ = self.timeout(now);
    }
    fn send(&mut self, now: Instant, probe: Option<Ask>) {
        let Some(flight) = &mut self.flight else { return };
        self.number = self.number.wrapping_add(1);
        let due = now + self.rules.timeout;
        let ask = probe.as_ref().unwrap_or(&flight.ask);
        flight.frame = ask.frame(self.rules.protocol, self.rules.address, self.number);
        self.out.extend_from_slice(&flight.frame);
        self.buffer.clear();
        (flight.sent, self.busy) = (now, now);
        flight.state = probe.map_or(State::Sent(due), |probe| State::Probes(probe, due));
    }
    /// Bytes came.
    pub(super) fn receive(&mut self, now: Instant, bytes: &[u8]) -> Option<Answered> {
        self.busy = now;
        let Some(flight) = &mut self.flight else { return None };
        match flight.state {
            State::Sent(_) | State::Probes(..) => {}
            State::Waits(until) | State::Drains(until) => {
                let quiet = until.max(now + self.rules.gap);
                flight.state = match flight.state {
                    State::Waits(_) => State::Waits(quiet),
                    _ => State::Drains(quiet),
                };
                return None;
            }
        }
        self.buffer.extend_from_slice(bytes);
        if self.buffer.len() > frame::MOST {
            self.buffer.drain(..self.buffer.len() - frame::MOST);
        }
        self.look(now)
    }
    fn look(&mut self, now: Instant) -> Option<Answered> {
        loop {
            let flight = self.flight.as_mut()?;
            let (ask, probing) = match &flight.state {
                State::Probes(probe, _) => (probe.clone(), true),
                State::Sent(_) => (flight.ask.clone(), false),
                _ => return None,
            };
            if self.strip_echo(&ask) {
                return None;
            }
            let rules = self.rules;
            let found = frame::take(&mut self.buffer, rules.protocol, rules.address, self.number, &ask);
            let flight = self.flight.as_mut()?;
            match found {
                Found::Nothing => return None,
                Found::Garbled => {
                    flight.noise = true;
                    self.counters.garbled += 1;
                }
                Found::Other(from) => flight.other = Some(from).filter(|from| *from != rules.address).or(flight.other),
                Found::Reply(told) => {
                    self.counters.good += 1;
                    if probing {
                        flight.state = State::Waits(now + rules.gap);
                        return None;
                    }
                    return self.told(now, told);
                }
            }
        }
    }
    /// Takes what was sent off the front of what came, where an adapter gives it back; true while it is not known yet. An echo
    /// of a write looks like its reply, so it is known from reads alone.
    fn strip_echo(&mut self, ask: &Ask) -> bool {
        let Some(flight) = &mut self.flight else { return false };
        let may = self.echo || (matches!(ask, Ask::Read(_)) && self.rules.protocol != Protocol::Tcp);
        if !may || flight.frame.is_empty() {
            return false;
        }
        if self.buffer.starts_with(&flight.frame) {
            self.buffer.drain(..flight.frame.len());
            flight.frame.clear();
            self.echo = true;
            return false;
        }
        !self.buffer.is_empty() && flight.frame.starts_with(&self.buffer)
    }
    fn told(&mut self, now: Instant, told: Told) -> Option<Answered> {
        let flight = self.flight.as_mut()?;
        let told = match told {
            Told::Values(values) => Ok(values),
            // It works on it, or is busy with something else.
            Told::Exception(5 | 6) if flight.refused < MOST_BUSY => {
                flight.refused += 1;
                flight.state = State::Waits(now + BUSY);
                return None;
            }
            // What a gateway says of a unit that is silent.
            Told::Exception(10 | 11) => Err(Trouble::Silent),
            Told::Exception(code) => Err(exception(code)),
        };
        self.end(now, told)
    }
    fn end(&mut self, now: Instant, told: Result<Vec<u16>, Trouble>) -> Option<Answered> {
        let flight = self.flight.take()?;
        self.buffer.clear();
        Some(Answered { told, sent: flight.sent, received: now })
    }
    /// The time may have come to send, to try again or to give up.
    pub(super) fn timeout(&mut self, now: Instant) -> Option<Answered> {
        let flight = self.flight.as_mut()?;
        match flight.state {
            State::Waits(at) if now >= at => self.send(now, None),
            State::Sent(due) | State::Probes(_, due) if now >= due => {
                flight.noise |= !self.buffer.is_empty();
                flight.tries += 1;
                if flight.tries >= self.rules.tries {
                    let trouble = match (flight.other, flight.noise) {
                        (Some(other), _) => elsewhere(self.rules.address, other),
                        (None, true) => Trouble::Garbled,
                        (None, false) => Trouble::Silent,
                    };
                    return self.end(now, Err(trouble));
                }
                self.counters.repeated += 1;
                if self.rules.protocol == Protocol::Tcp {
                    self.send(now, None);
                } else {
                    flight.state = State::Drains(now + self.rules.timeout.max(self.rules.gap));
                }
            }
            State::Drains(until) if now >= until => {
                let probe = self.probes.iter().find(|p| p.differs_from(&flight.ask)).cloned();
                self.send(now, probe);
            }
            _ => {}
        }
        None
    }
    pub(super) fn next_timeout(&self) -> Option<Instant> {
        self.flight.as_ref().map(|f| match f.state {
            State::Waits(at) | State::Sent(at) | State::Drains(at) | State::Probes(_, at) => at,
        })
    }
    /// Bytes to send, appended; false when there are none.
    pub(super) fn poll_send(&mut self, out: &mut Vec<u8>) -> bool {
        let some = !self.out.is_empty();
        out.append(&mut self.out);
        some
    }
}

/// Another device answers, and ours does not.
fn elsewhere(ours: u8, other: u8) -> Trouble {
    Trouble::Nonsense(format!(
        "device {other} answers on this bus and device {ours} does not: set `address` in the description's [registers] to that of the \
         unit, or the unit's own address"
    ))
}
/// An exception in neutral words.
fn exception(code: u8) -> Trouble {
    let (kind, reason) = match code {
        1 => (RefusalKind::Other, "it has no such function: correct `function` in the description's [registers]"),
        2 => (
            RefusalKind::Other,
            "it has no such address: correct the description's [registers]; addresses count from 0 there",
        ),
        3 => (RefusalKind::Invalid, "it does not take this value or this many registers"),
        4 => (RefusalKind::Other, "it failed at that"),
        5 | 6 => (RefusalKind::Busy, "it is busy with something else"),
        _ => (RefusalKind::Other, "it gives no reason that is known"),
    };
    Trouble::Refused { kind, code: code.into(), reason: reason.into() }
}
