//! Every file of a job with its length and digest.
//!
//! Not here: which of them may change.
use super::number_of;
use crate::{
    digest::Digest,
    disk::{self, Kind as FileKind},
    error::{Kind, Problem, quoted, too_large},
    folder::{self, Folder},
    key,
};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use std::{io, io::Read as _};

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
    let names = names(folder)?;
    no_private_key(folder, &names)?;
    let digested = |name: String| {
        let (length, sha256) = digest(folder, &name, FILE_LIMIT)?;
        Ok(SealedFile { length, name, sha256 })
    };
    names.into_iter().map(digested).collect()
}

/// A private key among the files would be handed over with them, whoever's it is.
///
/// # Errors
/// [`Kind::Conflict`] for a file that holds one; what the system reports.
pub(crate) fn no_private_key(folder: &Folder, names: &[String]) -> Result<(), Problem> {
    for name in names {
        let path = folder.dir().join(name);
        let mut beginning = Vec::new();
        let opened = folder.disk().open(&path);
        opened
            .and_then(|file| file.take(key::LOOKED_AT).read_to_end(&mut beginning))
            .map_err(|e| Problem::from_io(&path, "read it", &e))?;
        if key::holds_private(&beginning) {
            let cause = "it holds a private key, which would be handed over with the job";
            let remedy = "take it out of the job's folder; if the folder was ever handed over, make a new key";
            return Err(Problem::with_file(Kind::Conflict, name, cause, remedy));
        }
    }
    Ok(())
}

/// Length and digest of a file, or of its first `upto` bytes, without holding it in memory.
///
/// # Errors
/// [`Kind::TooLarge`]; what the system reports.
pub(crate) fn digest(folder: &Folder, name: &str, upto: u64) -> Result<(u64, Digest), Problem> {
    let path = folder.dir().join(name);
    let told = |e: io::Error| Problem::from_io(&path, "read it", &e);
    let whole = folder.disk().length(&path).map_err(told)?;
    if upto > FILE_LIMIT && whole > FILE_LIMIT {
        return Err(too_large(name, whole, FILE_LIMIT));
    }
    let mut file = folder.disk().open(&path).map_err(told)?.take(upto.min(FILE_LIMIT + 1));
    let (mut sum, mut length, mut part) = (Sha256::new(), 0, vec![0; 64 * 1024]);
    loop {
        match file.read(&mut part).map_err(told)? {
            0 => break,
            n => {
                sum.update(&part[..n]);
                length += n as u64;
            }
        }
    }
    if length > FILE_LIMIT {
        return Err(too_large(name, length, FILE_LIMIT));
    }
    Ok((length, Digest(sum.finalize().into())))
}

/// Takes away what a crash may have left of files that were being put in place whole.
pub(crate) fn take_unfinished_away(folder: &Folder) -> Result<(), Problem> {
    for name in names(folder)?.iter().filter(|name| name.ends_with(disk::UNFINISHED)) {
        let path = folder.dir().join(name);
        folder.disk().remove(&path).map_err(|e| Problem::from_io(&path, "take it away", &e))?;
    }
    Ok(())
}
