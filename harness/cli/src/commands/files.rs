//! Commands over files alone: new, replay, report. No link, no simulator, no clock.
use crate::{
    args::{New, Replay, Report},
    carrying::Described,
};
use plumeline_base::Verdict;
use plumeline_job::{
    Problem,
    folder::{self, Folder},
    journal, pipework, plan,
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

/// `plumeline new`
pub fn new(args: &New) -> Result<Exit, Failure> {
    let sheet = match &args.from_csv {
        Some(path) => {
            let bytes = std::fs::read(path).map_err(|e| Problem::from_io(path, "read the sheet", &e))?;
            pipework::import_csv(&path.display().to_string(), &bytes)?
        }
        None => pipework::TEMPLATE.to_owned(),
    };
    let mut files = vec![(folder::PIPEWORK, sheet.as_bytes()), (folder::PLAN, plan::TEMPLATE.as_bytes())];
    let describe = |model: &Option<String>| model.as_deref().map(Described::find).transpose();
    let (outgoing, replacement) = (describe(&args.outgoing)?, describe(&args.replacement)?);
    files.extend(outgoing.iter().map(|d| (folder::UNIT_OUTGOING, d.bytes.as_slice())));
    files.extend(replacement.iter().map(|d| (folder::UNIT_REPLACEMENT, d.bytes.as_slice())));
    if args.force {
        refuse_begun(&args.job)?;
    }
    let folder = Folder::create(&args.job, &files, args.force)?;
    print_progress(&format!("a new job is in {}", folder.dir().display()));
    print_progress(&format!("  1. describe the pipes, the new unit's fan and the air in {}", folder::PIPEWORK));
    print_progress(&format!("  2. name site, units, limits and smoke tests in {}", folder::PLAN));
    let settings = format!("put the settings for the new unit into {}", folder::SETTINGS_NEW);
    print_progress(&if replacement.is_some() {
        format!("  3. {settings}")
    } else {
        format!("  3. {settings}, and the description of its model into {}", folder::UNIT_REPLACEMENT)
    });
    print_progress(&format!("  4. plumeline predict {}", folder.dir().join(folder::PIPEWORK).display()));
    print_progress(&format!("  5. plumeline run {} --port serial:PATH", folder.dir().display()));
    Ok(Exit::Pass)
}

/// A record is evidence: no new job is written over one that has a log, a journal or a seal.
fn refuse_begun(job: &Path) -> Result<(), Failure> {
    let told = |e| Problem::from_io(job, "look into the folder", &e);
    for entry in std::fs::read_dir(job).into_iter().flatten() {
        let name = entry.map_err(told)?.file_name().to_string_lossy().into_owned();
        if [folder::TRACE, folder::JOURNAL].contains(&name.as_str()) || seal::number_of(&name).is_some() {
            return Err(Failure::input(
                format!("{}: there is a job that has begun ({name})", job.display()),
                "choose another folder; a record that is to go is taken away by hand",
            ));
        }
    }
    Ok(())
}

fn trace_of(path: &Path) -> PathBuf {
    if path.is_dir() { path.join(folder::TRACE) } else { path.to_owned() }
}

/// The journal beside a trace, if there is one.
fn journal_beside(trace: &Path) -> Result<Option<Vec<u8>>, Failure> {
    let path = trace.with_file_name(folder::JOURNAL);
    match std::fs::read(&path) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(Problem::from_io(&path, "read the journal", &e).into()),
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
        std::fs::write(path, bytes).map_err(|e| Problem::from_io(path, "write the journal", &e))?;
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
