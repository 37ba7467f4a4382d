//! The mean of a stretch of readings with its uncertainty: autocorrelation, resolution, calibration (JCGM 100).
//!
//! Not here: whether the readings were steady (see [`crate::settle`]); a mean over a drift is the caller's fault.
use crate::{Error, Sample, stats};
use alloc::vec::Vec;
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

/// Fewest effective readings (readings over integrated autocorrelation time) for which the interval keeps its coverage.
const LEAST_EFFECTIVE: f64 = 8.0;

/// The mean of `samples` as asked for at `now`.
///
/// # Errors
/// Readings that are not numbers, out of order, gapped, stale, too few, all equal, or too correlated; terms out of range.
pub fn mean_of(samples: &[Sample], now: Instant, terms: &Terms) -> Result<Mean, Error> {
    terms.check()?;
    let (first, last) = match (samples.first(), samples.last()) {
        (Some(first), Some(last)) if samples.len() >= terms.min_samples => (first, last),
        _ => return Err(Error::TooFew { have: samples.len(), need: terms.min_samples }),
    };
    in_order(samples, terms.max_gap)?;
    let age = now.since(last.at);
    if age > terms.max_age {
        return Err(Error::Stale { last: last.at, age });
    }
    let values: Vec<f64> = samples.iter().map(|s| s.value).collect();
    let (value, sd) = (stats::mean(&values), stats::sd(&values));
    if !(value.is_finite() && sd.is_finite()) {
        return Err(Error::UnsoundEstimate);
    }
    if values.iter().all(|v| *v == first.value) {
        return Err(Error::Stuck { since: first.at });
    }
    let residuals: Vec<f64> = values.iter().map(|v| v - value).collect();
    let n = values.len() as f64;
    let lag1 = stats::lag1(&values);
    if let Some((at, value)) = outlier(samples, &values) {
        return Err(Error::Outlier { at, value });
    }
    let resolution = terms.resolution.max(stats::visible_step(&values));
    let long_run = stats::long_run(&residuals, 1);
    if n / long_run.time < LEAST_EFFECTIVE {
        return Err(Error::TooCorrelated { lag1 });
    }
    let scatter = libm::sqrt(long_run.variance / n);
    let rounding = stats::rounding_uncertainty(resolution, stats::before_rounding(sd, resolution));
    let estimate = Estimate::new(
        value,
        libm::hypot(terms.calibration_relative * value, terms.calibration_absolute),
        libm::hypot(scatter, rounding),
    );
    let dof = welch_satterthwaite(estimate.u(), &[(scatter, long_run.dof)]);
    let coverage_factor = stats::t_quantile(0.5 + 0.5 * terms.coverage, dof);
    if !(estimate.value.is_finite() && (coverage_factor * estimate.u()).is_finite() && lag1.is_finite()) {
        return Err(Error::UnsoundEstimate);
    }
    Ok(Mean {
        estimate,
        n: values.len(),
        n_effective: (sd * sd / (scatter * scatter)).max(1.0),
        sd,
        lag1,
        expanded: coverage_factor * estimate.u(),
        coverage_factor,
        dof,
        dof_scatter: long_run.dof,
        from: first.at,
        to: last.at,
    })
}

/// So many robust standard deviations off the median a reading is none of the others' kind.
const OUTLIER: f64 = 20.0;

/// The reading that stands out most, if it does so far that no mean may take it in or leave it out without a word.
fn outlier(samples: &[Sample], values: &[f64]) -> Option<(Instant, f64)> {
    let middle = stats::median(values);
    // Readings on two or three steps have no scatter about their median: their step and what they differ by mostly stand in for it.
    let scatter = stats::robust_sd(values, middle).max(stats::visible_step(values));
    let off = |s: &Sample| (s.value - middle).abs();
    let worst = samples.iter().max_by(|a, b| off(a).total_cmp(&off(b)))?;
    (scatter > 0.0 && off(worst) > OUTLIER * scatter).then_some((worst.at, worst.value))
}

/// Effective degrees of freedom of a combined standard uncertainty `u` whose type A parts are given with theirs;
/// all other parts count as known (JCGM 100, equation G.2b).
pub fn welch_satterthwaite(u: f64, type_a: &[(f64, f64)]) -> f64 {
    let fourth = |v: f64| v * v * v * v;
    let sum: f64 = type_a.iter().map(|(part, dof)| fourth(*part) / dof).sum();
    if sum > 0.0 { fourth(u) / sum } else { f64::INFINITY }
}

/// Checks that readings are numbers, in order, and without a gap.
pub(crate) fn in_order(samples: &[Sample], max_gap: Duration) -> Result<(), Error> {
    if let Some(bad) = samples.iter().find(|s| !s.value.is_finite()) {
        return Err(Error::NotANumber { at: bad.at });
    }
    for (a, b) in samples.iter().zip(samples.iter().skip(1)) {
        if b.at <= a.at {
            return Err(Error::OutOfOrder { at: b.at, before: a.at });
        }
        if b.at.since(a.at) > max_gap {
            return Err(Error::Gap { after: a.at, missing: b.at.since(a.at) });
        }
    }
    Ok(())
}

impl Terms {
    fn check(&self) -> Result<(), Error> {
        let sound = |v: f64| v.is_finite() && v >= 0.0;
        let bad = |what, range| Err(Error::BadRule { what, range });
        if !(sound(self.resolution) && sound(self.calibration_relative) && sound(self.calibration_absolute)) {
            return bad("resolution and calibration", "finite and not negative");
        }
        if !(self.coverage > 0.0 && self.coverage < 1.0) {
            return bad("coverage", "between 0 and 1");
        }
        if self.min_samples < 8 { bad("min_samples", "at least 8") } else { Ok(()) }
    }
}
