//! `plumeline compare`: what changed between two jobs at the same pipework.
use crate::{args::Compare, compare};
use plumeline_detector::settings::{Item, Value};
use plumeline_job::{
    Kind, archive,
    folder::{self, Folder},
    seal, settings,
};
use plumeline_lab::batch::work;
use plumeline_procedure::Outcome;
use plumeline_runtime::{
    failure::{Exit, Failure},
    job_files::Files,
    show::{print_progress, print_result, print_trouble},
};
use serde_json::json;
use std::path::{Path, PathBuf};

/// A record that is compared.
struct Record {
    folder: Folder,
    outcome: Outcome,
    /// It was unpacked for this alone.
    unpacked: Option<PathBuf>,
}
impl Drop for Record {
    fn drop(&mut self) {
        if let Some(dir) = &self.unpacked {
            let _ = std::fs::remove_dir_all(dir);
        }
    }
}

/// `plumeline compare`
pub fn compare(args: &Compare) -> Result<Exit, Failure> {
    let (old, new) = (read(&args.old, "old")?, read(&args.new, "new")?);
    let mut compared = compare::outcomes(&old.outcome, &new.outcome, calibration(&old, &new)?);
    let pipework = |record: &Record| Ok::<_, Failure>(record.folder.read(folder::PIPEWORK)?.bytes);
    if pipework(&old)? != pipework(&new)? {
        compared
            .not_compared
            .push("the pipework files differ: what they changed shows as a change of the site".to_owned());
    }
    let settings = changed_settings(&old.folder, &new.folder)?;
    let cautions: Vec<String> =
        [&old, &new].iter().flat_map(|r| plumeline_runtime::finish::cautions(&r.outcome)).collect();
    let exit = match &settings {
        Some(settings) if !settings.is_empty() => Exit::Fail,
        _ if !compared.changes.is_empty() => Exit::Fail,
        Some(_) if compared.not_compared.is_empty() && !compared.table.is_empty() => Exit::Pass,
        // What was not compared is not unchanged.
        _ => Exit::Undecided,
    };
    if args.json {
        let whole = json!({ "cautions": cautions, "compared": compared, "settings": settings });
        print_result(&serde_json::to_string_pretty(&whole).map_err(|e| Failure::internal(e.to_string()))?);
        return Ok(exit);
    }
    cautions.iter().for_each(|words| print_progress(words));
    for (about, change) in &compared.table {
        print_progress(&format!("{about}: {change}"));
    }
    compared.not_compared.iter().for_each(|words| print_progress(&format!("not compared: {words}")));
    for change in &compared.changes {
        print_result(&format!("CHANGED: {}\n  most likely: {}", change.says, change.likely));
    }
    match &settings {
        None => print_progress("not compared: settings, which are not kept in both"),
        Some(all) => all.iter().for_each(|words| print_result(&format!("SETTING CHANGED: {words}"))),
    }
    if exit == Exit::Pass {
        print_result("nothing changed that both records could have shown");
    }
    Ok(exit)
}

/// A job's folder, or the archive of one, that holds.
fn read(path: &Path, which: &str) -> Result<Record, Failure> {
    let unpacked = if path.is_dir() {
        None
    } else {
        let dir = std::env::temp_dir().join(format!("plumeline-compare-{which}-{}", std::process::id()));
        archive::unpack(path, &dir)?;
        Some(dir)
    };
    let folder = Folder::open(unpacked.as_deref().unwrap_or(path))?;
    let standing = seal::verify(&folder);
    if let Some(problem) = standing.all_problems().into_iter().next() {
        return Err(problem.into());
    }
    if standing.newest().is_none() {
        print_trouble(&format!("{}: it is not sealed: whether it was altered can't be told", path.display()));
    }
    let outcome = work::outcome(folder.dir())?;
    Ok(Record { folder, outcome, unpacked })
}

/// What the flow readings of one and the same unit are off alike in both.
fn calibration(old: &Record, new: &Record) -> Result<f64, Failure> {
    let serial = |r: &Record| r.outcome.replacement.as_ref().map(|u| u.serial.clone()).filter(|s| !s.is_empty());
    if serial(old).is_none() || serial(old) != serial(new) {
        return Ok(0.0);
    }
    let flow = Files::read(&old.folder)?.plan()?.plan.flow;
    Ok(flow.calibration_common.hypot(flow.calibration_individual))
}

/// Settings that the unit was left with and that differ; nothing where they are not kept in both.
fn changed_settings(old: &Folder, new: &Folder) -> Result<Option<Vec<String>>, Failure> {
    let read = |folder: &Folder| match folder.read(folder::SETTINGS_AS_LEFT) {
        Ok(file) => Ok(Some(settings::parse(folder::SETTINGS_AS_LEFT, &file.bytes)?.settings)),
        Err(problem) if problem.kind() == Kind::Absent => Ok(None),
        Err(problem) => Err(problem),
    };
    let (Some(old), Some(new)) = (read(old)?, read(new)?) else { return Ok(None) };
    let words = |item: Option<&Item>| {
        item.map_or_else(
            || "not there".to_owned(),
            |i| format!("{} {}", value(&i.value), i.unit.as_deref().unwrap_or_default()).trim().to_owned(),
        )
    };
    let mut keys: Vec<&str> = old.items.iter().chain(&new.items).map(|i| i.key.as_str()).collect();
    keys.sort_unstable();
    keys.dedup();
    let of = |all: &[Item], key: &str| all.iter().position(|i| i.key == key);
    let differs = keys.into_iter().filter_map(|key| {
        let then = of(&old.items, key).map(|at| &old.items[at]);
        let now = of(&new.items, key).map(|at| &new.items[at]);
        (then.map(|i| (&i.value, &i.unit)) != now.map(|i| (&i.value, &i.unit)))
            .then(|| format!("{key}: {} then, {} now", words(then), words(now)))
    });
    Ok(Some(differs.collect()))
}

fn value(value: &Value) -> String {
    serde_json::to_string(value).unwrap_or_default()
}
