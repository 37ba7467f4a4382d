//! The device's event log, read from a position.
use crate::{List, MAX_LOG_ENTRIES};

message! {
    /// Asks for entries.
    LogRead {
        /// Position of the first entry wanted.
        0 => from: u64,
    }
}
message! {
    /// A page of entries. When `entries` is empty and `next` equals what was asked for, there are no more yet.
    LogPage<'a> {
        /// Position of the oldest entry that the device still holds. Entries before it are lost.
        0 => oldest: u64,
        /// Position to go on from.
        1 => next: u64,
        /// The entries, in ascending order of position.
        2 => entries: List<LogEntry<'a>, MAX_LOG_ENTRIES>,
    }
}
message! {
    /// One entry.
    #[derive(Default)]
    LogEntry<'a> {
        /// Position: 1 greater than that of the entry before it.
        0 => position: u64,
        /// Boot id of the run in which it happened.
        1 => boot_id: u64,
        /// When, microseconds since that boot.
        2 => at_us: u64,
        /// What, as a code: see [`EventCode`]; codes not listed there are the maker's own.
        3 => code: u16,
        /// What, in plain words.
        4 => text: &'a str,
    }
}
message! {
    /// Asks for an entry with words of the tool's own.
    LogNote<'a> {
        /// The words.
        0 => text: &'a str,
    }
}
message! {
    /// The entry stands in the log and stays there like any other.
    LogNoted {
        /// Its position.
        0 => position: u64,
    }
}

/// Event codes that mean the same on every device.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u16)]
pub enum EventCode {
    /// The device started.
    Started = 1,
    /// An alarm level was reached.
    Alarm = 2,
    /// An alarm level was left.
    AlarmCleared = 3,
    /// A fault appeared.
    Fault = 4,
    /// A fault went.
    FaultCleared = 5,
    /// Latches were reset.
    LatchesReset = 6,
    /// New settings came into force.
    SettingsChanged = 7,
    /// A baseline was taken.
    BaselineTaken = 8,
    /// Outputs were inhibited.
    Inhibited = 9,
    /// An inhibit lease lapsed.
    InhibitLapsed = 10,
    /// Outputs were given back.
    Restored = 11,
    /// An output was driven for test.
    Driven = 12,
    /// A restart was asked for.
    Restart = 13,
    /// Date and time were set.
    TimeSet = 14,
    /// A note by a tool.
    Noted = 15,
}
