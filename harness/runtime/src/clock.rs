//! The system's clock and event loop: the one place that reads the wall clock of a job.
use crate::failure::Failure;
use plumeline_link::RealClock;

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
    let now = time::OffsetDateTime::now_utc();
    now.format(&time::format_description::well_known::Rfc3339).unwrap_or_else(|_| "unknown".into())
}

/// A current-thread runtime: one event loop, one thread.
pub fn event_loop() -> Result<tokio::runtime::Runtime, Failure> {
    Ok(tokio::runtime::Builder::new_current_thread().enable_all().build()?)
}
