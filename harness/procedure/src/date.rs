//! Dates of the log (RFC 3339) as milliseconds since 1970 UTC, and back.
//!
//! The date enters the log at each take-up, and times out of service hang on it: one that can't be is doubted. A clock that was set
//! forward between take-ups can't be told from a pause: the time out of service then comes out too long, never too short.
//!
//! Not here: what day it is (that is an event of the log), and how the log's own time goes on over a pause (whoever takes it up).
use crate::context::Context;
use alloc::{format, string::String};
use plumeline_base::Instant;
use time::{OffsetDateTime, PrimitiveDateTime, format_description::well_known::Rfc3339};

impl Context {
    /// Date and time at an instant, ms since 1970 UTC, where the log knows it and nothing speaks against it.
    pub(crate) fn utc_ms(&self, at: Instant) -> Option<u64> {
        let record = &self.get().record;
        if record.date_doubt.is_some() {
            return None;
        }
        let (noted, ms) = record.date?;
        // A date noted later than `at` is never asked for.
        ms.checked_add(u64::try_from(at.since(noted).as_millis()).ok()?)
    }
}

/// The first day of 2025: this tool was made later.
const EARLIEST: u64 = 1_735_689_600_000;
/// The first day of 2050, ms since 1970 UTC.
const LATEST: u64 = 2_524_608_000_000;
/// A clock that is set right by the network moves by less, ms.
const MAY_DIFFER: u64 = 120_000;

/// Why a date that the log notes at `now` is not to be trusted. `before`: the last one that it noted, and when.
pub(crate) fn doubt(text: &str, before: Option<(Instant, u64)>, now: Instant) -> Option<String> {
    let Some(ms) = parse(text) else {
        return Some(format!("\"{text}\" is no date"));
    };
    if !(EARLIEST..LATEST).contains(&ms) {
        return Some(format!("it says {}, which can't be", format(ms)));
    }
    let (noted, then) = before?;
    let expected = then.saturating_add(u64::try_from(now.since(noted).as_millis()).unwrap_or(u64::MAX));
    let words = |how: &str| {
        let (expected, ms) = (format(expected), format(ms));
        Some(format!("it was set {how} during this job: it says {ms} when it should say {expected}"))
    };
    match () {
        () if ms.saturating_add(MAY_DIFFER) < expected => words("back"),
        () if expected.saturating_add(MAY_DIFFER) < ms => words("forward, or this computer slept"),
        () => None,
    }
}

/// Reads a date and time; `None` if it is none, or before 1970.
pub(crate) fn parse(text: &str) -> Option<u64> {
    let date = OffsetDateTime::parse(text, &Rfc3339).ok()?;
    u64::try_from(date.unix_timestamp_nanos() / 1_000_000).ok()
}

/// By how much the local time of a date is ahead of UTC, s.
pub(crate) fn ahead_s(text: &str) -> Option<i64> {
    let date = OffsetDateTime::parse(text, &Rfc3339).ok()?;
    Some(i64::from(date.offset().whole_seconds()))
}

/// Date and time in UTC, to the second; the end of the calendar beyond it.
pub(crate) fn format(utc_ms: u64) -> String {
    let seconds = i64::try_from(utc_ms / 1000).unwrap_or(i64::MAX);
    let d = OffsetDateTime::from_unix_timestamp(seconds).unwrap_or(PrimitiveDateTime::MAX.assume_utc());
    let (month, day) = (u8::from(d.month()), d.day());
    format!("{:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z", d.year(), d.hour(), d.minute(), d.second())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The examples of RFC 3339 section 5.8, and round dates of Unix time.
    #[test]
    fn reads_the_standards_examples() {
        assert_eq!(parse("1970-01-01T00:00:00Z"), Some(0));
        assert_eq!(parse("2001-09-09T01:46:40Z"), Some(1_000_000_000_000));
        assert_eq!(parse("1985-04-12T23:20:50.52Z"), Some(482_196_050_520));
        assert_eq!(parse("1996-12-19T16:39:57-08:00"), parse("1996-12-20T00:39:57Z"));
        assert_eq!(parse("2038-01-19T03:14:08Z"), Some((1 << 31) * 1000));
        for bad in [
            "",
            "2026-01-01",
            "2026-02-30T00:00:00Z",
            "2026-13-01T00:00:00Z",
            "2026-01-01T00:00:00",
            "2026-01-01T00:00:00+1",
            "2026-01-0éT00:00:00Z",
            "1960-01-01T00:00:00Z",
        ] {
            assert_eq!(parse(bad), None, "{bad}");
        }
    }
    #[test]
    fn writes_what_it_reads() {
        for day in (0..60_000).step_by(17) {
            let ms = day * 86_400_000 + 45_296_000;
            assert_eq!(parse(&format(ms)), Some(ms));
        }
        assert_eq!(format(951_782_400_000), "2000-02-29T00:00:00Z");
    }
    fn says(text: &str, before: Option<(u64, &str)>, now_s: u64) -> String {
        let before = before.and_then(|(s, text)| Some((Instant::from_secs(s), parse(text)?)));
        doubt(text, before, Instant::from_secs(now_s)).unwrap_or_default()
    }

    #[test]
    fn a_date_that_cannot_be_is_doubted() {
        assert_eq!(says("2026-11-28T08:00:00Z", None, 0), "");
        for absurd in ["1970-01-01T00:00:10Z", "2060-05-05T10:00:00Z", "2024-12-31T23:59:59Z", "soon", ""] {
            assert!(!says(absurd, None, 0).is_empty(), "{absurd}");
        }
    }
    #[test]
    fn a_clock_that_does_not_go_with_the_log_is_doubted() {
        let began = Some((10, "2026-11-28T08:00:00Z"));
        assert_eq!(says("2026-11-28T09:00:00Z", began, 3610), "");
        assert_eq!(says("2026-11-28T08:59:00Z", began, 3610), "", "set right by the network");
        assert!(says("2026-11-28T08:00:01Z", began, 3610).contains("set back"));
        assert!(says("2026-11-27T08:00:00Z", began, 11).contains("set back"));
        assert!(says("2026-11-28T13:00:00Z", began, 3610).contains("forward"));
    }
}
