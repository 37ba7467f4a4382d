//! Seeded generator of signals with known truth: what the evaluation judges the crate by.
//!
//! Not here: any use of the crate's own methods; only its plain types.
#![allow(dead_code)] // each test binary uses its part

pub mod levels;
pub mod settling;
pub mod smoke;

use plumeline_base::Instant;
use plumeline_measure::Sample;
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use rand_distr::{Distribution, StandardNormal};

/// Random numbers from one seeded ChaCha stream.
pub struct Dice(ChaCha8Rng);
impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }
    /// Uniform from `low` to `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }
    /// Log-uniform from `low` to `high`.
    pub fn scale(&mut self, low: f64, high: f64) -> f64 {
        (self.between(low.ln(), high.ln())).exp()
    }
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.0.next_u64() % of.len() as u64) as usize]
    }
    /// 0 once in `odds`, else uniform from `low` to `high`.
    pub fn zero_or(&mut self, odds: u64, low: f64, high: f64) -> f64 {
        let zero = self.0.next_u64().is_multiple_of(odds);
        let value = self.between(low, high);
        if zero { 0.0 } else { value }
    }
    pub fn sign(&mut self) -> f64 {
        self.pick(&[-1.0, 1.0])
    }
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }
}

/// First-order autoregressive noise of unit standard deviation.
pub struct Ar1 {
    rho: f64,
    now: f64,
}
impl Ar1 {
    pub fn new(rho: f64, dice: &mut Dice) -> Self {
        Self { rho, now: dice.normal() }
    }
    pub fn next(&mut self, dice: &mut Dice) -> f64 {
        let out = self.now;
        self.now = self.rho * self.now + (1.0 - self.rho * self.rho).sqrt() * dice.normal();
        out
    }
}

pub fn rounded(value: f64, resolution: f64) -> f64 {
    if resolution > 0.0 { (value / resolution).round() * resolution } else { value }
}

pub fn at(seconds: f64) -> Instant {
    Instant::from_micros((seconds * 1e6).round() as u64)
}

/// Readings at a steady rate with a little jitter: `f(t)` plus noise, rounded.
pub fn readings(times: &[f64], mut f: impl FnMut(usize, f64) -> f64, resolution: f64) -> Vec<Sample> {
    times.iter().enumerate().map(|(i, t)| Sample::new(at(*t), rounded(f(i, *t), resolution))).collect()
}

/// Times from `from` to `to` at `rate_hz`, jittered by up to 2 % of a step.
pub fn times(from: f64, to: f64, rate_hz: f64, dice: &mut Dice) -> Vec<f64> {
    let n = ((to - from) * rate_hz) as usize;
    (0..n).map(|i| from + (i as f64 + 0.5 + dice.between(-0.02, 0.02)) / rate_hz).collect()
}

/// Baseline 1 with scatter 0.02 up to 60 s, then `f`, two readings a second.
pub fn smoke_signal(seconds: f64, f: impl Fn(f64) -> f64) -> (Vec<Sample>, Vec<Sample>) {
    let mut dice = Dice::new(3);
    let all = (0..(seconds * 2.0) as u32)
        .map(|i| f64::from(i) / 2.0)
        .map(|t| Sample::new(at(t), 1.0 + f(t) + 0.02 * dice.normal()));
    all.partition(|s| s.at < at(60.0))
}
/// A rise behind a lag of 2 s, and its fall.
pub fn puff(from: f64, to: f64, height: f64) -> impl Fn(f64) -> f64 {
    let rise = |t: f64| if t > 0.0 { 1.0 - (-t / 2.0).exp() } else { 0.0 };
    move |t| height * (rise(t - from) - rise(t - to))
}
