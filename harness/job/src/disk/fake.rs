//! A disk in memory that crashes on command, for tests: what was not synced may then be lost, torn or kept, in any
//! order.
//!
//! Not here: anything that a job in the field uses.
use super::{Disk, DiskFile, Kind, Locking};
use std::{
    collections::{BTreeMap, BTreeSet},
    io,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

/// A file's bytes: what is sure to be there, and the writes since.
#[derive(Clone, Debug, Default)]
struct Contents {
    synced: Vec<u8>,
    pending: Vec<Write>,
}
#[derive(Clone, Debug)]
enum Write {
    At(usize, Vec<u8>),
    Truncate(usize),
}
impl Contents {
    fn now(&self) -> Vec<u8> {
        let mut bytes = self.synced.clone();
        self.pending.iter().for_each(|w| w.apply(&mut bytes));
        bytes
    }
}
impl Write {
    fn apply(&self, bytes: &mut Vec<u8>) {
        match self {
            Self::At(at, new) => {
                bytes.resize(bytes.len().max(at + new.len()), 0);
                bytes[*at..at + new.len()].copy_from_slice(new);
            }
            Self::Truncate(len) => bytes.truncate(*len),
        }
    }
}

#[derive(Clone, Debug, Default)]
struct State {
    files: Vec<Contents>,
    /// Names now, and as they are sure to be after a crash.
    names: BTreeMap<PathBuf, usize>,
    synced_names: BTreeMap<PathBuf, usize>,
    dirs: BTreeSet<PathBuf>,
    locked: BTreeSet<PathBuf>,
    steps: usize,
    crash_at: Option<usize>,
}
impl State {
    /// Counts one step that changes the disk; fails from the chosen step on.
    fn step(&mut self) -> io::Result<()> {
        self.steps += 1;
        match self.crash_at {
            Some(n) if self.steps > n => Err(io::Error::other("the fake disk has crashed")),
            _ => Ok(()),
        }
    }
}

/// The disk; clones share it.
#[derive(Clone, Debug, Default)]
pub struct FakeDisk(Arc<Mutex<State>>);

impl FakeDisk {
    /// An empty disk.
    pub fn new() -> Self {
        Self::default()
    }
    /// Every step that changes the disk fails once `n` of them have been done.
    #[must_use]
    pub fn crash_after(self, n: usize) -> Self {
        self.state().crash_at = Some(n);
        self
    }
    /// Steps tried so far.
    pub fn steps(&self) -> usize {
        self.state().steps
    }
    /// One of the disks that may be found after a crash now: `choose(n)` gives a number under `n` and decides for
    /// every unsynced write whether it is kept, lost or cut short, and for every unsynced name whether it is old
    /// or new.
    pub fn after_crash(&self, mut choose: impl FnMut(usize) -> usize) -> Self {
        let state = self.state();
        let mut next = State { dirs: state.dirs.clone(), ..State::default() };
        for contents in &state.files {
            let mut bytes = contents.synced.clone();
            for write in &contents.pending {
                match (choose(3), write) {
                    (0, _) => {}
                    (1, Write::At(at, new)) => Write::At(*at, new[..choose(new.len() + 1)].to_vec()).apply(&mut bytes),
                    (_, write) => write.apply(&mut bytes),
                }
            }
            next.files.push(Contents { synced: bytes, pending: Vec::new() });
        }
        let all: BTreeSet<_> = state.names.keys().chain(state.synced_names.keys()).collect();
        for path in all {
            let (old, new) = (state.synced_names.get(path), state.names.get(path));
            if let Some(id) = if old == new || choose(2) == 0 { old } else { new } {
                next.synced_names.insert(path.clone(), *id);
            }
        }
        next.names = next.synced_names.clone();
        Self(Arc::new(Mutex::new(next)))
    }
    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
    fn id(&self, path: &Path) -> io::Result<usize> {
        self.state().names.get(path).copied().ok_or_else(|| io::ErrorKind::NotFound.into())
    }
}

impl Disk for FakeDisk {
    fn read(&self, path: &Path, limit: u64) -> io::Result<Vec<u8>> {
        let id = self.id(path)?;
        let bytes = self.state().files[id].now();
        if bytes.len() as u64 > limit { Err(io::ErrorKind::FileTooLarge.into()) } else { Ok(bytes) }
    }
    fn length(&self, path: &Path) -> io::Result<u64> {
        Ok(self.read(path, u64::MAX)?.len() as u64)
    }
    fn open(&self, path: &Path) -> io::Result<Box<dyn io::Read>> {
        Ok(Box::new(io::Cursor::new(self.read(path, u64::MAX)?)))
    }
    fn exists(&self, path: &Path) -> io::Result<bool> {
        let state = self.state();
        Ok(state.names.contains_key(path) || state.dirs.contains(path))
    }
    fn kind(&self, path: &Path) -> io::Result<Kind> {
        let state = self.state();
        match (state.names.contains_key(path), state.dirs.contains(path)) {
            (true, _) => Ok(Kind::File),
            (_, true) => Ok(Kind::Dir),
            _ => Err(io::ErrorKind::NotFound.into()),
        }
    }
    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let state = self.state();
        let inside = state.names.keys().chain(&state.dirs).filter(|p| p.parent() == Some(dir));
        let names: BTreeSet<_> = inside.filter_map(|p| Some(p.file_name()?.to_string_lossy().into_owned())).collect();
        Ok(names.into_iter().collect())
    }
    fn create_dir(&self, path: &Path) -> io::Result<()> {
        let mut state = self.state();
        state.step()?;
        if state.dirs.insert(path.to_owned()) { Ok(()) } else { Err(io::ErrorKind::AlreadyExists.into()) }
    }
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let mut state = self.state();
        state.step()?;
        let id = state.files.len();
        state.files.push(Contents::default());
        state.names.insert(path.to_owned(), id);
        Ok(Box::new(FakeFile { disk: self.clone(), id }))
    }
    fn append(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let id = self.id(path)?;
        Ok(Box::new(FakeFile { disk: self.clone(), id }))
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        let mut state = self.state();
        state.step()?;
        state.names.remove(path).map(|_| ()).ok_or_else(|| io::ErrorKind::NotFound.into())
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        let mut state = self.state();
        state.step()?;
        let id = state.names.remove(from).ok_or(io::ErrorKind::NotFound)?;
        state.names.insert(to.to_owned(), id);
        Ok(())
    }
    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        let mut state = self.state();
        state.step()?;
        let inside = |p: &PathBuf| p.parent() == Some(dir);
        let current: Vec<_> = state.names.iter().filter(|(p, _)| inside(p)).map(|(p, i)| (p.clone(), *i)).collect();
        state.synced_names.retain(|p, _| !inside(p));
        state.synced_names.extend(current);
        Ok(())
    }
    fn lock(&self, path: &Path) -> io::Result<Locking> {
        if self.state().locked.insert(path.to_owned()) {
            Ok(Locking::Held(Box::new(FakeLock(self.clone(), path.to_owned()))))
        } else {
            Ok(Locking::Taken(Some(1)))
        }
    }
}

struct FakeLock(FakeDisk, PathBuf);
impl Drop for FakeLock {
    fn drop(&mut self) {
        self.0.state().locked.remove(&self.1);
    }
}

struct FakeFile {
    disk: FakeDisk,
    id: usize,
}
impl DiskFile for FakeFile {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut state = self.disk.state();
        let crashed = state.step();
        let contents = &mut state.files[self.id];
        let at = contents.now().len();
        // A write that fails may still have reached the disk.
        contents.pending.push(Write::At(at, bytes.to_vec()));
        crashed
    }
    fn truncate(&mut self, len: u64) -> io::Result<()> {
        let mut state = self.disk.state();
        state.step()?;
        let len = usize::try_from(len).unwrap_or(usize::MAX);
        state.files[self.id].pending.push(Write::Truncate(len));
        Ok(())
    }
    fn sync(&mut self) -> io::Result<()> {
        let mut state = self.disk.state();
        state.step()?;
        let contents = &mut state.files[self.id];
        contents.synced = contents.now();
        contents.pending.clear();
        Ok(())
    }
}
