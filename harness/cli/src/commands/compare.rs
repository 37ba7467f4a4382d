//! `plumeline compare`: what changed at a site between two records of it, folders or archives.
//!
//! A record that does not hold is not compared. Not here: what counts as a change (the compare crate).
use super::check::examine;
use crate::args::Compare;
use plumeline_compare::{Comparison, Record, compare as held_against, text};
use plumeline_detector::settings::Settings;
use plumeline_job::{
    archive,
    folder::{self, Folder},
    seal::State,
    settings,
};
use plumeline_report::RESULT_FORMAT;
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::{print_progress, print_result, print_trouble},
};
use std::path::{Path, PathBuf};

/// `plumeline compare`
pub fn compare(args: &Compare) -> Result<Exit, Failure> {
    let (old, new) = (open(&args.old, 1, !args.json)?, open(&args.new, 2, !args.json)?);
    if old.site != new.site {
        let both = format!("one record is of {:?}, the other of {:?}", old.site, new.site);
        if !args.other_name {
            return Err(Failure::input(both, "compare two records of one site; if it was renamed, add --other-name"));
        }
        if !args.json {
            print_progress(&both);
        }
    }
    if (&old.outcome, &old.date) == (&new.outcome, &new.date) {
        return Err(Failure::input("both are one and the same record", "name the record of another visit"));
    }
    let found = held_against(&old, &new);
    if args.json {
        print_result(&as_json(&old, &new, &found).to_string());
    } else {
        print_result(text(&old, &new, &found).trim_end());
    }
    Ok(match (found.changes.is_empty(), found.open.is_empty() && !found.lines.is_empty()) {
        (false, _) => Exit::Fail,
        (true, false) => Exit::Undecided,
        (true, true) => Exit::Pass,
    })
}

fn as_json(old: &Record, new: &Record, found: &Comparison) -> serde_json::Value {
    let of = |r: &Record| serde_json::json!({ "date": r.date, "verdict": r.verdict, "invented": r.invented });
    serde_json::json!({ "site": new.site, "old": of(old), "new": of(new), "comparison": found })
}

/// A folder that is taken away again.
struct Unpacked(PathBuf);
impl Drop for Unpacked {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The record in this folder or archive, once it holds; `says`: whether that is said on standard output.
pub(super) fn open(path: &Path, which: u32, says: bool) -> Result<Record, Failure> {
    let unpacked = if path.is_dir() {
        None
    } else {
        let to = std::env::temp_dir().join(format!("plumeline-compare-{}-{which}", std::process::id()));
        archive::unpack(path, &to)?;
        Some(Unpacked(to))
    };
    let folder = Folder::open(unpacked.as_ref().map_or(path, |u| &u.0))?;
    let shown = path.display().to_string();
    let found = examine(&folder)?;
    if let Some(problem) = found.problems.into_iter().next() {
        print_trouble(&format!("{shown}: this record does not hold, so it is not compared"));
        return Err(problem);
    }
    let sealed = match found.standing.state {
        State::Open => "holds, and is not sealed",
        State::Sealed => "holds, and is sealed",
        State::OpenAgain => "holds, and went on since it was sealed",
    };
    if says {
        print_progress(&format!("{shown}: {sealed}"));
    }
    let kept = |name: &str| -> Result<Option<Settings>, Failure> {
        if !folder.exists(name)? {
            return Ok(None);
        }
        Ok(Some(settings::parse(&format!("{shown}: {name}"), &folder.read(name)?.bytes)?.settings))
    };
    let bytes = folder.read(folder::RESULT)?.bytes;
    Record::read(&bytes, RESULT_FORMAT, kept(folder::SETTINGS_AS_FOUND)?, kept(folder::SETTINGS_AS_LEFT)?)
        .map_err(|e| Failure::input(format!("{shown}: {}: {}", folder::RESULT, e.cause), e.remedy))
}
