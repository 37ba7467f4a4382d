//! Whether outputs, zone and release circuits were given back, and over which air.
use crate::{
    facts::{Fact, list, restore as fact},
    outcome::{Finding, Outcome, StageKind, Subject},
};
use plumeline_base::Verdict;
use plumeline_detector::{Faults, Trouble};

/// What is found about the unit at hand-back.
pub(crate) fn of_unit(fact: Fact) -> Finding {
    Finding::of(StageKind::Restore, Subject::Replacement, fact)
}
/// What is found about the zone at hand-back.
pub(crate) fn of_zone(fact: Fact) -> Finding {
    Finding::of(StageKind::Restore, Subject::Zone, fact)
}

/// An inhibit that did not hold all the time: what the outputs did meanwhile only the panel tells.
pub(crate) fn lapses(all: &[Trouble], nothing_operated: bool) -> Option<Finding> {
    let (first, times) = (all.first()?, all.len());
    Some(of_unit(if nothing_operated { fact::lapse_harmless(times, first) } else { fact::lapse_open(times, first) }))
}

/// Why outputs are not given back: by the levels that are active or latched in a fresh reading, if there is one.
pub(crate) fn kept(levels: Option<u32>) -> Option<Finding> {
    match levels {
        Some(0) => None,
        Some(_) => Some(of_unit(fact::kept_level_stands())),
        None => Some(of_unit(fact::kept_no_reading())),
    }
}

/// How the unit took it that its outputs are given back.
pub(crate) fn given_back(end: Result<(), &Trouble>) -> Finding {
    of_unit(match end {
        Ok(()) => fact::given_back(),
        Err(trouble) => fact::not_given_back(trouble, trouble.remedy()),
    })
}

/// What the unit still reports; `None`: it does not tell. Without a baseline of this job that fault is its consequence, not a finding against the unit.
pub(crate) fn faults(standing: Option<Faults>, baseline: Verdict) -> Finding {
    let Some(standing) = standing else { return of_unit(fact::faults_not_told()) };
    let named = [
        (Faults::FLOW, "airflow"),
        (Faults::FAN, "fan"),
        (Faults::SENSOR, "sensor"),
        (Faults::SUPPLY, "supply"),
        (Faults::BATTERY, "battery"),
        (Faults::SETTINGS, "settings"),
        (Faults::INHIBIT_LAPSED, "inhibit lapsed"),
        (Faults::NO_BASELINE, "no airflow baseline"),
        (Faults::COVER, "cover open"),
        (Faults::FILTER, "filter due"),
        (Faults::OTHER, "other"),
    ];
    let names = list(named.iter().filter(|(f, _)| standing.has(*f)).map(|(_, n)| *n));
    of_unit(if standing.is_clear() {
        fact::no_fault()
    } else if names.is_empty() {
        // A fault that has no name here is a fault.
        fact::fault_stands("one without a name")
    } else if standing == Faults::NO_BASELINE && baseline != Verdict::Pass {
        fact::no_baseline_fault(names)
    } else {
        fact::fault_stands(names)
    })
}

/// Everything that counts was shown.
pub(crate) fn all_proven(findings: &[Finding]) -> bool {
    findings.iter().all(|f| !f.stage.judges() || f.counts_as() == Verdict::Pass)
}
/// What operates the release was shown: the unit, its settings and each output. Nothing shown proves nothing.
pub(crate) fn release_proven(outcome: &Outcome) -> bool {
    [StageKind::Boot, StageKind::Load, StageKind::Outputs].iter().all(|stage| {
        let of_stage = outcome.findings.iter().filter(|f| f.stage == *stage && f.stands());
        Verdict::over(of_stage.map(Finding::counts_as)) == Verdict::Pass
    })
}

/// What the technician says of the zone and of the release circuits.
pub(crate) fn put_back(zone_restored: bool, unlocked: bool) -> [Finding; 2] {
    let zone = if zone_restored { fact::zone_restored() } else { fact::zone_still_isolated() };
    let lock = if unlocked { fact::unlocked() } else { fact::still_locked_off() };
    [of_zone(zone), of_zone(lock)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outputs_are_given_back_only_over_a_fresh_reading_without_a_level() {
        assert_eq!(kept(Some(0)), None);
        assert!(kept(Some(2)).is_some_and(|f| f.code == "restore.kept-level-stands"));
        assert!(kept(None).is_some_and(|f| f.code == "restore.kept-no-reading"));
        assert!(given_back(Ok(())).verdict.is_pass());
        let refused = given_back(Err(&Trouble::Silent));
        assert!(refused.code == "restore.not-given-back" && refused.next.as_deref() == Some(Trouble::Silent.remedy()));
    }
    #[test]
    fn a_lapse_counts_unless_nothing_was_operated() {
        assert_eq!(lapses(&[], false), None);
        assert!(lapses(&[Trouble::Silent], true).is_some_and(|f| f.verdict == Verdict::Pass));
        assert!(lapses(&[Trouble::Silent], false).is_some_and(|f| f.verdict == Verdict::Undecided));
    }
    #[test]
    fn a_fault_fails_but_for_the_baseline_that_was_not_shown() {
        assert_eq!(faults(Some(Faults::default()), Verdict::Pass).verdict, Verdict::Pass);
        assert_eq!(faults(Some(Faults::NO_BASELINE), Verdict::Undecided).verdict, Verdict::Undecided);
        assert_eq!(faults(Some(Faults::NO_BASELINE), Verdict::Pass).verdict, Verdict::Fail);
        let two = faults(Some(Faults(Faults::NO_BASELINE.0 | Faults::FAN.0)), Verdict::Undecided);
        assert_eq!((two.verdict, two.told["faults"].as_str()), (Verdict::Fail, "fan, no airflow baseline"));
        let unnamed = Faults(1 << 31);
        assert_eq!([Faults::OTHER, unnamed].map(|f| faults(Some(f), Verdict::Pass).verdict), [Verdict::Fail; 2]);
        assert_eq!(faults(None, Verdict::Pass).verdict, Verdict::Undecided, "not told is not free of faults");
    }
    #[test]
    fn what_is_not_put_back_stays_open() {
        assert!(put_back(true, true).iter().all(|f| f.verdict.is_pass()));
        assert!(put_back(false, false).iter().all(|f| f.verdict == Verdict::Undecided && f.next.is_some()));
    }
}
