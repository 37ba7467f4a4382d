//! The record of one release as numbers: spikes mended, noise described, a rise detected.
//!
//! Not here: when exactly the rise started, or what it went on to.
use super::Rule;
use crate::{Error, Sample, mean::in_order, stats};
use alloc::vec::Vec;
use core::{ops::Range, time::Duration};
use plumeline_base::Instant;

/// Readings before and after a release on one time axis.
pub(super) struct Record {
    /// s of log time.
    pub t: Vec<f64>,
    /// Readings, spikes replaced by their neighbourhood's median.
    pub y: Vec<f64>,
    /// How many of them are from before the release.
    pub before: usize,
    /// First reading at full scale; readings from there on are no measurements.
    pub ceiling: Option<usize>,
    pub noise: Noise,
    /// Step of the transmitted number, where the readings before the release show nothing but that; else 0: noise that is
    /// wider than the steps tells what lies between them (Widrow and Kollár 2008).
    pub bare_step: f64,
}

/// The scatter of the baseline before the release.
pub(super) struct Noise {
    /// Standard deviation of single readings.
    pub sd: f64,
    /// Coefficient of the first-order autoregression, 0 to 0.95.
    pub rho: f64,
    /// Degrees of freedom of the standard deviation.
    pub dof: f64,
}
impl Noise {
    /// Integrated autocorrelation time, readings.
    pub(super) fn time(&self) -> f64 {
        (1.0 + self.rho) / (1.0 - self.rho)
    }
    /// Standard deviation of what a reading adds to what the one before it foretold.
    pub(super) fn innovation_sd(&self) -> f64 {
        self.sd * libm::sqrt(1.0 - self.rho * self.rho)
    }
}

/// A rise that stands clear of the noise.
#[derive(Clone, Copy)]
pub(super) struct Detection {
    /// Index of the reading from which it stands clear.
    pub from: usize,
    /// Index one past the reading at which this was known.
    pub known: usize,
}

/// Longest span whose rise is looked at as one, as a multiple of the shortest that counts: 2 to this power.
const SPANS: u32 = 5;
/// A rise of so many times the whole range of the readings before the release is no scatter of theirs, whatever its memory (practice,
/// no source; tried on signals without smoke).
const PLAIN: f64 = 5.0;

impl Record {
    pub(super) fn new(before: &[Sample], after: &[Sample], rule: &Rule) -> Result<Self, Error> {
        rule.check()?;
        if before.len() < rule.min_before {
            return Err(Error::TooFew { have: before.len(), need: rule.min_before });
        }
        let all: Vec<Sample> = before.iter().chain(after).copied().collect();
        in_order(&all, Duration::from_secs_f64(rule.max_gap_s))?;
        let readings: Vec<f64> = all.iter().map(|s| s.value).collect();
        let since = all.first().map_or(Instant::START, |s| s.at);
        let step = visible_step(&readings, rule.resolution).ok_or(Error::Stuck { since })?;
        let rule = &Rule { resolution: step, ..*rule };
        let y = mended(&readings, rule.resolution);
        let t: Vec<f64> = all.iter().map(|s| s.at.as_secs_f64()).collect();
        let ceiling = y.iter().position(|v| *v >= rule.full_scale);
        let (t0, y0) = (t.get(..before.len()).unwrap_or(&[]), y.get(..before.len()).unwrap_or(&[]));
        let noise = noise(t0, y0, rule).ok_or(Error::TooFew { have: before.len(), need: rule.min_before })?;
        let bare_step = if within_a_step(y0, rule.resolution) { rule.resolution } else { 0.0 };
        Ok(Self { t, y, before: before.len(), ceiling, noise, bare_step })
    }
    /// One past the last reading in which a rise is looked for: at the ceiling, no more than what shows a jump to it.
    pub(super) fn searched(&self, rule: &Rule) -> usize {
        let shortest = self.readings_in(rule.min_duration_s);
        self.ceiling.map_or(self.y.len(), |c| (c + shortest).min(self.y.len()))
    }
    /// True if the readings before the release wander (their residuals hang together for an eighth of them), or if their
    /// second half rises against the first by the first's own noise; never within one step, which shows neither.
    pub(super) fn restless(&self, rule: &Rule) -> bool {
        if self.bare_step > 0.0 {
            return false;
        }
        let stretch = |v: &[f64], to: usize| v.get(..to).unwrap_or(&[]).to_vec();
        let (t, y) = (stretch(&self.t, self.before), stretch(&self.y, self.before));
        let wanders = stats::line(&t, &y).is_none_or(|line| self.before as f64 / line.long_run.time < 8.0);
        let half = self.before / 2;
        let quiet = noise(&stretch(&t, half), &stretch(&y, half), rule);
        wanders || quiet.is_none_or(|noise| self.detect(half..self.before, half, &noise, rule).is_some())
    }
    /// Mean time between readings, s.
    pub(super) fn step_s(&self) -> f64 {
        match (self.t.first(), self.t.last()) {
            (Some(a), Some(b)) if self.t.len() > 1 => (b - a) / (self.t.len() - 1) as f64,
            _ => 1.0,
        }
    }
    /// Number of readings in `seconds`, at least 2.
    pub(super) fn readings_in(&self, seconds: f64) -> usize {
        (libm::ceil(seconds / self.step_s()) as usize).max(2)
    }
    /// The smallest rise that counts.
    pub(super) fn needed(&self, rule: &Rule) -> f64 {
        rule.min_rise.max(rule.min_rise_sd * self.noise.sd)
    }
    /// How many standard errors count as clear of noise, with the false-alarm rate shared out over all comparisons.
    fn threshold(&self, noise: &Noise, rule: &Rule) -> f64 {
        let comparisons = (self.y.len() * (SPANS as usize + 1)) as f64;
        stats::t_quantile(1.0 - rule.false_alarm / comparisons, noise.dof)
    }
    /// The smallest rise lasting the shortest counted time that would be seen at the end of the record, however slowly it came.
    pub(super) fn smallest_seen(&self, rule: &Rule) -> f64 {
        let last = self.t.last().copied().unwrap_or(f64::NAN);
        self.plain_rise(last).map_or(f64::NAN, |(_, rise)| rise.max(self.needed(rule)))
    }
    /// The middle of the readings before the release, and what at `t` rises above it as no drift or memory of theirs explains: many
    /// times their whole range, the more the longer it is since.
    fn plain_rise(&self, t: f64) -> Option<(f64, f64)> {
        let y = self.y.get(..self.before)?;
        let (first, last) = (*self.t.first()?, *self.t.get(self.before.checked_sub(1)?)?);
        let (low, high) = y.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        let range = (high - low).max(self.bare_step).max(4.0 * self.noise.sd);
        Some((stats::median(y), PLAIN * range * (1.0 + (t - last).max(0.0) / (last - first))))
    }
    /// A rise so high that no statistic is needed to tell it. The line through the readings before a moment follows a slow rise, and
    /// few of them that hang together show next to nothing of their scatter: neither may hide smoke that anybody sees.
    pub(super) fn plain(&self, within: Range<usize>, rule: &Rule) -> Option<Detection> {
        let shortest = self.readings_in(rule.min_duration_s);
        let (middle, _) = self.plain_rise(*self.t.first()?)?;
        let mut stands = 0;
        for i in within.clone() {
            let (t, y) = (*self.t.get(i)?, *self.y.get(i)?);
            let (_, rise) = self.plain_rise(t)?;
            stands = if y > middle + rise { stands + 1 } else { 0 };
            if stands == shortest {
                // Its foot: the last reading that stood no higher than those before the release.
                let top = self.y.get(..self.before)?.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let foot = (within.start..i).rev().find(|k| self.y.get(*k).is_some_and(|y| *y <= top));
                return Some(Detection { from: foot.map_or(within.start, |k| k + 1), known: i + 1 });
            }
        }
        None
    }

    /// The first rise within a stretch of the record: a window-limited generalised likelihood ratio test (Willsky & Jones, IEEE TAC 21
    /// (1976) 108; Lai, JRSS B 57 (1995) 613). The mean of the last h readings, for several h, is compared with the line
    /// through the `memory` readings before them.
    pub(super) fn detect(&self, within: Range<usize>, memory: usize, noise: &Noise, rule: &Rule) -> Option<Detection> {
        let shortest = self.readings_in(rule.min_duration_s).min(memory);
        let threshold = self.threshold(noise, rule);
        let prefix = Prefix::new(&self.t, &self.y);
        let inflation = noise.sd * noise.sd * noise.time();
        for known in within.start + 2..=within.end {
            for span in (0..=SPANS).map(|p| (shortest << p) / 2).filter(|h| (2..=memory).contains(h)) {
                let Some(from) = known.checked_sub(span).filter(|f| *f >= within.start) else { break };
                let past = prefix.line(from.saturating_sub(memory), from);
                let recent = prefix.means(from, known);
                let ahead = recent.0 - past.t_mean;
                let rise = recent.1 - past.y_mean - past.slope * ahead;
                let variance = inflation * (1.0 / span as f64 + 1.0 / past.n + ahead * ahead / past.stt);
                if rise > 0.0 && rise > threshold * libm::sqrt(variance) {
                    return Some(Detection { from, known });
                }
            }
        }
        None
    }
}

/// Sums up to each reading, so that a line through any stretch costs nothing.
struct Prefix {
    sums: Vec<[f64; 5]>,
    origin: (f64, f64),
}
struct Past {
    n: f64,
    t_mean: f64,
    y_mean: f64,
    slope: f64,
    stt: f64,
}
impl Prefix {
    fn new(t: &[f64], y: &[f64]) -> Self {
        let origin = (t.first().copied().unwrap_or(0.0), y.first().copied().unwrap_or(0.0));
        let mut sums = Vec::with_capacity(t.len() + 1);
        let mut s = [0.0; 5];
        sums.push(s);
        for (t, y) in t.iter().zip(y) {
            let (t, y) = (t - origin.0, y - origin.1);
            for (s, v) in s.iter_mut().zip([1.0, t, y, t * t, t * y]) {
                *s += v;
            }
            sums.push(s);
        }
        Self { sums, origin }
    }
    fn between(&self, from: usize, to: usize) -> [f64; 5] {
        match (self.sums.get(from), self.sums.get(to)) {
            (Some(a), Some(b)) => core::array::from_fn(|i| b[i] - a[i]),
            _ => [f64::NAN; 5],
        }
    }
    fn line(&self, from: usize, to: usize) -> Past {
        let [n, t, y, tt, ty] = self.between(from, to);
        let stt = tt - t * t / n;
        Past { n, t_mean: t / n + self.origin.0, y_mean: y / n + self.origin.1, slope: (ty - t * y / n) / stt, stt }
    }
    fn means(&self, from: usize, to: usize) -> (f64, f64) {
        let [n, t, y, ..] = self.between(from, to);
        (t / n + self.origin.0, y / n + self.origin.1)
    }
}

/// The resolution to reckon with: the one given, or the smallest step that the record shows if that is coarser.
/// `None` if nothing in it ever moves: then nobody knows that the sensor lives.
fn visible_step(readings: &[f64], resolution: f64) -> Option<f64> {
    let pairs = readings.iter().zip(readings.iter().skip(1));
    let steps = pairs.map(|(a, b)| (b - a).abs()).filter(|d| *d > 0.0);
    steps.min_by(f64::total_cmp).map(|smallest| smallest.max(resolution))
}

/// Readings with spikes of one or two replaced by the median of five (Hampel's filter; Pearson et al., EURASIP J. 2016:87).
fn mended(y: &[f64], resolution: f64) -> Vec<f64> {
    let medians: Vec<f64> =
        (0..y.len()).map(|i| stats::median(y.get(i.saturating_sub(2)..(i + 3).min(y.len())).unwrap_or(&[]))).collect();
    let deviations: Vec<f64> = y.iter().zip(&medians).map(|(a, b)| a - b).collect();
    let bar = (8.0 * stats::robust_sd(&deviations, 0.0)).max(3.0 * resolution);
    let ends = 2..y.len().saturating_sub(2);
    y.iter()
        .zip(&medians)
        .enumerate()
        .map(|(i, (v, m))| if ends.contains(&i) && (v - m).abs() > bar { *m } else { *v })
        .collect()
}

fn noise(t: &[f64], y: &[f64], rule: &Rule) -> Option<Noise> {
    let line = stats::line(t, y)?;
    let residuals: Vec<f64> = t.iter().zip(y).map(|(t, y)| y - line.at(*t)).collect();
    let n = residuals.len() as f64;
    let floor = rule.resolution / libm::sqrt(12.0);
    let sd = line.residual_sd.max(floor);
    // Readings on two neighbouring steps show rounding and no more: how long they stay on one of them tells of no memory.
    if within_a_step(y, rule.resolution) {
        return Some(Noise { sd, rho: 0.0, dof: (n - 2.0).max(2.0) });
    }
    let raw = stats::lag1(&residuals);
    // First-order bias of the estimate about a fitted line (Marriott & Pope, Biometrika 41 (1954) 390).
    let rho = (raw + (2.0 + 4.0 * raw) / n).clamp(0.0, 0.95);
    Some(Noise { sd, rho, dof: ((n - 2.0) * (1.0 - rho * rho) / (1.0 + rho * rho)).max(2.0) })
}

/// True if these readings differ by no more than one step of the transmitted number.
fn within_a_step(y: &[f64], resolution: f64) -> bool {
    let (low, high) = y.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    high - low <= 1.5 * resolution
}
