//! A job whose files turned out to be wrong or missing before anybody answered anything: it begins anew with the files as they
//! are now, and what was begun is put aside.
//!
//! Not here: a job in which something was answered or a stage ended. It is judged by the files that it was begun with
//! ([`crate::resume`]).
use crate::{
    failure::Failure,
    job_files::{Files, OLD_PORT, PORT},
};
use plumeline_base::input::Input;
use plumeline_job::{
    Problem,
    folder::{self, Folder},
    journal,
};
use plumeline_procedure::Entry;
use plumeline_trace::{LogReader, Logged};

/// Puts aside what was begun in `folder` with other files than these, if nothing came of it. Gives what to tell.
///
/// # Errors
/// What the system reports.
pub fn put_aside(folder: &Folder, files: &Files) -> Result<Option<String>, Failure> {
    if !folder.exists(folder::TRACE)? {
        return Ok(None);
    }
    let bytes = match folder.exists(folder::JOURNAL)? {
        true => folder.read_up_to(folder::JOURNAL, journal::JOURNAL_LIMIT)?.bytes,
        false => Vec::new(),
    };
    // A log or a journal that can't be read through is for whoever takes the job up to judge.
    let (Ok(journal), Some(then)) = (journal::read::<Entry>(folder::JOURNAL, &bytes), unanswered(folder)?) else {
        return Ok(None);
    };
    if journal.lines.iter().any(|l| matches!(l.entry, Entry::StageEnded(_) | Entry::Ended { .. })) {
        return Ok(None);
    }
    let changed = then.iter().find(|f| !files.0.contains(f)).or_else(|| files.0.iter().find(|f| !then.contains(f)));
    let Some((changed, _)) = changed else { return Ok(None) };
    let number = free_number(folder)?;
    // The log goes last: while it is there, what a crash left undone is done the next time.
    for name in [folder::JOURNAL, folder::TRACE] {
        if !folder.exists(name)? {
            continue;
        }
        let (from, to) = (folder.path(name)?, folder.path(&aside(name, number))?);
        folder.disk().rename(&from, &to).map_err(|e| Problem::from_io(&from, "put it aside", &e))?;
    }
    folder.disk().sync_dir(folder.dir()).map_err(|e| Problem::from_io(folder.dir(), "put files aside", &e))?;
    Ok(Some(format!(
        "{changed} is not what it was when this job began; nothing was answered yet, so it begins anew ({} and {} are kept)",
        aside(folder::JOURNAL, number),
        aside(folder::TRACE, number)
    )))
}

/// Names of files, with what was in them.
type NamedFiles = Vec<(String, Vec<u8>)>;

/// The files that the log names, if nobody answered anything in it.
fn unanswered(folder: &Folder) -> Result<Option<NamedFiles>, Failure> {
    let (mut files, mut opens) = (Vec::new(), true);
    let Ok(log) = LogReader::open(&folder.path(folder::TRACE)?) else { return Ok(None) };
    for record in log {
        let Ok(entry) = record else { return Ok(None) };
        match entry.record.what {
            Logged::Input(Input::Tool { .. }) => opens = true,
            // A section that names files names all of them.
            Logged::Input(Input::File { name, bytes }) => {
                if std::mem::take(&mut opens) {
                    files.clear();
                }
                files.push((name, bytes));
            }
            Logged::Input(Input::Operator(_)) => return Ok(None),
            _ => {}
        }
    }
    files.retain(|(name, _)| name != PORT && name != OLD_PORT);
    Ok(Some(files))
}

fn aside(name: &str, number: u32) -> String {
    format!("{name}.unused-{number}")
}
fn free_number(folder: &Folder) -> Result<u32, Problem> {
    let mut number = 1;
    while folder.exists(&aside(folder::JOURNAL, number))? || folder.exists(&aside(folder::TRACE, number))? {
        number += 1;
    }
    Ok(number)
}
