//! A hole shown to draw by smoke: it shows at the unit within the time that is predicted. How much the hole draws it does not
//! show; so it stands in only where closing the hole can't, and the report says so.
use super::smoke::SmokeSeen;
use crate::{
    facts::{Fact, fixed, presence as fact},
    job::JobInputs,
    mean_flow::coverage_factor,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::HoleRef,
};

pub(crate) fn of_hole(hole: HoleRef, fact: Fact) -> Finding {
    Finding::of(StageKind::ProveFlow, Subject::Hole(hole.inlet, hole.number), fact)
}

/// The times at which the first rise may come: from the first smoke of the fastest way to half of the plateau, each with its
/// uncertainty, and the mark's. `None` where no time is predicted.
pub(crate) fn window(inputs: &JobInputs, opening: usize) -> Option<(f64, f64)> {
    let p = inputs.predicted(opening)?;
    if !(p.first_s.is_sound() && p.half_plateau_s.is_sound()) {
        return None;
    }
    let k = coverage_factor(inputs);
    let slack = 2.0 * inputs.plan.smoke.mark_u_s + inputs.plan.limits.transport_agreement_least.value;
    Some((
        (p.first_s.value - k * p.first_s.u() - slack).max(0.0),
        p.half_plateau_s.value + k * p.half_plateau_s.u() + slack,
    ))
}

/// What smoke released at the hole showed.
pub(crate) fn seen(
    inputs: &JobInputs,
    hole: HoleRef,
    words: &str,
    (from, to): (f64, f64),
    seen: &SmokeSeen,
) -> Finding {
    let onset = seen.onset;
    let fact = match (onset, seen.elsewhere) {
        (None, Some(inlet)) => fact::crossed(words, inlet, hole.inlet),
        (None, None) => fact::no_response(words, seen.why_not.as_ref().map_or("", |why| &why.words)),
        (Some(t), _) if (from..=to).contains(&t.value) => fact::draws(words),
        (Some(t), _) => fact::other_time(words, fixed(t.value, 1), fixed(from, 0), fixed(to, 0)),
    };
    let mut f = of_hole(hole, fact);
    f.window = Some((seen.released, seen.until));
    f.expected = Some(Figure::plain((from + to) / 2.0, "s"));
    f.measured = onset.map(|t| Figure::with(t.value, t.u() * coverage_factor(inputs), "s"));
    f
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{sample, smoke::Watched};
    use plumeline_base::{Instant, Verdict, quantity::Estimate};
    use plumeline_measure::smoke::Outcome;

    fn at(onset: Option<f64>, elsewhere: Option<u8>) -> (alloc::string::String, Verdict) {
        let inputs = sample::inputs();
        let outcome = onset.map_or(Outcome::NoRise { would_have_seen: 0.1 }, |t| Outcome::Saturated {
            onset_s: Estimate::new(t, 0.0, 0.5),
            onset_interval95_s: (t - 1.0, t + 1.0),
            since_s: 0.0,
        });
        let (released, until) = (Instant::START, Instant::START);
        let smoke = SmokeSeen::by_readings(&outcome, Watched { released, until, alarm_after_s: None, elsewhere });
        let f = seen(&inputs, sample::hole(1, 2), "hole 2", window(&inputs, 1).unwrap(), &smoke);
        (f.code.as_str().into(), f.verdict)
    }

    #[test]
    fn smoke_shows_a_hole_only_within_its_time_and_at_its_own_inlet() {
        assert_eq!(at(Some(18.0), None), ("presence.draws".into(), Verdict::Pass));
        assert_eq!(at(Some(40.0), None), ("presence.other-time".into(), Verdict::Undecided));
        assert_eq!(at(Some(2.0), None), ("presence.other-time".into(), Verdict::Undecided));
        assert_eq!(at(None, None), ("presence.no-response".into(), Verdict::Undecided));
        assert_eq!(at(None, Some(2)), ("presence.pipes-crossed".into(), Verdict::Fail));
    }

    #[test]
    fn without_a_predicted_time_there_is_no_window() {
        let mut inputs = sample::inputs();
        assert!(window(&inputs, 99).is_none());
        inputs.prediction.openings[0].first_s.value = f64::INFINITY;
        assert!(window(&inputs, 0).is_none());
    }
}
