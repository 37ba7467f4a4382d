//! The same invented sites with a replacement that is asked in one way: its protocol, registers, lines, or a person who reads it.
//!
//! What is drawn and what counts as material is the campaign's own (`draw`, `truth`). Not here: the files of
//! a job with such a unit (whoever starts the campaign has them).
use super::{
    dice::Dice,
    draw, explain,
    generator::{self, Design},
    interval::Share,
    one::{Drawn, Truth, load},
};
use crate::rehearsal::{Seen, Watch};
use plumeline_base::{Instant, Verdict, quantity::M3_S_PER_L_MIN};
use plumeline_job::pipework;
use plumeline_link::faults::FaultSpec;
use plumeline_measure::stats::normal_quantile;
use plumeline_procedure::{decided_by, instrument::Instrument};
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    failure::{Exit, Failure},
    job,
    job_files::{Files, Loaded},
    keep::MemoryKeeper,
    line::Line,
    operator::{MeterError, Operator, Script, SimulatedLogger, SimulatedSite},
    port,
    session::{Keeper, Session},
};
use plumeline_simulator::{
    Scenario, Simulation,
    models::{Model, Spoken},
    scenario::Which,
};
use rayon::prelude::*;
use serde::Serialize;
use std::{cell::Cell, collections::BTreeMap, fmt::Write as _, path::Path, rc::Rc};

/// A job of one site.
pub struct Prepared {
    /// Its files, without ports.
    pub files: Files,
    /// The replacement that is simulated.
    pub model: Model,
    /// The output that the panel's fault input is wired to.
    pub fault_wire: u8,
}

/// Makes jobs with one replacement.
pub trait Prepares: Sync {
    /// A whole `pipework.toml` from this air and these pipes.
    ///
    /// # Errors
    /// The pieces do not fit together.
    fn pipework(&self, air: &str, pipes: &str) -> Result<String, Failure>;
    /// The job at that pipework.
    ///
    /// # Errors
    /// Its settings can't be carried over.
    fn job(&self, pipework: &str, seed: u64) -> Result<Prepared, Failure>;
}

/// What is run.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Runs {
    /// Seed of the first job; the others follow one by one.
    pub seed: u64,
    /// How many.
    pub runs: u64,
    /// The share of typed flows in which the simulated person slips.
    pub slips: f64,
}

/// What came of one job.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ran {
    /// Its seed.
    pub seed: u64,
    /// Pipes and openings of the design.
    pub size: (u32, u32),
    /// What was made wrong.
    pub defects: Vec<String>,
    /// Why the site is material; empty: sound.
    pub material: Vec<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// The code of the finding that it hangs on, where it is no pass.
    pub code: String,
    /// What that says.
    pub says: String,
    /// How long the job took, min.
    pub minutes: f64,
    /// How long the zone was out of service, min.
    pub out_of_service: Option<f64>,
    /// Prompts that wanted a key.
    pub prompts: u64,
}

/// Runs these jobs on this many threads (0: as many as there are cores).
///
/// # Errors
/// A job can't be made or run.
pub fn run(what: Runs, threads: usize, prepares: &dyn Prepares) -> Result<Vec<Ran>, Failure> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let pool = pool.map_err(|e| Failure::internal(e.to_string()))?;
    let bar = indicatif::ProgressBar::new(what.runs);
    let seeds: Vec<u64> = (what.seed..what.seed.saturating_add(what.runs)).collect();
    let one = |seed: &u64| {
        let ran = one(*seed, what.slips, prepares).map_err(|e| Failure::internal(format!("job {seed}: {e}")));
        bar.inc(1);
        ran
    };
    let ran = pool.install(|| seeds.par_iter().with_max_len(1).map(one).collect());
    bar.finish_and_clear();
    ran
}

/// Designs drawn before it is given up.
const MOST_DRAWS: u64 = 500;

fn one(seed: u64, slips: f64, prepares: &dyn Prepares) -> Result<Ran, Failure> {
    let job = Job::draw(seed, prepares)?;
    let seen = Rc::new(Cell::default());
    let session = job.play(slips, MemoryKeeper::default(), Watch(seen.clone()))?;
    job.ran(&session, seen.get())
}

/// Runs the job of this seed again and leaves everything in a folder.
///
/// # Errors
/// The job can't be made or run, or the folder not written.
pub fn explain(seed: u64, slips: f64, prepares: &dyn Prepares, dir: &Path, force: bool) -> Result<Exit, Failure> {
    let job = Job::draw(seed, prepares)?;
    let Job { drawn, loaded, material, .. } = &job;
    let play = |keeper| job.play(slips, keeper, Watch::default());
    let exit = explain::in_folder(&drawn.design.files, loaded, dir, force, play)?;
    let wrong: Vec<String> = drawn.scenario.defects.iter().map(ToString::to_string).collect();
    explain::say(&if wrong.is_empty() { "nothing".into() } else { wrong.join(", ") }, material);
    Ok(exit)
}

/// A job that was drawn.
struct Job {
    drawn: Drawn,
    loaded: Loaded,
    /// The units are read over lines of their own.
    apart: bool,
    material: Vec<String>,
}
impl Job {
    fn draw(seed: u64, prepares: &dyn Prepares) -> Result<Self, Failure> {
        for anew in 0..MOST_DRAWS {
            let dice = &mut Dice::new(seed, 1 + 2 * anew);
            let (air, pipes) = generator::parts(dice);
            let text = prepares.pipework(&air, &pipes)?;
            let design = pipework::parse(plumeline_job::folder::PIPEWORK, text.as_bytes())?.pipework;
            if !generator::is_sane(&design) {
                continue;
            }
            let Prepared { files, model, fault_wire } = prepares.job(&text, seed)?;
            let apart = model.spoken != Spoken::Plumewire || port::is_by_hand(&files.clone().with_port("sim:"));
            let files = files.with_ports("sim:", apart.then_some("sim:"));
            let dice = &mut Dice::new(seed, 2 + 2 * anew);
            let mut scenario = Scenario::new(design.clone(), seed);
            (scenario.replacement, scenario.fault_wire) = (model.into(), fault_wire);
            scenario.scatter = draw::scatter(dice, &design);
            scenario.defects = draw::defects(dice, &design);
            scenario.laws.friction = draw::friction(dice);
            let drawn = Drawn { design: Design { files, pipework: design }, scenario };
            let loaded = load(&drawn.design.files)?;
            if let Some(truth) = Truth::of(&drawn, &loaded)? {
                return Ok(Self { drawn, loaded, apart, material: truth.material });
            }
        }
        Err(Failure::internal("no site was drawn whose flows come to rest"))
    }

    fn play<K: Keeper>(&self, slips: f64, keeper: K, watch: Watch) -> Result<Session<K>, Failure> {
        let (files, scenario, inputs) = (&self.drawn.design.files, &self.drawn.scenario, &self.loaded.inputs);
        let seed = scenario.seed;
        let simulation = Simulation::new(scenario.clone(), Instant::START)
            .map_err(|e| Failure::internal(format!("the campaign drew what can't be simulated: {e}")))?;
        let site = SimulatedSite::new(simulation);
        let line = |unit, seed| Line::simulated(&site, unit, FaultSpec::default(), seed);
        let eyes = port::eyes(files).slipping(slips, seed);
        let eyes = match inputs.plan.exhaust_meter() {
            Some(meter) => eyes.with_meter(drawn_error(meter, seed)),
            None => eyes,
        };
        let script = Script::willing().with_hands_full().marking_by_hand(seed).with_eyes(eyes);
        let script = script.with_logger(SimulatedLogger::default());
        job::Job::begin(files, inputs.clone(), keeper, DATE_OF_SIMULATIONS)
            .line(line(self.apart.then_some(Which::Replacement), seed))
            .outgoing_line(self.apart.then(|| line(Some(Which::Outgoing), seed.wrapping_add(1))))
            .operator(Operator::script("script", script, site.clone()))
            .observer(watch)
            .run()
    }

    fn ran<K: Keeper>(&self, session: &Session<K>, Seen { at, prompts }: Seen) -> Result<Ran, Failure> {
        let (scenario, prediction) = (&self.drawn.scenario, &self.loaded.inputs.prediction);
        let outcome = session.outcome().ok_or_else(|| Failure::internal("a job ended without an outcome"))?;
        let because = decided_by(outcome).filter(|_| outcome.verdict != Verdict::Pass);
        Ok(Ran {
            seed: scenario.seed,
            size: (prediction.inlets.len() as u32, prediction.openings.len() as u32),
            defects: scenario.defects.iter().map(ToString::to_string).collect(),
            material: self.material.clone(),
            verdict: outcome.verdict,
            code: because.map_or_else(String::new, |f| f.code.to_string()),
            says: because.map_or_else(|| outcome.because.clone(), |f| format!("{}: {}", f.subject, f.says)),
            minutes: at.since(Instant::START).as_secs_f64() / 60.0,
            out_of_service: outcome.out_of_service_s.map(|s| s / 60.0),
            prompts,
        })
    }
}

/// How a meter errs of which a certificate says no more than this.
fn drawn_error(meter: &Instrument, seed: u64) -> MeterError {
    // Sites are drawn from the streams behind the first.
    let dice = &mut Dice::new(seed, 0);
    let mut normal = |u: f64| u * normal_quantile(dice.between(1e-6, 1.0));
    let step = meter.scale.step.unwrap_or(0.0) * meter.si / M3_S_PER_L_MIN;
    MeterError {
        gain: normal(meter.u_relative),
        offset: normal(meter.u * meter.si / M3_S_PER_L_MIN),
        // Readings that move by a step or so, as those of most instruments do.
        scatter: step,
        state: seed,
    }
}

/// Seeds that a table names at most.
const SEEDS: usize = 20;

/// The counts in words.
pub fn text(all: &[Ran]) -> String {
    let mut t = String::from(
        "| sites | jobs | pass % | fail % | undecided % | minutes, median (90 %) | out of service | keys, median |\n|---|---|---|---|---|---|---|---|\n",
    );
    let clean = |r: &&Ran| r.material.is_empty() && r.defects.is_empty();
    let mild = |r: &&Ran| r.material.is_empty() && !r.defects.is_empty();
    let groups: [(&str, Vec<&Ran>); 4] = [
        ("sound, nothing made wrong", all.iter().filter(clean).collect()),
        ("sound, something mild made wrong", all.iter().filter(mild).collect()),
        ("sound", all.iter().filter(|r| r.material.is_empty()).collect()),
        ("material", all.iter().filter(|r| !r.material.is_empty()).collect()),
    ];
    for (name, jobs) in &groups {
        let of = |v: Verdict| percent(&Share::of(jobs.iter().map(|r| r.verdict == v)));
        let _ = writeln!(
            t,
            "| {name} | {} | {} | {} | {} | {} | {} | {:.0} |",
            jobs.len(),
            of(Verdict::Pass),
            of(Verdict::Fail),
            of(Verdict::Undecided),
            spread(jobs.iter().map(|r| r.minutes)),
            spread(jobs.iter().filter_map(|r| r.out_of_service)),
            quantile(jobs.iter().map(|r| r.prompts as f64), 0.5),
        );
    }
    let [_, _, sound, material] = &groups;
    let passed = |v: Verdict| move |r: &&&Ran| r.verdict == v;
    let _ = writeln!(t, "\nSound sites that did not pass, by what it hangs on: {}.", codes(sound.1.iter().copied()));
    let _ = writeln!(t, "Material sites stopped, by what it hangs on: {}.", codes(material.1.iter().copied()));
    for (what, jobs) in [
        ("Material sites that passed", material.1.iter().filter(passed(Verdict::Pass)).collect::<Vec<_>>()),
        ("Sound sites that failed", sound.1.iter().filter(passed(Verdict::Fail)).collect()),
    ] {
        let seeds: Vec<String> = jobs.iter().take(SEEDS).map(|r| r.seed.to_string()).collect();
        let _ = writeln!(
            t,
            "{what}: {}{}",
            jobs.len(),
            if seeds.is_empty() { ".".into() } else { format!(" (seeds {}).", seeds.join(", ")) }
        );
    }
    t
}

fn percent(share: &Share) -> String {
    format!("{:.1} ({:.1}–{:.1})", 100.0 * share.value(), 100.0 * share.low, 100.0 * share.high)
}
fn quantile(values: impl Iterator<Item = f64>, at: f64) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().saturating_sub(1) as f64;
    sorted.get((last * at).round() as usize).copied().unwrap_or(f64::NAN)
}
fn spread(values: impl Iterator<Item = f64> + Clone) -> String {
    format!("{:.0} ({:.0})", quantile(values.clone(), 0.5), quantile(values, 0.9))
}
/// Codes of what stopped these jobs, the most frequent first.
fn codes<'a>(jobs: impl Iterator<Item = &'a Ran>) -> String {
    let mut by: BTreeMap<&str, u32> = BTreeMap::new();
    jobs.filter(|r| r.verdict != Verdict::Pass).for_each(|r| *by.entry(&r.code).or_default() += 1);
    let mut by: Vec<(&str, u32)> = by.into_iter().collect();
    by.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    let all: Vec<String> = by.iter().map(|(code, n)| format!("`{code}` {n}")).collect();
    if all.is_empty() { "none".into() } else { all.join(", ") }
}
