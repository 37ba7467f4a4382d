//! Whether an inhibit holds, by what a reading tells while it should.
use crate::{
    facts::{Reason, inhibit as fact},
    outcome::{Finding, StageKind, Subject},
};
use plumeline_base::input::Answer;
use plumeline_detector::{Faults, Reading, bit};
use plumeline_unit::{UnitView, meaning::Function, view::OutputUse};

/// What a reading shows of the inhibit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Held {
    /// Nothing speaks against it.
    Yes,
    /// The unit says that its outputs are not inhibited.
    Not,
    /// Its readings do not tell.
    NotTold,
    /// An output is operated that should be held back.
    Operated(u8),
}

/// What the outputs follow, as bits; those of which it is not known, and those that follow anything else (a unit may have one
/// that shows its power), stand in neither.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Followed {
    /// An alarm level: held back by an inhibit.
    pub(crate) level: u32,
    /// A fault: operated while one stands, inhibited or not.
    pub(crate) fault: u32,
}
impl Followed {
    /// By the replacement's description and settings.
    pub(crate) fn of(unit: &UnitView<'_>) -> Self {
        let mut all = Self::default();
        for n in 1..=32 {
            match unit.output(n) {
                Ok(OutputUse { function: Function::Level(_), .. }) => all.level |= bit(n),
                Ok(OutputUse { function: Function::Fault | Function::FlowFault, .. }) => all.fault |= bit(n),
                _ => {}
            }
        }
        all
    }
    /// Outputs that a reading tells to be operated and that nothing in it accounts for.
    pub(crate) fn unasked(self, reading: &Reading) -> u32 {
        let no_fault = reading.faults.is_some_and(Faults::is_clear);
        reading.outputs.unwrap_or(0) & (self.level | if no_fault { self.fault } else { 0 })
    }
}

/// Holds one reading against what an inhibit promises. `driven`: outputs that are operated for test.
pub(crate) fn look(reading: &Reading, driven: u32, outputs: Followed) -> Held {
    let unasked = outputs.unasked(reading) & !driven;
    match (1..=32).find(|n| unasked & bit(*n) != 0) {
        Some(output) => Held::Operated(output),
        None => match (reading.inhibited(), reading.outputs) {
            (Some(false), _) => Held::Not,
            (Some(true), Some(_)) => Held::Yes,
            _ => Held::NotTold,
        },
    }
}

/// The finding, where there is one.
pub(crate) fn finding(stage: StageKind, held: Held) -> Option<Finding> {
    match held {
        Held::Yes => None,
        Held::Not => Some(Finding::of(stage, Subject::Replacement, fact::not_in_force())),
        Held::NotTold => Some(Finding::of(stage, Subject::Replacement, fact::not_shown())),
        Held::Operated(output) => Some(Finding::of(stage, Subject::Output(output), fact::operated(output))),
    }
}

/// What the panel showed while smoke was at the unit: the unit's own readings are no witness of its inhibit.
pub(crate) fn at_panel(nothing: &Answer) -> Finding {
    let fact = match nothing {
        Answer::Yes => fact::panel_quiet(),
        no if no.is_no() => fact::shown_at_panel(Reason(no)),
        told => fact::panel_not_told(told.words().unwrap_or("no answer to that was given")),
    };
    Finding::of(StageKind::Purge, Subject::Replacement, fact)
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_detector::Conditions;

    #[test]
    fn the_panel_is_the_witness_of_an_inhibit() {
        use plumeline_base::Verdict;
        let of = |answer: Answer| at_panel(&answer).verdict;
        assert_eq!((of(Answer::Yes), of(Answer::No)), (Verdict::Pass, Verdict::Fail));
        assert_eq!(of(Answer::Cannot("nobody is at it".into())), Verdict::Undecided);
    }
    #[test]
    fn an_operated_output_is_seen_unless_it_is_driven_or_follows_a_fault() {
        let held = |outputs, faults, driven| {
            let reading = Reading {
                outputs: Some(outputs),
                faults: Some(faults),
                conditions: Some(Conditions::INHIBITED),
                ..Reading::default()
            };
            look(&reading, driven, Followed { level: 0b1110, fault: 0b0001 })
        };
        assert_eq!(held(0, Faults::default(), 0), Held::Yes);
        assert_eq!(held(0b0100, Faults::default(), 0), Held::Operated(3));
        assert_eq!(held(0b0100, Faults::FLOW, 0), Held::Operated(3), "a fault is no reason for an alarm's output");
        assert_eq!(held(0b0100, Faults::default(), 0b0100), Held::Yes);
        assert_eq!(held(0b0001, Faults::default(), 0), Held::Operated(1), "no fault stands");
        assert_eq!(held(0b0001, Faults::FLOW, 0), Held::Yes);
        assert_eq!(look(&Reading::clear(), 0, Followed::default()), Held::Not);
        // A reading that tells neither outputs nor state shows no inhibit.
        assert_eq!(look(&Reading::default(), 0, Followed::default()), Held::NotTold);
        let outputs = Reading { outputs: Some(0b10), ..Reading::default() };
        assert_eq!(look(&outputs, 0, Followed { level: 0b10, fault: 0 }), Held::Operated(2));
    }
}
