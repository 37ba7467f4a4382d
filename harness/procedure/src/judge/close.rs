//! What the record closes with: what is still off, and for how long the zone was out of service.
use crate::{
    facts::close as fact,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
};
use alloc::string::String;

/// For how long the zone was out of service.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Out<'a> {
    /// It was never isolated.
    Never,
    /// It is not shown to be back.
    NotBack,
    /// It can't be told: why the computer's date is not to be trusted.
    Unknown(&'a str),
    /// So many seconds, within the limit.
    InTime(f64),
    /// So many seconds, over the limit: whether what is then called for was in place, or why that is not shown.
    TooLong(f64, Result<(), &'a str>),
}

/// What is still isolated, locked off or inhibited makes the job incomplete.
pub(crate) fn still(off: &[String]) -> Option<Finding> {
    (!off.is_empty()).then(|| Finding::of(StageKind::Close, Subject::Zone, fact::incomplete(off.join("; "))))
}

/// Out of service for too long is no defect of the installation: what is then called for is what counts.
pub(crate) fn out_of_service(out: Out<'_>, limit: Limit) -> Finding {
    let (fact, took) = match out {
        Out::Never => (fact::never_out(), None),
        Out::NotBack => (fact::not_back(), None),
        Out::Unknown(why) => (fact::time_unknown(why), None),
        Out::InTime(took) => (fact::in_time(), Some(took)),
        Out::TooLong(took, Ok(())) => (fact::too_long_covered(), Some(took)),
        Out::TooLong(took, Err(why)) => (fact::too_long(why), Some(took)),
    };
    let mut f = Finding::of(StageKind::Close, Subject::Zone, fact);
    f.measured = took.map(|s| Figure::plain(s, "s"));
    f.limit = Some(limit);
    f
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Mark;
    use plumeline_base::Verdict;

    #[test]
    fn too_long_passes_only_with_what_is_then_called_for() {
        let limit = || Limit { value: 14400.0, unit: "s".into(), source: "a test".into(), mark: Mark::ThisJob };
        let verdict = |out| out_of_service(out, limit()).verdict;
        assert_eq!(verdict(Out::Never), Verdict::Undecided);
        assert_eq!(verdict(Out::NotBack), Verdict::Undecided);
        assert_eq!(verdict(Out::Unknown("it says 1970")), Verdict::Undecided);
        assert_eq!(verdict(Out::InTime(60.0)), Verdict::Pass);
        assert_eq!(verdict(Out::TooLong(15000.0, Ok(()))), Verdict::Pass);
        assert_eq!(verdict(Out::TooLong(15000.0, Err("nobody asked"))), Verdict::Undecided);
        assert_eq!(out_of_service(Out::InTime(60.0), limit()).measured, Some(Figure::plain(60.0, "s")));
    }
    #[test]
    fn what_is_still_off_is_told() {
        assert_eq!(still(&[]), None);
        let f = still(&["the zone".into(), "the lock".into()]);
        assert!(f.is_some_and(|f| f.code == "close.incomplete" && f.told["still"] == "the zone; the lock"));
    }
}
