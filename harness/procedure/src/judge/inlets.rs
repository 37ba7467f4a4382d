//! Inlets that carry no pipe: air that enters there is missing at the holes, so each must be shown to draw nothing.
use crate::{
    facts::{Fact, fixed, inlets as fact},
    mean_flow::L_MIN,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
};

/// What was read of an unused inlet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Unused {
    /// No fresh reading came.
    NoReading,
    /// Readings came without a flow of this inlet; whether a person says that it is plugged and sealed.
    NotTold { plugged: bool },
    /// The mean of its flow and the standard uncertainty of that by scatter, m3/s.
    Flow { mean: f64, u: f64 },
}

/// An inlet without a pipe against the part of all measured flow (m3/s) that it may draw at most, by so many standard uncertainties.
pub(crate) fn unused(stage: StageKind, inlet: u8, seen: Unused, all: f64, limit: &Limit, widths: f64) -> Finding {
    let of = |fact: Fact| Finding::of(stage, Subject::Pipe(inlet), fact);
    let most = limit.value * all;
    let mut f = match seen {
        Unused::NoReading => of(fact::no_reading()),
        Unused::NotTold { plugged: true } => of(fact::plugged()),
        Unused::NotTold { plugged: false } => of(fact::not_told()),
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
            f.measured = Some(Figure::with(mean * L_MIN, widths * u * L_MIN, "L/min"));
            f
        }
    };
    f.limit = Some(limit.clone());
    f
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Mark;
    use plumeline_base::Verdict;

    #[test]
    fn an_unused_inlet_draws_nothing_or_is_found() {
        let limit = Limit { value: 0.02, unit: "1".into(), source: "a test".into(), mark: Mark::ThisJob };
        let of = |seen| unused(StageKind::ProveFlow, 3, seen, 1e-3, &limit, 2.0);
        let flow = |mean, u| of(Unused::Flow { mean, u }).verdict;
        assert_eq!(flow(0.0, 1e-6), Verdict::Pass);
        assert_eq!(flow(1e-4, 1e-6), Verdict::Fail, "a tenth of the unit's air");
        assert_eq!(flow(2e-5, 1e-6), Verdict::Undecided, "at the limit");
        assert_eq!(flow(-1e-4, 1e-6), Verdict::Undecided, "no flow goes that way");
        assert_eq!(flow(0.0, 1e-4), Verdict::Undecided, "too noisy to tell");
        assert_eq!(flow(f64::NAN, 1e-6), Verdict::Undecided);
        assert_eq!(
            unused(StageKind::ProveFlow, 3, Unused::Flow { mean: 0.0, u: 0.0 }, 0.0, &limit, 2.0).verdict,
            Verdict::Undecided
        );
        assert_eq!(of(Unused::NoReading).verdict, Verdict::Undecided);
        assert_eq!(of(Unused::NotTold { plugged: false }).verdict, Verdict::Undecided);
        assert_eq!(of(Unused::NotTold { plugged: true }).verdict, Verdict::Pass);
    }
}
