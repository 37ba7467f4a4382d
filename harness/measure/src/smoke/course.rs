//! What a rise went on to: puffs, plateau, time to half of it, decay.
//!
//! Not here: whether there is a rise, when it started.
use super::{Puff, Rule, record::Record};
use crate::stats;
use alloc::vec::Vec;
use plumeline_base::quantity::Estimate;

/// The record from a detection on, over its baseline.
pub(super) struct Course<'a> {
    record: &'a Record,
    /// Index at which it begins.
    start: usize,
    /// Readings over the baseline, and the same as a running mean over the shortest rise that counts.
    excess: Vec<f64>,
    smooth: Vec<f64>,
    /// Half width of the running mean, readings.
    half: usize,
    baseline: stats::Line,
    /// Uncertainty of its slope.
    u_slope: f64,
    /// Up to where the baseline's line is carried, s of log time.
    furthest: f64,
}

/// What counts as next to the peak at least, as a share of it.
const NEXT: f64 = 0.005;
/// So much of a peak is little.
const LITTLE: f64 = 0.003;
/// The share of the plateau up to which a rise is fitted: the strong ones close to the level that is timed, where any smooth shape will do.
const FITTED: (f64, f64) = (0.25, 0.7);

/// One puff by index into the course.
#[derive(Clone, Copy)]
pub(super) struct Span {
    start: usize,
    peak: usize,
    pub(super) height: f64,
    end: Option<usize>,
}

impl<'a> Course<'a> {
    /// The course from reading `start` on, over the line through the readings before it.
    pub(super) fn new(record: &'a Record, start: usize, rule: &Rule) -> Option<Self> {
        let clean = record.clean..start;
        let t = record.t.get(clean.clone())?;
        let mut baseline = stats::line(t, record.y.get(clean)?)?;
        // A slope that may be none is none: it would carry far ahead. It stays as an uncertainty.
        let mut u_slope = baseline.slope_se;
        if baseline.slope.abs() < 3.0 * baseline.slope_se {
            u_slope = libm::hypot(u_slope, baseline.slope);
            baseline.slope = 0.0;
        }
        // A line is carried the further the surer its slope is, from as far as the readings reach back on which it rests; what falls (a purge's tail)
        // less far.
        let (first, last) = (*t.first()?, *t.last()?);
        let sure = (baseline.slope.abs() / baseline.slope_se / 3.0).clamp(1.0, 5.0);
        let furthest = last + (last - first) * sure * if baseline.slope < 0.0 { 0.3 } else { 1.0 };
        let excess: Vec<f64> =
            record.t.iter().zip(&record.y).skip(start).map(|(t, y)| y - baseline.at(t.min(furthest))).collect();
        let half = (record.readings_in(rule.min_duration_s) - 1) / 2;
        let smooth = running_mean(&excess, half);
        Some(Self { record, start, excess, smooth, half, baseline, u_slope, furthest })
    }
    fn time(&self, i: usize) -> f64 {
        self.record.t.get(self.start + i).copied().unwrap_or(f64::NAN)
    }
    fn smooth_at(&self, i: usize) -> f64 {
        self.smooth.get(i).copied().unwrap_or(f64::NAN)
    }
    /// The baseline at `t` with its uncertainty.
    pub(super) fn baseline_at(&self, t: f64) -> Estimate {
        let n = (self.start - self.record.clean) as f64;
        let mean = self.baseline.long_run.variance / n;
        let slope = self.u_slope * (t - self.baseline.x_mean);
        // What falls goes on falling by no more than its line, and by nothing at least (rectangular).
        let share = if self.baseline.slope < 0.0 { 1.0 / libm::sqrt(12.0) } else { 1.0 };
        let beyond = share * self.baseline.slope * (t - self.furthest).max(0.0);
        let u = libm::sqrt(mean + slope * slope + beyond * beyond);
        Estimate::new(self.baseline.at(t.min(self.furthest)), 0.0, u)
    }
    pub(super) fn drift_per_minute(&self) -> f64 {
        self.baseline.slope * 60.0
    }
    /// Rises and falls in turn. A puff ends where it has fallen to half between its peak and the trough before it, once
    /// it stood clear of the noise of the running mean; another begins with a rise of `least` over the trough.
    pub(super) fn puffs(&self, least: f64) -> Vec<Span> {
        let noise = &self.record.noise;
        let clear = 3.0 * noise.sd * libm::sqrt((noise.time / (2 * self.half + 1) as f64).min(1.0));
        let mut puffs = Vec::new();
        let (mut trough, mut trough_at, mut open): (f64, usize, Option<Span>) =
            (0.0, 0, Some(Span { start: 0, peak: 0, height: 0.0, end: None }));
        for (i, v) in self.smooth.iter().enumerate() {
            match &mut open {
                Some(span) => {
                    if *v > span.height {
                        (span.height, span.peak) = (*v, i);
                    } else if *v < 0.5 * (span.height + trough) && span.height > clear {
                        puffs.push(Span { end: Some(i), ..*span });
                        (open, trough, trough_at) = (None, *v, i);
                    }
                }
                None if *v < trough => (trough, trough_at) = (*v, i),
                None if *v > trough + least => {
                    open = Some(Span { start: trough_at, peak: i, height: *v, end: None });
                }
                None => {}
            }
        }
        puffs.extend(open);
        puffs
    }
    pub(super) fn puff(&self, span: &Span) -> Puff {
        Puff {
            start_s: self.time(span.start),
            peak_s: self.time(span.peak),
            end_s: span.end.map(|i| self.time(i)),
            peak: span.height,
        }
    }
    /// The index in the whole record just past a puff's end.
    pub(super) fn past(&self, span: &Span) -> usize {
        self.start + span.end.unwrap_or(self.smooth.len())
    }
    /// First and last reading of a puff that the running mean shows at `share` of its height or more.
    fn above(&self, span: &Span, share: f64) -> (usize, usize) {
        let end = span.end.unwrap_or(self.smooth.len());
        let high = |i: &usize| self.smooth_at(*i) >= share * span.height;
        let first = (span.start..=span.peak).find(high).unwrap_or(span.peak);
        let last = (span.peak..end).rev().find(high).unwrap_or(span.peak);
        (first, last)
    }
    /// How long the puff would last at its full height, s: its area over its highest median of three.
    pub(super) fn lasted_s(&self, span: &Span) -> f64 {
        let (from, to) = (span.start, span.end.unwrap_or(self.excess.len()));
        let excess = self.excess.get(from..to).unwrap_or(&[]);
        let height = excess.windows(3).map(stats::median).fold(0.0, f64::max);
        if height > 0.0 { (excess.iter().sum::<f64>() / height * self.record.step_s()).max(0.0) } else { 0.0 }
    }
    /// The highest that the puff's response without noise reached: the mean over the readings while a running mean over a tenth of the puff is
    /// next to its peak. Next to it is within what the noise leaves of that mean, at least [`NEXT`]; half of that is
    /// what the mean of them lies too low in the middle, with a rectangular uncertainty.
    pub(super) fn plateau(&self, span: &Span) -> Estimate {
        let end = span.end.unwrap_or(self.excess.len());
        let (rose, fell) = self.above(span, 0.5);
        let first = span.start.min(rose);
        let noise = &self.record.noise;
        let left = |half: usize| noise.sd * libm::sqrt((noise.time / (2 * half + 1) as f64).min(1.0));
        // No wider than the noise needs: a wide mean takes off the top of a short puff.
        let widest = self.half.max((fell - rose) / 20);
        let half = (0..=widest).find(|half| left(*half) < LITTLE * span.height).unwrap_or(widest);
        let left = left(half);
        let wide = running_mean(self.excess.get(first..end).unwrap_or(&[]), half);
        let peak = wide.iter().fold(0.0_f64, |a, b| a.max(*b));
        let next = (3.0 * left / peak).clamp(NEXT, 0.1);
        let high = |v: &f64| *v >= (1.0 - next) * peak;
        let from = first + wide.iter().position(high).unwrap_or(0);
        let to = first + wide.iter().rposition(high).unwrap_or(0);
        let readings = self.excess.get(from..=to).unwrap_or(&[]);
        let n = readings.len() as f64;
        let base = self.baseline_at(0.5 * (self.time(from) + self.time(to)));
        let scatter = noise.sd * libm::sqrt((noise.time / n).min(1.0));
        let mean = stats::mean(readings);
        // What rises on, or was held too short for a mean, lies a little higher than its mean; a flat plateau does not.
        let low = (peak - mean - left).clamp(0.0, next * peak);
        let hidden = (hidden_peak(&wide) - 3.0 * left).max(0.0);
        let parts = [
            scatter,
            base.u_individual,
            low / libm::sqrt(3.0),
            hidden / libm::sqrt(12.0),
            NEXT * peak / libm::sqrt(12.0),
            self.record.u_rounding(),
        ];
        Estimate::new(mean + 0.5 * (low + hidden), 0.0, libm::sqrt(parts.iter().map(|u| u * u).sum()))
    }
    /// True if the record ends while the puff still rises by a tenth of its height over its last fifth.
    pub(super) fn still_rising(&self, span: &Span) -> bool {
        let n = self.smooth.len();
        let part = ((n - span.start) / 5).max(self.half + 1);
        let mean = |from: usize, to: usize| stats::mean(self.excess.get(from..to).unwrap_or(&[]));
        let (Some(a), Some(b)) = (n.checked_sub(2 * part), n.checked_sub(part)) else { return span.end.is_none() };
        span.end.is_none() && mean(b, n) - mean(a, b) > 0.1 * span.height
    }
    /// The instant at which the first rise crosses half of the plateau, s of log time: a parabola through the
    /// readings of the rise around it, or between the two readings on either side of it where the rise is steep.
    pub(super) fn half_plateau(&self, span: &Span, plateau: &Estimate) -> Option<Estimate> {
        let level = 0.5 * plateau.value;
        let cross = (span.start..=span.peak).find(|i| self.smooth_at(*i) >= level)?;
        // As short a stretch of the rise as its noise allows, so that its bend does not matter.
        let reach = (3.0 * self.record.noise.sd).max(0.1 * plateau.value).min(0.25 * plateau.value);
        let low = (span.start..=cross).rev().find(|i| self.smooth_at(*i) < level - reach).map_or(span.start, |i| i + 1);
        let high = (cross..=span.peak).find(|i| self.smooth_at(*i) > level + reach).unwrap_or(span.peak);
        let u_level = 0.5 * plateau.u();
        // The running mean spreads a step over its own width: a rise no wider than that is read from single readings.
        let (low, high) = (low + self.half / 2, high.saturating_sub(self.half / 2));
        if high >= low + self.half + 4 {
            let t: Vec<f64> = (low..=high).map(|i| self.time(i)).collect();
            return self.crossing(&t, self.excess.get(low..=high)?, level, u_level);
        }
        let from = cross.saturating_sub(self.half + 1);
        let single = (from..self.excess.len().min(cross + self.half + 2)).find(|i| {
            let here = |j: usize| self.excess.get(j).is_some_and(|v| *v >= level);
            here(*i) && (here(*i + 1) || *i + 1 >= self.excess.len())
        })?;
        let (t1, y1) = (self.time(single), *self.excess.get(single)?);
        let before = single.checked_sub(1).and_then(|i| Some((self.time(i), *self.excess.get(i)?)));
        let (t0, y0) = before.unwrap_or((t1 - self.record.step_s(), 0.0));
        let slope = (y1 - y0) / (t1 - t0);
        let at = if slope > 0.0 { (t1 - (y1 - level) / slope).clamp(t0, t1) } else { t1 };
        let u = libm::hypot(
            (t1 - t0) / libm::sqrt(12.0),
            libm::hypot(self.record.noise.sd, u_level) / slope.abs().max(1e-150),
        );
        Some(Estimate::new(at, 0.0, u))
    }
    /// Where the parabola through a stretch of the rise crosses `level`.
    fn crossing(&self, t: &[f64], y: &[f64], level: f64, u_level: f64) -> Option<Estimate> {
        let (n, centre) = (t.len() as f64, stats::mean(t));
        let fit = stats::parabola(t, y).filter(|p| p.slope > 0.0)?;
        let root = fit.slope * fit.slope - 4.0 * fit.curve * (fit.middle - level);
        // The root near the centre, in the form that holds for no curvature too.
        let ahead = if root > 0.0 { 2.0 * (level - fit.middle) / (fit.slope + libm::sqrt(root)) } else { f64::NAN };
        let (first, last) = (*t.first()? - centre, *t.last()? - centre);
        let ahead = if ahead.is_finite() { ahead } else { (level - fit.middle) / fit.slope };
        let ahead = ahead.clamp(first, last);
        // Variance of a fitted parabola near its middle is 9/4 that of the mean (JCGM 100, H.3, by the same algebra).
        let noise = self.record.noise.sd * libm::sqrt(self.record.noise.time * 2.25 / n);
        let slope = fit.slope + 2.0 * fit.curve * ahead;
        let u = libm::hypot(noise, u_level) / slope.max(0.2 * fit.slope);
        Some(Estimate::new(centre + ahead, 0.0, u))
    }
    /// From the end of the puff's plateau to half of it, s.
    pub(super) fn decay_s(&self, span: &Span, plateau: &Estimate) -> Option<f64> {
        let (_, last) = self.above(span, 0.9);
        let fallen = (last..self.smooth.len()).find(|i| self.smooth_at(*i) < 0.5 * plateau.value)?;
        Some(self.time(fallen) - self.time(last))
    }
    /// One past the last reading of the whole record that the rise itself may be fitted to: the closer to the level that is timed the stronger it
    /// is, with enough readings over it to fix its course.
    pub(super) fn fit_end(&self, span: &Span) -> usize {
        let strength = span.height / self.record.noise.sd;
        let share = (0.2 + 6.0 / strength).clamp(FITTED.0, FITTED.1);
        let (low, _) = self.above(span, 0.1);
        let (high, _) = self.above(span, share);
        // The running mean is ahead of a rise that is steeper than itself: the readings must show it too.
        let level = share * span.height;
        let shown = |i: &usize| self.excess.get(*i..*i + 2).is_some_and(|two| two.iter().all(|v| *v >= level));
        let high = (high..=high + self.half + 1).find(shown).map_or(high, |i| high.max(i + 1));
        let enough = low + ((high - low.min(high)) / 3).max(6);
        self.start + span.peak.max(low + 2).min(high.max(enough)).max(high + 2).min(self.smooth.len())
    }
}

/// By how much a sharp peak between two readings may stand above the highest of them: where the rise before it and the fall after
/// it, carried on as straight lines, would meet.
fn hidden_peak(values: &[f64]) -> f64 {
    let highest = |best: usize, (i, v): (usize, &f64)| if *v > values[best] { i } else { best };
    let top = values.iter().enumerate().fold(0, highest);
    let at = |back: usize, on: usize| Some(*values.get((top + on).checked_sub(back)?)?);
    let meet = || {
        let (peak, one_back, two_back, one_on, two_on) = (at(0, 0)?, at(1, 0)?, at(2, 0)?, at(0, 1)?, at(0, 2)?);
        // By reading: the rise up to the gap and the fall from it on, for the gap after the highest reading and the one before it.
        let after = triangle(peak - one_back, one_on - two_on, peak - one_on);
        let before = triangle(peak - one_on, one_back - two_back, peak - one_back);
        Some(after.max(before))
    };
    meet().unwrap_or(0.0)
}
/// How far the line that leaves the higher end of a gap by `near` a reading rises until it meets the one that comes down at `far` a reading to the lower end, `drop` below.
fn triangle(near: f64, far: f64, drop: f64) -> f64 {
    if near > 0.0 && far > drop { near * (far - drop) / (near + far) } else { 0.0 }
}

fn running_mean(values: &[f64], half: usize) -> Vec<f64> {
    let mut sums = Vec::with_capacity(values.len() + 1);
    let origin = values.first().copied().unwrap_or(0.0);
    sums.push(0.0);
    let mut sum = 0.0;
    for v in values {
        sum += v - origin;
        sums.push(sum);
    }
    let upto = |i: usize| sums.get(i).copied().unwrap_or(sum);
    let mean = |i: usize| {
        let (from, to) = (i.saturating_sub(half), (i + half + 1).min(values.len()));
        origin + (upto(to) - upto(from)) / (to - from) as f64
    };
    (0..values.len()).map(mean).collect()
}
