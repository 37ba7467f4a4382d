//! How long the flow readings take to answer what is closed or opened. Air answers at once, so what they take is the unit's
//! own; readings that come late, are kept from before or are smoothed beyond what is permitted show nothing of now.
//!
//! One hole is small against the noise. So all closings and openings of a pipe are taken together: each is a step of its own
//! height, all through one dead time and one first-order lag, which are those of the least squares over a grid. A whole inlet that
//! is shut tells it by itself. Not here: by how much the flow fell.
use crate::rules::advanced::ReadingRules;
use alloc::vec::Vec;

/// The flow of an inlet around a mark, as seconds after it.
pub(crate) type Step = Vec<(f64, f64)>;

/// Readings are averaged over this long before they are compared, so that noise that hangs together counts for what it is, s.
const BIN_S: f64 = 1.0;
/// Fewest averages on either side of a step.
const LEAST: usize = 4;
/// So many times clearer than the lag must be that there are steps at all: noise that hangs together looks like some.
const STEPS: f64 = 5.0;
/// Time constants that are tried, s.
const LAGS_S: [f64; 10] = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 7.0, 12.0, 20.0, 40.0];
/// Averages beyond which an answer has come whole.
const LONGEST: u32 = 80;
/// What a first-order lag has made of its way after its time constant.
const MOST_OF_IT: f64 = 0.632;

/// Averages over stretches of [`BIN_S`]: their middle and their mean.
fn binned(step: &Step) -> Vec<(f64, f64)> {
    let mut bins: Vec<(f64, f64, f64)> = Vec::new();
    for (t, q) in step {
        let at = libm::floor(t / BIN_S) * BIN_S;
        match bins.last_mut().filter(|b| b.0 == at) {
            Some(bin) => (bin.1, bin.2) = (bin.1 + q, bin.2 + 1.0),
            None => bins.push((at, *q, 1.0)),
        }
    }
    bins.into_iter().map(|(at, sum, n)| (at + BIN_S / 2.0, sum / n)).collect()
}

/// How the flow answers a mark: after a dead time, through a first-order lag, in the middle of each average.
struct Answer {
    lag_s: f64,
    /// How much has come in the average that begins so many after the dead time.
    come: Vec<f64>,
}
impl Answer {
    fn through(lag_s: f64) -> Self {
        let come = |n: u32| if lag_s > 0.0 { -libm::expm1(-(f64::from(n) + 0.5) * BIN_S / lag_s) } else { 1.0 };
        Self { lag_s, come: (0..LONGEST).map(come).collect() }
    }
    /// What this answer, at the height that fits best, leaves of the squares of a step about its mean. `None`: too little is
    /// known before or after it.
    fn leaves(&self, step: &[(f64, f64)], dead_s: f64) -> Option<f64> {
        let before = step.partition_point(|(t, _)| *t < dead_s);
        if before < LEAST || step.len() - before < LEAST {
            return None;
        }
        let n = step.len() as f64;
        let (mut x, mut y, mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (i, (t, q)) in step.iter().enumerate() {
            let come = || self.come.get(((t - dead_s) / BIN_S) as usize).copied().unwrap_or(1.0);
            let a = if i < before { 0.0 } else { come() };
            (x, y, xx, xy, yy) = (x + a, y + q, xx + a * a, xy + a * q, yy + q * q);
        }
        let (sxx, sxy, syy) = (xx - x * x / n, xy - x * y / n, yy - y * y / n);
        Some(if sxx > 0.0 { syy - sxy * sxy / sxx } else { syy })
    }
}

/// Sum of squares about their mean.
fn squares(values: &[(f64, f64)]) -> f64 {
    let mean = values.iter().map(|v| v.1).sum::<f64>() / values.len().max(1) as f64;
    values.iter().map(|v| (v.1 - mean) * (v.1 - mean)).sum()
}

/// The lag in seconds by which all these steps answer, where it is clear that it is longer than the rule allows: dead time and
/// time constant together, as when most of a change has come.
pub(crate) fn too_long(steps: &[Step], rules: &ReadingRules) -> Option<f64> {
    let steps: Vec<Vec<(f64, f64)>> = steps.iter().map(binned).collect();
    let n: usize = steps.iter().map(Vec::len).sum();
    let mut all = Vec::new();
    for answer in LAGS_S.map(Answer::through) {
        for dead_s in (-20..=40).map(|bins| f64::from(bins) * BIN_S) {
            let rest: Option<f64> = steps.iter().map(|s| answer.leaves(s, dead_s)).sum();
            all.extend(rest.map(|rest| (dead_s + answer.lag_s, rest)));
        }
    }
    let least =
        |of: &dyn Fn(f64) -> bool| all.iter().filter(|(lag, _)| of(*lag)).copied().min_by(|a, b| a.1.total_cmp(&b.1));
    let (lag, best) = least(&|_| true)?;
    let (_, allowed) = least(&|lag| lag <= rules.answers_s)?;
    let none: f64 = steps.iter().map(|s| squares(s)).sum();
    // Twice the logarithm of the likelihood by which one lag is better than another.
    let better = |than: f64| n as f64 * libm::log(than / best);
    (lag > rules.answers_s && best > 0.0 && better(none) > STEPS * rules.clear && better(allowed) > rules.clear)
        .then_some(lag)
}

/// What the flow came to: the middle of the latest readings.
pub(crate) fn last(after: &[(f64, f64)]) -> Option<f64> {
    let mut last: Vec<f64> = after.iter().rev().take(LEAST + 1).map(|(_, q)| *q).collect();
    last.sort_by(f64::total_cmp);
    last.get(LEAST / 2).filter(|_| last.len() > LEAST).copied()
}

/// How long after its mark the flow of a whole inlet that was shut or put back had made most of its way from `from`, s.
/// `None`: it did not change by much, or its readings end before that.
pub(crate) fn answered(after: &[(f64, f64)], from: f64) -> Option<f64> {
    let way = Some(last(after)? - from).filter(|way| libm::fabs(*way) > 0.5 * libm::fabs(from))?;
    after.iter().find(|(_, q)| (q - from) / way >= MOST_OF_IT).map(|(t, _)| *t)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Steps that answer `dead_s` after their mark, smoothed over `smooth_s`, in noise that hangs together.
    fn lag(dead_s: f64, smooth_s: f64, height: f64, seed: u64) -> Option<f64> {
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        let mut uniform = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
        };
        let steps: Vec<Step> = (0..10)
            .map(|k| {
                let sign = if k % 2 == 0 { -1.0 } else { 1.0 };
                let mut noise = 0.0;
                (-200..400)
                    .map(|i| {
                        let t = f64::from(i) * 0.1;
                        noise = 0.9 * noise + 0.01 * uniform();
                        let s = t - dead_s;
                        let answered = if s <= 0.0 { 0.0 } else { 1.0 - libm::exp(-s / smooth_s.max(1e-6)) };
                        (t, 1.0 + sign * height * answered + noise)
                    })
                    .collect()
            })
            .collect();
        too_long(&steps, &ReadingRules::default())
    }

    #[test]
    fn only_a_clear_lag_is_told() {
        for seed in 1..40 {
            assert_eq!(lag(0.2, 0.0, 0.03, seed), None, "at once");
            assert_eq!(lag(1.0, 5.0, 0.03, seed), None, "the most that is permitted");
            assert_eq!(lag(-8.0, 0.0, 0.03, seed), None, "a mark that came late");
            assert_eq!(lag(20.0, 0.0, 0.0, seed), None, "holes that do not draw");
            assert!(lag(20.0, 0.0, 0.03, seed).is_some_and(|l| (l - 20.0).abs() <= 1.0), "stale");
        }
        for (smooth_s, height, least) in [(20.0, 0.03, 30), (10.0, 0.06, 20)] {
            let told = (1..40).filter(|seed| lag(0.0, smooth_s, height, *seed).is_some_and(|l| l > 6.0)).count();
            assert!(told >= least, "{told} of 39 through {smooth_s} s");
        }
        assert_eq!(too_long(&[], &ReadingRules::default()), None);
    }

    #[test]
    fn a_whole_inlet_tells_its_lag_by_itself() {
        let through = |dead_s: f64, lag_s: f64| {
            let left = |t: f64| if t < dead_s { 1.0 } else { libm::exp((dead_s - t) / lag_s.max(1e-6)) };
            let flows: Vec<_> = (0..120).map(|i| f64::from(i) * 0.5).map(|t| (t, 30.0 * left(t))).collect();
            answered(&flows, 30.0)
        };
        assert!(through(0.0, 0.0).is_some_and(|s| s <= 0.5));
        assert!(through(1.0, 5.0).is_some_and(|s| (s - 6.0).abs() <= 0.5));
        assert!(through(0.0, 10.0).is_some_and(|s| (s - 10.0).abs() <= 0.5));
        assert!(through(20.0, 0.0).is_some_and(|s| (s - 20.0).abs() <= 0.5));
        assert_eq!(through(100.0, 0.0), None, "it did not answer at all");
        assert_eq!(answered(&[(0.0, 0.0)], 30.0), None);
    }
}
