//! `plumeline check`: whether a job is as it was sealed, and whether its journal, trace and files belong together.
//!
//! Offline; no link, no simulator, no clock. Also gives what [`super::close`] needs to know of a job.
use crate::{
    args::Check,
    inspection::Inspection,
    stamps::{self, Stamps},
    unit_log,
};
use plumeline_job::{
    Kind, Problem, check as files, code,
    folder::{self, Folder},
    journal,
    key::NamedKey,
    seal::{self, Closing, Seal, Standing, State},
};
use plumeline_runtime::{
    failure::{Exit, Failure},
    finish,
    job_files::Files,
    keep::cite,
    replay::{Against, Keeps, Replayed, replay},
    show::{print_progress, print_result, print_trouble},
};
use plumeline_stamp::Anchors;
use plumeline_trace::LogReader;
use serde_json::{Value, json};
use std::path::Path;

/// What was found out about a job.
pub struct Examined {
    /// How far it is sealed.
    pub standing: Standing,
    /// What the journal and the files that it binds come to.
    pub checked: files::Checked,
    /// The replay, where there was one.
    pub replayed: Option<Replayed>,
    /// Everything that is not as it should be.
    pub problems: Vec<Failure>,
    /// What is worth telling.
    pub says: Vec<String>,
    /// What somebody looks for who has to rely on it; nothing where there was no replay.
    pub inspection: Option<Inspection>,
}

/// `plumeline check`
pub fn check(args: &Check) -> Result<Exit, Failure> {
    let expected = args.key.as_deref().map(NamedKey::read).transpose()?;
    let anchors = args.anchor.as_deref().map(stamps::anchors).transpose()?;
    let folder = Folder::open(&args.job)?;
    // A log that holds nothing yet, or none: longer ones are over the limit.
    if (!folder.exists(folder::TRACE)? || folder.read_up_to(folder::TRACE, 0).is_ok())
        && folder.exists(folder::JOURNAL)?
        && folder.read(folder::JOURNAL)?.bytes.is_empty()
    {
        print_result("the job was ended before anything happened in it: `plumeline run` begins it");
        return Ok(Exit::Pass);
    }
    let mut found = examine(&folder)?;
    if let Some(expected) = &expected
        && let Some(problem) = not_signed_by(expected, &found.standing)
    {
        found.problems.push(problem.into());
    }
    let stamps = found.hold_stamps(&folder, anchors.as_ref());
    let doubtful = found.inspection.as_ref().is_some_and(|i| !i.doubts.is_empty()) || !stamps.doubts.is_empty();
    for typed in &args.code {
        found.hold_code(&folder, typed)?;
    }
    if let Some(path) = &args.unit_log {
        found.hold_unit_log(&folder, path)?;
    }
    let exit = match (found.problems.is_empty(), found.standing.state) {
        (false, _) => Exit::Fail,
        (true, State::OpenAgain) => Exit::Undecided,
        (true, _) if doubtful => Exit::Undecided,
        (true, _) => Exit::Pass,
    };
    if args.json {
        print_result(&as_json(&found, expected.as_ref(), &stamps).to_string());
        return Ok(exit);
    }
    // Of a job of another version there is no replay; then its seal says what it knows.
    let sealed = found.standing.newest().map(|seal| seal.cautions.clone()).unwrap_or_default();
    let inspected = found.inspection.as_ref().map_or(sealed, Inspection::lines);
    let open = found.standing.newest().filter(|seal| seal.closed.how == Closing::Incomplete).map(incomplete);
    for words in open.iter().chain(&inspected).chain(&seal_words(&found.standing, expected.as_ref())).chain(&found.says)
    {
        print_progress(words);
    }
    for problem in &found.problems {
        print_trouble(&problem.render(false));
    }
    if found.problems.is_empty() {
        print_result(match found.standing.state {
            State::Open => "everything holds; the job is not sealed: `plumeline close` seals it",
            State::Sealed if doubtful => "everything is as it was sealed, but its dates do not fit",
            State::Sealed => "everything holds, and all of it is sealed",
            State::OpenAgain => "what is sealed holds; the job went on since, and that part is not sealed",
        });
    }
    Ok(exit)
}

/// Looks at everything in a job's folder.
pub fn examine(folder: &Folder) -> Result<Examined, Failure> {
    let standing = seal::verify(folder);
    let mut problems: Vec<Failure> = standing.all_problems().into_iter().map(Failure::from).collect();
    let mut says = Vec::new();
    let checked = bound_files(folder)?;
    for problem in &checked.problems {
        // Where the seal tells the same, it is told again only if the line is known.
        let told = problems.iter().any(|p| matches!(p, Failure::Problem(p) if p.file() == problem.file()));
        if !told
            || (problem.place().is_some() && !problems.iter().any(|p| matches!(p, Failure::Problem(p) if p == problem)))
        {
            problems.push(problem.clone().into());
        }
    }
    for (file, _) in &checked.sound {
        says.push(format!("{file}: as the journal records it"));
    }
    if let Some(torn) = checked.torn {
        let words = format!("{}: its last {} bytes are an unfinished line", folder::JOURNAL, torn.len);
        says.push(words + "; running the job again sets them aside");
    }
    let mut found = Examined { standing, checked, replayed: None, problems, says, inspection: None };
    if found.problems.is_empty() {
        found.replay(folder)?;
    }
    Ok(found)
}

/// Holds the journal against the trace and against the files that it binds.
fn bound_files(folder: &Folder) -> Result<files::Checked, Failure> {
    let path = folder.path(folder::TRACE)?;
    let mut log = match LogReader::open(&path) {
        Ok(log) => Ok(log),
        // A sealed job names what is missing; without a seal, there is nothing to look at.
        Err(e) if folder.exists(&seal::file_name(1))? => Err(e.to_string()),
        Err(e) => return Err(e.into()),
    };
    // Journal lines cite the log in its order, so one pass over both is enough.
    let mut here: Option<journal::Citation> = None;
    Ok(files::check(folder, |wanted| {
        let log = log.as_mut().map_err(|e| format!("it can't be read: {e}"))?;
        while here.is_none_or(|c| c.index < wanted.index) {
            match log.next() {
                Some(Ok(entry)) => here = Some(cite(&entry.citation)),
                Some(Err(e)) => return Err(format!("the log can't be read that far: {e}")),
                None => return Err("the log ends before it".into()),
            }
        }
        if here == Some(*wanted) { Ok(()) } else { Err("another log is there".into()) }
    }))
}

impl Examined {
    /// Replays the trace: the journal must follow from it.
    fn replay(&mut self, folder: &Folder) -> Result<(), Failure> {
        let words =
            format!("{}: {} lines, each bound to the one before and to the trace", folder::JOURNAL, self.checked.lines);
        self.says.push(words);
        let this = env!("CARGO_PKG_VERSION");
        if let Some(seal) = self.standing.newest()
            && seal.tool != this
        {
            let then = &seal.tool;
            let words = format!("replay: left out, because version {then} sealed this job and this is {this}");
            self.says.push(words);
            return Ok(());
        }
        let mut bytes = folder.read_up_to(folder::JOURNAL, journal::JOURNAL_LIMIT)?.bytes;
        bytes.truncate(self.checked.torn.map_or(bytes.len(), |torn| torn.offset));
        let fresh = Files::read(folder)?;
        let log = LogReader::open(&folder.path(folder::TRACE)?)?;
        let mut done = match replay(log, Against::SoFar(bytes), Keeps::Nothing, Some(&fresh)) {
            Ok(done) => done,
            Err(problem) => {
                self.problems.push(problem);
                return Ok(());
            }
        };
        let missing = std::mem::take(&mut done.session.keeper().further).len() as u64;
        let told = done.lines - missing;
        self.says.push(format!("replay: {} records give the same bytes sent and the same {told} lines", done.records));
        if missing > 0 {
            let words = format!("{}: {missing} more lines follow from the trace", folder::JOURNAL);
            self.says.push(words + "; running the job again adds them");
        }
        self.says.push(format!("code of this record, for paper: {}", code::of(&self.checked.head)));
        self.inspection = Some(Inspection::of(folder, &self.standing, &done));
        self.standing_of_end(&done, missing);
        self.replayed = Some(done);
        Ok(())
    }
    /// What was stamped must be of this record; its dates must fit.
    fn hold_stamps(&mut self, folder: &Folder, anchors: Option<&Anchors>) -> Stamps {
        let record = self.replayed.as_ref().map(|done| done.session.record());
        let stamps = Stamps::of(folder, &self.standing, record, anchors);
        self.problems.extend(stamps.problems.iter().cloned().map(Failure::from));
        self.says.extend(stamps.words().chain(stamps.late(&self.standing)));
        self.says.extend(stamps.doubts.iter().map(|words| format!("DATE THAT DOES NOT FIT: {words}")));
        stamps
    }
    /// What was written down on paper must still be in the journal.
    fn hold_code(&mut self, folder: &Folder, typed: &str) -> Result<(), Failure> {
        let wanted = code::read(typed)
            .map_err(|why| Failure::input(format!("--code {typed}: {why}"), "copy it again from the paper"))?;
        let lines = codes(folder)?;
        match lines.iter().position(|line| *line == wanted) {
            Some(at) => self.says.push(format!(
                "{wanted}: the code of line {} of {} lines of {}, so the record up to there is the one that was written down",
                at + 1,
                lines.len(),
                folder::JOURNAL
            )),
            None => self.problems.push(
                Problem::with_file(
                    Kind::Altered,
                    folder::JOURNAL,
                    format!("the code {wanted} is of no line in it: this is not the record that it was written down of, or not all of it"),
                    "compare the paper with the report's first page, and ask for the record as it was",
                )
                .into(),
            ),
        }
        Ok(())
    }
    /// The codes that the record left in its unit's event log.
    fn hold_unit_log(&mut self, folder: &Folder, path: &Path) -> Result<(), Failure> {
        let notes = unit_log::notes(path)?;
        let session = self.replayed.as_ref().map(|done| &done.session);
        let left = session.map_or(&[][..], |s| &s.record().notes_left);
        let (says, problems) = unit_log::hold(&notes, &codes(folder)?, left);
        self.says.extend(says);
        self.problems.extend(problems.into_iter().map(Failure::from));
        Ok(())
    }
    fn standing_of_end(&mut self, done: &Replayed, missing: u64) {
        let outcome = done.session.outcome();
        if let Some(torn) = &done.torn {
            if outcome.is_some() && missing == 0 {
                // Nothing is written behind the end of a job.
                self.problems.push(Failure::input(
                    format!("{}: {torn}", folder::TRACE),
                    "the job was over before this: use the trace as the tool wrote it, from a copy",
                ));
                return;
            }
            self.says.push(format!("{}: {torn}; running the job again sets that end aside", folder::TRACE));
        }
        self.says.push(match outcome {
            Some(o) => format!("verdict: {}, {}", o.verdict, o.because),
            None => "the job is not over: `plumeline run` goes on where it stopped".to_owned(),
        });
    }
    /// Nothing is left to be set aside or added before the job can be sealed.
    pub fn is_settled(&self) -> bool {
        let lines = self.replayed.as_ref().map_or(0, |done| done.lines);
        let torn = self.replayed.as_ref().is_some_and(|done| done.torn.is_some());
        self.checked.torn.is_none() && !torn && lines == self.checked.lines
    }
}

/// The codes of the journal's lines.
fn codes(folder: &Folder) -> Result<Vec<String>, Failure> {
    let bytes = folder.read_up_to(folder::JOURNAL, journal::JOURNAL_LIMIT)?.bytes;
    let lines = journal::read::<Value>(folder::JOURNAL, &bytes).map_or_else(|_| Vec::new(), |j| j.lines);
    Ok(lines.iter().map(|line| code::of(&line.hash)).collect())
}

/// Why the newest seal is not this key's.
fn not_signed_by(expected: &NamedKey, standing: &Standing) -> Option<Problem> {
    let theirs = format!("{} ({})", expected.key.fingerprint(), expected.name);
    let Some(seal) = standing.newest() else {
        let cause = format!("there is no seal, so nothing shows that the key {theirs} vouches for this job");
        return Some(Problem::with_file(Kind::Absent, &seal::file_name(1), cause, "ask for the sealed job"));
    };
    // Others may have signed the same besides: each seal stands for itself.
    let signed = |held: &seal::Held| {
        held.seal.key == expected.key && held.seal.journal == seal.journal && held.seal.files == seal.files
    };
    (!standing.seals.iter().any(signed)).then(|| {
        let cause = format!("it was signed by another key than {theirs}: by {}", seal.key.fingerprint());
        let remedy = "ask whoever handed over the job which key they sealed it with, by another way than this folder";
        Problem::with_file(Kind::Altered, &seal::file_name(seal.number), cause, remedy)
    })
}

/// What the seals say, the newest last.
fn seal_words(standing: &Standing, expected: Option<&NamedKey>) -> Vec<String> {
    let mut words = Vec::new();
    for held in &standing.seals {
        words.push(finish::about(&held.seal));
    }
    for s in &standing.superseded {
        let by =
            s.by.map_or_else(|| "not sealed since".to_owned(), |n| format!("as it is now in {}", seal::file_name(n)));
        words.push(format!("{}: written anew since {}, {by}", s.name, seal::file_name(s.seal)));
    }
    for (name, bytes) in &standing.behind {
        words.push(format!("{name}: its last {bytes} bytes stand behind the newest seal"));
    }
    if let Some(seal) = standing.newest() {
        let print = seal.key.fingerprint();
        words.push(match expected {
            Some(named) if not_signed_by(named, standing).is_none() => {
                format!("signed by the key that was named: {} ({})", named.key.fingerprint(), named.name)
            }
            Some(_) => format!("signed by {print}, which is not the key that was named"),
            None if seal.key.is_demonstration() => {
                format!("signed by the demonstration key {print}, which everybody has: this proves nothing")
            }
            None => format!(
                "signed by {print}; no key was named with --key, so anyone could have signed: compare the fingerprint \
                 with one that you have from the signer"
            ),
        });
    }
    words
}

/// The line that stands first wherever an incomplete seal is shown.
pub fn incomplete(seal: &Seal) -> String {
    format!("INCOMPLETE: {}", seal.closed.because.join(" "))
}

fn as_json(found: &Examined, expected: Option<&NamedKey>, stamps: &Stamps) -> Value {
    let standing = &found.standing;
    let problem = |p: &Failure| match p {
        Failure::Problem(p) => json!({
            "file": p.file(), "line": p.place().map(|at| at.line), "cause": p.cause(), "remedy": p.remedy(),
        }),
        Failure::Other { cause, remedy, .. } => json!({ "file": null, "line": null, "cause": cause, "remedy": remedy }),
    };
    let seals: Vec<Value> = standing
        .seals
        .iter()
        .map(|held| {
            let s = &held.seal;
            json!({
                "number": s.number, "closed": s.closed, "date": s.date, "signer": s.signer, "key": s.key,
                "fingerprint": s.key.fingerprint(), "statement": s.statement, "cautions": s.cautions, "tool": s.tool, "verdict": s.verdict, "journal": s.journal,
            })
        })
        .collect();
    let superseded: Vec<Value> =
        standing.superseded.iter().map(|s| json!({ "file": s.name, "seal": s.seal, "by": s.by })).collect();
    let behind: Vec<Value> = standing.behind.iter().map(|(f, n)| json!({ "file": f, "bytes": n })).collect();
    let state = match standing.state {
        State::Open => "open",
        State::Sealed => "sealed",
        State::OpenAgain => "open-again",
    };
    json!({
        "holds": found.problems.is_empty(),
        "state": state,
        "cautions": found.inspection.as_ref().map_or_else(
            || standing.newest().map(|seal| seal.cautions.clone()).unwrap_or_default(),
            |i| i.cautions.clone(),
        ),
        "inspection": found.inspection,
        "demonstration": standing.newest().is_some_and(|s| s.key.is_demonstration()),
        "signed_by_key_named": expected.map(|e| standing.newest().is_some_and(|s| s.key == e.key)),
        "lines": found.checked.lines,
        "head": found.checked.head,
        "seals": seals,
        "stamps": stamps.as_json(),
        "stamp_doubts": stamps.doubts,
        "superseded": superseded,
        "behind": behind,
        "problems": found.problems.iter().map(problem).collect::<Vec<_>>(),
    })
}
