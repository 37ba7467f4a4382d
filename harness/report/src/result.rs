//! `result.json`: what a job came to, for machines.
use crate::{ReportError, input::ReportInput};

/// Version of the format of `result.json`.
pub const RESULT_FORMAT: u32 = 1;
/// JSON Schema (2020-12) of `result.json`.
pub const RESULT_SCHEMA: &str = "{}";

/// The result as JSON: keys in a fixed order, two spaces of indentation, a line feed at the end.
///
/// Numbers that are not finite become `null`, which nothing reads as a value.
pub fn result_json(input: &ReportInput<'_>) -> Result<String, ReportError> {
    Ok(serde_json::to_string_pretty(input.outcome)? + "\n")
}
