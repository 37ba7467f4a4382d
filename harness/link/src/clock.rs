//! The running system's clock as log time. One of the few places that may ask what time it is.
use plumeline_base::{Instant, time::micros};
use std::time::Duration;

/// Log time that follows the system's monotonic clock, at a chosen speed.
#[derive(Clone, Copy, Debug)]
pub struct RealClock {
    origin: tokio::time::Instant,
    start: Instant,
    speed: f64,
}

impl RealClock {
    /// A clock that shows `start` now and runs `speed` times as fast as the system's; 1 for a real job. A speed that
    /// is not a positive number counts as 1.
    pub fn starting_at(start: Instant, speed: f64) -> Self {
        let speed = if speed.is_finite() && speed > 0.0 { speed } else { 1.0 };
        Self { origin: tokio::time::Instant::now(), start, speed }
    }
    /// Now.
    pub fn now(&self) -> Instant {
        let elapsed = micros(self.origin.elapsed());
        // Exact at speed 1, where it matters; a conversion from f64 saturates.
        let scaled = if self.speed == 1.0 { elapsed } else { (elapsed as f64 * self.speed) as u64 };
        self.start + Duration::from_micros(scaled)
    }
    /// Waits until the clock shows `at`; returns at once if it does already.
    pub async fn until(&self, at: Instant) {
        let ahead = at.since(self.now()).as_secs_f64() / self.speed;
        // Timers take centuries badly; whoever waits that long may as well look again after a day.
        let ahead = Duration::try_from_secs_f64(ahead).unwrap_or(Duration::MAX).min(Duration::from_secs(86_400));
        tokio::time::sleep(ahead).await;
    }
}
