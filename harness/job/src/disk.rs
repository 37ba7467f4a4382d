//! The few things that a job asks of a disk, so that a crash at every one of them can be tried out.
//!
//! Not here: what is written; and links or ports.
use crate::input_file;
use std::{
    fmt, fs, io,
    io::{Read as _, Seek as _, Write as _},
    path::{Path, PathBuf},
};

pub mod fake;

/// A disk. Nothing is sure to outlive a crash before it is synced: a file's bytes by [`DiskFile::sync`], its name
/// by [`Disk::sync_dir`] of the folder that holds it.
pub trait Disk: fmt::Debug + Send + Sync {
    /// The whole file; [`io::ErrorKind::FileTooLarge`] if it is longer than `limit`.
    fn read(&self, path: &Path, limit: u64) -> io::Result<Vec<u8>>;
    /// The length of a file, bytes.
    fn length(&self, path: &Path) -> io::Result<u64>;
    /// A file to be read by parts.
    fn open(&self, path: &Path) -> io::Result<Box<dyn io::Read>>;
    /// Is there a file or folder of this name?
    fn exists(&self, path: &Path) -> io::Result<bool>;
    /// What is at this path; a link is not followed. [`io::ErrorKind::NotFound`] if there is nothing.
    fn kind(&self, path: &Path) -> io::Result<Kind>;
    /// The names in a folder, sorted.
    fn list(&self, dir: &Path) -> io::Result<Vec<String>>;
    /// A new folder.
    fn create_dir(&self, path: &Path) -> io::Result<()>;
    /// An empty file, whatever was there before.
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// An existing file, written at its end.
    fn append(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// Takes a file away.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// A file under another name, in place of any that had it.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Waits until the names in this folder are on the disk.
    fn sync_dir(&self, dir: &Path) -> io::Result<()>;
    /// Takes the lock file at `path`, or says who holds it. The lock ends when the returned value is dropped or the
    /// process ends, however it ends.
    fn lock(&self, path: &Path) -> io::Result<Locking>;
}

/// What a path leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A file.
    File,
    /// A folder.
    Dir,
    /// A link, a device, a pipe or whatever else a system has.
    Other,
}

/// A file open for writing.
pub trait DiskFile: Send {
    /// Writes all the bytes at the end of the file.
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Cuts the file to this length.
    fn truncate(&mut self, len: u64) -> io::Result<()>;
    /// Waits until all that was written is on the disk.
    fn sync(&mut self) -> io::Result<()>;
}

/// What came of taking a lock.
pub enum Locking {
    /// It is ours until this is dropped.
    Held(Box<dyn Send>),
    /// Another process has it; its process id where that could be read.
    Taken(Option<u32>),
}

/// The disk of this machine.
#[derive(Clone, Copy, Debug, Default)]
pub struct OsDisk;

impl Disk for OsDisk {
    fn read(&self, path: &Path, limit: u64) -> io::Result<Vec<u8>> {
        input_file::read_up_to(path, limit)
    }
    fn length(&self, path: &Path) -> io::Result<u64> {
        Ok(fs::metadata(path)?.len())
    }
    fn open(&self, path: &Path) -> io::Result<Box<dyn io::Read>> {
        Ok(Box::new(input_file::open_regular(path)?))
    }
    fn exists(&self, path: &Path) -> io::Result<bool> {
        path.try_exists()
    }
    fn kind(&self, path: &Path) -> io::Result<Kind> {
        let kind = fs::symlink_metadata(path)?.file_type();
        Ok(match (kind.is_file(), kind.is_dir()) {
            (true, _) => Kind::File,
            (_, true) => Kind::Dir,
            _ => Kind::Other,
        })
    }
    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let mut names = fs::read_dir(dir)?
            .map(|entry| Ok(entry?.file_name().to_string_lossy().into_owned()))
            .collect::<io::Result<Vec<_>>>()?;
        names.sort();
        Ok(names)
    }
    fn create_dir(&self, path: &Path) -> io::Result<()> {
        fs::create_dir(path)
    }
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        // Never through a link that waits under this name.
        match fs::remove_file(path) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
        Ok(Box::new(fs::OpenOptions::new().write(true).create_new(true).open(path)?))
    }
    fn append(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        plain(path)?;
        // Not opened for appending only: such a handle can't cut a file on every system. One process holds a job, so
        // the end stays where it is.
        let mut file = fs::OpenOptions::new().write(true).open(path)?;
        file.seek(io::SeekFrom::End(0))?;
        Ok(Box::new(file))
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }
    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        // Only Unix opens a folder as a file; elsewhere the file system orders names by itself.
        if cfg!(unix) { fs::File::open(dir)?.sync_all() } else { Ok(()) }
    }
    fn lock(&self, path: &Path) -> io::Result<Locking> {
        match plain(path) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
        let mut file = fs::OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        match file.try_lock() {
            Ok(()) => {
                file.set_len(0)?;
                writeln!(file, "{}", std::process::id())?;
                Ok(Locking::Held(Box::new(Held(file))))
            }
            Err(fs::TryLockError::WouldBlock) => {
                let mut holder = String::new();
                // Some systems refuse to read a locked file; then the holder stays unknown.
                let _ = file.take(32).read_to_string(&mut holder);
                Ok(Locking::Taken(holder.trim().parse().ok()))
            }
            Err(fs::TryLockError::Error(e)) => Err(e),
        }
    }
}

/// A locked file. A process that was forked meanwhile has a copy of it until it runs its own program, and closing ours alone would leave
/// the lock with that: it is let go outright.
struct Held(fs::File);
impl Drop for Held {
    fn drop(&mut self) {
        // What can't be let go so goes with the file.
        let _ = self.0.unlock();
    }
}

/// What is written in place is a file of its own, never what a link leads to.
fn plain(path: &Path) -> io::Result<()> {
    if fs::symlink_metadata(path)?.is_file() {
        return Ok(());
    }
    Err(io::Error::new(io::ErrorKind::InvalidInput, "it is a link or a device, no file"))
}

impl DiskFile for fs::File {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        io::Write::write_all(self, bytes)
    }
    fn truncate(&mut self, len: u64) -> io::Result<()> {
        self.set_len(len)?;
        self.seek(io::SeekFrom::End(0)).map(|_| ())
    }
    fn sync(&mut self) -> io::Result<()> {
        self.sync_all()
    }
}

/// Puts a file in place whole: after a crash at any instant the name holds the old bytes or the new ones.
///
/// # Errors
/// What the system reported.
pub fn replace(disk: &dyn Disk, path: &Path, bytes: &[u8]) -> io::Result<()> {
    let temporary = temporary(path);
    let mut file = disk.create(&temporary)?;
    file.write_all(bytes)?;
    file.sync()?;
    drop(file);
    disk.rename(&temporary, path)?;
    disk.sync_dir(parent(path))
}

/// The ending of the name under which a file is written before it is put in place.
pub(crate) const UNFINISHED: &str = ".part";

/// The name under which a file is written before it is put in place.
pub(crate) fn temporary(path: &Path) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_os_string();
    name.push(UNFINISHED);
    path.with_file_name(name)
}

/// The folder that holds a path.
pub(crate) fn parent(path: &Path) -> &Path {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lock_is_let_go_though_another_process_still_has_a_copy_of_its_file() {
        let path = std::env::temp_dir().join(format!("plumeline-lock-{}", std::process::id()));
        let file = fs::File::create(&path).unwrap();
        file.try_lock().unwrap();
        // What a fork leaves to a child until that runs its own program.
        let copy = file.try_clone().unwrap();
        drop(Held(file));
        assert!(matches!(OsDisk.lock(&path), Ok(Locking::Held(_))));
        drop(copy);
        fs::remove_file(&path).unwrap();
    }
}
