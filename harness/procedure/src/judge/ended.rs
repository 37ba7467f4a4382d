//! What it comes to that a stage ended early.
use crate::{
    facts::ended as fact,
    outcome::{Finding, StageKind, Subject},
    stop::Stop,
};
use plumeline_detector::Trouble;

/// The finding, where none was written down already. `last` is the trouble with the link that still stands.
pub(crate) fn early(stage: StageKind, stop: &Stop, last: Option<&Trouble>) -> Option<Finding> {
    let (subject, fact) = match (stop, last) {
        (Stop::Found | Stop::Again, _) => return None,
        (Stop::Aborted(_), _) => (Subject::Job, fact::aborted(stage, stop)),
        (Stop::Deadline, None) => (Subject::Job, fact::too_long(stage, stop)),
        (Stop::Deadline, Some(trouble)) => (Subject::Link, fact::held_up(stage, trouble, trouble.remedy())),
        (Stop::Trouble(trouble), _) => (Subject::Link, fact::trouble(stage, trouble, trouble.remedy())),
        (Stop::StartedAnew, _) => (Subject::Replacement, fact::started_anew(stage, stop)),
        (Stop::OtherSettings(_), _) => (Subject::Replacement, fact::other_settings(stage, stop)),
    };
    Some(Finding::of(stage, subject, fact))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stop::OtherSettings;
    use alloc::string::String;
    use plumeline_base::{Verdict, input::AbortCause};

    #[test]
    fn an_early_end_is_open_and_says_why() {
        let of = |stop: Stop, last: Option<&Trouble>| {
            let f = early(StageKind::Load, &stop, last)?;
            assert_eq!(f.verdict, Verdict::Undecided);
            Some((String::from(f.code.as_str()), f.subject))
        };
        let is = |code: &str, subject| Some((code.into(), subject));
        assert_eq!(of(Stop::Found, None), None);
        assert_eq!(of(Stop::Aborted(AbortCause::Operator), None), is("stage.aborted", Subject::Job));
        assert_eq!(of(Stop::Deadline, None), is("stage.too-long", Subject::Job));
        assert_eq!(of(Stop::Deadline, Some(&Trouble::Silent)), is("stage.held-up", Subject::Link));
        assert_eq!(of(Stop::Trouble(Trouble::Silent), None), is("stage.trouble", Subject::Link));
        assert_eq!(of(Stop::StartedAnew, None), is("stage.unit-started-anew", Subject::Replacement));
        let other = Stop::OtherSettings(OtherSettings::Changed(None));
        assert_eq!(of(other, None), is("stage.other-settings", Subject::Replacement));
    }
}
