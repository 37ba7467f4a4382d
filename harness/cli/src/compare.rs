//! Two jobs at the same pipework, such as of last year and of today: what changed by more than both could have got wrong, hole by
//! hole and pipe by pipe, and what that most likely means.
//!
//! What another season's air does to a flow is taken out by the predictions, each of its own air; what fan and filter do to all holes of
//! a pipe alike is taken out of what is said of one hole, by the others. Not here: reading the records, and judging by limits.
use plumeline_base::Verdict;
use plumeline_measure::stats::normal_quantile;
use plumeline_procedure::{
    Finding, Outcome, StageKind, Subject,
    outcome::{Figure, PipeFlow, SmokeRun},
};
use serde::Serialize;
use std::collections::BTreeMap;

/// Chance that anything is named in a pair in which nothing changed.
const FALSE_ALARM: f64 = 0.01;
/// Coverage factor of the figures in a result.
const COVERAGE: f64 = 1.96;
/// A hole's flow that changed by less is not named: the holes beside one that is blocked draw a little more.
const HOLE_MATTERS: f64 = 0.1;
/// The same of a whole pipe.
const PIPE_MATTERS: f64 = 0.05;
/// The same of the time that smoke takes.
const TIME_MATTERS: f64 = 0.15;
/// What the air of both days is known to, and what a flow sensor may drift between them, as shares of a flow.
const AIR_AND_DRIFT: f64 = 0.01;

/// Something that changed.
#[derive(Clone, Debug, Serialize)]
pub struct Change {
    /// What it is about, in the words of the reports (`pipe 1 hole 3`).
    pub about: String,
    /// What changed: `less`, `more`, `later`, `sooner`, `no longer shown`, `other`.
    pub how: &'static str,
    /// By what share of what it was, and to what that is known, where it is a figure.
    pub share: Option<(f64, f64)>,
    /// In a sentence.
    pub says: String,
    /// What it most likely means.
    pub likely: &'static str,
}

/// What two jobs come to beside each other.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Compared {
    /// What changed.
    pub changes: Vec<Change>,
    /// What was compared, with the change of each in words.
    pub table: Vec<(String, String)>,
    /// What could not be compared, and why.
    pub not_compared: Vec<String>,
}

/// A change as a factor, with its standard uncertainty.
#[derive(Clone, Copy, Debug)]
struct Factor {
    by: f64,
    u: f64,
}
impl Factor {
    fn of(old: &Figure, new: &Figure) -> Option<Self> {
        let (u_old, u_new) = (old.expanded? / COVERAGE, new.expanded? / COVERAGE);
        let by = new.value / old.value;
        let u = (u_new / old.value).hypot(by * u_old / old.value);
        (old.value > 0.0 && by.is_finite() && u.is_finite()).then_some(Self { by, u })
    }
    /// Against another.
    fn over(self, other: Self) -> Self {
        let by = self.by / other.by;
        Self { by, u: (self.u / other.by).hypot(by * other.u / other.by) }
    }
    fn share(self) -> f64 {
        self.by - 1.0
    }
    fn is_beyond(self, z: f64, matters: f64) -> bool {
        self.share().abs() > (z * self.u).max(matters)
    }
    fn words(self, z: f64) -> String {
        format!("{:+.0} % (seen from {:.0} % on)", self.share() * 100.0, (z * self.u).max(0.0) * 100.0)
    }
    fn change(self, z: f64) -> Option<(f64, f64)> {
        Some((self.share(), z * self.u))
    }
}

/// The middle one; its uncertainty is that of a median of so many alike.
fn median(all: &[Factor]) -> Option<Factor> {
    let mut by: Vec<f64> = all.iter().map(|f| f.by).collect();
    by.sort_by(f64::total_cmp);
    let (low, high) = (by.get((by.len().checked_sub(1)?) / 2)?, by.get(by.len() / 2)?);
    let u = 1.25 * all.iter().map(|f| f.u * f.u).sum::<f64>().sqrt() / all.len() as f64;
    Some(Factor { by: f64::midpoint(*low, *high), u })
}

/// What closing each hole showed, as it stands.
fn holes(o: &Outcome) -> BTreeMap<(u8, u32), &Figure> {
    let of = |f: &Finding| match f.subject {
        Subject::Hole(inlet, number) if f.stage == StageKind::ProveFlow && f.stands() && f.void.is_none() => {
            Some((inlet, number))
        }
        _ => None,
    };
    o.findings.iter().filter_map(|f| Some((of(f)?, f.measured.as_ref().filter(|m| m.unit == "L/min")?))).collect()
}

/// Compares two outcomes. `calibration`: what the flow readings of one and the same unit are off alike in both, as a share; zero where
/// they are of two units.
pub fn outcomes(old: &Outcome, new: &Outcome, calibration: f64) -> Compared {
    let mut c = Compared::default();
    let (then, now) = (holes(old), holes(new));
    let pairs: BTreeMap<(u8, u32), Factor> =
        then.iter().filter_map(|(hole, old)| Some((*hole, Factor::of(old, now.get(hole)?)?))).collect();
    for hole in then.keys().chain(now.keys().filter(|h| !then.contains_key(h))).filter(|h| !pairs.contains_key(h)) {
        c.not_compared.push(format!("pipe {} hole {}: not measured in both", hole.0, hole.1));
    }
    let pipes: Vec<(u8, Factor, f64)> = old.pipes.iter().filter_map(|p| pipe(p, &new.pipes, calibration)).collect();
    let smoke = times(old, new, &pipes);
    let compared = pairs.len() + pipes.len() + smoke.len();
    let z = normal_quantile(1.0 - FALSE_ALARM / 2.0 / compared.max(1) as f64);
    let mut explained: BTreeMap<u8, f64> = BTreeMap::new();
    for (hole, factor) in &pairs {
        c.hole(*hole, *factor, &pairs, z, then[hole].value, &mut explained);
    }
    c.pipes(&pipes, &explained, z);
    for (hole, factor) in smoke {
        let about = format!("smoke at pipe {} hole {}", hole.0, hole.1);
        c.table.push((about.clone(), factor.words(z)));
        if factor.is_beyond(z, TIME_MATTERS) {
            let later = factor.by > 1.0;
            c.changes.push(Change {
                says: format!(
                    "{about}: its time changed by {:+.0} %, more than the flow explains",
                    factor.share() * 100.0
                ),
                about,
                how: if later { "later" } else { "sooner" },
                share: factor.change(z),
                likely: if later {
                    "the hole or the pipe before it is narrower than it was"
                } else {
                    "air enters between this hole and the unit, or a hole is larger than it was"
                },
            });
        }
    }
    c.no_longer_shown(old, new);
    c
}

/// A pipe's flow, without what the air does to it and what is off alike in both jobs; and the flow then.
fn pipe(old: &PipeFlow, new: &[PipeFlow], calibration: f64) -> Option<(u8, Factor, f64)> {
    let new = new.iter().find(|p| p.inlet == old.inlet)?;
    let without = |figure: &Figure| {
        let alike = calibration * COVERAGE * figure.value;
        let own = (figure.expanded.unwrap_or(f64::NAN).powi(2) - alike * alike).max(0.0).sqrt();
        Figure::with(figure.value, own, &figure.unit)
    };
    let (then, now) = (old.measured.as_ref()?, new.measured.as_ref()?);
    let mut factor = Factor::of(&without(then), &without(now))?;
    let by_air = new.predicted.value / old.predicted.value;
    factor = Factor { by: factor.by / by_air, u: (factor.u / by_air).hypot(AIR_AND_DRIFT) };
    factor.by.is_finite().then_some((old.inlet, factor, then.value))
}

/// The time that smoke took at each hole, mean of its runs, without what the pipe's flow explains.
fn times(old: &Outcome, new: &Outcome, pipes: &[(u8, Factor, f64)]) -> Vec<((u8, u32), Factor)> {
    let mean = |o: &Outcome| -> BTreeMap<(u8, u32), Figure> {
        let mut all: BTreeMap<(u8, u32), Vec<&Figure>> = BTreeMap::new();
        for run in o.smoke.iter().filter(|run: &&SmokeRun| run.set_aside.is_none()) {
            all.entry((run.inlet, run.hole)).or_default().extend(&run.onset);
        }
        all.retain(|_, figures| !figures.is_empty());
        let mean = |figures: Vec<&Figure>| {
            let value = figures.iter().map(|f| f.value).sum::<f64>() / figures.len() as f64;
            // What marks and lags are off is alike in all runs of a day: the mean is known no better than one of them.
            Figure::with(value, figures.iter().filter_map(|f| f.expanded).fold(0.0, f64::max), "s")
        };
        all.into_iter().map(|(hole, figures)| (hole, mean(figures))).collect()
    };
    let now = mean(new);
    let of_hole = |(hole, then): ((u8, u32), Figure)| {
        let (_, flow, _) = pipes.iter().find(|(inlet, ..)| *inlet == hole.0)?;
        let by = Factor::of(&then, now.get(&hole)?)?;
        Some((hole, Factor { by: by.by * flow.by, u: (by.u * flow.by).hypot(by.by * flow.u) }))
    };
    mean(old).into_iter().filter_map(of_hole).collect()
}

impl Compared {
    /// A hole against the others of its pipe.
    fn hole(
        &mut self,
        hole: (u8, u32),
        factor: Factor,
        all: &BTreeMap<(u8, u32), Factor>,
        z: f64,
        then: f64,
        explained: &mut BTreeMap<u8, f64>,
    ) {
        let (inlet, number) = hole;
        let others: Vec<Factor> = all.iter().filter(|(h, _)| h.0 == inlet && **h != hole).map(|(_, f)| *f).collect();
        let about = format!("pipe {inlet} hole {number}");
        let Some(common) = median(&others) else {
            return self.not_compared.push(format!("{about}: no other hole of its pipe was measured in both jobs"));
        };
        let own = factor.over(common);
        self.table.push((about.clone(), own.words(z)));
        // Of two holes the one that draws less is named: that the other draws more follows from it, or says the same.
        if !own.is_beyond(z, HOLE_MATTERS) || (others.len() == 1 && own.by > 1.0) {
            return;
        }
        *explained.entry(inlet).or_default() += own.share() * common.by * then;
        let less = own.by < 1.0;
        self.changes.push(Change {
            says: format!(
                "{about} draws {:.0} % {} than it did, beside the other holes of its pipe",
                own.share().abs() * 100.0,
                if less { "less" } else { "more" }
            ),
            about,
            how: if less { "less" } else { "more" },
            share: own.change(z),
            likely: if less {
                "dirt or paint in the hole, or it is taped: clear it outward, never into the unit"
            } else {
                "the hole was drilled larger, or its cap or clip is missing"
            },
        });
    }

    /// The pipes: first whether all changed alike, then each beside the others.
    fn pipes(&mut self, pipes: &[(u8, Factor, f64)], explained: &BTreeMap<u8, f64>, z: f64) {
        let left = |(inlet, factor, then): &(u8, Factor, f64)| {
            let by_holes = explained.get(inlet).map_or(0.0, |l_min| l_min / then);
            Factor { by: factor.by - by_holes, u: factor.u }
        };
        let factors: Vec<Factor> = pipes.iter().map(left).collect();
        for ((inlet, factor, _), _) in pipes.iter().zip(&factors) {
            self.table.push((format!("pipe {inlet}, flow without the air's part"), factor.words(z)));
        }
        let Some(common) = median(&factors) else { return };
        let alike = factors.iter().all(|f| {
            f.is_beyond(z, PIPE_MATTERS)
                && (f.by > 1.0) == (common.by > 1.0)
                && !f.over(common).is_beyond(z, PIPE_MATTERS)
        });
        if alike {
            let less = common.by < 1.0;
            return self.changes.push(Change {
                about: if pipes.len() == 1 { format!("pipe {}", pipes[0].0) } else { "the unit".to_owned() },
                how: if less { "less" } else { "more" },
                share: common.change(z),
                says: format!("all pipes draw {:.0} % {} than they did, the air's part taken out", common.share().abs() * 100.0, if less { "less" } else { "more" }),
                likely: match (less, pipes.len()) {
                    (true, 1) => "the filter is dirty, the fan slower, the exhaust obstructed, or the pipe narrower before its first hole",
                    (true, _) => "the filter is dirty, the fan slower, or the exhaust obstructed",
                    (false, 1) => "the filter was changed or is missing, the fan is faster, or air enters the pipe: a cap off, a joint open",
                    (false, _) => "the filter was changed or is missing, or the fan is faster",
                },
            });
        }
        for ((inlet, ..), factor) in pipes.iter().zip(&factors).filter(|(_, f)| f.is_beyond(z, PIPE_MATTERS)) {
            let less = factor.by < 1.0;
            self.changes.push(Change {
                about: format!("pipe {inlet}"),
                how: if less { "less" } else { "more" },
                share: factor.change(z),
                says: format!(
                    "pipe {inlet} draws {:.0} % {} than it did, the air's and its named holes' part taken out",
                    factor.share().abs() * 100.0,
                    if less { "less" } else { "more" }
                ),
                likely: if less {
                    "the pipe is crushed or blocked, or not fully seated at the unit"
                } else {
                    "air enters: a cap off, a joint open, a pipe broken"
                },
            });
        }
    }

    /// What was shown then and is not now.
    fn no_longer_shown(&mut self, old: &Outcome, new: &Outcome) {
        let worst = |o: &Outcome| {
            let mut all: BTreeMap<(StageKind, Subject), (Verdict, String)> = BTreeMap::new();
            for f in o.findings.iter().filter(|f| f.stage.judges() && f.stands()) {
                let entry = all.entry((f.stage, f.subject.clone())).or_insert((Verdict::Pass, String::new()));
                if f.counts_as().and(entry.0) != entry.0 {
                    *entry = (f.counts_as().and(entry.0), f.says.clone());
                }
            }
            all
        };
        let (then, now) = (worst(old), worst(new));
        for (key, (verdict, says)) in &now {
            let passed = then.get(key).is_some_and(|(v, _)| v.is_pass());
            let (stage, subject) = key;
            // What flows say is compared above, whatever limits they keep to.
            let told = matches!(subject, Subject::Hole(..) | Subject::Pipe(_)) && *stage == StageKind::ProveFlow;
            if passed && !verdict.is_pass() && !told {
                self.changes.push(Change {
                    about: subject.to_string(),
                    how: "no longer shown",
                    share: None,
                    says: format!("{subject} at {stage} passed then and is {verdict} now: {says}"),
                    likely: "see the finding in the newer report",
                });
            }
        }
    }
}
