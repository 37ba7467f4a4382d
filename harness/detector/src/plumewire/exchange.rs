//! One wire request at a time: sent, repeated with the same sequence until answered, or given up.
//!
//! Not here: what is asked and why (see `task.rs`).
use alloc::vec::Vec;
use core::time::Duration;
use plumeline_base::Instant;
use plumewire::{EncodeError, Frame, HelloRequest, MAX_WIRE, Message, Operation, Request, VERSION, crc32c};

/// How long each try waits for its answer. The longest frame takes 90 ms on the line at 115,200 baud, the slowest answer
/// of a unit some 300 ms; six tries get a short request through where two frames of three are lost.
const TRIES_MS: [u64; 6] = [700, 900, 1_100, 1_300, 1_500, 1_500];

/// What became of a flight at a time-out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Answer {
    /// Nothing to do yet.
    Pending,
    /// The same bytes were sent again.
    Repeated,
    /// The request wants to be made anew: call `Exchange::again`.
    AskAnew,
    /// No answer in all tries; whether bytes came that were no frames.
    GivenUp {
        /// Bytes came, and nothing good among them, or some of it damaged.
        garbled: bool,
    },
}

/// The conversation and the request in flight.
#[derive(Debug, Default)]
pub(super) struct Exchange {
    conversation: Option<u32>,
    sequence: u32,
    hellos: u32,
    flight: Option<Flight>,
    out: Vec<u8>,
}
#[derive(Debug)]
struct Flight {
    bytes: Vec<u8>,
    operation: Operation,
    conversation: u32,
    sequence: u32,
    token: Option<u32>,
    tries: usize,
    due: Instant,
    noise: bool,
    good: bool,
    damaged: bool,
}

impl Exchange {
    /// True when a conversation is open.
    pub(super) const fn is_open(&self) -> bool {
        self.conversation.is_some()
    }
    /// True for the nonce of the open conversation.
    pub(super) fn is_current(&self, conversation: u32) -> bool {
        self.conversation == Some(conversation)
    }
    /// Forgets conversation and flight.
    pub(super) fn close(&mut self) {
        self.conversation = None;
        self.drop_flight();
    }
    /// Forgets the request in flight and what of it is not sent yet.
    pub(super) fn drop_flight(&mut self) {
        self.flight = None;
        self.out.clear();
    }
    /// A hello was answered.
    pub(super) fn open(&mut self, conversation: u32) {
        self.drop_flight();
        self.conversation = Some(conversation);
        self.sequence = 0;
    }
    /// Says hello, with a token that differs from those before it.
    pub(super) fn hello(&mut self, now: Instant) -> Result<(), EncodeError> {
        self.hellos = self.hellos.wrapping_add(1);
        let mut seed = [0; 12];
        let (time, count) = seed.split_at_mut(8);
        time.copy_from_slice(&now.as_micros().to_be_bytes());
        count.copy_from_slice(&self.hellos.to_be_bytes());
        let token = crc32c(&seed);
        let hello = Request::Hello(HelloRequest { version_min: VERSION, version_max: VERSION, token });
        self.fly(now, &hello, 0, 0, 0)?;
        if let Some(flight) = &mut self.flight {
            flight.token = Some(token);
        }
        Ok(())
    }
    /// Asks within the open conversation.
    pub(super) fn ask(&mut self, now: Instant, request: &Request<'_>) -> Result<(), EncodeError> {
        self.sequence = self.sequence.wrapping_add(1);
        self.fly(now, request, self.conversation.unwrap_or(0), self.sequence, 0)
    }
    /// Asks anew in the place of the request in flight, which counts as a further try of it.
    pub(super) fn again(&mut self, now: Instant, request: &Request<'_>) -> Result<(), EncodeError> {
        let before = self.flight.take();
        let tries = before.as_ref().map_or(0, |f| f.tries);
        self.sequence = self.sequence.wrapping_add(1);
        self.fly(now, request, self.conversation.unwrap_or(0), self.sequence, tries)?;
        if let (Some(flight), Some(before)) = (&mut self.flight, before) {
            (flight.noise, flight.good, flight.damaged) = (before.noise, before.good, before.damaged);
        }
        Ok(())
    }
    fn fly(
        &mut self,
        now: Instant,
        request: &Request<'_>,
        conversation: u32,
        sequence: u32,
        tries: usize,
    ) -> Result<(), EncodeError> {
        let mut bytes = alloc::vec![0; MAX_WIRE];
        let len = Message::Request(*request).write(conversation, sequence, &mut bytes)?;
        bytes.truncate(len);
        self.out.extend_from_slice(&bytes);
        self.flight = Some(Flight {
            bytes,
            operation: request.operation(),
            conversation,
            sequence,
            token: None,
            tries,
            due: now + patience(tries),
            noise: false,
            good: false,
            damaged: false,
        });
        Ok(())
    }
    /// True if the frame answers the request in flight.
    pub(super) fn answers(&self, frame: &Frame<'_>) -> bool {
        self.flight.as_ref().is_some_and(|f| {
            let h = frame.header;
            let conversation = f.token.is_some() || h.conversation == f.conversation;
            h.operation == f.operation as u8 && h.sequence == f.sequence && conversation
        })
    }
    /// True if a hello with this token is in flight.
    pub(super) fn is_hello(&self, token: u32) -> bool {
        self.flight.as_ref().is_some_and(|f| f.token == Some(token))
    }
    /// True if a hello is in flight.
    pub(super) fn in_hello(&self) -> bool {
        self.flight.as_ref().is_some_and(|f| f.token.is_some())
    }
    /// Bytes came.
    pub(super) fn noise(&mut self, len: usize) {
        if let Some(flight) = self.flight.as_mut().filter(|_| len > 0) {
            flight.noise = true;
        }
    }
    /// A good frame came.
    pub(super) fn heard(&mut self) {
        if let Some(flight) = &mut self.flight {
            flight.good = true;
        }
    }
    /// Something came that was no frame.
    pub(super) fn garbled(&mut self) {
        if let Some(flight) = &mut self.flight {
            flight.damaged = true;
        }
    }
    /// When the request in flight is due.
    pub(super) fn due(&self) -> Option<Instant> {
        self.flight.as_ref().map(|f| f.due)
    }
    /// The time may have come to try again or to give up.
    pub(super) fn timeout(&mut self, now: Instant, anew: bool) -> Answer {
        let Some(flight) = self.flight.as_mut().filter(|f| now >= f.due) else { return Answer::Pending };
        flight.tries += 1;
        if flight.tries >= TRIES_MS.len() {
            let garbled = flight.damaged || (flight.noise && !flight.good);
            self.drop_flight();
            return Answer::GivenUp { garbled };
        }
        if anew && flight.token.is_none() {
            return Answer::AskAnew;
        }
        flight.due = now + patience(flight.tries);
        self.out.extend_from_slice(&flight.bytes);
        Answer::Repeated
    }
    /// Bytes to send, appended; false when there are none.
    pub(super) fn poll_send(&mut self, out: &mut Vec<u8>) -> bool {
        let some = !self.out.is_empty();
        out.append(&mut self.out);
        some
    }
}

fn patience(tries: usize) -> Duration {
    Duration::from_millis(TRIES_MS.get(tries).copied().unwrap_or(1_500))
}
