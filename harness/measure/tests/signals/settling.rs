//! Flows that settle, or don't.
use super::{Ar1, Dice, readings, times};
use plumeline_measure::{Sample, settle};
use std::time::Duration;

/// What is true of a flow at the end of its record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    Steady,
    NotSteady,
    Faulty,
}

pub struct Flow {
    pub kind: &'static str,
    pub samples: Vec<Sample>,
    pub restart_at: Option<f64>,
    pub resolution: f64,
    /// At the end of the record.
    pub class: Class,
    /// A claim of steadiness in one of these spans of time, s, is early.
    pub moving: Vec<(f64, f64)>,
}

pub const END_S: f64 = 600.0;
pub const LIMIT_PER_MIN: f64 = 0.02;
pub const KINDS: usize = 14;

pub fn rule(resolution: f64) -> settle::Rule {
    settle::Rule { resolution, deadline: Duration::from_secs(END_S as u64), ..settle::Rule::default() }
}

/// One flow of the kind: level 20 to 80, scatter 0.2 to 0.8 %, correlated over up to half a second, 2 to 10 readings a second.
pub fn flow(kind: usize, dice: &mut Dice) -> Flow {
    let level = dice.between(20.0, 80.0);
    let rate = dice.pick(&[2.0, 5.0, 10.0]);
    let sd = dice.between(0.002, 0.008);
    let rho = (-1.0 / (rate * dice.scale(0.05, 0.5))).exp();
    let window = 60.0;
    let mut t = times(0.0, END_S, rate, dice);
    let never = vec![(0.0, END_S)];
    let mut resolution = 0.0;
    let mut restart_at = None;
    // Relative course of the flow.
    let mut course: Box<dyn Fn(f64) -> f64> = Box::new(|_| 0.0);
    let mut spikes = 0.0;
    let mut stuck_from = f64::INFINITY;
    let (kind, class, moving) = match kind % KINDS {
        0 => ("steady", Class::Steady, vec![]),
        1 | 2 => {
            let (size, tau) = (dice.sign() * dice.between(0.1, 0.6), dice.between(10.0, 50.0));
            course = Box::new(move |t| size * (-t / tau).exp());
            let settled = tau * (size.abs() / tau * 60.0 / LIMIT_PER_MIN).ln().max(0.0);
            ("approach", Class::Steady, vec![(0.0, settled)])
        }
        3 => {
            let slope = dice.sign() * LIMIT_PER_MIN / 60.0 * dice.between(1.1, 4.0);
            course = Box::new(move |t| slope * (t - END_S / 2.0));
            ("drift", Class::NotSteady, never)
        }
        4 => {
            let slope = dice.sign() * LIMIT_PER_MIN / 60.0 * dice.between(0.0, 0.3);
            course = Box::new(move |t| slope * (t - END_S / 2.0));
            ("drift within the limit", Class::Steady, vec![])
        }
        5 => {
            let (size, when) = (dice.sign() * dice.between(0.04, 0.2), dice.between(200.0, 400.0));
            course = Box::new(move |t| if t > when { size } else { 0.0 });
            // From two looks after the step until two looks before it leaves the windows.
            ("step", Class::Steady, vec![(when + window / 2.0, when + window * 1.5)])
        }
        6 | 7 => {
            let (size, period, phase) = (dice.between(0.03, 0.08), dice.scale(4.0, 90.0), dice.between(0.0, 6.2));
            course = Box::new(move |t| size * (t / period * std::f64::consts::TAU + phase).sin());
            ("oscillation", Class::NotSteady, never)
        }
        8 => {
            stuck_from = dice.zero_or(2, 100.0, 500.0);
            ("stuck", Class::Faulty, vec![(stuck_from + window, END_S)])
        }
        9 => {
            let (from, long) = (dice.between(150.0, 350.0), dice.between(5.0, 60.0));
            t.retain(|t| *t < from || *t > from + long);
            ("gap", Class::Steady, vec![(from, from + long + 2.0 * window - 5.0)])
        }
        10 => {
            let when = dice.between(150.0, 300.0);
            let tau = dice.between(5.0, 20.0);
            restart_at = Some(when);
            course = Box::new(move |t| if t > when { -0.8 * (-(t - when) / tau).exp() } else { 0.0 });
            ("restart", Class::Steady, vec![(when, when + 2.0 * window - 5.0)])
        }
        11 => {
            spikes = dice.between(70.0, 200.0);
            ("a few spikes", Class::Steady, vec![])
        }
        12 => {
            spikes = dice.between(1.0, 3.0);
            ("many spikes", Class::NotSteady, never)
        }
        _ => {
            resolution = level * sd * dice.between(0.5, 2.0);
            ("quantised", Class::Steady, vec![])
        }
    };
    let mut noise = Ar1::new(rho, dice);
    let (mut held, mut next_spike) = (None, spikes * dice.between(0.2, 1.0));
    let values: Vec<f64> = t
        .iter()
        .map(|t| {
            let mut v = level * (1.0 + course(*t) + sd * noise.next(dice));
            if spikes > 0.0 && *t > next_spike {
                next_spike += spikes;
                v += level * dice.sign() * dice.between(0.1, 0.5);
            }
            if *t >= stuck_from { *held.get_or_insert(v) } else { v }
        })
        .collect();
    Flow { kind, samples: readings(&t, |i, _| values[i], resolution), restart_at, resolution, class, moving }
}
