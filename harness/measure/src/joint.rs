//! Deviations of several things measured together: what they share, and what each shows against the others (generalised
//! least squares, Aitken 1935; common causes as latent variables, Rasmussen and Williams 2006, section 2.1).
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

/// The deviation of one thing that was predicted with the same model as others.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// Measured less predicted.
    pub deviation: f64,
    /// Standard uncertainty of the measurement, > 0.
    pub u: f64,
    /// By how much such a thing may be off by itself, as a standard deviation: how much the others tell of the common causes.
    pub spread: f64,
    /// What one standard uncertainty of each common cause does to it, in one order for all.
    pub common: Vec<f64>,
}

/// A deviation parted into its own and what comes of common causes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parted {
    /// What is this one's own. Its uncertainty is the measurement's and that of the common part.
    pub own: Given,
    /// What the common causes do to it, as the others show them.
    pub common: Given,
}

/// Beyond this many standard deviations one's own part says nothing of what is common.
const STANDS_OUT: f64 = 3.0;
/// How often those that stand out are looked for anew.
const ROUNDS: usize = 5;

/// Parts each deviation into its own and what comes of common causes. Each common cause is a standard normal variable, known
/// beforehand no better than that, and then by the other deviations (conditional normal distribution). Those that stand
/// out by themselves do not count for the others, so that one blocked hole does not shift its neighbours. `None` for
/// numbers that are none or an uncertainty that is not positive.
pub fn part(all: &[Seen]) -> Vec<Option<Parted>> {
    part_by(all, &[])
}

/// The same, where these count whatever they show: what nothing else can stand in for.
pub fn part_by(all: &[Seen], always: &[usize]) -> Vec<Option<Parted>> {
    let causes = all.first().map_or(0, |s| s.common.len());
    let finite = |s: &Seen| [s.deviation, s.u, s.spread].iter().chain(&s.common).all(|x| x.is_finite());
    let sound: Vec<bool> = all.iter().map(|s| finite(s) && s.u > 0.0 && s.common.len() == causes).collect();
    let mut counts = sound.clone();
    let mut parted = Vec::new();
    for _ in 0..ROUNDS {
        let one = |i: usize| if sound[i] { part_one(all, i, &counts) } else { None };
        parted = (0..all.len()).map(one).collect();
        let stands_out = |(s, p): (&Seen, &Option<Parted>)| {
            p.is_none_or(|p| p.own.value.abs() > STANDS_OUT * libm::hypot(p.own.u, s.spread))
        };
        let next = all.iter().zip(&parted).enumerate();
        let next: Vec<bool> = next.map(|(i, x)| !stands_out(x) || sound[i] && always.contains(&i)).collect();
        if next == counts {
            break;
        }
        counts = next;
    }
    parted
}

/// The common causes by all but `i`, then `i` without them.
fn part_one(all: &[Seen], i: usize, counts: &[bool]) -> Option<Parted> {
    let this = &all[i];
    let causes = this.common.len();
    let mut precision: Vec<Vec<f64>> =
        (0..causes).map(|a| (0..causes).map(|b| if a == b { 1.0 } else { 0.0 }).collect()).collect();
    let mut pull = alloc::vec![0.0; causes];
    for (_, other) in all.iter().enumerate().filter(|(j, _)| *j != i && counts[*j]) {
        let weight = 1.0 / (other.u * other.u + other.spread * other.spread);
        for (a, row) in precision.iter_mut().enumerate() {
            for (cell, by) in row.iter_mut().zip(&other.common) {
                *cell += weight * other.common[a] * by;
            }
            pull[a] += weight * other.common[a] * other.deviation;
        }
    }
    let dot = |x: &[f64]| x.iter().zip(&this.common).map(|(x, c)| x * c).sum::<f64>();
    let value = dot(&solve(precision.clone(), pull)?);
    let variance = dot(&solve(precision, this.common.clone())?).max(0.0);
    let own = Given { value: this.deviation - value, u: sqrt(this.u * this.u + variance) };
    Some(Parted { own, common: Given { value, u: sqrt(variance) } })
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
    fn independent_ones_share_their_weighted_mean() {
        // Independent ones: the weighted mean (JCGM 100, inverse variances).
        let c = vec![vec![0.01, 0.0, 0.0], vec![0.0, 0.04, 0.0], vec![0.0, 0.0, 0.02]];
        let s = shared(&[1.0, 2.0, 3.0], &c).unwrap();
        close(s.value, (100.0 + 50.0 + 150.0) / 175.0);
        close(s.u, sqrt(1.0 / 175.0));
    }
    #[test]
    fn what_is_no_covariance_gives_nothing() {
        assert_eq!(shared(&[0.1, 0.2], &[vec![1.0, 1.0], vec![1.0, 1.0]]), None);
        assert_eq!(shared(&[0.1], &[vec![f64::NAN]]), None);
        assert_eq!(shared(&[], &[]), None);
    }

    fn seen(deviation: f64, common: &[f64]) -> Seen {
        Seen { deviation, u: 0.03, spread: 0.04, common: common.to_vec() }
    }
    #[test]
    fn a_common_cause_is_told_from_ones_own_by_the_textbook() {
        // n readings of a normal mean with a normal prior of mean 0: posterior n / (n + d^2 / s^2) of their mean, and
        // variance 1 / (1 / s^2 + n / d^2) (conjugate normal; Gelman et al., Bayesian Data Analysis, 2.5).
        let s = 0.2;
        let all = [seen(0.10, &[s]), seen(0.12, &[s]), seen(0.14, &[s]), seen(0.02, &[s])];
        let (n, d2) = (3.0, 0.05f64 * 0.05);
        let parted = part(&all)[3].unwrap();
        close(parted.common.value, 0.12 * n / (n + d2 / (s * s)));
        close(parted.common.u, sqrt(1.0 / (1.0 / (s * s) + n / d2)));
        close(parted.own.value, 0.02 - parted.common.value);
        close(parted.own.u, libm::hypot(0.03, parted.common.u));
        // Two causes, one other reading: the conditional normal distribution, C_io / (C_oo + D) (Rasmussen and Williams, A.6).
        let two = [seen(0.3, &[0.1, 0.2]), seen(0.0, &[0.3, -0.1])];
        let (c_io, c_oo, c_ii) = (0.1 * 0.3 - 0.2 * 0.1, 0.1 * 0.1 + 0.2 * 0.2, 0.3 * 0.3 + 0.1 * 0.1);
        let parted = part_one(&two, 1, &[true, true]).unwrap();
        close(parted.common.value, c_io / (c_oo + d2) * 0.3);
        close(parted.common.u, sqrt(c_ii - c_io * c_io / (c_oo + d2)));
    }
    #[test]
    fn one_that_stands_out_shifts_no_other() {
        let with = |odd: f64| [seen(0.1, &[0.1]), seen(0.1, &[0.1]), seen(0.1, &[0.1]), seen(odd, &[0.1])];
        let (blocked, missing) = (part(&with(-1.0)), part(&with(0.1)[..3]));
        assert_eq!(blocked[0], missing[0]);
        assert!(blocked[3].unwrap().own.value < -1.05);
        // By itself there is only what was known beforehand.
        let alone = part(&[seen(0.1, &[0.1])])[0].unwrap();
        close(alone.own.value, 0.1);
        close(alone.common.u, 0.1);
    }
    #[test]
    fn what_nothing_can_stand_in_for_counts_whatever_it_shows() {
        // Two with one cause of which nothing is known, and a third that has another: the two stand out of each other, and neither tells
        // which of them is wrong.
        let of = |deviation: f64, common: &[f64]| Seen { spread: 0.0, ..seen(deviation, common) };
        let apart = [of(0.3, &[1.0, 0.0]), of(0.0, &[1.0, 0.0]), of(0.0, &[0.0, 0.1])];
        let own = part_by(&apart, &[1])[0].unwrap().own;
        assert!((own.value - 0.3).abs() < 1e-3 && own.u < 0.05, "{own:?}");
        // What is no number counts nowhere.
        assert_eq!(part_by(&[seen(0.1, &[1.0]), seen(f64::NAN, &[1.0])], &[1])[1], None);
    }
    #[test]
    fn what_can_not_be_parted_is_none() {
        assert_eq!(part(&[seen(f64::NAN, &[0.1])]), [None]);
        assert_eq!(part(&[Seen { u: 0.0, ..seen(0.1, &[0.1]) }]), [None]);
        let odd = part(&[seen(0.1, &[0.1]), seen(0.1, &[0.1, 0.1])]);
        assert!(odd[0].is_some() && odd[1].is_none());
    }
}
