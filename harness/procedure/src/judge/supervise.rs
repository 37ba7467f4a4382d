//! What a shut inlet showed: the flow fault in time, and gone again.
use crate::{
    facts::supervise as fact,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
};
use plumeline_detector::Faults;

/// What was seen while an inlet was shut.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Shut {
    /// From the shutting to the flow fault, s.
    pub(crate) fault_after_s: Option<f64>,
    /// Somebody watched all the time.
    pub(crate) watched: bool,
    /// Readings came until the end.
    pub(crate) readings: bool,
}

fn of_inlet(inlet: u8, fact: crate::facts::Fact) -> Finding {
    Finding::of(StageKind::Supervise, Subject::Pipe(inlet), fact)
}

/// Why shutting an inlet would show nothing now, by the faults of a fresh reading.
pub(crate) fn before(inlet: u8, faults: Option<Faults>) -> Option<Finding> {
    let fact = match faults {
        None => fact::no_reading(),
        Some(faults) if faults.has(Faults::FLOW) => fact::fault_stands(),
        Some(faults) if faults.has(Faults::NO_BASELINE) => fact::no_baseline(),
        Some(_) => return None,
    };
    Some(of_inlet(inlet, fact))
}

/// What the shut inlet showed.
pub(crate) fn shut(inlet: u8, limit: &Limit, seen: Result<Shut, &str>) -> Finding {
    let mut f = of_inlet(
        inlet,
        match seen {
            Err(why) => fact::not_shut(why),
            Ok(Shut { watched: false, .. }) => fact::unwatched(),
            Ok(Shut { fault_after_s: Some(after), .. }) if after <= limit.value => fact::in_time(),
            Ok(Shut { fault_after_s: Some(after), .. }) => fact::late(format_args!("{after:.0}")),
            Ok(Shut { readings: false, .. }) => fact::readings_stopped(),
            Ok(_) => fact::no_fault(),
        },
    );
    f.measured = seen.ok().filter(|s| s.watched).and_then(|s| s.fault_after_s).map(|s| Figure::plain(s, "s"));
    f.limit = Some(limit.clone());
    f
}

/// What came when it was put back: the fault cleared, or readings came without that.
pub(crate) fn put_back(inlet: u8, seen: Result<(bool, bool), &str>) -> Finding {
    of_inlet(
        inlet,
        match seen {
            Err(why) => fact::not_put_back(why),
            Ok((true, _)) => fact::cleared(),
            Ok((false, false)) => fact::clearing_not_seen(),
            Ok((false, true)) => fact::not_cleared(),
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Mark;

    fn code(seen: Result<Shut, &str>) -> alloc::string::String {
        let limit = Limit { value: 300.0, unit: "s".into(), source: "a test".into(), mark: Mark::ThisJob };
        shut(1, &limit, seen).code.as_str().into()
    }

    #[test]
    fn the_fault_counts_only_in_time_and_watched() {
        let seen = |fault_after_s| Shut { fault_after_s, watched: true, readings: true };
        assert_eq!(code(Ok(seen(Some(299.0)))), "supervise.fault-in-time");
        assert_eq!(code(Ok(seen(Some(301.0)))), "supervise.fault-late");
        assert_eq!(code(Ok(seen(None))), "supervise.no-fault");
        assert_eq!(code(Ok(Shut { readings: false, ..seen(None) })), "supervise.readings-stopped");
        assert_eq!(code(Ok(Shut { watched: false, ..seen(Some(1.0)) })), "supervise.unwatched");
        assert_eq!(code(Err("no ladder")), "supervise.not-shut");
    }
    #[test]
    fn nothing_is_tried_over_what_hides_the_result() {
        let code = |faults| before(1, faults).map(|f| f.code.as_str().into());
        let some = |s: &str| Some(alloc::string::String::from(s));
        assert_eq!(code(None), some("supervise.no-reading-before"));
        assert_eq!(code(Some(Faults::FLOW)), some("supervise.fault-stands"));
        assert_eq!(code(Some(Faults::NO_BASELINE)), some("supervise.no-baseline"));
        assert_eq!(code(Some(Faults::default())), None);
    }
}
