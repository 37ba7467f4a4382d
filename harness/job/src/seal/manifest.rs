//! Every file of a job with its length and digest.
//!
//! Not here: which of them may change.
use super::number_of;
use crate::{
    digest::Digest,
    disk::{self, Kind as FileKind},
    error::{Kind, Problem, quoted, too_large},
    folder::{self, Folder},
};
use serde::{Deserialize, Serialize};
use std::io;

/// Longest file that is sealed, bytes.
pub(crate) const FILE_LIMIT: u64 = 1024 * 1024 * 1024;
/// Most files of a job.
pub(crate) const FILES_LIMIT: usize = 10_000;
/// Folders within folders of a job, at most.
const DEPTH_LIMIT: usize = 4;
/// Longest name with its folders, bytes.
const NAME_LIMIT: usize = 240;

/// A file as it was sealed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct SealedFile {
    /// Length, bytes. Of a file that only grows (journal, trace): how much of it is sealed.
    pub length: u64,
    /// Name from the job's folder, parts joined by `/`.
    pub name: String,
    /// SHA-256 of that much of it.
    pub sha256: Digest,
}

/// A name that means the same file on every system and leads nowhere else: no empty part, no part that begins or ends
/// with a dot, no separator, drive, control or format character, no name that Windows keeps for devices.
pub(crate) fn is_tame(name: &str) -> bool {
    let odd = |c: char| {
        let shapes_text =
            matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}');
        c.is_control() || shapes_text || c == '\u{fffd}' || "\\:*?\"<>|".contains(c)
    };
    let device = |part: &str| {
        let stem = part.split('.').next().unwrap_or_default().to_ascii_lowercase();
        let numbered = stem.len() == 4 && (stem.starts_with("com") || stem.starts_with("lpt"));
        matches!(stem.as_str(), "con" | "prn" | "aux" | "nul")
            || (numbered && stem.ends_with(|c: char| c.is_ascii_digit()))
    };
    let part = |p: &str| !p.is_empty() && !p.starts_with('.') && !p.ends_with(['.', ' ']) && !device(p);
    name.len() <= NAME_LIMIT
        && !name.chars().any(odd)
        && name.split('/').all(part)
        && name.split('/').count() <= DEPTH_LIMIT + 1
}

/// The names of all files of a job that a seal covers, sorted.
///
/// # Errors
/// [`Kind::Range`] for a link, a device, or a name that can't be sealed, and for too many files.
pub(crate) fn names(folder: &Folder) -> Result<Vec<String>, Problem> {
    let mut names = all_names(folder)?;
    names.retain(|name| number_of(name).is_none());
    Ok(names)
}

/// As [`names`], with the seals.
///
/// # Errors
/// As [`names`].
pub(crate) fn all_names(folder: &Folder) -> Result<Vec<String>, Problem> {
    let mut found = Vec::new();
    let mut dirs = vec![String::new()];
    while let Some(dir) = dirs.pop() {
        let path = folder.dir().join(&dir);
        for entry in folder.disk().list(&path).map_err(|e| Problem::from_io(&path, "list it", &e))? {
            let name = if dir.is_empty() { entry } else { format!("{dir}/{entry}") };
            // The lock is of the process that works on the job, and no part of the record.
            if name == folder::LOCK {
                continue;
            }
            if !is_tame(&name) {
                let cause = format!("{} can't be sealed under this name", quoted(&name));
                return refused(&name, cause, "take it out, or give it a name of letters and digits");
            }
            let path = folder.dir().join(&name);
            match folder.disk().kind(&path).map_err(|e| Problem::from_io(&path, "look at it", &e))? {
                FileKind::File => found.push(name),
                FileKind::Dir => dirs.push(name),
                FileKind::Other => {
                    let cause = "it is a link or a device; a record holds only files".to_owned();
                    return refused(&name, cause, "take it out, or put a copy of the file in its place");
                }
            }
            if found.len() + dirs.len() > FILES_LIMIT {
                let cause = format!("there are more than {FILES_LIMIT} files");
                return refused(&dir, cause, "take out what is not of the job");
            }
        }
    }
    found.sort();
    Ok(found)
}

fn refused(name: &str, cause: String, remedy: &str) -> Result<Vec<String>, Problem> {
    Err(Problem::with_file(Kind::Range, name, cause, remedy))
}

/// The manifest of a job as it is now.
///
/// # Errors
/// As [`names`]; [`Kind::TooLarge`]; what the system reports.
pub(crate) fn of(folder: &Folder) -> Result<Vec<SealedFile>, Problem> {
    let read = |name: String| {
        let bytes = read(folder, &name)?;
        Ok(SealedFile { length: bytes.len() as u64, sha256: Digest::of(&bytes), name })
    };
    names(folder)?.into_iter().map(read).collect()
}

/// The bytes of a file of the job.
pub(crate) fn read(folder: &Folder, name: &str) -> Result<Vec<u8>, Problem> {
    let path = folder.dir().join(name);
    folder.disk().read(&path, FILE_LIMIT).map_err(|e| match e.kind() {
        io::ErrorKind::FileTooLarge => too_large(name, FILE_LIMIT + 1, FILE_LIMIT),
        _ => Problem::from_io(&path, "read it", &e),
    })
}

/// Takes away what a crash may have left of files that were being put in place whole.
pub(crate) fn take_unfinished_away(folder: &Folder) -> Result<(), Problem> {
    for name in names(folder)?.iter().filter(|name| name.ends_with(disk::UNFINISHED)) {
        let path = folder.dir().join(name);
        folder.disk().remove(&path).map_err(|e| Problem::from_io(&path, "take it away", &e))?;
    }
    Ok(())
}
