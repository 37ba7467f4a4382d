//! The journal of a job, `journal.jsonl`: one JSON object a line, each bound to the line before it by a hash and
//! to the input log by a citation. Lines are derived from the log and are written only once the log that they cite
//! is on the disk.
//!
//! What is hashed: SHA-256 over the bytes of the line from its `{` up to but not including `,"hash":"`. Those
//! bytes hold the previous line's hash in `prev` (64 zeros in the first line), so that each hash covers all lines
//! before it.
//!
//! Not here: what an entry says (the procedure) and what the log holds (the trace crate).
use crate::{
    digest::Digest,
    disk::{self, Disk, DiskFile},
    error::{Kind, Problem, too_large},
};
use plumeline_base::Instant;
use serde::{Deserialize, Serialize, de::DeserializeOwned};
use std::path::{Path, PathBuf};

/// Longest journal that is read, bytes.
pub const JOURNAL_LIMIT: u64 = 256 * 1024 * 1024;
/// Longest line that is written or read, bytes.
pub const LINE_LIMIT: usize = 1024 * 1024;
/// `,"hash":"` + 64 digits + `"}`: what follows the hashed bytes of a line.
const TAIL: usize = 9 + 64 + 2;

/// The event of the input log that a line follows from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Citation {
    /// Byte offset in `trace.pcapng` just behind the event's block.
    pub offset: u64,
    /// The event's number in the log, from 0.
    pub index: u64,
    /// The log's running hash up to and including the event.
    pub hash: Digest,
}

/// A line of the journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(title = "A line of journal.jsonl"))]
pub struct Line<E> {
    /// Number of the line, from 0 without gaps.
    pub seq: u64,
    /// Log time, microseconds; never less than in the line before.
    pub at_us: u64,
    /// What the line follows from.
    pub log: Citation,
    /// Hash of the line before; 64 zeros in the first line.
    pub prev: Digest,
    /// What happened.
    pub entry: E,
    /// Hash of this line.
    pub hash: Digest,
}

/// The end of a chain of lines: what the next line is bound to. Pure, so that a replay derives the same bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Chain {
    next: u64,
    head: Digest,
    at: Instant,
}

#[derive(Serialize)]
struct Body<'a, E> {
    seq: u64,
    at_us: u64,
    log: &'a Citation,
    prev: Digest,
    entry: &'a E,
}

impl Chain {
    /// The hash of the last line; 64 zeros before the first.
    pub fn head(&self) -> Digest {
        self.head
    }
    /// How many lines there are.
    pub fn len(&self) -> u64 {
        self.next
    }
    /// True before the first line.
    pub fn is_empty(&self) -> bool {
        self.next == 0
    }
    /// The bytes of the next line, its line feed included; the chain then ends with it.
    ///
    /// # Errors
    /// [`Kind::Internal`] if the entry has no JSON form, the line would be too long or time runs backward.
    pub fn line<E: Serialize>(&mut self, at: Instant, log: &Citation, entry: &E) -> Result<Vec<u8>, Problem> {
        let fault = |cause: String| {
            Err(Problem::with_file(
                Kind::Internal,
                crate::folder::JOURNAL,
                cause,
                "keep the job folder and report this",
            ))
        };
        if at < self.at {
            return fault(format!("the entry's time {at} is before the last one's, {}", self.at));
        }
        let body = Body { seq: self.next, at_us: at.as_micros(), log, prev: self.head, entry };
        let mut bytes = match serde_json::to_vec(&body) {
            Ok(bytes) => bytes,
            Err(e) => return fault(format!("an entry has no JSON form: {e}")),
        };
        bytes.pop(); // the closing brace, which comes again after the hash
        let hash = Digest::of(&bytes);
        bytes.extend_from_slice(format!(",\"hash\":\"{hash}\"}}\n").as_bytes());
        if bytes.len() > LINE_LIMIT {
            return fault(format!("an entry makes a line of {} bytes", bytes.len()));
        }
        *self = Self { next: self.next + 1, head: hash, at };
        Ok(bytes)
    }
}

/// An unfinished end of a journal, such as a crash leaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Torn {
    /// Where it begins, bytes from the start of the file.
    pub offset: usize,
    /// How long it is, bytes.
    pub len: usize,
}

/// A journal that was read and whose chain holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Journal<E> {
    /// The whole lines.
    pub lines: Vec<Line<E>>,
    /// The end of the chain.
    pub chain: Chain,
    /// An unfinished end behind them; it is not part of the journal.
    pub torn: Option<Torn>,
}

/// Reads a journal and verifies every link of its chain. `name` is what messages call it.
///
/// # Errors
/// The first line that does not hold, by its number: [`Kind::Altered`], [`Kind::Syntax`] or [`Kind::TooLarge`].
pub fn read<E: DeserializeOwned>(name: &str, bytes: &[u8]) -> Result<Journal<E>, Problem> {
    if bytes.len() as u64 > JOURNAL_LIMIT {
        return Err(too_large(name, bytes.len() as u64, JOURNAL_LIMIT));
    }
    let mut journal = Journal { lines: Vec::new(), chain: Chain::default(), torn: None };
    let mut offset = 0;
    for line in bytes.split_inclusive(|b| *b == b'\n') {
        let last = offset + line.len() == bytes.len();
        // A crash can leave a cut line, or blocks of zeros where bytes never reached the disk; an edit can't pass
        // for either, because nothing may follow.
        if last && (!line.ends_with(b"\n") || line.contains(&0)) {
            journal.torn = Some(Torn { offset, len: line.len() });
            break;
        }
        let number = journal.lines.len() + 1;
        let read = verify(&journal.chain, line.strip_suffix(b"\n").unwrap_or(line))
            .map_err(|(kind, cause)| Problem::with_line(kind, name, number, cause, REMEDY))?;
        journal.chain = Chain { next: journal.chain.next + 1, head: read.hash, at: Instant::from_micros(read.at_us) };
        journal.lines.push(read);
        offset += line.len();
    }
    Ok(journal)
}

const REMEDY: &str = "use the journal as the tool wrote it: from a copy, or derived again by replaying the trace";

fn verify<E: DeserializeOwned>(chain: &Chain, line: &[u8]) -> Result<Line<E>, (Kind, String)> {
    if line.len() > LINE_LIMIT {
        return Err((Kind::TooLarge, format!("the line is {} bytes long; at most {LINE_LIMIT} are read", line.len())));
    }
    let (body, tail) = line.split_at(line.len().saturating_sub(TAIL));
    let hash = Digest::of(body);
    if tail != format!(",\"hash\":\"{hash}\"}}").as_bytes() {
        return Err((Kind::Altered, "the line's hash does not match its bytes: it was altered".to_owned()));
    }
    let read: Line<E> = serde_json::from_slice(line).map_err(|e| {
        (Kind::Syntax, format!("the line is not a journal line of this format (column {}): {e}", e.column()))
    })?;
    if read.prev != chain.head {
        let cause = "the line does not follow the one before it: a line was removed, added, moved or altered";
        return Err((Kind::Altered, cause.to_owned()));
    }
    if read.seq != chain.next {
        return Err((Kind::Altered, format!("the line's number is {}, not {}", read.seq, chain.next)));
    }
    if read.at_us < chain.at.as_micros() {
        return Err((Kind::Altered, "the line's time is before that of the line above".to_owned()));
    }
    Ok(read)
}

/// A journal open for writing, one whole line at a time.
pub struct Writer {
    file: Box<dyn DiskFile>,
    path: PathBuf,
    chain: Chain,
    broken: bool,
}

impl Writer {
    /// A new, empty journal.
    ///
    /// # Errors
    /// [`Kind::Exists`] if there is one; what the system reports.
    pub fn create(disk: &dyn Disk, path: &Path) -> Result<Self, Problem> {
        let told = |e: std::io::Error| Problem::from_io(path, "start the journal", &e);
        if disk.exists(path).map_err(told)? {
            return Err(told(std::io::ErrorKind::AlreadyExists.into()));
        }
        let mut file = disk.create(path).map_err(told)?;
        file.sync().map_err(told)?;
        disk.sync_dir(disk::parent(path)).map_err(told)?;
        Ok(Self { file, path: path.to_owned(), chain: Chain::default(), broken: false })
    }
    /// An existing journal, taken up again at its end. A torn end is first kept in a file beside it, named in the
    /// result, then cut off.
    ///
    /// # Errors
    /// As [`read`]; what the system reports.
    pub fn resume<E: DeserializeOwned>(disk: &dyn Disk, path: &Path) -> Result<Resumed<E>, Problem> {
        let told = |e: std::io::Error| Problem::from_io(path, "take up the journal", &e);
        let bytes = disk.read(path, JOURNAL_LIMIT).map_err(told)?;
        let journal = read(&path.display().to_string(), &bytes)?;
        let mut file = disk.append(path).map_err(told)?;
        let mut set_aside = None;
        if let Some(torn) = journal.torn {
            let aside = free_name(disk, path).map_err(told)?;
            disk::replace(disk, &aside, &bytes[torn.offset..]).map_err(told)?;
            file.truncate(torn.offset as u64).map_err(told)?;
            file.sync().map_err(told)?;
            set_aside = Some(aside);
        }
        let writer = Self { file, path: path.to_owned(), chain: journal.chain, broken: false };
        Ok(Resumed { writer, journal, set_aside })
    }
    /// Writes one line and waits until it is on the disk. `log_synced_to` is how far the input log is on the disk.
    ///
    /// # Errors
    /// [`Kind::Internal`] if the log that the line cites is not on the disk, or after an earlier failure (the end of
    /// the file is then unknown: take the journal up again); as [`Chain::line`]; what the system reports.
    pub fn append<E: Serialize>(
        &mut self,
        at: Instant,
        log: &Citation,
        log_synced_to: u64,
        entry: &E,
    ) -> Result<Digest, Problem> {
        if log.offset > log_synced_to || self.broken {
            let cause = if self.broken {
                "an earlier line could not be written".to_owned()
            } else {
                format!("the line cites the log up to byte {}, of which {log_synced_to} are on the disk", log.offset)
            };
            let file = self.path.display().to_string();
            return Err(Problem::with_file(Kind::Internal, &file, cause, "run the job again; it goes on from the log"));
        }
        let mut chain = self.chain;
        let bytes = chain.line(at, log, entry)?;
        if let Err(e) = self.file.write_all(&bytes).and_then(|()| self.file.sync()) {
            self.broken = true;
            return Err(Problem::from_io(&self.path, "write to the journal", &e));
        }
        self.chain = chain;
        Ok(chain.head)
    }
    /// The end of the chain as it is on the disk.
    pub fn chain(&self) -> &Chain {
        &self.chain
    }
}

/// A journal taken up again.
pub struct Resumed<E> {
    /// To go on writing with.
    pub writer: Writer,
    /// What was there.
    pub journal: Journal<E>,
    /// Where the torn end was kept, if there was one.
    pub set_aside: Option<PathBuf>,
}

/// `journal.jsonl.torn-1` or the first number that is free.
fn free_name(disk: &dyn Disk, path: &Path) -> std::io::Result<PathBuf> {
    let base = path.file_name().unwrap_or_default().to_string_lossy();
    let mut n = 1;
    loop {
        let candidate = path.with_file_name(format!("{base}.torn-{n}"));
        if !disk.exists(&candidate)? {
            return Ok(candidate);
        }
        n += 1;
    }
}
