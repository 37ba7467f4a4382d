//! When a rise started: maximum likelihood over a family of rises on a drifting baseline with correlated noise.
//!
//! The family is A (1 - (1 + s / tau)^-p) with s = t - t0: a step for tau = 0; the first smoke out of a laminar pipe with
//! p = 2 (Taylor, Proc. R. Soc. A 219 (1953) 186, without diffusion: 1 - (t0' / t)^2); nearly a first-order lag for large
//! p. A chamber or filter that lags behind by kappa rounds the start: s is then sqrt(s^2 + kappa^2) - kappa, which begins
//! as s^2 / 2 kappa and ends kappa late, as the lagged ramp does. Rises that begin slower still (dispersed arrivals,
//! which have no sharp start) have (s / tau)^4.
//! The interval is that of the likelihood of t0 taken as a density, averaged over the shapes (change point with a flat
//! prior: Smith, Biometrika 62 (1975) 407; likelihood of a change point: Hinkley, Biometrika 57 (1970) 1).
//!
//! Not here: whether there is a rise.
use super::{Onset, record::Record};
use crate::stats;
use alloc::vec::Vec;

/// One shape of rise: exponent q of time (1 or 4), p = 2^power (4096 is a first-order lag to within 0.01 % of its height),
/// lag, s, and weight in the average.
#[derive(Clone, Copy)]
struct Shape {
    q: u32,
    power: u32,
    lag: f64,
    weight: f64,
}
/// Number of lags tried, from half a reading's time to [`LONGEST_LAG_S`].
const LAGS: u32 = 8;
const LONGEST_LAG_S: f64 = 20.0;

/// The shapes tried beside the step. A rounded start is taken for less likely than a sharp one: it fits almost anything
/// by starting early.
fn shapes(step: f64) -> Vec<Shape> {
    let sharp = [0, 1, 2, 4, 12].map(|power| Shape { q: 1, power, lag: 0.0, weight: 1.0 });
    let ratio = libm::log((LONGEST_LAG_S / step).max(1.0) * 2.0) / f64::from(LAGS - 1);
    let lags = (0..LAGS).map(|i| 0.5 * step * libm::exp(ratio * f64::from(i)));
    let rounded = lags.flat_map(|lag| [1, 12].map(|power| Shape { q: 1, power, lag, weight: ROUNDED }));
    sharp.into_iter().chain(rounded).chain([Shape { q: 4, power: 2, lag: 0.0, weight: ROUNDED }]).collect()
}
const ROUNDED: f64 = 0.1;
/// Standard uncertainty of the onset for want of the true shape, as a share of the lag (signals without noise through
/// first-order lags were off by up to 4 %).
const SHAPE_UNCERTAINTY: f64 = 0.04;

/// Values of t0 at each level; each looks closer where the one before found the likelihood.
const LEVELS: [u32; 3] = [48, 48, 128];
/// Likelihood, relative to the best, that keeps a t0 for the next level.
const WORTH: f64 = 1e-5;
/// Weight of the plain step beside these.
const STEP_WEIGHT: f64 = 8.0;

/// The record whitened: each reading less what the one before it foretells, with the line's two columns made orthonormal.
struct Whitened<'a> {
    t: &'a [f64],
    rho: f64,
    e1: Vec<f64>,
    e2: Vec<f64>,
    /// The readings less their part along e1 and e2.
    rest: Vec<f64>,
    rest_square: f64,
    /// `rest`, `e1` and `e2` side by side.
    columns: Vec<[f64; 3]>,
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
        let columns = rest.iter().zip(e1.iter().zip(&e2)).map(|(r, (e1, e2))| [*r, *e1, *e2]).collect();
        Self { t, rho, e1, e2, rest, rest_square, columns }
    }
    /// The best rise of this shape, whitened and without the line's part, and its height.
    fn fitted(&self, at: &Best) -> (Vec<f64>, f64) {
        let first = self.t.partition_point(|t| *t <= at.t0);
        let mut shapes: Vec<f64> = self.t.iter().map(|t| t - at.t0).collect();
        let (before, after) = shapes.split_at_mut(first);
        before.fill(0.0);
        rise(after, at.tau, &at.shape);
        let mut f: Vec<f64> = shapes.iter().zip(shapes.iter().skip(1)).map(|(a, b)| b - self.rho * a).collect();
        remove(&mut f, &self.e1);
        remove(&mut f, &self.e2);
        let height = dot(&f, &self.rest) / dot(&f, &f);
        (f, height)
    }
    /// Residuals after `t0` with the best rise of this shape.
    fn residuals(&self, at: &Best) -> Vec<f64> {
        let (f, height) = self.fitted(at);
        let rows = self.t.iter().skip(1).zip(self.rest.iter().zip(&f));
        rows.filter(|(t, _)| **t > at.t0).map(|(_, (r, f))| r - height * f).collect()
    }
    /// How long this rise takes to climb a step of the transmitted number, s: what lies under that can't be seen.
    fn toe_s(&self, at: &Best, resolution: f64, reading_s: f64) -> f64 {
        let (f, height) = self.fitted(at);
        let share = resolution / height;
        if f.is_empty() || !(share > 0.0 && share < 1.0) {
            return 0.0;
        }
        let risen = |s: f64| {
            let mut one = [s];
            rise(&mut one, at.tau, &at.shape);
            one[0]
        };
        let (mut low, mut high) = (0.0, reading_s);
        while risen(high) < share && high < 1e4 {
            (low, high) = (high, 2.0 * high);
        }
        for _ in 0..30 {
            let middle = 0.5 * (low + high);
            if risen(middle) < share { low = middle } else { high = middle }
        }
        high
    }
    /// Residual sum of squares with the best upward rise of this shape.
    fn rss(&self, t0: f64, tau: f64, shape: &Shape) -> f64 {
        let first = self.t.partition_point(|t| *t <= t0);
        let from = first.max(1);
        let (mut fr, mut f1, mut f2, mut ff, mut before) = (0.0, 0.0, 0.0, 0.0, 0.0);
        let mut together = [0.0; TOGETHER];
        let times = self.t.get(from..).unwrap_or_default().chunks(TOGETHER);
        for (times, columns) in times.zip(self.columns.get(from - 1..).unwrap_or_default().chunks(TOGETHER)) {
            // Every step of a rise is monotone in time: once it is whole to the last bit it stays so.
            if before < 1.0 {
                together.iter_mut().zip(times).for_each(|(s, t)| *s = t - t0);
                rise(&mut together, tau, shape);
            } else {
                together.fill(1.0);
            }
            for (here, [r, e1, e2]) in together.iter().zip(columns) {
                let f = here - self.rho * before;
                before = *here;
                fr += f * r;
                f1 += f * e1;
                f2 += f * e2;
                ff += f * f;
            }
        }
        let own = ff - f1 * f1 - f2 * f2;
        if fr > 0.0 && own > 1e-9 * ff { self.rest_square - fr * fr / own } else { self.rest_square }
    }
}
/// Readings whose rises are worked out side by side. The sums over them keep the order of the readings, and so their bits.
const TOGETHER: usize = 16;

/// Puts in the place of each `s` > 0, seconds after the start, how much of the rise has come by then.
fn rise(s: &mut [f64], tau: f64, shape: &Shape) {
    if tau <= 0.0 {
        s.fill(1.0);
        return;
    }
    for s in s.chunks_mut(TOGETHER) {
        if shape.lag > 0.0 {
            s.iter_mut().for_each(|s| *s = libm::sqrt(*s * *s + shape.lag * shape.lag) - shape.lag);
        }
        s.iter_mut().for_each(|s| *s /= tau);
        for _ in 0..shape.q / 2 {
            s.iter_mut().for_each(|x| *x *= *x);
        }
        s.iter_mut().for_each(|x| *x = 1.0 / (1.0 + *x));
        for _ in 0..shape.power {
            s.iter_mut().for_each(|left| *left *= *left);
        }
        s.iter_mut().for_each(|left| *left = 1.0 - *left);
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
    let (profile, scale) = profile?;
    let toe_s = white.toe_s(&profile.best, record.bare_step, step);
    profile.onset(scale, toe_s)
}

/// Residual sums of squares for each t0, one for the step and one for the best time of each shape: the
/// log-likelihood but for the noise variance.
struct Profile {
    range: (f64, f64),
    width: f64,
    t0: Vec<f64>,
    rss: Vec<Vec<f64>>,
    weights: Vec<f64>,
    least: f64,
    best: Best,
}
/// The likeliest onset and shape.
#[derive(Clone, Copy)]
struct Best {
    t0: f64,
    tau: f64,
    shape: Shape,
}
const STEP: Shape = Shape { q: 1, power: 0, lag: 0.0, weight: STEP_WEIGHT };
impl Profile {
    fn over(white: &Whitened<'_>, range: (f64, f64), count: u32, step: f64, long: f64) -> Self {
        let width = (range.1 - range.0) / f64::from(count);
        let t0: Vec<f64> = (0..count).map(|i| range.0 + (f64::from(i) + 0.5) * width).collect();
        let shapes = shapes(step);
        let mut rss = alloc::vec![Vec::with_capacity(shapes.len() + 1); t0.len()];
        let mut least = f64::INFINITY;
        let mut best = Best { t0: range.0, tau: 0.0, shape: STEP };
        let mut note = |row: &mut Vec<f64>, value: f64, found: Best| {
            row.push(value);
            if value < least {
                (least, best) = (value, found);
            }
        };
        for (t0, row) in t0.iter().zip(&mut rss) {
            note(row, white.rss(*t0, 0.0, &STEP), Best { t0: *t0, tau: 0.0, shape: STEP });
        }
        let slowest = libm::log(4000.0 * long);
        let fastest = libm::log(0.3 * step).min(slowest - 1.0);
        for shape in &shapes {
            // Logarithm of the time, s, at which a unit rise that began so would be whole; from onset to onset it changes little.
            let spread = libm::exp2(f64::from(shape.power) / f64::from(shape.q));
            let mut previous = None;
            for (t0, row) in t0.iter().zip(&mut rss) {
                let of = |ln: f64| white.rss(*t0, libm::exp(ln) * spread, shape);
                let guess = previous.unwrap_or_else(|| scan(&of, fastest, slowest));
                let (at, value) = minimise(&of, guess, fastest, slowest);
                previous = Some(at);
                note(row, value, Best { t0: *t0, tau: libm::exp(at) * spread, shape: *shape });
            }
        }
        let weights = core::iter::once(STEP_WEIGHT).chain(shapes.iter().map(|s| s.weight)).collect();
        Self { range, width, t0, rss, weights, least, best }
    }
    /// Variance of an innovation: that of the baseline. Where no shape fits the rise as well as that, the misfit of the
    /// best one and its run length count as noise (quasi-likelihood with a long-run variance).
    fn scale(&self, record: &Record, white: &Whitened<'_>) -> f64 {
        let innovation = record.noise.innovation_sd() * record.noise.innovation_sd();
        let residuals = white.residuals(&self.best);
        let n = residuals.len() as f64;
        let misfit = dot(&residuals, &residuals) / n / innovation;
        if n >= 4.0 && misfit > 1.0 + 3.0 * libm::sqrt(2.0 / n) {
            innovation * misfit * stats::integrated_time(&residuals)
        } else {
            innovation
        }
    }
    fn weights(&self, scale: f64) -> Vec<f64> {
        let likelihood = |rss: f64| libm::exp((self.least - rss) / (2.0 * scale));
        let weight = |row: &Vec<f64>| row.iter().zip(&self.weights).map(|(rss, w)| w * likelihood(*rss)).sum();
        self.rss.iter().map(weight).collect()
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
    fn onset(&self, scale: f64, toe_s: f64) -> Option<Onset> {
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
        // How well the rounding of the best shape stands for a real lag: matters only where noise is very small.
        let u_shape = SHAPE_UNCERTAINTY * self.best.shape.lag;
        // What rose by less than a step before it could be seen: rectangular, and only ever earlier.
        let u_toe = toe_s / libm::sqrt(12.0);
        let parts = [libm::sqrt(variance), self.width / libm::sqrt(12.0), u_shape, u_toe];
        let u_s = libm::sqrt(parts.iter().map(|u| u * u).sum());
        let at_s = quantile(0.5);
        let side = |edge: f64| libm::hypot(edge - at_s, 2.0 * u_shape);
        let interval95_s = (at_s - side(quantile(0.025)) - toe_s, at_s + side(quantile(0.975)));
        Some(Onset { at_s, u_s, interval95_s })
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
