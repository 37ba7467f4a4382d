//! What the operated outputs and the lapsed inhibit show.
use crate::{
    facts::{
        Fact, Reason, inhibit,
        outputs::{self as fact, By},
    },
    outcome::{Figure, Finding, StageKind, Subject},
};
use alloc::boxed::Box;
use plumeline_base::input::Answer;
use plumeline_detector::Trouble;
use plumeline_unit::{Known, meaning::Function, view::OutputUse};

/// What is found about all outputs together.
pub(crate) fn of_unit(fact: Fact) -> Finding {
    Finding::of(StageKind::Outputs, Subject::Replacement, fact)
}
/// What is found about one output.
pub(crate) fn of_output(output: u8, fact: Fact) -> Finding {
    Finding::of(StageKind::Outputs, Subject::Output(output), fact)
}

/// The wiring sheet's words with what they mean, against the unit: what the output stands for, `Err` where they differ or
/// one of the two is not known. `None`: it is not in use.
pub(crate) fn wiring(
    sheet: Option<(&str, Known<Function>)>,
    unit: Known<OutputUse>,
) -> Result<Option<OutputUse>, Box<Fact>> {
    let unit = unit.map_err(|why| Box::new(fact::unknown(&why, why.remedy())))?;
    let differs = match sheet {
        Some((_, Err(why))) => fact::sheet_not_understood(&why, why.remedy()),
        None => return Ok(Some(unit).filter(OutputUse::is_used)),
        Some((_, Ok(sheet))) if sheet == unit.function => return Ok(Some(unit).filter(OutputUse::is_used)),
        Some((words, Ok(_))) if unit.is_used() => fact::sheet_differs(words, &unit.said),
        Some((words, Ok(_))) => fact::sheet_unused(words),
    };
    Err(Box::new(differs))
}

/// Why driving an output would show nothing, by the outputs that a fresh reading shows active.
pub(crate) fn before(function: &str, active: Option<u32>, bit: u32) -> Option<Fact> {
    match active {
        Some(active) if active & bit != 0 => Some(fact::active_already(function)),
        Some(_) => None,
        None => Some(fact::no_reading()),
    }
}

/// What was seen while an output was operated and afterwards.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Operated {
    /// The panel shows exactly that input.
    pub(crate) shows: Answer,
    /// It has cleared.
    pub(crate) clears: Answer,
    /// How the unit took it that the output is to rest again.
    pub(crate) released: Result<(), Trouble>,
    /// The unit's readings showed this output and no other, and then no longer.
    pub(crate) alone: bool,
    /// By the unit's readings it stayed at rest all the time.
    pub(crate) never: bool,
    pub(crate) by: By,
}

/// What an operated output shows.
pub(crate) fn operated(function: &str, seen: &Operated) -> Fact {
    match (&seen.shows, &seen.clears, &seen.released) {
        (Answer::Yes, Answer::Yes, Ok(())) if seen.alone => fact::operates(function, seen.by),
        (Answer::Yes, Answer::Yes, Ok(())) => fact::not_alone(),
        (no, ..) if no.is_no() && seen.never => fact::not_told(function),
        (no, ..) if no.is_no() => fact::wrong_input(function, seen.by, Reason(no)),
        (Answer::Yes, no, _) if no.is_no() => fact::not_cleared(function, seen.by, Reason(no)),
        (Answer::Yes, Answer::Yes, Err(trouble)) => fact::not_released(trouble, trouble.remedy()),
        (Answer::Yes, told, _) | (told, ..) => fact::panel_not_told(Reason(told)),
    }
}

/// What was seen while an inhibit was not renewed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Lapsed {
    /// After so many seconds its fault was shown; the outputs were still held back then, as far as that is told.
    pub(crate) fault: Option<(f64, Option<bool>)>,
    /// It was inhibited again, and the fault went.
    pub(crate) regained: bool,
    /// Readings came without a gap until the end.
    pub(crate) readings: bool,
}

/// What a lapsed inhibit shows. `None`: it was not tried.
pub(crate) fn lapsed(seen: Option<Lapsed>) -> Finding {
    let Some(seen) = seen else { return of_unit(inhibit::lapse_not_tried()) };
    let mut f = of_unit(match (seen.fault, seen.regained) {
        (Some((_, Some(true))), true) => inhibit::lapse_shown(),
        (Some((_, Some(false))), _) => inhibit::lapse_gave_back(),
        (Some((_, None)), _) => inhibit::lapse_not_told(),
        (Some(_), false) => inhibit::lapse_not_regained(),
        (None, _) if seen.readings => inhibit::lapse_no_fault(),
        (None, _) => inhibit::lapse_not_seen(),
    });
    f.measured = seen.fault.map(|(after, _)| Figure::plain(after, "s"));
    f
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_base::Verdict;
    use plumeline_unit::{Unknown, meaning::Contact};

    #[test]
    fn sheet_and_settings_must_name_the_same() {
        let unit = |function: Function| OutputUse {
            number: 2,
            terminals: "3, 4".into(),
            function,
            said: "own word".into(),
            contact: Contact::Closes,
        };
        let (level, nothing) = (unit(Function::Level(1)), unit(Function::Nothing));
        let sheet = |function| Some(("sheet", function));
        assert_eq!(wiring(sheet(Ok(Function::Level(1))), Ok(level.clone())), Ok(Some(level.clone())));
        assert_eq!(wiring(None, Ok(level.clone())), Ok(Some(level.clone())));
        assert_eq!(wiring(None, Ok(nothing.clone())), Ok(None));
        assert_eq!(wiring(sheet(Ok(Function::Nothing)), Ok(nothing.clone())), Ok(None));
        let is = |sheet, unit, code: &str| wiring(sheet, unit).is_err_and(|f| f.code == *code);
        assert!(is(sheet(Ok(Function::Fault)), Ok(level.clone()), "outputs.sheet-differs"));
        assert!(is(sheet(Ok(Function::Nothing)), Ok(level.clone()), "outputs.sheet-differs"));
        assert!(is(sheet(Ok(Function::Fault)), Ok(nothing), "outputs.unused-by-settings"));
        assert!(is(sheet(Err(Unknown::NoFunction("sheet".into()))), Ok(level), "outputs.sheet-not-understood"));
        assert!(is(None, Err(Unknown::NotRead), "outputs.unknown"));
        assert!(is(sheet(Ok(Function::Fault)), Err(Unknown::NotDescribed), "outputs.unknown"));
    }
    #[test]
    fn nothing_is_driven_that_is_active_or_unseen() {
        assert_eq!(before("fault", Some(0b01), 0b10), None);
        assert!(before("fault", Some(0b11), 0b10).is_some_and(|f| f.code == "outputs.active-already"));
        assert!(before("fault", None, 0b10).is_some_and(|f| f.code == "outputs.no-reading"));
    }
    #[test]
    fn an_output_passes_only_alone_shown_and_cleared() {
        let code = |shows, clears, released, alone| {
            operated("fault", &Operated { shows, clears, released, alone, never: false, by: By::Input(1) }).code
        };
        let idle = Operated {
            shows: Answer::No,
            clears: Answer::Yes,
            released: Ok(()),
            alone: false,
            never: true,
            by: By::Operator,
        };
        assert!(operated("fault", &idle).code == "outputs.not-told");
        assert!(code(Answer::Yes, Answer::Yes, Ok(()), true) == "outputs.operates");
        assert!(code(Answer::Yes, Answer::Yes, Ok(()), false) == "outputs.not-alone");
        assert!(code(Answer::No, Answer::Yes, Ok(()), true) == "outputs.wrong-input");
        assert!(code(Answer::No, Answer::No, Err(Trouble::Silent), false) == "outputs.wrong-input");
        assert!(code(Answer::Yes, Answer::No, Ok(()), true) == "outputs.not-cleared");
        assert!(code(Answer::Yes, Answer::Yes, Err(Trouble::Silent), true) == "outputs.not-released");
        assert!(code(Answer::Cannot("gone".into()), Answer::Yes, Ok(()), true) == "outputs.panel-not-told");
        assert!(code(Answer::Yes, Answer::Cannot("gone".into()), Ok(()), true) == "outputs.panel-not-told");
    }
    #[test]
    fn a_lapse_must_show_its_fault_before_it_gives_back() {
        let of = |fault, regained, readings| {
            let f = lapsed(Some(Lapsed { fault, regained, readings }));
            (f.code, f.verdict)
        };
        let is = |(code, verdict): (crate::facts::Code, _), want: &str, v| code == *want && verdict == v;
        assert!(is(of(Some((6.0, Some(true))), true, true), "inhibit.lapse-shown", Verdict::Pass));
        assert!(is(of(Some((6.0, Some(false))), true, true), "inhibit.lapse-gave-back", Verdict::Fail));
        assert!(is(of(Some((6.0, None)), true, true), "inhibit.lapse-not-told", Verdict::Undecided));
        assert!(is(of(Some((6.0, Some(true))), false, true), "inhibit.lapse-not-regained", Verdict::Undecided));
        assert!(is(of(None, true, false), "inhibit.lapse-not-seen", Verdict::Undecided));
        assert!(is(of(None, true, true), "inhibit.lapse-no-fault", Verdict::Fail));
        assert!(lapsed(None).code == "inhibit.lapse-not-tried");
    }
}
