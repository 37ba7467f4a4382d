//! What one meter showed of all pipes together, before some were shut and after: whether all are open again as before.
//!
//! Not here: each pipe's own flow ([`super::flow`]).
use crate::{
    facts::{fixed, meter as fact},
    instrument::Instrument,
    job::JobInputs,
    judge::alone::Opened,
    mean_flow::{L_MIN, MeanFlow, coverage_factor},
    outcome::{Figure, Finding, StageKind, Subject},
};

/// The flow of all pipes with every inlet open again, against that of before. A change counts if the scatter does not explain it and
/// it is half of the least that closing any one hole would take away; what hides a hole shows nothing.
pub(crate) fn changed(inputs: &JobInputs, meter: &Instrument, before: &MeanFlow, after: &MeanFlow) -> Finding {
    let off = meter.common().difference(after.read(), before.read());
    let k = coverage_factor(inputs);
    let share = off.value / before.estimate.value;
    let drops = inputs.prediction.openings.iter().map(|p| p.closed_share.value * p.share_of_unit / p.share_of_pipe);
    let percent = |share: f64| fixed(share * 100.0, 1);
    let u = off.u() / before.estimate.value;
    let fact = match Opened::by(inputs, share, u, drops.fold(f64::INFINITY, f64::min)) {
        Opened::AsBefore => fact::as_before(),
        Opened::Less(share) | Opened::Part(share) => fact::less_than_before(percent(share)),
        Opened::More(share) => fact::more_than_before(percent(share)),
        Opened::Unseen => fact::not_compared("the meter's readings scatter by as much as a hole takes"),
    };
    let mut f = Finding::of(StageKind::ProveFlow, Subject::Job, fact);
    f.measured = Some(after.figure());
    f.expected = Some(Figure::with(before.estimate.value * L_MIN, k * off.u() * L_MIN, "L/min"));
    f.window = Some(after.window);
    f
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        instrument::{Kind, Measurand, Place, tests::manometer},
        judge::sample::{self, FLOW, flow},
    };
    use alloc::string::String;
    use plumeline_base::{Verdict, quantity::M3_S_PER_L_MIN};

    fn meter() -> Instrument {
        let (kind, measures, at) = (Kind::FlowMeter, Measurand::Flow, Place::Exhaust);
        Instrument { kind, measures, at, si: M3_S_PER_L_MIN, u: 5.0, ..manometer() }
    }
    fn told(after: f64, scatter: f64) -> (String, Verdict) {
        let f = changed(&sample::inputs(), &meter(), &flow(2.0 * FLOW, scatter), &flow(after, scatter));
        (f.code.as_str().into(), f.verdict)
    }
    /// A meter whose zero nobody knows better than 5 L/min tells half of a hole all the same: it is the same zero before and after.
    #[test]
    fn what_is_shut_or_taped_still_shows_whatever_the_meters_zero() {
        let is = |code: &str, verdict| (String::from(code), verdict);
        assert_eq!(told(2.0 * FLOW, 0.1), is("meter.as-before", Verdict::Pass));
        assert_eq!(told(FLOW, 0.1), is("meter.less-than-before", Verdict::Fail), "an inlet left shut");
        assert_eq!(
            told(2.0 * FLOW - sample::SHARE * FLOW, 0.1),
            is("meter.less-than-before", Verdict::Fail),
            "a hole left taped"
        );
        assert_eq!(told(2.5 * FLOW, 0.1), is("meter.more-than-before", Verdict::Fail), "a pipe not pushed home");
        // Scatter that could hide a hole shows nothing, whether a change was read or none.
        for after in [2.0 * FLOW - sample::SHARE * FLOW, 2.0 * FLOW] {
            assert_eq!(told(after, 10.0), is("meter.not-compared", Verdict::Undecided));
        }
    }
}
