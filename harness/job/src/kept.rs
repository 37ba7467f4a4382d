//! Files that a person names in an answer, kept in a folder of the job under names of the tool's own.
//!
//! A kept name is made of the letters and digits of the file's own name, the beginning of the digest of its bytes and an ending that the
//! tool gives. So no name leads out of the folder, no file replaces another, and taking the same one again (a program that was ended
//! between copy and journal) changes nothing.
//!
//! Not here: which files are taken in, and the journal entry that names them.
use crate::{
    digest::Digest,
    disk::{self, Kind as FileKind},
    error::{Kind, Problem, quoted},
    folder::Folder,
};
use std::{io, path::PathBuf};

/// Most characters that are taken over from the file's own name.
const STEM_LIMIT: usize = 40;
/// Hexadecimal digits of the digest in a kept name.
const DIGITS: usize = 16;

/// A kind of files that are kept.
pub(crate) struct Shelf {
    /// The folder within the job.
    pub(crate) dir: &'static str,
    /// What one of them is called.
    pub(crate) what: &'static str,
    /// The name of one that has none.
    pub(crate) unnamed: &'static str,
    /// The endings that there are.
    pub(crate) endings: &'static [&'static str],
    /// Largest that is kept, bytes.
    pub(crate) limit: u64,
}

/// A file as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptFile {
    /// Where it is, from the job's folder: `photos/…`, `loggers/…`.
    pub name: String,
    /// Length, bytes.
    pub length: u64,
    /// SHA-256 of its bytes.
    pub digest: Digest,
}

impl Shelf {
    /// Puts a copy in its place. When this returns, it is on the disk.
    pub(crate) fn keep(&self, folder: &Folder, stem: &str, ending: &str, bytes: &[u8]) -> Result<KeptFile, Problem> {
        let digest = Digest::of(bytes);
        let file = format!("{}-{}.{ending}", self.plain(stem), &digest.to_string()[..DIGITS]);
        let dir = folder.dir().join(self.dir);
        let path = dir.join(&file);
        let disk = folder.disk();
        let made = || -> io::Result<()> {
            if !disk.exists(&dir)? {
                disk.create_dir(&dir)?;
                disk.sync_dir(folder.dir())?;
            }
            if !disk.exists(&path)? {
                disk::replace(disk, &path, bytes)?;
            }
            Ok(())
        };
        made().map_err(|e| Problem::from_io(&path, &format!("keep the {}", self.what), &e))?;
        let kept = KeptFile { name: format!("{}/{file}", self.dir), length: bytes.len() as u64, digest };
        self.check(folder, &kept)?;
        Ok(kept)
    }
    /// Whether one that the journal names is in its place, as it was.
    pub(crate) fn check(&self, folder: &Folder, kept: &KeptFile) -> Result<(), Problem> {
        let path = self.path(folder, &kept.name)?;
        let what = self.what;
        let told = |e: io::Error| Problem::from_io(&path, &format!("read the {what}"), &e);
        let dir = folder.disk().kind(&folder.dir().join(self.dir)).map_err(told)?;
        if (dir, folder.disk().kind(&path).map_err(told)?) != (FileKind::Dir, FileKind::File) {
            let cause = "it is a link, or no file in the job's own folder";
            let remedy = format!("put the {what} itself in its place");
            return Err(Problem::with_file(Kind::Altered, &kept.name, cause, remedy));
        }
        let bytes = folder.disk().read(&path, self.limit).map_err(told)?;
        if (bytes.len() as u64, Digest::of(&bytes)) == (kept.length, kept.digest) {
            return Ok(());
        }
        let cause = format!("it is not the {what} that the journal records");
        let remedy = format!("put back the {what} as it was kept, from a copy");
        Err(Problem::with_file(Kind::Altered, &kept.name, cause, remedy))
    }
    /// Where a kept file is, if the name is one that the tool makes.
    fn path(&self, folder: &Folder, name: &str) -> Result<PathBuf, Problem> {
        let file = name.strip_prefix(self.dir).and_then(|n| n.strip_prefix('/')).filter(|file| self.is_kept_name(file));
        file.map(|file| folder.dir().join(self.dir).join(file)).ok_or_else(|| {
            let cause = format!("{} is no name of a {} that the tool kept", quoted(name), self.what);
            Problem::with_file(Kind::Range, self.dir, cause, "use the journal as the tool wrote it")
        })
    }
    fn is_kept_name(&self, file: &str) -> bool {
        let Some((stem, ending)) = file.split_once('.') else { return false };
        let Some((own, digits)) = stem.rsplit_once('-') else { return false };
        self.endings.contains(&ending)
            && self.plain(own) == own
            && digits.len() == DIGITS
            && digits.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
    }
    /// What of a name is safe on every system: lower-case letters and digits, the rest as single dashes.
    fn plain(&self, stem: &str) -> String {
        let mut out = String::new();
        for c in stem.chars().take(STEM_LIMIT) {
            if c.is_ascii_alphanumeric() {
                out.push(c.to_ascii_lowercase());
            } else if !out.is_empty() && !out.ends_with('-') {
                out.push('-');
            }
        }
        let own = out.trim_end_matches('-');
        if own.is_empty() { self.unnamed.to_owned() } else { own.to_owned() }
    }
}
