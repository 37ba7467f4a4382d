//! A job's folder: made, opened, locked to one process; its files read with a limit and put in place whole.
//!
//! Not here: the input log's own writer, and what the files mean.
use crate::{
    TEXT_LIMIT,
    digest::Digest,
    disk::{self, Disk, Locking, OsDisk},
    error::{Kind, Problem, quoted, too_large},
    loggers::LOGGERS,
    photos::PHOTOS,
    seal, stamp_file,
};
use serde::Serialize;
use std::{
    fmt, io,
    path::{Path, PathBuf},
    sync::Arc,
};

/// The pipework: geometry, unit and air.
pub const PIPEWORK: &str = "pipework.toml";
/// The plan: stages, limits, policies.
pub const PLAN: &str = "plan.toml";
/// The description of the outgoing unit's model.
pub const UNIT_OUTGOING: &str = "unit-outgoing.toml";
/// The description of the replacement's model.
pub const UNIT_REPLACEMENT: &str = "unit-replacement.toml";
/// The settings read from the outgoing unit.
pub const SETTINGS_AS_FOUND: &str = "settings-as-found.json";
/// The settings captured from the outgoing unit before the job, that the new ones are carried over from.
pub const SETTINGS_OLD: &str = "settings-old.json";
/// What was decided about the carry-over.
pub const DECISIONS: &str = "decisions.toml";
/// The account of the carry-over: what became of every item.
pub const ACCOUNT: &str = "carry-account.json";
/// The same for people.
pub const ACCOUNT_TEXT: &str = "carry-account.txt";
/// Which wires go where.
pub const WIRING: &str = "wiring-sheet.txt";
/// The settings for the new unit.
pub const SETTINGS_NEW: &str = "settings-new.json";
/// The settings read back from the replacement.
pub const SETTINGS_AS_LEFT: &str = "settings-as-left.json";
/// The ordered input log.
pub const TRACE: &str = "trace.pcapng";
/// The journal derived from it.
pub const JOURNAL: &str = "journal.jsonl";
/// The result.
pub const RESULT: &str = "result.json";
/// The result for build servers.
pub const JUNIT: &str = "junit.xml";
/// The page for people.
pub const REPORT: &str = "report.html";
/// The one page for the customer.
pub const PAGE: &str = "page.html";
/// What is written when a job is over, each made from the same facts: the formats of the report.
pub const REPORTS: [&str; 4] = [RESULT, JUNIT, REPORT, PAGE];
/// The lock; holds the process id of whoever has the job.
pub const LOCK: &str = "lock";

/// The seal of the design, made before the job.
pub const DESIGN: &str = "design-seal.json";
/// What earlier jobs at the same unit measured.
pub const HISTORY: &str = "history.json";

/// The files that a job is judged by, and whether it can't be without them.
pub const INPUTS: [(&str, bool); 10] = [
    (PIPEWORK, true),
    (PLAN, true),
    (UNIT_OUTGOING, false),
    (UNIT_REPLACEMENT, false),
    (SETTINGS_NEW, false),
    (SETTINGS_OLD, false),
    (DECISIONS, false),
    (ACCOUNT, false),
    (HISTORY, false),
    (DESIGN, false),
];

/// What a job that has begun leaves in its folder besides its reports, in the order in which a new job takes it away: what
/// follows from something goes before it, and the reports before all of it.
const LEFT_BY_A_JOB: [&str; 14] = [
    DESIGN,
    HISTORY,
    SETTINGS_AS_LEFT,
    SETTINGS_AS_FOUND,
    JOURNAL,
    TRACE,
    SETTINGS_NEW,
    WIRING,
    ACCOUNT_TEXT,
    ACCOUNT,
    DECISIONS,
    SETTINGS_OLD,
    UNIT_REPLACEMENT,
    UNIT_OUTGOING,
];

/// A kind of numbered files: the number by the name, and the name by the number.
type Numbered = (fn(&str) -> Option<u32>, fn(u32) -> String);
const NUMBERED_STAMPS: Numbered = (stamp_file::number_of, stamp_file::file_name);
const NUMBERED_SEALS: Numbered = (seal::number_of, seal::file_name);

/// An open job folder.
#[derive(Clone, Debug)]
pub struct Folder {
    dir: PathBuf,
    disk: Arc<dyn Disk>,
}

/// A file as it was read, with its digest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputFile {
    /// Name within the folder.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Their SHA-256.
    pub digest: Digest,
}

/// Holds a job for this process until dropped.
pub struct Lock(#[expect(dead_code, reason = "held for its drop")] Box<dyn Send>);
impl fmt::Debug for Lock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Lock")
    }
}

impl Folder {
    /// Makes a job folder on this machine's disk with these files in it. With `force` a job that is there already is
    /// replaced: what it left is taken away first, so that nothing of it can pass for the new one's.
    ///
    /// # Errors
    /// [`Kind::Exists`] if one of the files is there already and `force` is false: nothing is then written.
    /// [`Kind::Busy`] if another process works on the job that would be replaced.
    pub fn create(dir: &Path, files: &[(&str, &[u8])], force: bool) -> Result<Self, Problem> {
        Self::create_on(Arc::new(OsDisk), dir, files, force)
    }
    /// As [`Folder::create`], on the disk given.
    ///
    /// # Errors
    /// As [`Folder::create`].
    pub fn create_on(disk: Arc<dyn Disk>, dir: &Path, files: &[(&str, &[u8])], force: bool) -> Result<Self, Problem> {
        let told = |e: io::Error| Problem::from_io(dir, "make the job folder", &e);
        let folder = Self { dir: dir.to_owned(), disk };
        if !folder.disk.exists(dir).map_err(told)? {
            folder.disk.create_dir(dir).map_err(told)?;
            folder.disk.sync_dir(disk::parent(dir)).map_err(told)?;
        }
        let _lock = folder.lock()?;
        let left = folder.left_by_a_job().map_err(told)?;
        for path in files.iter().map(|(name, _)| dir.join(name)).chain(left.iter().cloned()) {
            if !force && folder.disk.exists(&path).map_err(told)? {
                return Err(Problem::from_io(&path, "write a new job", &io::ErrorKind::AlreadyExists.into()));
            }
        }
        for path in &left {
            folder.disk.remove(path).map_err(|e| Problem::from_io(path, "take it away", &e))?;
        }
        folder.disk.sync_dir(dir).map_err(told)?;
        for (name, bytes) in files {
            folder.replace(name, bytes)?;
        }
        Ok(folder)
    }
    /// What a job left here, in the order in which it is taken away: stamps and seals (the newest first), photos and files of loggers, then what follows
    /// from something before that.
    fn left_by_a_job(&self) -> io::Result<Vec<PathBuf>> {
        let names = self.disk.list(&self.dir)?;
        let mut left = Vec::new();
        for (number_of, file_name) in [NUMBERED_STAMPS, NUMBERED_SEALS] {
            let mut numbers: Vec<u32> = names.iter().filter_map(|name| number_of(name)).collect();
            numbers.sort_unstable();
            left.extend(numbers.into_iter().rev().map(|n| self.dir.join(file_name(n))));
        }
        for shelf in [PHOTOS, LOGGERS].map(|shelf| self.dir.join(shelf)) {
            if self.disk.exists(&shelf)? {
                left.extend(self.disk.list(&shelf)?.into_iter().map(|name| shelf.join(name)));
            }
        }
        for name in REPORTS.into_iter().rev().chain(LEFT_BY_A_JOB) {
            let path = self.dir.join(name);
            if self.disk.exists(&path)? {
                left.push(path);
            }
        }
        Ok(left)
    }
    /// Opens an existing job folder on this machine's disk.
    ///
    /// # Errors
    /// [`Kind::Absent`] if it is not there or holds no plan.
    pub fn open(dir: &Path) -> Result<Self, Problem> {
        Self::open_on(Arc::new(OsDisk), dir)
    }
    /// As [`Folder::open`], on the disk given.
    ///
    /// # Errors
    /// As [`Folder::open`].
    pub fn open_on(disk: Arc<dyn Disk>, dir: &Path) -> Result<Self, Problem> {
        let folder = Self { dir: dir.to_owned(), disk };
        // Of a sealed job, what is missing is for the seal to tell.
        if folder.exists(PLAN)? || folder.exists(&seal::file_name(1))? {
            return Ok(folder);
        }
        Err(Problem::with_file(
            Kind::Absent,
            &dir.display().to_string(),
            format!("this is not a job folder: it holds no {PLAN}"),
            "check the path; `plumeline new` writes a new job folder",
        ))
    }
    /// Takes the job for this process.
    ///
    /// # Errors
    /// [`Kind::Busy`] if another process has it; the message says which.
    pub fn lock(&self) -> Result<Lock, Problem> {
        let path = self.path(LOCK)?;
        match self.disk.lock(&path).map_err(|e| Problem::from_io(&path, "lock the job", &e))? {
            Locking::Held(held) => Ok(Lock(held)),
            Locking::Taken(holder) => {
                let who = match holder {
                    Some(id) => format!("the process with id {id}"),
                    None => "another process".to_owned(),
                };
                Err(Problem::with_file(
                    Kind::Busy,
                    &self.dir.display().to_string(),
                    format!("{who} is working on this job"),
                    "wait until it has ended, or end it; the job goes on where it stopped",
                ))
            }
        }
    }
    /// The folder itself.
    pub fn dir(&self) -> &Path {
        &self.dir
    }
    /// The disk it is on.
    pub fn disk(&self) -> &dyn Disk {
        &*self.disk
    }
    /// The path of a file in the folder.
    ///
    /// # Errors
    /// [`Kind::Range`] if the name could lead out of the folder or is no plain file name.
    pub fn path(&self, name: &str) -> Result<PathBuf, Problem> {
        let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
        let tame = !name.is_empty() && name.len() <= 120 && !name.starts_with('.') && name.chars().all(plain);
        if tame {
            return Ok(self.dir.join(name));
        }
        Err(Problem::with_file(
            Kind::Range,
            &self.dir.display().to_string(),
            format!("{} is no file name for a job folder", quoted(name)),
            "use letters, digits, `-`, `_` and `.` only, with no folder before it",
        ))
    }
    /// Is there a file of this name?
    ///
    /// # Errors
    /// As [`Folder::path`]; what the system reports.
    pub fn exists(&self, name: &str) -> Result<bool, Problem> {
        let path = self.path(name)?;
        self.disk.exists(&path).map_err(|e| Problem::from_io(&path, "look for it", &e))
    }
    /// Reads a file of at most [`TEXT_LIMIT`] bytes, with its digest.
    ///
    /// # Errors
    /// [`Kind::Absent`], [`Kind::TooLarge`]; what the system reports.
    pub fn read(&self, name: &str) -> Result<InputFile, Problem> {
        self.read_up_to(name, TEXT_LIMIT as u64)
    }
    /// Reads a file of at most `limit` bytes, with its digest.
    ///
    /// # Errors
    /// As [`Folder::read`].
    pub fn read_up_to(&self, name: &str, limit: u64) -> Result<InputFile, Problem> {
        let path = self.path(name)?;
        match self.disk.read(&path, limit) {
            Ok(bytes) => Ok(InputFile { name: name.to_owned(), digest: Digest::of(&bytes), bytes }),
            Err(e) if e.kind() == io::ErrorKind::FileTooLarge => {
                Err(too_large(&path.display().to_string(), limit + 1, limit))
            }
            Err(e) => Err(Problem::from_io(&path, "read it", &e)),
        }
    }
    /// Puts a new file in place whole.
    ///
    /// # Errors
    /// [`Kind::Exists`] if there is one and `force` is false.
    pub fn write(&self, name: &str, bytes: &[u8], force: bool) -> Result<(), Problem> {
        if !force && self.exists(name)? {
            return Err(Problem::from_io(&self.path(name)?, "write it", &io::ErrorKind::AlreadyExists.into()));
        }
        self.replace(name, bytes)
    }
    /// Puts a file in place whole, in place of any that is there: after a crash it is the old one or the new one.
    ///
    /// # Errors
    /// What the system reports.
    pub fn replace(&self, name: &str, bytes: &[u8]) -> Result<(), Problem> {
        let path = self.path(name)?;
        disk::replace(&*self.disk, &path, bytes).map_err(|e| Problem::from_io(&path, "write it", &e))
    }
    /// Puts a JSON document in place whole: indented, with a line feed at its end.
    ///
    /// # Errors
    /// [`Kind::Internal`] if the value has no JSON form; what the system reports.
    pub fn replace_json(&self, name: &str, value: &impl Serialize) -> Result<(), Problem> {
        let mut bytes = serde_json::to_vec_pretty(value).map_err(|e| {
            Problem::with_file(Kind::Internal, name, format!("it has no JSON form: {e}"), "report this")
        })?;
        bytes.push(b'\n');
        self.replace(name, &bytes)
    }
}
