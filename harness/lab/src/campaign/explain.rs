//! One job of a campaign again, with its folder, its report and the truth side by side.
use super::one::{self, Drawn, Ran};
use plumeline_job::{Problem, disk, folder::Folder};
use plumeline_runtime::{
    failure::{Exit, Failure},
    finish,
    keep::DiskKeeper,
    show,
};
use std::path::{Path, PathBuf};

/// The truth about a job, beside its report.
const TRUTH: &str = "truth.json";

/// Runs the job of this seed again and leaves everything in a folder.
pub fn explain(seed: u64, holes: bool, out: Option<&Path>, force: bool) -> Result<Exit, Failure> {
    let dir = out.map_or_else(|| PathBuf::from(format!("campaign-job-{seed}")), Path::to_path_buf);
    // The whole truth is the campaign's own; this job is one of the two that it ran.
    let job = one::run(seed)?;
    let drawn = Drawn::new(seed, holes, job.drawn_anew)?;
    let files: Vec<_> = drawn.design.files.0.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    let folder = Folder::create(&dir, &files, force)?;
    let _lock = folder.lock()?;
    let (files, loaded) = drawn.load()?;
    let session = drawn.play(&files, &loaded, DiskKeeper::create(&folder)?)?;
    let outcome = session.outcome().ok_or_else(|| Failure::internal("the job ended without an outcome"))?;
    if Ran::of(outcome) != *(if holes { &job.holes } else { &job.flow_only }) {
        return Err(Failure::internal("the job came out otherwise than in the campaign"));
    }
    let text = serde_json::to_string_pretty(&job).map_err(|e| Failure::internal(e.to_string()))?;
    let path = dir.join(TRUTH);
    disk::replace(&disk::OsDisk, &path, text.as_bytes())
        .map_err(|e| Problem::from_io(&path, "write the truth beside the report", &e))?;
    let exit = finish::finished(&folder, &loaded, session, false, true)?;
    show::print_progress(&format!("truth:  {}", path.display()));
    show::print_progress(&format!("wrong:  {}", one::wrong(&job)));
    let so = if job.is_sound() { "sound by the campaign's definition".into() } else { job.material.join("; ") };
    show::print_progress(&format!("so:     {so}"));
    Ok(exit)
}
