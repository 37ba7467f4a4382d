//! Whether readings move as those of live sensors do. One that wandered up and down before and then stands still is kept from
//! before; readings that repeat as a whole and then all move at once are told again under new stamps.
//!
//! A sensor with steps wider than its noise rightly stands still for long, alone: so only what moved freely before is held to it,
//! and only what moves together with everything else. Not here: how late readings come ([`super::lag`]).
use crate::{
    facts::{Fact, fixed, readings as fact},
    rules::advanced::ReadingRules,
};
use alloc::{collections::VecDeque, format, string::String, vec::Vec};
use plumeline_base::Instant;
use plumeline_detector::Reading;

/// So many changes before it stood still tell how a sensor moves, where they came in twice as many readings at most.
const BEFORE: usize = 40;
/// In them it took so many values, and turned so often: then its noise is wider than its steps, and it did not only fall with
/// the smoke.
const VALUES: usize = 6;
const TURNS: usize = 8;
/// So many changes are no chance where so large a share of them is of all sensors at once. Of two that change by themselves, and
/// together in less than half of the readings, neither has more than six in ten of them.
const TOGETHER: [(u32, f64); 2] = [(16, 0.95), (60, 0.8)];
/// A flow under this share of the greatest is that of a shut inlet.
const SHUT: f64 = 0.1;

/// One sensor's readings in an unbroken stretch.
#[derive(Clone, Debug, Default)]
struct Sensor {
    /// The latest changes: which reading it was, and its value.
    recent: VecDeque<(u32, f64)>,
    readings: u32,
    since: Option<Instant>,
    most: f64,
    changes: u32,
}
impl Sensor {
    /// Takes a reading; gives whether it is another than the one before.
    fn take(&mut self, at: Instant, value: f64) -> bool {
        self.most = self.most.max(value);
        self.readings += 1;
        if self.recent.back().is_some_and(|(_, last)| *last == value) {
            return false;
        }
        self.recent.push_back((self.readings, value));
        if self.recent.len() > BEFORE {
            self.recent.pop_front();
        }
        self.since = Some(at);
        self.changes += 1;
        true
    }
    /// It moved freely before it stopped.
    fn moved_freely(&self) -> bool {
        let (Some(first), Some(last)) = (self.recent.front(), self.recent.back()) else { return false };
        if self.recent.len() < BEFORE || (last.0 - first.0) as usize > 2 * BEFORE {
            return false;
        }
        let mut values: Vec<f64> = self.recent.iter().map(|(_, v)| *v).collect();
        let up: Vec<bool> = values.iter().zip(values.iter().skip(1)).map(|(a, b)| b > a).collect();
        let turns = up.iter().zip(up.iter().skip(1)).filter(|(a, b)| a != b).count();
        values.sort_by(f64::total_cmp);
        values.dedup();
        values.len() >= VALUES && turns >= TURNS
    }
    /// It reads what it does at the end of its range: nothing flows through a shut inlet, and dense smoke fills a sensor.
    fn at_its_end(&self, flow: bool) -> bool {
        let least = if flow { SHUT * self.most } else { 0.0 };
        self.recent.back().is_some_and(|(_, v)| *v <= least || *v >= self.most)
    }
    fn still_s(&self, at: Instant) -> f64 {
        self.since.map_or(0.0, |since| at.since(since).as_secs_f64())
    }
}

/// Follows the sensors of an unbroken stretch of readings.
#[derive(Clone, Debug, Default)]
pub(crate) struct Moves {
    sensors: Vec<Sensor>,
    /// Readings that differ from the one before, and those that do not.
    changes: u32,
    repeats: u32,
}
impl Moves {
    /// Takes a reading of `at`; gives what the stretch shows.
    pub(crate) fn take(&mut self, at: Instant, reading: &Reading, rules: &ReadingRules) -> Option<Fact> {
        let values = reading.flow_m3_s.iter().chain(&reading.extinction_per_m);
        let values: Vec<f64> = values.map(|v| v.unwrap_or(f64::NAN)).collect();
        if self.sensors.len() != values.len() {
            *self = Self { sensors: alloc::vec![Sensor::default(); values.len()], ..Self::default() };
        }
        // A unit that starts tells nothing of the air yet: such readings repeat nothing, and what moves afterwards moves anew.
        if !values.iter().any(|v| v.is_finite()) {
            *self = Self::default();
            return None;
        }
        let mut changed = false;
        for (sensor, value) in self.sensors.iter_mut().zip(&values).filter(|(_, v)| v.is_finite()) {
            changed |= sensor.take(at, *value);
        }
        *(if changed { &mut self.changes } else { &mut self.repeats }) += 1;
        let inlets = reading.flow_m3_s.len();
        let stands =
            |i: usize, s: &Sensor| s.still_s(at) > rules.still_s && s.moved_freely() && !s.at_its_end(i < inlets);
        if let Some((first, _)) = self.sensors.iter().enumerate().find(|(i, s)| stands(*i, s)) {
            return Some(fact::stands_still(name(first, inlets), fixed(rules.still_s, 0)));
        }
        self.repeated().then(fact::repeated)
    }
    /// All that moves moves at once, and not more often than not.
    fn repeated(&self) -> bool {
        let all = f64::from(self.changes);
        let often = self.sensors.iter().map(|s| f64::from(s.changes) / all).filter(|share| *share > 0.5);
        let (count, least) = often.fold((0, 1.0_f64), |(n, least), share| (n + 1, least.min(share)));
        let together = TOGETHER.iter().any(|(changes, share)| self.changes >= *changes && least >= *share);
        count >= 2 && self.repeats >= self.changes && together
    }
}

fn name(sensor: usize, inlets: usize) -> String {
    if sensor < inlets { format!("flow reading of inlet {}", sensor + 1) } else { "obscuration reading".into() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::borrow::ToOwned;

    /// A noise of no memory between -1 and 1.
    fn noise(i: u32, of: u32) -> f64 {
        let mut x =
            u64::from(i).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ u64::from(of).wrapping_mul(0xD1B5_4A32_D192_ED03);
        x = (x ^ (x >> 31)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        x ^= x >> 29;
        (x >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
    /// Two readings a second of two flows and an obscuration for ten minutes.
    fn code(f: impl Fn(u32) -> [f64; 3]) -> Option<String> {
        let mut moves = Moves::default();
        let found = (0..1200).find_map(|i| {
            let [a, b, smoke] = f(i);
            let reading = Reading {
                flow_m3_s: alloc::vec![Some(a), Some(b), None],
                extinction_per_m: alloc::vec![Some(smoke)],
                ..Reading::default()
            };
            moves.take(Instant::from_micros(u64::from(i) * 500_000), &reading, &ReadingRules::default())
        });
        found.map(|f| f.code.as_str().to_owned())
    }
    fn rounded(v: f64, step: f64) -> f64 {
        libm::round(v / step) * step
    }
    /// What sound sensors read, in steps.
    fn sound(i: u32, step: f64) -> [f64; 3] {
        [30.0, 40.0, 5.0].map(|v| rounded(v + noise(i, v as u32), step))
    }

    #[test]
    fn live_sensors_pass_coarse_ones_too() {
        for step in [0.001, 0.1, 0.5, 1.0, 2.0, 4.0, 50.0] {
            assert_eq!(code(|i| sound(i, step)), None, "{step}");
        }
    }
    #[test]
    fn a_background_that_leaves_the_edge_of_a_step_is_no_fault() {
        let smoke = |i: u32| rounded(if i < 300 { 0.5 } else { 0.9 } + 0.1 * noise(i, 1), 1.0);
        assert_eq!(code(|i| [sound(i, 0.1)[0], sound(i, 0.1)[1], smoke(i)]), None);
        let clears = |i: u32| rounded(100.0 * libm::exp(-f64::from(i) / 100.0), 1.0);
        assert_eq!(code(|i| [sound(i, 0.1)[0], sound(i, 0.1)[1], clears(i)]), None);
    }
    #[test]
    fn a_shut_inlet_and_a_full_sensor_stand_still_rightly() {
        for shut in [0.0, 0.4] {
            assert_eq!(
                code(|i| [if i < 200 { sound(i, 0.1)[0] } else { shut }, sound(i, 0.1)[1], sound(i, 0.1)[2]]),
                None
            );
        }
        assert_eq!(
            code(|i| [sound(i, 0.1)[0], sound(i, 0.1)[1], sound(i, 0.1)[2].max(if i < 200 { 0.0 } else { 9.0 })]),
            None
        );
    }
    #[test]
    fn a_unit_that_starts_repeats_nothing() {
        let starts = |i: u32, from: u32| if i < from { [f64::NAN; 3] } else { sound(i, 0.01) };
        assert_eq!(code(|i| starts(i, 300)), None);
        // Those that are told again are found after the start too.
        assert_eq!(code(|i| starts(i / 4 * 4, 300)).as_deref(), Some("readings.repeated"));
    }
    #[test]
    fn what_is_kept_from_before_is_told_sensor_by_sensor() {
        for frozen in 0..3 {
            let of = |i: u32| core::array::from_fn(|k| sound(if k == frozen { i.min(300) } else { i }, 0.01)[k]);
            assert_eq!(code(of).as_deref(), Some("readings.stands-still"), "{frozen}");
        }
    }
    #[test]
    fn readings_that_are_told_again_are_found() {
        for (every, step) in [(2, 0.01), (4, 0.01), (20, 0.01), (4, 0.2)] {
            assert_eq!(code(|i| sound(i / every * every, step)).as_deref(), Some("readings.repeated"), "{every}");
        }
    }
}
