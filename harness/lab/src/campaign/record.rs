//! The record of a campaign: a line that says which campaign it is, then a line of JSON for each job, in the order of seeds.
//!
//! Parts of one campaign merge to the bytes of the whole. Not here: what is counted over the jobs.
use super::one::Job;
use plumeline_job::input_file;
use plumeline_runtime::failure::Failure;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Name of the record in a campaign's folder.
pub const JOBS: &str = "jobs.jsonl";
/// Longest record that is read, bytes.
const LIMIT: u64 = 256 * 1024 * 1024;
/// Version of the record's format.
const FORMAT: u32 = 1;

/// A part of a campaign: every `of`-th job, from `index` (counted from 0) on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shard {
    /// Which part, from 0.
    pub index: u64,
    /// Of how many.
    pub of: u64,
}
impl Shard {
    /// All of it.
    pub const WHOLE: Self = Self { index: 0, of: 1 };
    /// Reads `1/4`: the first of four.
    pub fn parse(text: &str) -> Result<Self, String> {
        let bad = || format!("`{text}` is no part; write for example 1/4 for the first of four");
        let (i, n) = text.split_once('/').ok_or_else(bad)?;
        let (i, n): (u64, u64) = (i.trim().parse().map_err(|_| bad())?, n.trim().parse().map_err(|_| bad())?);
        if i >= 1 && i <= n { Ok(Self { index: i - 1, of: n }) } else { Err(bad()) }
    }
}

/// Which campaign a record is of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Version of this format.
    pub format: u32,
    /// Version of the tool.
    pub tool: String,
    /// Seed of the first job; the others follow one by one.
    pub seed: u64,
    /// Jobs of the whole campaign.
    pub runs: u64,
    /// The part that this is.
    pub shard: Shard,
}
impl Head {
    /// A campaign run by this tool.
    pub fn new(seed: u64, runs: u64, shard: Shard) -> Self {
        Self { format: FORMAT, tool: env!("CARGO_PKG_VERSION").into(), seed, runs, shard }
    }
    /// Seeds of the jobs of this part.
    pub fn seeds(&self) -> Vec<u64> {
        let step = usize::try_from(self.shard.of).unwrap_or(usize::MAX);
        (self.shard.index..self.runs).step_by(step).map(|i| self.seed + i).collect()
    }
}

/// A campaign, or a part of one.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// Which.
    pub head: Head,
    /// Its jobs, in the order of their seeds.
    pub jobs: Vec<Job>,
}
impl Record {
    /// The record as text.
    pub fn text(&self) -> Result<String, Failure> {
        let told = |e: serde_json::Error| Failure::internal(e.to_string());
        let mut text = serde_json::to_string(&self.head).map_err(told)? + "\n";
        for job in &self.jobs {
            text += &serde_json::to_string(job).map_err(told)?;
            text.push('\n');
        }
        Ok(text)
    }
    /// Reads a record, or the one in a campaign's folder.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        let path = if path.is_dir() { path.join(JOBS) } else { path.to_path_buf() };
        let bytes = input_file::read(&path, "read the campaign", LIMIT)?;
        let remedy = "give folders or files that `plumeline campaign --out` wrote";
        let told = |n: usize, why: String| Failure::input(format!("{}:{}: {why}", path.display(), n + 1), remedy);
        let text = str::from_utf8(&bytes).map_err(|e| told(0, e.to_string()))?;
        let mut lines = text.lines().enumerate();
        let (n, first) = lines.next().ok_or_else(|| told(0, "the file is empty".into()))?;
        let head: Head = serde_json::from_str(first).map_err(|e| told(n, e.to_string()))?;
        if head.format != FORMAT {
            return Err(told(n, format!("format {} is not known", head.format)));
        }
        let read = |(n, line): (usize, &str)| serde_json::from_str(line).map_err(|e| told(n, e.to_string()));
        let jobs: Vec<Job> = lines.map(read).collect::<Result<_, _>>()?;
        let record = Self { head, jobs };
        match record.whole() {
            Ok(()) => Ok(record),
            Err(why) => Err(told(0, why)),
        }
    }
    /// Every job of this part is there, once and in its order.
    fn whole(&self) -> Result<(), String> {
        let (has, wants): (Vec<u64>, Vec<u64>) = (self.jobs.iter().map(|j| j.seed).collect(), self.head.seeds());
        if has == wants {
            Ok(())
        } else {
            Err(format!("{} jobs are there, not the {} of this part", has.len(), wants.len()))
        }
    }
    /// All parts of one campaign as its whole.
    pub fn merge(parts: Vec<Self>) -> Result<Self, Failure> {
        let remedy = "give every part of one campaign, each once";
        let Some(first) = parts.first() else { return Err(Failure::input("there is nothing to merge", remedy)) };
        let head = Head { shard: Shard::WHOLE, ..first.head.clone() };
        if let Some(other) = parts.iter().find(|p| Head { shard: Shard::WHOLE, ..p.head.clone() } != head) {
            let (a, b) = (&head, &other.head);
            let cause = format!(
                "the parts are of two campaigns: seed {} with {} runs (version {}), and seed {} with {} runs (version {})",
                a.seed, a.runs, a.tool, b.seed, b.runs, b.tool
            );
            return Err(Failure::input(cause, remedy));
        }
        let mut jobs: Vec<Job> = parts.into_iter().flat_map(|p| p.jobs).collect();
        jobs.sort_by_key(|j| j.seed);
        let whole = Self { head, jobs };
        whole.whole().map_err(|why| Failure::input(format!("parts overlap or are missing: {why}"), remedy))?;
        Ok(whole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn parts_are_read() {
        assert_eq!(Shard::parse("2/4"), Ok(Shard { index: 1, of: 4 }));
        for bad in ["0/4", "5/4", "4", "a/b", "1/0", ""] {
            assert!(Shard::parse(bad).is_err(), "{bad}");
        }
    }
    #[test]
    fn parts_share_the_seeds_out() {
        let part = |index| Head::new(100, 10, Shard { index, of: 3 }).seeds();
        assert_eq!(part(0), [100, 103, 106, 109]);
        let mut all: Vec<u64> = (0..3).flat_map(part).collect();
        all.sort_unstable();
        assert_eq!(all, Head::new(100, 10, Shard::WHOLE).seeds());
    }
}
