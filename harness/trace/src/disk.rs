//! The few things a log needs of a disk, so that crashes can be played through on one that is not real.
//!
//! Not here: formats. Files are only appended to, flushed, and cut at a length.
use std::{
    collections::HashMap,
    fs::{File, OpenOptions},
    io::{self, ErrorKind, Read, Seek, SeekFrom, Write},
    path::{Path, PathBuf},
};

/// A folder of append-only files.
pub trait Disk {
    /// The file's length in bytes; `None` if there is no such file.
    ///
    /// # Errors
    /// What the system reports.
    fn len(&mut self, name: &str) -> io::Result<Option<u64>>;
    /// Reads from `offset` on into `buf`; returns how many bytes there were, 0 at the end.
    ///
    /// # Errors
    /// What the system reports; there must be such a file.
    fn read_at(&mut self, name: &str, offset: u64, buf: &mut [u8]) -> io::Result<usize>;
    /// Writes at the end; creates the file if need be. Not durable before [`Disk::sync`].
    ///
    /// # Errors
    /// What the system reports. Part of `bytes` may have been written.
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()>;
    /// Holds the file for this process as long as this disk lives; made if it is not there. A disk that only one process can
    /// reach need not.
    ///
    /// # Errors
    /// [`ErrorKind::ResourceBusy`] while another holds it; what the system reports.
    fn hold(&mut self, _name: &str) -> io::Result<()> {
        Ok(())
    }
    /// Cuts the file to `len` bytes. Not durable before [`Disk::sync`].
    ///
    /// # Errors
    /// What the system reports; there must be such a file.
    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()>;
    /// Makes everything done to the file durable, its being there included.
    ///
    /// # Errors
    /// What the system reports. After an error nothing is known about what is durable.
    fn sync(&mut self, name: &str) -> io::Result<()>;
}

impl<D: Disk + ?Sized> Disk for &mut D {
    fn len(&mut self, name: &str) -> io::Result<Option<u64>> {
        (**self).len(name)
    }
    fn read_at(&mut self, name: &str, offset: u64, buf: &mut [u8]) -> io::Result<usize> {
        (**self).read_at(name, offset, buf)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        (**self).append(name, bytes)
    }
    fn hold(&mut self, name: &str) -> io::Result<()> {
        (**self).hold(name)
    }
    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()> {
        (**self).truncate(name, len)
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        (**self).sync(name)
    }
}

/// A real folder.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    open: HashMap<String, Handle>,
}

#[derive(Debug)]
struct Handle {
    file: File,
    /// The folder's own entry is not yet known to be durable.
    new: bool,
}

impl Folder {
    /// The folder at `path`, which must exist by the time something is written.
    pub fn new(path: impl Into<PathBuf>) -> Self {
        Self { path: path.into(), open: HashMap::new() }
    }

    fn handle(&mut self, name: &str, create: bool) -> io::Result<&mut Handle> {
        if !self.open.contains_key(name) {
            let path = self.path.join(name);
            // What a link leads to is not of this folder.
            if std::fs::symlink_metadata(&path).is_ok_and(|m| !m.is_file()) {
                return Err(io::Error::new(ErrorKind::InvalidInput, format!("{name} is a link or a device, no file")));
            }
            let file = OpenOptions::new().read(true).append(true).create(create).open(path)?;
            self.open.insert(name.to_owned(), Handle { file, new: true });
        }
        self.open.get_mut(name).ok_or_else(|| ErrorKind::NotFound.into())
    }
}

impl Disk for Folder {
    fn len(&mut self, name: &str) -> io::Result<Option<u64>> {
        match std::fs::metadata(self.path.join(name)) {
            Ok(m) => Ok(Some(m.len())),
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(None),
            Err(e) => Err(e),
        }
    }
    fn read_at(&mut self, name: &str, offset: u64, buf: &mut [u8]) -> io::Result<usize> {
        let file = &mut self.handle(name, false)?.file;
        file.seek(SeekFrom::Start(offset))?;
        file.read(buf)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.handle(name, true)?.file.write_all(bytes)
    }
    fn hold(&mut self, name: &str) -> io::Result<()> {
        // Elsewhere a lock keeps others from reading too, and `plumeline check` reads a job under way.
        if cfg!(unix) {
            self.handle(name, true)?.file.try_lock().map_err(|e| match e {
                std::fs::TryLockError::WouldBlock => ErrorKind::ResourceBusy.into(),
                std::fs::TryLockError::Error(e) => e,
            })?;
        }
        Ok(())
    }
    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()> {
        let path = self.path.join(name);
        // A handle that may only append can't cut a file on every system.
        OpenOptions::new().write(true).open(path)?.set_len(len)
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        let handle = self.handle(name, false)?;
        handle.file.sync_data()?;
        if std::mem::take(&mut handle.new) {
            sync_folder(&self.path)?;
        }
        Ok(())
    }
}

/// Makes the names in a folder durable. Only Unix can open a folder as a file; Windows journals names by itself.
#[cfg(unix)]
fn sync_folder(path: &Path) -> io::Result<()> {
    File::open(path)?.sync_all()
}
#[cfg(not(unix))]
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}

/// A file of a disk, read from its beginning.
pub struct Reading<'a, D> {
    disk: &'a mut D,
    name: &'a str,
    at: u64,
}
impl<'a, D: Disk> Reading<'a, D> {
    /// Reads `name`, which must be there.
    pub fn new(disk: &'a mut D, name: &'a str) -> Self {
        Self { disk, name, at: 0 }
    }
}
impl<D: Disk> Read for Reading<'_, D> {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        let n = self.disk.read_at(self.name, self.at, buf)?;
        self.at += n as u64;
        Ok(n)
    }
}
