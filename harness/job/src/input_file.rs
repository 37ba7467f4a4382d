//! Files that a person names, opened and read with a limit that holds before anything is read.
//!
//! A pipe would wait for whoever writes to it, and a device need not end: only regular files are read. Not here: what is in
//! them, and the job's own folder ([`crate::folder`]).
use crate::error::{Problem, too_large};
use std::{fmt, fs, io, io::Read as _, path::Path};

/// Reads a regular file of at most `limit` bytes; `doing` is for the message, such as "read the sheet".
///
/// # Errors
/// [`crate::Kind::TooLarge`], [`crate::Kind::WrongType`] for what is no regular file; what the system reports.
pub fn read(path: &Path, doing: &str, limit: u64) -> Result<Vec<u8>, Problem> {
    read_up_to(path, limit).map_err(|e| match e.get_ref().and_then(|e| e.downcast_ref::<Longer>()) {
        Some(Longer(length)) => too_large(&path.display().to_string(), *length, limit),
        None => Problem::from_io(path, doing, &e),
    })
}

/// Opens a regular file, to be read by parts.
///
/// # Errors
/// [`crate::Kind::WrongType`] for what is no regular file; what the system reports.
pub fn open(path: &Path, doing: &str) -> Result<fs::File, Problem> {
    open_regular(path).map_err(|e| Problem::from_io(path, doing, &e))
}

pub(crate) fn read_up_to(path: &Path, limit: u64) -> io::Result<Vec<u8>> {
    let file = open_regular(path)?;
    let length = file.metadata()?.len();
    let mut bytes = Vec::new();
    if length <= limit {
        // It may grow while it is read.
        file.take(limit.saturating_add(1)).read_to_end(&mut bytes)?;
    }
    let length = length.max(bytes.len() as u64);
    if length > limit { Err(io::Error::new(io::ErrorKind::FileTooLarge, Longer(length))) } else { Ok(bytes) }
}

pub(crate) fn open_regular(path: &Path) -> io::Result<fs::File> {
    // Looked at before it is opened, because opening a pipe waits; and again behind it, for what was opened.
    regular(&fs::metadata(path)?)?;
    let file = fs::File::open(path)?;
    regular(&file.metadata()?)?;
    Ok(file)
}

fn regular(found: &fs::Metadata) -> io::Result<()> {
    if found.is_file() { Ok(()) } else { Err(io::Error::new(io::ErrorKind::InvalidInput, NotAFile(found.is_dir()))) }
}

/// It is a folder, or a pipe, a device or whatever else a system has.
#[derive(Debug)]
pub(crate) struct NotAFile(bool);
impl fmt::Display for NotAFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.0 { "it is a folder" } else { "it is a pipe or a device, no file" })
    }
}
impl std::error::Error for NotAFile {}

/// Longer than it may be, and how long.
#[derive(Debug)]
struct Longer(u64);
impl fmt::Display for Longer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "it is {} bytes long", self.0)
    }
}
impl std::error::Error for Longer {}
