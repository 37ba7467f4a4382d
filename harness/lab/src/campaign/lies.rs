//! Units that lie at sites that are sound: how often each lie is stopped, and what it is blamed on.
//!
//! Not here: what a lie does (the simulator), defects of sites and what counts as material (`matrix`).
use super::{
    interval::Share,
    one::{Drawn, outcome},
};
use plumeline_base::Verdict;
use plumeline_procedure::{Finding, Outcome, Subject, decided_by};
use plumeline_runtime::{failure::Failure, keep::MemoryKeeper};
use plumeline_simulator::{Class, Lie, LieKind};
use rayon::prelude::*;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// What came of one lie.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// The lie, with its severity if that is not the usual one; nothing for a unit that tells the truth.
    pub lie: Option<String>,
    /// What it is about.
    pub about: &'static str,
    /// Jobs that did not pass, of those at whose site the lie can be told: a leak at an unused inlet needs one, a mean of flows two pipes.
    pub stopped: Share,
    /// Jobs whose deciding finding speaks of the unit, not of the site's air, wires or supplies, of those that did not pass where a
    /// unit that tells the truth does.
    pub named: Share,
    /// What they were blamed on: codes of the deciding findings, with how often.
    pub blamed: BTreeMap<String, u32>,
    /// Jobs that passed and whose report says that this lie is not shown, or only from some size on.
    pub stated: Share,
    /// Seeds of jobs that passed, the first few.
    pub passed: Vec<u64>,
    /// Seeds of jobs that were stopped without naming the unit, the first few.
    pub misnamed: Vec<u64>,
}
/// Lies that no job can see, or only from the size on that its report states, each with the statement of it.
pub const STATED: [(LieKind, &str); 16] = [
    (LieKind::LeakUntold, "missed.untold-air"),
    (LieKind::FanSpeedUntrue, "missed.all-alike"),
    (LieKind::BaselineOfBefore, "missed.baseline-off"),
    (LieKind::BaselineDesign, "missed.baseline-off"),
    (LieKind::BaselineCoarse, "missed.baseline-off"),
    (LieKind::BaselineLostAtRestart, "missed.after-restart"),
    (LieKind::FlowBandWide, "missed.unit-band"),
    (LieKind::OldFlowBand, "missed.unit-band"),
    (LieKind::RiseUnsupervised, "missed.unit-band"),
    (LieKind::FlowFaultOnce, "missed.once"),
    (LieKind::ResetOnce, "missed.once"),
    (LieKind::OwnFaultsNever, "missed.own-faults"),
    (LieKind::LogLoses, "missed.log"),
    (LieKind::OldOutputs, "missed.outputs-at-alarm"),
    (LieKind::OldDelays, "missed.alarm-threshold"),
    (LieKind::DelaysSwapped, "missed.alarm-threshold"),
];

/// Whether the report says that this lie is not shown.
fn stated(lie: Option<Lie>, outcome: &Outcome) -> bool {
    let of_lie = |(kind, code): &(LieKind, &str)| {
        lie.is_some_and(|l| l.kind == *kind)
            && outcome.could_have_missed.iter().any(|s| s.code.as_str().starts_with(code))
    };
    STATED.iter().any(of_lie)
}
/// Most seeds that a row names.
const SEEDS: usize = 20;

/// Runs `runs` jobs of each of these lies (none: the whole catalogue), and of a unit that tells the truth, on this many threads
/// (0: as many as there are cores).
///
/// # Errors
/// A job can't be run.
pub fn run(seed: u64, runs: u64, threads: usize, lies: &[Lie]) -> Result<Vec<Row>, Failure> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let pool = pool.map_err(|e| Failure::internal(e.to_string()))?;
    let all: Vec<Lie> = if lies.is_empty() { LieKind::all().map(Lie::usual).collect() } else { lies.to_vec() };
    let told: Vec<Option<Lie>> = std::iter::once(None).chain(all.into_iter().map(Some)).collect();
    let jobs: Vec<(usize, u64)> =
        (0..told.len()).flat_map(|i| (seed..seed.saturating_add(runs)).map(move |seed| (i, seed))).collect();
    let bar = indicatif::ProgressBar::new(jobs.len() as u64);
    let one = |(i, seed): &(usize, u64)| {
        let outcome = job(*seed, told[*i]);
        bar.inc(1);
        Ok::<_, Failure>((*i, *seed, outcome?))
    };
    let outcomes = pool.install(|| jobs.par_iter().with_max_len(1).map(one).collect::<Result<Vec<_>, _>>());
    bar.finish_and_clear();
    let outcomes = outcomes?;
    // The unit that tells the truth comes first.
    let plain = |(lie, seed, o): &(usize, u64, Option<Outcome>)| {
        (*lie == 0 && o.as_ref().is_some_and(|o| o.verdict == Verdict::Pass)).then_some(*seed)
    };
    let plain: BTreeSet<u64> = outcomes.iter().filter_map(plain).collect();
    Ok(outcomes.chunk_by(|a, b| a.0 == b.0).map(|of| Row::of(told[of[0].0], of, &plain)).collect())
}
/// One job at a sound site; `None`: the lie can't be told there.
fn job(seed: u64, lie: Option<Lie>) -> Result<Option<Outcome>, Failure> {
    let drawn = drawn(seed, lie.as_slice())?;
    let pipes = drawn.design.pipework.inlets.iter().filter(|i| i.node.is_some()).count();
    let at_unused = lie.is_some_and(|l| l.kind.class() == Class::Air) && pipes == drawn.design.pipework.inlets.len();
    // The mean of one flow is that flow.
    if at_unused || lie.is_some_and(|l| l.kind == LieKind::FlowsAveraged) && pipes < 2 {
        return Ok(None);
    }
    let (files, loaded) = drawn.load()?;
    outcome(&drawn.play(&files, &loaded, MemoryKeeper::default())?).map(Some)
}
/// The job of this seed at a sound site, with a unit that lies so.
pub(super) fn drawn(seed: u64, lies: &[Lie]) -> Result<Drawn, Failure> {
    let mut drawn = Drawn::new(seed, true, 0)?;
    drawn.scenario.defects.clear();
    drawn.scenario.lies = lies.to_vec();
    Ok(drawn)
}
impl Row {
    /// `plain`: seeds at which a unit that tells the truth passes.
    fn of(lie: Option<Lie>, jobs: &[(usize, u64, Option<Outcome>)], plain: &BTreeSet<u64>) -> Self {
        let jobs: Vec<(u64, &Outcome)> = jobs.iter().filter_map(|(_, seed, o)| Some((*seed, o.as_ref()?))).collect();
        let mut blamed = BTreeMap::new();
        let stopped = |o: &Outcome| o.verdict != Verdict::Pass;
        let named = |o: &Outcome| stopped(o) && decided_by(o).is_some_and(speaks_of_unit);
        for (_, outcome) in jobs.iter().filter(|(_, o)| stopped(o)) {
            let code = decided_by(outcome).map_or_else(|| outcome.because.clone(), |f| f.code.to_string());
            *blamed.entry(code).or_default() += 1;
        }
        let seeds = |of: &dyn Fn(&Outcome) -> bool| {
            jobs.iter().filter(|(_, o)| of(o)).map(|(seed, _)| *seed).take(SEEDS).collect::<Vec<u64>>()
        };
        let usual = |l: &Lie| l.severity == l.kind.usual_severity();
        Self {
            lie: lie.map(|l| if usual(&l) { l.kind.name().into() } else { l.to_string() }),
            about: lie.map_or("the truth", |l| l.kind.class().name()),
            stopped: Share::of(jobs.iter().map(|(_, o)| stopped(o))),
            named: Share::of(jobs.iter().filter(|(s, o)| stopped(o) && plain.contains(s)).map(|(_, o)| named(o))),
            blamed,
            stated: Share::of(jobs.iter().filter(|(_, o)| !stopped(o)).map(|(_, o)| stated(lie, o))),
            passed: seeds(&|o| !stopped(o)),
            misnamed: seeds(&|o| stopped(o) && !named(o)),
        }
    }
}
/// Topics of findings that speak of the air, the wires or the supplies of the site.
const OF_THE_SITE: [&str; 9] =
    ["flow", "holes", "smoke", "settle", "presence", "supply", "outputs", "checklist", "isolate"];
/// Codes of these that speak of the unit all the same: of its sensors, its fan and filter, its contacts.
const OF_THE_UNIT: [&str; 12] = [
    "holes.stands-still",
    "settle.stuck",
    "settle.faulty",
    "flow.all-less-than-predicted",
    "flow.all-more-than-predicted",
    "flow.all-pipes-shifted",
    "flow.only-pipe-less",
    "smoke.late-as-flows",
    "outputs.unknown",
    "outputs.not-told",
    "outputs.wrong-input",
    "supply.loss-not-at-unit",
];
/// Whether a finding blames the unit.
fn speaks_of_unit(f: &Finding) -> bool {
    let code = f.code.as_str();
    let topic = code.split_once('.').map_or(code, |(topic, _)| topic);
    OF_THE_UNIT.contains(&code) || f.subject == Subject::Replacement || !OF_THE_SITE.contains(&topic)
}

/// The rows as a table for people.
pub fn text(rows: &[Row]) -> String {
    let mut all = String::from(
        "| lie | about | stopped | unit named | blamed on | passed, and stated | seeds |\n|---|---|---|---|---|---|---|\n",
    );
    for row in rows {
        let mut blamed: Vec<(&String, &u32)> = row.blamed.iter().collect();
        blamed.sort_by_key(|(_, n)| std::cmp::Reverse(**n));
        let blamed: Vec<String> = blamed.iter().take(3).map(|(code, n)| format!("{code} ({n})")).collect();
        let passed: Vec<String> = row.passed.iter().map(u64::to_string).collect();
        let (lie, s) = (row.lie.as_deref().unwrap_or("none"), &row.stopped);
        let (about, named) = (row.about, format!("{} of {}", row.named.k, row.named.n));
        let (blamed, passed, stated) = (blamed.join(", "), passed.join(", "), &row.stated);
        let stated = if stated.n == 0 { String::new() } else { format!("{}, {}", stated.n, stated.k) };
        all += &format!("| {lie} | {about} | {} of {} | {named} | {blamed} | {stated} | {passed} |\n", s.k, s.n);
    }
    all
}
