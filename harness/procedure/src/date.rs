//! Dates of the log (RFC 3339) as milliseconds since 1970 UTC, and back.
//!
//! Not here: what day it is (that is an event of the log).
use crate::context::Context;
use alloc::{format, string::String};
use plumeline_base::Instant;
use time::{OffsetDateTime, PrimitiveDateTime, format_description::well_known::Rfc3339};

impl Context {
    /// Date and time at an instant, ms since 1970 UTC, where the log knows it.
    pub(crate) fn utc_ms(&self, at: Instant) -> Option<u64> {
        let (noted, ms) = self.get().record.date?;
        // A date noted later than `at` is never asked for.
        ms.checked_add(u64::try_from(at.since(noted).as_millis()).ok()?)
    }
}

/// Reads a date and time; `None` if it is none, or before 1970.
pub(crate) fn parse(text: &str) -> Option<u64> {
    let date = OffsetDateTime::parse(text, &Rfc3339).ok()?;
    u64::try_from(date.unix_timestamp_nanos() / 1_000_000).ok()
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
}
