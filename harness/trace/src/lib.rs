//! The ordered input log of a job, kept as pcapng (`trace.pcapng`): every event that reached the procedure, with
//! its instant, and every byte that was sent, in one total order.
//!
//! The log is the recorder: what goes through [`LogWriter::append`] before the procedure sees it is what a replay
//! is driven by. The layout is described in `docs/trace-format.md`.
//!
//! Not here: what the events mean (the procedure), the journal that cites this log (the job), clocks and ports.

mod block;
mod codec;
pub mod disk;
mod error;
pub mod fake;
mod read;
mod write;

pub use disk::{Disk, Folder};
pub use error::{LogError, ReadError};
pub use read::{LogEntry, LogReader};
pub use write::{LogWriter, Resumed, SetAside};

use plumeline_base::{
    Instant,
    input::{Event, Input, LineId},
};
use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};

/// The version of the log's layout and events that this crate writes, and the newest it reads.
pub const FORMAT: u32 = 1;
/// The log's name within a job folder.
pub const TRACE_FILE: &str = "trace.pcapng";
/// The largest record, in bytes of its content: 16 MiB.
pub const MAX_RECORD: usize = 16 << 20;

/// One entry of the log.
#[derive(Clone, Debug, PartialEq)]
pub struct LogRecord {
    /// When, in log time. Never earlier than the record before it.
    pub at: Instant,
    /// What.
    pub what: Logged,
}

/// What a record holds.
#[derive(Clone, Debug, PartialEq)]
pub enum Logged {
    /// Something from outside. The first record of every section is an [`Input::Tool`].
    Input(Input),
    /// Bytes sent to the unit on this line. A replay must produce the same ones.
    Sent(LineId, Vec<u8>),
}

impl From<Event> for LogRecord {
    fn from(e: Event) -> Self {
        Self { at: e.at, what: Logged::Input(e.input) }
    }
}

/// A place in the log that something else can cite: everything up to the end of one record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Citation {
    /// Length of the log in bytes up to and with the record.
    pub offset: u64,
    /// The record's number, from 0 over the whole log.
    pub index: u64,
    /// SHA-256 (FIPS 180-4) of the log's first `offset` bytes.
    pub hash: Hash,
}

/// A SHA-256 digest; written as 64 lower-case hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Hash(pub [u8; 32]);

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}
impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}
impl From<Hash> for String {
    fn from(h: Hash) -> Self {
        h.to_string()
    }
}
impl TryFrom<String> for Hash {
    type Error = NotAHash;
    fn try_from(s: String) -> Result<Self, NotAHash> {
        s.parse()
    }
}
impl FromStr for Hash {
    type Err = NotAHash;
    fn from_str(s: &str) -> Result<Self, NotAHash> {
        let digits = s.as_bytes();
        if digits.len() != 64 {
            return Err(NotAHash);
        }
        let mut out = [0; 32];
        for (byte, pair) in out.iter_mut().zip(digits.chunks_exact(2)) {
            for d in pair {
                let value = match d {
                    b'0'..=b'9' => d - b'0',
                    b'a'..=b'f' => d - b'a' + 10,
                    _ => return Err(NotAHash),
                };
                *byte = *byte << 4 | value;
            }
        }
        Ok(Self(out))
    }
}

/// The text is not a digest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("not 64 lower-case hexadecimal digits")]
pub struct NotAHash;
