//! Whole pipes: their flows against what their holes say and against each other, and the times of smoke.
use crate::{Change, Comparison, DRIFT, Record, Standing, VISITS, holes::Own, line, median, more_or_less, ratio};
use plumeline_procedure::outcome::{Figure, SmokeRun, Subject};

/// What the time of smoke may change by beside the flow, as a standard uncertainty: how the smoke is held to the hole. Common
/// practice, no source.
const RELEASE: f64 = 0.03;

/// The flow of a pipe at both visits.
pub(crate) struct Flow {
    inlet: u8,
    old: Figure,
    new: Figure,
    ln: f64,
    /// Standard uncertainty of the change with what its inlet's sensor adds.
    u: f64,
}

/// Flows of the pipes that both records have. One unit is compared with itself: its calibration drops out but for its drift.
pub(crate) fn flows(old: &Record, new: &Record, open: &mut Vec<String>) -> Vec<Flow> {
    let serial = |r: &Record| r.outcome.replacement.as_ref().map(|u| u.serial.clone());
    let same_unit = serial(old).is_some_and(|s| serial(new) == Some(s));
    let mut flows = Vec::new();
    for was in &old.outcome.pipes {
        let inlet = was.inlet;
        let is = new.outcome.pipes.iter().find(|p| p.inlet == inlet).and_then(|p| p.measured.clone());
        let (Some(before), Some(now)) = (was.measured.clone(), is) else {
            open.push(format!("pipe {inlet}: its flow was measured at one visit at most"));
            continue;
        };
        match ratio((&before, old.k()), (&now, new.k())) {
            Some((ln, u)) => {
                let u = if same_unit { DRIFT } else { u.hypot(DRIFT) };
                flows.push(Flow { inlet, old: before, new: now, ln, u });
            }
            None => open.push(format!("pipe {inlet}: {before}, now {now}: no ratio with an uncertainty")),
        }
    }
    let gone = new.outcome.pipes.iter().filter(|p| old.outcome.pipes.iter().all(|o| o.inlet != p.inlet));
    open.extend(gone.map(|p| format!("pipe {}: in the newer record only", p.inlet)));
    flows
}

/// What a pipe changed by as a whole: what its unchanged holes have in common, or its flow where too few were closed.
struct Whole<'a> {
    flow: &'a Flow,
    ln: f64,
    /// It has a change of its own: no measure for the others.
    apart: bool,
}

/// Air that comes through no hole, one pipe against the others, and what all have in common.
pub(crate) fn judge(flows: &[Flow], own: &[Own], z: f64, found: &mut Comparison) {
    let mut wholes: Vec<Whole<'_>> = Vec::new();
    for flow in flows {
        let holes: Vec<&Own> = own.iter().filter(|o| o.pair.inlet == flow.inlet).collect();
        let unchanged = || holes.iter().filter(|o| !o.changed).map(|o| o.pair.ln);
        let ln = if unchanged().count() >= 2 { median(unchanged()) } else { flow.ln };
        let leak = beside_the_holes(flow, &holes).filter(|(ln, u)| ln.abs() > z * u);
        found.changes.extend(leak.map(|(more, u)| told_leak(Subject::Pipe(flow.inlet), more, u)));
        wholes.push(Whole { flow, ln, apart: leak.is_some() });
    }
    // By its drops and by its flow, and how sure that is.
    let against = |at: usize, wholes: &[Whole<'_>]| -> Option<(f64, f64, f64)> {
        let others = wholes.iter().enumerate().filter(|(i, w)| *i != at && !w.apart).map(|(_, w)| w);
        let u = wholes[at].flow.u.hypot(others.clone().map(|w| w.flow.u).reduce(f64::max)?).hypot(VISITS);
        let drops = wholes[at].ln - median(others.clone().map(|w| w.ln));
        Some((drops, wholes[at].flow.ln - median(others.map(|w| w.flow.ln)), u))
    };
    loop {
        let beyond = |(at, _): (usize, &Whole<'_>)| {
            let (drops, flow, u) = against(at, &wholes)?;
            // Where a pipe turns turbulent between the visits its drops change more than its flow; what is wrong changes both.
            let ln = if drops * flow > 0.0 { drops.abs().min(flow.abs()).copysign(drops) } else { 0.0 };
            // Of two that differ, the one that changed is the one that changed.
            (ln.abs() > z * u).then_some((at, ln, u, wholes[at].ln.abs()))
        };
        let worst = wholes.iter().enumerate().filter(|(_, w)| !w.apart).filter_map(beyond);
        let Some((at, ln, u, _)) = worst.max_by(|a, b| a.3.total_cmp(&b.3)) else { break };
        wholes[at].apart = true;
        found.changes.push(told_alone(Subject::Pipe(wholes[at].flow.inlet), ln, u));
    }
    for (at, whole) in wholes.iter().enumerate().filter(|(_, w)| !w.apart) {
        if against(at, &wholes).is_some_and(|(drops, _, u)| drops.abs() > z * u) {
            let inlet = whole.flow.inlet;
            found.open.push(format!(
                "pipe {inlet}: what its holes take off its flow changed against the other pipes, its flow did not"
            ));
        }
    }
    for Whole { flow, apart, .. } in &wholes {
        let by_holes = own.iter().any(|o| o.changed && o.pair.inlet == flow.inlet);
        let standing = match (apart, by_holes && flow.ln.abs() > z * flow.u) {
            (true, _) => Standing::Changed,
            (false, true) => Standing::Follows,
            (false, false) => Standing::AsBefore,
        };
        found.lines.push(line(Subject::Pipe(flow.inlet), "flow", (&flow.old, &flow.new), (flow.ln, flow.u), standing));
    }
    found.changes.extend(in_common(&wholes, z));
}

/// What the pipes that have no change of their own changed by alike.
fn in_common(wholes: &[Whole<'_>], z: f64) -> Option<Change> {
    let rest = || wholes.iter().filter(|w| !w.apart);
    let u = rest().map(|w| w.flow.u).reduce(f64::max)?.hypot(VISITS);
    let common = median(rest().map(|w| w.ln));
    let (code, likely) = if common < 0.0 {
        (
            "all.less",
            "the filter first, then the fan's setting and the exhaust; another season's air does less than this",
        )
    } else {
        ("all.more", "a filter that was renewed or left out, another setting of the fan, a cover that is not closed")
    };
    let by = more_or_less(common, u);
    let says = match wholes.len() {
        1 => format!("the one pipe draws {by} than it did, all its holes alike"),
        _ => format!("all pipes alike draw {by} than they did"),
    };
    (common.abs() > z * u).then_some(Change { about: Subject::Job, code, says, likely })
}

/// What a pipe's flow changed by beside what its holes changed by together; `None` where not enough of them were closed.
fn beside_the_holes(flow: &Flow, holes: &[&Own]) -> Option<(f64, f64)> {
    let sum = |of: fn(&Own) -> f64| holes.iter().map(|o| of(o)).sum::<f64>();
    let (old, new) = (sum(|o| o.pair.old.value), sum(|o| o.pair.new.value));
    // Closing holes one by one takes off about what they draw together, a little more; where some were not closed, less.
    if holes.len() < 3 || old < 0.8 * flow.old.value {
        return None;
    }
    let of_sum = holes.iter().map(|o| (o.pair.u * o.pair.new.value / new).powi(2)).sum::<f64>().sqrt();
    Some((flow.ln - (new / old).ln(), of_sum.hypot(VISITS).hypot(0.1 * flow.ln)))
}

fn told_leak(about: Subject, more: f64, u: f64) -> Change {
    let says = format!("{} air comes in beside the holes that were closed", more_or_less(more, u));
    let (code, likely) = if more > 0.0 {
        (
            "pipe.air-elsewhere",
            "a joint, a break or the pipe's end at the unit lets air in: follow the pipe from the unit",
        )
    } else {
        (
            "pipe.less-elsewhere",
            "a leak that was there before is closed, or holes that were not closed draw less: look at those",
        )
    };
    Change { about, code, says, likely }
}

fn told_alone(about: Subject, by: f64, u: f64) -> Change {
    let says = format!("draws {} than it did, beside what the other pipes changed by", more_or_less(by, u));
    let (code, likely) = if by < 0.0 {
        (
            "pipe.less",
            "something resists in the pipe: water, dirt, a bend that gave way, or its inlet; with another unit, its sensor",
        )
    } else {
        (
            "pipe.more",
            "less resists in the pipe, or holes that were not closed draw more; with another unit, its sensor",
        )
    };
    Change { about, code, says, likely }
}

/// The time of smoke from a hole at both visits.
pub(crate) struct Time {
    inlet: u8,
    hole: u32,
    what: &'static str,
    old: Figure,
    new: Figure,
    ln: f64,
    u: f64,
}

type Measure = fn(&SmokeRun) -> Option<&Figure>;
/// The time to half of the plateau hangs on the onset's criterion least.
const MEASURES: [(&str, Measure); 2] =
    [("time to half of the plateau", |r| r.half_plateau.as_ref()), ("time of first smoke", |r| r.onset.as_ref())];

pub(crate) fn times(old: &Record, new: &Record, open: &mut Vec<String>) -> Vec<Time> {
    let places = |r: &Record| -> Vec<(u8, u32)> {
        let mut all: Vec<(u8, u32)> =
            r.outcome.smoke.iter().filter(|s| s.set_aside.is_none()).map(|s| (s.inlet, s.hole)).collect();
        all.sort_unstable();
        all.dedup();
        all
    };
    let (before, now) = (places(old), places(new));
    if before.is_empty() && now.is_empty() {
        open.push("smoke: timed at neither visit".into());
    }
    let mut times = Vec::new();
    for (inlet, hole) in &before {
        let pair = MEASURES.iter().find_map(|(what, of)| {
            let mean = |r| mean(r, *inlet, *hole, *of);
            Some((*what, mean(old)?, mean(new)?))
        });
        let Some((what, old, new)) = pair else {
            open.push(format!("smoke from pipe {inlet} hole {hole}: timed at one visit at most"));
            continue;
        };
        if let Some((ln, u)) = ratio((&old, 1.0), (&new, 1.0)) {
            times.push(Time { inlet: *inlet, hole: *hole, what, old, new, ln, u: u.hypot(RELEASE) });
        }
    }
    let added = now.iter().filter(|at| !before.contains(at));
    open.extend(
        added.map(|(inlet, hole)| format!("smoke from pipe {inlet} hole {hole}: timed at the newer visit only")),
    );
    times
}

/// Mean over the runs at a hole, with its standard uncertainty as `expanded`: the runs' own scatter or what each states, whichever
/// is more.
fn mean(record: &Record, inlet: u8, hole: u32, of: Measure) -> Option<Figure> {
    let k = record.k();
    let runs = record.outcome.smoke.iter().filter(|r| r.set_aside.is_none() && (r.inlet, r.hole) == (inlet, hole));
    let all: Vec<(f64, f64)> = runs.filter_map(of).filter_map(|f| Some((f.value, f.expanded? / k))).collect();
    let n = all.len() as f64;
    let mean = all.iter().map(|(t, _)| t).sum::<f64>() / n;
    let stated = all.iter().map(|(_, u)| u * u).sum::<f64>() / n;
    let scatter = all.iter().map(|(t, _)| (t - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
    (!all.is_empty()).then(|| Figure::with(mean, (stated.max(scatter) / n).sqrt(), "s"))
}

pub(crate) fn judge_times(times: &[Time], flows: &[Flow], z: f64, found: &mut Comparison) {
    for Time { inlet, hole, what, old, new, ln, u } in times {
        let about = Subject::Hole(*inlet, *hole);
        let Some(flow) = flows.iter().find(|f| f.inlet == *inlet) else {
            found
                .open
                .push(format!("smoke from pipe {inlet} hole {hole}: the pipe's flow is not known at both visits"));
            continue;
        };
        // The pipe's volume over its flow: what the flow changed by, the time changes by the other way.
        let (ln, u) = (ln + flow.ln, u.hypot(flow.u).hypot(0.2 * flow.ln));
        let explained = found.changes.iter().any(|c| match c.about {
            Subject::Pipe(p) | Subject::Hole(p, _) => p == *inlet,
            _ => false,
        });
        let standing = match (ln.abs() > z * u, explained) {
            (false, _) => Standing::AsBefore,
            (true, true) => Standing::Follows,
            (true, false) => Standing::Changed,
        };
        found.lines.push(line(about.clone(), what, (old, new), (ln, u), standing));
        if standing == Standing::Changed {
            found.changes.push(Change {
                about,
                code: if ln > 0.0 { "smoke.later" } else { "smoke.sooner" },
                says: format!("smoke takes {} time than the flow explains ({old}, now {new})", more_or_less(ln, u)),
                likely: "another way or length of pipe, air that comes in between, or a release held otherwise: release again",
            });
        }
    }
}
