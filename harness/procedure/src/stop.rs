//! Why stage code stops before its end.
use alloc::string::String;
use plumeline_base::input::AbortCause;
use plumeline_detector::Trouble;

/// Why stage code stops before its end.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Stop {
    /// The job was told to stop.
    Aborted(AbortCause),
    /// The stage took longer than its plan allows.
    Deadline,
    /// The unit or the link can't do what is needed.
    Trouble(Trouble),
    /// The unit started anew when nobody asked it to.
    StartedAnew,
    /// The unit's settings are not shown to be those that were proven, with the reason.
    OtherSettings(OtherSettings),
    /// A person wants something done again first.
    Again,
    /// Going on makes no sense or is not safe; the findings say why.
    Found,
}
/// Why the unit's settings after a pause are not shown to be those that were proven.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum OtherSettings {
    /// They were changed; the first difference, where there is one.
    Changed(Option<String>),
    /// They can't be read.
    NotRead(Trouble),
}
impl Stop {
    /// The job can't go on, whatever the policy says. What can't be had this way is open, and the plan says whether to go
    /// on; a lost or mad unit ends the job.
    pub(crate) fn ends_job(&self) -> bool {
        match self {
            Self::Deadline | Self::Again => false,
            Self::Trouble(trouble) => {
                !matches!(trouble, Trouble::CannotDo(_) | Trouble::NotTold(_) | Trouble::Refused { .. })
            }
            Self::Aborted(_) | Self::StartedAnew | Self::OtherSettings(_) | Self::Found => true,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_detector::driver::RefusalKind;

    #[test]
    fn what_cannot_be_had_is_open_and_a_lost_unit_ends_the_job() {
        let ends = |trouble| Stop::Trouble(trouble).ends_job();
        assert!(!ends(Trouble::CannotDo("no restart".into())) && !ends(Trouble::NotTold("nobody there".into())));
        assert!(!ends(Trouble::Refused { kind: RefusalKind::Busy, code: 8, reason: "busy".into() }));
        assert!(ends(Trouble::Silent) && ends(Trouble::Nonsense("another answer".into())));
        assert!(!Stop::Deadline.ends_job() && Stop::StartedAnew.ends_job() && Stop::Found.ends_job());
    }
}
