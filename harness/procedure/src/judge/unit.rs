//! Whether a unit is the one that the plan expects and the pipework needs.
use crate::{
    facts::{Fact, inhibit, outgoing, unit as fact},
    outcome::{Finding, StageKind, Subject},
    plan::{ExpectedUnit, Untold},
};
use alloc::vec::Vec;
use plumeline_detector::{Abilities, Identity, Trouble};

/// What is found about the replacement at this stage.
pub(crate) fn replacement(stage: StageKind, fact: Fact) -> Finding {
    Finding::of(stage, Subject::Replacement, fact)
}
/// What is found about the outgoing unit.
pub(crate) fn as_found(fact: Fact) -> Finding {
    Finding::of(StageKind::AsFound, Subject::Outgoing, fact)
}

/// A property that is planned, as it is planned and as the unit tells it, where these differ.
fn differs<'a>(planned: &'a ExpectedUnit, told: &'a Identity) -> Option<(&'static str, &'a str, &'a str)> {
    let each = [
        ("model", &planned.model, &told.model),
        ("serial", &planned.serial, &told.serial),
        ("firmware", &planned.firmware, &told.firmware),
    ];
    let mut all = each.into_iter().filter_map(|(name, planned, told)| Some((name, planned.as_deref()?, &**told)));
    all.find(|(_, planned, told)| planned != told)
}

/// What the outgoing unit says it is: only for comparison.
pub(crate) fn outgoing(planned: &ExpectedUnit, told: &Identity) -> Finding {
    as_found(match differs(planned, told) {
        None => outgoing::identity(&told.maker, &told.model, &told.serial),
        Some((property, planned, told)) => outgoing::other_unit(property, planned, told),
    })
}

/// What the replacement says it is. `outgoing` is the unit that was there; `needed` the highest inlet in use and `inlets`
/// how many the unit has.
pub(crate) fn expected(
    stage: StageKind,
    planned: &ExpectedUnit,
    told: &Identity,
    outgoing: Option<&Identity>,
    (needed, inlets): (u8, u8),
) -> Finding {
    let Identity { maker, model, serial, firmware, .. } = told;
    let fact = if outgoing.is_some_and(|o| !o.serial.is_empty() && o.serial == *serial) {
        fact::still_outgoing()
    } else if let Some((property, planned, told)) = differs(planned, told) {
        fact::not_as_planned(property, planned, told)
    } else if inlets < needed {
        fact::too_few_inlets(needed, inlets)
    } else if planned.firmware.is_some() {
        fact::as_planned(maker, model, serial, firmware)
    } else if planned.model.is_some() {
        fact::model_as_planned(maker, model, serial, firmware)
    } else {
        fact::firmware_not_planned(maker, model, serial, firmware)
    };
    replacement(stage, fact)
}

/// The unit on the wall against the one that was tried on the bench.
pub(crate) fn against_bench(stage: StageKind, bench: &Identity, told: &Identity) -> Option<Finding> {
    let other = bench.serial != told.serial || bench.firmware != told.firmware;
    other.then(|| replacement(stage, fact::not_that_of_the_bench(&bench.serial, &bench.firmware)))
}

/// How the unit took it that its outputs are inhibited.
pub(crate) fn inhibited(stage: StageKind, subject: Subject, end: Result<(), &Trouble>, by_hand: bool) -> Finding {
    let fact = match end {
        Ok(()) if by_hand => inhibit::held_by_hand(),
        Ok(()) => inhibit::granted(),
        Err(trouble) => inhibit::not_granted(trouble),
    };
    Finding::of(stage, subject, fact)
}

/// What a unit that is read over a line has no way to show, as far as the plan does not go without it by name.
pub(crate) fn untold(stage: StageKind, can: &Abilities, goes_without: &[Untold]) -> Vec<Finding> {
    let all = [
        (Untold::DeviceTime, fact::no_device_time as fn() -> Fact),
        (Untold::EventLog, fact::no_log),
        (Untold::Inhibit, fact::no_inhibit),
        (Untold::DateAndTime, fact::no_date),
    ];
    let found = |(what, fact): (Untold, fn() -> Fact)| {
        let named = goes_without.contains(&what);
        Finding::of(stage, Subject::Replacement, if named { fact::goes_without(what.name()) } else { fact() })
    };
    let mut findings: Vec<Finding> =
        all.into_iter().filter(|(what, _)| !what.is_shown(can) && can.readings.streams()).map(found).collect();
    if can.clock && !can.wall_clock {
        // It speaks of its clock itself, and says that it has no other: there is no date that could be wrong.
        findings.push(replacement(stage, fact::keeps_no_date()));
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::String;
    use plumeline_base::Verdict;

    fn unit(serial: &str, firmware: &str) -> Identity {
        Identity {
            maker: "Invented".into(),
            model: "M1".into(),
            serial: serial.into(),
            firmware: firmware.into(),
            ..Identity::default()
        }
    }
    fn planned(serial: Option<&str>, firmware: Option<&str>) -> ExpectedUnit {
        ExpectedUnit { serial: serial.map(Into::into), firmware: firmware.map(Into::into), ..ExpectedUnit::default() }
    }

    #[test]
    fn the_replacement_must_be_the_planned_one_with_inlets_enough() {
        let code = |planned: &ExpectedUnit, outgoing: Option<&Identity>, inlets| {
            let f = expected(StageKind::Boot, planned, &unit("s1", "2"), outgoing, inlets);
            (String::from(f.code.as_str()), f.verdict)
        };
        assert_eq!(code(&planned(None, Some("2")), None, (4, 4)), ("unit.as-planned".into(), Verdict::Pass));
        assert_eq!(code(&planned(None, None), None, (4, 4)), ("unit.firmware-not-planned".into(), Verdict::Pass));
        assert_eq!(code(&planned(Some("s2"), None), None, (4, 4)), ("unit.not-as-planned".into(), Verdict::Fail));
        assert_eq!(code(&planned(None, None), None, (4, 2)), ("unit.too-few-inlets".into(), Verdict::Fail));
        let same = code(&planned(None, None), Some(&unit("s1", "1")), (4, 4));
        assert_eq!(same, ("unit.still-outgoing".into(), Verdict::Fail));
        // A unit that tells no serial number is not taken for another that tells none.
        let mute = expected(StageKind::Boot, &planned(None, None), &unit("", "2"), Some(&unit("", "1")), (4, 4));
        assert_eq!(mute.verdict, Verdict::Pass);
    }
    fn nothing() -> Abilities {
        use plumeline_detector::vocabulary::ReadingsBy;
        Abilities { readings: ReadingsBy::Asking, flow_per_inlet: true, ..Abilities::nothing(2) }
    }
    #[test]
    fn what_a_unit_has_no_way_to_show_is_open_unless_the_plan_names_it() {
        let mut can = nothing();
        let codes = |can: &Abilities, named: &[Untold]| -> Vec<(String, Verdict)> {
            let all = untold(StageKind::Restore, can, named);
            all.iter().map(|f| (f.code.as_str().into(), f.verdict)).collect()
        };
        assert!(codes(&can, &[]).is_empty(), "a person's readings are judged by their own rules");
        can.readings = plumeline_detector::ReadingsBy::Stream { hz: (1, 1) };
        (can.inhibit, can.wall_clock) = (true, true);
        let open = |code: &str| (code.into(), Verdict::Undecided);
        assert_eq!(codes(&can, &[]), [open("unit.no-device-time"), open("unit.no-event-log")]);
        let without = ("unit.goes-without".into(), Verdict::Pass);
        assert_eq!(codes(&can, &[Untold::EventLog]), [open("unit.no-device-time"), without]);
        (can.clock, can.wall_clock) = (true, false);
        let dateless = ("unit.keeps-no-date".into(), Verdict::Pass);
        assert_eq!(
            codes(&can, &[]),
            [open("unit.no-event-log"), dateless],
            "a clock of its own, and no date that could be wrong"
        );
        can.inhibit = false;
        assert!(codes(&can, &[Untold::EventLog]).contains(&open("unit.no-inhibit")));
    }
    #[test]
    fn another_outgoing_unit_or_bench_unit_is_open() {
        assert!(outgoing(&planned(Some("s1"), None), &unit("s1", "1")).verdict.is_pass());
        assert_eq!(outgoing(&planned(Some("s2"), None), &unit("s1", "1")).verdict, Verdict::Undecided);
        assert_eq!(against_bench(StageKind::Boot, &unit("s1", "1"), &unit("s1", "1")), None);
        let other = against_bench(StageKind::Boot, &unit("s1", "1"), &unit("s1", "2"));
        assert!(other.is_some_and(|f| f.verdict == Verdict::Undecided));
    }
    #[test]
    fn an_inhibit_that_was_refused_is_open() {
        let end = |end| inhibited(StageKind::Boot, Subject::Replacement, end, false).verdict;
        assert_eq!((end(Ok(())), end(Err(&Trouble::Silent))), (Verdict::Pass, Verdict::Undecided));
    }
}
