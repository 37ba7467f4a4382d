//! One job of a campaign again, with its folder, its report and the truth side by side.
use super::{
    lies,
    one::{self, Drawn, Ran},
};
use plumeline_job::{
    Problem, disk,
    folder::{Folder, Lock},
};
use plumeline_runtime::{
    failure::{Exit, Failure},
    finish,
    job_files::Loaded,
    keep::DiskKeeper,
    session::Session,
    show,
};
use plumeline_simulator::Lie;
use std::path::{Path, PathBuf};

/// The truth about a job, beside its report.
const TRUTH: &str = "truth.json";

/// Runs the job of this seed again and leaves everything in a folder.
pub fn explain(seed: u64, holes: bool, out: Option<&Path>, force: bool) -> Result<Exit, Failure> {
    let dir = folder_of(seed, out);
    // The whole truth is the campaign's own; this job is one of the two that it ran.
    let job = one::run(seed)?;
    let kept = Kept::play(&Drawn::new(seed, holes, job.drawn_anew)?, &dir, force)?;
    let outcome = kept.session.outcome().ok_or_else(|| Failure::internal("the job ended without an outcome"))?;
    if Ran::of(outcome) != *(if holes { &job.holes } else { &job.flow_only }) {
        return Err(Failure::internal("the job came out otherwise than in the campaign"));
    }
    let text = serde_json::to_string_pretty(&job).map_err(|e| Failure::internal(e.to_string()))?;
    let path = dir.join(TRUTH);
    disk::replace(&disk::OsDisk, &path, text.as_bytes())
        .map_err(|e| Problem::from_io(&path, "write the truth beside the report", &e))?;
    let exit = kept.finish()?;
    show::print_progress(&format!("truth:  {}", path.display()));
    show::print_progress(&format!("wrong:  {}", one::wrong(&job)));
    let so = if job.is_sound() { "sound by the campaign's definition".into() } else { job.material.join("; ") };
    show::print_progress(&format!("so:     {so}"));
    Ok(exit)
}

/// Runs the job of this seed with a unit that lies so, at a sound site, and leaves everything in a folder.
pub fn explain_lies(seed: u64, lies: &[Lie], out: Option<&Path>, force: bool) -> Result<Exit, Failure> {
    Kept::play(&lies::drawn(seed, lies)?, &folder_of(seed, out), force)?.finish()
}

fn folder_of(seed: u64, out: Option<&Path>) -> PathBuf {
    out.map_or_else(|| PathBuf::from(format!("campaign-job-{seed}")), Path::to_path_buf)
}

/// A job that was run in its folder.
struct Kept {
    folder: Folder,
    loaded: Loaded,
    session: Session<DiskKeeper>,
    _lock: Lock,
}
impl Kept {
    fn play(drawn: &Drawn, dir: &Path, force: bool) -> Result<Self, Failure> {
        let files: Vec<_> = drawn.design.files.0.iter().map(|(n, bytes)| (n.as_str(), bytes.as_slice())).collect();
        let folder = Folder::create(dir, &files, force)?;
        let lock = folder.lock()?;
        let (files, loaded) = drawn.load()?;
        let session = drawn.play(&files, &loaded, DiskKeeper::create(&folder)?)?;
        Ok(Self { folder, loaded, session, _lock: lock })
    }
    fn finish(self) -> Result<Exit, Failure> {
        finish::finished(&self.folder, &self.loaded, self.session, false, true)
    }
}
