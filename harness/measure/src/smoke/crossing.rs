//! When a strong rise crosses a level, read off the readings around it: no family of shapes holds every course, and where the readings themselves
//! show the moment none is needed. The inverse of the course, time as a parabola of ln(reading / level), is fitted by weighted least squares
//! to the readings from level / g to g level, with g as small as gives [`ENOUGH`] of them. So a toe, a lag, a
//! power and an exponential are all nearly straight.
//!
//! Not here: rises that jump past the level between two readings, and those whose level is not clear of noise (`onset`).
use super::{Onset, course::Course, onset, record::Record};
use alloc::vec::Vec;
use plumeline_base::quantity::Estimate;

/// A level is clear of noise from so many standard deviations of a reading on.
const CLEAR: f64 = 8.0;
/// The spans tried, each a factor either way.
const SPANS: [f64; 8] = [1.2, 1.3, 1.4, 1.55, 1.75, 2.0, 2.3, 2.6];
/// A span's lower end lies so many standard deviations of a reading under the level at least.
const APART: f64 = 2.0;
/// Readings that are enough, and the fewest, with as many different values.
const ENOUGH: usize = 8;
const FEWEST: usize = 4;
/// What a parabola leaves of a course, as a share of its own bend at the ends of the span.
const BEND: f64 = 0.012;

/// The moment at which the course crosses the level, or `otherwise` where the readings around it do not show it.
pub(super) fn read_off(record: &Record, course: &Course<'_>, level: &Estimate, otherwise: Onset) -> Onset {
    at(record, course, level, otherwise.at_s).unwrap_or(otherwise)
}

fn at(record: &Record, course: &Course<'_>, level: &Estimate, near_s: f64) -> Option<Onset> {
    let sd = record.noise.sd.max(record.u_rounding());
    if level.value < CLEAR * sd {
        return None;
    }
    let base = course.baseline_at(near_s);
    let near = record.t.partition_point(|t| *t < near_s);
    let over = |i: usize| record.y.get(i).map(|y| y - base.value);
    let part = |g: &f64| {
        let (low, high) = (level.value / g, level.value * g);
        let mut from = near;
        while from > record.clean && over(from - 1)? > low {
            from -= 1;
        }
        while over(from)? < low {
            from += 1;
        }
        let mut to = from;
        while over(to)? < high {
            to += 1;
        }
        Some((*g, from..to))
    };
    let apart = |g: &&f64| level.value * (1.0 - 1.0 / **g) >= APART * sd;
    let mut widest = None;
    for found in SPANS.iter().filter(apart).map(part) {
        let (g, part) = found?;
        let enough = part.len() >= ENOUGH;
        widest = Some((g, part));
        if enough {
            break;
        }
    }
    let (g, part) = widest?;
    let (t, y) = (record.t.get(part.clone())?, record.y.get(part)?);
    let y: Vec<f64> = y.iter().map(|y| y - base.value).collect();
    let mut different = y.clone();
    different.sort_by(f64::total_cmp);
    different.dedup();
    if different.len() < FEWEST || *y.first()? > level.value || *y.last()? < level.value {
        return None;
    }
    let x: Vec<f64> = y.iter().map(|y| libm::log(y / level.value)).collect();
    // A reading's scatter in time is sd / (dy/dt), and dy/dt is y / slope: weighted by y / level, all have that of the level.
    let weights: Vec<f64> = y.iter().map(|y| y / level.value).collect();
    let inverse = Inverse::fitted(&x, t, &weights).filter(|i| i.slope > 0.0)?;
    // Neighbours that hang together are worth fewer.
    let worth = libm::sqrt(record.noise.time.min(x.len() as f64 / FEWEST as f64).max(1.0));
    let scatter = (sd * inverse.slope / level.value * worth).max(inverse.scatter) * inverse.unit_u;
    let u_level = inverse.slope / level.value * libm::hypot(level.u(), base.u());
    let ln_g = libm::log(g);
    let u_s = libm::hypot(libm::hypot(scatter, u_level), BEND * inverse.bend.abs() * ln_g * ln_g);
    Some(onset::normal(inverse.at_level, u_s))
}

/// A parabola t = at_level + slope x + bend x^2 by orthogonal polynomials (Forsythe, J. SIAM 5 (1957) 74).
struct Inverse {
    at_level: f64,
    slope: f64,
    bend: f64,
    /// Standard deviation of weighted residuals, 0 where none are left over.
    scatter: f64,
    /// Uncertainty of `at_level` for residuals of 1.
    unit_u: f64,
}
impl Inverse {
    fn fitted(x: &[f64], t: &[f64], weights: &[f64]) -> Option<Self> {
        let origin = *t.first()?;
        let rows = || x.iter().zip(t).zip(weights).map(|((x, t), w)| (*x, t - origin, w * w));
        let sum = |f: &dyn Fn(f64, f64) -> f64| rows().map(|(x, t, w)| w * f(x, t)).sum::<f64>();
        let all = sum(&|_, _| 1.0);
        let centre = sum(&|x, _| x) / all;
        let first = |x: f64| x - centre;
        let xx = sum(&|x, _| first(x) * first(x));
        let tilt = sum(&|x, _| x * x * first(x)) / xx;
        let flat = sum(&|x, _| x * x) / all;
        let second = |x: f64| x * x - flat - tilt * first(x);
        let xxxx = sum(&|x, _| second(x) * second(x));
        let (a, b) = (sum(&|_, t| t) / all, sum(&|x, t| first(x) * t) / xx);
        let c = sum(&|x, t| second(x) * t) / xxxx;
        let at = |x: f64| a + b * first(x) + c * second(x);
        let left = sum(&|x, t| (t - at(x)) * (t - at(x)));
        let unit = 1.0 / all + first(0.0) * first(0.0) / xx + second(0.0) * second(0.0) / xxxx;
        let found = Self {
            at_level: origin + at(0.0),
            slope: b - c * tilt,
            bend: c,
            scatter: if x.len() >= FEWEST { libm::sqrt(left / (x.len() - 3) as f64) } else { 0.0 },
            unit_u: libm::sqrt(unit),
        };
        (found.at_level.is_finite() && found.slope.is_finite() && found.unit_u.is_finite()).then_some(found)
    }
}
