//! When a rise reached a level: maximum likelihood over a family of rises on a drifting baseline with correlated noise.
//!
//! The family is A (1 - (1 + (s / tau)^q)^-p) with s = t - t0 (Burr's distribution XII, Ann. Math. Statist. 13 (1942) 215): a step for tau = 0;
//! with q = 1 the first smoke out of a laminar pipe for p = 2 (Taylor, Proc. R. Soc. A 219 (1953) 186, without diffusion:
//! 1 - (t0' / t)^2) and nearly a first-order lag for large p; with q = 2 and 4 rises that begin slowly (dispersed arrivals). A chamber or
//! filter that lags behind by kappa rounds the start: s is then sqrt(s^2 + kappa^2) - kappa, which begins as
//! s^2 / 2 kappa and ends kappa late, as the lagged ramp does.
//!
//! Where such a rise starts hangs on its shape, and a dispersed arrival starts nowhere. When it reaches a level that can be seen does
//! not: that moment is worked out for each start, shape and height. Its interval is that of the likelihood taken as a density over
//! the starts, averaged over the shapes (Smith, Biometrika 62 (1975) 407; Hinkley, Biometrika 57 (1970) 1) and over what is
//! known of the level and of the height (three points of Gauss and Hermite).
//!
//! Not here: whether there is a rise, what level is asked for.
use super::{Onset, SHARE, record::Record};
use crate::stats;
use alloc::vec::Vec;
use core::ops::Range;
use plumeline_base::quantity::Estimate;

/// One shape of rise: exponent q of time (1, 2 or 4), p = 2^power (4096 is a first-order lag to within 0.01 % of its height),
/// lag, s, and weight in the average.
#[derive(Clone, Copy)]
struct Shape {
    q: u32,
    power: u32,
    lag: f64,
    weight: f64,
}
/// Number of lags tried, from half a reading's time to [`LONGEST_LAG_S`].
const LAGS: u32 = 6;
const LONGEST_LAG_S: f64 = 20.0;

/// The shapes tried beside the step. A rounded start is taken for less likely than a sharp one: it fits almost anything
/// by starting early.
fn shapes(step: f64) -> Vec<Shape> {
    let of = |q: u32, power: u32, lag: f64, weight: f64| Shape { q, power, lag, weight };
    let sharp = [0, 1, 2, 12].map(|power| of(1, power, 0.0, 1.0));
    let ratio = libm::log((LONGEST_LAG_S / step).max(1.0) * 2.0) / f64::from(LAGS - 1);
    let lags = (0..LAGS).map(|i| 0.5 * step * libm::exp(ratio * f64::from(i)));
    let rounded = lags.flat_map(|lag| [1, 12].map(|power| of(1, power, lag, ROUNDED)));
    let slow = [0, 1, 12].into_iter().flat_map(|power| [2, 4].map(|q| of(q, power, 0.0, SLOW)));
    sharp.into_iter().chain(rounded).chain(slow).collect()
}
const ROUNDED: f64 = 0.2;
const SLOW: f64 = 0.5;
/// No shape is the true one: its misfit counts as noise of this share of the plateau.
const UNLIKE: f64 = 0.002;
/// By so many standard deviations of a reading a course may differ from the shape that fits it best without anybody seeing it.
const HIDDEN: f64 = 0.1;
/// What the interval leaves out on either side: its parts are stated a little wide each, so that it covers 95 to 97 % all the same. A
/// moment that is later than the interval says is the unsafe one: a transport time would seem shorter than it is.
const EARLY: f64 = 0.072;
const LATE: f64 = 0.011;
/// Standard uncertainty of a moment between two readings, as a share of the time between them, where the rise between them is this share of the
/// plateau or more.
const BETWEEN: f64 = 0.06;
const JUMP: f64 = 0.3;
/// How likely it is that the course between two such readings is like none of the shapes: any moment between them is as likely as another.
const STRANGE: f64 = 0.14;
/// So many moments stand for all of them.
const PARTS: u32 = 32;
/// No more readings than this are fitted from so many before the rise on: beyond, neighbours are averaged.
const FITTED: usize = 400;
const BEFORE: usize = 120;

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
    fn fitted(&self, at: &Cell, shape: &Shape) -> (Vec<f64>, f64) {
        let first = self.t.partition_point(|t| *t <= at.t0);
        let mut shapes: Vec<f64> = self.t.iter().map(|t| t - at.t0).collect();
        let (before, after) = shapes.split_at_mut(first);
        before.fill(0.0);
        rise(after, at.tau, shape);
        let mut f: Vec<f64> = shapes.iter().zip(shapes.iter().skip(1)).map(|(a, b)| b - self.rho * a).collect();
        remove(&mut f, &self.e1);
        remove(&mut f, &self.e2);
        let height = dot(&f, &self.rest) / dot(&f, &f);
        (f, height)
    }
    /// Residuals after `t0` with the best rise of this shape.
    fn residuals(&self, at: &Cell, shapes: &[Shape]) -> Vec<f64> {
        let (f, height) = self.fitted(at, shapes.get(at.shape).unwrap_or(&STEP));
        let rows = self.t.iter().skip(1).zip(self.rest.iter().zip(&f));
        rows.filter(|(t, _)| **t > at.t0).map(|(_, (r, f))| r - height * f).collect()
    }
    /// The best upward rise of this shape.
    fn fit(&self, t0: f64, tau: f64, shape: &Shape) -> Fit {
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
        if fr > 0.0 && own > 1e-9 * ff {
            Fit { rss: self.rest_square - fr * fr / own, height: fr / own, own }
        } else {
            Fit { rss: self.rest_square, height: 0.0, own: 0.0 }
        }
    }
}
/// What the best rise of a shape leaves, its height, and the square of a unit rise, by which the height is known.
#[derive(Clone, Copy)]
struct Fit {
    rss: f64,
    height: f64,
    own: f64,
}
/// A rise with its start and time.
#[derive(Clone, Copy)]
struct Cell {
    t0: f64,
    tau: f64,
    shape: usize,
    fit: Fit,
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
        // Of 1 - (1 + x)^-p itself, not of what is left: the first smoke of a slow rise is far less than the last bit of 1.
        s.iter_mut().for_each(|x| *x /= 1.0 + *x);
        for _ in 0..shape.power {
            s.iter_mut().for_each(|come| *come *= 2.0 - *come);
        }
    }
}
/// How long after its start such a rise reaches this share of its height, s.
fn reached_after(share: f64, tau: f64, shape: &Shape) -> f64 {
    if tau <= 0.0 || share <= 0.0 {
        return 0.0;
    }
    let left = -libm::log1p(-share) / f64::from(1_u32 << shape.power);
    let mut s = libm::expm1(left);
    for _ in 0..shape.q / 2 {
        s = libm::sqrt(s);
    }
    let s = s * tau + shape.lag;
    libm::sqrt(s * s - shape.lag * shape.lag)
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

/// When the readings of this part of the record, which begin with baseline, rise clear of it at `rises` and end before the rise falls again, rose by `level`.
/// `None` if no rise within them explains that.
pub(super) fn locate(record: &Record, part: Range<usize>, rises: usize, level: &Estimate) -> Option<Onset> {
    let together = (part.end.saturating_sub(rises) + BEFORE).div_ceil(FITTED).max(1);
    let noise = record.noise_over(part.end.saturating_sub(rises));
    let (t, y) = (record.t.get(part.clone())?, record.y.get(part)?);
    let averaged = |v: &[f64]| -> Vec<f64> { v.chunks_exact(together).map(stats::mean).collect() };
    let (t, y) = (averaged(t), averaged(y));
    let (innovation, rho) = noise.innovation(together);
    let unlike = UNLIKE * level.value / SHARE;
    let innovation = innovation + unlike * unlike;
    let level = &Estimate::new(level.value, 0.0, libm::hypot(level.u(), HIDDEN * libm::sqrt(innovation)));
    let white = Whitened::new(&t, &y, rho);
    let (start, end) = (*t.first()?, *t.last()?);
    let step = record.step_s() * together as f64;
    let shapes = shapes(step);
    let mut range = (start, end);
    let mut profile = None;
    for count in LEVELS {
        let found = Profile::over(&white, range, count, step, (end - start).max(step), &shapes);
        let scale = found.scale(innovation, &white, &shapes);
        range = found.support(scale)?;
        profile = Some((found, scale));
    }
    let (profile, scale) = profile?;
    // Between two readings that a rise jumps over nobody knows its course.
    let next = t.partition_point(|t| {
        *t <= profile.best.t0
            + reached_after(
                level.value / profile.best.fit.height,
                profile.best.tau,
                shapes.get(profile.best.shape).unwrap_or(&STEP),
            )
    });
    let pair = (next.checked_sub(1).and_then(|i| Some((*t.get(i)?, *y.get(i)?))), t.get(next).zip(y.get(next)));
    let gap = match pair {
        (Some((from, y0)), Some((to, y1))) => {
            Gap { from, to: *to, jump: ((y1 - y0) * SHARE / level.value / JUMP).clamp(0.0, 1.0) }
        }
        _ => Gap { from: end, to: end, jump: 0.0 },
    };
    profile.onset(scale, level, &gap, &shapes)
}

/// Two readings between which the level is reached, and how much of what is called a jump the course does between them, 0 to 1.
struct Gap {
    from: f64,
    to: f64,
    jump: f64,
}

/// The best rise of each shape for each start: the log-likelihood but for the noise variance.
struct Profile {
    range: (f64, f64),
    width: f64,
    cells: Vec<Cell>,
    best: Cell,
}
const STEP: Shape = Shape { q: 1, power: 0, lag: 0.0, weight: STEP_WEIGHT };
impl Profile {
    fn over(w: &Whitened<'_>, range: (f64, f64), count: u32, step: f64, long: f64, shapes: &[Shape]) -> Self {
        let width = (range.1 - range.0) / f64::from(count);
        let starts: Vec<f64> = (0..count).map(|i| range.0 + (f64::from(i) + 0.5) * width).collect();
        let slowest = libm::log(4000.0 * long);
        let fastest = libm::log(0.3 * step).min(slowest - 1.0);
        let whole_at_once = |t0: &f64| Cell { t0: *t0, tau: 0.0, shape: shapes.len(), fit: w.fit(*t0, 0.0, &STEP) };
        let mut cells: Vec<Cell> = starts.iter().map(whole_at_once).collect();
        for (number, shape) in shapes.iter().enumerate() {
            // Logarithm of the time, s, at which a unit rise that began so would be whole; from start to start it changes little.
            let spread = libm::exp2(f64::from(shape.power) / f64::from(shape.q));
            let mut previous = None;
            for t0 in &starts {
                let of = |ln: f64| w.fit(*t0, libm::exp(ln) * spread, shape).rss;
                let guess = previous.unwrap_or_else(|| scan(&of, fastest, slowest));
                let (at, _) = minimise(&of, guess, fastest, slowest);
                previous = Some(at);
                let tau = libm::exp(at) * spread;
                cells.push(Cell { t0: *t0, tau, shape: number, fit: w.fit(*t0, tau, shape) });
            }
        }
        let first =
            Cell { t0: range.0, tau: 0.0, shape: shapes.len(), fit: Fit { rss: f64::INFINITY, height: 0.0, own: 0.0 } };
        let best = cells.iter().fold(first, |best, c| if c.fit.rss < best.fit.rss { *c } else { best });
        Self { range, width, cells, best }
    }
    /// Variance of an innovation: that of the baseline. Where no shape fits the rise as well as that, the misfit of the
    /// best one and its run length count as noise (quasi-likelihood with a long-run variance).
    fn scale(&self, innovation: f64, white: &Whitened<'_>, shapes: &[Shape]) -> f64 {
        let residuals = white.residuals(&self.best, shapes);
        let n = residuals.len() as f64;
        let misfit = dot(&residuals, &residuals) / n / innovation;
        if n >= 4.0 && misfit > 1.0 + 3.0 * libm::sqrt(2.0 / n) {
            innovation * misfit * stats::integrated_time(&residuals)
        } else {
            innovation
        }
    }
    fn weight(&self, cell: &Cell, scale: f64, shapes: &[Shape]) -> f64 {
        let prior = shapes.get(cell.shape).unwrap_or(&STEP).weight;
        prior * libm::exp((self.best.fit.rss - cell.fit.rss) / (2.0 * scale))
    }
    /// The range of starts for a closer look.
    fn support(&self, scale: f64) -> Option<(f64, f64)> {
        let likely = |c: &&Cell| libm::exp((self.best.fit.rss - c.fit.rss) / (2.0 * scale)) > WORTH;
        let starts = self.cells.iter().filter(likely).map(|c| c.t0);
        let (first, last) = starts.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| (a.min(t), b.max(t)));
        let margin = 1.5 * self.width;
        (first <= last).then(|| ((first - margin).max(self.range.0), (last + margin).min(self.range.1)))
    }
    /// The moment at which the level is reached, with its interval.
    fn onset(&self, scale: f64, level: &Estimate, gap: &Gap, shapes: &[Shape]) -> Option<Onset> {
        let mut moments: Vec<(f64, f64)> = Vec::with_capacity(3 * self.cells.len());
        for cell in &self.cells {
            let weight = self.weight(cell, scale, shapes);
            if weight < 1e-9 || cell.fit.height <= 0.0 {
                continue;
            }
            let share = level.value / cell.fit.height;
            let u = share * libm::hypot(level.u() / level.value, libm::sqrt(scale / cell.fit.own) / cell.fit.height);
            let shape = shapes.get(cell.shape).unwrap_or(&STEP);
            for (off, part) in [(-SQRT_3, 1.0 / 6.0), (0.0, 2.0 / 3.0), (SQRT_3, 1.0 / 6.0)] {
                let share = share + off * u;
                if share < 1.0 {
                    moments.push((cell.t0 + reached_after(share, cell.tau, shape), part * weight));
                }
            }
        }
        let strange = STRANGE * gap.jump;
        let each = moments.iter().map(|m| m.1).sum::<f64>() * strange / (1.0 - strange) / f64::from(PARTS);
        let part = |i: u32| gap.from + (gap.to - gap.from) * (f64::from(i) + 0.5) / f64::from(PARTS);
        moments.extend((0..PARTS).map(|i| (part(i), each)));
        moments.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = moments.iter().map(|m| m.1).sum();
        let u_between = BETWEEN * (gap.to - gap.from) * gap.jump;
        if total <= 0.0 || !total.is_finite() {
            return None;
        }
        let mean = moments.iter().map(|(t, w)| t * w).sum::<f64>() / total;
        let variance = moments.iter().map(|(t, w)| (t - mean) * (t - mean) * w).sum::<f64>() / total;
        let quantile = |p: f64| {
            let mut sum = 0.0;
            let passed = moments.iter().find(|(_, w)| {
                sum += w;
                sum >= p * total
            });
            passed.map_or(mean, |m| m.0)
        };
        let (at_s, grid) = (quantile(0.5), self.width / libm::sqrt(12.0));
        let side = |edge: f64| libm::hypot(edge - at_s, 2.0 * libm::hypot(grid, u_between));
        let interval95_s = (at_s - side(quantile(EARLY)), at_s + side(quantile(1.0 - LATE)));
        // As wide as the wider side, so that who takes it for normal is not surer than the interval.
        let wider = (at_s - interval95_s.0).max(interval95_s.1 - at_s) / stats::normal_quantile(0.975);
        Some(Onset { at_s, u_s: libm::sqrt(variance + grid * grid + u_between * u_between).max(wider), interval95_s })
    }
}
/// A moment known with a normal uncertainty, with its interval as everywhere here.
pub(super) fn normal(at_s: f64, u_s: f64) -> Onset {
    let interval95_s =
        (at_s - stats::normal_quantile(1.0 - EARLY) * u_s, at_s + stats::normal_quantile(1.0 - LATE) * u_s);
    Onset { at_s, u_s: (interval95_s.1 - at_s) / stats::normal_quantile(0.975), interval95_s }
}
const SQRT_3: f64 = 1.732_050_807_568_877_2;

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
