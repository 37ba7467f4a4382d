//! plumewire: an open framed protocol between an aspirating smoke detector and a tool that commissions it.
//!
//! Bytes come in pieces of any size and may be damaged; [`Decoder`] turns them into checked [`Frame`]s and counts
//! what it discards. [`Message`] turns a frame into plain structs that borrow from it, and back into bytes.
//! [`AtMostOnce`] gives a device the rule that a repeated request has its effect once. [`image`] reads and writes
//! the settings image. The specification for strangers is `docs/wire-protocol.md`, with CDDL beside it.
//!
//! Not here: links, clocks, time-outs, retries, what a device does. No allocation, no `std`, no floating point.
#![no_std]

#[macro_use]
mod codec;
pub mod clock;
pub mod cobs;
mod decoder;
mod error;
mod frame;
pub mod image;
pub mod messages;
mod once;
mod operation;
mod refusal;
pub mod strict;

pub use codec::{List, Sample};
pub use decoder::{Counters, Decoder, Discard};
pub use error::{EncodeError, Fault, PayloadError};
pub use frame::{Frame, HEADER_LEN, Header, Kind, MAX_FRAME, MAX_PAYLOAD, MAX_WIRE, VERSION, crc32c};
pub use messages::*;
pub use once::{AtMostOnce, Judgement};
pub use operation::{Message, Operation, Reply, Report, Request};
pub use refusal::{Refusal, RefusalCode};

/// Most inlets that a device can have on the wire.
pub const MAX_INLETS: usize = 8;
/// Longest text in a message, bytes of UTF-8.
pub const MAX_TEXT: usize = 96;
/// Most entries in one page of the event log: so many of the longest kind fit a frame.
pub const MAX_LOG_ENTRIES: usize = 7;

/// The longest beginning of `text` that a message can hold, cut at a character boundary.
pub fn clip(text: &str) -> &str {
    let mut end = text.len().min(MAX_TEXT);
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    text.get(..end).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    extern crate std;
    #[test]
    fn clips_at_a_character() {
        let long = "é".repeat(60);
        assert_eq!(super::clip(&long).len(), 96);
        let odd = ["x", &long].concat();
        assert_eq!(super::clip(&odd).len(), 95);
        assert_eq!(super::clip("short"), "short");
    }
}
