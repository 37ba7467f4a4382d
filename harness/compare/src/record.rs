//! What a comparison takes from a record: its result and the settings kept with it.
use plumeline_base::Verdict;
use plumeline_detector::settings::Settings;
use plumeline_measure::stats::normal_quantile;
use plumeline_procedure::outcome::Outcome;
use serde::Deserialize;
use std::fmt;

/// What is taken from one record.
#[derive(Clone, Debug)]
pub struct Record {
    /// The site, as its plan names it.
    pub site: String,
    /// When it began (RFC 3339), where the record knows.
    pub date: Option<String>,
    /// The verdict to go by.
    pub verdict: Verdict,
    /// Invented, as its plan says.
    pub invented: bool,
    /// Coverage of its expanded uncertainties.
    pub coverage: f64,
    /// What it came to.
    pub outcome: Outcome,
    /// What the unit that it found held.
    pub found: Option<Settings>,
    /// What its unit was left with.
    pub left: Option<Settings>,
}

/// A result that can't be compared.
#[derive(Debug)]
pub struct Unreadable {
    /// What is wrong.
    pub cause: String,
    /// What to do.
    pub remedy: &'static str,
}
impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.cause, self.remedy)
    }
}
impl std::error::Error for Unreadable {}

#[derive(Deserialize)]
struct ResultFile {
    format: u32,
    site: String,
    invented: bool,
    verdict: Verdict,
    dates: Vec<Date>,
    rule: Rule,
    outcome: Outcome,
}
#[derive(Deserialize)]
struct Date {
    date: String,
}
#[derive(Deserialize)]
struct Rule {
    coverage: f64,
}

impl Record {
    /// Reads a `result.json` of format `format`. `found` and `left` are the settings kept beside it.
    ///
    /// # Errors
    /// What is no such result.
    pub fn read(
        bytes: &[u8],
        format: u32,
        found: Option<Settings>,
        left: Option<Settings>,
    ) -> Result<Self, Unreadable> {
        let remedy =
            "write it anew from the trace with `plumeline report`, by the version of the tool that did the job";
        let file: ResultFile = serde_json::from_slice(bytes)
            .map_err(|e| Unreadable { cause: format!("it is no result of a job: {e}"), remedy })?;
        if file.format != format {
            let cause = format!("it is a result of format {}, where {format} is read", file.format);
            return Err(Unreadable { cause, remedy });
        }
        if !(file.rule.coverage > 0.0 && file.rule.coverage < 1.0) {
            return Err(Unreadable { cause: format!("its coverage is {}", file.rule.coverage), remedy });
        }
        Ok(Self {
            site: file.site,
            date: file.dates.into_iter().next().map(|d| d.date),
            verdict: file.verdict,
            invented: file.invented,
            coverage: file.rule.coverage,
            outcome: file.outcome,
            found,
            left,
        })
    }
    /// How many standard uncertainties its expanded ones are.
    pub(crate) fn k(&self) -> f64 {
        normal_quantile(0.5 + self.coverage / 2.0)
    }
}
