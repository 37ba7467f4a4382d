//! What a shut inlet showed: the flow fault in time, and gone again.
use crate::{
    facts::{fixed, list, supervise as fact},
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
};
use plumeline_detector::{Faults, bit};
use plumeline_unit::Unknown;

/// What was seen while an inlet was shut.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Shut {
    /// From the shutting to the flow fault, s.
    pub(crate) fault_after_s: Option<f64>,
    /// For so long, s, its flow had then stood outside of the unit's band by the unit's own readings.
    pub(crate) stood_s: Option<f64>,
    /// The inlets that the unit then names, less those whose flow had left its band for this very reason; bit 0 is inlet 1.
    pub(crate) named: u32,
    /// Somebody watched all the time.
    pub(crate) watched: bool,
    /// Readings came until the end.
    pub(crate) readings: bool,
    /// The fault went although the inlet was still shut.
    pub(crate) goes: bool,
}

fn of_inlet(inlet: u8, fact: crate::facts::Fact) -> Finding {
    Finding::of(StageKind::Supervise, Subject::Pipe(inlet), fact)
}

/// The unit's own band of flow is not known.
pub(crate) fn band_unknown(why: &Unknown) -> Finding {
    Finding::of(StageKind::Supervise, Subject::Replacement, fact::band_unknown(why, why.remedy()))
}

/// After which delay the unit raises its fault is not known.
pub(crate) fn delay_unknown(why: &Unknown) -> Finding {
    Finding::of(StageKind::Supervise, Subject::Replacement, fact::delay_unknown(why, why.remedy()))
}

/// The delay of the unit's flow fault by its settings, and by how much the fault may come sooner or later.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Delay {
    pub(crate) set_s: f64,
    pub(crate) within_s: f64,
}
impl Delay {
    /// How long the flow had been outside of its band when the fault came, where that is not what the delay says. Without
    /// readings of the flow only the mark of the shutting is known, and a mark may come late.
    fn broken(self, seen: &Shut) -> Option<f64> {
        let early = seen.stood_s.filter(|s| *s < self.set_s - self.within_s);
        early.or_else(|| seen.stood_s.or(seen.fault_after_s).filter(|s| *s > self.set_s + self.within_s))
    }
}

fn inlets(bits: u32) -> impl Iterator<Item = u8> {
    (1..=32).filter(move |n| bits & bit(*n) != 0)
}

/// The inlets that a unit names as outside their band while `inlet` is shut, without those that are rightly named: with one
/// inlet shut the others draw more, and may leave their band by that. `flows` are those of the reading and of the
/// baseline, by inlet; `band` is the part by which a flow must have risen to be named rightly.
pub(crate) fn named(inlet: u8, low: u32, high: u32, flows: &[(Option<f64>, Option<f64>)], band: f64) -> u32 {
    let rose = |n: u8| {
        let flow = usize::from(n).checked_sub(1).and_then(|i| flows.get(i).copied());
        matches!(flow, Some((Some(now), Some(baseline))) if now > baseline * (1.0 + band))
    };
    inlets(high).filter(|n| *n != inlet && !rose(*n)).fold(low, |all, n| all | bit(n))
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
pub(crate) fn shut(inlet: u8, limit: &Limit, delay: Option<Delay>, seen: Result<Shut, &str>) -> Finding {
    let off = delay.and_then(|d| Some((d, d.broken(seen.as_ref().ok()?)?)));
    let mut f = of_inlet(
        inlet,
        match seen {
            Err(why) => fact::not_shut(why),
            Ok(Shut { watched: false, .. }) => fact::unwatched(),
            Ok(Shut { fault_after_s: Some(_), goes: true, .. }) => fact::fault_goes(),
            Ok(Shut { fault_after_s: Some(_), named: 0, .. }) => fact::inlet_not_named(),
            Ok(Shut { fault_after_s: Some(_), named, .. }) if named != bit(inlet) => {
                fact::wrong_inlet(list(inlets(named)))
            }
            Ok(Shut { fault_after_s: Some(after), .. }) if after > limit.value => {
                fact::late(format_args!("{after:.0}"))
            }
            Ok(Shut { fault_after_s: Some(_), .. }) => match off {
                Some((delay, after)) => {
                    fact::not_by_delay(format_args!("{after:.0}"), format_args!("{:.0}", delay.set_s))
                }
                None => fact::in_time(),
            },
            Ok(Shut { readings: false, .. }) => fact::readings_stopped(),
            Ok(_) => fact::no_fault(),
        },
    );
    f.measured = seen.ok().filter(|s| s.watched).and_then(|s| s.fault_after_s).map(|s| Figure::plain(s, "s"));
    f.limit = Some(limit.clone());
    f
}

/// An inlet still reads this share of its flow while it is shut.
pub(crate) fn still_flows(inlet: u8, share: f64) -> Finding {
    of_inlet(inlet, fact::still_flows(fixed(share * 100.0, 0)))
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
        let delay = Delay { set_s: 150.0, within_s: 15.0 };
        shut(1, &limit, Some(delay).filter(|_| seen.is_ok_and(|s| s.stood_s.is_some())), seen).code.as_str().into()
    }

    #[test]
    fn the_fault_counts_only_in_time_and_watched() {
        let seen =
            |fault_after_s| Shut { fault_after_s, stood_s: None, named: 1, watched: true, readings: true, goes: false };
        assert_eq!(code(Ok(seen(Some(299.0)))), "supervise.fault-in-time");
        assert_eq!(code(Ok(seen(Some(301.0)))), "supervise.fault-late");
        assert_eq!(code(Ok(seen(None))), "supervise.no-fault");
        assert_eq!(code(Ok(Shut { goes: true, ..seen(Some(99.0)) })), "supervise.fault-goes");
        assert_eq!(code(Ok(Shut { readings: false, ..seen(None) })), "supervise.readings-stopped");
        assert_eq!(code(Ok(Shut { watched: false, ..seen(Some(1.0)) })), "supervise.unwatched");
        assert_eq!(code(Err("no ladder")), "supervise.not-shut");
        assert_eq!(code(Ok(Shut { named: 0, ..seen(Some(9.0)) })), "supervise.inlet-not-named");
        assert_eq!(code(Ok(Shut { named: 0b10, ..seen(Some(9.0)) })), "supervise.wrong-inlet");
        assert_eq!(code(Ok(Shut { named: 0b11, ..seen(Some(9.0)) })), "supervise.wrong-inlet");
    }
    #[test]
    fn the_fault_comes_when_its_delay_says() {
        let seen = |stood_s| Shut {
            fault_after_s: Some(150.0),
            stood_s,
            named: 1,
            watched: true,
            readings: true,
            goes: false,
        };
        assert_eq!(code(Ok(seen(Some(152.0)))), "supervise.fault-in-time");
        assert_eq!(code(Ok(seen(Some(60.0)))), "supervise.not-by-its-delay");
        assert_eq!(code(Ok(seen(Some(270.0)))), "supervise.not-by-its-delay");
        let marked = |fault_after_s| Shut { fault_after_s: Some(fault_after_s), ..seen(None) };
        let delay = Delay { set_s: 150.0, within_s: 15.0 };
        assert_eq!(delay.broken(&marked(100.0)), None, "a mark that came late");
        assert_eq!(delay.broken(&marked(180.0)), Some(180.0));
    }
    #[test]
    fn another_inlet_may_be_named_only_where_its_flow_rose() {
        let flows = |rise: f64| [(Some(0.0), Some(1.0)), (Some(1.0 + rise), Some(1.0)), (None, None)];
        assert_eq!(named(1, 0b001, 0b010, &flows(0.3), 0.2), 0b001);
        assert_eq!(named(1, 0b001, 0b010, &flows(0.1), 0.2), 0b011);
        assert_eq!(named(1, 0b001, 0b100, &flows(0.3), 0.2), 0b101, "an inlet without a reading");
        assert_eq!(named(1, 0b010, 0b000, &flows(0.3), 0.2), 0b010);
        assert_eq!(named(1, 0b000, 0b000, &flows(0.3), 0.2), 0);
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
