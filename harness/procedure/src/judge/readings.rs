//! Whether readings can be relied upon as such: they come as often as asked for, each later than the one before, and hold what
//! the job needs. Followed reading by reading, so that a unit that lies is told within a minute.
//!
//! Not here: what the readings say.
use crate::{
    facts::{Fact, fixed, readings as fact},
    outcome::{Finding, StageKind, Subject},
    rules::advanced::ReadingRules,
};
use plumeline_detector::Reading;

/// What is found of the unit's readings.
pub(crate) fn of_unit(stage: StageKind, fact: Fact) -> Finding {
    Finding::of(stage, Subject::Replacement, fact)
}

/// What a reading lacks that the job needs of it: a flow of each of these inlets, and an obscuration unless a person reads that.
pub(crate) fn lacks(reading: &Reading, inlets: &[u8], smoke: bool) -> Option<&'static str> {
    let told = |i: u8| {
        let flow = usize::from(i).checked_sub(1).and_then(|i| *reading.flow_m3_s.get(i)?);
        flow.is_some_and(f64::is_finite)
    };
    if !inlets.iter().all(|i| told(*i)) {
        Some("the flow of an inlet that carries a pipe is not told")
    } else if smoke && reading.extinction_per_m.iter().flatten().next().is_none() {
        Some("no obscuration is told")
    } else {
        None
    }
}

/// Follows the stamps of an unbroken stretch of readings.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Stamps {
    /// Stamp of the first reading of the count, us.
    first_us: Option<u64>,
    last_us: u64,
    came: u32,
    missing: u32,
    fallen: u32,
}
impl Stamps {
    /// Takes a reading of a stream of `hz` a second; gives what the stretch shows, once it is long enough.
    pub(crate) fn take(&mut self, reading: &Reading, hz: u8, rules: &ReadingRules) -> Option<Fact> {
        let at = reading.device_us?;
        let Some(first) = self.first_us else {
            *self = Self { first_us: Some(at), last_us: at, ..Self::default() };
            return None;
        };
        if at <= self.last_us {
            self.fallen += 1;
            // Its stamp is left out of the count; it came all the same.
            self.came += 1;
            return (self.fallen >= rules.stamps_fallen).then(fact::stamps_fall);
        }
        self.last_us = at;
        self.came += 1;
        self.missing = self.missing.saturating_add(reading.missed);
        let span_s = (at - first) as f64 * 1e-6;
        if span_s < rules.counted_s {
            return None;
        }
        let wanted = span_s * f64::from(hz);
        let lost = 1.0 - f64::from(self.came.saturating_add(self.missing)) / wanted;
        *self = Self { first_us: Some(at), last_us: at, fallen: self.fallen, ..Self::default() };
        (lost > rules.lost).then(|| fact::lost_untold(fixed(lost * 100.0, 0), hz))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::String;

    fn rules() -> ReadingRules {
        ReadingRules::default()
    }
    fn reading(device_us: u64, missed: u32) -> Reading {
        Reading { device_us: Some(device_us), missed, ..Reading::default() }
    }
    /// What readings at these tenths of a second show, at ten a second.
    fn code(tenths: impl Iterator<Item = (u64, u32)>) -> Option<String> {
        let mut stamps = Stamps::default();
        let mut found = tenths.filter_map(|(t, missed)| stamps.take(&reading(t * 100_000, missed), 10, &rules()));
        found.next().map(|f| f.code.as_str().into())
    }

    #[test]
    fn readings_that_are_left_out_are_told_or_found() {
        assert_eq!(code((0..2000).map(|t| (t, 0))), None);
        assert_eq!(code((0..1000).map(|t| (2 * t, 1))), None, "each gap is told");
        assert_eq!(code((0..1000).map(|t| (2 * t, 0))).as_deref(), Some("readings.lost-untold"));
        assert_eq!(code((0..2000).filter(|t| t % 10 != 3).map(|t| (t, 0))).as_deref(), Some("readings.lost-untold"));
        assert_eq!(code((0..2000).filter(|t| t % 100 != 3).map(|t| (t, 0))), None, "one here and there");
    }
    #[test]
    fn stamps_rise() {
        let falls = |t: u64| if t % 10 == 9 { t - 5 } else { t };
        assert_eq!(code((0..2000).map(|t| (falls(t), 0))).as_deref(), Some("readings.stamps-fall"));
        assert_eq!(code((0..2000).map(|t| (if t == 700 { 695 } else { t }, 0))), None, "once");
    }
    #[test]
    fn a_reading_holds_what_the_job_needs() {
        let reading = |flow, extinction| Reading {
            flow_m3_s: alloc::vec![Some(1.0), flow],
            extinction_per_m: alloc::vec![extinction],
            ..Reading::default()
        };
        assert_eq!(lacks(&reading(Some(1.0), Some(0.0)), &[1, 2], true), None);
        assert_eq!(lacks(&reading(None, Some(0.0)), &[1], true), None);
        assert!(lacks(&reading(None, Some(0.0)), &[1, 2], true).is_some());
        assert!(lacks(&reading(Some(f64::NAN), Some(0.0)), &[2], true).is_some());
        assert!(lacks(&reading(Some(1.0), None), &[1], true).is_some());
        assert_eq!(lacks(&reading(Some(1.0), None), &[2], false), None, "a person reads the smoke");
        assert!(lacks(&reading(Some(1.0), Some(0.0)), &[3], true).is_some());
    }
}
