//! Whether a job folder is as the tool left it: the journal's chain, the files that the journal binds by digest, and
//! the journal's citations of the log.
//!
//! Not here: whether the journal follows from the log (a strict replay shows that), and signatures.
use crate::{
    digest::Digest,
    error::{Kind, Problem},
    folder::{self, Folder},
    journal::{self, Citation, JOURNAL_LIMIT, Journal, Torn},
    kept::KeptFile,
    loggers, photos, settings,
};
use plumeline_base::input::Photo;
use plumeline_detector::Identity;
use plumeline_procedure::{Entry, effect::KeptSettings};
use std::collections::{BTreeMap, BTreeSet};

/// What a check found.
#[derive(Clone, Debug, Default)]
pub struct Checked {
    /// Files whose digest is the recorded one.
    pub sound: Vec<(String, Digest)>,
    /// Whole lines of the journal.
    pub lines: u64,
    /// Hash of the journal's last line.
    pub head: Digest,
    /// An unfinished end of the journal, as a crash leaves it; no fault, and not part of the journal.
    pub torn: Option<Torn>,
    /// Everything that is not as it should be, each with its file and line.
    pub problems: Vec<Problem>,
}

/// Checks a job folder. `cited` says whether the log holds what a citation claims, and if not, how it differs.
pub fn check(folder: &Folder, mut cited: impl FnMut(&Citation) -> Result<(), String>) -> Checked {
    let mut checked = Checked::default();
    let journal: Journal<Entry> = match read_journal(folder) {
        Ok(journal) => journal,
        Err(problem) => {
            checked.problems.push(problem);
            return checked;
        }
    };
    checked.lines = journal.chain.len();
    checked.head = journal.chain.head();
    checked.torn = journal.torn;

    let mut inputs = BTreeMap::new();
    let mut kept = BTreeMap::new();
    let mut units = BTreeMap::new();
    let mut starts = BTreeSet::new();
    let mut kept_photos = Vec::new();
    let mut kept_logs = Vec::new();
    let mut log_holds = true;
    for line in &journal.lines {
        // One line is enough to find the place; all that follow it would say the same.
        if log_holds && let Err(differs) = cited(&line.log) {
            log_holds = false;
            let number = usize::try_from(line.seq + 1).unwrap_or(usize::MAX);
            let cause = format!("the line cites byte {} of {}, but {differs}", line.log.offset, folder::TRACE);
            let remedy = "use the trace and the journal of the same job, as the tool wrote them";
            checked.problems.push(Problem::with_line(Kind::Altered, folder::JOURNAL, number, cause, remedy));
        }
        match &line.entry {
            Entry::File { name, sha256, .. } => {
                inputs.insert(name.as_str(), sha256.as_str());
            }
            Entry::Unit { role, identity } => {
                units.insert(role.as_str(), identity);
                starts.insert(identity.boot_id);
            }
            Entry::StartedAnew { boot_id } => {
                starts.insert(*boot_id);
            }
            Entry::Ticked(ticked) => kept_photos.extend(&ticked.photo),
            Entry::LoggerFile { name, sha256, length, .. } => {
                kept_logs.push(Photo { name: name.clone(), length: *length, sha256: sha256.clone() });
            }
            Entry::Settings { which, sha256, .. } => {
                let (name, role) = match which {
                    KeptSettings::AsFound => (folder::SETTINGS_AS_FOUND, "outgoing"),
                    KeptSettings::AsLeft => (folder::SETTINGS_AS_LEFT, "replacement"),
                };
                kept.insert(name, (sha256.as_str(), units.get(role).copied()));
            }
            _ => {}
        }
    }
    for (name, _) in folder::INPUTS {
        let result = input(folder, name, inputs.get(name).copied());
        checked.take(name, result);
    }
    for (name, (recorded, unit)) in kept {
        let result = kept_settings(folder, name, recorded, unit, &starts);
        checked.take(name, result);
    }
    for photo in kept_photos {
        let result = kept_by(folder, photo, photos::check);
        checked.take(&photo.name, result);
    }
    for file in &kept_logs {
        let result = kept_by(folder, file, loggers::check);
        checked.take(&file.name, result);
    }
    checked
}

impl Checked {
    /// True when nothing is wrong.
    pub fn is_sound(&self) -> bool {
        self.problems.is_empty()
    }
    fn take(&mut self, name: &str, result: Result<Option<Digest>, Problem>) {
        match result {
            Ok(Some(digest)) => self.sound.push((name.to_owned(), digest)),
            Ok(None) => {}
            Err(problem) => self.problems.push(problem),
        }
    }
}

fn read_journal(folder: &Folder) -> Result<Journal<Entry>, Problem> {
    let file = folder.read_up_to(folder::JOURNAL, JOURNAL_LIMIT)?;
    journal::read(folder::JOURNAL, &file.bytes)
}

/// An input against its digest of the journal; nothing where there is neither.
fn input(folder: &Folder, name: &str, recorded: Option<&str>) -> Result<Option<Digest>, Problem> {
    let Some(recorded) = recorded else {
        if folder.exists(name)? {
            let cause = "the journal does not record this file: it was added later";
            return Err(Problem::with_file(Kind::Altered, name, cause, "take it out, or run a new job with it"));
        }
        return Ok(None);
    };
    let file = folder.read(name)?;
    if Digest::parse(recorded) != Some(file.digest) {
        let cause = format!("its SHA-256 is {}, but the journal records {recorded}", file.digest);
        let remedy = "put back the file that the job was run with, or run a new job with this one";
        return Err(Problem::with_file(Kind::Altered, name, cause, remedy));
    }
    Ok(Some(file.digest))
}

/// A photo, or a file of a logger, that an answer names.
fn kept_by(
    folder: &Folder,
    named: &Photo,
    check: impl Fn(&Folder, &KeptFile) -> Result<(), Problem>,
) -> Result<Option<Digest>, Problem> {
    let digest = Digest::parse(&named.sha256).ok_or_else(|| {
        let cause = "the journal records no SHA-256 of this file";
        Problem::with_file(Kind::Altered, &named.name, cause, "use the journal as the tool wrote it")
    })?;
    check(folder, &KeptFile { name: named.name.clone(), length: named.length, digest })?;
    Ok(Some(digest))
}

/// Kept settings against what the journal records: the digest of their items, and the unit that held them.
fn kept_settings(
    folder: &Folder,
    name: &str,
    recorded: &str,
    unit: Option<&Identity>,
    starts: &BTreeSet<Option<u64>>,
) -> Result<Option<Digest>, Problem> {
    let altered =
        |cause: String| Err(Problem::with_file(Kind::Altered, name, cause, "put back the file as the job kept it"));
    let file = folder.read(name)?;
    let document = settings::parse(name, &file.bytes)?;
    if Digest::parse(recorded) != Some(document.digest) {
        return altered(format!("the digest of its items is {}, but the journal records {recorded}", document.digest));
    }
    // The unit may have started anew since it was identified; every start is in the journal.
    let named = document.unit.clone().map(|u| (u.boot_id, Identity { boot_id: None, ..u }));
    let known = unit.map(|u| Identity { boot_id: None, ..u.clone() });
    if named.as_ref().map(|(_, u)| u) != known.as_ref() || named.is_some_and(|(start, _)| !starts.contains(&start)) {
        return altered("the unit that it names is not the one that the journal records".to_owned());
    }
    if settings::to_json(&document.settings, document.unit.as_ref(), true)? != file.bytes {
        return altered("it does not stand as the tool wrote it".to_owned());
    }
    Ok(Some(file.digest))
}
