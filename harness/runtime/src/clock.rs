//! The system's clock and event loop: the one place that reads the wall clock of a job.
use crate::failure::Failure;
use plumeline_base::Instant;
use plumeline_link::RealClock;
use std::time::SystemTime;
use time::{OffsetDateTime, format_description::well_known::Rfc3339};

/// A date that was set by more is noted, s; a network corrects by less.
const SET_S: f64 = 150.0;

/// What time a job goes by.
pub enum Clock {
    /// The system's, or so many times as fast.
    System(RealClock),
    /// From one due instant to the next, without waiting.
    Virtual,
}

/// The date of every simulated job, so that two runs with one seed are the same byte for byte.
pub const DATE_OF_SIMULATIONS: &str = "2026-01-01T08:00:00Z";

/// Now, as RFC 3339 in UTC.
pub fn date() -> String {
    OffsetDateTime::now_utc().format(&Rfc3339).unwrap_or_else(|_| "unknown".into())
}

/// Whether this computer's date goes on as the log's time does.
pub(crate) struct DateWatch {
    at: Instant,
    speed: f64,
    date: SystemTime,
}
impl DateWatch {
    /// From this instant of a log whose time runs `speed` times as fast, and this date.
    pub(crate) fn begin(at: Instant, speed: f64, date: SystemTime) -> Self {
        Self { at, speed, date }
    }
    /// By how much the date was set since it was last told, s; nothing while it goes with the log as well as a network corrects it.
    pub(crate) fn set_by(&mut self, now: Instant, date: SystemTime) -> Option<f64> {
        let passed = match date.duration_since(self.date) {
            Ok(on) => on.as_secs_f64(),
            Err(back) => -back.duration().as_secs_f64(),
        };
        let by_s = passed - now.since(self.at).as_secs_f64() / self.speed;
        (by_s.abs() > SET_S).then(|| {
            (self.at, self.date) = (now, date);
            by_s
        })
    }
}

/// A time of the calendar, as RFC 3339.
pub fn since_1970(time: std::time::Duration) -> Option<String> {
    let seconds = i64::try_from(time.as_secs()).ok()?;
    OffsetDateTime::from_unix_timestamp(seconds).ok()?.format(&Rfc3339).ok()
}

/// A date later by so many seconds.
pub fn later(then: &str, seconds: f64) -> Option<String> {
    let then = OffsetDateTime::parse(then, &Rfc3339).ok()?;
    then.checked_add(time::Duration::checked_seconds_f64(seconds)?)?.format(&Rfc3339).ok()
}

/// Seconds from one date to another; nothing where one of them is none.
pub fn between(from: &str, to: &str) -> Option<f64> {
    let read = |text: &str| OffsetDateTime::parse(text, &Rfc3339).ok();
    Some((read(to)? - read(from)?).as_seconds_f64())
}

/// A current-thread runtime: one event loop, one thread.
pub fn event_loop() -> Result<tokio::runtime::Runtime, Failure> {
    Ok(tokio::runtime::Builder::new_current_thread().enable_all().build()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn a_date_that_is_set_is_seen_once_and_one_that_creeps_is_not() {
        let (began, at) = (SystemTime::UNIX_EPOCH + Duration::from_secs(1_800_000_000), Instant::from_secs);
        let date = |s: i64| {
            if s < 0 { began - Duration::from_secs(s.unsigned_abs()) } else { began + Duration::from_secs(s as u64) }
        };
        let mut watch = DateWatch::begin(at(10), 1.0, began);
        assert_eq!(watch.set_by(at(70), date(60)), None);
        assert_eq!(watch.set_by(at(3610), date(3500)), None, "set right by the network");
        assert_eq!(watch.set_by(at(3610), date(-3600)), Some(-7200.0));
        assert_eq!(watch.set_by(at(3620), date(-3590)), None, "told once");
        assert_eq!(watch.set_by(at(3620), date(410)), Some(4000.0));
        assert_eq!(DateWatch::begin(at(0), 60.0, began).set_by(at(3600), date(60)), None, "scaled time");
    }
    #[test]
    fn a_date_goes_on_with_the_log() {
        assert_eq!(later("2026-01-01T08:00:00Z", 3600.5).as_deref(), Some("2026-01-01T09:00:00.5Z"));
        assert_eq!((later("no date", 1.0), later("2026-01-01T08:00:00Z", f64::NAN)), (None, None));
    }
}
