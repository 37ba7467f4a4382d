//! The page for people.
use crate::{ReportError, input::ReportInput};

/// The report as one self-contained HTML page: no script, nothing loaded from elsewhere.
pub fn html(input: &ReportInput<'_>) -> Result<String, ReportError> {
    Ok(crate::words::clean(&input.outcome.because))
}
