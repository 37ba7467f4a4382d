//! Times taken with a stop-watch by whoever can't press the key at that moment: smoke that is released at the far end and seen at
//! the unit, an inlet that is shut by one and a lamp that is watched by another.
//!
//! What can't be is asked again: a time of nothing, or longer than has passed since what began it was asked for. What is hardly so (before
//! smoke can come, or the very number of the run before) is asked again, and taken if it is typed once more: whoever types sees
//! the watch. Not here: moments that are marked by a key ([`super::by_eye`]).
use crate::{
    context::Context,
    instrument::{Instrument, Measurand, Read},
    metered::Asking,
    outcome::Finding,
    plan::ReleaseMark,
    prompt::Metered,
};
use alloc::{format, string::String};
use libm::hypot;
use plumeline_base::{Instant, quantity::Estimate};
use plumeline_measure::smoke::Release;

/// A time that is wanted.
pub(super) struct Timing {
    pub(super) quantity: Metered,
    /// From what until what.
    pub(super) what: String,
    /// When what begins it was asked for.
    pub(super) asked: Instant,
    /// Before this it can hardly come, s.
    pub(super) earliest_s: f64,
    /// What the run before took, s.
    pub(super) before_s: Option<f64>,
    /// About so long is expected, s.
    pub(super) about_s: Option<f64>,
}

/// Whether times are taken with a stop-watch: the plan names one.
pub(super) fn serves(ctx: &Context) -> bool {
    ctx.inputs().plan.instrument(Measurand::Time, None).is_some()
}

/// Says of a figure that it was read off the watch, where times are.
pub(super) fn read_off(ctx: &Context, mut finding: Finding) -> Finding {
    let watch = ctx.inputs().plan.instrument(Measurand::Time, None).map(Instrument::label);
    if let Some(figure) = finding.measured.as_mut().filter(|_| watch.is_some()) {
        figure.by = watch;
    }
    finding
}

/// The time as it stands at the watch. `Err`: why there is none.
pub(super) async fn time(ctx: &Context, timing: Timing) -> Result<Estimate, String> {
    let most = ctx.inputs().plan.advanced.supply.most_again;
    let (mut why, mut doubted) = (String::new(), None);
    for _ in 0..most {
        let what = format!("the time {}{why}", timing.what);
        let asking = Asking { quantity: timing.quantity, what, about: timing.about_s };
        let Read { estimate, .. } = ctx.read_off(asking).await?;
        let (seconds, passed) = (estimate.value, ctx.now().since(timing.asked).as_secs_f64());
        match doubt(seconds, passed, &timing) {
            None => return Ok(estimate),
            Some(Doubt::Hardly(_)) if doubted == Some(seconds) => return Ok(estimate),
            Some(Doubt::Never(because)) => why = format!(" ({seconds} s was not taken: {because})"),
            Some(Doubt::Hardly(because)) => {
                doubted = Some(seconds);
                why = format!(" ({seconds} s was not taken: {because}; type it once more if the watch shows it)");
            }
        }
    }
    Err("no time was typed that can be right".into())
}

/// What speaks against a time.
#[derive(Debug, PartialEq)]
enum Doubt {
    Never(String),
    Hardly(String),
}
fn doubt(seconds: f64, passed: f64, timing: &Timing) -> Option<Doubt> {
    if seconds <= 0.0 {
        return Some(Doubt::Never("it is no time".into()));
    }
    if seconds > passed {
        return Some(Doubt::Never(format!("only {passed:.0} s have passed since it could begin")));
    }
    if seconds < timing.earliest_s {
        return Some(Doubt::Hardly(format!("nothing is expected before {:.0} s", timing.earliest_s)));
    }
    let same = timing.before_s.is_some_and(|before| libm::fabs(before - seconds) < 1e-6);
    same.then(|| Doubt::Hardly("it is the very number of the run before".into()))
}

/// How much later than a release the watch is started on the mean, s, and the standard uncertainty of that: at a call by radio.
fn late(mark: ReleaseMark) -> (f64, f64) {
    let call = match mark {
        ReleaseMark::ByRadio => Release::by_radio(Instant::START),
        ReleaseMark::ByHand | ReleaseMark::Device => Release::by_hand(Instant::START),
    };
    (call.correction_s(), (call.late_max_s - call.late_min_s) / libm::sqrt(12.0))
}

/// What stood at the watch where this time came of it, s.
pub(super) fn stood_s(ctx: &Context, smoke_s: f64) -> f64 {
    let plan = &ctx.inputs().plan;
    smoke_s - late(plan.smoke.mark).0 + plan.advanced.typed.seen_late_s
}

/// A smoke's time by a watch: the watch is pressed at the release, or at a call that comes late by radio, and at what shows at the
/// unit, with the uncertainty of a glance. What the watch's certificate leaves open is common to all its times.
pub(super) fn of_smoke(ctx: &Context, read: Estimate) -> Estimate {
    let plan = &ctx.inputs().plan;
    let typed = &plan.advanced.typed;
    let (later_s, late_u) = late(plan.smoke.mark);
    let own = hypot(hypot(read.u_individual, typed.seen_u_s), typed.press_u_s);
    Estimate::new((read.value + later_s - typed.seen_late_s).max(0.0), hypot(read.u_common, late_u), own)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::HoleRef;

    #[test]
    fn what_can_not_be_is_never_taken_and_what_hardly_is_only_twice() {
        let at = HoleRef { inlet: 1, number: 3 };
        let timing = Timing {
            quantity: Metered::SmokeTime { at, from_n_m: None },
            what: "of a test".into(),
            asked: Instant::START,
            earliest_s: 10.0,
            before_s: Some(23.41),
            about_s: None,
        };
        let of = |seconds| doubt(seconds, 60.0, &timing);
        assert_eq!(of(23.4), None);
        assert!(matches!(of(0.0), Some(Doubt::Never(_))) && matches!(of(-3.0), Some(Doubt::Never(_))));
        assert!(matches!(of(60.5), Some(Doubt::Never(_))), "longer than has passed");
        assert!(matches!(of(9.9), Some(Doubt::Hardly(_))), "before the first arrival");
        assert!(matches!(of(23.41), Some(Doubt::Hardly(_))), "the same number");
        // Two digits swapped: 23.4 as 32.4 can be, 43.2 of 40 s that have passed can't.
        assert!(matches!(doubt(43.2, 40.0, &timing), Some(Doubt::Never(_))));
    }
}
