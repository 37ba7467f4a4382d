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

/// Doublings of p: p = 1, 2, 4, 8.
const POWERS: u32 = 4;
/// Values of tau tried: 0 and this many in a geometric row.
const TAUS: usize = 14;
/// Finest steps of t0 per reading.
const FINE: usize = 8;

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

    // Coarse: one onset per reading (fewer in a long record), then fine where the likelihood is.
    let taus: Vec<f64> = core::iter::once(0.0)
        .chain(
            (0..TAUS)
                .map(|i| 0.3 * step * libm::pow((8.0 * (end - start) / step).max(2.0), i as f64 / (TAUS - 1) as f64)),
        )
        .collect();
    let earliest = start + 3.0 * step;
    let count = libm::floor((end - earliest) / step) as usize;
    let coarse = Profile::over(&white, &taus, (0..count).map(|i| earliest + (i as f64 + 0.5) * step).collect());
    let scale = scale(record, &white, coarse.least);
    let (low, high) = coarse.support(scale, step)?;
    let fine_count = (libm::ceil((high - low) / step) as usize * FINE).clamp(FINE, 50 * FINE);
    let width = (high - low) / fine_count as f64;
    let fine = Profile::over(&white, &taus, (0..fine_count).map(|i| low + (i as f64 + 0.5) * width).collect());
    fine.onset(scale, width)
}

/// Variance of an innovation: that of the baseline, or of the residuals after the rise where no shape fits as well as that.
fn scale(record: &Record, white: &Whitened<'_>, least: f64) -> f64 {
    let innovation = record.noise.innovation_sd();
    let fitted = least / (white.rest.len() as f64 - 5.0).max(1.0);
    (innovation * innovation).max(fitted)
}

/// Log-likelihood of each t0, up to the noise variance: the residual sums of squares for all shapes.
struct Profile {
    t0: Vec<f64>,
    /// For each t0, one per shape.
    rss: Vec<Vec<f64>>,
    least: f64,
}
impl Profile {
    fn over(white: &Whitened<'_>, taus: &[f64], t0: Vec<f64>) -> Self {
        let shapes = |t0: f64| -> Vec<f64> {
            let mut rss = Vec::with_capacity(taus.len() * POWERS as usize);
            for tau in taus {
                // All powers are the same step when tau is 0.
                for power in 0..POWERS {
                    rss.push(white.rss(t0, tau * f64::from(1_u32 << power), power));
                    if *tau == 0.0 {
                        rss.resize(POWERS as usize, rss.first().copied().unwrap_or(f64::INFINITY));
                        break;
                    }
                }
            }
            rss
        };
        let rss: Vec<Vec<f64>> = t0.iter().map(|t| shapes(*t)).collect();
        let least = rss.iter().flatten().fold(f64::INFINITY, |a, b| a.min(*b));
        Self { t0, rss, least }
    }
    fn weights(&self, scale: f64) -> Vec<f64> {
        let weight = |rss: &Vec<f64>| rss.iter().map(|r| libm::exp((self.least - r) / (2.0 * scale))).sum::<f64>();
        self.rss.iter().map(weight).collect()
    }
    /// Where the likelihood is worth a finer look; `None` if that is at the edge.
    fn support(&self, scale: f64, step: f64) -> Option<(f64, f64)> {
        let weights = self.weights(scale);
        let most = weights.iter().fold(0.0_f64, |a, b| a.max(*b));
        let worth = |w: &f64| *w > 1e-4 * most;
        let (first, last) = (weights.iter().position(worth)?, weights.iter().rposition(worth)?);
        let at_edge = first == 0 && weights.first().is_some_and(|w| *w > 0.05 * most);
        let (low, high) = (self.t0.get(first)? - step, self.t0.get(last)? + step);
        (!at_edge && most > 0.0).then_some((low, high))
    }
    fn onset(&self, scale: f64, width: f64) -> Option<Onset> {
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
                    return t + width * ((p * total - sum) / w - 0.5);
                }
                sum += w;
            }
            self.t0.last().copied().unwrap_or(mean)
        };
        let u_s = libm::hypot(libm::sqrt(variance), width / libm::sqrt(12.0));
        Some(Onset { at_s: quantile(0.5), u_s, interval95_s: (quantile(0.025), quantile(0.975)) })
    }
}
