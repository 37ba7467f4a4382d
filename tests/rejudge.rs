//! A trace of an older version judged anew: told apart from a strict replay, today's verdict from the recorded readings,
//! and what differs. The older versions are made up from traces of this one.
use crate::common::{Folder, exits, run, stderr, stdout, text};
use plumeline_base::input::{Input, OperatorAct};
use plumeline_job::{digest::Digest, journal};
use plumeline_procedure::Entry;
use plumeline_trace::{Folder as Disk, LogReader, LogRecord, LogWriter, Logged};
use std::path::Path;

/// Writes the trace and the journal of a demonstration as another version would have: `record` changes a record of the log or
/// leaves it out, `entry` one of the journal. The chains of both are sound.
fn older(
    of: &str,
    record: impl Fn(u64, LogRecord) -> Option<LogRecord>,
    entry: impl Fn(usize, Entry) -> Option<Entry>,
) -> Folder {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-traces").join(of);
    let to = Folder::new("older");
    let mut log = LogWriter::create(Disk::new(to.path()), "trace.pcapng").unwrap();
    let mut cited = Vec::new();
    for read in LogReader::open(&from.join("trace.pcapng")).unwrap() {
        let read = read.unwrap();
        let written = record(read.citation.index, read.record).map(|r| log.append(&r).unwrap());
        cited.push(written.or_else(|| cited.last().copied().flatten()));
    }
    log.sync().unwrap();
    let kept = std::fs::read(from.join("journal.jsonl")).unwrap();
    let mut chain = journal::Chain::default();
    let mut lines = Vec::new();
    for (i, line) in journal::read::<Entry>("journal.jsonl", &kept).unwrap().lines.into_iter().enumerate() {
        let Some(entry) = entry(i, line.entry) else { continue };
        let c = cited[usize::try_from(line.log.index).unwrap()].unwrap();
        let citation = journal::Citation { offset: c.offset, index: c.index, hash: Digest(c.hash.0) };
        lines.extend(chain.line(plumeline_base::Instant::from_micros(line.at_us), &citation, &entry).unwrap());
    }
    std::fs::write(to.join("journal.jsonl"), lines).unwrap();
    to
}
fn as_is(_: u64, record: LogRecord) -> Option<LogRecord> {
    Some(record)
}
fn by_version(version: &'static str) -> impl Fn(u64, LogRecord) -> Option<LogRecord> {
    move |_, mut record| {
        if let Logged::Input(Input::Tool { version: tool, .. }) = &mut record.what {
            *tool = version.into();
        }
        Some(record)
    }
}
fn sent_otherwise(at: u64) -> impl Fn(u64, LogRecord) -> Option<LogRecord> {
    move |index, record| {
        let mut record = by_version("0.0.3")(index, record)?;
        if let (Logged::Sent(_, bytes), true) = (&mut record.what, index >= at) {
            bytes.push(0);
        }
        Some(record)
    }
}
fn opened_by(version: &'static str) -> impl Fn(usize, Entry) -> Option<Entry> {
    move |_, entry| {
        Some(match entry {
            Entry::Opened { format, .. } => Entry::Opened { tool: version.into(), format },
            other => other,
        })
    }
}
fn rejudge(job: &Folder, more: &[&str], code: i32) -> String {
    let mut args = vec!["replay", text(job.path()), "--rejudge"];
    args.extend(more);
    let o = run(&args);
    exits(&o, &[code]);
    stdout(&o)
}
#[track_caller]
fn says(told: &str, words: &[&str]) {
    for w in words {
        assert!(told.contains(w), "no `{w}` in\n{told}");
    }
}

#[test]
fn other_bytes_sent_are_refused_by_a_strict_replay_and_told_by_a_new_judgement() {
    let job = older("clean", sent_otherwise(0), opened_by("0.0.3"));
    let o = run(&["replay", text(job.path())]);
    exits(&o, &[3]);
    says(&stderr(&o), &["other bytes are sent than were", "use --rejudge"]);

    let told = rejudge(&job, &[], 0);
    says(
        &told,
        &["nothing must be the same", "written by version 0.0.3", "verdict: pass", "same as the verdict then: pass"],
    );
    says(&told, &["journal: the same"]);
    let sent = LogReader::open(&job.join("trace.pcapng")).unwrap();
    let sent = sent.filter(|e| matches!(e.as_ref().unwrap().record.what, Logged::Sent(..))).count();
    says(&told, &[&format!("bytes sent: {sent} differences in {sent} records, the first at 0:00:12.000")]);
    // From the middle on only.
    let told = rejudge(&older("clean", sent_otherwise(2000), opened_by("0.0.3")), &["--expect", "pass"], 0);
    assert!(told.contains(" differences in ") && !told.contains("the first at 0:00:12.000"), "{told}");
}

#[test]
fn another_version_with_the_same_bytes_replays_strictly() {
    let job = older("clean", by_version("0.0.3"), opened_by("0.0.3"));
    exits(&run(&["replay", text(job.path())]), &[0]);
    says(&rejudge(&job, &[], 0), &["bytes sent: the same", "journal: the same", "written by version 0.0.3"]);
}

#[test]
fn todays_verdict_stands_beside_another_one_of_then() {
    // The older version passed what this one fails.
    let entry = |_: usize, entry: Entry| match entry {
        Entry::Ended { verdict: _, because } => Some(Entry::Ended { verdict: plumeline_base::Verdict::Pass, because }),
        other => Some(other),
    };
    let job = older("hole-blocked", as_is, entry);
    let o = run(&["replay", text(job.path())]);
    exits(&o, &[3]);
    says(&stderr(&o), &["the replay gives another line", "use --rejudge"]);
    let told = rejudge(&job, &[], 1);
    says(
        &told,
        &["verdict: fail", "not the same as the verdict then: pass", "other ones from line", "then: at ", "now:  at "],
    );
    says(&rejudge(&job, &["--expect", "pass"], 1), &["expected: pass"]);
    rejudge(&job, &["--expect", "fail"], 0);
}

/// Prompts are numbered as they come: where the older version asked one more, every later number is another one.
#[test]
fn answers_are_matched_by_what_was_asked() {
    let shifted = |_: u64, mut record: LogRecord| {
        if let Logged::Input(Input::Operator(OperatorAct { prompt, .. })) = &mut record.what {
            *prompt += 1;
        }
        Some(record)
    };
    let entry = |_: usize, mut entry: Entry| {
        match &mut entry {
            Entry::Asked(prompt) => prompt.id += 1,
            Entry::Answered { prompt, .. } => *prompt += 1,
            _ => {}
        }
        Some(entry)
    };
    let job = older("clean", shifted, entry);
    says(&rejudge(&job, &[], 0), &["verdict: pass", "same as the verdict then: pass", "other ones from line"]);
    // Without the journal nothing tells what an answer was to: that is no pass.
    std::fs::remove_file(job.join("journal.jsonl")).unwrap();
    let o = run(&["replay", text(job.path()), "--rejudge"]);
    exits(&o, &[1, 2]);
    says(&stdout(&o), &["answers are matched by number"]);
}

/// A question that the older version did not ask has no answer in its log: never a pass.
#[test]
fn what_was_not_answered_then_is_not_passed_now() {
    let restored = |_: usize, entry: Entry| match entry {
        Entry::Asked(ref prompt) if prompt.act == plumeline_procedure::Act::Restore => None,
        other => Some(other),
    };
    let id = std::cell::Cell::new(None);
    older("clean", as_is, |_, entry| {
        if let Entry::Asked(prompt) = &entry
            && prompt.act == plumeline_procedure::Act::Restore
        {
            id.set(Some(prompt.id));
        }
        Some(entry)
    });
    let unanswered = move |_: u64, record: LogRecord| match &record.what {
        Logged::Input(Input::Operator(act)) if Some(act.prompt) == id.get() => None,
        _ => Some(record),
    };
    let told = rejudge(&older("clean", unanswered, restored), &[], 2);
    says(&told, &["verdict: undecided", "not the same as the verdict then: pass"]);
}

#[test]
fn the_journal_of_another_trace_is_refused() {
    let job = older("clean", as_is, |_, entry| Some(entry));
    let other = older("pipe-off", as_is, |_, entry| Some(entry));
    std::fs::copy(other.join("journal.jsonl"), job.join("journal.jsonl")).unwrap();
    let o = run(&["replay", text(job.path()), "--rejudge"]);
    exits(&o, &[3]);
    says(&stderr(&o), &["the line follows from another log"]);
}
