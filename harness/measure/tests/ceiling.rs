//! Smoke that runs into the top of what a sensor reads.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests are tests
use plumeline_measure::{
    Sample,
    smoke::{self, Outcome, Release},
};

#[allow(unreachable_pub)]
mod signals;
use signals::{at, puff, smoke_signal};

fn analyse((before, after): &(Vec<Sample>, Vec<Sample>), rule: &smoke::Rule) -> Outcome {
    smoke::analyse(before, after, &Release::by_device(at(60.0), 0.1), rule)
}

/// A purge's tail is taken off the readings; the ceiling is met by what the sensor shows.
#[test]
fn a_ceiling_shows_over_a_purges_tail() {
    let (before, after) = smoke_signal(240.0, puff(90.0, 130.0, 5.0));
    let first = before[0].at;
    let shown = |s: &Sample| {
        let tail = 2.0 * (-s.at.since(first).as_secs_f64() / 40.0).exp();
        Sample { value: (s.value + tail).min(4.5), ..*s }
    };
    let signal: (Vec<Sample>, Vec<Sample>) = (before.iter().map(shown).collect(), after.iter().map(shown).collect());
    for full_scale in [4.5, f64::INFINITY] {
        let rule = smoke::Rule { min_rise: 0.5, full_scale, ..smoke::Rule::default() };
        let capped = analyse(&signal, &rule);
        assert!(matches!(capped, Outcome::Saturated { .. }), "{full_scale}: {capped:?}");
    }
}

/// Nobody tells of the ceiling, and the baseline shows its noise in three or four neighbouring steps only.
#[test]
fn a_ceiling_shows_in_coarse_steps_too() {
    let rule = smoke::Rule { min_rise: 0.5, ..smoke::Rule::default() };
    let stepped = |(before, after): (Vec<Sample>, Vec<Sample>), highest: f64| {
        let one = |s: &Sample| Sample { value: (s.value.min(highest) / 0.04).round() * 0.04, ..*s };
        (before.iter().map(one).collect::<Vec<_>>(), after.iter().map(one).collect::<Vec<_>>())
    };
    let signal = smoke_signal(240.0, puff(90.0, 130.0, 5.0));
    let steps = |v: &[Sample]| {
        let all = v.iter().map(|s| s.value);
        (all.clone().fold(f64::MIN, f64::max) - all.fold(f64::MAX, f64::min)) / 0.04
    };
    let (before, after) = stepped(signal.clone(), 4.0);
    assert!((1.5..5.5).contains(&steps(&before)), "{}", steps(&before));
    let capped = analyse(&(before, after), &rule);
    assert!(matches!(capped, Outcome::Saturated { .. }), "{capped:?}");
    let whole = analyse(&stepped(signal, f64::INFINITY), &rule);
    assert!(matches!(whole, Outcome::Response(_)), "{whole:?}");
}

/// Where one step hides all noise, any plateau reads as one value: a ceiling is told by the pace at which it is met.
#[test]
fn a_ceiling_is_told_from_a_plateau_by_the_pace_at_which_it_is_met() {
    let rule = smoke::Rule { min_rise: 0.5, ..smoke::Rule::default() };
    let read = |highest: f64, f: &dyn Fn(f64) -> f64| {
        let coarse = |s: &Sample| Sample { value: (s.value.min(1.0 + highest) / 0.2).round() * 0.2, ..*s };
        let (before, after) = smoke_signal(240.0, |t| f((t - 90.0).max(0.0)));
        analyse(&(before.iter().map(coarse).collect(), after.iter().map(coarse).collect()), &rule)
    };
    let lag = |t: f64| 5.0 * (1.0 - (-t / 8.0).exp());
    let laminar = |t: f64| 8.0 * (1.0 - (20.0 / (20.0 + t)).powi(2));
    let rounded = |t: f64| 6.0 * (1.0 - ((t - 30.0) / 30.0).powi(2)).max(0.0);
    let at_once = |t: f64| 5.0 * (1.0 - (-t / 0.4).exp());
    let smokes: [&dyn Fn(f64) -> f64; 4] = [&lag, &laminar, &rounded, &at_once];
    for (i, smoke) in smokes.into_iter().enumerate() {
        let whole = read(f64::INFINITY, smoke);
        assert!(matches!(whole, Outcome::Response(_)), "{i}: {whole:?}");
    }
    for (i, smoke) in smokes.into_iter().take(3).enumerate() {
        for highest in [2.6, 3.0] {
            let capped = read(highest, smoke);
            assert!(matches!(capped, Outcome::Saturated { .. }), "{i} at {highest}: {capped:?}");
        }
    }
}
