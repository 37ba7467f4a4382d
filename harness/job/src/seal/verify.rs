//! Whether a job's folder is as its seals say: file by file, and for the journal line by line.
//!
//! The newest seal is held against the folder, each earlier one against what the later ones state. What may differ is
//! only what the tool itself writes anew when a job goes on, and only if the journal has grown since.
//!
//! Not here: whether the journal follows from the trace, and whose key is the right one.
use super::{GROWING, JournalEnd, Seal, SealedFile, file_name, is_written_anew, manifest, number_of};
use crate::{
    TEXT_LIMIT,
    digest::Digest,
    error::{Kind, Problem},
    folder::{self, Folder},
    journal::{self, Journal},
    stamp_file,
};
use serde_json::Value;

/// A seal whose own form and signature hold.
#[derive(Clone, Debug)]
pub struct Held {
    /// What it says.
    pub seal: Seal,
    /// SHA-256 of its file.
    pub digest: Digest,
}

/// How far a job is sealed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum State {
    /// There is no seal.
    #[default]
    Open,
    /// The newest seal covers everything.
    Sealed,
    /// The job went on behind its newest seal.
    OpenAgain,
}

/// A file that an earlier seal covers and that was rightly written anew since.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Superseded {
    /// The file.
    pub name: String,
    /// The seal that covers how it was.
    pub seal: u32,
    /// The seal that covers what replaced it; none yet where the job went on since.
    pub by: Option<u32>,
}

/// What the seals of a folder come to.
#[derive(Clone, Debug, Default)]
pub struct Standing {
    /// How far the job is sealed. It says nothing while there are problems.
    pub state: State,
    /// The seals that hold by themselves, in their order.
    pub seals: Vec<Held>,
    /// What later seals replaced.
    pub superseded: Vec<Superseded>,
    /// What stands behind the newest seal in files that only grow: name and bytes.
    pub behind: Vec<(String, u64)>,
    /// Files that the newest seal does not know.
    pub added: Vec<String>,
    /// What was altered or is missing.
    pub problems: Vec<Problem>,
}

impl Standing {
    /// The newest seal.
    pub fn newest(&self) -> Option<&Seal> {
        self.seals.last().map(|held| &held.seal)
    }
    /// Everything that is not as sealed, additions to a sealed job included.
    pub fn all_problems(&self) -> Vec<Problem> {
        let added = self.added.iter().filter(|_| self.state == State::Sealed).map(|name| {
            let cause = "it was added after the job was sealed: no seal covers it";
            Problem::with_file(Kind::Altered, name, cause, "take it out, or close the job again to seal it too")
        });
        self.problems.iter().cloned().chain(added).collect()
    }
    /// May this seal follow?
    pub(super) fn may_add(&self, seal: &Seal) -> Result<(), Problem> {
        if let Some(problem) = self.problems.first() {
            return Err(problem.clone());
        }
        let Some(last) = self.newest() else { return Ok(()) };
        let same = |s: &Seal| (s.key, s.closed.clone(), s.files.clone(), s.statement.clone());
        if same(last) == same(seal) {
            let cause = "this key has sealed the job as it is";
            return Err(Problem::with_file(Kind::Conflict, &file_name(last.number), cause, "there is nothing to add"));
        }
        Ok(())
    }
}

/// Holds a folder against its seals.
pub fn verify(folder: &Folder) -> Standing {
    let mut standing = Standing::default();
    if let Err(problem) = standing.read_seals(folder) {
        standing.problems.push(problem);
    }
    if standing.seals.is_empty() {
        return standing;
    }
    let bytes = match folder.read_up_to(folder::JOURNAL, journal::JOURNAL_LIMIT) {
        Ok(file) => file.bytes,
        Err(problem) => {
            if problem.kind() != Kind::Absent {
                standing.problems.push(problem);
            }
            Vec::new()
        }
    };
    let journal = journal::read::<Value>(folder::JOURNAL, &bytes);
    if standing.one_job(journal.as_ref().ok()) {
        standing.newest_against(folder, &journal);
        standing.earlier_against(folder);
    }
    standing
}

/// Which job the folder holds, and the end of its journal.
///
/// # Errors
/// As [`journal::read`]; [`Kind::Conflict`] if the job was never begun, or was ended in the middle of a line.
pub(super) fn journal_of(folder: &Folder) -> Result<(Digest, JournalEnd), Problem> {
    let bytes = folder.read_up_to(folder::JOURNAL, journal::JOURNAL_LIMIT)?.bytes;
    let journal = journal::read::<Value>(folder::JOURNAL, &bytes)?;
    let conflict = |cause: &str, remedy: &str| Problem::with_file(Kind::Conflict, folder::JOURNAL, cause, remedy);
    if journal.torn.is_some() {
        return Err(conflict("its last line is unfinished", "run the job again, which sets the unfinished line aside"));
    }
    let job = identity(&journal)
        .ok_or_else(|| conflict("no stage was begun in this job: there is nothing to seal", "run the job first"))?;
    Ok((job, JournalEnd { head: journal.chain.head(), lines: journal.chain.len() }))
}

/// What tells a job from every other: the hash of its first line that begins a stage, which covers tool, date and files.
fn identity(journal: &Journal<Value>) -> Option<Digest> {
    journal.lines.iter().find(|line| is(&line.entry, "stage-began")).map(|line| line.hash)
}

fn is(entry: &Value, kind: &str) -> bool {
    entry.get("entry").and_then(Value::as_str) == Some(kind)
}

const REMEDY: &str = "put back the file as it was sealed, from a copy";

fn altered(name: &str, cause: String) -> Problem {
    Problem::with_file(Kind::Altered, name, cause, REMEDY)
}

impl Standing {
    /// Reads the seals: each by itself, and bound to the one before.
    fn read_seals(&mut self, folder: &Folder) -> Result<(), Problem> {
        let dir = folder.dir();
        let listed = folder.disk().list(dir).map_err(|e| Problem::from_io(dir, "list it", &e))?;
        let mut numbers: Vec<u32> = listed.iter().filter_map(|name| number_of(name)).collect();
        numbers.sort_unstable();
        let mut before: Option<Digest> = None;
        for (expected, number) in (1..).zip(numbers) {
            let name = file_name(number);
            if number != expected {
                let cause = format!("it is missing, but there is {name}, which was made after it");
                let missing = file_name(expected);
                return Err(Problem::with_file(Kind::Absent, &missing, cause, "put the seal back, from a copy"));
            }
            let bytes = folder.read_up_to(&name, TEXT_LIMIT as u64)?.bytes;
            let digest = Digest::of(&bytes);
            match super::read(&name, &bytes) {
                Ok(seal) => {
                    if before.is_some() && seal.previous != before {
                        let cause = format!("it is not the seal that {name} was made after");
                        self.problems.push(altered(&file_name(number - 1), cause));
                    }
                    self.seals.push(Held { seal, digest });
                    before = Some(digest);
                }
                Err(problem) => {
                    self.problems.push(problem);
                    before = None;
                }
            }
        }
        Ok(())
    }

    /// Are all seals of the one job that the folder holds?
    fn one_job(&mut self, journal: Option<&Journal<Value>>) -> bool {
        let job = journal.and_then(identity).or(self.seals.first().map(|held| held.seal.job));
        let strange: Vec<u32> =
            self.seals.iter().map(|held| &held.seal).filter(|s| Some(s.job) != job).map(|s| s.number).collect();
        for number in &strange {
            let cause = format!("it is the seal of another job than the one that {} tells of", folder::JOURNAL);
            let remedy = "use the seal and the files of the same job, from a copy";
            self.problems.push(Problem::with_file(Kind::Altered, &file_name(*number), cause, remedy));
        }
        strange.is_empty()
    }

    /// The newest seal against the folder.
    fn newest_against(&mut self, folder: &Folder, journal: &Result<Journal<Value>, Problem>) {
        let Some(seal) = self.newest().cloned() else { return };
        // Whether the job was over when it was sealed: then nothing follows.
        let lines = usize::try_from(seal.journal.lines).unwrap_or(usize::MAX);
        let was_over = journal.as_ref().is_ok_and(|j| j.lines.iter().take(lines).any(|l| is(&l.entry, "ended")));
        for file in seal.files.iter().filter(|f| GROWING.contains(&f.name.as_str())) {
            let (length, whole) = match manifest::digest(folder, &file.name, u64::MAX) {
                Ok(digested) => digested,
                Err(problem) if problem.kind() == Kind::Absent => {
                    self.problems.push(missing(&file.name, seal.number));
                    continue;
                }
                Err(problem) => {
                    self.problems.push(problem);
                    continue;
                }
            };
            if (length, whole) != (file.length, file.sha256) && !begins_as(folder, file) {
                self.problems.push(where_altered(file, &seal, length, journal));
                continue;
            }
            let more = length - file.length;
            if more > 0 && was_over {
                let seal_name = file_name(seal.number);
                let cause = format!("{more} bytes were added behind what {seal_name} covers, when the job was over");
                let line = usize::try_from(seal.journal.lines + 1).unwrap_or(usize::MAX);
                self.problems.push(match file.name == folder::JOURNAL {
                    true => Problem::with_line(Kind::Altered, &file.name, line, cause, REMEDY),
                    false => altered(&file.name, cause),
                });
            } else if more > 0 {
                self.behind.push((file.name.clone(), more));
            }
        }
        let at = usize::try_from(seal.journal.lines).ok().and_then(|n| n.checked_sub(1));
        if let (true, Ok(journal), Some(at)) = (self.problems.is_empty(), journal, at)
            && journal.lines.get(at).map(|line| line.hash) != Some(seal.journal.head)
        {
            let cause = format!("what it says of the end of {} is not so", folder::JOURNAL);
            self.problems.push(altered(&file_name(seal.number), cause));
        }
        self.state = if self.behind.is_empty() { State::Sealed } else { State::OpenAgain };
        for file in seal.files.iter().filter(|f| !GROWING.contains(&f.name.as_str())) {
            let goes_on = self.state == State::OpenAgain && is_written_anew(&file.name);
            match manifest::digest(folder, &file.name, u64::MAX) {
                Ok(digested) if digested == (file.length, file.sha256) => {}
                Ok(_) if goes_on => {
                    self.superseded.push(Superseded { name: file.name.clone(), seal: seal.number, by: None });
                }
                Ok((length, _)) => self.problems.push(other_bytes(file, length, seal.number)),
                Err(problem) if problem.kind() == Kind::Absent => {
                    self.problems.push(missing(&file.name, seal.number));
                }
                Err(problem) => self.problems.push(problem),
            }
        }
        match manifest::names(folder) {
            Ok(names) => {
                let known = |name: &String| seal.files.binary_search_by(|f| f.name.cmp(name)).is_ok();
                // A stamp over a seal comes after it.
                let stamp = |name: &String| stamp_file::number_of(name).is_some();
                self.added = names.into_iter().filter(|name| !known(name) && !stamp(name)).collect();
            }
            Err(problem) => self.problems.push(problem),
        }
    }

    /// Earlier seals against the newest one, and their part of the files that only grow against the folder.
    fn earlier_against(&mut self, folder: &Folder) {
        let seals: Vec<Seal> = self.seals.iter().map(|held| held.seal.clone()).collect();
        let Some((newest, earlier)) = seals.split_last() else { return };
        let named: Vec<String> = self.problems.iter().map(|p| p.file().to_owned()).collect();
        for (i, seal) in earlier.iter().enumerate() {
            for file in &seal.files {
                let same = |s: &&Seal| s.files.iter().any(|f| f == file);
                if named.contains(&file.name) || same(&newest) {
                    continue;
                }
                if GROWING.contains(&file.name.as_str()) {
                    if !begins_as(folder, file) {
                        let cause = format!("its beginning is not what {} covers", file_name(seal.number));
                        self.problems.push(altered(&file.name, cause));
                    }
                } else if is_written_anew(&file.name) && newest.journal.lines > seal.journal.lines {
                    let by = seals[i + 1..].iter().find(|s| !same(s)).map(|s| s.number);
                    self.superseded.push(Superseded { name: file.name.clone(), seal: seal.number, by });
                } else {
                    let cause = format!(
                        "it is not the file that {} covers, and nothing that happened in the job explains that",
                        file_name(seal.number)
                    );
                    self.problems.push(altered(&file.name, cause));
                }
            }
        }
    }
}

fn begins_as(folder: &Folder, file: &SealedFile) -> bool {
    manifest::digest(folder, &file.name, file.length).is_ok_and(|digested| digested == (file.length, file.sha256))
}

fn missing(name: &str, seal: u32) -> Problem {
    let cause = format!("it is missing, but {} covers it", file_name(seal));
    Problem::with_file(Kind::Absent, name, cause, "put the file back, from a copy")
}

fn other_bytes(file: &SealedFile, length: u64, seal: u32) -> Problem {
    let seal = file_name(seal);
    let cause = if length == file.length {
        format!("it was altered: it is as long as {seal} says, but its SHA-256 is another")
    } else {
        format!("it was altered: it is {length} bytes long, and {} when {seal} was made", file.length)
    };
    altered(&file.name, cause)
}

/// Where a file that only grows was altered: for the journal, the line.
fn where_altered(file: &SealedFile, seal: &Seal, length: u64, journal: &Result<Journal<Value>, Problem>) -> Problem {
    let plain = other_bytes(file, length, seal.number);
    if file.name != folder::JOURNAL {
        return plain;
    }
    let lines = match journal {
        Err(problem) => return problem.clone(),
        Ok(journal) => journal.lines.len() as u64,
    };
    let (at, cause) = if lines < seal.journal.lines {
        (lines + 1, format!("it was cut: {} covers {} lines", file_name(seal.number), seal.journal.lines))
    } else {
        (1, "its lines are bound to one another, but they are not those that were sealed".to_owned())
    };
    Problem::with_line(Kind::Altered, &file.name, usize::try_from(at).unwrap_or(usize::MAX), cause, REMEDY)
}
