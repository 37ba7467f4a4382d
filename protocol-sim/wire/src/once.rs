//! At most once: a repeated request has its effect once and gets the same answer; a stale one is refused.
//!
//! For devices. It judges requests by conversation nonce and sequence and keeps the last answer in a buffer of the
//! caller's. Not here: making nonces, carrying requests out.
use crate::{Frame, Kind, Operation, Refusal, RefusalCode, crc32c};
use core::cmp::Ordering;

/// What to do with a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Judgement<'a> {
    /// Carry it out, then hand the answer to [`AtMostOnce::answered`].
    New,
    /// It is the last request once more: send this same answer again.
    Repeat(&'a [u8]),
    /// It is the last request once more, and its answer is still being made: do nothing.
    Pending,
    /// Refuse it. The refusal is not kept: it has no effect that could happen twice.
    Refuse(Refusal<'static>),
    /// It is no request: do nothing.
    Ignore,
}

/// The device's end of the rule. `B` holds the last answer; [`crate::MAX_WIRE`] bytes always do.
#[derive(Clone, Debug)]
pub struct AtMostOnce<B> {
    conversation: Option<u32>,
    last: Option<Seen>,
    opened_by: Option<Seen>,
    answer: B,
    answer_len: Option<usize>,
}
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Seen {
    conversation: u32,
    sequence: u32,
    operation: u8,
    len: usize,
    check: u32,
}
impl Seen {
    fn of(frame: &Frame<'_>) -> Self {
        let h = frame.header;
        Self {
            conversation: h.conversation,
            sequence: h.sequence,
            operation: h.operation,
            len: frame.payload.len(),
            check: crc32c(frame.payload),
        }
    }
}
impl<B: AsRef<[u8]> + AsMut<[u8]>> AtMostOnce<B> {
    /// No conversation yet, as after a start.
    pub const fn new(buffer: B) -> Self {
        Self { conversation: None, last: None, opened_by: None, answer: buffer, answer_len: None }
    }
    /// The conversation that is open, if one is.
    pub const fn conversation(&self) -> Option<u32> {
        self.conversation
    }
    /// Judges a request.
    ///
    /// A hello (in conversation 0) is new unless it is byte for byte the one that opened the present conversation: then
    /// it is a repeat, or stale once the conversation has gone on. Any other request must be of the open conversation,
    /// with a higher sequence than any before it.
    pub fn judge(&mut self, frame: &Frame<'_>) -> Judgement<'_> {
        if frame.header.kind != Kind::Request {
            return Judgement::Ignore;
        }
        let seen = Seen::of(frame);
        if self.last == Some(seen) {
            let kept = self.answer_len.and_then(|len| self.answer.as_ref().get(..len));
            return kept.map_or(Judgement::Pending, Judgement::Repeat);
        }
        if let Some(code) = self.objection(seen) {
            return Judgement::Refuse(Refusal::new(code));
        }
        self.last = Some(seen);
        self.answer_len = None;
        Judgement::New
    }
    fn objection(&self, seen: Seen) -> Option<RefusalCode> {
        if seen.operation == Operation::Hello as u8 {
            return match seen.conversation {
                0 => (self.opened_by == Some(seen)).then_some(RefusalCode::Stale),
                _ => Some(RefusalCode::Conversation),
            };
        }
        if self.conversation != Some(seen.conversation) {
            return Some(RefusalCode::Conversation);
        }
        // The hello that opened the conversation is no part of its count.
        let last = self.last.filter(|last| last.conversation == seen.conversation)?;
        match seen.sequence.cmp(&last.sequence) {
            Ordering::Less => Some(RefusalCode::Stale),
            Ordering::Equal => Some(RefusalCode::Reused),
            Ordering::Greater => None,
        }
    }
    /// Opens a conversation with a fresh nonce: call when a hello is carried out. The nonce is not 0 and not one of an
    /// earlier conversation, earlier boots included (boot count in the upper bits, hellos since boot in the lower).
    pub const fn open(&mut self, nonce: u32) {
        self.conversation = Some(nonce);
        self.opened_by = self.last;
    }
    /// Keeps the answer to the request last judged new, as it goes on the line. An answer longer than the buffer is
    /// kept as far as it goes and never sent again (repeats stay unanswered).
    pub fn answered(&mut self, on_the_line: &[u8]) {
        self.answer_len = self.answer.as_mut().get_mut(..on_the_line.len()).map(|slot| {
            slot.copy_from_slice(on_the_line);
            on_the_line.len()
        });
    }
}
