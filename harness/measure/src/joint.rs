//! Deviations of several things measured together: what they share, and what each shows against the others (generalised
//! least squares, Aitken 1935).
//!
//! Not here: where the covariance comes from, and what the answers are held against.
use alloc::vec::Vec;
use libm::sqrt;

/// A value with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

/// How far the deviation `i` lies from what the others share, whatever they share: a contrast, so that a shift of all alike
/// drops out. `None` without another one, or for a covariance that is none.
pub fn against_others(deviations: &[f64], covariance: &[Vec<f64>], i: usize) -> Option<Given> {
    let others: Vec<usize> = (0..deviations.len()).filter(|j| *j != i).collect();
    if others.is_empty() || !is_square(covariance, deviations.len()) {
        return None;
    }
    let matrix: Vec<Vec<f64>> = others.iter().map(|a| others.iter().map(|b| covariance[*a][*b]).collect()).collect();
    let mut weights = solve(matrix, alloc::vec![1.0; others.len()])?;
    let total: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|w| *w /= total);
    let shared: f64 = weights.iter().zip(&others).map(|(w, j)| w * deviations[*j]).sum();
    let with_own: f64 = weights.iter().zip(&others).map(|(w, j)| w * covariance[i][*j]).sum();
    let variance = covariance[i][i] - 2.0 * with_own + 1.0 / total;
    (total > 0.0 && variance > 0.0).then(|| Given { value: deviations[i] - shared, u: sqrt(variance) })
}

/// The shift that all deviations share, each with the same weight of one. `None` for a covariance that is none.
pub fn shared(deviations: &[f64], covariance: &[Vec<f64>]) -> Option<Given> {
    if deviations.is_empty() || !is_square(covariance, deviations.len()) {
        return None;
    }
    let weights = solve(covariance.to_vec(), alloc::vec![1.0; deviations.len()])?;
    let total: f64 = weights.iter().sum();
    let value = weights.iter().zip(deviations).map(|(w, d)| w * d).sum::<f64>() / total;
    (total > 0.0 && value.is_finite()).then(|| Given { value, u: sqrt(1.0 / total) })
}

fn is_square(m: &[Vec<f64>], n: usize) -> bool {
    m.len() == n && m.iter().all(|row| row.len() == n && row.iter().all(|x| x.is_finite()))
}

/// Gauss's elimination with partial pivoting; `None` for a singular matrix.
fn solve(mut m: Vec<Vec<f64>>, mut b: Vec<f64>) -> Option<Vec<f64>> {
    let n = b.len();
    for k in 0..n {
        let pivot = (k..n).max_by(|a, c| m[*a][k].abs().total_cmp(&m[*c][k].abs()))?;
        m.swap(k, pivot);
        b.swap(k, pivot);
        let (row, rhs) = (m[k].clone(), b[k]);
        if row[k].abs() <= f64::MIN_POSITIVE {
            return None;
        }
        for i in k + 1..n {
            let factor = m[i][k] / row[k];
            for (x, y) in m[i].iter_mut().zip(&row).skip(k) {
                *x -= factor * y;
            }
            b[i] -= factor * rhs;
        }
    }
    let mut x = alloc::vec![0.0; n];
    for k in (0..n).rev() {
        let known: f64 = (k + 1..n).map(|j| m[k][j] * x[j]).sum();
        x[k] = (b[k] - known) / m[k][k];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;

    fn close(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-12, "{a} {b}");
    }

    #[test]
    fn two_of_them_by_the_textbook() {
        // Var(x - y) = sx^2 + sy^2 - 2 rho sx sy (JCGM 100, 5.2.2).
        let (sx, sy, rho) = (0.04, 0.05, 0.8);
        let c = vec![vec![sx * sx, rho * sx * sy], vec![rho * sx * sy, sy * sy]];
        let g = against_others(&[0.1, 0.05], &c, 0).unwrap();
        close(g.value, 0.05);
        close(g.u, sqrt(sx * sx + sy * sy - 2.0 * rho * sx * sy));
        // Against two independent ones: against their weighted mean.
        let c3 = vec![vec![0.01, 0.0, 0.0], vec![0.0, 0.04, 0.0], vec![0.0, 0.0, 0.02]];
        let g = against_others(&[1.0, 2.0, 3.0], &c3, 0).unwrap();
        close(g.value, 1.0 - (50.0 + 150.0) / 75.0);
        close(g.u, sqrt(0.01 + 1.0 / 75.0));
        // Independent ones: the weighted mean (JCGM 100, inverse variances).
        let c = vec![vec![0.01, 0.0, 0.0], vec![0.0, 0.04, 0.0], vec![0.0, 0.0, 0.02]];
        let s = shared(&[1.0, 2.0, 3.0], &c).unwrap();
        close(s.value, (100.0 + 50.0 + 150.0) / 175.0);
        close(s.u, sqrt(1.0 / 175.0));
    }
    #[test]
    fn what_is_no_covariance_gives_nothing() {
        assert_eq!(against_others(&[0.1], &[vec![1.0]], 0), None);
        assert_eq!(shared(&[0.1, 0.2], &[vec![1.0, 1.0], vec![1.0, 1.0]]), None);
        assert_eq!(shared(&[0.1], &[vec![f64::NAN]]), None);
        assert_eq!(shared(&[], &[]), None);
    }
}
