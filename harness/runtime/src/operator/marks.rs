//! How far a simulated person's key is off what the hands do: a little early or late as a rule, and now and then forgotten for a time.
//!
//! Not here: when a prompt is answered ([`super::script`]), and what a mark is worth to a verdict (the rule `mark_uncertainty`).
use super::eyes::draw;
use plumeline_base::{Instant, input::Answer};
use plumeline_procedure::prompt::Act;
use std::time::Duration;

/// Standard deviation of a press, s: what the rule `mark_uncertainty` holds of a person (common practice, no source).
const SPREAD_S: f64 = 0.35;
/// The share of releases that are marked only when the person thinks of it again, who then says nothing of it (common practice, no source).
const FORGETS: f64 = 0.001;
/// How late that is at least and at most, s (common practice, no source).
const FORGOTTEN_S: (f64, f64) = (3.0, 20.0);

/// The presses of one person, by a seed of their own.
pub(super) struct Marks {
    state: u64,
    /// What the hands do after the key was pressed, and when.
    pub(super) hands: Option<(Instant, Act)>,
    /// The answer that is pressed after the hands have done it, by the number of its prompt.
    pub(super) key: Option<(u32, Answer)>,
}

/// A time between hands and key.
pub(super) enum Off {
    HandsFirst(Duration),
    KeyFirst(Duration),
}

/// What becomes of a question that is due.
pub(super) enum Press {
    /// Hands and key are one moment.
    AsUsual,
    /// The hands have done it; the key comes.
    Later,
    /// The key is pressed.
    Now(Answer),
}

impl Marks {
    pub(super) fn new(seed: u64) -> Self {
        Self { state: seed, hands: None, key: None }
    }
    /// The next press.
    pub(super) fn off(&mut self) -> Off {
        // Normal by Box and Muller (1958).
        let (u, v) = (1.0 - draw(&mut self.state), draw(&mut self.state));
        let normal = (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos();
        let (forgets, how) = (draw(&mut self.state) < FORGETS, draw(&mut self.state));
        let late = if forgets { FORGOTTEN_S.0 + (FORGOTTEN_S.1 - FORGOTTEN_S.0) * how } else { 0.0 };
        let s = SPREAD_S * normal + late;
        let size = Duration::from_secs_f64(s.abs());
        if s < 0.0 { Off::KeyFirst(size) } else { Off::HandsFirst(size) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn presses_scatter_as_stated_and_are_seldom_forgotten() {
        let mut marks = Marks::new(7);
        let all: Vec<f64> = (0..40_000)
            .map(|_| match marks.off() {
                Off::HandsFirst(d) => d.as_secs_f64(),
                Off::KeyFirst(d) => -d.as_secs_f64(),
            })
            .collect();
        let (late, usual): (Vec<f64>, Vec<f64>) = all.iter().partition(|s| **s > 2.0);
        let share = late.len() as f64 / all.len() as f64;
        assert!((share - FORGETS).abs() < 0.0005, "{share}");
        let mean = usual.iter().sum::<f64>() / usual.len() as f64;
        let sd = (usual.iter().map(|s| (s - mean) * (s - mean)).sum::<f64>() / usual.len() as f64).sqrt();
        assert!(mean.abs() < 0.01 && (sd - SPREAD_S).abs() < 0.01, "{mean} {sd}");
    }
}
