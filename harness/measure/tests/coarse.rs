//! Smoke signals as a slow, coarse sensor tells them: steps far wider than the noise, a background that wanders across the edge
//! of a step, an arrival behind a chamber's lag and a smoothing. Another family than the evaluation's: nothing is drawn from it.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests are tests
use plumeline_base::quantity::Estimate;
use plumeline_measure::{Sample, smoke};

#[allow(unreachable_pub)]
mod signals;
use signals::{Dice, at, rounded, times};

const RELEASE_S: f64 = 30.0;
const END_S: f64 = 180.0;
/// Step of the marching, s.
const DT: f64 = 0.02;

struct Signal {
    readings: Vec<Sample>,
    step: f64,
    tenth_s: f64,
    half_s: f64,
}

/// Smoke as it comes out of the pipe, of unit plateau, `s` after its first arrival: laminar behind `first` s in the pipe, or
/// mixed, so that half has come after `first / 6`.
fn arrives(laminar: bool, first: f64, s: f64) -> f64 {
    match (s > 0.0, laminar) {
        (false, _) => 0.0,
        (true, true) => 1.0 - (first / (first + s)).powi(2),
        (true, false) => 1.0 - (-(s / (first / 6.0)) * std::f64::consts::LN_2).exp(),
    }
}

/// Marches smoke of this height (in steps) through both lags. `height` 0: none comes.
fn signal(dice: &mut Dice, height: f64) -> Signal {
    let step = dice.pick(&[0.005, 0.01, 0.02]);
    let (chamber_s, smoothing_s) = (dice.between(0.5, 2.5), dice.between(0.0, 5.0));
    let (laminar, first) = (dice.sign() > 0.0, dice.between(6.0, 40.0));
    let onset_s = RELEASE_S + dice.between(5.0, 40.0);
    let rate = dice.pick(&[1.0, 2.0, 5.0]);
    // In steps: noise, and a background that wanders by up to half of one, around the edge of a step as often as not.
    let noise = dice.between(0.02, 0.3);
    let (level, swing, period) = (dice.between(0.0, 2.0), dice.between(0.0, 0.25), dice.between(60.0, 600.0));
    let phase = dice.between(0.0, 6.3);
    let times = times(0.0, END_S, rate, dice);
    let (mut chamber, mut told, mut t, mut tenth_s, mut half_s) = (0.0, 0.0, 0.0, f64::NAN, f64::NAN);
    let mut readings = Vec::new();
    for reads in times {
        while t < reads {
            let here = arrives(laminar, first, t - onset_s);
            chamber += (here - chamber) * (1.0 - (-DT / chamber_s).exp());
            told += (chamber - told) * if smoothing_s > 0.0 { 1.0 - (-DT / smoothing_s).exp() } else { 1.0 };
            // The laminar plateau is never quite reached: a share of what the record comes to.
            let plateau = if laminar { arrives(true, first, END_S - onset_s) } else { 1.0 };
            if tenth_s.is_nan() && told >= smoke::SHARE * plateau {
                tenth_s = t;
            }
            if half_s.is_nan() && told >= 0.5 * plateau {
                half_s = t;
            }
            t += DT;
        }
        let background = level + swing * (phase + reads * std::f64::consts::TAU / period).sin();
        let value = background + height * told + noise * dice.normal();
        readings.push(Sample::new(at(reads), rounded(value * step, step)));
    }
    Signal { readings, step, tenth_s, half_s }
}

fn analyse(s: &Signal) -> smoke::Outcome {
    let (before, after) = s.readings.split_at(s.readings.partition_point(|r| r.at < at(RELEASE_S)));
    let rule = smoke::Rule { min_rise: 6.0 * s.step, false_alarm: 1e-3, ..smoke::Rule::default() };
    smoke::analyse(before, after, &smoke::Release::by_device(at(RELEASE_S), 0.0), &rule)
}

fn covers(e: Estimate, truth: f64) -> bool {
    (e.value - truth).abs() <= 1.96 * e.u()
}

#[test]
fn a_rise_in_coarse_steps_behind_lags_is_timed() {
    let mut dice = Dice::new(4001);
    let (mut timed, mut onset, mut half, mut not) = (0, 0, 0, Vec::new());
    let n = 300;
    for i in 0..n {
        let height = dice.scale(25.0, 400.0);
        let s = signal(&mut dice, height);
        match analyse(&s) {
            smoke::Outcome::Response(r) => {
                timed += 1;
                let (low, high) = r.onset_interval95_s;
                onset += usize::from((low..=high).contains(&(s.tenth_s - RELEASE_S)));
                half += usize::from(
                    covers(r.half_plateau_s, s.half_s - RELEASE_S)
                        || (r.half_plateau_s.value - (s.half_s - RELEASE_S)).abs() < 2.0,
                );
                if !(low..=high).contains(&(s.tenth_s - RELEASE_S)) {
                    println!("{i}: onset {low:.2}..{high:.2} truth {:.2} height {height:.0}", s.tenth_s - RELEASE_S);
                }
            }
            other => not.push(format!("{i} ({height:.0} steps): {other:?}")),
        }
    }
    println!("timed {timed}, onset covered {onset}, half {half} of {n}\n{}", not.join("\n"));
    assert!(timed * 100 >= n * 98, "{timed} of {n}:\n{}", not.join("\n"));
    assert!(onset * 100 >= timed * 93, "{onset} of {timed}");
    assert!(half * 100 >= timed * 93, "{half} of {timed}");
}

#[test]
fn a_background_that_wanders_across_a_step_is_no_smoke() {
    let mut dice = Dice::new(4002);
    for i in 0..300 {
        let s = signal(&mut dice, 0.0);
        let outcome = analyse(&s);
        let claims = matches!(outcome, smoke::Outcome::Response(_) | smoke::Outcome::Saturated { .. });
        assert!(!claims, "{i}: {outcome:?}");
    }
}
