//! The unit's end of the line: frames in, frames out in their time, each request at most once.
use plumeline_base::Instant;
use plumewire::{AtMostOnce, Decoder, MAX_WIRE, Message};
use std::{collections::VecDeque, time::Duration};

/// Time on the line for a byte at 115 200 baud, ten bits each.
const BYTE_NS: u64 = 86_806;
/// What may wait to be sent before readings are dropped.
const BACKLOG: Duration = Duration::from_millis(500);

/// What waits to be sent, each in its time.
#[derive(Debug)]
pub(crate) struct Outbox {
    waiting: VecDeque<(Instant, Vec<u8>)>,
    /// When the last byte queued will be on the line.
    busy_until: Instant,
    byte: Duration,
}
impl Outbox {
    /// `byte`: time on the line for each.
    pub(crate) const fn new(byte: Duration) -> Self {
        Self { waiting: VecDeque::new(), busy_until: Instant::START, byte }
    }
    /// When a frame of `len` bytes that is ready at `ready` will have been sent.
    pub(crate) fn sent_at(&self, ready: Instant, len: usize) -> Instant {
        self.busy_until.max(ready) + self.byte * len as u32
    }
    /// Queues bytes that are ready at `ready`; they leave as a whole once all would be on the line.
    pub(crate) fn send(&mut self, ready: Instant, bytes: &[u8]) {
        self.busy_until = self.sent_at(ready, bytes.len());
        self.waiting.push_back((self.busy_until, bytes.to_vec()));
    }
    /// When the next bytes leave.
    pub(crate) fn next(&self) -> Option<Instant> {
        self.waiting.front().map(|(at, _)| *at)
    }
    /// The next bytes that have left by `now`.
    pub(crate) fn poll(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.waiting.pop_front_if(|(at, _)| *at <= now).map(|(_, bytes)| bytes)
    }
}

/// Decoder, memory of the last request, and what waits to be sent.
#[derive(Debug)]
pub(crate) struct Line {
    pub(crate) decoder: Decoder,
    pub(crate) once: AtMostOnce<[u8; MAX_WIRE]>,
    pub(crate) outbox: Outbox,
}
impl Line {
    pub(crate) fn new() -> Self {
        Self {
            decoder: Decoder::new(),
            once: AtMostOnce::new([0; MAX_WIRE]),
            outbox: Outbox::new(Duration::from_nanos(BYTE_NS)),
        }
    }
    /// Queues a report of the open conversation; false if too much is waiting.
    pub(crate) fn report(&mut self, now: Instant, message: &Message<'_>, sequence: u32) -> bool {
        let Some(conversation) = self.once.conversation() else { return true };
        if self.outbox.busy_until.since(now) > BACKLOG {
            return false;
        }
        let mut out = [0; MAX_WIRE];
        if let Ok(len) = message.write(conversation, sequence, &mut out) {
            self.outbox.send(now, out.get(..len).unwrap_or_default());
        }
        true
    }
}
