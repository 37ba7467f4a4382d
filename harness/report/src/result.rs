//! `result.json`: what a job came to, for machines.
use crate::{
    ReportError,
    input::{Digests, PipeFacts, ReportInput},
    shown_by::{ShownBy, shown_by},
    standing::shown_verdict,
};
use plumeline_base::Verdict;
use plumeline_procedure::{
    outcome::{Outcome, StageKind},
    plan::{Limits, RulePlan},
};
use serde::Serialize;

/// Version of the format of `result.json`.
pub const RESULT_FORMAT: u32 = 1;
/// JSON Schema (draft 2020-12) of `result.json`.
pub const RESULT_SCHEMA: &str = include_str!("../../../docs/schemas/result.schema.json");

#[derive(Serialize)]
struct ResultFile<'a> {
    format: u32,
    tool: &'a str,
    invented: bool,
    simulated: bool,
    site: &'a str,
    technician: &'a str,
    dates: Vec<Date<'a>>,
    verdict: Verdict,
    /// Nothing is still isolated, locked off or inhibited.
    closed: Closed<'a>,
    outcome: &'a Outcome,
    /// By which means its items were shown.
    #[serde(skip_serializing_if = "Option::is_none")]
    shown_by: Option<ShownBy>,
    overrides: Vec<OverrideFile<'a>>,
    limits: &'a Limits,
    rule: &'a RulePlan,
    pipes: &'a [PipeFacts],
    files: Vec<FileFacts<'a>>,
    digests: &'a Digests,
}

#[derive(Serialize)]
struct Closed<'a> {
    complete: bool,
    still: &'a [String],
}

#[derive(Serialize)]
struct Date<'a> {
    at_us: u64,
    date: &'a str,
}

#[derive(Serialize)]
struct OverrideFile<'a> {
    at_us: u64,
    stage: Option<StageKind>,
    answer: &'a str,
}

#[derive(Serialize)]
struct FileFacts<'a> {
    name: &'a str,
    sha256: &'a str,
    length: u64,
}

/// The result as JSON: keys in a fixed order, two spaces of indentation, a line feed at the end.
///
/// `verdict` is the one to go by ([`shown_verdict`]); `outcome` is the procedure's own. Numbers that are not finite
/// become `null`, which nothing reads as a value.
///
/// # Errors
/// Only if the JSON can't be written, which no job brings about.
pub fn result_json(input: &ReportInput<'_>) -> Result<String, ReportError> {
    let r = input.record;
    let file = ResultFile {
        format: RESULT_FORMAT,
        tool: input.tool,
        invented: input.plan.invented,
        simulated: input.outcome.origin.is_simulated(),
        site: &input.plan.site,
        technician: &input.plan.technician,
        dates: r.dates.iter().map(|(at, date)| Date { at_us: at.as_micros(), date }).collect(),
        verdict: shown_verdict(input.outcome),
        closed: Closed { complete: input.outcome.still.is_empty(), still: &input.outcome.still },
        outcome: input.outcome,
        shown_by: shown_by(input.outcome),
        overrides: r
            .overrides
            .iter()
            .map(|o| OverrideFile { at_us: o.at.as_micros(), stage: o.stage, answer: &o.answer })
            .collect(),
        limits: &input.plan.limits,
        rule: &input.plan.rule,
        pipes: input.pipes,
        files: r.files.iter().map(|(name, sha256, length)| FileFacts { name, sha256, length: *length }).collect(),
        digests: input.digests,
    };
    Ok(serde_json::to_string_pretty(&file)? + "\n")
}
