//! Whether the unit's clock is at the time that was set, and its local time the planned one.
use crate::{
    facts::clock as fact,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
};
use alloc::{format, string::String};
use plumeline_detector::UnitTime;

/// The unit's time against the job's, ms UTC. The job's own comes from the computer's date at each take-up: after a pause
/// it can't be told which of the two is off.
pub(crate) fn time(stage: StageKind, unit: Option<u64>, ours: Option<u64>, paused: bool, limit: Limit) -> Finding {
    let off_s = unit.zip(ours).map(|(unit, ours)| (unit as f64 - ours as f64) / 1e3);
    let fact = match off_s {
        None => fact::lost(),
        Some(off) if libm::fabs(off) <= limit.value => fact::kept(),
        Some(_) if paused => fact::off_after_pause(),
        Some(_) => fact::off(),
    };
    let mut f = Finding::of(stage, Subject::Replacement, fact);
    f.measured = off_s.map(|s| Figure::plain(s, "s"));
    f.limit = Some(limit);
    f
}

/// The unit's local time against the plan's, where it states one.
pub(crate) fn zone(stage: StageKind, told: UnitTime, planned: Option<i64>) -> Finding {
    let has = words(told.zone_min);
    let fact = match planned {
        None => fact::zone_not_planned(has),
        Some(planned) if planned == told.zone_min => fact::zone_as_planned(has),
        Some(planned) => fact::zone_differs(has, words(planned)),
    };
    Finding::of(stage, Subject::Replacement, fact)
}

fn words(min: i64) -> String {
    format!("UTC{}{:02}:{:02}", if min < 0 { '-' } else { '+' }, min.abs() / 60, min.abs() % 60)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Mark;
    use plumeline_base::Verdict;

    #[test]
    fn a_clock_that_is_off_fails_unless_ours_may_be() {
        let at = |unit, paused| {
            let limit = Limit { value: 2.0, unit: "s".into(), source: "a test".into(), mark: Mark::ThisJob };
            let f = time(StageKind::Load, unit, Some(1_000_000), paused, limit);
            (String::from(f.code.as_str()), f.verdict)
        };
        assert_eq!(at(Some(1_001_900), false), ("clock.kept".into(), Verdict::Pass));
        assert_eq!(at(Some(1_002_100), false), ("clock.off".into(), Verdict::Fail));
        assert_eq!(at(Some(997_000), true), ("clock.off-after-pause".into(), Verdict::Undecided));
        assert_eq!(at(None, false), ("clock.lost".into(), Verdict::Fail));
    }
    #[test]
    fn the_zone_is_held_against_the_plan() {
        let zone = |planned| {
            let f = zone(StageKind::Load, UnitTime { utc_ms: None, zone_min: -210 }, planned);
            (f.verdict, f.told["zone"].clone(), f.code)
        };
        assert_eq!(zone(None), (Verdict::Pass, "UTC-03:30".into(), crate::facts::Code::of("clock.zone-not-planned")));
        assert_eq!(zone(Some(-210)).0, Verdict::Pass);
        assert_eq!(zone(Some(60)).0, Verdict::Fail);
    }
}
