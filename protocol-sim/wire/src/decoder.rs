//! From bytes in pieces of any size to checked frames, resynchronising after whatever is not one.
//!
//! Not here: silence. A decoder has no clock; who reads the link decides how long nothing at all is too long.
use crate::{
    cobs::{DELIMITER, Unstuffer},
    frame::{Frame, MAX_FRAME},
};
use core::fmt;

/// Why bytes between two delimiters were discarded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Discard {
    /// Longer than a frame can be. Everything up to the next delimiter went with it.
    Overlong,
    /// The stuffing is broken: a delimiter inside a block.
    Stuffing,
    /// Too short for a header and a check.
    Short,
    /// The check does not match: damaged, or the tail of a frame whose start was missed.
    Check,
    /// Sound, but of this other protocol version.
    Version(u8),
    /// Sound, but of this kind, which the version does not have.
    Kind(u8),
}
impl fmt::Display for Discard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Overlong => f.write_str("longer than a frame can be"),
            Self::Stuffing => f.write_str("broken byte stuffing"),
            Self::Short => f.write_str("too short for a frame"),
            Self::Check => f.write_str("CRC does not match"),
            Self::Version(v) => write!(f, "protocol version {v}, not known here"),
            Self::Kind(k) => write!(f, "frame kind {k}, not known here"),
        }
    }
}
impl core::error::Error for Discard {}

/// How many frames were accepted, and how many were discarded, by reason.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Counters {
    /// Frames accepted.
    pub frames: u64,
    /// [`Discard::Overlong`].
    pub overlong: u64,
    /// [`Discard::Stuffing`].
    pub stuffing: u64,
    /// [`Discard::Short`].
    pub short: u64,
    /// [`Discard::Check`].
    pub check: u64,
    /// [`Discard::Version`].
    pub version: u64,
    /// [`Discard::Kind`].
    pub kind: u64,
}
impl Counters {
    const ZERO: Self = Self { frames: 0, overlong: 0, stuffing: 0, short: 0, check: 0, version: 0, kind: 0 };
    /// All discards together.
    pub const fn discarded(&self) -> u64 {
        self.overlong + self.stuffing + self.short + self.check + self.version + self.kind
    }
    fn count(&mut self, discard: Discard) {
        let counter = match discard {
            Discard::Overlong => &mut self.overlong,
            Discard::Stuffing => &mut self.stuffing,
            Discard::Short => &mut self.short,
            Discard::Check => &mut self.check,
            Discard::Version(_) => &mut self.version,
            Discard::Kind(_) => &mut self.kind,
        };
        *counter += 1;
    }
}

/// Accumulates bytes into frames.
#[derive(Clone, Debug)]
pub struct Decoder {
    buffer: [u8; MAX_FRAME],
    len: usize,
    unstuffer: Unstuffer,
    /// Anything since the last delimiter.
    begun: bool,
    overlong: bool,
    counters: Counters,
}
impl Default for Decoder {
    fn default() -> Self {
        Self::new()
    }
}
impl Decoder {
    /// A decoder that has seen nothing.
    pub const fn new() -> Self {
        Self {
            buffer: [0; MAX_FRAME],
            len: 0,
            unstuffer: Unstuffer::START,
            begun: false,
            overlong: false,
            counters: Counters::ZERO,
        }
    }
    /// What was accepted and discarded so far. Stays over [`Decoder::reset`].
    pub const fn counters(&self) -> &Counters {
        &self.counters
    }
    /// Forgets a frame begun but not ended, as when a link is opened again.
    pub const fn reset(&mut self) {
        self.len = 0;
        self.unstuffer = Unstuffer::START;
        self.begun = false;
        self.overlong = false;
    }
    /// True while bytes of a frame are in that no delimiter has ended yet.
    pub const fn in_frame(&self) -> bool {
        self.begun
    }
    /// Takes bytes off the front of `bytes` up to and with the next end of a frame, and gives that frame, or why it
    /// was discarded. `None` when `bytes` is used up. Call until it gives `None`:
    ///
    /// ```
    /// # let mut decoder = plumewire::Decoder::new();
    /// # let received = [0u8; 3];
    /// let mut rest = &received[..];
    /// while let Some(found) = decoder.next_frame(&mut rest) {
    ///     match found {
    ///         Ok(frame) => println!("{:?}", frame.header),
    ///         Err(discard) => println!("discarded: {discard}"),
    ///     }
    /// }
    /// ```
    pub fn next_frame(&mut self, bytes: &mut &[u8]) -> Option<Result<Frame<'_>, Discard>> {
        while let Some(end) = bytes.iter().position(|b| *b == DELIMITER) {
            let (piece, rest) = bytes.split_at_checked(end).unwrap_or_default();
            *bytes = rest.get(1..).unwrap_or_default();
            self.take(piece);
            if self.begun {
                return Some(self.end());
            }
        }
        self.take(core::mem::take(bytes));
        None
    }
    fn take(&mut self, mut stuffed: &[u8]) {
        self.begun |= !stuffed.is_empty();
        while !stuffed.is_empty() && !self.overlong {
            let plain = self.unstuffer.next_piece(&mut stuffed);
            match self.buffer.get_mut(self.len..).and_then(|room| room.get_mut(..plain.len())) {
                Some(room) => {
                    room.copy_from_slice(plain);
                    self.len += plain.len();
                }
                None => self.overlong = true,
            }
        }
    }
    fn end(&mut self) -> Result<Frame<'_>, Discard> {
        let (len, overlong, whole) = (self.len, self.overlong, self.unstuffer.may_end());
        self.reset();
        let unstuffed = self.buffer.get(..len).unwrap_or_default();
        let found = if overlong {
            Err(Discard::Overlong)
        } else if !whole {
            Err(Discard::Stuffing)
        } else {
            Frame::parse(unstuffed)
        };
        match found {
            Ok(_) => self.counters.frames += 1,
            Err(discard) => self.counters.count(discard),
        }
        found
    }
}
