//! Time stamps in a job's folder, `stamp-1.tsr` and so on, as a service answered.
//!
//! A stamp is over a seal or over a line of the journal, so it can come after the seal: no seal has to cover it, but the next one does.
//!
//! Not here: what is in them, and whom they are by.
use crate::{
    digest::Digest,
    disk,
    error::{Kind, Problem},
    folder::{self, Folder},
    journal::{JOURNAL_LIMIT, read},
    seal::{Standing, State},
};
use serde_json::Value;

/// Most stamps of a job that are looked at.
pub const MOST: u32 = 100;

/// What a stamp of a job is over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// The seal of this number, to the byte.
    Seal(u32),
    /// The journal up to this line (from 1), which came at this time of the log, µs.
    Line(usize, u64),
}

/// A stamp's file: its name, and its bytes where they can be read.
pub type StampFile = (String, Result<Vec<u8>, Problem>);

/// The file name of a stamp.
pub fn file_name(number: u32) -> String {
    format!("stamp-{number}.tsr")
}

/// The number of a stamp by its file's name.
pub fn number_of(name: &str) -> Option<u32> {
    let digits = name.strip_prefix("stamp-")?.strip_suffix(".tsr")?;
    digits.parse().ok().filter(|n| *n > 0 && file_name(*n) == name)
}

/// The digests of a record that can be stamped.
#[derive(Clone, Debug, Default)]
pub struct Stampable(Vec<(Digest, Of)>);

impl Stampable {
    /// Of a folder and its seals. What can't be read has none; that it can't be is told by whoever checks it.
    pub fn of(folder: &Folder, standing: &Standing) -> Self {
        let lines = folder.read_up_to(folder::JOURNAL, JOURNAL_LIMIT).ok();
        let lines = lines.and_then(|file| read::<Value>(folder::JOURNAL, &file.bytes).ok()).map(|j| j.lines);
        let lines = lines.into_iter().flatten().zip(1..).map(|(line, n)| (line.hash, Of::Line(n, line.at_us)));
        let seals = standing.seals.iter().map(|held| (held.digest, Of::Seal(held.seal.number)));
        Self(lines.chain(seals).collect())
    }
    /// What a new stamp is to be over: the newest seal if it covers everything, else the journal as far as it goes.
    ///
    /// # Errors
    /// [`Kind::Absent`] if there is nothing yet.
    pub fn newest(&self, standing: &Standing) -> Result<(Digest, Of), Problem> {
        let sealed = standing.state == State::Sealed;
        let mut all = self.0.iter().rev();
        all.find(|(_, of)| sealed || matches!(of, Of::Line(..))).copied().ok_or_else(|| {
            let cause = "nothing has happened in this job that could be stamped";
            Problem::with_file(Kind::Absent, folder::JOURNAL, cause, "ask for a stamp once the job has begun")
        })
    }
    /// What this digest is of.
    pub fn find(&self, digest: &Digest) -> Option<Of> {
        self.0.iter().find(|(own, _)| own == digest).map(|(_, of)| *of)
    }
}

/// The stamps of a folder, in their order, each with its bytes.
///
/// # Errors
/// What the system reports.
pub fn all(folder: &Folder, limit: u64) -> Result<Vec<StampFile>, Problem> {
    let names = folder.disk().list(folder.dir()).map_err(|e| Problem::from_io(folder.dir(), "list it", &e))?;
    let mut numbers: Vec<u32> = names.iter().filter_map(|name| number_of(name)).collect();
    numbers.sort_unstable();
    if numbers.len() > MOST as usize {
        let cause = format!("there are {} stamps; at most {MOST} are looked at", numbers.len());
        return Err(Problem::with_file(
            Kind::TooLarge,
            &file_name(MOST + 1),
            cause,
            "take out those that say the same",
        ));
    }
    let read = |name: String| (folder.read_up_to(&name, limit).map(|file| file.bytes), name);
    Ok(numbers.into_iter().map(|n| read(file_name(n))).map(|(bytes, name)| (name, bytes)).collect())
}

/// Puts an answer in place whole, under the next number; its name is given. One that is there already stays the only one.
///
/// # Errors
/// [`Kind::TooLarge`] for more stamps than are looked at; what the system reports.
pub fn keep(folder: &Folder, answer: &[u8]) -> Result<String, Problem> {
    let there = all(folder, answer.len() as u64)?;
    if let Some((name, _)) = there.iter().find(|(_, bytes)| bytes.as_ref().is_ok_and(|b| b == answer)) {
        return Ok(name.clone());
    }
    let number = there.last().and_then(|(name, _)| number_of(name)).unwrap_or(0) + 1;
    if there.len() >= MOST as usize {
        let cause = format!("there are {MOST} stamps already");
        return Err(Problem::with_file(Kind::TooLarge, &file_name(number), cause, "they say enough"));
    }
    let name = file_name(number);
    let path = folder.path(&name)?;
    disk::replace(folder.disk(), &path, answer).map_err(|e| Problem::from_io(&path, "write the stamp", &e))?;
    Ok(name)
}
