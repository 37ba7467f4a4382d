//! Reports of a finished job: one HTML page for people, JUnit XML and JSON for machines, plain text for terminals.
//!
//! Everything here is a pure function of its input: the same job gives the same bytes. Nothing is judged here, with
//! one exception that only ever makes things worse: an outcome that contradicts itself (a pass with a failed finding
//! in it) is not shown as a pass, see [`standing::shown_verdict`]. Not here: files, clocks, measuring, deciding.
mod account;
pub mod chart;
mod html;
pub mod input;
mod junit;
pub mod record;
mod result;
mod shown_by;
pub mod standing;
pub mod svg;
mod text;
pub mod words;

pub use account::{account_text, comparison_text, listing_text, wiring_text};
pub use html::{html, page};
pub use input::{Digests, PipeFacts, ReportInput};
pub use junit::{Expected, JunitJob, junit, stage_verdict};
pub use record::Record;
pub use result::{RESULT_FORMAT, RESULT_SCHEMA, result_json};
pub use shown_by::{ShownBy, shown_by};
pub use text::text;

use plumeline_job::folder;

/// A format of the report of one job.
pub struct Format {
    /// The file that it is written to.
    pub file: &'static str,
    /// Writes it.
    pub write: fn(&ReportInput<'_>) -> Result<String, ReportError>,
}
/// What is written when a job is over, one file for each name of [`folder::REPORTS`], in that order.
pub const FORMATS: [Format; folder::REPORTS.len()] = [
    Format { file: folder::RESULT, write: result_json },
    Format { file: folder::JUNIT, write: junit::of_one },
    Format { file: folder::REPORT, write: html },
    Format { file: folder::PAGE, write: page },
];

/// Why a report could not be written. None of these comes from what is in a job; they would be faults of this tool.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The page's template failed.
    #[error("the page could not be filled in: {0}; please report this with the job's journal")]
    Page(#[from] askama::Error),
    /// The JSON could not be written.
    #[error("the result could not be written as JSON: {0}; please report this with the job's journal")]
    Json(#[from] serde_json::Error),
    /// The JUnit XML could not be written.
    #[error("the JUnit XML could not be written: {0}; please report this with the job's journal")]
    Junit(#[from] quick_junit::SerializeError),
}
