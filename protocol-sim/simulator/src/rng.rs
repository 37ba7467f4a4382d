//! Random draws: seeded ChaCha streams, the shapes of scatter, and noise with a memory.
//!
//! Not here: `StdRng` or any source that changes between versions or platforms.
use crate::scenario::{Law, Spread};
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};

/// A stream of random numbers, independent of all others of the same seed.
#[derive(Clone, Debug)]
pub(crate) struct Stream(ChaCha8Rng);

impl Stream {
    /// Stream number `id` of `seed`.
    pub(crate) fn new(seed: u64, id: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(id);
        Self(rng)
    }
    /// The next raw word.
    pub(crate) fn word(&mut self) -> u64 {
        self.0.next_u64()
    }
    /// Evenly in the open interval (0, 1).
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.word() >> 11) as f64 + 0.5) * (1.0 / (1u64 << 53) as f64)
    }
    /// Standard normal: polar method of Marsaglia and Bray (SIAM Review 1964).
    pub(crate) fn normal(&mut self) -> f64 {
        loop {
            let (u, v) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let s = u * u + v * v;
            if s > 0.0 && s < 1.0 {
                return u * libm::sqrt(-2.0 * libm::log(s) / s);
            }
        }
    }
    /// Mean 0, standard deviation 1, of the given shape.
    pub(crate) fn shaped(&mut self, law: Law) -> f64 {
        match law {
            Law::Normal => self.normal(),
            Law::Uniform => (2.0 * self.uniform() - 1.0) * libm::sqrt(3.0),
            Law::HeavyTails => {
                // Student's t with nu = 4 is a normal over sqrt(chi2/4), its variance nu / (nu - 2) = 2.
                let chi2: f64 = (0..4).map(|_| self.normal()).map(|z| z * z).sum();
                self.normal() / libm::sqrt(chi2 / 4.0) / core::f64::consts::SQRT_2
            }
            Law::Skewed => -libm::log(self.uniform()) - 1.0,
        }
    }
    /// Draws the factors of one kind of thing: first the common part, then one for each.
    pub(crate) fn factors(&mut self, law: Law, spread: Spread, n: usize) -> Vec<f64> {
        let common = spread.common * self.shaped(law);
        (0..n).map(|_| libm::exp(common + spread.individual * self.shaped(law))).collect()
    }
}

/// A first-order autoregressive (Ornstein-Uhlenbeck) noise of unit variance, sampled at any instants.
#[derive(Clone, Debug)]
pub(crate) struct Wander {
    value: f64,
    at_s: f64,
    time_s: f64,
}
impl Wander {
    /// Starts in its stationary state at time 0; `time_s` is how long it remembers.
    pub(crate) fn new(stream: &mut Stream, time_s: f64) -> Self {
        Self { value: stream.normal(), at_s: 0.0, time_s }
    }
    /// The value at `now_s` (exact transition of the process; Gillespie, Phys. Rev. E 1996).
    pub(crate) fn at(&mut self, stream: &mut Stream, now_s: f64) -> f64 {
        let dt = now_s - self.at_s;
        if dt > 0.0 {
            let keep = libm::exp(-dt / self.time_s);
            self.value = self.value * keep + libm::sqrt(1.0 - keep * keep) * stream.normal();
            self.at_s = now_s;
        }
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn every_shape_has_mean_0_and_deviation_1() {
        for law in [Law::Normal, Law::Uniform, Law::HeavyTails, Law::Skewed] {
            let mut s = Stream::new(1, 7);
            let n = 200_000;
            let draws: Vec<f64> = (0..n).map(|_| s.shaped(law)).collect();
            let mean = draws.iter().sum::<f64>() / f64::from(n);
            let var = draws.iter().map(|d| (d - mean) * (d - mean)).sum::<f64>() / f64::from(n);
            assert!(mean.abs() < 0.01, "{law:?}: mean {mean}");
            assert!((var - 1.0).abs() < 0.05, "{law:?}: variance {var}");
        }
    }
    #[test]
    fn noise_remembers_as_long_as_it_should() {
        // Autocorrelation of the Ornstein-Uhlenbeck process: exp(-lag / time).
        let mut s = Stream::new(2, 0);
        let mut w = Wander::new(&mut s, 2.0);
        let x: Vec<f64> = (0..200_000).map(|i| w.at(&mut s, f64::from(i) * 0.5)).collect();
        let corr = |lag: usize| x.iter().zip(&x[lag..]).map(|(a, b)| a * b).sum::<f64>() / (x.len() - lag) as f64;
        for lag in [0, 2, 4, 8] {
            let expected = libm::exp(-(lag as f64) * 0.5 / 2.0);
            assert!((corr(lag) - expected).abs() < 0.03, "lag {lag}: {} for {expected}", corr(lag));
        }
    }
    #[test]
    fn streams_are_apart_and_repeat() {
        let words =
            |id| (0..4).map(move |_| 0).scan(Stream::new(9, id), |s, _: i32| Some(s.word())).collect::<Vec<_>>();
        assert_eq!(words(1), words(1));
        assert_ne!(words(1), words(2));
    }
}
