//! Dates of the log (RFC 3339) as milliseconds since 1970 UTC, and back. Proleptic Gregorian calendar, no leap seconds.
//!
//! Not here: what day it is (that is an event of the log).
use crate::context::Context;
use alloc::{format, string::String};
use plumeline_base::Instant;

impl Context {
    /// Date and time at an instant, ms since 1970 UTC, where the log knows it.
    pub(crate) fn utc_ms(&self, at: Instant) -> Option<u64> {
        let (noted, ms) = self.get().record.date?;
        // A date noted later than `at` is never asked for.
        ms.checked_add(u64::try_from(at.since(noted).as_millis()).ok()?)
    }
}

const DAY_MS: i64 = 86_400_000;

/// Days from 1970-01-01 to a date (H. Hinnant, "chrono-compatible low-level date algorithms", days_from_civil).
fn days(year: i64, month: i64, day: i64) -> i64 {
    let y = if month <= 2 { year - 1 } else { year };
    let era = y.div_euclid(400);
    let of_era = y - era * 400;
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468
}
/// Year, month and day of a day since 1970-01-01 (the same source, civil_from_days).
fn civil(days: i64) -> (i64, i64, i64) {
    let z = days + 719_468;
    let era = z.div_euclid(146_097);
    let of_era = z - era * 146_097;
    let year = (of_era - of_era / 1_460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let m = (5 * of_year + 2) / 153;
    let month = if m < 10 { m + 3 } else { m - 9 };
    (year + era * 400 + i64::from(month <= 2), month, of_year - (153 * m + 2) / 5 + 1)
}

/// Reads a date and time; `None` if it is none, or before 1970.
pub(crate) fn parse(text: &str) -> Option<u64> {
    let digits = |from: usize, to: usize| {
        let part = text.get(from..to)?;
        part.bytes().all(|b| b.is_ascii_digit()).then(|| part.parse::<i64>().ok())?
    };
    let is = |at: usize, of: &[u8]| text.as_bytes().get(at).is_some_and(|b| of.contains(b));
    let (year, month, day) = (digits(0, 4)?, digits(5, 7)?, digits(8, 10)?);
    let (h, m, s) = (digits(11, 13)?, digits(14, 16)?, digits(17, 19)?);
    let ranges = (1..=12).contains(&month) && (1..=31).contains(&day) && h < 24 && m < 60 && s <= 60;
    if !(ranges && is(4, b"-") && is(7, b"-") && is(10, b"Tt ") && is(13, b":") && is(16, b":")) {
        return None;
    }
    let rest = text.get(19..)?;
    let (fraction, zone) = match rest.strip_prefix('.') {
        Some(r) => r.split_at(r.bytes().take_while(u8::is_ascii_digit).count()),
        None => ("", rest),
    };
    let thousandths = fraction.bytes().chain(*b"000").take(3).fold(0, |n, b| n * 10 + i64::from(b - b'0'));
    let offset_min = match zone {
        "Z" | "z" => 0,
        _ => {
            let (sign, hm) = zone.split_at_checked(1)?;
            let (zh, zm) = hm.split_once(':').filter(|(zh, zm)| zh.len() == 2 && zm.len() == 2)?;
            let min = zh.parse::<i64>().ok()? * 60 + zm.parse::<i64>().ok()?;
            match sign {
                "+" => min,
                "-" => -min,
                _ => return None,
            }
        }
    };
    let of_day = ((h * 60 + m - offset_min) * 60 + s) * 1000 + thousandths;
    u64::try_from(days(year, month, day) * DAY_MS + of_day).ok()
}

/// Date and time in UTC, to the second.
pub(crate) fn format(utc_ms: u64) -> String {
    let ms = i64::try_from(utc_ms).unwrap_or(i64::MAX);
    let ((year, month, day), s) = (civil(ms.div_euclid(DAY_MS)), ms.rem_euclid(DAY_MS) / 1000);
    format!("{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z", s / 3600, s / 60 % 60, s % 60)
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
