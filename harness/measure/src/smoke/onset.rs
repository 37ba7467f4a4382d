//! When a rise started: maximum likelihood over a family of rises on a drifting baseline with correlated noise.
//!
//! The family is A (1 - (1 + (t - t0) / tau)^-p): a step for tau = 0; the first smoke out of a laminar pipe for p = 2
//! (Taylor, Proc. R. Soc. A 219 (1953) 186, without diffusion: 1 - (t0' / t)^2); nearly a first-order lag for large p.
//! The interval is that of the likelihood of t0 taken as a density, averaged over tau and p (change point with a flat
//! prior: Smith, Biometrika 62 (1975) 407; likelihood of a change point: Hinkley, Biometrika 57 (1970) 1).
//!
//! Not here: whether there is a rise.
use super::{Onset, record::Record};
use alloc::vec::Vec;

/// The powers p = 2^n tried, by n: 1, 2, 4, 16, 256 (a first-order lag to within 0.1 % of its height).
const POWERS: [u32; 5] = [0, 1, 2, 4, 8];
/// Values of t0 at each level; each looks closer where the one before found the likelihood.
const LEVELS: [u32; 3] = [64, 64, 160];
/// Likelihood, relative to the best, that keeps a t0 for the next level.
const WORTH: f64 = 1e-5;
/// Weight of the plain step beside one of the powers.
const STEP_WEIGHT: f64 = 5.0;

/// The record whitened: each reading less what the one before it foretells, with the line's two columns made orthonormal.
struct Whitened<'a> {
    t: &'a [f64],
    rho: f64,
    e1: Vec<f64>,
    e2: Vec<f64>,
    /// The readings less their part along e1 and e2.
    rest: Vec<f64>,
    rest_square: f64,
}

impl<'a> Whitened<'a> {
    fn new(t: &'a [f64], y: &[f64], rho: f64) -> Self {
        let white = |v: &dyn Fn(usize) -> f64| -> Vec<f64> { (1..t.len()).map(|i| v(i) - rho * v(i - 1)).collect() };
        let at = |v: &[f64], i: usize| v.get(i).copied().unwrap_or(0.0);
        let origin = at(t, 0);
        let mut e1 = white(&|_| 1.0);
        normalise(&mut e1);
        let mut e2 = white(&|i| at(t, i) - origin);
        remove(&mut e2, &e1);
        normalise(&mut e2);
        let mut rest = white(&|i| at(y, i) - at(y, 0));
        remove(&mut rest, &e1);
        remove(&mut rest, &e2);
        let rest_square = dot(&rest, &rest);
        Self { t, rho, e1, e2, rest, rest_square }
    }
    /// Residual sum of squares with the best upward rise of this shape.
    fn rss(&self, t0: f64, tau: f64, power: u32) -> f64 {
        let first = self.t.partition_point(|t| *t <= t0);
        let (mut fr, mut f1, mut f2, mut ff, mut before) = (0.0, 0.0, 0.0, 0.0, 0.0);
        let from = first.max(1);
        let columns = self.rest.iter().zip(&self.e1).zip(&self.e2).skip(from - 1);
        for (t, ((r, e1), e2)) in self.t.iter().skip(from).zip(columns) {
            let mut left = if tau > 0.0 { tau / (tau + t - t0) } else { 0.0 };
            for _ in 0..power {
                left *= left;
            }
            let shape = 1.0 - left;
            let f = shape - self.rho * before;
            before = shape;
            fr += f * r;
            f1 += f * e1;
            f2 += f * e2;
            ff += f * f;
        }
        let own = ff - f1 * f1 - f2 * f2;
        if fr > 0.0 && own > 1e-9 * ff { self.rest_square - fr * fr / own } else { self.rest_square }
    }
}
fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
fn remove(v: &mut [f64], unit: &[f64]) {
    let along = dot(v, unit);
    v.iter_mut().zip(unit).for_each(|(v, u)| *v -= along * u);
}
fn normalise(v: &mut [f64]) {
    let length = libm::sqrt(dot(v, v));
    if length > 0.0 {
        v.iter_mut().for_each(|v| *v /= length);
    }
}

/// The onset within readings `from..to` of the record, which begin with baseline and end before the rise falls again.
/// `None` if no onset within them explains the rise, or its start lies at the edge.
pub(super) fn locate(record: &Record, from: usize, to: usize) -> Option<Onset> {
    let (t, y) = (record.t.get(from..to)?, record.y.get(from..to)?);
    let white = Whitened::new(t, y, record.noise.rho);
    let (start, end) = (*t.first()?, *t.last()?);
    let step = record.step_s();
    let mut range = (start + 3.0 * step, end);
    let mut profile = None;
    for (level, count) in LEVELS.into_iter().enumerate() {
        let found = Profile::over(&white, range, count, step, (end - start).max(step));
        let scale = found.scale(record, &white);
        if level == 0 && found.at_edge(scale) {
            return None;
        }
        range = found.support(scale)?;
        profile = Some((found, scale));
    }
    profile.and_then(|(profile, scale)| profile.onset(scale))
}

/// Residual sums of squares for each t0, one for the step and one for the best slope time of each power: the
/// log-likelihood but for the noise variance.
struct Profile {
    range: (f64, f64),
    width: f64,
    t0: Vec<f64>,
    rss: Vec<[f64; POWERS.len() + 1]>,
    least: f64,
}
impl Profile {
    fn over(white: &Whitened<'_>, range: (f64, f64), count: u32, step: f64, long: f64) -> Self {
        let width = (range.1 - range.0) / f64::from(count);
        let t0: Vec<f64> = (0..count).map(|i| range.0 + (f64::from(i) + 0.5) * width).collect();
        let mut rss = alloc::vec![[f64::INFINITY; POWERS.len() + 1]; t0.len()];
        let slowest = libm::log(4.0 * long);
        let fastest = libm::log(0.3 * step).min(slowest - 1.0);
        for (slot, power) in POWERS.into_iter().enumerate() {
            // 1 / initial slope of a unit rise, s, in logarithm; from onset to onset it changes little.
            let mut best = None;
            for (t0, row) in t0.iter().zip(&mut rss) {
                let of = |ln: f64| white.rss(*t0, libm::exp(ln) * f64::from(1_u32 << power), power);
                let guess = best.unwrap_or_else(|| scan(&of, fastest, slowest));
                let (at, value) = minimise(&of, guess, fastest, slowest);
                best = Some(at);
                if let Some(v) = row.get_mut(slot + 1) {
                    *v = value;
                }
            }
        }
        for (t0, row) in t0.iter().zip(&mut rss) {
            row[0] = white.rss(*t0, 0.0, 0);
        }
        let least = rss.iter().flatten().fold(f64::INFINITY, |a, b| a.min(*b));
        Self { range, width, t0, rss, least }
    }
    /// Variance of an innovation: that of the baseline, or of the residuals where no shape fits as well as that.
    fn scale(&self, record: &Record, white: &Whitened<'_>) -> f64 {
        let innovation = record.noise.innovation_sd();
        let fitted = self.least / (white.rest.len() as f64 - 5.0).max(1.0);
        (innovation * innovation).max(fitted)
    }
    fn weights(&self, scale: f64) -> Vec<f64> {
        let likelihood = |rss: f64| libm::exp((self.least - rss) / (2.0 * scale));
        self.rss
            .iter()
            .map(|[step, rest @ ..]| STEP_WEIGHT * likelihood(*step) + rest.iter().map(|r| likelihood(*r)).sum::<f64>())
            .collect()
    }
    /// True if an onset in the first cell is likely too: the start lies before the record, or can't be told from drift.
    fn at_edge(&self, scale: f64) -> bool {
        self.weights(scale).first().is_none_or(|w| *w > 0.05)
    }
    /// The range of t0 for a closer look.
    fn support(&self, scale: f64) -> Option<(f64, f64)> {
        let weights = self.weights(scale);
        let worth = |w: &f64| *w > WORTH;
        let (first, last) = (weights.iter().position(worth)?, weights.iter().rposition(worth)?);
        let margin = 1.5 * self.width;
        Some(((self.t0.get(first)? - margin).max(self.range.0), (self.t0.get(last)? + margin).min(self.range.1)))
    }
    fn onset(&self, scale: f64) -> Option<Onset> {
        let weights = self.weights(scale);
        let total: f64 = weights.iter().sum();
        if total <= 0.0 || !total.is_finite() {
            return None;
        }
        let mean = self.t0.iter().zip(&weights).map(|(t, w)| t * w).sum::<f64>() / total;
        let variance = self.t0.iter().zip(&weights).map(|(t, w)| (t - mean) * (t - mean) * w).sum::<f64>() / total;
        let quantile = |p: f64| {
            let mut sum = 0.0;
            for (t, w) in self.t0.iter().zip(&weights) {
                if sum + w >= p * total {
                    return t + self.width * ((p * total - sum) / w - 0.5);
                }
                sum += w;
            }
            self.t0.last().copied().unwrap_or(mean)
        };
        let u_s = libm::hypot(libm::sqrt(variance), self.width / libm::sqrt(12.0));
        Some(Onset { at_s: quantile(0.5), u_s, interval95_s: (quantile(0.025), quantile(0.975)) })
    }
}

/// The best of a row of values.
fn scan(f: &impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let points = (0..16).map(|i| low + (high - low) * f64::from(i) / 15.0);
    points.map(|x| (f(x), x)).min_by(|a, b| a.0.total_cmp(&b.0)).map_or(low, |best| best.1)
}

/// A minimum near `guess` within `low..high`: bracketed by steps that grow, then successive parabolas (Brent 1973,
/// chapter 5, without the last digits).
fn minimise(f: &impl Fn(f64) -> f64, guess: f64, low: f64, high: f64) -> (f64, f64) {
    let clamp = |x: f64| x.clamp(low, high);
    let mut h = 0.1;
    let mut b = (guess, f(guess));
    let mut a = (clamp(guess - h), f(clamp(guess - h)));
    let mut c = (clamp(guess + h), f(clamp(guess + h)));
    for _ in 0..12 {
        if a.1 < b.1 && a.0 > low {
            h *= 2.0;
            (c, b) = (b, a);
            let x = clamp(b.0 - h);
            a = (x, f(x));
        } else if c.1 < b.1 && c.0 < high {
            h *= 2.0;
            (a, b) = (b, c);
            let x = clamp(b.0 + h);
            c = (x, f(x));
        } else {
            break;
        }
    }
    for _ in 0..5 {
        let (p, q) = ((b.0 - a.0) * (b.1 - c.1), (b.0 - c.0) * (b.1 - a.1));
        let x = b.0 - 0.5 * ((b.0 - a.0) * p - (b.0 - c.0) * q) / (p - q);
        let inside = x > a.0 && x < c.0 && (x - b.0).abs() > 1e-4;
        if !inside {
            break;
        }
        let new = (x, f(x));
        match (new.1 < b.1, x < b.0) {
            (true, true) => (c, b) = (b, new),
            (true, false) => (a, b) = (b, new),
            (false, true) => a = new,
            (false, false) => c = new,
        }
    }
    [a, b, c].into_iter().min_by(|p, q| p.1.total_cmp(&q.1)).unwrap_or(b)
}
