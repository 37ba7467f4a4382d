//! Inlets that carry no pipe: air that enters there is missing at the holes, so each must be shown to draw nothing. And inlets
//! that are shut for a trial: what the unit still tells of them is not their pipe's.
use super::untold;
use crate::{
    facts::{Fact, fixed, inlets as fact, signed},
    job::JobInputs,
    mean_flow::{L_MIN, MeanFlow, coverage_factor},
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
};
use plumeline_base::Verdict;

/// What was read of an unused inlet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Unused {
    /// No fresh reading came.
    NoReading,
    /// Readings came without a flow of this inlet; whether a person says that it is plugged and sealed.
    NotTold { plugged: bool },
    /// The mean of its flow and the standard uncertainty of that by scatter, m3/s.
    Flow { mean: f64, u: f64 },
    /// A display shows nothing, and its step is coarser than what may enter; a person says that the inlet is plugged and sealed.
    Still { within: f64 },
}

impl Unused {
    /// The same with its flow in other units.
    pub(crate) fn scaled(self, by: f64) -> Self {
        match self {
            Self::Flow { mean, u } => Self::Flow { mean: mean * by, u: u * by },
            other => other,
        }
    }
    /// Nothing is read, to so much (m3/s), and that is more than may enter: a step of the display hides it.
    pub(crate) fn hidden(self, all: f64, limit: &Limit, widths: f64) -> Option<f64> {
        match self {
            Self::Flow { mean, u } => {
                Some(widths * u).filter(|within| all > 0.0 && mean == 0.0 && *within > limit.value * all)
            }
            _ => None,
        }
    }
}

/// An inlet without a pipe against the part of all measured flow (m3/s) that it may draw at most, by so many standard uncertainties.
/// `shares`: flows are told as shares, and their level is not known.
pub(crate) fn unused(
    stage: StageKind,
    inlet: u8,
    seen: Unused,
    (all, shares): (f64, bool),
    limit: &Limit,
    widths: f64,
) -> Finding {
    let of = |fact: Fact| Finding::of(stage, Subject::Pipe(inlet), fact);
    let most = limit.value * all;
    let mut f = match seen {
        Unused::NoReading => of(fact::no_reading()),
        Unused::NotTold { plugged: true } => of(fact::plugged()),
        Unused::NotTold { plugged: false } => of(fact::not_told()),
        Unused::Still { within } => of(fact::plugged_still(fixed(within / all * 100.0, 1))),
        Unused::Flow { mean, u } => {
            let percent = fixed(mean / all * 100.0, 1);
            let (low, high) = (mean - widths * u, mean + widths * u);
            let mut f = of(if !(all > 0.0 && mean.is_finite() && u.is_finite()) {
                fact::nothing_to_compare()
            } else if high <= most && low >= -most {
                fact::closed()
            } else if low > most {
                fact::open(percent)
            } else {
                fact::not_shown_closed(percent)
            });
            let (times, unit) = if shares { (100.0 / all, "% of the pipes' flow") } else { (L_MIN, "L/min") };
            f.measured = Some(Figure::with(mean * times, widths * u * times, unit));
            f
        }
    };
    f.limit = Some(limit.clone());
    f
}

/// By how much the flow of a unit's only pipe rose while its other inlets were covered, as a share, and the most untold air that this
/// leaves open, as a share of the pipe's. Covers take away what entered there; the pipe then draws more by the fan's curve.
pub(crate) fn covered(inputs: &JobInputs, (rise, u): (f64, f64)) -> (Finding, Option<f64>) {
    let limit = &inputs.plan.holes.worse;
    let wide = coverage_factor(inputs) * u;
    let fall = |rise: f64| rise.max(0.0) / (1.0 + rise.max(0.0));
    let share = |rise: f64| untold::share(&inputs.pipework, fall(rise));
    let (low, high, percent) = (rise - wide, rise + wide, signed(rise * 100.0, 1));
    let most = share(high);
    let fact = if !(rise.is_finite() && u.is_finite()) {
        fact::not_covered("the flow was not told all the time")
    } else if low > 0.0 && share(low).is_none_or(|least| least > limit.value) {
        fact::rises(percent)
    } else {
        match most {
            Some(most) if most <= limit.value => fact::no_rise(percent, fixed(most * 100.0, 0)),
            // The fan's curve is not known: no change is all that can be shown.
            None if low <= 0.0 && wide <= inputs.plan.advanced.inlets.no_rise => fact::no_rise_unbounded(percent),
            _ => fact::rise_unclear(percent),
        }
    };
    let mut f = Finding::of(StageKind::ProveFlow, Subject::Replacement, fact);
    f.measured = Some(Figure::with(rise * 100.0, wide * 100.0, "%"));
    f.limit = Some(limit.clone());
    let shows = f.verdict == Verdict::Pass;
    (f, most.filter(|_| shows))
}

/// By how much a flow rose between two looks, as a share, and the standard uncertainty of that.
pub(crate) fn rise(before: &MeanFlow, between: &MeanFlow, after: &MeanFlow) -> (f64, f64) {
    let open = 0.5 * (before.estimate.value + after.estimate.value);
    let u_open = 0.5 * libm::hypot(before.u_scatter, after.u_scatter);
    (between.estimate.value / open - 1.0, libm::hypot(between.u_scatter, u_open) / open)
}

/// The mean of several looks. Where they differ by more than their own uncertainties say, so much more is uncertain.
pub(crate) fn pooled(looks: &[(f64, f64)]) -> (f64, f64) {
    let n = looks.len() as f64;
    let mean = looks.iter().map(|(rise, _)| rise).sum::<f64>() / n;
    let stated = looks.iter().map(|(_, u)| u * u).sum::<f64>();
    let seen = looks.iter().map(|(rise, _)| (rise - mean) * (rise - mean)).sum::<f64>() * n / (n - 1.0);
    // A single look shows no scatter of looks (the comparison with its NaN keeps what is stated).
    (mean, libm::sqrt(if seen > stated { seen } else { stated }) / n)
}

/// How many times as long as usual the flow is averaged on both sides of the covers, so that a pipe that does not rise is told from
/// one that rises as beside the most untold air that may be: the ± comes to a third of that rise. `before`: as usual.
pub(crate) fn longer(inputs: &JobInputs, before: &MeanFlow) -> f64 {
    let rules = &inputs.plan.advanced.inlets;
    let fall = untold::fall(&inputs.pipework, inputs.plan.holes.worse.value);
    let counts = fall.map_or(rules.no_rise, |fall| fall / (1.0 - fall));
    // Of the mean while covered, and of the two beside it.
    let wide = coverage_factor(inputs) * libm::sqrt(1.5) * before.u_scatter / before.estimate.value;
    let times = 3.0 * wide / counts;
    (times * times).max(1.0).min(rules.longer)
}

/// An inlet that reads so many times what it read before is not shut.
const OPEN: f64 = 1.1;

/// What the unit tells of a pipe's inlet that somebody shut, against the flow before (m3/s). It may read `most` of that at most;
/// more than before is no shut inlet.
pub(crate) fn shut(stage: StageKind, inlet: u8, seen: Unused, before: f64, most: f64, widths: f64) -> Finding {
    let of = |fact: Fact| Finding::of(stage, Subject::Pipe(inlet), fact);
    let Unused::Flow { mean, u } = seen else { return of(fact::not_shut("no fresh reading tells it")) };
    let share = mean / before;
    let mut f = of(if !(before > 0.0 && share.is_finite() && u.is_finite()) {
        fact::not_shut("the flow before is not known")
    } else if mean - widths * u > before * OPEN {
        fact::not_shut("it read more than before, as an open inlet does")
    } else if mean - widths * u > most * before {
        fact::reads_when_shut(fixed(share * 100.0, 0))
    } else {
        fact::goes_when_shut()
    });
    f.measured = Some(Figure::with(mean * L_MIN, widths * u * L_MIN, "L/min"));
    f
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Mark;
    use alloc::borrow::ToOwned;

    #[test]
    fn what_a_shut_inlet_still_reads_is_not_its_pipes() {
        let of = |mean, u, before| {
            shut(StageKind::ProveFlow, 1, Unused::Flow { mean, u }, before, 0.05, 2.0).code.as_str().to_owned()
        };
        assert_eq!(of(0.0, 0.0, 1e-3), "inlets.goes-when-shut");
        assert_eq!(of(4e-5, 1e-6, 1e-3), "inlets.goes-when-shut", "not shut to the last");
        assert_eq!(of(2e-4, 1e-6, 1e-3), "inlets.reads-when-shut");
        assert_eq!(of(1e-3, 1e-6, 1e-3), "inlets.reads-when-shut", "it did not answer at all");
        assert_eq!(of(1.5e-3, 1e-6, 1e-3), "inlets.not-shut", "the pipe was pulled and the inlet left open");
        assert_eq!(of(0.0, 0.0, f64::NAN), "inlets.not-shut");
        let silent = shut(StageKind::ProveFlow, 1, Unused::NoReading, 1e-3, 0.05, 2.0);
        assert_eq!((silent.code.as_str(), silent.verdict), ("inlets.not-shut", Verdict::Undecided));
    }

    #[test]
    fn a_pipe_that_draws_more_beside_covered_inlets_shows_air_that_nobody_told() {
        use crate::judge::sample;
        use plumeline_base::pipework::{CurveInterpolation, Drive, Fan, FanPoint, Known};
        let mut inputs = sample::inputs();
        inputs.pipework.known.push(Known::default());
        let code = |inputs: &JobInputs, rise, u| {
            let (f, most) = covered(inputs, (rise, u));
            (f.code.as_str().to_owned(), most.is_some())
        };
        let is = |code: &str, bounded| (code.to_owned(), bounded);
        assert_eq!(code(&inputs, 0.0, 0.002), is("inlets.no-untold-air-seen", false), "a suction that is given");
        assert_eq!(code(&inputs, 0.02, 0.002), is("inlets.untold-air", false));
        assert_eq!(code(&inputs, 0.0, 0.1), is("inlets.untold-air-unclear", false));
        let point = |flow_m3_s, pressure_pa| FanPoint { flow_m3_s, pressure_pa };
        inputs.pipework.unit.drive = Drive::Fan(Fan {
            curve: alloc::vec![point(0.0, 150.0), point(2e-3, 50.0)],
            interpolation: CurveInterpolation::Linear,
            speed: 1.0,
            reference_density: 1.2,
            u_pressure: 0.0,
        });
        assert_eq!(code(&inputs, 0.0, 0.002), is("inlets.no-untold-air", true));
        assert_eq!(code(&inputs, -0.01, 0.002), is("inlets.no-untold-air", true));
        assert_eq!(code(&inputs, 0.2, 0.002), is("inlets.untold-air", false));
        assert_eq!(code(&inputs, f64::NAN, 0.002), is("inlets.not-covered", false));
    }

    #[test]
    fn looks_that_differ_leave_more_open() {
        let near = |(mean, u): (f64, f64), (m, v): (f64, f64)| (mean - m).abs() < 1e-12 && (u - v).abs() < 1e-12;
        assert!(near(pooled(&[(0.02, 0.01)]), (0.02, 0.01)));
        assert!(near(pooled(&[(0.01, 0.01), (0.01, 0.01)]), (0.01, 0.01 / f64::sqrt(2.0))));
        assert!(near(pooled(&[(0.04, 0.01), (0.0, 0.01)]), (0.02, 0.02)), "half of how far they lie apart");
        assert!(pooled(&[(0.0, 0.01), (f64::NAN, 0.01)]).0.is_nan());
    }

    #[test]
    fn an_unused_inlet_draws_nothing_or_is_found() {
        let limit = Limit { value: 0.02, unit: "1".into(), source: "a test".into(), mark: Mark::ThisJob };
        let of = |seen| unused(StageKind::ProveFlow, 3, seen, (1e-3, false), &limit, 2.0);
        let flow = |mean, u| of(Unused::Flow { mean, u }).verdict;
        assert_eq!(flow(0.0, 1e-6), Verdict::Pass);
        assert_eq!(flow(1e-4, 1e-6), Verdict::Fail, "a tenth of the unit's air");
        assert_eq!(flow(2e-5, 1e-6), Verdict::Undecided, "at the limit");
        assert_eq!(flow(-1e-4, 1e-6), Verdict::Undecided, "no flow goes that way");
        assert_eq!(flow(0.0, 1e-4), Verdict::Undecided, "too noisy to tell");
        assert_eq!(flow(f64::NAN, 1e-6), Verdict::Undecided);
        assert_eq!(
            unused(StageKind::ProveFlow, 3, Unused::Flow { mean: 0.0, u: 0.0 }, (0.0, false), &limit, 2.0).verdict,
            Verdict::Undecided
        );
        assert_eq!(of(Unused::NoReading).verdict, Verdict::Undecided);
        assert_eq!(of(Unused::NotTold { plugged: false }).verdict, Verdict::Undecided);
        assert_eq!(of(Unused::NotTold { plugged: true }).verdict, Verdict::Pass);
    }

    #[test]
    fn a_step_that_hides_too_much_is_told_from_a_reading() {
        let limit = Limit { value: 0.02, unit: "1".into(), source: "a test".into(), mark: Mark::ThisJob };
        let hidden = |mean, u| Unused::Flow { mean, u }.hidden(1e-3, &limit, 2.0);
        assert_eq!(hidden(0.0, 1.5e-5), Some(3e-5), "3 % of the flow");
        assert_eq!(hidden(0.0, 0.5e-5), None, "1 %: the reading shows it closed");
        assert_eq!(hidden(1e-6, 1.5e-5), None, "something is read");
        for unknown in [0.0, f64::NAN] {
            let beside = Unused::Flow { mean: 0.0, u: 1.5e-5 }.hidden(unknown, &limit, 2.0);
            assert_eq!(beside, None, "no word stands in for a flow that is not known");
        }
        assert_eq!(Unused::NoReading.hidden(1e-3, &limit, 2.0), None);
        let still = unused(StageKind::ProveFlow, 3, Unused::Still { within: 3e-5 }, (1e-3, true), &limit, 2.0);
        assert_eq!((still.code.as_str(), still.verdict), ("inlets.plugged-and-still", Verdict::Pass));
        assert!(still.says.contains("3.0 %"), "{}", still.says);
    }
}
