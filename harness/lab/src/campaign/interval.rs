//! Shares with their intervals. Not here: what is counted.
use serde::{Deserialize, Serialize};

/// Two-sided 95 % (JCGM 100, table G.2, infinitely many degrees of freedom).
const Z: f64 = 1.959_963_985;

/// The 95 % interval of a share `k` of `n` (Wilson, J. Am. Stat. Assoc. 22 (1927) 209); `n` may be an effective number.
pub fn wilson(k: f64, n: f64) -> (f64, f64) {
    if n <= 0.0 {
        return (0.0, 1.0);
    }
    let (p, z2) = (k / n, Z * Z);
    let middle = p + z2 / (2.0 * n);
    let half = Z * (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt();
    let whole = 1.0 + z2 / n;
    (((middle - half) / whole).max(0.0), ((middle + half) / whole).min(1.0))
}

/// A share with its 95 % interval.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// How many it holds for.
    pub k: u32,
    /// Of how many.
    pub n: u32,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}
impl Share {
    /// The share; 0 of none.
    pub fn value(&self) -> f64 {
        if self.n == 0 { 0.0 } else { f64::from(self.k) / f64::from(self.n) }
    }
    /// The share of cases that come in jobs, `(k, n)` for each job. What comes from one job hangs together: the number of
    /// cases is divided by the design effect (Kish, *Survey Sampling*, 1965) that the scatter between jobs shows, at least
    /// 1; where all or none hold, so that no scatter shows, by that of cases which go the same way in each job.
    pub fn clustered(jobs: impl IntoIterator<Item = (u32, u32)>) -> Self {
        let jobs: Vec<(f64, f64)> =
            jobs.into_iter().filter(|(_, n)| *n > 0).map(|(k, n)| (f64::from(k), f64::from(n))).collect();
        let (k, n) = jobs.iter().fold((0.0, 0.0), |(k, n), j| (k + j.0, n + j.1));
        let p = if n > 0.0 { k / n } else { 0.0 };
        let j = jobs.len() as f64;
        let effect = if p > 0.0 && p < 1.0 && j > 1.0 {
            let between: f64 = jobs.iter().map(|(k, n)| (k - p * n) * (k - p * n)).sum();
            between * j / (j - 1.0) / (n * p * (1.0 - p))
        } else {
            jobs.iter().map(|(_, n)| n * n).sum::<f64>() / n.max(1.0)
        };
        let effective = n / effect.max(1.0);
        let (low, high) = wilson(p * effective, effective);
        Self { k: k as u32, n: n as u32, low, high }
    }
    /// The share of jobs for which something holds.
    pub fn of(jobs: impl IntoIterator<Item = bool>) -> Self {
        Self::clustered(jobs.into_iter().map(|yes| (u32::from(yes), 1)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wilson_as_published() {
        // Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (score), from memory: 81/263, 15/148, 0/20, 1/29.
        for ((k, n), (low, high)) in [
            ((81.0, 263.0), (0.2553, 0.3662)),
            ((15.0, 148.0), (0.0624, 0.1605)),
            ((0.0, 20.0), (0.0, 0.1611)),
            ((1.0, 29.0), (0.0061, 0.1718)),
        ] {
            let (l, h) = wilson(k, n);
            assert!((l - low).abs() < 6e-5 && (h - high).abs() < 6e-5, "{k} of {n}: {l} {h}");
        }
    }
    #[test]
    fn what_hangs_together_counts_less() {
        let alone = Share::of((0..100).map(|i| i % 10 != 0));
        assert_eq!((alone.k, alone.n), (90, 100));
        assert!((alone.low - wilson(90.0, 100.0).0).abs() < 1e-3);
        // The same hundred jobs with three cases each that go the same way: no narrower than a hundred.
        let thrice = Share::clustered((0..100).map(|i| if i % 10 != 0 { (3, 3) } else { (0, 3) }));
        assert_eq!((thrice.k, thrice.n), (270, 300));
        assert!((thrice.low - alone.low).abs() < 1e-9 && (thrice.high - alone.high).abs() < 1e-9);
        let all = Share::clustered((0..100).map(|_| (3, 3)));
        assert!((all.low - wilson(100.0, 100.0).0).abs() < 1e-12);
    }
}
