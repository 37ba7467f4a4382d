//! What was read of a logger's file: the readings of one column, on the logger's own clock. It is an event of the log, so that whoever
//! replays it needs no file.
//!
//! Not here: how a file is read (the job crate), and how its clock is tied to the log's (the procedure).
use alloc::{string::String, vec::Vec};
use serde::{Deserialize, Serialize};

/// Readings that a logger stored.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct LoggerFile {
    /// Where the file is kept, from the job's folder; what it was called, where it is not kept.
    pub name: String,
    /// Length of the file, bytes.
    pub length: u64,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
    /// The column that was read, as it is headed.
    pub column: String,
    /// The unit of its readings, as it is written.
    pub unit: String,
    /// The file's first time, for people.
    pub first: String,
    /// The same in us since 1970 by the logger's own calendar, where its times have dates.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dated_us: Option<i64>,
    /// The step in which its times are written, us.
    pub step_us: u64,
    /// Each mark of the logger's clock on the file's axis, us after its first row; `None`: it is no time as this file writes them.
    pub marks_us: Vec<Option<i64>>,
    /// Readings in the whole file.
    pub readings: u64,
    /// Time of each reading in us after the file's first row, and what was read, in the order of the file: those about the marks.
    #[serde(skip)]
    pub rows: Vec<(i64, f64)>,
}
