//! What a purge leaves: the air of pipes and chamber is stirred out and falls off as an exponential does (the step response of a stirred
//! tank; Levenspiel, Chemical Reaction Engineering). A line through its bend lies low at its end, and the smoke that follows would
//! seem early.
//!
//! Not here: where the baseline begins, or how it scatters.
use alloc::vec::Vec;

/// Fewest readings that an exponential is put through.
const FEWEST: usize = 12;
/// Most of them that are looked at.
const MOST: usize = 2000;
/// Times of decay that are tried, as shares of the readings' span, how many, and how often anew around the best.
const TIMES: (f64, f64) = (0.04, 0.7);
const TRIED: usize = 12;
const PASSES: usize = 3;
/// An exponential must account for the readings better than a line by so much of the variance of one of them, and begin so many of their standard
/// deviations high.
const BETTER: f64 = 12.0;
const HIGH: f64 = 6.0;

/// A fall towards nothing from the first reading on.
pub(super) struct Tail {
    from_s: f64,
    height: f64,
    time_s: f64,
}
impl Tail {
    /// The tail that the readings before a release show; `None`: none that a line does not tell as well.
    pub(super) fn seen(t: &[f64], y: &[f64]) -> Option<Self> {
        let n = y.len();
        let (from_s, span) = (*t.first()?, t.last()? - t.first()?);
        if n < FEWEST || span <= 0.0 {
            return None;
        }
        // Of very many readings some are enough.
        let rows: Vec<(f64, f64)> = t.iter().copied().zip(y.iter().copied()).step_by(n / MOST + 1).collect();
        let n = rows.len() as f64;
        let (by_line, slope) = left(&rows, |t| t - from_s)?;
        if slope >= 0.0 {
            return None;
        }
        let of = |time_s: f64| {
            let (left, height) = left(&rows, |t| libm::exp((from_s - t) / time_s))?;
            Some((left, Self { from_s, height, time_s }))
        };
        let (mut low, mut high) = (libm::log(TIMES.0 * span), libm::log(TIMES.1 * span));
        let mut best: Option<(f64, Self)> = None;
        for _ in 0..PASSES {
            let step = (high - low) / (TRIED - 1) as f64;
            let tried = (0..TRIED).filter_map(|i| of(libm::exp(low + step * i as f64)));
            best = best.into_iter().chain(tried).min_by(|a, b| a.0.total_cmp(&b.0));
            let at = libm::log(best.as_ref()?.1.time_s);
            (low, high) = (at - step, at + step);
        }
        let (left, tail) = best?;
        let variance = left / (n - 3.0);
        (tail.height > HIGH * libm::sqrt(variance) && by_line - left > BETTER * variance).then_some(tail)
    }
    pub(super) fn at(&self, t: f64) -> f64 {
        self.height * libm::exp((self.from_s - t) / self.time_s)
    }
}

/// What a straight dependence on `x` leaves of the readings, as a sum of squares, and its slope.
fn left(rows: &[(f64, f64)], x: impl Fn(f64) -> f64) -> Option<(f64, f64)> {
    let n = rows.len() as f64;
    let of: Vec<(f64, f64)> = rows.iter().map(|(t, y)| (x(*t), *y)).collect();
    let (x_mean, y_mean) = (of.iter().map(|r| r.0).sum::<f64>() / n, of.iter().map(|r| r.1).sum::<f64>() / n);
    let sum = |f: &dyn Fn(f64, f64) -> f64| of.iter().map(|(x, y)| f(x - x_mean, y - y_mean)).sum::<f64>();
    let (xx, xy, yy) = (sum(&|x, _| x * x), sum(&|x, y| x * y), sum(&|_, y| y * y));
    let slope = xy / xx;
    slope.is_finite().then_some(((yy - slope * xy).max(0.0), slope))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Readings with a little scatter of their own over a course.
    fn readings(course: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
        let scatter = |i: u32| 0.01 * (f64::from((i * 7919 + 13) % 101) / 50.0 - 1.0);
        (0..60).map(|i| (f64::from(i), course(f64::from(i)) + scatter(i))).unzip()
    }

    #[test]
    fn a_purges_tail_is_seen_with_its_height_and_time() {
        let (t, y) = readings(|t| 0.2 + 3.0 * libm::exp(-t / 12.0));
        let tail = Tail::seen(&t, &y).unwrap();
        for at in [0.0, 20.0, 90.0] {
            assert!((tail.at(at) - 3.0 * libm::exp(-at / 12.0)).abs() < 0.02, "{at}: {}", tail.at(at));
        }
    }

    #[test]
    fn what_a_line_tells_as_well_or_what_rises_is_no_tail() {
        let none = |course: &dyn Fn(f64) -> f64| {
            let (t, y) = readings(course);
            assert!(Tail::seen(&t, &y).is_none());
        };
        none(&|_| 1.0);
        none(&|t| 3.0 - 0.05 * t);
        none(&|t| 0.05 * t);
        none(&|t| 3.0 * (1.0 - libm::exp(-t / 12.0)));
        let (t, y) = readings(|t| 3.0 * libm::exp(-t / 3.0));
        assert!(Tail::seen(&t[..FEWEST - 1], &y[..FEWEST - 1]).is_none());
        assert!(Tail::seen(&[], &[]).is_none());
    }
}
