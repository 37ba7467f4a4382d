//! What an answered line of the checklist comes to. Not here: whether it is true; the tool can't see it.
use crate::{
    facts::checklist as fact,
    outcome::{Finding, Subject, Ticked},
};
use plumeline_base::input::TickState;

/// The finding of a line; none where the plan does not require it and it was not done: that is in the record, and decides
/// nothing.
pub(crate) fn ticked(line: &Ticked) -> Option<Finding> {
    let item = &line.text;
    let fact = match (line.state, &line.note, &line.by) {
        (TickState::NotDone, why, _) => fact::not_done(item, why.as_deref().unwrap_or("no reason was given")),
        // Without a reason it is no answer.
        (TickState::NotApplicable, None, _) => fact::no_reason(item),
        (_, _, None) => fact::nobody(item),
        (TickState::NotApplicable, Some(why), Some(by)) => fact::not_applicable(item, why, by),
        (TickState::Done, _, Some(by)) => fact::done(item, by),
    };
    let f = Finding::of(line.stage, Subject::Check(line.item), fact);
    (line.required || f.verdict.is_pass()).then_some(f)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::StageKind;
    use alloc::string::String;
    use plumeline_base::Instant;

    fn code(state: TickState, note: Option<&str>, by: Option<&str>, required: bool) -> Option<String> {
        let line = Ticked {
            item: 1,
            stage: StageKind::Swap,
            text: "clean the pipes".into(),
            required,
            state,
            by: by.map(Into::into),
            at: Instant::START,
            date: None,
            note: note.map(Into::into),
            photo: None,
        };
        ticked(&line).map(|f| f.code.as_str().into())
    }

    #[test]
    fn an_answer_needs_a_name_and_an_exception_a_reason() {
        let by = Some("R. Example");
        let required = |state, note, by| code(state, note, by, true).unwrap();
        assert_eq!(required(TickState::Done, None, by), "checklist.done");
        assert_eq!(required(TickState::Done, None, None), "checklist.nobody-named");
        assert_eq!(required(TickState::NotApplicable, Some("none here"), by), "checklist.not-applicable");
        assert_eq!(required(TickState::NotApplicable, Some("none here"), None), "checklist.nobody-named");
        assert_eq!(required(TickState::NotApplicable, None, by), "checklist.no-reason");
        assert_eq!(required(TickState::NotDone, None, by), "checklist.not-done");
    }
    #[test]
    fn what_is_not_required_decides_nothing_unless_it_was_done() {
        assert_eq!(code(TickState::NotDone, None, None, false), None);
        assert_eq!(code(TickState::Done, None, Some("R. Example"), false).as_deref(), Some("checklist.done"));
    }
}
