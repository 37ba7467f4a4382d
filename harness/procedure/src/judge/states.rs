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
fn not_at_work(reading: &Reading) -> impl Iterator<Item = Fact> {
    let conditions = reading.conditions;
    NOT_AT_WORK.into_iter().filter(move |(c, _)| conditions.has(*c)).map(|(_, fact)| fact())
}

/// Whether the unit is at its usual work, by the latest reading; without one nothing is shown.
pub(crate) fn before_measuring(stage: StageKind, reading: Option<&Reading>) -> Vec<Finding> {
    let facts = match reading {
        None => alloc::vec![fact::no_reading()],
        Some(reading) => not_at_work(reading).collect(),
    };
    of(stage, facts)
}

/// In which state the unit is left, by a reading of after the outputs were given back; without one nothing is shown.
pub(crate) fn as_left(reading: Option<&Reading>, outputs: Followed) -> Vec<Finding> {
    let Some(reading) = reading else { return of(StageKind::Restore, alloc::vec![fact::no_reading()]) };
    let mut facts: Vec<Fact> = not_at_work(reading).collect();
    let held =
        [(Conditions::INHIBITED, fact::still_inhibited as fn() -> Fact), (Conditions::DRIVEN, fact::still_driven)];
    facts.extend(held.into_iter().filter(|(c, _)| reading.conditions.has(*c)).map(|(_, fact)| fact()));
    let numbers = |bits: u32| list((1..=32u8).filter(|n| bits & bit(*n) != 0));
    if reading.levels | reading.latched != 0 {
        facts.push(fact::level_stands(numbers(reading.levels | reading.latched)));
    }
    // An alarm that stands accounts for its outputs, and is told by itself.
    let unasked = outputs.unasked(reading);
    if unasked != 0 && reading.levels | reading.latched == 0 {
        facts.push(fact::output_operated(numbers(unasked)));
    }
    if !reading.faults_latched.is_clear() && reading.faults.is_clear() {
        facts.push(fact::fault_latched());
    }
    if reading.flow_low | reading.flow_high != 0 && !reading.faults.has(Faults::FLOW) {
        facts.push(fact::inlet_without_fault(numbers(reading.flow_low | reading.flow_high)));
    }
    of(StageKind::Restore, facts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::String;

    fn codes(findings: Vec<Finding>) -> Vec<String> {
        findings.iter().map(|f| f.code.as_str().into()).collect()
    }
    fn left(reading: Reading) -> Vec<String> {
        codes(as_left(Some(&reading), Followed { level: 0b110, fault: 0b001 }))
    }

    #[test]
    fn a_unit_that_is_not_at_its_work_shows_nothing() {
        let told =
            |c| codes(before_measuring(StageKind::Settle, Some(&Reading { conditions: c, ..Reading::default() })));
        assert_eq!(told(Conditions::default()), ["states.at-work"]);
        assert_eq!(told(Conditions::INHIBITED), ["states.at-work"], "its outputs are inhibited all the time");
        assert_eq!(told(Conditions::FAN_NOT_AT_SPEED), ["states.fan-not-at-speed"]);
        assert_eq!(told(Conditions::LEARNING), ["states.learning"]);
        assert_eq!(
            told(Conditions(Conditions::STARTING.0 | Conditions::OTHER.0)),
            ["states.starting", "states.unknown"]
        );
        assert_eq!(codes(before_measuring(StageKind::Settle, None)), ["states.no-reading"]);
    }
    #[test]
    fn nothing_may_stand_when_it_is_left() {
        assert_eq!(left(Reading::default()), ["states.at-work"]);
        assert_eq!(
            left(Reading { conditions: Conditions::INHIBITED, ..Reading::default() }),
            ["states.still-inhibited"]
        );
        assert_eq!(left(Reading { conditions: Conditions::DRIVEN, ..Reading::default() }), ["states.still-driven"]);
        assert_eq!(left(Reading { latched: 2, ..Reading::default() }), ["states.level-stands"]);
        assert_eq!(
            left(Reading { outputs: 0b1000, ..Reading::default() }),
            ["states.at-work"],
            "one that shows the power"
        );
        assert_eq!(left(Reading { outputs: 4, ..Reading::default() }), ["states.output-operated"]);
        assert_eq!(left(Reading { faults_latched: Faults::FILTER, ..Reading::default() }), ["states.fault-latched"]);
        assert_eq!(left(Reading { flow_low: 1, ..Reading::default() }), ["states.inlet-without-fault"]);
        // A fault that stands is told by itself, with what follows from it.
        let fault = Reading {
            faults: Faults::FLOW,
            faults_latched: Faults::FLOW,
            outputs: 1,
            flow_low: 1,
            ..Reading::default()
        };
        assert_eq!(left(fault), ["states.at-work"]);
        assert_eq!(codes(as_left(None, Followed::default())), ["states.no-reading"]);
    }
}
