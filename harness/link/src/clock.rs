//! The running system's clock as log time. One of the few places that may ask what time it is.
use crate::sys;
use plumeline_base::{Instant, time::micros};
use std::time::Duration;

/// Log time that follows the system's clock, at a chosen speed. It never runs back, and it goes on while the computer
/// sleeps: a unit that was out of service when the lid was closed stays out of service.
#[derive(Clone, Copy, Debug)]
pub struct RealClock {
    origin: tokio::time::Instant,
    /// The clock that counts sleep, then.
    awake_or_not: Option<Duration>,
    start: Instant,
    speed: f64,
}

/// Timers may stand still while the computer sleeps, so a long wait looks at the clock this often.
const LOOK: Duration = Duration::from_secs(1);

impl RealClock {
    /// A clock that shows `start` now and runs `speed` times as fast as the system's; 1 for a real job. A speed that
    /// is not a positive number counts as 1.
    pub fn starting_at(start: Instant, speed: f64) -> Self {
        let speed = if speed.is_finite() && speed > 0.0 { speed } else { 1.0 };
        Self { origin: tokio::time::Instant::now(), awake_or_not: sys::clock_with_sleep(), start, speed }
    }
    /// How many times as fast as the system's it runs.
    pub fn speed(&self) -> f64 {
        self.speed
    }
    /// Now.
    pub fn now(&self) -> Instant {
        let slept = self.awake_or_not.and_then(|then| sys::clock_with_sleep()?.checked_sub(then));
        self.showing(self.origin.elapsed(), slept)
    }
    /// What the clock shows, by a count that may stand still in sleep and one that does not.
    fn showing(&self, awake: Duration, awake_or_not: Option<Duration>) -> Instant {
        // Both only grow, and so does the larger.
        let elapsed = micros(awake_or_not.map_or(awake, |d| d.max(awake)));
        // Exact at speed 1, where it matters; a conversion from f64 saturates.
        let scaled = if self.speed == 1.0 { elapsed } else { (elapsed as f64 * self.speed) as u64 };
        self.start + Duration::from_micros(scaled)
    }
    /// Waits until the clock shows `at`; returns at once if it does already.
    pub async fn until(&self, at: Instant) {
        loop {
            let ahead = at.since(self.now());
            if ahead.is_zero() {
                return;
            }
            let ahead = Duration::try_from_secs_f64(ahead.as_secs_f64() / self.speed).unwrap_or(LOOK);
            // Timers count in whole milliseconds; a shorter wait would be none.
            tokio::time::sleep(ahead.clamp(Duration::from_millis(1), LOOK)).await;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn sleep_counts() {
        let clock = RealClock::starting_at(Instant::from_secs(10), 1.0);
        let s = Duration::from_secs;
        assert_eq!(clock.showing(s(5), None), Instant::from_secs(15));
        assert_eq!(clock.showing(s(5), Some(s(5))), Instant::from_secs(15));
        assert_eq!(clock.showing(s(5), Some(s(3605))), Instant::from_secs(3615));
        let fast = RealClock::starting_at(Instant::START, 60.0);
        assert_eq!(fast.showing(s(5), Some(s(5))), Instant::from_secs(300));
    }

    #[tokio::test(start_paused = true)]
    async fn a_wait_ends_when_it_is_time() {
        let clock = RealClock::starting_at(Instant::START, 1.0);
        for seconds in [3, 3, 10, 100_000] {
            clock.until(Instant::from_secs(seconds)).await;
            assert!(clock.now() >= Instant::from_secs(seconds));
        }
        assert!(clock.now() < Instant::from_secs(100_001));
    }
}
