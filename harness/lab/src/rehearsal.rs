//! How sound sites with a job's own pipework and plan would end: the job played against the bundled simulator, with scatter
//! and noise drawn anew for each seed.
//!
//! Not here: sites with defects (campaigns).
use plumeline_base::{Instant, Verdict};
use plumeline_job::{
    folder,
    remarks::{Code, Remark},
};
use plumeline_link::faults::FaultSpec;
use plumeline_procedure::{Entry, JobInputs, Outcome, plan::ExpectedUnit};
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    failure::Failure,
    job::Job,
    job_files::{Files, Loaded},
    keep::MemoryKeeper,
    line::Line,
    operator::{Operator, Script, SimulatedLogger, SimulatedSite},
    port, scenario,
    session::Outward,
    show::Show,
    simulated_model,
};
use plumeline_simulator::{Scenario, models::Spoken, scenario::Which};
use rayon::prelude::*;
use serde::Serialize;
use std::{cell::Cell, collections::BTreeMap, rc::Rc, sync::Arc};

/// What became of the sound sites.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Rehearsal {
    /// How many were played.
    pub seeds: u64,
    /// How many passed.
    pub passed: u64,
    /// How many ended undecided.
    pub undecided: u64,
    /// How many failed.
    pub failed: u64,
    /// By the code of a finding that did not pass: at how many sites it was found.
    pub by: BTreeMap<String, u64>,
    /// Longest time of a job, h, with prompts answered at once or after a few seconds: hands take more.
    pub hours: f64,
    /// Longest time out of service, h.
    pub out_of_service_hours: f64,
    /// Most prompts of a job that want a key: neither what is only told nor what the unit's own readings answer.
    pub prompts: u64,
}

/// One job played.
struct Played {
    outcome: Outcome,
    hours: f64,
    prompts: u64,
}

/// Plays the job at `seeds` sound sites.
///
/// # Errors
/// The job can't be simulated, or nothing is to be played.
pub fn rehearse(files: &Files, loaded: &Loaded, seeds: u64) -> Result<Rehearsal, Failure> {
    if seeds == 0 {
        return Err(Failure::input("no site is to be played", "say --seeds 1 or more, or --no-simulation"));
    }
    let files = files.clone().with_port("sim:");
    let all: Result<Vec<Played>, Failure> =
        (1..=seeds).into_par_iter().map(|seed| play(&files, loaded.inputs.clone(), seed)).collect();
    let mut sum = Rehearsal { seeds, ..Rehearsal::default() };
    for Played { outcome, hours, prompts } in all? {
        *match outcome.verdict {
            Verdict::Pass => &mut sum.passed,
            Verdict::Undecided => &mut sum.undecided,
            Verdict::Fail => &mut sum.failed,
        } += 1;
        let mut codes: Vec<String> = outcome
            .findings
            .iter()
            .filter(|f| f.stage.judges() && f.counts_as() != Verdict::Pass)
            .map(|f| f.code.to_string())
            .collect();
        codes.sort();
        codes.dedup();
        for code in codes {
            *sum.by.entry(code).or_default() += 1;
        }
        sum.hours = sum.hours.max(hours);
        sum.out_of_service_hours = sum.out_of_service_hours.max(outcome.out_of_service_s.unwrap_or(0.0) / 3600.0);
        sum.prompts = sum.prompts.max(prompts);
    }
    Ok(sum)
}

fn play(files: &Files, mut inputs: JobInputs, seed: u64) -> Result<Played, Failure> {
    let mut site = Scenario::new(inputs.pipework.clone(), seed);
    if let Some(described) = &inputs.replacement {
        site.replacement = Arc::new(simulated_model::of(described)?);
    }
    if let (Some(_), Some(settings)) = (inputs.plan.visit, &inputs.to_load) {
        scenario::visited(&mut site, settings);
    }
    // Numbers that only the real units have are not held against the simulated ones.
    inputs.plan.replacement = any(&inputs.plan.replacement);
    inputs.plan.outgoing = inputs.plan.outgoing.as_ref().map(|_| ExpectedUnit::default());
    // Each unit is spoken to as its stand-in is, whatever the real ones are reached through.
    let apart = site.replacement.spoken != Spoken::Plumewire || port::is_by_hand(files);
    let files = files.clone().with_ports("sim:", apart.then_some("sim:"));
    let simulation = SimulatedSite::new(scenario::simulation(site, Instant::START)?);
    let line = |unit| Line::simulated(&simulation, unit, FaultSpec::default(), seed);
    let seen = Rc::new(Cell::default());
    let script =
        Script::willing().with_hands_full().with_eyes(port::eyes(&files)).with_logger(SimulatedLogger::default());
    let session = Job::begin(&files, inputs, MemoryKeeper::default(), DATE_OF_SIMULATIONS)
        .line(line(apart.then_some(Which::Replacement)))
        .outgoing_line(apart.then(|| line(Some(Which::Outgoing))))
        .operator(Operator::script("script", script, simulation.clone()))
        .observer(Watch(seen.clone()))
        .run()?;
    let outcome = session.outcome().cloned().ok_or_else(|| Failure::internal("a job ended without an outcome"))?;
    let Seen { at, prompts } = seen.get();
    Ok(Played { outcome, hours: at.since(Instant::START).as_secs_f64() / 3600.0, prompts })
}

/// What is expected of a unit, without what only the real one has.
fn any(expected: &ExpectedUnit) -> ExpectedUnit {
    ExpectedUnit { serial: None, firmware: None, ..expected.clone() }
}

/// How far a job came.
#[derive(Clone, Copy, Default)]
pub(crate) struct Seen {
    pub(crate) at: Instant,
    pub(crate) prompts: u64,
}
/// Counts prompts that want a key and keeps the time.
#[derive(Default)]
pub(crate) struct Watch(pub(crate) Rc<Cell<Seen>>);
impl Show for Watch {
    fn show(&mut self, now: Instant, what: &Outward) {
        let prompts = self.0.get().prompts;
        let prompts = match what {
            Outward::Ask(prompt) if prompt.wants_answer() => prompts + 1,
            Outward::Note(Entry::Seen { .. }) => prompts - 1,
            _ => prompts,
        };
        self.0.set(Seen { at: now, prompts });
    }
    // Nobody is at a terminal: a code for the log book of a site that is none.
    fn say(&mut self, _: &str) {}
}

impl Rehearsal {
    /// What follows for the plan. `limit_h` is the longest time out of service.
    pub fn remarks(&self, limit_h: f64) -> Vec<Remark> {
        let mut remarks = Vec::new();
        let mut by: Vec<(&String, &u64)> = self.by.iter().collect();
        by.sort_by_key(|(_, n)| std::cmp::Reverse(**n));
        let by: Vec<String> = by.iter().take(5).map(|(code, n)| format!("{code} ({n})")).collect();
        for (code, n, what) in [
            (Code::RehearsalFails, self.failed, "failed"),
            (Code::RehearsalUndecided, self.undecided, "ended undecided"),
        ] {
            if n > 0 {
                let says = format!("{n} of {} sound sites {what}; not passed: {}", self.seeds, by.join(", "));
                remarks.push(Remark::new(code, folder::PLAN, "limits", says));
            }
        }
        if self.out_of_service_hours > limit_h {
            let says = format!(
                "out of service for {} without the time of hands; the limit is {}",
                hours(self.out_of_service_hours),
                hours(limit_h)
            );
            remarks.push(Remark::new(Code::TooLong, folder::PLAN, "limits.out_of_service", says));
        }
        remarks
    }
    /// What was seen, in one sentence.
    pub fn text(&self) -> String {
        format!(
            "{} of {} simulated sound sites pass, {} end undecided, {} fail; a job takes {} ({} out of service) and {} prompts that want a key, with answers that come at once",
            self.passed,
            self.seeds,
            self.undecided,
            self.failed,
            hours(self.hours),
            hours(self.out_of_service_hours),
            self.prompts
        )
    }
}

/// `3 h 05 min`
fn hours(h: f64) -> String {
    let minutes = (h * 60.0).ceil() as u64;
    format!("{} h {:02} min", minutes / 60, minutes % 60)
}
