//! `history.json`: what earlier jobs at the same unit measured, so that a report shows it over the years. It is written when a service
//! visit is prepared, is an input of that job, and judges nothing.
//!
//! Not here: whether those records hold (whoever writes it checks them), and how it is drawn (the report crate).
use crate::{
    TEXT_LIMIT,
    digest::Digest,
    error::{Kind, Problem, Source},
    written,
};
use plumeline_base::Verdict;
use plumeline_procedure::{Outcome, outcome::Figure};
use serde::{Deserialize, Serialize};

/// The version of the format that is read and written.
const FORMAT: u32 = 1;
/// Jobs that are told of, the latest: one a month for twenty years.
pub const MOST: usize = 240;

/// Earlier jobs at a unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct History {
    /// Version of this format.
    pub format: u32,
    /// Serial number of the unit.
    pub serial: String,
    /// The jobs, the oldest first.
    pub jobs: Vec<Past>,
}

/// An earlier job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Past {
    /// Its folder's name.
    pub job: String,
    /// When it began (RFC 3339), where its record knows.
    pub date: Option<String>,
    /// The hash of its journal's last line: which record this was taken from.
    pub head: Digest,
    /// What it came to.
    pub verdict: Verdict,
    /// No real unit or site.
    pub simulated: bool,
    /// What it measured.
    pub measured: Vec<Measured>,
}

/// A figure of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// Inlet of the pipe.
    pub inlet: u8,
    /// The hole, if it is of one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hole: Option<u32>,
    /// What it is.
    pub what: What,
    /// The figure.
    pub figure: Figure,
}

/// What is followed over the years.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// Flow of a pipe.
    Flow,
    /// What closing a hole takes off the flow.
    Drop,
    /// Smoke from a hole until a tenth of its plateau, the mean of its runs.
    Time,
}

/// What a job measured, pipe by pipe and hole by hole; what was put right or is void does not count.
pub fn measured(outcome: &Outcome) -> Vec<Measured> {
    let flows = outcome
        .pipes
        .iter()
        .filter_map(|p| Some(Measured { inlet: p.inlet, hole: None, what: What::Flow, figure: p.measured.clone()? }));
    let drops = outcome.drops();
    let drops = drops.into_iter().map(|((inlet, hole), figure)| Measured {
        inlet,
        hole: Some(hole),
        what: What::Drop,
        figure: figure.clone(),
    });
    let mut all: Vec<Measured> = flows.chain(drops).collect();
    let runs = || outcome.smoke.iter().filter(|r| r.set_aside.is_none());
    let mut places: Vec<(u8, u32)> = runs().map(|r| (r.inlet, r.hole)).collect();
    places.sort_unstable();
    places.dedup();
    all.extend(places.into_iter().filter_map(|(inlet, hole)| {
        let times: Vec<&Figure> =
            runs().filter(|r| (r.inlet, r.hole) == (inlet, hole)).filter_map(|r| r.onset.as_ref()).collect();
        let first = (*times.first()?).clone();
        let mean = times.iter().map(|f| f.value).sum::<f64>() / times.len() as f64;
        let widest = times.iter().filter_map(|f| f.expanded).reduce(f64::max);
        let figure = Figure { value: mean, expanded: widest, ..first };
        Some(Measured { inlet, hole: Some(hole), what: What::Time, figure })
    }));
    all
}

impl History {
    /// These jobs at a unit, put in order; the same record counts once.
    pub fn new(serial: String, mut jobs: Vec<Past>) -> Self {
        jobs.sort_by(|a, b| (&a.date, &a.job).cmp(&(&b.date, &b.job)));
        let mut seen = std::collections::BTreeSet::new();
        jobs.retain(|past| seen.insert(past.head.to_string()));
        jobs.drain(..jobs.len().saturating_sub(MOST));
        Self { format: FORMAT, serial, jobs }
    }
    /// As a file.
    ///
    /// # Errors
    /// None that is known: memory alone is written to.
    pub fn to_json(&self) -> Result<Vec<u8>, Problem> {
        let told = |e: serde_json::Error| {
            Problem::with_file(Kind::Syntax, crate::folder::HISTORY, e.to_string(), "tell the makers of plumeline")
        };
        let mut bytes = serde_json::to_vec_pretty(self).map_err(told)?;
        bytes.push(b'\n');
        Ok(bytes)
    }
}

/// Reads it. `name` is what messages call it.
///
/// # Errors
/// What is wrong, with its line, column and remedy.
pub fn parse(name: &str, bytes: &[u8]) -> Result<History, Problem> {
    let source = Source::new(name, bytes, TEXT_LIMIT)?;
    let history: History = written::from_json(&source)?;
    let wrong = |cause: String, remedy: &str| Err(Problem::with_file(Kind::Version, name, cause, remedy));
    if history.format != FORMAT {
        let cause = format!("this file says that its format is {}; this tool reads format {FORMAT}", history.format);
        return wrong(cause, "use the version of the tool that wrote the file");
    }
    if history.jobs.len() > MOST {
        return wrong(format!("it tells of {} jobs", history.jobs.len()), "keep the latest 240");
    }
    Ok(history)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn past(job: &str, date: &str, head: u8) -> Past {
        Past {
            job: job.into(),
            date: Some(date.into()),
            head: Digest::of(&[head]),
            verdict: Verdict::Pass,
            simulated: true,
            measured: vec![Measured {
                inlet: 1,
                hole: None,
                what: What::Flow,
                figure: Figure::with(30.0, 1.0, "L/min"),
            }],
        }
    }

    #[test]
    fn it_reads_back_in_the_order_of_years_each_record_once() {
        let history = History::new(
            "s1".into(),
            vec![
                past("b", "2027-01-01T08:00:00Z", 2),
                past("a", "2026-01-01T08:00:00Z", 1),
                past("copy", "2026-01-01T08:00:00Z", 1),
            ],
        );
        assert_eq!(history.jobs.iter().map(|p| p.job.as_str()).collect::<Vec<_>>(), ["a", "b"]);
        assert_eq!(parse("history.json", &history.to_json().unwrap()).unwrap(), history);
        for wrong in ["", "{}", "[]", "{\"format\":2,\"serial\":\"\",\"jobs\":[]}"] {
            assert!(parse("history.json", wrong.as_bytes()).is_err(), "{wrong}");
        }
    }
}
