//! Files that only their owner may read: the one place where this crate's code depends on the operating system.
//!
//! Not here: what is in them. On Windows a new file takes the access rights of its folder, which for a user's own
//! folders shut out other users; nothing more is set or checked there.
use std::{fs, io, path::Path};

/// A new file that only its owner may read and write, even while it is being made.
pub(crate) fn create_new(path: &Path) -> io::Result<fs::File> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

/// May others than the owner read or write the file? How its rights are written, if so.
#[cfg(unix)]
pub(crate) fn open_to_others(file: &fs::File) -> io::Result<Option<String>> {
    let mode = std::os::unix::fs::PermissionsExt::mode(&file.metadata()?.permissions()) & 0o777;
    Ok((mode & 0o077 != 0).then(|| format!("{mode:03o}")))
}
#[cfg(not(unix))]
pub(crate) fn open_to_others(_: &fs::File) -> io::Result<Option<String>> {
    Ok(None)
}
