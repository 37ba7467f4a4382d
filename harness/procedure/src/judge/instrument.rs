//! Whether the calibration of an instrument held when it was used.
use crate::{
    facts::instrument as fact,
    instrument::Instrument,
    outcome::{Finding, StageKind, Subject},
};

/// `now_ms`: when it was used, ms since 1970 UTC, where that is known. `allowed`: the plan goes without it by name.
pub(crate) fn in_date(stage: StageKind, used: &Instrument, now_ms: Option<u64>, allowed: bool) -> Finding {
    let (label, due, calibrated) = (used.label(), &used.due.text, &used.calibrated.text);
    let fact = match now_ms {
        None => fact::date_unknown(label, due),
        Some(now) if now < used.calibrated.begins_ms => fact::calibrated_later(label, calibrated),
        Some(now) if now < used.due.ends_ms() => fact::in_date(label, calibrated, due),
        Some(_) if allowed => fact::overdue_allowed(label, due),
        Some(_) => fact::overdue(label, due),
    };
    Finding::of(stage, Subject::Instrument(used.name.clone()), fact)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::tests::{manometer, today};
    use alloc::string::String;
    use plumeline_base::Verdict;

    #[test]
    fn a_calibration_holds_from_its_day_through_the_day_that_it_is_due() {
        let gauge = manometer();
        let of = |now, allowed| {
            let f = in_date(StageKind::Supply, &gauge, now, allowed);
            (String::from(f.code.as_str()), f.verdict)
        };
        let is = |code: &str, verdict| (String::from(code), verdict);
        assert_eq!(of(Some(today()), false), is("instrument.in-date", Verdict::Pass));
        let ends = gauge.due.ends_ms();
        assert_eq!(of(Some(ends - 1), false), is("instrument.in-date", Verdict::Pass));
        assert_eq!(of(Some(ends), false), is("instrument.overdue", Verdict::Undecided));
        assert_eq!(of(Some(ends), true), is("instrument.overdue-allowed", Verdict::Pass));
        let before = gauge.calibrated.begins_ms - 1;
        // No plan goes without a certificate that is not there yet, or without knowing the day.
        assert_eq!(of(Some(before), true), is("instrument.calibrated-later", Verdict::Undecided));
        assert_eq!(of(None, true), is("instrument.date-unknown", Verdict::Undecided));
    }
}
