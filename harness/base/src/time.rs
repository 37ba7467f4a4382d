//! The one kind of instant that logic sees: microseconds since the start of the input log.
//!
//! Not here: wall clocks. A date enters a job as an input ([`crate::input::Input::Date`]), never by being read.
use core::{
    fmt,
    ops::{Add, AddAssign, Sub},
    time::Duration,
};
use serde::{Deserialize, Serialize};

/// Microseconds since the input log was opened. Spans are [`core::time::Duration`].
///
/// Arithmetic saturates: no input can make it panic or wrap. 2^64 us are about 584,000 years.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(transparent)]
pub struct Instant(u64);

impl Instant {
    /// The start of the log.
    pub const START: Self = Self(0);
    /// Later than any event.
    pub const FAR_FUTURE: Self = Self(u64::MAX);

    /// The instant `us` microseconds after the start of the log.
    pub const fn from_micros(us: u64) -> Self {
        Self(us)
    }
    /// The instant `s` seconds after the start of the log.
    pub const fn from_secs(s: u64) -> Self {
        Self(s.saturating_mul(1_000_000))
    }
    /// Microseconds since the start of the log.
    pub const fn as_micros(self) -> u64 {
        self.0
    }
    /// Seconds since the start of the log, for computation and display.
    pub fn as_secs_f64(self) -> f64 {
        self.0 as f64 * 1e-6
    }
    /// The time from `earlier` to `self`; zero if `earlier` is later.
    pub const fn since(self, earlier: Self) -> Duration {
        Duration::from_micros(self.0.saturating_sub(earlier.0))
    }
}

/// A duration in whole microseconds, saturating.
pub fn micros(d: Duration) -> u64 {
    u64::try_from(d.as_micros()).unwrap_or(u64::MAX)
}

/// A span of `s` seconds; nothing for what is negative or not a number, the longest span for what is too long.
pub fn seconds(s: f64) -> Duration {
    match Duration::try_from_secs_f64(s) {
        Ok(d) => d,
        Err(_) if s > 0.0 => Duration::MAX,
        Err(_) => Duration::ZERO,
    }
}

impl Add<Duration> for Instant {
    type Output = Self;
    fn add(self, d: Duration) -> Self {
        Self(self.0.saturating_add(micros(d)))
    }
}
impl AddAssign<Duration> for Instant {
    fn add_assign(&mut self, d: Duration) {
        *self = *self + d;
    }
}
impl Sub<Duration> for Instant {
    type Output = Self;
    fn sub(self, d: Duration) -> Self {
        Self(self.0.saturating_sub(micros(d)))
    }
}
impl fmt::Display for Instant {
    /// `h:mm:ss.mmm` since the start of the log.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ms = self.0 / 1000;
        write!(f, "{}:{:02}:{:02}.{:03}", ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn saturates_at_both_ends() {
        assert_eq!(Instant::FAR_FUTURE + Duration::from_secs(1), Instant::FAR_FUTURE);
        assert_eq!(Instant::START - Duration::from_secs(1), Instant::START);
        assert_eq!(Instant::START.since(Instant::from_secs(3)), Duration::ZERO);
    }
    #[test]
    fn seconds_never_panic() {
        assert_eq!(seconds(1.5), Duration::from_millis(1500));
        assert_eq!(seconds(-1.0), Duration::ZERO);
        assert_eq!(seconds(f64::NAN), Duration::ZERO);
        assert_eq!(seconds(f64::INFINITY), Duration::MAX);
    }
    #[test]
    fn displays_hours_to_milliseconds() {
        use alloc::string::ToString;
        assert_eq!(Instant::from_micros(3_723_004_999).to_string(), "1:02:03.004");
    }
}
