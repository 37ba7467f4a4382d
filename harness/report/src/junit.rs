//! JUnit XML of one or more jobs, for build servers.
//!
//! A fail becomes a failure; whatever is undecided, void or not done becomes an error, never a skip that counts as
//! success. Skipped is only what judges nothing: what was or was not learnt of the outgoing unit.
use crate::{
    ReportError, ReportInput,
    standing::{judges, shown_verdict},
    words::{self, clean},
};
use plumeline_base::{Instant, Verdict};
use plumeline_job::folder;
use plumeline_procedure::outcome::{Finding, Outcome, StageKind, Subject};
use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus, TestSuite};

/// A job to be reported as a test suite.
#[derive(Clone, Debug)]
pub struct JunitJob<'a> {
    /// Name of the job, usually of its folder.
    pub name: &'a str,
    /// What it came to, or why that is not known: the job was not run to an end.
    pub outcome: Result<&'a Outcome, &'a str>,
    /// What it was expected to come to; `None` is a pass.
    ///
    /// A job that is expected to pass reports every stage and finding as a test of its own. One that is expected not
    /// to pass is a single test: it succeeds if the job came to just that.
    pub expected: Option<Expected>,
    /// More that tells this run from others: port, seed, digests; each a name and its value.
    pub properties: Vec<(&'static str, String)>,
    /// Paths of files that a build server may keep beside its result.
    pub attachments: Vec<String>,
}

/// What a scripted job is expected to come to.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// The verdict.
    pub verdict: Verdict,
    /// Subjects that must be among those that did not pass: a job that fails for another reason is no success.
    pub about: Vec<Subject>,
    /// What single stages must come to; `None`: the stage must not be done.
    pub stages: Vec<(StageKind, Option<Verdict>)>,
}
impl Expected {
    /// In which ways the outcome is not what was expected; none if it is.
    pub fn missed_by(&self, outcome: &Outcome) -> Vec<String> {
        let shown = shown_verdict(outcome);
        let mut missed = Vec::new();
        if shown != self.verdict {
            missed.push(format!("expected {}, came to {shown}: {}", self.verdict, outcome.because));
        }
        for about in &self.about {
            let open = |f: &&Finding| judges(f.stage) && f.subject == *about && !f.counts_as().is_pass();
            if !outcome.findings.iter().any(|f| open(&f)) {
                missed.push(format!("came to {shown}, but not because of {about}: {}", outcome.because));
            }
        }
        missed.extend(self.stages.iter().filter_map(|(stage, wanted)| {
            let came_to = stage_verdict(outcome, *stage);
            let words = |v: Option<Verdict>| v.map_or("not done", Verdict::word);
            (came_to != *wanted)
                .then(|| format!("stage {stage}: expected {}, came to {}", words(*wanted), words(came_to)))
        }));
        missed
    }
}

/// What a stage came to as things stand at the end; `None` if it was not done.
pub fn stage_verdict(outcome: &Outcome, stage: StageKind) -> Option<Verdict> {
    let result = outcome.stages.iter().rev().find(|s| s.stage == stage)?;
    let found = outcome.findings.iter().filter(|f| f.stage == stage && f.stands()).map(Finding::counts_as);
    let whole = if result.complete { result.verdict } else { result.verdict.and(Verdict::Undecided) };
    Some(found.fold(whole, Verdict::and))
}

/// JUnit XML of the job alone, which is expected to pass.
pub(crate) fn of_one(input: &ReportInput<'_>) -> Result<String, ReportError> {
    let dates = input.record.dates.iter().map(|(_, date)| ("date", date.clone()));
    let files = input.record.files.iter().map(|(name, sha256, _)| ("input", format!("{name} {sha256}")));
    let digests = [("tool", input.tool), ("journal", &input.digests.journal_head), ("trace", &input.digests.trace)];
    let digests = digests.into_iter().map(|(name, value)| (name, value.to_owned()));
    let links = input.record.links.iter().map(|link| ("port", link.clone()));
    let properties = digests.chain(links).chain(dates.take(1)).chain(files).collect();
    let attachments = [folder::REPORT, folder::PAGE, folder::JOURNAL, folder::TRACE].map(str::to_owned).into();
    junit(&[JunitJob { name: input.name, outcome: Ok(input.outcome), expected: None, properties, attachments }])
}

/// JUnit XML: a test suite for each job, in the order given.
///
/// # Errors
/// Only if the XML can't be written, which no job brings about.
pub fn junit(jobs: &[JunitJob<'_>]) -> Result<String, ReportError> {
    let mut report = Report::new("plumeline");
    report.add_test_suites(jobs.iter().map(suite));
    Ok(report.to_string()?)
}

fn suite(job: &JunitJob<'_>) -> TestSuite {
    let name = clean(job.name);
    let mut suite = TestSuite::new(&*name);
    for (what, value) in &job.properties {
        suite.add_property((*what, &*clean(value)));
    }
    let verdict = |status| {
        let mut case = TestCase::new("verdict", status);
        case.set_classname(&*name);
        case
    };
    let attached = job.attachments.iter().map(|path| format!("[[ATTACHMENT|{}]]", clean(path)));
    let o = match job.outcome {
        Ok(outcome) => outcome,
        Err(why) => {
            let mut lost = verdict(non_success(NonSuccessKind::Error, "no result", why));
            told(&mut lost, attached.collect());
            suite.add_test_case(lost);
            return suite;
        }
    };
    let ended = o.stages.last().map_or(Instant::START, |s| s.ended);
    suite.set_time(ended.since(o.stages.first().map_or(ended, |s| s.began)));
    suite.add_property(("verdict", shown_verdict(o).word()));
    suite.add_property(("because", &*clean(&o.because)));
    suite.add_property(("simulated", if o.origin.is_simulated() { "true" } else { "false" }));
    suite.add_property(("answers-of-people", &*o.origin.answers_of_people.to_string()));
    suite.add_property(("answers-of-scripts", &*o.origin.answers_of_scripts.to_string()));
    let not_pass = job.expected.as_ref().is_some_and(|e| !e.verdict.is_pass());
    let missed = job.expected.as_ref().map(|e| e.missed_by(o)).unwrap_or_default();
    let mut whole = verdict(if !missed.is_empty() {
        non_success(NonSuccessKind::Failure, "not as expected", &missed.join("; "))
    } else if not_pass {
        TestCaseStatus::success()
    } else {
        status(shown_verdict(o), "verdict", &o.because)
    });
    if not_pass {
        told(&mut whole, attached.chain(o.findings.iter().map(line)).collect());
        suite.add_test_case(whole);
        return suite;
    }
    told(&mut whole, attached.collect());
    suite.add_test_case(whole);
    stages(&mut suite, &name, o);
    findings(&mut suite, &name, o);
    suite
}

fn told(case: &mut TestCase, lines: Vec<String>) {
    if !lines.is_empty() {
        case.set_system_out(lines.join("\n"));
    }
}

fn stages(suite: &mut TestSuite, name: &str, o: &Outcome) {
    for s in o.stages.iter().filter(|s| s.put_right.is_none()) {
        let counts = if s.complete { s.verdict } else { s.verdict.and(Verdict::Undecided) };
        let why = s.because.clone().unwrap_or_else(|| format!("the stage came to {counts}"));
        let mut case = TestCase::new(format!("stage {}", s.stage), judged(s.stage, counts, "stage", &why));
        case.set_classname(name);
        case.set_time(s.ended.since(s.began));
        suite.add_test_case(case);
    }
    for (stage, why) in &o.not_done {
        let why = format!("not done: {why}");
        let mut case = TestCase::new(format!("stage {stage}"), judged(*stage, Verdict::Undecided, "not done", &why));
        case.set_classname(name);
        suite.add_test_case(case);
    }
}

fn findings(suite: &mut TestSuite, name: &str, o: &Outcome) {
    for (k, f) in o.findings.iter().enumerate() {
        let same = |g: &&Finding| g.stage == f.stage && g.subject == f.subject;
        let nth = o.findings[..k].iter().filter(same).count() + 1;
        let title = if nth == 1 { f.subject.to_string() } else { format!("{} ({nth})", f.subject) };
        let kind = if f.void.is_some() { "void" } else { f.code.as_str() };
        let mut status = judged(f.stage, f.counts_as(), kind, f.void.as_ref().unwrap_or(&f.says));
        if !f.counts_as().is_pass() {
            status.set_description(details(f));
        }
        let mut case = TestCase::new(clean(&title), status);
        case.set_classname(format!("{name}.{}", f.stage));
        case.add_property(("code", f.code.as_str()));
        if let Some(what) = &f.put_right {
            case.add_property(("put-right", &*clean(what)));
            case.add_property(("came-to", f.verdict.word()));
        }
        suite.add_test_case(case);
    }
}

/// The status of something at a stage; what judges nothing is skipped where it did not pass.
fn judged(stage: StageKind, verdict: Verdict, kind: &str, message: &str) -> TestCaseStatus {
    if judges(stage) || verdict.is_pass() {
        return status(verdict, kind, message);
    }
    let mut s = TestCaseStatus::skipped();
    s.set_type(kind).set_message(clean(&format!("for comparison only, judges nothing: {message}")));
    s
}

fn status(verdict: Verdict, kind: &str, message: &str) -> TestCaseStatus {
    match verdict {
        Verdict::Pass => TestCaseStatus::success(),
        Verdict::Fail => non_success(NonSuccessKind::Failure, kind, message),
        Verdict::Undecided => non_success(NonSuccessKind::Error, kind, &format!("undecided: {message}")),
    }
}

fn non_success(how: NonSuccessKind, kind: &str, message: &str) -> TestCaseStatus {
    let mut s = TestCaseStatus::non_success(how);
    s.set_type(kind).set_message(clean(message));
    s
}

/// A finding in lines.
fn details(f: &Finding) -> String {
    let mut lines = vec![clean(&f.says)];
    let mut add = |what: &str, s: String| lines.push(format!("{what}: {s}"));
    if let Some(why) = &f.void {
        add("void", clean(why));
    }
    if let Some(what) = &f.put_right {
        add("found and put right", clean(what));
    }
    if let Some(m) = &f.measured {
        add("measured", words::figure(m));
    }
    if let Some(e) = &f.expected {
        add("expected", words::figure(e));
    }
    if let Some(l) = &f.limit {
        add("limit", format!("{} ({}; {})", words::limit(l), clean(&l.source), l.mark.words()));
    }
    if let Some(s) = &f.likely {
        add("most likely", clean(s));
    }
    if let Some(s) = &f.next {
        add("next", clean(s));
    }
    lines.join("\n")
}

/// A finding in one line.
fn line(f: &Finding) -> String {
    let says = f.void.as_ref().unwrap_or(&f.says);
    clean(&format!("{} {} {} [{}]: {says}", f.stage, f.subject, f.counts_as(), f.code))
}
