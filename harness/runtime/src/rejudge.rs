//! A log that another version wrote, judged anew: what that version made of it, and where this one differs.
//!
//! The recorded inputs are all there is. An answer is matched by what was asked, because prompts are numbered as they come;
//! a request that only this version sends has no reply in the log, and what hangs on it stays undecided.
//! Not here: the replay itself.
use crate::{failure::Failure, job_files::Files, keep::cite, operator::OpenPrompts};
use plumeline_base::{
    Instant, Verdict,
    input::{Input, OperatorAct},
};
use plumeline_job::{folder, journal};
use plumeline_procedure::{Act, Entry};
use plumeline_trace::Citation;
use serde_json::Value;
use std::collections::BTreeMap;

/// What was made of a log by the version that wrote it, and what differs now.
#[derive(Default)]
pub struct RecordedRun {
    /// The journal, of whatever version.
    lines: Vec<journal::Line<Value>>,
    asked: BTreeMap<u32, Act>,
    /// Lines whose citation was compared with the log, and lines that came out again.
    cited: usize,
    came: usize,
    line: Option<String>,
    versions: Vec<String>,
    sent: u64,
    otherwise: u64,
    first: Option<Instant>,
    unasked: u64,
    /// The shipped description that stands in for one that the log does not hold.
    described: Option<String>,
}

impl RecordedRun {
    /// From the journal beside the log, if there is one.
    ///
    /// # Errors
    /// A journal whose chain does not hold.
    pub fn new(kept: Option<&[u8]>) -> Result<Self, Failure> {
        let lines = match kept {
            Some(bytes) => journal::read::<Value>(folder::JOURNAL, bytes)?.lines,
            None => Vec::new(),
        };
        let asked = lines.iter().filter(|l| l.entry["entry"] == "asked").filter_map(|l| {
            let id = u32::try_from(l.entry["id"].as_u64()?).ok()?;
            Some((id, serde_json::from_value(l.entry["act"].clone()).ok()?))
        });
        Ok(Self { asked: asked.collect(), lines, ..Self::default() })
    }
    /// The verdict then.
    pub fn verdict(&self) -> Option<Verdict> {
        let ended = self.lines.iter().rev().find(|l| l.entry["entry"] == "ended")?;
        serde_json::from_value(ended.entry["verdict"].clone()).ok()
    }

    /// The files of the log; of a version that entered no descriptions, with the shipped one of the planned model.
    ///
    /// # Errors
    /// Files that are not sound.
    pub(crate) fn described(&mut self, files: &Files) -> Result<Files, Failure> {
        let mut files = files.clone();
        self.described = files.described_since()?;
        Ok(files)
    }

    /// An input of the log, as it is given to the procedure of this version.
    ///
    /// # Errors
    /// The journal cites another log here.
    pub(crate) fn input(&mut self, input: Input, at: &Citation, open: &OpenPrompts) -> Result<Input, Failure> {
        while let Some(line) = self.lines.get(self.cited).filter(|l| l.log.index <= at.index) {
            if line.log != cite(at) {
                return Err(Failure::input(
                    format!("{}:{}: the line follows from another log", folder::JOURNAL, self.cited + 1),
                    "put the journal that belongs to the trace beside it, or none",
                ));
            }
            self.cited += 1;
        }
        Ok(match input {
            Input::Tool { version, format } => {
                if !self.versions.contains(&version) {
                    self.versions.push(version.clone());
                }
                Input::Tool { version, format }
            }
            Input::Operator(OperatorAct { prompt, answer, page }) => {
                let now = match self.asked.get(&prompt) {
                    Some(act) => open.iter().find(|(_, p)| p.act == *act).map(|(_, p)| p.id),
                    None => Some(prompt),
                };
                self.unasked += u64::from(now.is_none());
                // Prompts are numbered from 1: an answer to nothing that is asked now answers nothing.
                Input::Operator(OperatorAct { prompt: now.unwrap_or(0), answer, page })
            }
            other => other,
        })
    }
    /// A record of bytes sent, and whether the same are sent now.
    pub(crate) fn sent(&mut self, at: Instant, same: bool) {
        self.sent += 1;
        if !same {
            self.differs(at);
        }
    }
    /// Something is sent now, or is not, where it was otherwise.
    pub(crate) fn differs(&mut self, at: Instant) {
        self.otherwise += 1;
        self.first.get_or_insert(at);
    }
    /// An entry that comes out now. The first that differs is kept.
    pub(crate) fn entry(&mut self, at: Instant, from: &Citation, entry: &Entry) -> Result<(), Failure> {
        let now = serde_json::to_value(entry).map_err(|e| Failure::internal(e.to_string()))?;
        let then = self.lines.get(self.came);
        self.came += 1;
        let same = then.is_some_and(|l| (l.at_us, l.log.index, &l.entry) == (at.as_micros(), from.index, &now));
        if !same && self.line.is_none() && !self.lines.is_empty() {
            let words = then.map_or_else(|| "nothing".into(), |l| told(Instant::from_micros(l.at_us), &l.entry));
            self.line = Some(format!("{}\n  then: {words}\n  now:  {}", self.came, told(at, &now)));
        }
        Ok(())
    }

    /// What differs, in lines for people.
    pub fn told(&self) -> Vec<String> {
        let mut told = vec![format!(
            "judged anew by version {}; written by version {}",
            env!("CARGO_PKG_VERSION"),
            self.versions.join(", ")
        )];
        told.push(match self.first {
            None => format!("bytes sent: the same, {} records", self.sent),
            Some(at) => {
                format!("bytes sent: {} differences in {} records, the first at {at}", self.otherwise, self.sent)
            }
        });
        told.push(match &self.line {
            _ if self.lines.is_empty() => {
                "journal: there is none beside the trace; answers are matched by number".into()
            }
            Some(line) => {
                format!("journal: {} lines then, {} now, other ones from line {line}", self.lines.len(), self.came)
            }
            None if self.came < self.lines.len() => {
                format!("journal: {} lines then, the first {} of them now", self.lines.len(), self.came)
            }
            None => format!("journal: the same, {} lines", self.came),
        });
        if let Some(model) = &self.described {
            told.push(format!(
                "description: the log holds none of the replacement; read with the one of {model} that comes with the tool"
            ));
        }
        if self.unasked > 0 {
            told.push(format!("answers: {} to what is not asked now, or not at that moment", self.unasked));
        }
        told
    }
}

fn told(at: Instant, entry: &Value) -> String {
    format!("at {at}: {entry}")
}
