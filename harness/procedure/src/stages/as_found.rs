//! The flows against the outgoing unit's as found, translated to this unit: whether anything changed.
//!
//! Agreement shows that nothing changed, not that anything was sound: it never makes a pass of what is not shown otherwise. A
//! difference is told with what it may mean, and stays open until every hole is shown to draw on the new unit: then it was
//! the outgoing unit's own (its filter, its fan, a pipe that was not seated).
use super::flow::{L_MIN, MeanFlow, coverage_factor};
use crate::{
    context::Context,
    job::{JobInputs, Pipe},
    judge,
    outcome::{Figure, Finding, StageKind, Subject},
};
use alloc::{format, string::String, vec::Vec};
use plumeline_airflow::uncertainty::translate::translated;
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::stats::normal_quantile;

/// A pipe's flow, what the outgoing unit's lets expect of it, and both against each other as a fraction.
struct Compared {
    measured: MeanFlow,
    expected: Estimate,
    difference: f64,
    u: f64,
    how: &'static str,
}

/// One finding for each pipe whose flow was captured with the outgoing unit. `shown` are the pipes whose flow and every hole are
/// shown on this unit.
pub(super) fn against_as_found(ctx: &Context, measured: &[(Pipe, MeanFlow)], shown: &[u8]) -> Vec<Finding> {
    let inputs = ctx.inputs();
    let captured = ctx.get().as_found.clone();
    let both: Vec<(&Pipe, MeanFlow, MeanFlow)> =
        measured.iter().filter_map(|(p, m)| Some((p, *m, *captured.get(&p.inlet)?))).collect();
    let compared: Vec<(u8, Compared)> = if inputs.translations.is_empty() {
        by_pattern(&inputs, &both)
    } else {
        both.iter().filter_map(|(p, new, old)| Some((p.inlet, by_network(&inputs, p, new, old)?))).collect()
    };
    compared.into_iter().map(|(inlet, c)| finding(&inputs, inlet, &c, shown.contains(&inlet))).collect()
}

fn by_network(inputs: &JobInputs, pipe: &Pipe, new: &MeanFlow, old: &MeanFlow) -> Option<Compared> {
    let ratio = inputs.translations.iter().find(|t| t.number == pipe.inlet)?.ratio;
    let expected = translated(&old.estimate, &ratio);
    let difference = new.estimate.value / expected.value - 1.0;
    // Two units, each with a calibration of its own: nothing in common drops out.
    let u = libm::hypot(new.estimate.u() / new.estimate.value, expected.u() / expected.value) * (1.0 + difference);
    let sound = expected.is_sound() && expected.value > 0.0 && u > 0.0;
    sound.then_some(Compared { measured: *new, expected, difference, u, how: "translated by the network" })
}

/// Without the outgoing unit's fan: only the pattern between the pipes, each by its own share of the change that all show. What
/// that leaves unexplained (the network's curvature, rooms that differ) is one of the job's rules.
fn by_pattern(inputs: &JobInputs, both: &[(&Pipe, MeanFlow, MeanFlow)]) -> Vec<(u8, Compared)> {
    let exponent = |inlet: u8| inputs.exponents.iter().find(|e| e.0 == inlet).map_or(1.0, |e| e.1);
    let positive = both
        .iter()
        .all(|(p, new, old)| new.estimate.value > 0.0 && old.estimate.value > 0.0 && exponent(p.inlet) > 0.0);
    if both.len() < 2 || !positive {
        return Vec::new();
    }
    let n = both.len() as f64;
    let change = |new: &MeanFlow, old: &MeanFlow| libm::log(new.estimate.value / old.estimate.value);
    let alike = both.iter().map(|(p, new, old)| change(new, old) / exponent(p.inlet)).sum::<f64>() / n;
    let all = both.iter().map(|(p, new, old)| {
        let expected = old.estimate.value * libm::exp(alike * exponent(p.inlet));
        let difference = new.estimate.value / expected - 1.0;
        let own = |m: &MeanFlow| m.estimate.u_individual / m.estimate.value;
        let pattern = inputs.plan.advanced.as_found.pattern * libm::fabs(alike * exponent(p.inlet));
        let u = libm::hypot(libm::hypot(own(new), own(old)) * libm::sqrt(1.0 - 1.0 / n), pattern);
        let how = "by the pattern between the pipes alone: the outgoing unit's fan is not stated";
        (p.inlet, Compared { measured: *new, expected: Estimate::new(expected, 0.0, expected * u), difference, u, how })
    });
    all.collect()
}

fn finding(inputs: &JobInputs, inlet: u8, c: &Compared, shown: bool) -> Finding {
    let k = coverage_factor(inputs);
    let mut f = Finding::new(StageKind::ProveFlow, Subject::Pipe(inlet), Verdict::Pass, "");
    f.measured = Some(c.measured.figure());
    f.expected = Some(Figure::with(c.expected.value * L_MIN, c.expected.u() * k * L_MIN, "L/min"));
    f.limit = Some(inputs.plan.flow.material.clone());
    f.window = Some(c.measured.window);
    let percent = |x: f64| x * 100.0;
    let by: String = format!("{:+.1} ± {:.1} %", percent(c.difference), percent(k * c.u));
    // A difference counts when it matters and is no chance: the risk of a false one is shared out over the tests of the job.
    let chance = inputs.plan.rule.reject_risk / f64::from(judge::tests(inputs));
    let differs =
        libm::fabs(c.difference) > inputs.plan.flow.material.value.max(normal_quantile(1.0 - chance / 2.0) * c.u);
    if !differs {
        f.says = format!(
            "flow against the outgoing unit's as found, {}: {by}, no change that shows. That nothing changed does not show that anything \
             was sound",
            c.how
        );
        return f;
    }
    let (likely, next) = if c.difference > 0.0 {
        (
            "air enters that did not before (the pipe not fully seated, a cap off), or the outgoing unit's filter was clogged, its fan slow",
            "look at the seat and the caps of this pipe, and at the filter of the outgoing unit",
        )
    } else {
        (
            "holes blocked or a pipe crushed since, or the outgoing unit drew through a leak that is now shut",
            "look at the holes of this pipe; show each of them to draw",
        )
    };
    f.likely = Some(likely.into());
    if shown {
        f.says = format!(
            "flow differs from the outgoing unit's as found, {}: {by}. This pipe and every hole of it are shown on this unit, so the \
             difference was the outgoing unit's",
            c.how
        );
    } else {
        f.verdict = Verdict::Undecided;
        f.next = Some(next.into());
        f.says = format!("flow differs from the outgoing unit's as found, {}: {by}", c.how);
    }
    f
}
