//! A disk that loses what a real one may lose in a crash, for tests of whatever is built on [`Disk`].
//!
//! Until a file is synced, each write to it may be there after a crash, or not, or in part, whatever became of the
//! writes before it. Not here: real files.
use crate::disk::Disk;
use std::{
    collections::BTreeMap,
    io,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

/// A disk in memory. Clones are the same disk.
#[derive(Clone, Debug, Default)]
pub struct FakeDisk(Arc<Mutex<State>>);

#[derive(Debug, Default)]
struct State {
    files: BTreeMap<String, FakeFile>,
    /// Operations that change something, so far.
    operations: u64,
    /// The operation that is the last to begin; it is left half done.
    crash_at: Option<u64>,
}

#[derive(Clone, Debug, Default)]
struct FakeFile {
    /// As the running system sees it.
    seen: Vec<u8>,
    /// As it is on the disk for certain; `None` if even its name may be lost.
    durable: Option<Vec<u8>>,
    /// What was done since, in order.
    pending: Vec<Change>,
}

#[derive(Clone, Debug)]
enum Change {
    Write { at: usize, bytes: Vec<u8> },
    Cut(usize),
}

/// Bytes that reach the platter together or not at all.
const SECTOR: usize = 512;

impl FakeDisk {
    /// An empty disk.
    pub fn new() -> Self {
        Self::default()
    }
    /// A disk that stops in the middle of its `n`th (from 0) changing operation; all later ones fail.
    pub fn crashing_at(n: u64) -> Self {
        let disk = Self::new();
        disk.state().crash_at = Some(n);
        disk
    }
    /// How many operations that change something were begun.
    pub fn operations(&self) -> u64 {
        self.state().operations
    }
    /// The file as the running system sees it.
    pub fn contents(&self, name: &str) -> Option<Vec<u8>> {
        self.state().files.get(name).map(|f| f.seen.clone())
    }
    /// The names of all files.
    pub fn names(&self) -> Vec<String> {
        self.state().files.keys().cloned().collect()
    }
    /// Puts a file on the disk, durably.
    pub fn put(&self, name: &str, bytes: &[u8]) {
        let file = FakeFile { seen: bytes.to_vec(), durable: Some(bytes.to_vec()), pending: Vec::new() };
        self.state().files.insert(name.into(), file);
    }

    /// The disk as it is found after the machine lost power: which unsynced changes survived is drawn from `seed`.
    /// Writes go down sector by sector in any order; what was lost between two that survived reads as zeros.
    pub fn after_power_loss(&self, seed: u64) -> Self {
        let mut draw = SplitMix(seed);
        let found = Self::new();
        for (name, file) in &self.state().files {
            if file.durable.is_none() && draw.one_in(3) {
                continue;
            }
            let mut bytes = file.durable.clone().unwrap_or_default();
            // Anything from losing most of it to losing almost nothing.
            let loss = 1 + draw.below(6);
            for change in &file.pending {
                match change {
                    Change::Write { at, bytes: written } => {
                        for sector in (*at / SECTOR)..(*at + written.len()).div_ceil(SECTOR) {
                            if draw.one_in(loss) {
                                continue;
                            }
                            let from = (sector * SECTOR).max(*at);
                            let to = ((sector + 1) * SECTOR).min(*at + written.len());
                            if bytes.len() < to {
                                bytes.resize(to, 0);
                            }
                            bytes[from..to].copy_from_slice(&written[from - at..to - at]);
                        }
                    }
                    Change::Cut(len) => {
                        if !draw.one_in(loss) {
                            bytes.truncate(*len);
                        }
                    }
                }
            }
            found.put(name, &bytes);
        }
        found
    }
    /// The disk as it is found after the process was killed: the system still writes down all it was given.
    pub fn after_kill(&self) -> Self {
        let found = Self::new();
        for (name, file) in &self.state().files {
            found.put(name, &file.seen);
        }
        found
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl State {
    /// Counts an operation; says whether it is the one that is left half done.
    fn begin(&mut self) -> io::Result<bool> {
        let n = self.operations;
        self.operations += 1;
        match self.crash_at {
            Some(at) if n > at => Err(stopped()),
            Some(at) => Ok(n == at),
            None => Ok(false),
        }
    }
    fn file(&mut self, name: &str) -> io::Result<&mut FakeFile> {
        self.files.get_mut(name).ok_or_else(|| io::ErrorKind::NotFound.into())
    }
}

fn stopped() -> io::Error {
    io::Error::other("the fake disk has stopped")
}

impl Disk for FakeDisk {
    fn len(&mut self, name: &str) -> io::Result<Option<u64>> {
        Ok(self.state().files.get(name).map(|f| f.seen.len() as u64))
    }
    fn read_at(&mut self, name: &str, offset: u64, buf: &mut [u8]) -> io::Result<usize> {
        let mut state = self.state();
        let seen = &state.file(name)?.seen;
        let from = usize::try_from(offset).unwrap_or(usize::MAX).min(seen.len());
        let n = buf.len().min(seen.len() - from);
        buf[..n].copy_from_slice(&seen[from..from + n]);
        Ok(n)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let mut state = self.state();
        let last = state.begin()?;
        let bytes = if last { &bytes[..bytes.len() / 2] } else { bytes };
        let file = state.files.entry(name.into()).or_default();
        file.pending.push(Change::Write { at: file.seen.len(), bytes: bytes.to_vec() });
        file.seen.extend_from_slice(bytes);
        if last { Err(stopped()) } else { Ok(()) }
    }
    fn truncate(&mut self, name: &str, len: u64) -> io::Result<()> {
        let mut state = self.state();
        let last = state.begin()?;
        let file = state.file(name)?;
        let len = usize::try_from(len).unwrap_or(usize::MAX).min(file.seen.len());
        file.seen.truncate(len);
        file.pending.push(Change::Cut(len));
        if last { Err(stopped()) } else { Ok(()) }
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        let mut state = self.state();
        if state.begin()? {
            return Err(stopped());
        }
        let file = state.file(name)?;
        file.durable = Some(file.seen.clone());
        file.pending.clear();
        Ok(())
    }
}

/// Steele, Lea, Flood: Fast splittable pseudorandom number generators (OOPSLA 2014). Enough to draw test cases.
struct SplitMix(u64);
impl SplitMix {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    fn below(&mut self, n: u64) -> u64 {
        self.next() % n
    }
    fn one_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }
}
