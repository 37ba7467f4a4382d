//! Whether an inhibit holds, by what a reading tells while it should.
use crate::{
    facts::inhibit as fact,
    outcome::{Finding, StageKind, Subject},
    state::JobState,
};
use plumeline_detector::{Reading, bit};

/// What a reading shows of the inhibit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Held {
    /// Nothing speaks against it.
    Yes,
    /// The unit says that its outputs are not inhibited.
    NotTold,
    /// An output is operated that should be held back.
    Operated(u8),
}

/// Outputs that an inhibit holds back, as far as that is known: bits of those that certainly follow an alarm, and of those
/// that may follow a fault and so be operated.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct HeldBack {
    pub(crate) alarms: u32,
    pub(crate) may_follow_fault: u32,
}

/// What is known of the outputs: before the settings are read back, any may follow a fault.
pub(crate) fn held_back(_: &JobState) -> HeldBack {
    HeldBack { alarms: 0, may_follow_fault: u32::MAX }
}

/// Holds one reading against what an inhibit promises. `driven`: outputs that are operated for test.
pub(crate) fn look(reading: &Reading, driven: u32, outputs: HeldBack) -> Held {
    let by_fault = if reading.faults.is_clear() { 0 } else { outputs.may_follow_fault & !outputs.alarms };
    let unasked = reading.outputs & !driven & !by_fault;
    match (1..=32).find(|n| unasked & bit(*n) != 0) {
        Some(output) => Held::Operated(output),
        None if !reading.inhibited() => Held::NotTold,
        None => Held::Yes,
    }
}

/// The finding, where there is one.
pub(crate) fn finding(stage: StageKind, held: Held) -> Option<Finding> {
    match held {
        Held::Yes => None,
        Held::NotTold => Some(Finding::of(stage, Subject::Replacement, fact::not_told())),
        Held::Operated(output) => Some(Finding::of(stage, Subject::Output(output), fact::operated(output))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_detector::{Conditions, Faults};

    #[test]
    fn an_operated_output_is_seen_unless_it_is_driven_or_follows_a_fault() {
        let held = |outputs, faults, driven| {
            let reading = Reading { outputs, faults, conditions: Conditions::INHIBITED, ..Reading::default() };
            look(&reading, driven, HeldBack { alarms: 0b1110, may_follow_fault: 0b0001 })
        };
        assert_eq!(held(0, Faults::default(), 0), Held::Yes);
        assert_eq!(held(0b0100, Faults::default(), 0), Held::Operated(3));
        assert_eq!(held(0b0100, Faults::FLOW, 0), Held::Operated(3), "a fault is no reason for an alarm's output");
        assert_eq!(held(0b0100, Faults::default(), 0b0100), Held::Yes);
        assert_eq!(held(0b0001, Faults::default(), 0), Held::Operated(1), "no fault stands");
        assert_eq!(held(0b0001, Faults::FLOW, 0), Held::Yes);
        let silent = Reading::default();
        assert_eq!(look(&silent, 0, HeldBack::default()), Held::NotTold);
    }
}
