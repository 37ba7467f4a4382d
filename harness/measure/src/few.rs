//! A few readings, each asked for by itself: read off a display and typed. Their mean, and whether they still move.
//!
//! A stream tells its scatter by itself; three readings do not. What readings of one display scatter is therefore pooled over
//! all groups that were read in one state (JCGM 100, clause 4.2.4), and no group is taken to scatter less than its display's
//! step lets show. Not here: streams ([`crate::mean`], [`crate::settle`]), and when to ask for a reading.
use crate::{
    Error, Sample,
    mean::{Mean, welch_satterthwaite},
    settle::{Reason, Slope, State},
    stats,
};
use alloc::vec::Vec;
use core::time::Duration;
use plumeline_base::quantity::Estimate;

/// How much readings of one display scatter within a state, over all groups read so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Scatter {
    squares: f64,
    dof: f64,
}
impl Scatter {
    /// Takes in the readings of one state.
    pub fn take(&mut self, values: &[f64]) {
        let mean = stats::mean(values);
        if values.len() > 1 && mean.is_finite() {
            self.squares += stats::sum(values.iter().map(|v| (v - mean) * (v - mean)));
            self.dof += (values.len() - 1) as f64;
        }
    }
    /// Standard deviation of a single reading with its degrees of freedom; `None` before anything was read twice.
    pub fn sd(&self) -> Option<(f64, f64)> {
        (self.dof > 0.0).then(|| (libm::sqrt(self.squares / self.dof), self.dof))
    }
}

/// What is known of the readings beside the readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Step of the display, unit of the reading; above 0.
    pub resolution: f64,
    /// Standard uncertainty of the calibration as a share of the reading.
    pub calibration_relative: f64,
    /// Probability that the expanded interval is to cover.
    pub coverage: f64,
    /// For how long one reading speaks: a display shows what it averaged.
    pub each: Duration,
}

/// The mean of `samples`, which were read in one state. `scatter` holds them already.
///
/// The scatter part is the pooled deviation over the root of their number; rounding is common to all of them where they scatter
/// less than a step (see [`stats::rounding_uncertainty`]).
///
/// # Errors
/// No reading, one that is no number or not later than the one before; a step that is not stated; nothing read twice yet.
pub fn mean_of(samples: &[Sample], scatter: &Scatter, terms: &Terms) -> Result<Mean, Error> {
    if !(terms.resolution.is_finite() && terms.resolution > 0.0) {
        return Err(Error::BadRule { what: "the display's step", range: "stated, above 0" });
    }
    crate::mean::in_order(samples, Duration::MAX)?;
    let (Some(first), Some(last)) = (samples.first(), samples.last()) else {
        return Err(Error::TooFew { have: 0, need: 1 });
    };
    let (sd, dof) = scatter.sd().ok_or(Error::TooFew { have: samples.len(), need: 2 })?;
    let values: Vec<f64> = samples.iter().map(|s| s.value).collect();
    let (n, value) = (values.len() as f64, stats::mean(&values));
    let own = sd / libm::sqrt(n);
    let rounding = stats::rounding_uncertainty(terms.resolution, stats::before_rounding(sd, terms.resolution));
    // Equal readings scatter too little here to bring out what the step hides, whatever others do.
    let hidden = if values.iter().all(|v| *v == values[0]) { terms.resolution / libm::sqrt(12.0) } else { 0.0 };
    let individual = libm::hypot(own, rounding).max(hidden);
    let estimate = Estimate::new(value, terms.calibration_relative * libm::fabs(value), individual);
    let combined = welch_satterthwaite(estimate.u(), &[(own, dof)]);
    let coverage_factor = stats::t_quantile(0.5 + 0.5 * terms.coverage, combined);
    Ok(Mean {
        estimate,
        n: values.len(),
        n_effective: n,
        sd,
        lag1: 0.0,
        expanded: coverage_factor * estimate.u(),
        coverage_factor,
        dof: combined,
        dof_scatter: dof,
        from: first.at - terms.each,
        to: last.at,
    })
}

/// When a few readings count as steady.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// They span at least so long.
    pub window: Duration,
    /// Fewest readings, at least 4.
    pub least: usize,
    /// Largest trend, as a share of the reading, a minute.
    pub slope_per_min: f64,
    /// Probability that a flow which is not steady is never called steady.
    pub confidence: f64,
}

/// Whether the latest readings still move: a straight line through those of the last window, its interval from their scatter
/// about it or from the display's step, whichever is larger.
pub fn state(samples: &[Sample], terms: &Terms, rule: &Rule) -> State {
    let waiting = |because, wait_estimate| State::NotYet { because, wait_estimate };
    let Some(last) = samples.last() else { return waiting(Reason::WindowsNotFull, Some(rule.window)) };
    // One reading of before the window, so that what is looked at spans it.
    let inside = samples.iter().filter(|s| last.at.since(s.at) <= rule.window).count();
    let looked = &samples[samples.len().saturating_sub(inside.max(rule.least).max(inside + 1))..];
    let span = looked.first().map_or(Duration::ZERO, |first| last.at.since(first.at));
    if looked.len() < rule.least.max(4) || span < rule.window {
        return waiting(Reason::WindowsNotFull, Some(rule.window.saturating_sub(span)));
    }
    let minutes: Vec<f64> = looked.iter().map(|s| -last.at.since(s.at).as_secs_f64() / 60.0).collect();
    let values: Vec<f64> = looked.iter().map(|s| s.value).collect();
    // Readings so far apart hang together no more: ordinary least squares.
    let (middle, mean) = (stats::mean(&minutes), stats::mean(&values));
    let spread = stats::sum(minutes.iter().map(|x| (x - middle) * (x - middle)));
    let per_minute = stats::sum(minutes.iter().zip(&values).map(|(x, y)| (x - middle) * (y - mean))) / spread;
    let left = minutes.iter().zip(&values).map(|(x, y)| y - mean - per_minute * (x - middle));
    let dof = values.len() as f64 - 2.0;
    let scatter = libm::sqrt(stats::sum(left.map(|r| r * r)) / dof).max(terms.resolution / libm::sqrt(12.0));
    let half_width = stats::t_quantile(rule.confidence, dof) * scatter / libm::sqrt(spread);
    let slope = Slope { per_minute, half_width };
    let limit = rule.slope_per_min * libm::fabs(mean);
    if libm::fabs(per_minute) + half_width < limit {
        let mut own = Scatter::default();
        own.take(&values);
        return match mean_of(looked, &own, terms) {
            Ok(mean) => State::Steady { mean, slopes: [slope; 2], limit, since: mean.from, set_aside: 0 },
            Err(_) => waiting(Reason::WindowsNotFull, None),
        };
    }
    let because = if libm::fabs(per_minute) - half_width > limit {
        Reason::Trend { slope, limit }
    } else {
        Reason::Scatter { slope, limit }
    };
    waiting(because, None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_base::Instant;

    fn at(s: u64) -> Instant {
        Instant::from_secs(s)
    }
    fn series(step_s: u64, values: &[f64]) -> Vec<Sample> {
        values.iter().zip(0u64..).map(|(v, k)| Sample::new(at(100 + k * step_s), *v)).collect()
    }
    const TERMS: Terms =
        Terms { resolution: 1.0, calibration_relative: 0.0, coverage: 0.95, each: Duration::from_secs(20) };
    const RULE: Rule = Rule { window: Duration::from_secs(120), least: 4, slope_per_min: 0.02, confidence: 0.99 };

    /// JCGM 100:2008, clause 4.2.4: the pooled deviation of a well-characterised measurement serves a single reading of it.
    #[test]
    fn a_single_reading_has_the_pooled_scatter() {
        let mut scatter = Scatter::default();
        scatter.take(&[100.0, 104.0, 102.0]);
        scatter.take(&[51.0, 53.0]);
        let (sd, dof) = scatter.sd().unwrap();
        assert!((sd - libm::sqrt((8.0 + 2.0) / 3.0)).abs() < 1e-12 && dof == 3.0);
        let one = mean_of(&series(10, &[80.0]), &scatter, &TERMS).unwrap();
        assert!((one.estimate.u_individual - sd).abs() < 0.02, "{one:?}");
        let four = mean_of(&series(10, &[80.0, 79.0, 82.0, 80.0]), &scatter, &TERMS).unwrap();
        assert!((four.estimate.u_individual - sd / 2.0).abs() < 0.02, "{four:?}");
    }
    /// JCGM 100:2008, F.2.2.1: what a step hides is a rectangle of its width.
    #[test]
    fn equal_readings_are_known_to_their_step_and_no_better() {
        let mut scatter = Scatter::default();
        scatter.take(&[98.0; 5]);
        let mean = mean_of(&series(10, &[98.0; 5]), &scatter, &TERMS).unwrap();
        assert!((mean.estimate.u_individual - 1.0 / libm::sqrt(12.0)).abs() < 1e-9);
    }
    #[test]
    fn what_is_not_known_is_no_mean() {
        let nothing = Scatter::default();
        assert!(matches!(mean_of(&series(10, &[80.0]), &nothing, &TERMS), Err(Error::TooFew { .. })));
        let no_step = Terms { resolution: 0.0, ..TERMS };
        assert!(matches!(mean_of(&series(10, &[80.0, 81.0]), &nothing, &no_step), Err(Error::BadRule { .. })));
        let mut scatter = Scatter::default();
        scatter.take(&[80.0, 81.0]);
        assert!(matches!(mean_of(&[], &scatter, &TERMS), Err(Error::TooFew { .. })));
        let nan = series(10, &[80.0, f64::NAN]);
        assert!(matches!(mean_of(&nan, &scatter, &TERMS), Err(Error::NotANumber { .. })));
    }
    #[test]
    fn a_flow_that_moves_is_not_steady_and_a_still_one_is_after_its_window() {
        let still = series(30, &[100.0, 101.0, 100.0, 100.0, 101.0, 100.0]);
        assert!(matches!(state(&still[..4], &TERMS, &RULE), State::NotYet { because: Reason::WindowsNotFull, .. }));
        assert!(matches!(state(&still, &TERMS, &RULE), State::Steady { .. }), "{:?}", state(&still, &TERMS, &RULE));
        let rising = series(30, &[80.0, 83.0, 86.0, 89.0, 92.0, 95.0]);
        assert!(matches!(state(&rising, &TERMS, &RULE), State::NotYet { because: Reason::Trend { .. }, .. }));
        let restless = series(30, &[100.0, 90.0, 108.0, 95.0, 110.0, 92.0]);
        assert!(matches!(state(&restless, &TERMS, &RULE), State::NotYet { because: Reason::Scatter { .. }, .. }));
    }
    /// A trend of the limit itself is called steady no more often than the rule's confidence allows: 2,000 series of a display
    /// with steps of 1 %, normal noise (sums of uniform numbers, so that no generator of the project's is needed).
    #[test]
    fn a_trend_at_the_limit_is_seldom_called_steady() {
        let mut seed = 12_345_u64;
        let mut uniform = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1u64 << 53) as f64
        };
        let mut steady = 0;
        for _ in 0..2000 {
            let start = 100.0 + uniform();
            let values: Vec<f64> = (0..6)
                .map(|k| {
                    let noise: f64 = (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
                    libm::round(start + 2.0 * f64::from(k) * 0.5 + 0.7 * noise)
                })
                .collect();
            steady += u32::from(matches!(state(&series(30, &values), &TERMS, &RULE), State::Steady { .. }));
        }
        assert!(steady <= 40, "{steady} of 2000");
    }
}
