//! When a strong rise crosses a level, read off the readings around it: no family of shapes holds every course, and where the readings themselves
//! show the moment none is needed. The inverse of the course, time as a parabola of a power of reading / level, is fitted by weighted least squares
//! to the readings from level / g to g level, with g as small as gives [`ENOUGH`] of them, for several powers: a ramp is straight in the
//! first, a toe in the logarithm.
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
/// The powers of a reading in which time may be a parabola; 0: its logarithm.
const POWERS: [f64; 3] = [0.0, 0.5, 1.0];

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
        Some(from..to)
    };
    let apart = |g: &&f64| level.value * (1.0 - 1.0 / **g) >= APART * sd;
    let mut widest = None;
    for found in SPANS.iter().filter(apart).map(part) {
        let part = found?;
        let enough = part.len() >= ENOUGH;
        widest = Some(part);
        if enough {
            break;
        }
    }
    let part = widest?;
    let (t, y) = (record.t.get(part.clone())?, record.y.get(part)?);
    let y: Vec<f64> = y.iter().map(|y| y - base.value).collect();
    let mut different = y.clone();
    different.sort_by(f64::total_cmp);
    different.dedup();
    if different.len() < FEWEST || *y.first()? > level.value || *y.last()? < level.value {
        return None;
    }
    // A reading's scatter in time is sd / (dy/dt), and dy/dt is y / slope: weighted by y / level, all have that of the level.
    // Neighbours that hang together are worth fewer.
    let worth = libm::sqrt(record.noise.time.min(y.len() as f64 / FEWEST as f64).max(1.0));
    let by = |power: f64| {
        let of = |y: f64| if power == 0.0 { libm::log(y) } else { (libm::pow(y, power) - 1.0) / power };
        let x: Vec<f64> = y.iter().map(|y| of(y / level.value)).collect();
        let weights: Vec<f64> = y.iter().map(|y| libm::pow(y / level.value, 1.0 - power)).collect();
        let inverse = Inverse::fitted(&x, t, &weights).filter(|i| i.slope > 0.0)?;
        let own = sd * inverse.slope / level.value * worth;
        let scatter = own.max(inverse.scatter) * inverse.unit_u;
        let u_level = inverse.slope / level.value * libm::hypot(level.u(), base.u());
        let left = (x.len() + 1 - FEWEST) as f64;
        let unlikely = left * inverse.scatter * inverse.scatter / (own * own);
        Some(Crossed { at_s: inverse.at_level, u_s: libm::hypot(scatter, u_level), unlikely })
    };
    averaged(&POWERS.iter().filter_map(|p| by(*p)).collect::<Vec<_>>())
}

/// A crossing by a parabola in one power of the reading.
struct Crossed {
    at_s: f64,
    u_s: f64,
    /// -2 ln of its likelihood.
    unlikely: f64,
}

/// The powers averaged by their likelihoods (Hoeting et al., Statistical Science 14 (1999) 382); how far they lie apart is uncertainty.
fn averaged(found: &[Crossed]) -> Option<Onset> {
    let least = found.iter().map(|f| f.unlikely).fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = found.iter().map(|f| libm::exp(0.5 * (least - f.unlikely))).collect();
    let all: f64 = weights.iter().sum();
    let mean = |f: &dyn Fn(&Crossed) -> f64| found.iter().zip(&weights).map(|(x, w)| w * f(x)).sum::<f64>() / all;
    let origin = found.first()?.at_s;
    let at_s = mean(&|f| f.at_s - origin);
    let apart = |f: &Crossed| f.at_s - origin - at_s;
    let u_s = libm::sqrt(mean(&|f| f.u_s * f.u_s + apart(f) * apart(f)));
    u_s.is_finite().then(|| onset::normal(origin + at_s, u_s))
}

/// A parabola t = at_level + slope x + bend x^2 by orthogonal polynomials (Forsythe, J. SIAM 5 (1957) 74).
struct Inverse {
    at_level: f64,
    slope: f64,
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
            scatter: if x.len() >= FEWEST { libm::sqrt(left / (x.len() - 3) as f64) } else { 0.0 },
            unit_u: libm::sqrt(unit),
        };
        (found.at_level.is_finite() && found.slope.is_finite() && found.unit_u.is_finite()).then_some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crossed(at_s: f64, u_s: f64, unlikely: f64) -> Crossed {
        Crossed { at_s, u_s, unlikely }
    }

    #[test]
    fn an_unlikely_power_counts_for_little_and_two_alike_for_how_far_they_are_apart() {
        let of = |found: &[Crossed]| averaged(found).map(|o| o.at_s);
        assert_eq!(of(&[crossed(10.0, 0.1, 3.0)]), Some(10.0));
        let far = of(&[crossed(10.0, 0.1, 3.0), crossed(20.0, 0.1, 60.0)]).unwrap();
        assert!((far - 10.0).abs() < 1e-6, "{far}");
        let both = averaged(&[crossed(10.0, 0.0, 3.0), crossed(11.0, 0.0, 3.0)]).unwrap();
        assert!((both.at_s - 10.5).abs() < 1e-12);
        let half = both.interval95_s.1 - both.at_s;
        let unit = onset::normal(0.0, 1.0).interval95_s.1;
        assert!((half / unit - 0.5).abs() < 1e-9, "half a second either way: {half}");
        assert!(averaged(&[]).is_none());
        assert!(averaged(&[crossed(10.0, f64::NAN, 3.0)]).is_none());
    }

    #[test]
    fn a_ramp_and_a_power_are_read_off_exactly() {
        // y = (t - 3)^p crosses 1 at t = 4, whatever p; the parabola in that power's inverse holds it to its own bend.
        for (power, within) in [(1.0, 1e-9), (2.0, 1e-9), (0.7, 2e-3), (4.0, 2e-3)] {
            let t: Vec<f64> = (0..9).map(|i| 3.8 + 0.05 * f64::from(i)).collect();
            let y: Vec<f64> = t.iter().map(|t| libm::pow(t - 3.0, power)).collect();
            let worst = POWERS
                .iter()
                .map(|p| {
                    let x: Vec<f64> = y
                        .iter()
                        .map(|y| if *p == 0.0 { libm::log(*y) } else { (libm::pow(*y, *p) - 1.0) / p })
                        .collect();
                    let w: Vec<f64> = y.iter().map(|y| libm::pow(*y, 1.0 - p)).collect();
                    (Inverse::fitted(&x, &t, &w).unwrap().at_level - 4.0).abs()
                })
                .fold(f64::INFINITY, f64::min);
            assert!(worst < within, "{power}: {worst}");
        }
    }
}
