//! Jobs to be sealed, and disks on which one thing was changed.
use plumeline_base::Instant;
use plumeline_job::{
    digest::Digest,
    disk::{Disk, DiskFile, Kind, Locking, fake::FakeDisk},
    folder::{self, Folder},
    journal::{Citation, Writer},
    key::SigningKey,
    seal::CONTEXT,
};
use plumeline_procedure::{Entry, StageKind};
use std::{
    collections::BTreeMap,
    fs, io,
    path::{Path, PathBuf},
    sync::Arc,
};

pub(crate) const DIR: &str = "/jobs/one";
pub(crate) type Files = BTreeMap<String, Vec<u8>>;

/// Steele, Lea, Flood: Fast splittable pseudorandom number generators (OOPSLA 2014).
pub(crate) struct Draw(pub(crate) u64);
impl Draw {
    pub(crate) fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % n
    }
}

/// A whole recorded job, with what is made of it and a photo.
pub(crate) fn recorded_job() -> Files {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-traces/clean");
    let mut files = Files::new();
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        files.insert(path.file_name().unwrap().to_str().unwrap().into(), fs::read(&path).unwrap());
    }
    for (name, bytes) in [
        ("result.json", &b"{\n  \"verdict\": \"pass\"\n}\n"[..]),
        ("junit.xml", b"<testsuites/>\n"),
        ("report.html", b"<!doctype html><p>pass\n"),
        ("photos/cover-0123456789abcdef.png", b"\x89PNG\r\n\x1a\n and so on"),
    ] {
        files.insert(name.into(), bytes.to_vec());
    }
    files
}

pub(crate) fn put(disk: &FakeDisk, files: &Files) -> Folder {
    for dir in [DIR, "/jobs/one/photos"] {
        if !disk.exists(Path::new(dir)).unwrap() {
            disk.create_dir(Path::new(dir)).unwrap();
        }
    }
    for (name, bytes) in files {
        plumeline_job::disk::replace(disk, &Path::new(DIR).join(name), bytes).unwrap();
    }
    open(disk.clone())
}
pub(crate) fn open(disk: impl Disk + 'static) -> Folder {
    Folder::open_on(Arc::new(disk), Path::new(DIR)).unwrap()
}
/// Every file of a folder and of its photos, seals included.
pub(crate) fn all_files(folder: &Folder) -> Files {
    let disk = folder.disk();
    let mut names = disk.list(folder.dir()).unwrap();
    names.retain(|name| name != "photos");
    let photos = folder.dir().join("photos");
    if disk.exists(&photos).unwrap() {
        names.extend(disk.list(&photos).unwrap().iter().map(|name| format!("photos/{name}")));
    }
    names.into_iter().map(|name| (name.clone(), disk.read(&folder.dir().join(&name), 1 << 30).unwrap())).collect()
}

fn citation(n: u64) -> Citation {
    Citation { offset: n, index: n, hash: Digest::default() }
}
/// A job of few lines.
pub(crate) fn small_job(disk: &FakeDisk, date: &str, over: bool) -> Folder {
    let files = [
        ("pipework.toml", "format = 1\n"),
        ("plan.toml", "format = 1\n"),
        ("result.json", "{}\n"),
        (folder::SETTINGS_AS_LEFT, "{}\n"),
        (folder::TRACE, "a trace"),
    ];
    let folder = put(disk, &files.iter().map(|(n, b)| ((*n).to_owned(), b.as_bytes().to_vec())).collect());
    let path = folder.path(folder::JOURNAL).unwrap();
    let mut journal = Writer::create(folder.disk(), &path).unwrap();
    let opened = [
        Entry::Opened { tool: "0.1.0".into(), format: 1 },
        Entry::Date { date: date.into() },
        Entry::StageBegan { stage: StageKind::Isolate },
    ];
    for (n, entry) in (0..).zip(opened) {
        journal.append(Instant::from_secs(n), &citation(n), 100, &entry).unwrap();
    }
    if over {
        grow(&folder, true);
    }
    folder
}
/// Adds a line to the journal; the job's last one, if it ends.
pub(crate) fn grow(folder: &Folder, end: bool) {
    let path = folder.path(folder::JOURNAL).unwrap();
    let mut journal = Writer::resume::<serde_json::Value>(folder.disk(), &path).unwrap().writer;
    let entry = if end {
        Entry::Ended { verdict: plumeline_base::Verdict::Pass, because: "everything was shown".into() }
    } else {
        Entry::Remark { text: "more".into() }
    };
    journal.append(Instant::from_secs(10_000), &citation(50), 100, &entry).unwrap();
}

/// The file of a seal whose body was changed, signed anew.
pub(crate) fn signed_again(file: &str, key: &SigningKey) -> Vec<u8> {
    let body = file.strip_prefix("{\"seal\":").unwrap();
    let (body, _) = body.rsplit_once(",\"signature\":\"").unwrap();
    let signature = key.sign(&[CONTEXT, body.as_bytes()].concat());
    format!("{{\"seal\":{body},\"signature\":\"{signature}\"}}\n").into_bytes()
}

/// A disk that only holds these files, one of them perhaps changed.
#[derive(Clone, Debug)]
pub(crate) struct Still {
    files: Arc<Files>,
    changed: Option<(String, Arc<Vec<u8>>)>,
}
impl Still {
    pub(crate) fn new(files: &Files) -> Self {
        Self { files: Arc::new(files.clone()), changed: None }
    }
    pub(crate) fn shared(files: &Arc<Files>, name: &str, bytes: Vec<u8>) -> Self {
        Self { files: files.clone(), changed: Some((name.to_owned(), Arc::new(bytes))) }
    }
    pub(crate) fn with(files: &Files, name: &str, bytes: Vec<u8>) -> Self {
        Self { changed: Some((name.to_owned(), Arc::new(bytes))), ..Self::new(files) }
    }
    fn find(&self, path: &Path) -> Option<&[u8]> {
        let name = path.strip_prefix(DIR).ok()?.to_str()?;
        match &self.changed {
            Some((changed, bytes)) if changed == name => Some(bytes),
            _ => self.files.get(name).map(Vec::as_slice),
        }
    }
    fn names(&self) -> impl Iterator<Item = PathBuf> {
        self.files.keys().chain(self.changed.iter().map(|(name, _)| name)).map(|name| Path::new(DIR).join(name))
    }
}
impl Disk for Still {
    fn read(&self, path: &Path, limit: u64) -> io::Result<Vec<u8>> {
        let bytes = self.find(path).ok_or(io::ErrorKind::NotFound)?;
        if bytes.len() as u64 > limit { Err(io::ErrorKind::FileTooLarge.into()) } else { Ok(bytes.to_vec()) }
    }
    fn length(&self, path: &Path) -> io::Result<u64> {
        self.find(path).map(|bytes| bytes.len() as u64).ok_or_else(|| io::ErrorKind::NotFound.into())
    }
    fn open(&self, path: &Path) -> io::Result<Box<dyn io::Read>> {
        Ok(Box::new(io::Cursor::new(self.read(path, u64::MAX)?)))
    }
    fn exists(&self, path: &Path) -> io::Result<bool> {
        Ok(self.kind(path).is_ok())
    }
    fn kind(&self, path: &Path) -> io::Result<Kind> {
        if self.find(path).is_some() {
            return Ok(Kind::File);
        }
        if self.names().any(|name| name.starts_with(path)) {
            Ok(Kind::Dir)
        } else {
            Err(io::ErrorKind::NotFound.into())
        }
    }
    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let first = |path: PathBuf| Some(path.strip_prefix(dir).ok()?.iter().next()?.to_str()?.to_owned());
        let names: std::collections::BTreeSet<_> = self.names().filter_map(first).collect();
        Ok(names.into_iter().collect())
    }
    fn create_dir(&self, _: &Path) -> io::Result<()> {
        Err(io::ErrorKind::Unsupported.into())
    }
    fn create(&self, _: &Path) -> io::Result<Box<dyn DiskFile>> {
        Err(io::ErrorKind::Unsupported.into())
    }
    fn append(&self, _: &Path) -> io::Result<Box<dyn DiskFile>> {
        Err(io::ErrorKind::Unsupported.into())
    }
    fn remove(&self, _: &Path) -> io::Result<()> {
        Err(io::ErrorKind::Unsupported.into())
    }
    fn rename(&self, _: &Path, _: &Path) -> io::Result<()> {
        Err(io::ErrorKind::Unsupported.into())
    }
    fn sync_dir(&self, _: &Path) -> io::Result<()> {
        Err(io::ErrorKind::Unsupported.into())
    }
    fn lock(&self, _: &Path) -> io::Result<Locking> {
        Err(io::ErrorKind::Unsupported.into())
    }
}

/// One change of one file.
#[derive(Clone, Debug)]
pub(crate) struct Change {
    pub(crate) name: String,
    pub(crate) at: usize,
    kind: Kinds,
}
#[derive(Clone, Copy, Debug)]
enum Kinds {
    Flip(u8),
    Insert(u8),
    Delete,
    Cut,
}
impl Change {
    pub(crate) fn draw(files: &Files, seed: u64) -> Self {
        let mut draw = Draw(seed);
        let name = files.keys().nth(draw.below(files.len() as u64) as usize).unwrap().clone();
        let len = files[&name].len() as u64;
        let byte = draw.below(255) as u8;
        let (kind, places) = match draw.below(5) {
            0 | 1 => (Kinds::Flip(byte + 1), len),
            2 => (Kinds::Insert(byte), len + 1),
            3 => (Kinds::Delete, len),
            _ => (Kinds::Cut, len),
        };
        Self { name, at: draw.below(places) as usize, kind }
    }
    /// The file's bytes once it is changed.
    pub(crate) fn bytes(&self, files: &Files) -> Vec<u8> {
        let mut bytes = files[&self.name].clone();
        match self.kind {
            Kinds::Flip(by) => bytes[self.at] ^= by,
            Kinds::Insert(byte) => bytes.insert(self.at, byte),
            Kinds::Delete => drop(bytes.remove(self.at)),
            Kinds::Cut => bytes.truncate(self.at),
        }
        bytes
    }
}
