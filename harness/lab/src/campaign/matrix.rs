//! Counts of a campaign: caught at which stage, missed, false stops, undecided, by defect and severity, with intervals.
//!
//! A case is a defect of a job that alone makes its site material. Not here: words (see `text.rs`).
use super::{
    interval::Share,
    one::{Case, Compared, Job, Ran, Smoke, What},
    record::{Head, Record},
    shift::{Shift, TELLABLE},
};
use plumeline_base::Verdict;
use plumeline_measure::stats::median;
use plumeline_procedure::StageKind;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Everything that is counted over a campaign.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Matrix {
    /// Which campaign.
    pub head: Head,
    /// What was made of sites, with the check of single holes and without.
    pub sites: Vec<Sites>,
    /// Material cases by defect and severity.
    pub defects: Vec<Row>,
    /// All material cases together.
    pub all: Row,
    /// Those of the air alone: neither settings nor wires.
    pub of_air: Row,
    /// Figures held against the truth.
    pub figures: Vec<Figures>,
    /// Error of the onset.
    pub onset: Onset,
    /// Releases that were not timed though smoke came.
    #[serde(default)]
    pub smoke: Smoke,
    /// Jobs whose verdict was wrong or, on a sound site, left open.
    pub wrong: Vec<Wrong>,
}

/// What the procedure made of one kind of sites.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sites {
    /// Which sites.
    pub name: String,
    /// With every hole closed in turn.
    pub holes: Counts,
    /// Without.
    pub flow_only: Counts,
}

/// What came of jobs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Counts {
    /// Passed.
    pub passed: Share,
    /// Failed.
    pub failed: Share,
    /// Left undecided.
    pub undecided: Share,
    /// Not passed, by the stage of the finding that stopped it.
    pub stages: BTreeMap<StageKind, u32>,
}
impl Counts {
    fn of<'a>(jobs: &[&'a Job], ran: impl Fn(&'a Job) -> &'a Ran) -> Self {
        let share = |v: Verdict| Share::of(jobs.iter().map(|j| ran(j).verdict == v));
        Self {
            passed: share(Verdict::Pass),
            failed: share(Verdict::Fail),
            undecided: share(Verdict::Undecided),
            stages: stages(jobs.iter().map(|j| ran(j))),
        }
    }
}
fn stages<'a>(all: impl Iterator<Item = &'a Ran>) -> BTreeMap<StageKind, u32> {
    all.filter_map(|r| r.stage).fold(BTreeMap::new(), |mut m, s| {
        *m.entry(s).or_default() += 1;
        m
    })
}

/// How cases of one defect and severity fared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Defect and severity.
    pub name: String,
    /// Jobs with this defect on which it alone is not material: these are no cases.
    pub mild: u32,
    /// With every hole closed in turn.
    pub holes: Caught,
    /// Without.
    pub flow_only: Caught,
    /// With every hole closed in turn, where nothing else was made wrong.
    pub alone: Share,
    /// With every hole closed in turn, of those that any method could tell (or air does not show).
    pub tellable: Share,
    /// Without, of those that the flow of a pipe tells by over three combined standard uncertainties.
    pub tellable_by_flow: Share,
    /// Medians of the shifts in combined standard uncertainties; nothing where air does not show it.
    pub shift: Option<Shift>,
}

/// Cases that were stopped.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Caught {
    /// Before a clean verdict.
    pub stopped: Share,
    /// Before a baseline was taken.
    pub before_baseline: Share,
    /// With a verdict of fail.
    pub failed: Share,
    /// By the stage of the finding that stopped the job.
    pub stages: BTreeMap<StageKind, u32>,
}

type Cases<'a> = Vec<(&'a Job, &'a Case)>;

/// A share of cases, clustered by job.
fn share(cases: &Cases<'_>, which: impl Fn(&Job, &Case) -> bool, yes: impl Fn(&Job) -> bool) -> Share {
    let mut jobs: BTreeMap<u64, (u32, u32)> = BTreeMap::new();
    for (job, _) in cases.iter().filter(|(j, c)| which(j, c)) {
        let (k, n) = jobs.entry(job.seed).or_default();
        *k += u32::from(yes(job));
        *n += 1;
    }
    Share::clustered(jobs.into_values())
}

impl Row {
    fn of(name: &str, all: &Cases<'_>) -> Self {
        let cases: Cases<'_> = all.iter().copied().filter(|(_, c)| c.material).collect();
        let caught = |ran: fn(&Job) -> &Ran| Caught {
            stopped: share(&cases, |_, _| true, |j| ran(j).stopped()),
            before_baseline: share(&cases, |_, _| true, |j| ran(j).before_baseline()),
            failed: share(&cases, |_, _| true, |j| ran(j).verdict == Verdict::Fail),
            stages: stages(cases.iter().map(|(j, _)| ran(j))),
        };
        let shifts: Vec<Shift> = cases.iter().filter_map(|(_, c)| c.shift).collect();
        Self {
            name: name.into(),
            mild: (all.len() - cases.len()) as u32,
            holes: caught(|j| &j.holes),
            flow_only: caught(|j| &j.flow_only),
            alone: share(&cases, |j, _| j.defects.len() == 1, |j| j.holes.stopped()),
            tellable: share(&cases, |_, c| c.shift.is_none_or(|s| s.any() > TELLABLE), |j| j.holes.stopped()),
            tellable_by_flow: share(
                &cases,
                |_, c| c.shift.is_none_or(|s| s.flow > TELLABLE),
                |j| j.flow_only.stopped(),
            ),
            shift: (!shifts.is_empty()).then(|| Shift {
                flow: middle(shifts.iter().map(|s| s.flow)),
                hole: middle(shifts.iter().map(|s| s.hole)),
                time: middle(shifts.iter().map(|s| s.time)),
            }),
        }
    }
}

/// Figures of one kind against the truth, on sites where nothing was made wrong.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// What they are of.
    pub name: String,
    /// 95 % intervals that held the truth.
    pub covered: Share,
    /// Median of figure less truth, as a share of the truth.
    pub bias: f64,
    /// Median expanded uncertainty, as a share of the truth.
    pub expanded: f64,
}
impl Figures {
    fn of(jobs: &[Job], what: What) -> Self {
        let of_job = |j: &Job| j.compared.iter().filter(|c| c.what == what).copied().collect::<Vec<_>>();
        let all: Vec<Compared> = jobs.iter().flat_map(of_job).collect();
        let held = |c: &&Compared| (c.value - c.truth).abs() <= c.expanded;
        Self {
            name: what.words().into(),
            covered: Share::clustered(
                jobs.iter().map(of_job).map(|j| (j.iter().filter(held).count() as u32, j.len() as u32)),
            ),
            bias: middle(all.iter().map(|c| c.value / c.truth - 1.0)),
            expanded: middle(all.iter().map(|c| c.expanded / c.truth)),
        }
    }
}
/// The median; 0 of nothing.
fn middle(all: impl Iterator<Item = f64>) -> f64 {
    let all: Vec<f64> = all.collect();
    if all.is_empty() { 0.0 } else { median(&all) }
}

/// Error of the onset against the true first arrival, sites where nothing was made wrong.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Onset {
    /// Median of the error, s.
    pub bias_s: f64,
    /// Median of its size, s.
    pub median_s: f64,
    /// Median of its size as a share of the true time.
    pub median_share: f64,
    /// Releases whose error is at most 1 s or 2 % of the time, whichever is larger.
    pub within: Share,
}
impl Onset {
    fn of(jobs: &[Job]) -> Self {
        let of_job = |j: &Job| {
            let onsets = j.compared.iter().filter(|c| c.what == What::OnsetMeasured);
            onsets.map(|c| (c.value - c.truth, c.truth)).collect::<Vec<_>>()
        };
        let all: Vec<(f64, f64)> = jobs.iter().flat_map(of_job).collect();
        let near = |(e, t): &&(f64, f64)| e.abs() <= (0.02 * t).max(1.0);
        Self {
            bias_s: middle(all.iter().map(|o| o.0)),
            median_s: middle(all.iter().map(|o| o.0.abs())),
            median_share: middle(all.iter().map(|o| o.0.abs() / o.1)),
            within: Share::clustered(
                jobs.iter().map(of_job).map(|j| (j.iter().filter(near).count() as u32, j.len() as u32)),
            ),
        }
    }
}

/// A job whose verdict was wrong or, on a sound site, left open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wrong {
    /// What is wrong with it.
    pub kind: WrongKind,
    /// Its seed.
    pub seed: u64,
    /// What was made wrong at the site.
    pub defects: String,
    /// Why it is material.
    pub material: Vec<String>,
    /// What stopped it.
    pub says: String,
    /// Greatest shift of its defects.
    pub shift: Option<f64>,
}
/// In which way a verdict was wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WrongKind {
    /// A material site passed.
    Missed,
    /// A sound site failed.
    FalseStop,
    /// A sound site was left undecided.
    SoundUndecided,
}
impl Wrong {
    fn of(job: &Job) -> Option<Self> {
        let kind = match (job.is_sound(), job.holes.verdict) {
            (false, Verdict::Pass) => WrongKind::Missed,
            (true, Verdict::Fail) => WrongKind::FalseStop,
            (true, Verdict::Undecided) => WrongKind::SoundUndecided,
            _ => return None,
        };
        Some(Self {
            kind,
            seed: job.seed,
            defects: super::one::wrong(job),
            material: job.material.clone(),
            says: job.holes.says.clone(),
            shift: job.defects.iter().filter_map(|c| c.shift).map(|s| s.any()).reduce(f64::max),
        })
    }
}

impl Matrix {
    /// Counts a campaign.
    pub fn of(record: &Record) -> Self {
        let jobs = &record.jobs;
        let sites = |name: &str, which: fn(&Job) -> bool| {
            let these: Vec<&Job> = jobs.iter().filter(|j| which(j)).collect();
            Sites {
                name: name.into(),
                holes: Counts::of(&these, |j| &j.holes),
                flow_only: Counts::of(&these, |j| &j.flow_only),
            }
        };
        let all: Cases<'_> = jobs.iter().flat_map(|j| j.defects.iter().map(move |c| (j, c))).collect();
        let mut by_cell: BTreeMap<&str, Cases<'_>> = BTreeMap::new();
        for case in &all {
            by_cell.entry(&case.1.cell).or_default().push(*case);
        }
        let of_air: Cases<'_> = all.iter().copied().filter(|(_, c)| c.shift.is_some()).collect();
        let mut wrong: Vec<Wrong> = jobs.iter().filter_map(Wrong::of).collect();
        wrong.sort_by_key(|w| (w.kind, w.seed));
        Self {
            head: record.head.clone(),
            sites: vec![
                sites("sound, nothing made wrong", |j| j.is_sound() && j.defects.is_empty()),
                sites("sound, something mild made wrong", |j| j.is_sound() && !j.defects.is_empty()),
                sites("sound", Job::is_sound),
                sites("material by scatter alone", |j| !j.is_sound() && j.defects.is_empty()),
                sites("material", |j| !j.is_sound()),
            ],
            defects: by_cell.iter().map(|(name, cases)| Row::of(name, cases)).collect(),
            all: Row::of("all", &all),
            of_air: Row::of("all of the air", &of_air),
            figures: What::ALL.map(|w| Figures::of(jobs, w)).into(),
            onset: Onset::of(jobs),
            smoke: jobs.iter().fold(Smoke::default(), |all, j| all.and(j.smoke)),
            wrong,
        }
    }
    /// The row of this name.
    pub fn sites(&self, name: &str) -> Option<&Sites> {
        self.sites.iter().find(|s| s.name == name)
    }
}
