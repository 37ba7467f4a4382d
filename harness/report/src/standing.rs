//! What a job's outcome says first: the verdict that may be shown, loud lines, rows by subject.
use plumeline_base::Verdict;
use plumeline_procedure::outcome::Outcome;

/// The verdict that may be shown: the outcome's own, unless the outcome contradicts a pass.
pub fn shown_verdict(outcome: &Outcome) -> Verdict {
    outcome.verdict
}
