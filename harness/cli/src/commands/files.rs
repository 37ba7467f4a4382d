//! Commands over files alone: replay, report. No link, no simulator, no clock.
use crate::{
    args::{Replay, Report},
    output,
};
use plumeline_base::Verdict;
use plumeline_job::{
    Kind,
    folder::{self, Folder},
    input_file, journal,
    seal::{self, State},
};
use plumeline_procedure::Entry;
use plumeline_report::Digests;
use plumeline_runtime::{
    failure::{Exit, Failure},
    finish,
    rejudge::RecordedRun,
    replay::{Against, Keeps, replay as run_replay},
    show::{print_progress, print_result},
};
use plumeline_trace::LogReader;
use std::path::{Path, PathBuf};

fn trace_of(path: &Path) -> PathBuf {
    if path.is_dir() { path.join(folder::TRACE) } else { path.to_owned() }
}

/// The journal beside a trace, if there is one.
fn journal_beside(trace: &Path) -> Result<Option<Vec<u8>>, Failure> {
    let path = trace.with_file_name(folder::JOURNAL);
    match input_file::read(&path, "read the journal", journal::JOURNAL_LIMIT) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(problem) if problem.kind() == Kind::Absent => Ok(None),
        Err(problem) => Err(problem.into()),
    }
}

/// `plumeline replay`
pub fn replay(args: &Replay) -> Result<Exit, Failure> {
    let trace = trace_of(&args.trace);
    let expected = match args.expect.as_deref() {
        None => None,
        Some("pass") => Some(Verdict::Pass),
        Some("fail") => Some(Verdict::Fail),
        Some("undecided") => Some(Verdict::Undecided),
        Some(other) => return Err(Failure::input(format!("`{other}` is no verdict"), "write pass, fail or undecided")),
    };
    let kept = journal_beside(&trace)?;
    let (against, what) = match kept {
        _ if args.rejudge => (Against::Anew(Box::new(RecordedRun::new(kept.as_deref())?)), "nothing must be the same"),
        Some(bytes) => (Against::Journal(bytes), "bytes sent and journal"),
        None => (Against::Sent, "bytes sent (there is no journal beside the trace)"),
    };
    let log = LogReader::open(&trace)?;
    let keeps = if args.journal.is_some() { Keeps::Journal } else { Keeps::Nothing };
    let mut done = run_replay(log, against, keeps, None)?;
    let then = done.session.keeper().recorded().map(|run| (run.verdict(), run.told()));
    let outcome = done.session.outcome();
    let verdict = outcome.map_or(Verdict::Undecided, |o| o.verdict);
    print_progress(&format!("{}: {} records, {} lines of journal", trace.display(), done.records, done.lines));
    print_progress(&format!("compared: {what}"));
    let (then, differences) = then.unwrap_or_default();
    differences.iter().for_each(|words| print_progress(words));
    match outcome {
        Some(o) => print_result(&format!("verdict: {verdict}, {}", o.because)),
        None => print_result("verdict: undecided, the trace ends before the job does"),
    }
    if let Some(then) = then {
        let same = if then == verdict { "the same as" } else { "not the same as" };
        print_result(&format!("this is {same} the verdict then: {then}"));
    }
    if let Some(path) = &args.journal {
        let bytes = done.session.into_parts().0.into_journal();
        let beside = trace.with_file_name(folder::JOURNAL);
        output::put(path, &bytes, "write the journal", &[&trace, &beside])?;
    }
    match expected {
        Some(wanted) if wanted == verdict => Ok(Exit::Pass),
        Some(wanted) => {
            print_result(&format!("expected: {wanted}"));
            Ok(Exit::Fail)
        }
        None => Ok(match verdict {
            Verdict::Pass => Exit::Pass,
            Verdict::Fail => Exit::Fail,
            Verdict::Undecided => Exit::Undecided,
        }),
    }
}

/// `plumeline report`
pub fn report(args: &Report) -> Result<Exit, Failure> {
    let folder = Folder::open(&args.job)?;
    let bytes = folder.read_up_to(folder::JOURNAL, journal::JOURNAL_LIMIT)?.bytes;
    let read = journal::read::<Entry>(folder::JOURNAL, &bytes)?;
    let log = LogReader::open(&folder.path(folder::TRACE)?)?;
    let done = run_replay(log, Against::Journal(bytes), Keeps::Charts, None)?;
    let digests = Digests {
        journal_head: read.chain.head().to_string(),
        trace: done.end.map(|c| c.hash.to_string()).unwrap_or_default(),
    };
    let outcome = done.session.outcome().ok_or_else(|| {
        Failure::input(
            format!("{}: the job is not over", folder.dir().display()),
            "run it to its end first: `plumeline run` goes on where it stopped",
        )
    })?;
    if seal::verify(&folder).state == State::Sealed {
        print_progress("the job is sealed: its report stays as it is");
        finish::tell(outcome, &folder.dir().join(folder::REPORT));
        return Ok(Exit::of(outcome));
    }
    let path = finish::write(&folder, &done.loaded, outcome, done.session.record(), &digests)?;
    finish::tell(outcome, &path);
    Ok(Exit::of(outcome))
}
