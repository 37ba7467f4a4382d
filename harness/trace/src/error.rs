//! What can go wrong with a log, where, and what to do about it.
use crate::Citation;
use plumeline_base::Instant;
use std::io;

/// Why a log can't be read further. Everything before [`ReadError::offset`] was read and is good.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The system reported an error.
    #[error("the log can't be read at byte {offset}: {source}")]
    Io {
        /// Where reading had come to.
        offset: u64,
        /// The system's own words.
        source: io::Error,
    },
    /// This is not an input log of this tool.
    #[error("not an input log (byte {offset}: {why})")]
    NotALog {
        /// Where it shows.
        offset: u64,
        /// What is missing.
        why: &'static str,
    },
    /// The log ends within the record that begins here.
    #[error("the log is cut off: its last record begins at byte {offset} and has no end")]
    Truncated {
        /// Where the unfinished record, or section, begins.
        offset: u64,
    },
    /// A block is longer than any that is ever written.
    #[error("block at byte {offset} claims {length} bytes; the longest allowed is {}", crate::block::MAX_BLOCK)]
    TooLong {
        /// Where the block begins.
        offset: u64,
        /// The length it claims.
        length: u64,
    },
    /// A block is malformed.
    #[error("bad block at byte {offset}: {why}")]
    BadBlock {
        /// Where the block begins.
        offset: u64,
        /// What is wrong with it.
        why: String,
    },
    /// The packet's content does not match the checksum stored beside it.
    #[error("the content of the block at byte {offset} does not match its checksum")]
    Checksum {
        /// Where the block begins.
        offset: u64,
    },
    /// A block does not follow from what is before it: something before it was changed, or left out.
    #[error("the block at byte {offset} does not follow from what is before it: something there was changed or lost")]
    Chain {
        /// Where the block begins.
        offset: u64,
    },
    /// A block is whole, but its event is not one that can be understood.
    #[error("the event in the block at byte {offset} can't be read: {why}")]
    BadEvent {
        /// Where the block begins.
        offset: u64,
        /// What is wrong with it.
        why: String,
    },
    /// A record is earlier than the one before it.
    #[error("the record at byte {offset} ({at}) is earlier than the one before it ({before})")]
    Backwards {
        /// Where the record begins.
        offset: u64,
        /// Its instant.
        at: Instant,
        /// The instant of the record before.
        before: Instant,
    },
    /// A section does not begin by saying which tool wrote it.
    #[error("the section's first record at byte {offset} does not say which tool and format wrote it")]
    NoTool {
        /// Where the record begins.
        offset: u64,
    },
    /// The log is of a newer format.
    #[error("the log is of format {format}; this tool reads up to {}", crate::FORMAT)]
    Unsupported {
        /// Where the section's first record begins.
        offset: u64,
        /// The log's format.
        format: u32,
    },
}

impl ReadError {
    /// The byte at which it shows.
    pub const fn offset(&self) -> u64 {
        match *self {
            Self::Io { offset, .. }
            | Self::NotALog { offset, .. }
            | Self::Truncated { offset }
            | Self::TooLong { offset, .. }
            | Self::BadBlock { offset, .. }
            | Self::Checksum { offset }
            | Self::Chain { offset }
            | Self::BadEvent { offset, .. }
            | Self::Backwards { offset, .. }
            | Self::NoTool { offset }
            | Self::Unsupported { offset, .. } => offset,
        }
    }
    /// What to do about it.
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::Io { .. } => "check that the file is there and may be read, and that the disk is sound",
            Self::NotALog { .. } => "give the trace.pcapng of a job folder",
            Self::Truncated { .. } => {
                "the writer was stopped mid-way; run the job again to set the torn end aside, or read what is before it"
            }
            Self::TooLong { .. }
            | Self::BadBlock { .. }
            | Self::Checksum { .. }
            | Self::Chain { .. }
            | Self::Backwards { .. } => "the file was damaged or edited after it was written; take an undamaged copy",
            Self::BadEvent { .. } | Self::NoTool { .. } => {
                "the file was edited or written by another program; take the log as the tool wrote it"
            }
            Self::Unsupported { .. } => "read it with the version of the tool that wrote it, or a newer one",
        }
    }
    /// Could this be what is left of a write that a crash cut short? Then a resumed log may set the end aside.
    pub const fn may_be_torn(&self) -> bool {
        match self {
            Self::Truncated { .. }
            | Self::TooLong { .. }
            | Self::BadBlock { .. }
            | Self::Checksum { .. }
            | Self::Chain { .. }
            | Self::Backwards { .. } => true,
            Self::Io { .. }
            | Self::NotALog { .. }
            | Self::BadEvent { .. }
            | Self::NoTool { .. }
            | Self::Unsupported { .. } => false,
        }
    }
}

/// Why a log can't be written.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// A new log was asked for where there is one.
    #[error("there is already a log here")]
    Exists,
    /// Another process writes it.
    #[error("another process writes this log")]
    Held,
    /// The system could not write or flush. The log takes no more records.
    #[error("the log can't be written: {0}")]
    Io(#[from] io::Error),
    /// An earlier write failed, so the end of the file is unknown.
    #[error("the log is closed since a write failed")]
    Broken,
    /// A record is too large.
    #[error("a record of {bytes} bytes is too large for the log; at most {} fit", crate::MAX_RECORD)]
    TooLarge {
        /// Its size.
        bytes: usize,
    },
    /// A record is earlier than the one before it.
    #[error("a record at {at} can't follow one at {before}")]
    Backwards {
        /// Its instant.
        at: Instant,
        /// The instant of the record before.
        before: Instant,
    },
    /// The first record of a section must be an `Input::Tool`.
    #[error("the first record of a section must say which tool and format write it")]
    NoTool,
    /// The log to be taken up can't be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// What the journal cites is no longer in the log.
    #[error("the log no longer holds what was recorded up to byte {}: {found}", cited.offset)]
    Lost {
        /// What was cited.
        cited: Citation,
        /// What is there instead.
        found: String,
    },
}

impl LogError {
    /// What to do about it.
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::Exists => "take the job up again, or start it in a new folder",
            Self::Held => "wait until it has ended, or end it; the job goes on where it stopped",
            Self::Io(_) | Self::Broken => {
                "check that the disk has room and is sound, then take the job up again; nothing flushed is lost"
            }
            Self::TooLarge { .. } => "leave out or split the file that is this large",
            Self::Backwards { .. } | Self::NoTool => "this is a fault of the tool; please report it",
            Self::Read(e) => e.remedy(),
            Self::Lost { .. } => "the log was damaged or edited; restore an undamaged copy of the job folder",
        }
    }
}
