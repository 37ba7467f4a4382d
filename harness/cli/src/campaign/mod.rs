//! Many simulated replacements with known defects, through the real protocol and procedure, and how often the verdict was
//! right. What is drawn, what counts as material and what came out: `docs/campaign.md`.
//!
//! Not here: the simulator, the procedure, and any verdict: a campaign only counts them.
mod dice;
mod draw;
mod explain;
mod generator;
pub mod interval;
pub mod matrix;
pub mod one;
pub mod record;
pub mod shift;
mod text;
mod truth;

use crate::{
    args::Campaign,
    failure::{Exit, Failure},
    show,
};
use matrix::Matrix;
use plumeline_job::{Problem, disk};
use rayon::prelude::*;
use record::{Head, JOBS, Record};
use std::path::Path;

/// Names of what is counted, in a campaign's folder.
const MATRIX: &str = "matrix.json";
const TEXT: &str = "matrix.md";

/// Runs the jobs of a part on this many threads (0: as many as there are cores). The result depends on neither.
pub fn run(head: Head, threads: usize) -> Result<Record, Failure> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let pool = pool.map_err(|e| Failure::internal(e.to_string()))?;
    let seeds = head.seeds();
    let bar = indicatif::ProgressBar::new(seeds.len() as u64);
    // Jobs differ in length: handed out one by one.
    let one = |seed: &u64| {
        let job = one::run(*seed).map_err(|e| Failure::internal(format!("job {seed}: {e}")));
        bar.inc(1);
        job
    };
    let jobs = pool.install(|| seeds.par_iter().with_max_len(1).map(one).collect::<Result<Vec<_>, _>>());
    bar.finish_and_clear();
    Ok(Record { head, jobs: jobs? })
}

/// `plumeline campaign`
pub fn campaign(args: &Campaign) -> Result<Exit, Failure> {
    if let Some(seed) = args.explain {
        return explain::explain(seed, !args.no_holes, args.out.as_deref(), args.force);
    }
    let record = if args.merge.is_empty() {
        run(Head::new(args.seed, args.runs, args.shard), args.threads)?
    } else {
        Record::merge(args.merge.iter().map(|p| Record::read(p)).collect::<Result<_, _>>()?)?
    };
    let matrix = Matrix::of(&record);
    let json = serde_json::to_string_pretty(&matrix).map_err(|e| Failure::internal(e.to_string()))? + "\n";
    let words = text::of(&matrix);
    if let Some(dir) = &args.out {
        std::fs::create_dir_all(dir).map_err(|e| Problem::from_io(dir, "make the campaign's folder", &e))?;
        write(&dir.join(JOBS), &record.text()?)?;
        write(&dir.join(MATRIX), &json)?;
        write(&dir.join(TEXT), &words)?;
    }
    show::line(if args.json { json.trim_end() } else { words.trim_end() });
    Ok(Exit::Pass)
}
fn write(path: &Path, text: &str) -> Result<(), Failure> {
    disk::replace(&disk::OsDisk, path, text.as_bytes())
        .map_err(|e| Problem::from_io(path, "write what came of the campaign", &e).into())
}
