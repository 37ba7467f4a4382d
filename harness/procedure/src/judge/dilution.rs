//! How smoke at the unit thickens when the inlet of another pipe is shut: air that the unit does not tell keeps it thin.
//!
//! The smoke of one hole is thinned by all air of the unit. Its strength nobody knows; but with another pipe's air gone, it thickens
//! by a ratio that the told flows give, whatever its strength and the gain of the sensor: smoke * (all air) / (flow of its own
//! pipe) stays. Air that is not told is in the first part and not in the readings. Not here: fan and pipework, which this
//! hangs on only in that untold air is drawn by the suction that draws a pipe's.
use super::decide_in_looks;
use crate::{
    facts::{Fact, dilution as fact, fixed},
    job::JobInputs,
    mean_flow::coverage_factor,
    outcome::{Figure, Finding, StageKind, Subject},
};
use alloc::vec::Vec;
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::decide::Limits;

/// What was read while smoke was held.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Held {
    /// The obscuration at the unit, 1/m, and its standard uncertainty by its scatter.
    pub(crate) smoke: f64,
    pub(crate) u: f64,
    /// The flows of all inlets; 0 where none is told.
    pub(crate) flows: Vec<f64>,
}

/// One inlet shut and put back while smoke was held at a hole of another pipe.
#[derive(Clone, Debug)]
pub(crate) struct Shutting {
    /// The inlet of the smoke's own pipe, and the one that was shut.
    pub(crate) own: u8,
    pub(crate) shut: u8,
    pub(crate) before: Held,
    pub(crate) closed: Held,
    pub(crate) after: Held,
}

/// The flows by which smoke thickens.
struct Told {
    /// All inlets before, and all while one is shut.
    all: f64,
    left: f64,
    /// By how much the smoke's own pipe draws more while the other is shut.
    gain: f64,
}
impl Told {
    /// By how much smoke thickens beside untold air of this share of all.
    fn thickens(&self, share: f64) -> f64 {
        (self.all + share * self.all) / (self.left / self.gain + share * self.all)
    }
    /// The untold air, as a share of all, beside which smoke thickens so; `None`: more than can be told.
    fn share(&self, thickens: f64) -> Option<f64> {
        (thickens > 1.0).then(|| (self.all - thickens * self.left / self.gain) / (thickens - 1.0) / self.all)
    }
}

impl Shutting {
    /// With the flow of one inlet (counted from 0) so much greater than told: the readings of an inlet are off always alike.
    fn told(&self, off: Option<(usize, f64)>) -> Option<Told> {
        let scale = |i: usize| off.filter(|(of, _)| *of == i).map_or(1.0, |(_, by)| 1.0 + by);
        let all = |held: &Held| held.flows.iter().enumerate().map(|(i, q)| q * scale(i)).sum::<f64>();
        let own = |held: &Held| held.flows.get(usize::from(self.own).checked_sub(1)?).copied();
        let before = 0.5 * (own(&self.before)? + own(&self.after)?);
        let gain = own(&self.closed)? / before;
        let told = Told { all: 0.5 * (all(&self.before) + all(&self.after)), left: all(&self.closed), gain };
        (told.all > 0.0 && told.left > 0.0 && told.gain > 0.0 && told.gain.is_finite()).then_some(told)
    }
    /// By how much the smoke thickened, and its relative standard uncertainty. The hole's part of its pipe's flow changes a little with the
    /// suction: `model_u`.
    fn thickened(&self, model_u: f64) -> Option<(f64, f64)> {
        let (a, b) = (&self.before, &self.after);
        let open = 0.5 * (a.smoke + b.smoke);
        // What it changed between the looks with the inlet open, it may have been off while it was shut.
        let u = libm::hypot((b.smoke - a.smoke) / libm::sqrt(12.0), 0.5 * libm::hypot(a.u, b.u)) / open;
        let relative = libm::hypot(libm::hypot(u, self.closed.u / self.closed.smoke), model_u);
        let ratio = self.closed.smoke / open;
        (open > 0.0 && ratio.is_finite() && relative.is_finite()).then_some((ratio, relative))
    }
    /// The inlet that was to be shut drew less than half of what it did. Of one that the unit does not tell while it is shut nothing
    /// speaks against it.
    pub(crate) fn is_shut(&self) -> bool {
        let flow = |held: &Held| usize::from(self.shut).checked_sub(1).and_then(|i| held.flows.get(i)).copied();
        !matches!((flow(&self.before), flow(&self.closed)), (Some(before), Some(closed)) if closed > 0.5 * before)
    }
    /// The smoke went with the pipe that was shut: it is in the other's inlet.
    pub(crate) fn is_crossed(&self) -> bool {
        let open = 0.5 * (self.before.smoke + self.after.smoke);
        self.closed.smoke < 0.2 * open
    }
}

fn of_unit(fact: Fact) -> Finding {
    Finding::of(StageKind::ProveSmoke, Subject::Replacement, fact)
}

/// Why it was not tried.
pub(crate) fn not_tried(why: &str) -> Finding {
    of_unit(fact::not_tried(why))
}
/// The plan goes without it.
pub(crate) fn left_out() -> Finding {
    of_unit(fact::goes_without())
}
/// The inlet was left shut.
pub(crate) fn not_put_back(inlet: u8, why: &str) -> Finding {
    of_unit(fact::not_put_back(inlet, why))
}

/// What it shows, and the most untold air that it leaves open, as a share of the air of all pipes.
pub(crate) fn judged(inputs: &JobInputs, seen: &Shutting) -> (Finding, Option<f64>) {
    let rules = &inputs.plan.advanced.inlets;
    let (Some(told), Some((ratio, relative))) = (seen.told(None), seen.thickened(rules.thickens_u)) else {
        return (not_tried("the flows or the smoke were not told all the time"), None);
    };
    let expected = told.thickens(0.0);
    if expected < rules.thickens_least {
        return (not_tried("the pipe that was shut draws too little of the air"), None);
    }
    let limit = &inputs.plan.holes.worse;
    let each = inputs.plan.flow.calibration_individual;
    let by_sensor = |i: usize| seen.told(Some((i, each))).map_or(f64::NAN, |t| t.thickens(0.0) / expected - 1.0);
    let sensors = (0..seen.before.flows.len()).map(|i| by_sensor(i) * by_sensor(i)).sum::<f64>();
    let u = ratio * libm::sqrt(relative * relative + sensors);
    let value = Estimate::new(ratio, 0.0, u);
    let wide = coverage_factor(inputs) * u;
    let shown = |ratio: f64| told.share(ratio).filter(|s| *s < 9.99);
    let percent = |share: Option<f64>| share.map_or_else(|| "over 999".into(), |s| fixed(s * 100.0, 0));
    let (share, most) = (shown(ratio), shown(ratio - wide));
    let noise = inputs.plan.advanced.holes.noise * u;
    let least = shown(ratio + noise);
    let least_thick = Limits::at_least(told.thickens(limit.value));
    let ruling = decide_in_looks(inputs, &value, f64::INFINITY, &least_thick, None, (1.0, rules.looks));
    let mut f = of_unit(match ruling.as_ref().map(|r| r.verdict) {
        Err(error) => fact::not_tried(error),
        Ok(Verdict::Pass) if ratio - noise > expected => {
            fact::thicker(seen.shut, fixed((ratio / expected - 1.0) * 100.0, 0))
        }
        // What may be told of an unused inlet may be as much and no more where it is not told.
        Ok(Verdict::Pass) if least.is_some_and(|least| least > inputs.plan.flow.unused_inlet.value) => {
            fact::some_air(seen.shut, percent(share))
        }
        Ok(Verdict::Pass) => fact::as_told(seen.shut, percent(share), percent(most)),
        Ok(Verdict::Fail) => fact::more_air(seen.shut, percent(share)),
        Ok(Verdict::Undecided) => fact::near_limit(seen.shut, percent(share), percent(most)),
    });
    f.measured = Some(Figure::with(ratio, wide, "times"));
    f.expected = Some(Figure::plain(expected, "times"));
    f.limit = Some(limit.clone());
    f.decision = ruling.ok().map(|r| r.numbers);
    let shows = f.verdict == Verdict::Pass;
    (f, most.filter(|_| shows).map(|s| s.max(0.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;
    use alloc::{borrow::ToOwned, string::String, vec};

    /// Two pipes of 30 and 20 beside untold air of so much; the fan gives a tenth more to what is left.
    fn seen(untold: f64) -> Shutting {
        let held = |own: f64, other: f64, untold: f64| Held {
            smoke: 0.02 * own / (own + other + untold),
            u: 1e-5,
            flows: vec![own, other, 0.0],
        };
        Shutting {
            own: 1,
            shut: 2,
            before: held(30.0, 20.0, untold),
            closed: held(33.0, 0.0, 1.1 * untold),
            after: held(30.0, 20.0, untold),
        }
    }
    fn code(seen: &Shutting) -> (String, Option<f64>) {
        let (f, most) = judged(&sample::inputs(), seen);
        (f.code.as_str().to_owned(), most)
    }
    #[test]
    fn smoke_that_thickens_as_told_leaves_little_room_for_other_air() {
        let (found, most) = code(&seen(0.0));
        assert_eq!(found, "dilution.as-told");
        assert!(most.is_some_and(|m| m > 0.0 && m < 0.12), "{most:?}");
    }
    #[test]
    fn air_that_is_not_told_keeps_smoke_thin() {
        for untold in [18.0, 40.0, 400.0] {
            let (f, most) = judged(&sample::inputs(), &seen(untold));
            assert_eq!((f.code.as_str(), most), ("dilution.untold-air", None), "{untold}");
        }
        let (f, _) = judged(&sample::inputs(), &seen(25.0));
        assert_eq!(f.told["percent"], "50", "of what is told");
        assert_eq!(code(&seen(7.5)).0, "dilution.near-limit");
        assert_eq!(code(&seen(5.0)).0, "dilution.some-untold-air");
        // A little air passes, and is stated.
        let (found, most) = code(&seen(1.0));
        assert!(found == "dilution.as-told" && most > Some(0.02), "{most:?}");
    }
    #[test]
    fn what_does_not_fit_or_was_not_told_is_open() {
        let open = |change: &dyn Fn(&mut Shutting)| {
            let mut s = seen(0.0);
            change(&mut s);
            code(&s).0
        };
        assert_eq!(open(&|s| s.closed.smoke *= 1.3), "dilution.thicker-than-told");
        assert_eq!(open(&|s| s.after.smoke *= 1.6), "dilution.near-limit", "unsteady");
        assert_eq!(open(&|s| s.closed.smoke = f64::NAN), "dilution.not-tried");
        assert_eq!(open(&|s| s.before.flows.clear()), "dilution.not-tried");
        assert_eq!(open(&|s| s.closed.flows = vec![30.0, 20.0, 0.0]), "dilution.not-tried", "it was not shut");
        let mut other = seen(0.0);
        other.closed.flows = vec![0.0, 22.0, 0.0];
        assert!(!other.is_shut() && seen(18.0).is_shut(), "the inlet of the smoke's own pipe");
        let mut crossed = seen(0.0);
        crossed.closed.smoke = 0.0;
        assert!(crossed.is_crossed() && !seen(400.0).is_crossed());
    }
}
