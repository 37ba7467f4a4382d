//! Whether the air is clear again and no alarm level is left.
use crate::{
    facts::{Fact, purge as fact},
    outcome::{Figure, Finding, StageKind, Subject},
};
use plumeline_base::Instant;

fn of_unit(fact: Fact) -> Finding {
    Finding::of(StageKind::Purge, Subject::Replacement, fact)
}

/// No smoke was released in this job.
pub(crate) fn unused() -> Finding {
    of_unit(fact::no_smoke_used())
}

/// When obscuration was back under the lowest level, or the reason why that can't be shown.
pub(crate) fn air(began: Instant, clear: Result<Instant, &str>) -> Finding {
    match clear {
        Ok(at) => {
            let mut f = of_unit(fact::clear());
            f.measured = Some(Figure::plain(at.since(began).as_secs_f64(), "s"));
            f.window = Some((began, at));
            f
        }
        Err(why) => of_unit(fact::not_shown_clear(why)),
    }
}

/// What the readings showed after latched alarms were reset.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Reset {
    /// The unit can't reset them this way.
    CannotDo,
    /// A reading without any level came.
    NoLevel,
    /// Readings came, each with a level.
    Stands,
    /// No fresh reading came.
    NoReading,
}

/// What the reset came to.
pub(crate) fn reset(seen: Reset) -> Finding {
    of_unit(match seen {
        Reset::CannotDo => fact::cannot_reset(),
        Reset::NoLevel => fact::no_level(),
        Reset::Stands => fact::level_stands(),
        Reset::NoReading => fact::no_reading(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::time::Duration;
    use plumeline_base::Verdict;

    #[test]
    fn clear_air_has_its_time_and_an_unseen_one_is_open() {
        let began = Instant::START + Duration::from_secs(5);
        let f = air(began, Ok(began + Duration::from_secs(40)));
        assert!(f.code == "purge.clear" && f.verdict == Verdict::Pass);
        assert_eq!(f.measured, Some(Figure::plain(40.0, "s")));
        assert!(air(began, Err("no level")).code == "purge.not-shown-clear");
        assert!(unused().code == "purge.no-smoke-used");
    }
    #[test]
    fn only_a_level_that_is_seen_to_stand_fails() {
        let verdicts = [Reset::CannotDo, Reset::NoLevel, Reset::Stands, Reset::NoReading].map(|r| reset(r).verdict);
        assert_eq!(verdicts, [Verdict::Undecided, Verdict::Pass, Verdict::Fail, Verdict::Undecided]);
    }
}
