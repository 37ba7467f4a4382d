//! Seeded draws of a campaign. Not here: what is drawn.
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};

/// A stream of numbers, independent of all others of the same job.
pub(super) struct Dice(ChaCha8Rng);
impl Dice {
    /// Stream `id` of a job's seed; the simulator's own streams have other numbers.
    pub(super) fn new(seed: u64, id: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(0xCA00_0000 + id);
        Self(rng)
    }
    /// Evenly in [0, 1).
    pub(super) fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }
    /// Evenly in [low, high).
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    /// One of 0..n.
    pub(super) fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }
}
