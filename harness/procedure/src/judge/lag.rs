//! How long the flow readings take to answer a hole that is closed or opened. Air answers at once, so what they take is the
//! unit's own; readings that come late, are kept from before or are smoothed beyond what is permitted show nothing of now.
//!
//! One hole is small against the noise. So all closings and openings of a pipe are taken together: each is a step of its own
//! height, all with one lag, and the lag is that of the least squares over a grid. Not here: by how much the flow fell.
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

/// Sum of squares about their mean.
fn squares(values: &[(f64, f64)]) -> f64 {
    let mean = values.iter().map(|v| v.1).sum::<f64>() / values.len().max(1) as f64;
    values.iter().map(|v| (v.1 - mean) * (v.1 - mean)).sum()
}

/// The lag in seconds by which all these steps answer, where it is clear that it is longer than the rule allows.
pub(crate) fn too_long(steps: &[Step], rules: &ReadingRules) -> Option<f64> {
    let steps: Vec<Vec<(f64, f64)>> = steps.iter().map(binned).collect();
    let n: usize = steps.iter().map(Vec::len).sum();
    let rest = |lag: f64| -> Option<f64> {
        let one = |step: &Vec<(f64, f64)>| {
            let (before, after) = step.split_at(step.partition_point(|(t, _)| *t < lag));
            (before.len() >= LEAST && after.len() >= LEAST).then(|| squares(before) + squares(after))
        };
        steps.iter().map(one).sum()
    };
    let grid = (-20..=40).map(|half_s| f64::from(half_s) * BIN_S);
    let all: Vec<(f64, f64)> = grid.filter_map(|lag| Some((lag, rest(lag)?))).collect();
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
        // A smoothed answer is no step, so the least squares are less sharp.
        let smoothed = (1..40).filter(|seed| lag(0.0, 20.0, 0.06, *seed).is_some_and(|l| l > 6.0)).count();
        assert!(smoothed > 30, "{smoothed} of 39");
        assert_eq!(too_long(&[], &ReadingRules::default()), None);
    }
}
