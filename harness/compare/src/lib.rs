//! What changed between two records of one site: hole by hole, pipe by pipe, times, settings, supply.
//!
//! A change is named where it is larger than the uncertainties of both records together. What all holes of a pipe have in common
//! is taken off each of them, so that air, fan and filter do not look like a blocked hole (docs/compare.md). Not here: whether
//! a record holds (the job crate), and how anything was measured (the procedure).
mod holes;
mod pipes;
mod record;
mod text;

pub use record::{Record, Unreadable};
pub use text::text;

use plumeline_base::Verdict;
use plumeline_detector::settings::Difference;
use plumeline_measure::stats::normal_quantile;
use plumeline_procedure::outcome::{Figure, StageKind, Subject};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Risk that anything at all is named in a comparison over which nothing changed, shared out over its tests.
const RISK: f64 = 0.01;
/// What two visits differ by although nothing changed, as a standard uncertainty of a ratio: tape, hands, draughts. Common
/// practice, no source.
const VISITS: f64 = 0.015;
/// What a flow sensor drifts by between two visits, as a standard uncertainty. Common practice, no source.
const DRIFT: f64 = 0.02;

/// What became of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// No change that shows.
    AsBefore,
    /// It changed by more than both uncertainties.
    Changed,
    /// It is shown, and explained by a change beside it.
    Follows,
}

/// A figure of both records.
#[derive(Clone, Debug, Serialize)]
pub struct Line {
    /// What it is of.
    #[serde(serialize_with = "shown")]
    pub about: Subject,
    /// Which figure.
    pub what: &'static str,
    /// As it was.
    pub old: Figure,
    /// As it is.
    pub new: Figure,
    /// Change with what it is corrected for taken off, %.
    pub own_percent: f64,
    /// Expanded uncertainty of that at 95 %, %.
    pub expanded_percent: f64,
    /// What became of it.
    pub standing: Standing,
}

/// A change that is named.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// What it is about.
    #[serde(serialize_with = "shown")]
    pub about: Subject,
    /// Stable name, for programs.
    pub code: &'static str,
    /// What changed, in a sentence.
    pub says: String,
    /// What it most likely means, and what to do.
    pub likely: &'static str,
}

fn shown<S: serde::Serializer>(subject: &Subject, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(subject)
}

/// Two records held against each other.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Comparison {
    /// What changed, the widest first.
    pub changes: Vec<Change>,
    /// What could not be compared, and why. It is not as before: it is unknown.
    pub open: Vec<String>,
    /// Every figure that both records have.
    pub lines: Vec<Line>,
}

/// Holds `new` against `old`.
pub fn compare(old: &Record, new: &Record) -> Comparison {
    let mut found = Comparison::default();
    units(old, new, &mut found);
    let pairs = holes::pairs(old, new, &mut found.open);
    let flows = pipes::flows(old, new, &mut found.open);
    let times = pipes::times(old, new, &mut found.open);
    let tests = pairs.len() + 3 * flows.len() + times.len() + 1;
    let z = normal_quantile(1.0 - RISK / (2.0 * tests as f64));
    let own = holes::own_changes(&pairs, z);
    let apart = pairs.iter().filter(|p| own.iter().all(|o| (o.pair.inlet, o.pair.number) != (p.inlet, p.number)));
    found
        .open
        .extend(apart.map(|p| format!("pipe {} hole {}: no other hole is left to tell it from", p.inlet, p.number)));
    pipes::judge(&flows, &own, z, &mut found);
    holes::judge(&own, &mut found);
    pipes::judge_times(&times, &flows, z, &mut found);
    supply(old, new, z, &mut found);
    outputs(old, new, &mut found);
    settings(old, new, &mut found);
    found
}

/// How sure a relative change is, in per cent at 95 %.
fn expanded_percent(ln: f64, u: f64) -> f64 {
    normal_quantile(0.975) * u * ln.exp() * 100.0
}
/// The per cents of a logarithm of a ratio.
fn percent(ln: f64) -> f64 {
    ln.exp_m1() * 100.0
}
/// As in `45 ± 8 % less`.
fn more_or_less(ln: f64, u: f64) -> String {
    let which = if ln < 0.0 { "less" } else { "more" };
    format!("{:.0} ± {:.0} % {which}", percent(ln).abs(), expanded_percent(ln, u))
}

/// The unit that hung there when the old record was closed, and the one that the new record found there.
fn units(old: &Record, new: &Record, found: &mut Comparison) {
    let before = old.outcome.replacement.as_ref();
    let now = new.outcome.outgoing.as_ref().or(new.outcome.replacement.as_ref());
    let (Some(before), Some(now)) = (before, now) else {
        return found.open.push("unit: a record does not say which unit it left or found".into());
    };
    if before.serial != now.serial {
        found.changes.push(Change {
            about: Subject::Replacement,
            code: "unit.another",
            says: format!("serial {} was left on the wall, serial {} was found there", before.serial, now.serial),
            likely: "the unit was exchanged in between: ask for the record of that work",
        });
    } else if before.firmware != now.firmware {
        found.changes.push(Change {
            about: Subject::Replacement,
            code: "unit.firmware",
            says: format!("firmware {} was left, {} was found", before.firmware, now.firmware),
            likely: "it was changed in between: ask for the record of that work, and prove the settings",
        });
    }
}

/// Currents and voltages.
fn supply(old: &Record, new: &Record, z: f64, found: &mut Comparison) {
    let (a, b) = (&old.outcome.supply, &new.outcome.supply);
    let all = [
        ("current at standby", &a.standby, &b.standby),
        ("current with outputs operated", &a.alarm, &b.alarm),
        ("voltage on the mains", &a.mains, &b.mains),
        ("voltage on the battery", &a.battery, &b.battery),
    ];
    for (what, was, is) in all {
        let (Some(was), Some(is)) = (was, is) else {
            let which = if was.is_some() || is.is_some() { "in one record only" } else { "in neither record" };
            found.open.push(format!("{what}: {which}"));
            continue;
        };
        let Some((ln, u)) = ratio((was, old.k()), (is, new.k())) else {
            found.open.push(format!("{what}: a record does not say how sure it is"));
            continue;
        };
        let u = u.hypot(VISITS);
        let changed = ln.abs() > z * u;
        let standing = if changed { Standing::Changed } else { Standing::AsBefore };
        found.lines.push(line(Subject::Replacement, what, (was, is), (ln, u), standing));
        if changed {
            found.changes.push(Change {
                about: Subject::Replacement,
                code: "supply.changed",
                says: format!("{what}: {was}, now {is}"),
                likely: "another load or setting, an ageing battery or a poor terminal: look at the supply",
            });
        }
    }
}

/// What became of each output when it was operated.
fn outputs(old: &Record, new: &Record, found: &mut Comparison) {
    let shown = |r: &Record| -> BTreeMap<u8, Verdict> {
        let mut all = BTreeMap::new();
        for finding in r.outcome.findings.iter().filter(|f| f.stage == StageKind::Outputs && f.stands()) {
            if let Subject::Output(n) = finding.subject {
                let so_far = all.get(&n).copied().unwrap_or(Verdict::Pass);
                all.insert(n, finding.counts_as().and(so_far));
            }
        }
        all
    };
    let (before, now) = (shown(old), shown(new));
    if before.is_empty() && now.is_empty() {
        found.open.push("outputs: operated at neither visit".into());
    }
    let numbers: BTreeSet<u8> = before.keys().chain(now.keys()).copied().collect();
    for n in numbers {
        match (before.get(&n), now.get(&n)) {
            (Some(was), Some(is)) if was == is => {}
            (Some(was), Some(is)) => found.changes.push(Change {
                about: Subject::Output(n),
                code: "outputs.changed",
                says: format!("operated at both visits: {was}, now {is}"),
                likely: "a wire, a setting or the panel was changed in between: operate it once more, and look what the panel shows",
            }),
            _ => found.open.push(format!("output {n}: operated at one visit only")),
        }
    }
}

/// What the unit held when it was left, and what it held when it was found again (or is left with now).
fn settings(old: &Record, new: &Record, found: &mut Comparison) {
    let again = match (&old.outcome.replacement, &new.outcome.outgoing) {
        (Some(left), Some(met)) if left.serial == met.serial => new.found.as_ref(),
        _ => None,
    };
    let (Some(left), Some(now)) = (&old.left, again.or(new.left.as_ref())) else {
        return found.open.push("settings: a record does not hold what its unit was left with".into());
    };
    for difference in left.differences(now) {
        let (key, says) = match difference {
            Difference::Missing(item) => (item.key.clone(), format!("{item} is no longer there")),
            Difference::Extra(item) => (item.key.clone(), format!("{item} is new")),
            Difference::Changed { from, to } => (from.key.clone(), format!("{from}, now {to}")),
        };
        found.changes.push(Change {
            about: Subject::Setting(key),
            code: "settings.changed",
            says,
            likely: "somebody changed it, or the unit lost it: find out who and why before anything is loaded",
        });
    }
}

/// The logarithm of new over old with its standard uncertainty, of figures whose uncertainties are these multiples of standard
/// ones; `None` where one has no uncertainty or is no positive figure of the same unit.
fn ratio((old, k_old): (&Figure, f64), (new, k_new): (&Figure, f64)) -> Option<(f64, f64)> {
    let relative = |f: &Figure, k: f64| f.expanded.filter(|_| f.value > 0.0).map(|expanded| expanded / k / f.value);
    let u = relative(old, k_old)?.hypot(relative(new, k_new)?);
    let ln = (new.value / old.value).ln();
    (old.unit == new.unit && ln.is_finite() && u.is_finite()).then_some((ln, u))
}

fn line(
    about: Subject,
    what: &'static str,
    (old, new): (&Figure, &Figure),
    (ln, u): (f64, f64),
    standing: Standing,
) -> Line {
    let (old, new) = (old.clone(), new.clone());
    Line { about, what, old, new, own_percent: percent(ln), expanded_percent: expanded_percent(ln, u), standing }
}

/// The middle of these, and 0 of none.
fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut all: Vec<f64> = values.collect();
    all.sort_by(f64::total_cmp);
    let middle = all.len() / 2;
    match all.len() {
        0 => 0.0,
        n if n % 2 == 1 => all[middle],
        _ => f64::midpoint(all[middle - 1], all[middle]),
    }
}

#[cfg(test)]
mod tests;
