//! What the draws amount to: deviations, covariance, intervals. Sums run in the order of the draws. Not here: how they are made.
use super::draws::Draws;
use alloc::{vec, vec::Vec};
use libm::sqrt;

/// What the draws amount to; sums run in the order of the draws.
pub(super) struct Statistics {
    pub(super) deviation: Vec<f64>,
    pub(super) inlet_covariance: Vec<Vec<f64>>,
    pub(super) worst_residual: f64,
}

impl Statistics {
    /// Draws in which an opening's air does not arrive are left out of its time's deviation.
    pub(super) fn of(draws: &Draws, inlets: usize) -> Self {
        let columns = draws.columns;
        let (mut count, mut mean) = (vec![0.0; columns], vec![0.0; columns]);
        for row in draws.rows.chunks_exact(columns) {
            for ((n, sum), x) in count.iter_mut().zip(&mut mean).zip(row).filter(|(_, x)| x.is_finite()) {
                *n += 1.0;
                *sum += x;
            }
        }
        for (sum, n) in mean.iter_mut().zip(&count) {
            *sum /= n;
        }
        let mut variance = vec![0.0; columns];
        let mut covariance = vec![vec![0.0; inlets]; inlets];
        let mut worst_residual = 0.0f64;
        for row in draws.rows.chunks_exact(columns) {
            for ((v, m), x) in variance.iter_mut().zip(&mean).zip(row).filter(|(_, x)| x.is_finite()) {
                *v += (x - m) * (x - m);
            }
            for (i, line) in covariance.iter_mut().enumerate() {
                for (j, c) in line.iter_mut().enumerate() {
                    *c += (row[i] - mean[i]) * (row[j] - mean[j]);
                }
            }
            worst_residual = worst_residual.max(row[columns - 1]);
        }
        let free = (draws.rows.len() / columns) as f64 - 1.0;
        covariance.iter_mut().flatten().for_each(|c| *c /= free);
        let deviation = variance.iter().zip(&count).map(|(v, n)| sqrt(v / (n - 1.0))).collect();
        Self { deviation, inlet_covariance: covariance, worst_residual }
    }
}

impl Draws {
    /// Shortest interval that holds 95 % of a column (JCGM 101, clause 5.3.4 and 7.7), each draw changed by its number first.
    pub(super) fn interval95(&self, column: usize, changed: impl Fn(usize, f64) -> f64) -> (f64, f64) {
        let column = self.rows.iter().skip(column).step_by(self.columns).enumerate();
        let mut all: Vec<f64> = column.map(|(draw, x)| changed(draw, *x)).collect();
        all.sort_unstable_by(f64::total_cmp);
        let within = (95 * all.len()).div_ceil(100).max(1);
        let widths = all[within - 1..].iter().zip(&all).map(|(high, low)| (*low, *high));
        // An endless interval is the shortest only if there is no other.
        widths.fold(
            (f64::NEG_INFINITY, f64::INFINITY),
            |best, new| {
                if new.1 - new.0 < best.1 - best.0 { new } else { best }
            },
        )
    }
}
