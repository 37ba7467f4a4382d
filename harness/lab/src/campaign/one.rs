//! One job of a campaign: drawn, run in virtual time through the real protocol and procedure, held against the truth.
use super::{
    dice::Dice,
    draw,
    generator::{self, Design},
    shift::Shift,
    truth::{self, Bounds, Facts},
};
use plumeline_base::{Instant, Verdict, quantity::M3_S_PER_L_MIN};
use plumeline_link::faults::FaultSpec;
use plumeline_procedure::{
    NOTHING_ROSE, Outcome, StageKind,
    outcome::{Figure, SmokeRun},
    plan::HoleChoice,
};
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    failure::Failure,
    job,
    job_files::{Files, Loaded},
    keep::MemoryKeeper,
    line::Line,
    operator::{Operator, Script, SimulatedSite},
    port,
    session::{Keeper, Session},
};
use plumeline_simulator::{Defect, Scenario, Simulation, scenario::Law};
use serde::{Deserialize, Serialize};

/// Monte Carlo draws of a campaign's predictions: a twentieth of a real job's, for speed.
const DRAWS: u32 = 200;

/// What came of one job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Job {
    /// Its seed: `plumeline campaign --explain SEED` runs it again.
    pub seed: u64,
    /// Pipes of the design.
    pub pipes: u32,
    /// Openings of the design.
    pub openings: u32,
    /// How often it was drawn anew because the flows of a site would not come to rest in the simulator.
    pub drawn_anew: u64,
    /// The law of the scatter.
    pub law: String,
    /// What was made wrong.
    pub defects: Vec<Case>,
    /// Why the site is material; empty: sound by the definition.
    pub material: Vec<String>,
    /// The job with every hole closed in turn.
    pub holes: Ran,
    /// The same job without closing holes.
    pub flow_only: Ran,
    /// What became of its releases of smoke, closing holes.
    #[serde(default)]
    pub smoke: Smoke,
    /// Figures held against the truth, where nothing was made wrong.
    pub compared: Vec<Compared>,
}
impl Job {
    /// None of what makes a site material holds.
    pub fn is_sound(&self) -> bool {
        self.material.is_empty()
    }
}

/// A defect of one job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Case {
    /// Kind, place and severity.
    pub defect: String,
    /// Kind and severity.
    pub cell: String,
    /// The site with this defect alone is material.
    pub material: bool,
    /// What it alone moves; nothing where air does not show it.
    pub shift: Option<Shift>,
}

/// What a procedure made of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ran {
    /// The verdict.
    pub verdict: Verdict,
    /// A baseline was taken.
    pub baseline: bool,
    /// The stage of the first finding that failed or, where none did, was left undecided.
    pub stage: Option<StageKind>,
    /// That finding.
    pub says: String,
    /// How long the zone was out of service, h.
    pub hours: Option<f64>,
}

/// Releases that count, at sites where half of the plateau, some thousand standard deviations of a reading, came to the sensor within the watch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Smoke {
    /// How many.
    pub came: u32,
    /// Without a time.
    pub not_timed: u32,
    /// Of these, "nothing rose".
    pub nothing_rose: u32,
}
impl Smoke {
    fn of(site: &Facts, outcome: &Outcome) -> Self {
        let came = |r: &&SmokeRun| {
            let half = site.arrivals.iter().find(|(pipe, _)| *pipe == r.inlet).and_then(|(_, [_, half])| *half);
            r.set_aside.is_none() && half.is_some_and(|s| s < r.until.as_secs_f64() - r.released.as_secs_f64())
        };
        outcome.smoke.iter().filter(came).fold(Self::default(), |all, r| Self {
            came: all.came + 1,
            not_timed: all.not_timed + u32::from(r.onset.is_none()),
            nothing_rose: all.nothing_rose + u32::from(r.why_not.as_deref().is_some_and(|w| w.contains(NOTHING_ROSE))),
        })
    }
    /// Both together.
    pub fn and(self, other: Self) -> Self {
        Self {
            came: self.came + other.came,
            not_timed: self.not_timed + other.not_timed,
            nothing_rose: self.nothing_rose + other.nothing_rose,
        }
    }
}

/// A figure with a 95 % interval, and what is so.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Compared {
    /// What it is of.
    pub what: What,
    /// The figure, L/min or s.
    pub value: f64,
    /// Its expanded uncertainty.
    pub expanded: f64,
    /// What is so.
    pub truth: f64,
}
/// What a compared figure is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// Predicted flow of a pipe.
    FlowPredicted,
    /// Measured flow of a pipe.
    FlowMeasured,
    /// Predicted mean transport time.
    TimePredicted,
    /// Predicted time to half of the plateau.
    HalfPredicted,
    /// Measured transport time: the onset of a release.
    OnsetMeasured,
}
impl What {
    /// All.
    pub const ALL: [Self; 5] =
        [Self::FlowPredicted, Self::FlowMeasured, Self::TimePredicted, Self::HalfPredicted, Self::OnsetMeasured];
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::FlowPredicted => "flow of a pipe, predicted",
            Self::FlowMeasured => "flow of a pipe, measured",
            Self::TimePredicted => "mean transport time, predicted",
            Self::HalfPredicted => "time to half of the plateau, predicted",
            Self::OnsetMeasured => "transport time (onset), measured",
        }
    }
}

/// A job drawn and not yet run.
pub(super) struct Drawn {
    /// Its design and files.
    pub(super) design: Design,
    /// The site.
    pub(super) scenario: Scenario,
}
impl Drawn {
    /// Draws a job by its seed; `holes` says whether its plan closes holes in turn, `anew` how often it was drawn before.
    pub(super) fn new(seed: u64, holes: bool, anew: u64) -> Result<Self, Failure> {
        let design = generator::design(&mut Dice::new(seed, 1 + 2 * anew), holes)?;
        let dice = &mut Dice::new(seed, 2 + 2 * anew);
        let mut scenario = Scenario::new(design.pipework.clone(), seed);
        scenario.scatter = draw::scatter(dice, &design.pipework);
        scenario.defects = draw::defects(dice, &design.pipework);
        scenario.laws.friction = draw::friction(dice);
        Ok(Self { design, scenario })
    }
    /// Its files, checked and predicted.
    pub(super) fn load(&self) -> Result<(Files, Loaded), Failure> {
        let files = self.design.files.clone().with_port("sim:");
        let loaded = load(&files)?;
        Ok((files, loaded))
    }
    /// Runs it in virtual time.
    pub(super) fn play<K: Keeper>(&self, files: &Files, loaded: &Loaded, keeper: K) -> Result<Session<K>, Failure> {
        let simulation = Simulation::new(self.scenario.clone(), Instant::START)
            .map_err(|e| Failure::internal(format!("the campaign drew what can't be simulated: {e}")))?;
        let site = SimulatedSite::new(simulation);
        job::Job::begin(files, loaded.inputs.clone(), keeper, DATE_OF_SIMULATIONS)
            .line(Line::simulated(&site, None, FaultSpec::default(), self.scenario.seed))
            .operator(Operator::script(
                "script",
                Script::willing().with_hands_full().marking_by_hand(self.scenario.seed).with_eyes(port::eyes(files)),
                site,
            ))
            .run()
    }
}

/// Files checked and predicted.
pub(super) fn load(files: &Files) -> Result<Loaded, Failure> {
    files.check_with(|plan| plan.advanced.model.draws = DRAWS)
}

/// Most draws of one job.
const MOST_DRAWS: u64 = 10;

/// Draws and runs one job, with and without the check of single holes, and holds both against the truth.
pub fn run(seed: u64) -> Result<Job, Failure> {
    for anew in 0..MOST_DRAWS {
        let drawn = Drawn::new(seed, true, anew)?;
        let (files, loaded) = drawn.load()?;
        if let Some(truth) = Truth::of(&drawn, &loaded)? {
            return both(&drawn, anew, &files, loaded, truth);
        }
    }
    Err(Failure::internal("no site was drawn whose flows come to rest"))
}
fn both(drawn: &Drawn, drawn_anew: u64, files: &Files, mut loaded: Loaded, truth: Truth) -> Result<Job, Failure> {
    let Truth { site, material, cases } = truth;
    let holes = outcome(&drawn.play(files, &loaded, MemoryKeeper::default())?)?;
    let compared = if cases.is_empty() { compare(&site, drawn, &loaded, &holes)? } else { Vec::new() };
    loaded.inputs.plan.holes.choice = HoleChoice::None;
    let flow_only = outcome(&drawn.play(files, &loaded, MemoryKeeper::default())?)?;
    Ok(Job {
        seed: drawn.scenario.seed,
        drawn_anew,
        pipes: site.flows.len() as u32,
        openings: site.holes.len() as u32,
        law: law_word(drawn.scenario.scatter.law).into(),
        defects: cases,
        material,
        holes: Ran::of(&holes),
        flow_only: Ran::of(&flow_only),
        smoke: Smoke::of(&site, &holes),
        compared,
    })
}
pub(super) fn outcome(session: &Session<MemoryKeeper>) -> Result<Outcome, Failure> {
    session.outcome().cloned().ok_or_else(|| Failure::internal("a job ended without an outcome"))
}

/// What is so at a drawn site, by the simulator alone.
pub(super) struct Truth {
    site: Facts,
    pub(super) material: Vec<String>,
    cases: Vec<Case>,
}
impl Truth {
    /// `None`: the flows of a site do not come to rest.
    pub(super) fn of(drawn: &Drawn, loaded: &Loaded) -> Result<Option<Self>, Failure> {
        let scenario = &drawn.scenario;
        let bounds = Bounds::of(loaded)?;
        let facts = |defects: &[Defect], scatter| Facts::of(scenario, &bounds, defects, scatter);
        let (Some(design), Some(built), Some(site), Some(_)) = (
            facts(&[], false)?,
            facts(&[], true)?,
            facts(&scenario.defects, true)?,
            truth::simulation(scenario.clone())?,
        ) else {
            return Ok(None);
        };
        let mut cases = Vec::new();
        for &defect in &scenario.defects {
            let Some(alone) = facts(&[defect], true)? else { return Ok(None) };
            let alone = &alone;
            cases.push(Case {
                defect: defect.to_string(),
                cell: draw::cell(&defect),
                material: !alone.material(&design, &bounds, &[defect]).is_empty(),
                shift: Shift::of(&loaded.inputs, &scenario.sensors, &built, alone, defect),
            });
        }
        Ok(Some(Self { material: site.material(&design, &bounds, &scenario.defects), cases, site }))
    }
}

impl Ran {
    /// The first finding that failed, or else the first undecided one.
    pub fn of(outcome: &Outcome) -> Self {
        let baseline = outcome.pipes.iter().any(|p| p.baseline.is_some());
        let first = |v: Verdict| outcome.findings.iter().find(|f| f.stage.judges() && f.counts_as() == v);
        let (stage, says) = match (outcome.verdict, first(Verdict::Fail).or_else(|| first(Verdict::Undecided))) {
            (Verdict::Pass, _) => (None, String::new()),
            (_, Some(f)) => (Some(f.stage), format!("{}: {}", f.subject, f.void.as_ref().unwrap_or(&f.says))),
            (_, None) => (Some(StageKind::Close), outcome.because.clone()),
        };
        Self { verdict: outcome.verdict, baseline, stage, says, hours: outcome.out_of_service_s.map(|s| s / 3600.0) }
    }
    /// Not passed.
    pub fn stopped(&self) -> bool {
        self.verdict != Verdict::Pass
    }
    /// Not passed, and no baseline was taken.
    pub fn before_baseline(&self) -> bool {
        self.stopped() && !self.baseline
    }
}

/// Holds every figure with an interval against what is so.
fn compare(site: &Facts, drawn: &Drawn, loaded: &Loaded, outcome: &Outcome) -> Result<Vec<Compared>, Failure> {
    let mut all = Vec::new();
    let mut add = |what, value, expanded, truth| all.push(Compared { what, value, expanded, truth });
    let k = plumeline_measure::stats::normal_quantile(0.5 + loaded.inputs.plan.rule.coverage / 2.0);
    let means = site.mean_times(drawn.design.pipework.unit.sensor_lag_s)?;
    let prediction = &loaded.inputs.prediction;
    for (((pipe, flow), (_, mean)), (_, [arrived, half])) in site.flows.iter().zip(&means).zip(&site.arrivals) {
        if let Some(p) = prediction.inlets.iter().find(|p| p.number == *pipe) {
            let q = &p.flow_m3_s;
            add(What::FlowPredicted, q.value / M3_S_PER_L_MIN, k * q.u() / M3_S_PER_L_MIN, *flow);
        }
        let own = prediction.openings.iter().filter(|p| p.inlet == *pipe);
        if let Some(p) = own.max_by_key(|p| p.number) {
            add(What::TimePredicted, p.mean_s.value, k * p.mean_s.u(), *mean);
            if let Some(half) = half {
                add(What::HalfPredicted, p.half_plateau_s.value, k * p.half_plateau_s.u(), *half);
            }
        }
        let measured = outcome.pipes.iter().find(|p| p.inlet == *pipe).and_then(|p| p.measured.as_ref());
        if let Some(Figure { value, expanded: Some(expanded), .. }) = measured {
            add(What::FlowMeasured, *value, *expanded, *flow);
        }
        for run in outcome.smoke.iter().filter(|r| r.inlet == *pipe) {
            if let (Some(Figure { value, expanded: Some(expanded), .. }), Some(truth)) = (&run.onset, arrived) {
                add(What::OnsetMeasured, *value, *expanded, *truth);
            }
        }
    }
    Ok(all)
}

const fn law_word(law: Law) -> &'static str {
    match law {
        Law::Normal => "normal",
        Law::Uniform => "uniform",
        Law::HeavyTails => "heavy tails",
        Law::Skewed => "skewed",
    }
}

/// The defects of a job in words.
pub fn wrong(job: &Job) -> String {
    let all: Vec<&str> = job.defects.iter().map(|c| c.defect.as_str()).collect();
    if all.is_empty() { "nothing was made wrong".into() } else { all.join(" + ") }
}
