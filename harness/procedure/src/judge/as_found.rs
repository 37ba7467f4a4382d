//! The flows against the outgoing unit's as found, translated to this unit: whether anything changed.
//!
//! Agreement shows that nothing changed, not that anything was sound: it never makes a pass of what is not shown otherwise. A
//! difference is told with what it may mean, and stays open until every hole is shown to draw on the new unit: then it was
//! the outgoing unit's own (its filter, its fan, a pipe that was not seated).
use crate::{
    facts::{
        as_found::{self as fact, How},
        give_or_take,
    },
    job::{JobInputs, Pipe},
    judge,
    mean_flow::{L_MIN, MeanFlow, coverage_factor},
    outcome::{Figure, Finding, StageKind, Subject},
};
use alloc::{collections::BTreeMap, vec::Vec};
use plumeline_airflow::uncertainty::translate::translated;
use plumeline_base::quantity::Estimate;
use plumeline_measure::stats::normal_quantile;

/// A pipe's flow, what the outgoing unit's lets expect of it, and both against each other as a fraction.
struct Compared {
    measured: MeanFlow,
    expected: Estimate,
    difference: f64,
    u: f64,
    how: How,
}

/// One finding for each pipe whose flow was captured with the outgoing unit. `shown` are the pipes whose flow and every hole are
/// shown on this unit.
pub(crate) fn against(
    inputs: &JobInputs,
    captured: &BTreeMap<u8, MeanFlow>,
    measured: &[(Pipe, MeanFlow)],
    shown: &[u8],
) -> Vec<Finding> {
    let both: Vec<(&Pipe, MeanFlow, MeanFlow)> =
        measured.iter().filter_map(|(p, m)| Some((p, *m, *captured.get(&p.inlet)?))).collect();
    let compared: Vec<(u8, Compared)> = if inputs.translations.is_empty() {
        by_pattern(inputs, &both)
    } else {
        both.iter().filter_map(|(p, new, old)| Some((p.inlet, by_network(inputs, p, new, old)?))).collect()
    };
    compared.into_iter().map(|(inlet, c)| finding(inputs, inlet, &c, shown.contains(&inlet))).collect()
}

fn by_network(inputs: &JobInputs, pipe: &Pipe, new: &MeanFlow, old: &MeanFlow) -> Option<Compared> {
    let ratio = inputs.translations.iter().find(|t| t.number == pipe.inlet)?.ratio;
    let expected = translated(&old.estimate, &ratio);
    let difference = new.estimate.value / expected.value - 1.0;
    // Two units, each with a calibration of its own: nothing in common drops out.
    let u = libm::hypot(new.estimate.u() / new.estimate.value, expected.u() / expected.value) * (1.0 + difference);
    let sound = expected.is_sound() && expected.value > 0.0 && u > 0.0;
    sound.then_some(Compared { measured: *new, expected, difference, u, how: How::Network })
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
        (
            p.inlet,
            Compared {
                measured: *new,
                expected: Estimate::new(expected, 0.0, expected * u),
                difference,
                u,
                how: How::Pattern,
            },
        )
    });
    all.collect()
}

fn finding(inputs: &JobInputs, inlet: u8, c: &Compared, shown: bool) -> Finding {
    let k = coverage_factor(inputs);
    let percent = give_or_take(c.difference * 100.0, k * c.u * 100.0, 1);
    // A difference counts when it matters and is no chance: the risk of a false one is shared out over the tests of the job.
    let chance = inputs.plan.rule.reject_risk / f64::from(judge::tests(inputs));
    let material = inputs.plan.flow.material.value;
    let differs = libm::fabs(c.difference) > material.max(normal_quantile(1.0 - chance / 2.0) * c.u);
    let fact = match (differs, shown, c.difference > 0.0) {
        (false, ..) => fact::unchanged(c.how, percent),
        (true, true, true) => fact::more_explained(c.how, percent),
        (true, true, false) => fact::less_explained(c.how, percent),
        (true, false, true) => fact::more(c.how, percent),
        (true, false, false) => fact::less(c.how, percent),
    };
    let mut f = Finding::of(StageKind::ProveFlow, Subject::Pipe(inlet), fact);
    f.measured = Some(c.measured.figure());
    f.expected = Some(Figure::with(c.expected.value * L_MIN, c.expected.u() * k * L_MIN, "L/min"));
    f.limit = Some(inputs.plan.flow.material.clone());
    f.window = Some(c.measured.window);
    f
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;
    use alloc::{string::String, vec};
    use plumeline_base::Verdict;

    /// Both pipes with so many L/min as found and now, in pairs.
    fn found(pairs: [(f64, f64); 2], shown: &[u8]) -> Vec<(String, Verdict)> {
        let inputs = sample::inputs();
        let inlets = [1, 2].into_iter().zip(pairs);
        let captured = inlets.clone().map(|(inlet, (old, _))| (inlet, sample::flow(old, 0.2))).collect();
        let measured: Vec<_> =
            inlets.map(|(inlet, (_, new))| (sample::pipe(&inputs, inlet), sample::flow(new, 0.2))).collect();
        let findings = against(&inputs, &captured, &measured, shown);
        findings.into_iter().map(|f| (f.code.as_str().into(), f.verdict)).collect()
    }

    #[test]
    fn a_change_that_all_pipes_share_is_none() {
        let unchanged = || ("as-found.unchanged".into(), Verdict::Pass);
        assert_eq!(found([(30.0, 33.0), (30.0, 33.0)], &[]), vec![unchanged(), unchanged()]);
    }
    #[test]
    fn a_difference_stays_open_until_the_pipe_is_shown_on_this_unit() {
        let open = |code: &str| (code.into(), Verdict::Undecided);
        let pairs = [(30.0, 36.0), (30.0, 20.0)];
        assert_eq!(found(pairs, &[]), vec![open("as-found.more"), open("as-found.less")]);
        let explained = |code: &str| (code.into(), Verdict::Pass);
        assert_eq!(
            found(pairs, &[1, 2]),
            vec![explained("as-found.more-explained"), explained("as-found.less-explained")]
        );
    }
    #[test]
    fn one_pipe_alone_has_no_pattern() {
        let inputs = sample::inputs();
        let captured = [(1, sample::flow(30.0, 0.2))].into();
        let measured = [(sample::pipe(&inputs, 1), sample::flow(10.0, 0.2))];
        assert_eq!(against(&inputs, &captured, &measured, &[]), vec![]);
    }
}
