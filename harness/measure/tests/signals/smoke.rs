//! Smoke signals: responses, weak ones, none.
use super::{Ar1, Dice, readings, times};
use plumeline_measure::{Sample, smoke};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// A response that can be timed.
    Response,
    /// Smoke, but too weak or too short to be timed.
    Weak,
    /// No smoke.
    None,
}

pub struct Signal {
    pub kind: &'static str,
    pub before: Vec<Sample>,
    pub after: Vec<Sample>,
    pub rule: smoke::Rule,
    pub class: Class,
    /// First crossing of a tenth of the plateau, s.
    pub onset_s: f64,
    /// First crossing of half of the plateau, s.
    pub half_s: f64,
    pub puffs: usize,
    /// Plateau in standard deviations.
    pub strength: f64,
    /// Time between readings, s.
    pub step_s: f64,
}

pub const RELEASE_S: f64 = 120.0;
pub const END_S: f64 = 480.0;
pub const KINDS: usize = 14;

/// Rise of unit plateau from t = 0 on.
#[derive(Clone, Copy)]
enum Rise {
    Step,
    Lag(f64),
    /// First arrival after so many seconds in the pipe: 1 - (t' / (t' + t))^2.
    Laminar(f64),
    /// The same through a first-order lag: first arrival, time constant.
    Lagged(f64, f64),
    /// Straight up for so many seconds.
    Ramp(f64),
}
impl Rise {
    fn at(self, t: f64) -> f64 {
        match self {
            _ if t < 0.0 => 0.0,
            Self::Step => 1.0,
            Self::Lag(tau) => 1.0 - (-t / tau).exp(),
            Self::Laminar(first) => 1.0 - (first / (first + t)).powi(2),
            // The lag's integral over 12 time constants by the midpoint rule.
            Self::Lagged(first, tau) => (0..240)
                .map(|i| (f64::from(i) + 0.5) * tau / 20.0)
                .map(|s| Self::Laminar(first).at(t - s) * (-s / tau).exp() / 20.0)
                .sum(),
            Self::Ramp(long) => (t / long).min(1.0),
        }
    }
}

/// One signal of the kind: scatter 1, 1 to 4 readings a second, drift up to 3 per minute, every third one quantised.
pub fn signal(kind: usize, dice: &mut Dice) -> Signal {
    let rate = dice.pick(&[1.0, 2.0, 4.0]);
    let rho = dice.zero_or(2, 0.0, 0.6);
    let resolution = if dice.between(0.0, 1.0) < 0.67 { 0.0 } else { dice.between(0.3, 1.5) };
    let drift = dice.sign() * dice.zero_or(2, 0.0, 3.0) / 60.0;
    let onset = RELEASE_S + dice.between(15.0, 90.0);
    let strength = dice.scale(12.0, 80.0);
    let long = dice.between(8.0, 60.0);
    let mut spikes = false;
    let (kind, class, rise, height, lengths) = match kind % KINDS {
        0 | 1 => ("step", Class::Response, Rise::Step, strength, vec![(0.0, 1e9)]),
        2 => ("lag", Class::Response, Rise::Lag(dice.between(0.5, 8.0)), strength, vec![(0.0, 1e9)]),
        3 => ("puff", Class::Response, Rise::Lag(dice.between(0.3, 2.0)), strength, vec![(0.0, long)]),
        4 => {
            let again = long + dice.between(30.0, 60.0);
            (
                "two puffs",
                Class::Response,
                Rise::Lag(dice.between(0.3, 2.0)),
                strength,
                vec![(0.0, long), (again, again + long)],
            )
        }
        5 | 6 => ("laminar", Class::Response, Rise::Laminar(dice.between(5.0, 40.0)), strength, vec![(0.0, 1e9)]),
        7 => {
            let long = dice.between(20.0, 60.0);
            ("laminar puff", Class::Response, Rise::Laminar(dice.between(5.0, 30.0)), 1.5 * strength, vec![(0.0, long)])
        }
        12 => (
            "laminar, lagged",
            Class::Response,
            Rise::Lagged(dice.between(5.0, 40.0), dice.between(0.5, 3.0)),
            strength,
            vec![(0.0, 1e9)],
        ),
        13 => ("ramp", Class::Response, Rise::Ramp(dice.between(5.0, 40.0)), strength, vec![(0.0, 1e9)]),
        8 => ("weak", Class::Weak, Rise::Step, dice.between(0.2, 3.5), vec![(0.0, dice.pick(&[long, 1e9]))]),
        9 => ("too short", Class::Weak, Rise::Step, strength, vec![(0.0, dice.between(0.3, 1.2))]),
        10 => ("none", Class::None, Rise::Step, 0.0, vec![]),
        _ => {
            spikes = true;
            ("none but spikes", Class::None, Rise::Step, 0.0, vec![])
        }
    };
    let smoke =
        |t: f64| lengths.iter().map(|(a, b)| rise.at(t - onset - a) - rise.at(t - onset - b)).sum::<f64>() * height;
    let mut noise = Ar1::new(rho, dice);
    let level = dice.between(0.0, 20.0);
    let t = times(0.0, END_S, rate, dice);
    let values: Vec<f64> = t
        .iter()
        .map(|t| {
            let spike = if spikes && dice.between(0.0, 1.0) < 0.01 { dice.between(10.0, 60.0) } else { 0.0 };
            level + drift * t + smoke(*t) + noise.next(dice) + spike
        })
        .collect();
    let all = readings(&t, |i, _| values[i], resolution);
    let (before, after) = all.split_at(t.partition_point(|t| *t < RELEASE_S));
    Signal {
        kind,
        class,
        onset_s: if class == Class::Response { reached(&smoke, onset, lengths[0].1, smoke::SHARE) } else { f64::NAN },
        half_s: if class == Class::Response { reached(&smoke, onset, lengths[0].1, 0.5) } else { f64::NAN },
        puffs: lengths.len(),
        strength: height,
        step_s: 1.0 / rate,
        rule: smoke::Rule { resolution, ..smoke::Rule::default() },
        before: before.to_vec(),
        after: after.to_vec(),
    }
}

/// When the course without noise first reaches this share of its highest, 10 ms fine.
fn reached(smoke: &impl Fn(f64) -> f64, onset: f64, long: f64, share: f64) -> f64 {
    let end = (onset + long + 20.0).min(END_S);
    let course: Vec<(f64, f64)> =
        (0..((end - onset) * 1e2) as usize).map(|i| onset + i as f64 * 1e-2).map(|t| (t, smoke(t))).collect();
    let peak = course.iter().fold(0.0_f64, |a, b| a.max(b.1));
    course.iter().find(|c| c.1 >= share * peak).map_or(f64::NAN, |c| c.0)
}
