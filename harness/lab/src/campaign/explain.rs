//! One job of a campaign again, with its folder, its report and the truth side by side.
use super::{
    lies,
    one::{self, Drawn, Ran},
};
use plumeline_job::{Problem, disk, folder::Folder};
use plumeline_runtime::{
    failure::{Exit, Failure},
    finish,
    job_files::{Files, Loaded},
    keep::DiskKeeper,
    session::Session,
    show,
};
use plumeline_simulator::Lie;
use std::path::Path;

/// The truth about a job, beside its report.
const TRUTH: &str = "truth.json";

/// Runs the job of this seed again and leaves everything in a folder.
///
/// # Errors
/// It can't be run, comes out otherwise than in the campaign, or the folder can't be written.
pub fn explain(seed: u64, holes: bool, dir: &Path, force: bool) -> Result<Exit, Failure> {
    // The whole truth is the campaign's own; this job is one of the two that it ran.
    let job = one::run(seed)?;
    let path = dir.join(TRUTH);
    let exit = drawn(&Drawn::new(seed, holes, job.drawn_anew)?, dir, force, |session| {
        let outcome = session.outcome().ok_or_else(|| Failure::internal("the job ended without an outcome"))?;
        if Ran::of(outcome) != *(if holes { &job.holes } else { &job.flow_only }) {
            return Err(Failure::internal("the job came out otherwise than in the campaign"));
        }
        let text = serde_json::to_string_pretty(&job).map_err(|e| Failure::internal(e.to_string()))?;
        disk::replace(&disk::OsDisk, &path, text.as_bytes())
            .map_err(|e| Problem::from_io(&path, "write the truth beside the report", &e).into())
    })?;
    show::print_progress(&format!("truth:  {}", path.display()));
    say(&one::wrong(&job), &job.material);
    Ok(exit)
}

/// Runs the job of this seed with a unit that lies so, at a sound site, and leaves everything in a folder.
///
/// # Errors
/// It can't be run, or the folder can't be written.
pub fn explain_lies(seed: u64, lies: &[Lie], dir: &Path, force: bool) -> Result<Exit, Failure> {
    drawn(&lies::drawn(seed, lies)?, dir, force, |_| Ok(()))
}

fn drawn(
    drawn: &Drawn,
    dir: &Path,
    force: bool,
    holds: impl FnOnce(&Session<DiskKeeper>) -> Result<(), Failure>,
) -> Result<Exit, Failure> {
    let (files, loaded) = drawn.load()?;
    in_folder(&drawn.design.files, &loaded, dir, force, |keeper| {
        let session = drawn.play(&files, &loaded, keeper)?;
        holds(&session)?;
        Ok(session)
    })
}

/// Plays a job in a folder of its own and finishes it.
pub(super) fn in_folder(
    files: &Files,
    loaded: &Loaded,
    dir: &Path,
    force: bool,
    play: impl FnOnce(DiskKeeper) -> Result<Session<DiskKeeper>, Failure>,
) -> Result<Exit, Failure> {
    let files: Vec<_> = files.0.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    let folder = Folder::create(dir, &files, force)?;
    let _lock = folder.lock()?;
    let session = play(DiskKeeper::create(&folder)?)?;
    finish::finished(&folder, loaded, session, false, true)
}

/// What was made wrong, and what the site is by the campaign's definition.
pub(super) fn say(wrong: &str, material: &[String]) {
    show::print_progress(&format!("wrong:  {wrong}"));
    let so = if material.is_empty() { "sound by the campaign's definition".into() } else { material.join("; ") };
    show::print_progress(&format!("so:     {so}"));
}
