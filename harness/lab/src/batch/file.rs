//! `batch.toml`: which jobs, and what each is expected to come to.
//!
//! Expectations stand here and not in a job's plan: a plan says what a site is judged by and enters the record; what a
//! test of the tool hopes for has no place in either.
use plumeline_base::Verdict;
use plumeline_job::{
    Kind, Problem, TEXT_LIMIT,
    error::Source,
    folder::PLAN,
    input_file,
    written::{self, Spanned},
};
use plumeline_link::LinkSpec;
use plumeline_procedure::outcome::{StageKind, Subject};
use plumeline_report::Expected;
use plumeline_runtime::{failure::Failure, port, scenario};
use serde::Deserialize;
use std::{
    collections::{BTreeMap, BTreeSet},
    path::{Path, PathBuf},
    time::Duration,
};

/// What is written where.
#[derive(Debug, Deserialize)]
#[cfg_attr(
    test,
    derive(schemars::JsonSchema),
    schemars(title = "batch.toml: jobs and what they are expected to come to")
)]
#[serde(deny_unknown_fields)]
struct File {
    /// Format version: 1.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    format: Spanned<i64>,
    /// The jobs, in the order in which they are run.
    job: Vec<Job>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct Job {
    /// Its name, and that of its folder: letters, digits, `-`, `_` and `.`.
    #[cfg_attr(test, schemars(regex(pattern = "^[A-Za-z0-9_-][A-Za-z0-9._-]*$")))]
    name: Spanned<String>,
    /// Folder with the job's own files, relative to this file: pipework.toml, plan.toml, settings-new.json.
    files: Spanned<String>,
    /// The unit, as for `plumeline run --port`; the bundled simulator if not stated.
    #[cfg_attr(test, schemars(regex(pattern = "^(serial|usb|tcp|sim|display):")))]
    port: Option<Spanned<String>>,
    /// With `sim:`: the scenario, relative to this file; without one, a sound site.
    scenario: Option<Spanned<String>>,
    /// With `sim:`: seed of everything that is drawn, in place of the scenario's; also of the line's faults.
    seed: Option<u64>,
    /// With `sim:`: defects beside the scenario's.
    #[serde(default)]
    defects: Vec<Spanned<String>>,
    /// Answers for the unattended run, relative to this file; needed with every port but `sim:`.
    operator: Option<Spanned<String>>,
    /// Faults of the line.
    faults: Option<Spanned<String>>,
    /// With a simulator in scaled time: how much faster than real time.
    #[cfg_attr(test, schemars(extend("exclusiveMinimum" = 0)))]
    speed: Option<Spanned<f64>>,
    /// It is ended after so many seconds of this computer's clock, and has then no result.
    #[cfg_attr(test, schemars(extend("exclusiveMinimum" = 0)))]
    deadline_s: Option<Spanned<f64>>,
    /// So often it is run again where it does not come to what is expected; every attempt is kept and told.
    #[cfg_attr(test, schemars(range(max = 9)))]
    retries: Option<Spanned<u8>>,
    /// What it is expected to come to; a pass if not stated.
    #[serde(default)]
    expect: Expect,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct Expect {
    /// The verdict: pass if not stated.
    #[cfg_attr(test, schemars(extend("enum" = ["pass", "fail", "undecided"])))]
    verdict: Option<Spanned<String>>,
    /// What must be among that which did not pass, such as "pipe 1 hole 4", "setting fan.speed", "link".
    #[serde(default)]
    about: Vec<Spanned<String>>,
    /// What single stages must come to: a verdict, or "not-done".
    #[serde(default)]
    #[cfg_attr(test, schemars(transform = tests::stages))]
    stages: BTreeMap<String, Spanned<String>>,
}

/// A job of a batch, checked.
#[derive(Debug)]
pub struct Entry {
    /// Its name, and that of its folder.
    pub name: String,
    /// Where its files are taken from.
    pub files: PathBuf,
    /// The unit.
    pub port: String,
    /// The unit is the bundled simulator.
    pub simulated: bool,
    /// More arguments for `plumeline run`, and the files among them.
    pub arguments: Vec<String>,
    /// Files that the arguments name.
    pub named: Vec<PathBuf>,
    /// Seed, if it has one of its own.
    pub seed: Option<u64>,
    /// It is ended after so long.
    pub deadline: Option<Duration>,
    /// So often it is run again where it does not come to what is expected.
    pub retries: u8,
    /// What it is expected to come to.
    pub expected: Expected,
}

/// Reads a batch.
pub fn read(path: &Path) -> Result<Vec<Entry>, Failure> {
    let bytes = input_file::read(path, "read the batch", TEXT_LIMIT as u64)?;
    let name = path.display().to_string();
    let source = Source::new(&name, &bytes, TEXT_LIMIT)?;
    let file: File = written::from_toml(&source)?;
    written::version(&source, &file.format, 1)?;
    if file.job.is_empty() {
        let remedy = "add a [[job]] with a name and files";
        return Err(Problem::with_file(Kind::MissingKey, &name, "there is no job in it", remedy).into());
    }
    let mut names = BTreeSet::new();
    let here = path.parent().unwrap_or(Path::new("."));
    let reader = Reader { source: &source, here };
    file.job
        .into_iter()
        .map(|job| {
            let name = job.name.as_ref().to_lowercase();
            if !names.insert(name) {
                return Err(reader.refuse(
                    Kind::Duplicate,
                    &job.name,
                    "is the name of another job",
                    "name each differently",
                ));
            }
            reader.entry(job)
        })
        .collect()
}

struct Reader<'a> {
    source: &'a Source<'a>,
    here: &'a Path,
}
impl Reader<'_> {
    fn refuse(&self, kind: Kind, word: &Spanned<String>, what: &str, remedy: impl Into<String>) -> Failure {
        self.source.problem(kind, word.span(), format!("`{}` {what}", word.as_ref()), remedy).into()
    }
    /// Says of a failure where in the batch it arose.
    fn at<T>(&self, word: &Spanned<String>, read: Result<T, Failure>) -> Result<T, Failure> {
        read.map_err(|failure| {
            let (cause, remedy) = match &failure {
                Failure::Problem(p) => (p.cause(), p.remedy()),
                Failure::Other { cause, remedy, .. } => (cause.as_str(), remedy.as_str()),
            };
            self.source.problem(Kind::Range, word.span(), cause, remedy).into()
        })
    }
    fn entry(&self, job: Job) -> Result<Entry, Failure> {
        let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
        let name = job.name.as_ref();
        if name.is_empty() || name.len() > 100 || name.starts_with('.') || !name.chars().all(plain) {
            let remedy = "use letters, digits, `-`, `_` and `.`";
            return Err(self.refuse(Kind::Range, &job.name, "can't be the name of a folder", remedy));
        }
        let files = self.here.join(job.files.as_ref());
        if !files.join(PLAN).is_file() {
            let remedy = "name a folder with pipework.toml, plan.toml and settings-new.json, relative to the batch";
            return Err(self.refuse(Kind::Absent, &job.files, &format!("holds no {PLAN}"), remedy));
        }
        let port = job.port.as_ref().map_or("sim:", |p| p.as_ref()).to_owned();
        let spec = match &job.port {
            Some(word) => self.at(word, port::parse(&port))?,
            None => port::parse(&port)?,
        };
        let simulated = matches!(spec, LinkSpec::Sim(_));
        let mut named = Vec::new();
        let mut arguments = Vec::new();
        let mut add = |option: &str, value: String| arguments.extend([option.to_owned(), value]);
        if let (false, Some(word)) = (simulated, job.scenario.iter().chain(&job.defects).next()) {
            let remedy = "leave it out: what is at the end of a line is what it is";
            return Err(self.refuse(Kind::Conflict, word, "goes with the port sim: alone", remedy));
        }
        if let Some(word) = &job.scenario {
            let path = self.here.join(word.as_ref());
            self.at(word, scenario::read(&path))?;
            add("--scenario", path.display().to_string());
            named.push(path);
        }
        for word in &job.defects {
            self.at(word, scenario::defects(std::slice::from_ref(word.as_ref())))?;
            add("--defect", word.as_ref().clone());
        }
        match &job.operator {
            Some(word) => {
                let path = self.here.join(word.as_ref());
                self.at(word, plumeline_runtime::operator::read(&path))?;
                add("--operator", path.display().to_string());
                named.push(path);
            }
            None if simulated => {}
            None => {
                let remedy = "add operator = \"operator.toml\": a batch runs unattended";
                return Err(self.refuse(Kind::MissingKey, &job.name, "has a real port and nobody to answer", remedy));
            }
        }
        if let Some(word) = &job.faults {
            self.at(word, port::faults(Some(word.as_ref())))?;
            add("--faults", word.as_ref().clone());
        }
        if let Some(speed) = &job.speed {
            let value = *speed.as_ref();
            if !value.is_finite() || value <= 0.0 {
                let cause = format!("`{value}` is no speed");
                return Err(self.source.problem(Kind::Range, speed.span(), cause, "write a number over 0").into());
            }
            add("--speed", value.to_string());
        }
        if let Some(seed) = job.seed {
            add("--seed", seed.to_string());
        }
        let expected = self.expected(&job.expect)?;
        let deadline = job.deadline_s.as_ref().map(|seconds| self.deadline(seconds)).transpose()?;
        let retries = job.retries.as_ref().map_or(Ok(0), |retries| self.retries(retries))?;
        let (name, seed) = (name.clone(), job.seed);
        Ok(Entry { name, files, port, simulated, arguments, named, seed, deadline, retries, expected })
    }
    fn deadline(&self, seconds: &Spanned<f64>) -> Result<Duration, Failure> {
        let value = *seconds.as_ref();
        Duration::try_from_secs_f64(value).ok().filter(|d| !d.is_zero()).ok_or_else(|| {
            let cause = format!("`{value}` is no deadline");
            self.source.problem(Kind::Range, seconds.span(), cause, "write a number of seconds over 0").into()
        })
    }
    fn retries(&self, retries: &Spanned<u8>) -> Result<u8, Failure> {
        let value = *retries.as_ref();
        if value <= 9 {
            return Ok(value);
        }
        let cause = format!("`{value}` are too many retries");
        Err(self.source.problem(Kind::Range, retries.span(), cause, "write 0 to 9").into())
    }
    fn expected(&self, e: &Expect) -> Result<Expected, Failure> {
        let verdict = match &e.verdict {
            None => Verdict::Pass,
            Some(word) => {
                verdict_named(word.as_ref()).ok_or_else(|| self.unknown(word, "a verdict", &VERDICTS[..3]))?
            }
        };
        let mut about = Vec::new();
        for word in &e.about {
            if verdict.is_pass() {
                let remedy = "expect a fail or undecided, or leave `about` out";
                return Err(self.refuse(Kind::Conflict, word, "passes in a job that passes", remedy));
            }
            let remedy = "write for example \"pipe 1 hole 4\", \"pipe 2\", \"setting fan.speed\", \"output 1\", \"zone\", \"link\" or \"job\"";
            let subject = Subject::parse(word.as_ref());
            about.push(
                subject.ok_or_else(|| self.refuse(Kind::UnknownName, word, "is nothing that is judged", remedy))?,
            );
        }
        let mut stages = Vec::new();
        for (stage, wanted) in &e.stages {
            let Some(kind) = StageKind::parse(stage) else {
                let remedy = format!("the stages are: {}", StageKind::ALL.map(StageKind::name).join(", "));
                let cause = format!("there is no stage `{stage}`");
                return Err(self.source.problem(Kind::UnknownName, wanted.span(), cause, remedy).into());
            };
            let wanted = match wanted.as_ref().as_str() {
                "not-done" => None,
                word => Some(verdict_named(word).ok_or_else(|| self.unknown(wanted, "an expectation", &VERDICTS))?),
            };
            stages.push((kind, wanted));
        }
        stages.sort_by_key(|(stage, _)| *stage);
        Ok(Expected { verdict, about, stages })
    }
    fn unknown(&self, word: &Spanned<String>, what: &str, known: &[&str]) -> Failure {
        written::unknown_name(self.source, word, what, known.iter().copied()).into()
    }
}

/// What may be expected of a stage; of a job all but the last.
const VERDICTS: [&str; 4] = ["pass", "fail", "undecided", "not-done"];

fn verdict_named(word: &str) -> Option<Verdict> {
    [Verdict::Pass, Verdict::Fail, Verdict::Undecided].into_iter().find(|v| v.word() == word)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use schemars::Schema;

    /// Stages by name, and what may be expected of each.
    pub(crate) fn stages(schema: &mut Schema) {
        schema.insert("propertyNames".into(), serde_json::json!({ "enum": StageKind::ALL.map(StageKind::name) }));
        schema.insert("additionalProperties".into(), serde_json::json!({ "enum": VERDICTS }));
    }

    #[test]
    fn docs_hold_the_current_schema() {
        plumeline_job::schema::holds("batch.schema.json", plumeline_job::schema::of_toml::<File>());
    }

    fn example() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/examples/batch.toml")
    }

    #[test]
    fn the_example_is_read() {
        let jobs = read(&example()).unwrap();
        assert_eq!(jobs.iter().map(|j| j.name.as_str()).collect::<Vec<_>>(), ["sound", "hole-blocked", "cable-lost"]);
        assert_eq!(jobs[1].expected.verdict, Verdict::Fail);
        assert_eq!(jobs[1].expected.about, [Subject::Hole(1, 3)]);
    }

    #[test]
    fn slips_are_refused_with_their_place() {
        let good = std::fs::read_to_string(example()).unwrap();
        let dir = std::env::temp_dir().join(format!("plumeline-batch-{}", std::process::id()));
        std::fs::create_dir_all(&dir).unwrap();
        let path = dir.join("batch.toml");
        let files = example().parent().unwrap().join("../../harness/cli/demo/small");
        let refused = |from: &str, to: &str| {
            let text = good.replace("../../harness/cli/demo/small", files.to_str().unwrap());
            let spoilt = text.replacen(from, to, 1);
            assert_ne!(spoilt, text, "{from}");
            std::fs::write(&path, spoilt).unwrap();
            let message = read(&path).unwrap_err().render(false);
            assert!(message.contains("batch.toml:"), "{message}");
            message
        };
        for (from, to, says) in [
            ("name = \"sound\"", "name = \"so/und\"", "can't be the name of a folder"),
            ("name = \"sound\"", "name = \"Hole-blocked\"", "the name of another job"),
            ("name = \"sound\"", "nam = \"sound\"", "there is no key"),
            ("name = \"sound\"", "name = \"sound\"\nport = \"tcp:\"", "does not name a link"),
            ("name = \"sound\"", "name = \"sound\"\nport = \"tcp:localhost:1\"", "nobody to answer"),
            ("name = \"sound\"", "name = \"sound\"\nscenario = \"none.toml\"", "can't read the scenario"),
            ("name = \"sound\"", "name = \"sound\"\nspeed = 0", "no speed"),
            ("verdict = \"fail\"", "verdict = \"fails\"", "did you mean \"fail\"?"),
            ("verdict = \"fail\"", "verdict = \"pass\"", "passes in a job that passes"),
            ("pipe 1 hole 3", "hole 3", "nothing that is judged"),
            ("prove-flow =", "prove-flo =", "there is no stage `prove-flo`"),
            ("hole-blocked:pipe=1,hole=3", "hole-bloked", "hole-bloked"),
            ("unplug=", "unplugged=", "not a fault"),
        ] {
            let message = refused(from, to);
            assert!(message.contains(says), "{says}: {message}");
        }
        std::fs::remove_dir_all(&dir).unwrap();
    }
}
