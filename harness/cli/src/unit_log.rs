//! A unit's own event log, saved: which records left their codes there, and whether they are those of a record at hand.
//!
//! Not here: how a code is left (the procedure), and what a code is (the job crate).
use crate::{capture, output};
use plumeline_detector::{Identity, Reply, Request, UnitEvent, plumewire::Plumewire, vocabulary::EventKind};
use plumeline_job::{
    Kind, Problem, TEXT_LIMIT,
    folder::{self, Folder},
    input_file,
    journal::{self, JOURNAL_LIMIT},
};
use plumeline_link::LineSpec;
use plumeline_procedure::{Entry, anchor::Note};
use plumeline_runtime::failure::Failure;
use serde::{Deserialize, Serialize};
use std::{collections::BTreeSet, path::Path};

const FORMAT: u32 = 1;

/// An event log as it was read off a unit.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Saved {
    format: u32,
    /// Whose it is.
    pub unit: Identity,
    /// Its lines, the oldest first.
    pub events: Vec<UnitEvent>,
}

/// Reads the event log off a unit.
///
/// # Errors
/// What is wrong with the line, or what the unit does not do.
pub(crate) async fn read_off(line: LineSpec) -> Result<Saved, Failure> {
    let asked = [Request::Identify, Request::ReadEvents { from: 0 }];
    let (mut unit, mut events) = (None, None);
    for (_, end) in capture::ask(line, Box::new(Plumewire::new()), &asked).await? {
        match end {
            Ok(Reply::Identity((told, _))) => unit = Some(told),
            Ok(Reply::Events(told)) => events = Some(told),
            Ok(_) => {}
            Err(trouble) => return Err(Failure::trouble(trouble.to_string(), trouble.remedy())),
        }
    }
    let whole = unit.zip(events).map(|(unit, events)| Saved { format: FORMAT, unit, events });
    whole.ok_or_else(|| Failure::internal("an answer to another question than was asked"))
}

/// Writes it as a file.
///
/// # Errors
/// What the disk does not do.
pub(crate) fn write(path: &Path, saved: &Saved) -> Result<(), Failure> {
    let told = |e: serde_json::Error| Failure::internal(e.to_string());
    let mut bytes = serde_json::to_vec_pretty(saved).map_err(told)?;
    bytes.push(b'\n');
    output::put(path, &bytes, "write the event log", &[])
}

/// The codes in an event log, the oldest first: of a saved one, or of one that a later job met (its folder).
///
/// # Errors
/// What can't be read.
pub(crate) fn notes(path: &Path) -> Result<Vec<Note>, Failure> {
    if path.is_dir() {
        let bytes = Folder::open(path)?.read_up_to(folder::JOURNAL, JOURNAL_LIMIT)?.bytes;
        let journal: journal::Journal<Entry> =
            journal::read(&path.join(folder::JOURNAL).display().to_string(), &bytes)?;
        let met = journal.lines.into_iter().filter_map(|line| match line.entry {
            Entry::NoteMet(note) => Some(note),
            _ => None,
        });
        return Ok(met.collect());
    }
    let shown = path.display().to_string();
    let bytes = input_file::read(path, "read the event log", TEXT_LIMIT as u64)?;
    let wrong = |cause: String| {
        let remedy = "save it with `plumeline capture PORT --event-log --out FILE`, or name the folder of a later job";
        Failure::input(format!("{shown}: this is no saved event log: {cause}"), remedy)
    };
    let saved: Saved = serde_json::from_slice(&bytes).map_err(|e| wrong(e.to_string()))?;
    if saved.format != FORMAT {
        return Err(wrong(format!("it is of format {}, where {FORMAT} is read", saved.format)));
    }
    let noted = saved.events.iter().filter(|e| e.kind == EventKind::Noted);
    Ok(noted.filter_map(|e| Note::read(&saved.unit.serial, &e.text)).collect())
}

/// What an event log says of a record: `lines` are the codes of its journal's lines, `left` the notes that it says it left.
pub(crate) fn hold(notes: &[Note], lines: &[String], left: &[Note]) -> (Vec<String>, Vec<Problem>) {
    let here: BTreeSet<&str> = lines.iter().map(String::as_str).collect();
    let (mut says, mut problems) = (Vec::new(), Vec::new());
    let altered = |cause: String| {
        let remedy = "ask for the record as it was when the unit was left";
        Problem::with_file(Kind::Altered, folder::JOURNAL, cause, remedy)
    };
    let own: Vec<&Note> = notes.iter().filter(|n| here.contains(n.isolated.as_str())).collect();
    let at = |code: &str| lines.iter().position(|l| l == code).map_or(0, |at| at + 1);
    for note in &own {
        let (code, when) = match &note.closed {
            Some(closed) => (closed, "when the site was back"),
            None => (&note.isolated, "when the zone went out of service"),
        };
        if here.contains(code.as_str()) {
            let line = at(code);
            says.push(format!(
                "event log of unit {}: {code}, left {when}, is the code of line {line} of {}",
                note.serial,
                lines.len()
            ));
        } else {
            problems.push(altered(format!(
                "the event log of unit {} holds {code}, left {when} of this very attempt, and no line here has that code: this is not the \
                 record as it ended, or not all of it",
                note.serial
            )));
        }
    }
    if own.is_empty() {
        problems.push(altered(
            "the event log holds no code of this record: it was not made at that unit, is not as it was, or is older than what the log still holds"
                .to_owned(),
        ));
    }
    // A log forgets its oldest lines first: behind a note that is there none can be missing.
    let gone = left.iter().filter(|l| own.iter().any(|n| n.serial == l.serial) && !notes.contains(l));
    problems.extend(gone.filter(|l| l.closed.is_some()).map(|l| {
        altered(format!(
            "the record says that it left \"{}\" in the event log of unit {}, which does not hold it",
            l.words(),
            l.serial
        ))
    }));
    let others: BTreeSet<&str> =
        notes.iter().map(|n| n.isolated.as_str()).filter(|code| !here.contains(code)).collect();
    if !others.is_empty() {
        says.push(format!(
            "event log: {} other records left their codes there; every attempt at a unit counts",
            others.len()
        ));
    }
    (says, problems)
}
