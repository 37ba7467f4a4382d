//! What the unit says of its own state, where that state decides what its readings are worth: before flows are measured, and
//! when it is left alone.
use super::inhibit::Followed;
use crate::{
    facts::{Fact, list, states as fact},
    outcome::{Finding, StageKind, Subject},
};
use alloc::vec::Vec;
use plumeline_detector::{Conditions, Faults, Reading, bit};

/// Conditions under which no reading stands for the unit's usual work.
const NOT_AT_WORK: [(Conditions, fn() -> Fact); 5] = [
    (Conditions::STARTING, fact::starting),
    (Conditions::FAN_NOT_AT_SPEED, fact::fan_not_at_speed),
    (Conditions::LEARNING, fact::learning),
    (Conditions::TAKING_BASELINE, fact::taking_baseline),
    (Conditions::OTHER, fact::unknown_condition),
];

fn of(stage: StageKind, facts: Vec<Fact>) -> Vec<Finding> {
    let sound = facts.is_empty().then(fact::at_work);
    facts.into_iter().chain(sound).map(|fact| Finding::of(stage, Subject::Replacement, fact)).collect()
}
/// What the unit says of its work; that it does not say it shows nothing.
fn not_at_work(reading: &Reading) -> Vec<Fact> {
    match reading.conditions {
        None => alloc::vec![fact::not_told("its own state")],
        Some(is) => NOT_AT_WORK.into_iter().filter(|(c, _)| is.has(*c)).map(|(_, fact)| fact()).collect(),
    }
}

/// Whether the unit is at its usual work, by the latest reading; without one nothing is shown.
pub(crate) fn before_measuring(stage: StageKind, reading: Option<&Reading>) -> Vec<Finding> {
    let facts = match reading {
        None => alloc::vec![fact::no_reading()],
        Some(reading) => not_at_work(reading),
    };
    of(stage, facts)
}

/// In which state the unit is left, by a reading of after the outputs were given back; without one nothing is shown.
pub(crate) fn as_left(reading: Option<&Reading>, outputs: Followed) -> Vec<Finding> {
    let Some(reading) = reading else { return of(StageKind::Restore, alloc::vec![fact::no_reading()]) };
    let mut facts = not_at_work(reading);
    let held =
        [(Conditions::INHIBITED, fact::still_inhibited as fn() -> Fact), (Conditions::DRIVEN, fact::still_driven)];
    let is = reading.conditions.unwrap_or_default();
    facts.extend(held.into_iter().filter(|(c, _)| is.has(*c)).map(|(_, fact)| fact()));
    let numbers = |bits: u32| list((1..=32u8).filter(|n| bits & bit(*n) != 0));
    let levels = reading.levels_standing();
    match (levels, reading.outputs) {
        (None, _) => facts.push(fact::not_told("its alarm levels")),
        (Some(0), None) => facts.push(fact::not_told("its outputs")),
        (Some(0), Some(_)) => match outputs.unasked(reading) {
            0 => {}
            unasked => facts.push(fact::output_operated(numbers(unasked))),
        },
        // An alarm that stands accounts for its outputs, and is told by itself.
        (Some(levels), _) => facts.push(fact::level_stands(numbers(levels))),
    }
    match (reading.faults, reading.faults_latched) {
        (Some(faults), Some(latched)) if faults.is_clear() && !latched.is_clear() => facts.push(fact::fault_latched()),
        (Some(_), Some(_)) => {}
        _ => facts.push(fact::not_told("its faults")),
    }
    let inlets = reading.flow_low.unwrap_or(0) | reading.flow_high.unwrap_or(0);
    if inlets != 0 && reading.has_fault(Faults::FLOW) == Some(false) {
        facts.push(fact::inlet_without_fault(numbers(inlets)));
    }
    of(StageKind::Restore, facts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::String;
    use plumeline_base::Verdict;

    fn codes(findings: Vec<Finding>) -> Vec<String> {
        findings.iter().map(|f| f.code.as_str().into()).collect()
    }
    fn left(reading: Reading) -> Vec<String> {
        codes(as_left(Some(&reading), Followed { level: 0b110, fault: 0b001 }))
    }

    #[test]
    fn a_unit_that_is_not_at_its_work_shows_nothing() {
        let told = |c| {
            codes(before_measuring(StageKind::Settle, Some(&Reading { conditions: Some(c), ..Reading::default() })))
        };
        assert_eq!(told(Conditions::default()), ["states.at-work"]);
        assert_eq!(told(Conditions::INHIBITED), ["states.at-work"], "its outputs are inhibited all the time");
        assert_eq!(told(Conditions::FAN_NOT_AT_SPEED), ["states.fan-not-at-speed"]);
        assert_eq!(told(Conditions::LEARNING), ["states.learning"]);
        assert_eq!(
            told(Conditions(Conditions::STARTING.0 | Conditions::OTHER.0)),
            ["states.starting", "states.unknown"]
        );
        assert_eq!(codes(before_measuring(StageKind::Settle, None)), ["states.no-reading"]);
        assert_eq!(codes(before_measuring(StageKind::Settle, Some(&Reading::default()))), ["states.not-told"]);
    }
    #[test]
    fn nothing_may_stand_when_it_is_left() {
        assert_eq!(left(Reading::clear()), ["states.at-work"]);
        assert_eq!(
            left(Reading { conditions: Some(Conditions::INHIBITED), ..Reading::clear() }),
            ["states.still-inhibited"]
        );
        assert_eq!(left(Reading { conditions: Some(Conditions::DRIVEN), ..Reading::clear() }), ["states.still-driven"]);
        assert_eq!(left(Reading { latched: Some(2), ..Reading::clear() }), ["states.level-stands"]);
        assert_eq!(
            left(Reading { outputs: Some(0b1000), ..Reading::clear() }),
            ["states.at-work"],
            "one that shows the power"
        );
        assert_eq!(left(Reading { outputs: Some(4), ..Reading::clear() }), ["states.output-operated"]);
        assert_eq!(
            left(Reading { faults_latched: Some(Faults::FILTER), ..Reading::clear() }),
            ["states.fault-latched"]
        );
        assert_eq!(left(Reading { flow_low: Some(1), ..Reading::clear() }), ["states.inlet-without-fault"]);
        // A fault that stands is told by itself, with what follows from it.
        let fault = Reading {
            faults: Some(Faults::FLOW),
            faults_latched: Some(Faults::FLOW),
            outputs: Some(1),
            flow_low: Some(1),
            ..Reading::clear()
        };
        assert_eq!(left(fault), ["states.at-work"]);
        assert_eq!(codes(as_left(None, Followed::default())), ["states.no-reading"]);
        // What is not told is not clear: one finding for each kind, all of them undecided.
        let silent = as_left(Some(&Reading::default()), Followed::default());
        assert!(silent.iter().all(|f| f.code == "states.not-told" && f.verdict == Verdict::Undecided), "{silent:?}");
        let what: Vec<&str> = silent.iter().map(|f| f.told["what"].as_str()).collect();
        assert_eq!(what, ["its own state", "its alarm levels", "its faults"]);
        assert_eq!(left(Reading { outputs: None, ..Reading::clear() }), ["states.not-told"]);
    }
}
