//! Many simulated replacements with known defects, through the real protocol and procedure, and how often the verdict was
//! right. What is drawn, what counts as material and what came out: `docs/campaign.md`.
//!
//! Not here: the simulator, the procedure, and any verdict: a campaign only counts them.
mod dice;
mod draw;
pub mod explain;
mod generator;
pub mod interval;
pub mod lies;
pub mod matrix;
pub mod means;
pub mod one;
pub mod pairs;
pub mod record;
pub mod shift;
pub mod text;
mod truth;

use plumeline_runtime::failure::Failure;
use rayon::prelude::*;
use record::{Head, Record};

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
