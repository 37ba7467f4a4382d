//! Units that lie at sites that are sound: how often each lie is stopped, and what it is blamed on.
//!
//! Not here: what a lie does (the simulator), defects of sites and what counts as material (`matrix`).
use super::{
    interval::Share,
    one::{Drawn, outcome},
};
use plumeline_base::Verdict;
use plumeline_procedure::Outcome;
use plumeline_runtime::{failure::Failure, keep::MemoryKeeper};
use plumeline_simulator::{Lie, LieKind};
use rayon::prelude::*;
use serde::Serialize;
use std::collections::BTreeMap;

/// Least jobs of a lie.
pub const LEAST: u64 = 100;

/// What came of one lie.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Its name; nothing for a unit that tells the truth.
    pub lie: Option<&'static str>,
    /// What it is about.
    pub about: &'static str,
    /// Jobs that did not pass.
    pub stopped: Share,
    /// What they were blamed on first: codes of findings, with how often.
    pub blamed: BTreeMap<String, u32>,
    /// Seeds of jobs that passed, the first few.
    pub passed: Vec<u64>,
}
/// Most seeds that a row names.
const SEEDS: usize = 5;

/// Runs `runs` jobs of every lie, and of a unit that tells the truth, on this many threads (0: as many as there are cores).
///
/// # Errors
/// A job can't be run.
pub fn run(seed: u64, runs: u64, threads: usize) -> Result<Vec<Row>, Failure> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let pool = pool.map_err(|e| Failure::internal(e.to_string()))?;
    let kinds: Vec<Option<LieKind>> = std::iter::once(None).chain(LieKind::all().map(Some)).collect();
    let bar = indicatif::ProgressBar::new(kinds.len() as u64);
    let rows = kinds.into_iter().map(|kind| {
        let seeds: Vec<u64> = (seed..seed.saturating_add(runs)).collect();
        let one = |seed: &u64| Ok::<_, Failure>((*seed, job(*seed, kind)?));
        let jobs = pool.install(|| seeds.par_iter().with_max_len(1).map(one).collect::<Result<Vec<_>, _>>());
        bar.inc(1);
        Ok(Row::of(kind, &jobs?))
    });
    let rows = rows.collect();
    bar.finish_and_clear();
    rows
}
/// One job at a sound site.
fn job(seed: u64, lie: Option<LieKind>) -> Result<Outcome, Failure> {
    let mut drawn = Drawn::new(seed, true, 0)?;
    drawn.scenario.defects.clear();
    drawn.scenario.lies = lie.map(Lie::usual).into_iter().collect();
    let (files, loaded) = drawn.load()?;
    outcome(&drawn.play(&files, &loaded, MemoryKeeper::default())?)
}
impl Row {
    fn of(kind: Option<LieKind>, jobs: &[(u64, Outcome)]) -> Self {
        let mut blamed = BTreeMap::new();
        for (_, outcome) in jobs.iter().filter(|(_, o)| o.verdict != Verdict::Pass) {
            *blamed.entry(blame(outcome)).or_default() += 1;
        }
        let passed = jobs.iter().filter(|(_, o)| o.verdict == Verdict::Pass).map(|(seed, _)| *seed);
        Self {
            lie: kind.map(LieKind::name),
            about: kind.map_or("the truth", |k| k.class().name()),
            stopped: Share::of(jobs.iter().map(|(_, o)| o.verdict != Verdict::Pass)),
            blamed,
            passed: passed.take(SEEDS).collect(),
        }
    }
}
/// The first finding that failed, or else the first that was left undecided, by its code.
fn blame(outcome: &Outcome) -> String {
    let first = |v| outcome.findings.iter().find(|f| f.stage.judges() && f.counts_as() == v);
    let found = first(Verdict::Fail).or_else(|| first(Verdict::Undecided));
    found.map_or_else(|| outcome.because.clone(), |f| f.code.to_string())
}

/// The rows as a table for people.
pub fn text(rows: &[Row]) -> String {
    let mut all =
        String::from("| lie | about | stopped | 95 % | blamed on | passed, seeds |\n|---|---|---|---|---|---|\n");
    for row in rows {
        let mut blamed: Vec<(&String, &u32)> = row.blamed.iter().collect();
        blamed.sort_by_key(|(_, n)| std::cmp::Reverse(**n));
        let blamed: Vec<String> = blamed.iter().take(3).map(|(code, n)| format!("{code} ({n})")).collect();
        let passed: Vec<String> = row.passed.iter().map(u64::to_string).collect();
        let s = &row.stopped;
        all += &format!(
            "| {} | {} | {} of {} | {:.3} to {:.3} | {} | {} |\n",
            row.lie.unwrap_or("none"),
            row.about,
            s.k,
            s.n,
            s.low,
            s.high,
            blamed.join(", "),
            passed.join(", ")
        );
    }
    all
}
