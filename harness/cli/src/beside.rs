//! Jobs in the folders beside a job: the archive that it belongs to.
//!
//! Not here: whether their records hold.
use plumeline_job::{
    TEXT_LIMIT,
    folder::{self, Folder},
    input_file,
};
use serde_json::Value;
use std::path::PathBuf;

/// Folders that are looked into, at most.
const MOST: usize = 2000;

/// Folders beside this job's that hold the result of a job at one of these units, with the result and the unit's serial number.
pub(crate) fn jobs(folder: &Folder, serials: &[&str]) -> Vec<(PathBuf, Value, String)> {
    let Ok(own) = folder.dir().canonicalize() else { return Vec::new() };
    let beside = own.parent().and_then(|parent| std::fs::read_dir(parent).ok()).into_iter().flatten().flatten();
    let of = |dir: PathBuf| {
        let bytes = input_file::read(&dir.join(folder::RESULT), "read it", TEXT_LIMIT as u64).ok()?;
        let result: Value = serde_json::from_slice(&bytes).ok()?;
        let at = |unit: &str| result["outcome"][unit]["serial"].as_str();
        let same = [at("outgoing"), at("replacement")].into_iter().flatten().find(|s| serials.contains(s))?.to_owned();
        Some((dir, result, same))
    };
    beside.take(MOST).map(|entry| entry.path()).filter(|dir| *dir != own).filter_map(of).collect()
}
