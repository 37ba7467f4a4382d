//! The record of one release as numbers: spikes mended, noise described, a rise detected.
//!
//! Not here: when exactly the rise started, or what it went on to.
use super::{Rule, tail::Tail};
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
    /// How many of them are from before the release, or the fewest that a line needs.
    pub before: usize,
    /// How many are from before the release.
    released: usize,
    /// First reading of the baseline: what came before it still fell or settled (a purge's tail).
    pub clean: usize,
    prefix: Prefix,
    /// First reading at full scale; readings from there on are no measurements.
    pub ceiling: Option<usize>,
    pub noise: Noise,
    /// Step of the transmitted number, where the readings before the release show nothing but that; else 0: noise that is
    /// wider than the steps tells what lies between them (Widrow and Kollár 2008).
    pub bare_step: f64,
    /// Step of the transmitted number, as told or as the record shows it.
    step: f64,
    quick_sd: f64,
    /// What was taken off two neighbouring readings as a spike, the less of the two: where readings are slow, a short rise is no more than that.
    spike: f64,
}

/// The scatter of the baseline before the release.
#[derive(Clone, Copy)]
pub(super) struct Noise {
    /// Standard deviation of single readings.
    pub sd: f64,
    /// Coefficient of the first-order autoregression, 0 to 0.95.
    pub rho: f64,
    /// Degrees of freedom of the standard deviation.
    pub dof: f64,
    /// Integrated autocorrelation time, readings: that of the autoregression or, where slower noise lies under it, the longer one seen.
    pub time: f64,
}
impl Noise {
    /// Variance of what the mean of `k` readings adds to what the mean before it foretold, and the autoregression of such means. Where slower
    /// noise lies under that of the autoregression, its share of the long-run variance is counted in.
    pub(super) fn innovation(&self, k: usize) -> (f64, f64) {
        let (rho, k) = (libm::pow(self.rho, k as f64), k as f64);
        let own_time = (1.0 + self.rho) / (1.0 - self.rho);
        let variance = self.sd * self.sd * if k > 1.0 { (own_time / k).min(1.0) } else { 1.0 };
        (variance * (1.0 - rho * rho) * self.time / own_time, rho)
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
/// Fewest readings that a line is put through, whether or not all of them are from before the release.
const FEWEST: usize = 8;
/// Fewest readings that a baseline is cut to where the earlier ones are no baseline, and how much more they must scatter for that.
const SHORTEST_CLEAN: usize = 10;
const NO_BASELINE: f64 = 1.5;
/// A baseline that falls by so many standard deviations is none.
const FALLS: f64 = 4.0;
/// A moment is held against the line through at least so many readings before it, where the record has them.
const MEMORY: usize = 60;
const MEMORY_S: f64 = 60.0;
/// No more standard errors than this are asked for: few degrees of freedom ask for hundreds, and then hide smoke that anybody sees.
const MOST_ERRORS: f64 = 12.0;
/// Readings in a row at the highest of all that show a ceiling, where readings of the baseline do not repeat.
const AT_CEILING: usize = 5;
/// No slower than this from one part of the way to a ceiling to the next, and there for so many times as long as the last part took.
const PACE: f64 = 1.25;
const PACE_OF_FIFTHS: f64 = 1.35;
const STAYS: f64 = 3.0;
/// Over so many steps, three neighbouring values, the readings of a baseline must be spread for a run of equal ones to be none of theirs.
const STEPS_SEEN: f64 = 1.5;
/// A rise of so many times the whole range of the readings before the release is no scatter of theirs, whatever its memory (practice,
/// no source; tried on signals without smoke).
const PLAIN: f64 = 5.0;

/// A shift stands clear of the others of its record by so many standard deviations of theirs, and so many times its own length are looked at.
const SHIFT: f64 = 9.0;
const FEWEST_SHIFTS: usize = 4;
/// A record tells of noise that hangs together over this part of its readings at most.
const SHORTEST_RECORD: usize = 12;

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
        let mut y = mended(&readings, rule.resolution);
        let t: Vec<f64> = all.iter().map(|s| s.at.as_secs_f64()).collect();
        let released = before.len();
        let spike = highest_pair(readings.get(released..).unwrap_or(&[]), y.get(released..).unwrap_or(&[]));
        let tail = t.get(..released).zip(y.get(..released)).and_then(|(t, y)| Tail::seen(t, y));
        // A ceiling is met by what the sensor shows, tail and all.
        let shown = y.clone();
        if let Some(tail) = tail {
            y.iter_mut().zip(&t).for_each(|(y, t)| *y -= tail.at(*t));
        }
        let before = released.max(FEWEST);
        let few = Error::TooFew { have: y.len(), need: FEWEST };
        let clean = clean_from(t.get(..before).ok_or(few)?, y.get(..before).ok_or(few)?, step);
        let quick_sd = quick_sd(&y, step);
        let (clean, before) = past_a_fall(&t, &y, clean..before, quick_sd);
        let (t0, y0) = (t.get(clean..before).ok_or(few)?, y.get(clean..before).ok_or(few)?);
        let mut noise = noise(t0, y0, rule).ok_or(few)?;
        // A few readings show little of their scatter: the differences of the whole record show at least its quick part.
        noise.sd = noise.sd.max(quick_sd);
        let told = shown.iter().position(|v| *v >= rule.full_scale);
        let ceiling = told.or_else(|| ceiling(&t, &shown, before, rule.resolution));
        let bare_step = if within_a_step(y0, rule.resolution) { rule.resolution } else { 0.0 };
        let prefix = Prefix::new(&t, &y);
        Ok(Self {
            released,
            t,
            y,
            before,
            clean,
            prefix,
            ceiling,
            noise,
            bare_step,
            step: rule.resolution,
            quick_sd,
            spike,
        })
    }
    /// What rounding leaves unknown of a level, unit of the reading.
    pub(super) fn u_rounding(&self) -> f64 {
        stats::rounding_uncertainty(self.step, stats::before_rounding(self.noise.sd, self.step))
    }
    /// One past the last reading in which a rise is looked for: at the ceiling, no more than what shows a jump to it.
    pub(super) fn searched(&self, rule: &Rule) -> usize {
        let shortest = self.readings_in(rule.min_duration_s);
        self.ceiling.map_or(self.y.len(), |c| (c + shortest).min(self.y.len()))
    }
    /// True if the readings before the release hang together for an eighth of them; never within one step, which does not show it.
    pub(super) fn wanders(&self) -> bool {
        let stretch = |v: &'_ [f64]| v.get(..self.released).unwrap_or(&[]).to_vec();
        let line = stats::line(&stretch(&self.t), &stretch(&self.y));
        self.bare_step <= 0.0 && line.is_none_or(|line| self.released as f64 / line.long_run.time < 8.0)
    }
    /// True if the second half of the readings before the release rises against the first by the first's own noise, and by more than scatter.
    pub(super) fn rises_before(&self, rule: &Rule) -> bool {
        let half = self.released / 2;
        let stretch = |v: &'_ [f64]| v.get(..half).unwrap_or(&[]).to_vec();
        let quiet = noise(&stretch(&self.t), &stretch(&self.y), rule);
        let Some(found) = quiet.and_then(|noise| self.found(half..self.released, 0..half, &noise, rule)) else {
            return false;
        };
        let rose = self.prefix.means(found.from, found.known).1 - self.prefix.means(0, half).1;
        self.bare_step <= 0.0 && rose > 1.5 * self.step
    }
    /// The first rise within a stretch of the record, held against its baseline.
    pub(super) fn detect(&self, within: Range<usize>, rule: &Rule) -> Option<Detection> {
        let memory = (self.before - self.clean).max(MEMORY).max(self.readings_in(MEMORY_S));
        self.found(within, self.clean..self.clean + memory, &self.noise, rule)
    }
    /// Describes the noise anew by all readings of the baseline up to `end`, once it is known that nothing rose among them.
    pub(super) fn learn(&mut self, end: usize, rule: &Rule) {
        let all = (self.t.get(self.clean..end), self.y.get(self.clean..end));
        if let (Some(t), Some(y)) = all
            && end > self.before
            && let Some(mut noise) = noise(t, y, &Rule { resolution: self.step, ..*rule })
        {
            noise.sd = noise.sd.max(self.quick_sd);
            self.noise = noise;
        }
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
    /// The noise as far as it hangs together over `k` readings, by the whole record: a few readings before the release tell little of it, those
    /// of a plateau tell it too. Second differences of neighbouring means (Hadamard variance; Baugh, Proc. 25th Frequency Control Symp.
    /// (1971) 222) are blind to a slope, and their median to the rise itself.
    pub(super) fn noise_over(&self, k: usize) -> Noise {
        let k = k.min(self.y.len() / SHORTEST_RECORD).max(1);
        let mean = |i: usize| self.prefix.means(i, i + k).1;
        let bends: Vec<f64> = (0..(self.y.len() + 1).saturating_sub(3 * k))
            .map(|i| (mean(i) - 2.0 * mean(i + k) + mean(i + 2 * k)).abs())
            .collect();
        let sd = stats::NORMAL_BY_MEDIAN * stats::median(&bends) / libm::sqrt(6.0);
        // The larger of two estimates is too large by what they scatter: half a standard deviation of this one is taken off.
        let scatter = libm::sqrt(3.0 * k as f64 / self.y.len() as f64);
        let time = k as f64 * sd * sd / (self.noise.sd * self.noise.sd) * (1.0 - 0.5 * scatter);
        Noise { time: self.noise.time.max(time), ..self.noise }
    }
    /// How many standard errors count as clear of noise, with the false-alarm rate shared out over all comparisons.
    fn threshold(&self, noise: &Noise, rule: &Rule) -> f64 {
        let comparisons = (self.y.len() * (SPANS as usize + 1)) as f64;
        stats::t_quantile(1.0 - rule.false_alarm / comparisons, noise.dof).min(MOST_ERRORS)
    }
    /// The smallest rise lasting the shortest counted time that would be seen at the end of the record, however slowly it came.
    pub(super) fn smallest_seen(&self, rule: &Rule) -> f64 {
        let last = self.t.last().copied().unwrap_or(f64::NAN);
        self.plain_rise().map_or(f64::NAN, |plain| plain.rise(last).max(self.needed(rule)))
    }
    /// How long two readings in a row stood that high, s, where they were taken for a spike.
    pub(super) fn spiked(&self, height: f64) -> Option<f64> {
        (self.spike > height).then(|| self.step_s())
    }
    fn plain_rise(&self) -> Option<PlainRise> {
        let y = self.y.get(self.clean..self.before)?;
        let (first, last) = (*self.t.get(self.clean)?, *self.t.get(self.before.checked_sub(1)?)?);
        let range = spread(y).max(self.bare_step).max(4.0 * self.noise.sd);
        Some(PlainRise { middle: stats::median(y), range, first, last })
    }
    /// A rise so high that no statistic is needed to tell it. The line through the readings before a moment follows a slow rise, and
    /// few of them that hang together show next to nothing of their scatter: neither may hide smoke that anybody sees.
    pub(super) fn plain(&self, within: Range<usize>, rule: &Rule) -> Option<Detection> {
        let shortest = self.readings_in(rule.min_duration_s);
        let plain = self.plain_rise()?;
        let mut stands = 0;
        for i in within.clone() {
            let (t, y) = (*self.t.get(i)?, *self.y.get(i)?);
            stands = if y > plain.middle + plain.rise(t) { stands + 1 } else { 0 };
            if stands == shortest {
                // Its foot: the last reading that stood no higher than those before the release.
                let top = self.y.get(self.clean..self.before)?.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let foot = (within.start..i).rev().find(|k| self.y.get(*k).is_some_and(|y| *y <= top));
                return Some(Detection { from: foot.map_or(within.start, |k| k + 1), known: i + 1 });
            }
        }
        None
    }

    /// A rise from one stretch to the next but one such as the rest of the record shows nothing like: where few readings before the release tell
    /// little of the noise, those of the plateau tell it too. The differences of medians over a stretch are held
    /// against their own median and scatter over the whole record, so that a drift, a wander or a long memory counts as
    /// what it is.
    pub(super) fn shift(&self, rule: &Rule) -> Option<Detection> {
        let (shortest, end) = (self.readings_in(rule.min_duration_s).max(3), self.searched(rule));
        for length in [1, 2, 4, 8].map(|k| k * shortest) {
            let stride = (length / 4).max(1);
            let medians: Vec<f64> =
                (0..).map(|k| k * stride).map_while(|i| self.y.get(i..i + length)).map(stats::median).collect();
            // The rise itself may take as long as a stretch.
            let apart = 2 * length.div_ceil(stride);
            let rises: Vec<f64> = medians.iter().zip(medians.iter().skip(apart)).map(|(a, b)| b - a).collect();
            if rises.len() < FEWEST_SHIFTS * apart {
                continue;
            }
            let middle = stats::median(&rises);
            let scatter =
                stats::robust_sd(&rises, 0.0).max(self.noise.sd.min(self.quick_sd) / libm::sqrt(shortest as f64));
            let clear = |(k, rise): (usize, &f64)| {
                let (from, known) = (k * stride + length, (k + apart) * stride + length);
                let stands = rise - middle > SHIFT * scatter && rise - middle > rule.min_rise_sd * self.quick_sd;
                (stands && from >= self.released && known <= end).then_some(Detection { from, known })
            };
            if let Some(found) = rises.iter().enumerate().find_map(clear) {
                return Some(found);
            }
        }
        None
    }
    /// The baseline and its noise anew, by the readings up to `end` among which nothing rose.
    pub(super) fn relearn(&mut self, end: usize, rule: &Rule) {
        if let (Some(t), Some(y)) = (self.t.get(self.clean..end), self.y.get(self.clean..end)) {
            self.clean += clean_from(t, y, self.step);
        }
        // Where the first readings are no baseline, it may begin after the release.
        self.before = self.before.max(self.clean + FEWEST).min(end - 1);
        self.learn(end, rule);
    }

    /// The first rise within a stretch of the record: a window-limited generalised likelihood ratio test (Willsky & Jones, IEEE TAC 21
    /// (1976) 108; Lai, JRSS B 57 (1995) 613). The mean of the last h readings, for several h, is compared with the line
    /// through as many readings before them as `baseline` has, not before its first.
    fn found(&self, within: Range<usize>, baseline: Range<usize>, noise: &Noise, rule: &Rule) -> Option<Detection> {
        let memory = baseline.len();
        let shortest = self.readings_in(rule.min_duration_s).min(memory);
        let threshold = self.threshold(noise, rule);
        let prefix = &self.prefix;
        let inflation = noise.sd * noise.sd * noise.time;
        for known in within.start + 2..=within.end {
            for span in (0..=SPANS).map(|p| (shortest << p) / 2).filter(|h| (2..=memory).contains(h)) {
                let Some(from) = known.checked_sub(span).filter(|f| *f >= within.start) else { break };
                let past = prefix.line(from.saturating_sub(memory).max(baseline.start), from);
                let recent = prefix.means(from, known);
                let ahead = recent.0 - past.t_mean;
                // What falls before a moment (a purge's tail) is not taken to fall on.
                let ahead_mean = if past.slope < 0.0 { past.reach } else { ahead };
                let rise = recent.1 - past.y_mean - past.slope * ahead_mean;
                let variance = inflation * (1.0 / span as f64 + 1.0 / past.n + ahead * ahead / past.stt);
                if rise > 0.0 && rise > threshold * libm::sqrt(variance) {
                    return Some(Detection { from, known });
                }
            }
        }
        None
    }
}

/// The middle and range of the readings before the release, and between which times they lie.
struct PlainRise {
    middle: f64,
    range: f64,
    first: f64,
    last: f64,
}
impl PlainRise {
    /// What at `t` rises above the middle as no drift or memory of theirs explains: many times their whole range, the more the longer it is since.
    fn rise(&self, t: f64) -> f64 {
        PLAIN * self.range * (1.0 + (t - self.last).max(0.0) / (self.last - self.first))
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
    /// From the mean time to the last, s, of evenly spread readings.
    reach: f64,
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
        Past {
            n,
            t_mean: t / n + self.origin.0,
            y_mean: y / n + self.origin.1,
            slope: (ty - t * y / n) / stt,
            stt,
            reach: libm::sqrt(3.0 * stt / n),
        }
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

/// Readings with spikes of one or two replaced by the median of five (Hampel's filter; Pearson et al., EURASIP J. 2016:87). The top of a short
/// puff is no spike: there the other readings are far apart too.
fn mended(y: &[f64], resolution: f64) -> Vec<f64> {
    let five = |i: usize| -> Option<[f64; 5]> {
        let mut five: [f64; 5] = y.get(i.checked_sub(2)?..i + 3)?.try_into().ok()?;
        five.sort_unstable_by(f64::total_cmp);
        Some(five)
    };
    let deviations: Vec<f64> = (0..y.len()).filter_map(|i| Some(y.get(i)? - five(i)?[2])).collect();
    let bar = (8.0 * stats::robust_sd(&deviations, 0.0)).max(3.0 * resolution);
    let mend = |(i, v): (usize, &f64)| match five(i) {
        Some([a, _, m, _, d]) => {
            let off = v - m;
            let others = if off > 0.0 { m - a } else { d - m };
            if off.abs() > bar && off.abs() > 2.0 * others { m } else { *v }
        }
        None => *v,
    };
    y.iter().enumerate().map(mend).collect()
}

/// The most by which two neighbouring readings both stood over what they were mended to.
fn highest_pair(readings: &[f64], mended: &[f64]) -> f64 {
    let off: Vec<f64> = readings.iter().zip(mended).map(|(read, mended)| read - mended).collect();
    off.iter().zip(off.iter().skip(1)).map(|(a, b)| a.min(*b)).fold(0.0, f64::max)
}

fn noise(t: &[f64], y: &[f64], rule: &Rule) -> Option<Noise> {
    let line = stats::line(t, y)?;
    let residuals: Vec<f64> = t.iter().zip(y).map(|(t, y)| y - line.at(*t)).collect();
    let n = residuals.len() as f64;
    let floor = rule.resolution / libm::sqrt(12.0);
    let sd = line.residual_sd.max(floor);
    // Readings on two neighbouring steps show rounding and no more: how long they stay on one of them tells of no memory.
    if within_a_step(y, rule.resolution) {
        return Some(Noise { sd, rho: 0.0, dof: (n - 2.0).max(2.0), time: 1.0 });
    }
    let raw = stats::lag1(&residuals);
    // First-order bias of the estimate about a fitted line (Marriott & Pope, Biometrika 41 (1954) 390).
    let rho = (raw + (2.0 + 4.0 * raw) / n).clamp(0.0, 0.95);
    let time = ((1.0 + rho) / (1.0 - rho)).max(line.long_run.time);
    Some(Noise { sd, rho, dof: ((n - 2.0) * (1.0 - rho * rho) / (1.0 + rho * rho)).max(2.0), time })
}

/// Where the baseline begins: the longest last part of the readings before the release that scatters about its line hardly more than the
/// quietest of them. What a purge leaves falls off first; a line through it would take its bend for noise with a long memory.
fn clean_from(t: &[f64], y: &[f64], step: f64) -> usize {
    let parts: Vec<(usize, f64)> = [0, 2, 4, 5, 6]
        .into_iter()
        .map(|eighths| t.len() * eighths / 8)
        .filter(|from| *from == 0 || t.len() - from >= SHORTEST_CLEAN)
        .filter_map(|from| Some((from, stats::line(t.get(from..)?, y.get(from..)?)?.residual_sd)))
        .collect();
    let quietest = parts.iter().map(|p| p.1).fold(f64::INFINITY, f64::min).max(quick_sd(y, step));
    parts.iter().find(|p| p.1 <= NO_BASELINE * quietest).map_or(0, |p| p.0)
}

/// The baseline moved on past what still falls when smoke is released: what falls is no smoke, and no baseline either.
fn past_a_fall(t: &[f64], y: &[f64], baseline: Range<usize>, quick_sd: f64) -> (usize, usize) {
    let (mut from, mut to) = (baseline.start, baseline.end);
    let half = ((to - from) / 2).max(FEWEST / 2);
    while let (Some(t), Some(y)) = (t.get(from..to + half), y.get(from..to + half)) {
        let n = to - from;
        let falls = |from: usize, to: usize| {
            let line = stats::line(t.get(from..to)?, y.get(from..to)?)?;
            let fall = -line.slope * (t.get(to - 1)? - t.get(from)?);
            Some(fall > FALLS * quick_sd && -line.slope > 3.0 * line.slope_se)
        };
        // It must still fall where the baseline would end then.
        if falls(0, n) != Some(true) || falls(half, n + half) != Some(true) && falls(0, n + half) != Some(true) {
            break;
        }
        (from, to) = (from + half, to + half);
    }
    (from, to)
}

/// Standard deviation by the median difference from reading to reading: deaf to smoke, drift and spikes, and to noise with a memory. In
/// steps of the reading the median is that of grouped data: the next whole step would be up to half too much.
fn quick_sd(y: &[f64], step: f64) -> f64 {
    let differences: Vec<f64> = y.iter().zip(y.iter().skip(1)).map(|(a, b)| (b - a).abs()).collect();
    stats::NORMAL_BY_MEDIAN * stats::grouped_median(&differences, step) * core::f64::consts::FRAC_1_SQRT_2
}

/// The first reading of a run at the highest value of all that readings which repeat no more often than those before the release do not
/// show: a ceiling that nobody told of.
fn ceiling(t: &[f64], y: &[f64], before: usize, step: f64) -> Option<usize> {
    let quiet = y.get(..before)?;
    let repeats = quiet.iter().zip(quiet.iter().skip(1)).filter(|(a, b)| a == b).count();
    // A sensor whose steps hide its noise reads any plateau as one value.
    if spread(quiet) < STEPS_SEEN * step {
        return met_abruptly(t, y, before, step);
    }
    // As often as on the baseline (few readings tell that to about a standard deviation of a count), and as a level in the middle of a step
    // would by the scatter from reading to reading.
    let counted = repeats as f64 + 1.0;
    let own = (counted + libm::sqrt(counted) * f64::from(u8::from(repeats > 0))) / (before as f64 + 1.0);
    let squares = quiet.iter().zip(quiet.iter().skip(1)).map(|(a, b)| (b - a) * (b - a)).sum::<f64>();
    let sd = libm::sqrt(0.5 * squares / (before as f64 - 1.0));
    let p = own.max(2.0 * stats::normal_cdf(0.5 * step / sd) - 1.0);
    let highest = y.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let (mut run, mut longest, mut from) = (0_usize, 0, 0);
    for (i, v) in y.iter().enumerate() {
        run = if *v >= highest { run + 1 } else { 0 };
        if run > longest {
            (longest, from) = (run, i + 1 - run);
        }
    }
    let odds = y.len() as f64 * libm::pow(p, longest.saturating_sub(1) as f64);
    let first = y.iter().position(|v| *v >= highest)?;
    (longest >= AT_CEILING && odds < 1e-3 && from >= before).then_some(first.max(before))
}

/// The first reading at the highest value of all, if the record came there at an undiminished pace and stayed: what tends to a plateau
/// slows down, by half as much again for each equal part of the way that is left (an exponential's by more; a puff's rounded top by a third,
/// but it stays no longer than it came).
fn met_abruptly(t: &[f64], y: &[f64], before: usize, step: f64) -> Option<usize> {
    let highest = y.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let first = y.iter().position(|v| *v >= highest).filter(|first| *first > before)?;
    let stays = y.iter().skip(first).take_while(|v| **v >= highest).count();
    let base = stats::median(y.get(..before)?);
    let passed = |level: f64| {
        let i = (before..first).rev().find(|i| y.get(*i).is_some_and(|v| *v <= level))?;
        let (t0, y0, t1, y1) = (*t.get(i)?, *y.get(i)?, *t.get(i + 1)?, *y.get(i + 1)?);
        Some(t0 + (t1 - t0) * (level - y0) / (y1 - y0))
    };
    let there = *t.get(first)?;
    let reading = there - t.get(first - 1)?;
    let stays_s = t.get(first + stays - 1)? - there + reading;
    let undiminished = |part: f64, pace: f64| {
        let [third, second, last] = [3.0, 2.0, 1.0].map(|parts| passed(highest - parts * part));
        let (third, second, last) = (third?, second?, last?);
        let paces = last - second <= pace * (second - third) && there - reading - last <= pace * (last - second);
        Some(highest - 3.0 * part > base + step && paces && stays_s >= STAYS * (there - last))
    };
    // By parts of the way that no two readings jump over, and by fifths of it, which rounding blurs less.
    let (fine, fifth) = ((highest - y.get(first - 2)?).max(2.0 * step), (highest - base) / 5.0);
    let parts = [(fine, PACE), (fifth, PACE_OF_FIFTHS)];
    let abrupt = parts.iter().any(|(part, pace)| *part >= fine && undiminished(*part, *pace) == Some(true));
    (stays >= AT_CEILING && abrupt).then_some(first)
}

/// True if these readings differ by no more than one step of the transmitted number.
fn within_a_step(y: &[f64], resolution: f64) -> bool {
    spread(y) <= 1.5 * resolution
}

/// From the lowest to the highest.
fn spread(y: &[f64]) -> f64 {
    let (low, high) = y.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    high - low
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::{
        ChaCha8Rng,
        rand_core::{Rng, SeedableRng},
    };

    fn record(y: impl Iterator<Item = f64>, before: usize) -> Record {
        let at = |i: usize| Instant::START + Duration::from_secs(i as u64);
        let all: Vec<Sample> = y.enumerate().map(|(i, y)| Sample::new(at(i), y)).collect();
        let (before, after) = all.split_at(before);
        Record::new(before, after, &Rule::default()).unwrap()
    }
    /// Standard normal numbers.
    fn dice(seed: u64) -> impl FnMut() -> f64 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        move || stats::normal_quantile((f64::from(rng.next_u32()) + 0.5) / 4_294_967_296.0)
    }

    #[test]
    fn noise_with_a_memory_is_known_by_the_whole_record() {
        // An autoregression of 0.8: (1 + 0.8) / (1 - 0.8) = 9 readings hang together; eight before the release tell nothing of it.
        let (mut slow, mut quick) = (Vec::new(), Vec::new());
        for seed in 0..40 {
            let mut dice = dice(seed);
            let mut level = 0.0;
            let hang = core::iter::repeat_with(|| {
                level = 0.8 * level + 0.6 * dice();
                level
            });
            slow.push(record(hang.take(300), 8).noise_over(16));
            let mut dice = self::dice(1000 + seed);
            quick.push(record(core::iter::repeat_with(&mut dice).take(300), 8).noise_over(16));
        }
        let variance = |n: &[Noise]| stats::median(&n.iter().map(|n| n.sd * n.sd * n.time).collect::<Vec<f64>>());
        let (slow, quick) = (variance(&slow), variance(&quick));
        assert!(slow > 4.0 && slow < 9.0, "{slow}");
        assert!(quick > 0.7 && quick < 1.6, "{quick}");
    }

    #[test]
    fn a_baseline_that_begins_after_the_release_is_one() {
        let mut dice = dice(5);
        let restless = (0..150).map(|i| if i < 40 { 9.0 * dice() } else { dice() });
        let (mut record, rule) = (record(restless, 12), Rule::default());
        record.relearn(120, &rule);
        assert!(record.clean > 12 && record.before > record.clean, "{}", record.clean);
        assert!(record.smallest_seen(&rule).is_finite());
    }
}
