//! What a batch came to: `result.json` for programs, a table for people. Its schema is `docs/schemas/batch-result.schema.json`.
use super::file::Entry;
use plumeline_base::Verdict;
use plumeline_job::{TEXT_LIMIT, digest::Digest, folder::Folder, input_file};
use plumeline_procedure::outcome::{StageKind, Subject};
use plumeline_runtime::{failure::Failure, job_files::Files};
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, path::Path};

/// Version of the format.
const FORMAT: u32 = 1;

/// What a batch came to. The same batch against the bundled simulator gives the same bytes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema), schemars(title = "result.json of a batch"))]
#[serde(deny_unknown_fields)]
pub struct BatchResult {
    /// Format version: 1.
    #[cfg_attr(test, schemars(extend("const" = FORMAT)))]
    pub format: u32,
    /// Version of the tool.
    pub tool: String,
    /// Name of the batch file.
    pub batch: String,
    /// Every job came to what is expected of it.
    pub as_expected: bool,
    /// The jobs in the order of the batch file.
    pub jobs: Vec<JobResult>,
}

/// What a job of a batch came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct JobResult {
    /// Its name, and that of its folder beside this file.
    pub name: String,
    /// The port it was run through.
    pub port: String,
    /// Its seed, if the batch gives it one.
    pub seed: Option<u64>,
    /// SHA-256 over the job's files, its arguments, and the files that they name.
    #[cfg_attr(test, schemars(with = "String", regex(pattern = "^[0-9a-f]{64}$")))]
    pub inputs: Digest,
    /// What was expected.
    pub expected: Wanted,
    /// What it came to.
    pub came_to: CameTo,
    /// It came to what was expected.
    pub as_expected: bool,
    /// In which ways it did not.
    pub missed: Vec<String>,
    /// What earlier attempts came to, which did not come to what was expected; their folders are `NAME.attempt-1` and so on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub attempts_before: Vec<CameTo>,
}

/// What was expected of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Wanted {
    /// The verdict.
    #[cfg_attr(test, schemars(with = "String", extend("enum" = ["pass", "fail", "undecided"])))]
    pub verdict: Verdict,
    /// What must be among that which did not pass.
    pub about: Vec<String>,
    /// What single stages must come to.
    #[cfg_attr(test, schemars(transform = super::file::tests::stages))]
    pub stages: BTreeMap<StageKind, String>,
}

/// How a job ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// It was run to its end.
    Over,
    /// It ended without a result.
    NoResult,
    /// It was not run.
    NotRun,
}

/// What a job came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct CameTo {
    /// How it ended.
    pub how: How,
    /// The verdict, if it is over.
    #[cfg_attr(test, schemars(with = "Option<String>", extend("enum" = ["pass", "fail", "undecided", null])))]
    pub verdict: Option<Verdict>,
    /// What it hangs on, or why there is no result.
    pub because: String,
    /// Exit code of `plumeline run`, if it was not ended from outside.
    pub exit_code: Option<i32>,
}
impl CameTo {
    /// A job that ended without a result.
    pub fn nothing(because: impl Into<String>, exit_code: Option<i32>) -> Self {
        Self { how: How::NoResult, verdict: None, because: because.into(), exit_code }
    }
    /// In a word.
    pub fn words(&self) -> &'static str {
        match (self.how, self.verdict) {
            (How::Over, Some(verdict)) => verdict.word(),
            (How::NotRun, _) => "not run",
            _ => "no result",
        }
    }
}

impl BatchResult {
    /// A batch of which nothing was run yet.
    pub fn begin(batch: &Path, jobs: &[Entry]) -> Result<Self, Failure> {
        let batch = batch.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let jobs = jobs.iter().map(begin).collect::<Result<_, _>>()?;
        Ok(Self { format: FORMAT, tool: env!("CARGO_PKG_VERSION").into(), batch, as_expected: false, jobs })
    }
    /// Takes over what an earlier run came to, for jobs that are over and would be run with just the same.
    pub fn take_over(&mut self, earlier: Self) {
        for job in &mut self.jobs {
            let same = |e: &&JobResult| {
                e.came_to.how == How::Over
                    && (&e.name, &e.inputs, &e.expected) == (&job.name, &job.inputs, &job.expected)
            };
            if let Some(same) = earlier.jobs.iter().find(same) {
                *job = same.clone();
            }
        }
    }
    /// As it is written: keys in a fixed order, indented, with a line feed at the end.
    pub fn json(&mut self) -> Result<String, Failure> {
        self.as_expected = self.jobs.iter().all(|j| j.as_expected);
        Ok(serde_json::to_string_pretty(self).map_err(|e| Failure::internal(e.to_string()))? + "\n")
    }
    /// A table with a line for each job, what was missed under it, and a line for all.
    pub fn table(&self) -> String {
        let width = self.jobs.iter().map(|j| j.name.len()).max().unwrap_or(0).max(3);
        let mut out = format!("{:width$}  expected   came to\n", "job");
        for j in &self.jobs {
            let standing = if j.as_expected { "as expected" } else { "NOT AS EXPECTED" };
            out.push_str(&format!(
                "{:width$}  {:9}  {:9}  {standing}\n",
                j.name,
                j.expected.verdict.word(),
                j.came_to.words()
            ));
            for missed in &j.missed {
                out.push_str(&format!("{:width$}    {missed}\n", ""));
            }
        }
        let good = self.jobs.iter().filter(|j| j.as_expected).count();
        out.push_str(&format!("{good} of {} jobs came to what is expected of them", self.jobs.len()));
        out
    }
}

fn begin(job: &Entry) -> Result<JobResult, Failure> {
    let mut all = Vec::new();
    let mut add = |bytes: &[u8]| {
        all.extend((bytes.len() as u64).to_le_bytes());
        all.extend(bytes);
    };
    for (name, bytes) in Files::read(&Folder::open(&job.files)?)?.0 {
        add(name.as_bytes());
        add(&bytes);
    }
    for text in std::iter::once(&job.port).chain(&job.arguments) {
        add(text.as_bytes());
    }
    for path in &job.named {
        add(&input_file::read(path, "read it", TEXT_LIMIT as u64)?);
    }
    let e = &job.expected;
    let stages = e.stages.iter().map(|(stage, v)| (*stage, v.map_or("not-done", Verdict::word).to_owned()));
    let expected = Wanted {
        verdict: e.verdict,
        about: e.about.iter().map(Subject::to_string).collect(),
        stages: stages.collect(),
    };
    let came_to = CameTo { how: How::NotRun, verdict: None, because: "not run".into(), exit_code: None };
    Ok(JobResult {
        name: job.name.clone(),
        port: job.port.clone(),
        seed: job.seed,
        inputs: Digest::of(&all),
        expected,
        missed: vec![came_to.because.clone()],
        came_to,
        as_expected: false,
        attempts_before: Vec::new(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn docs_hold_the_current_schema() {
        let schema = schemars::schema_for!(BatchResult);
        let text = serde_json::to_string_pretty(&schema).unwrap() + "\n";
        plumeline_job::schema::holds("batch-result.schema.json", text);
    }
}
