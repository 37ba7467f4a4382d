//! Smoke that comes at once, over noise with a memory: no onset may lie seconds before it.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests are tests
use plumeline_measure::{
    Sample,
    smoke::{self, Outcome, Release},
};

#[allow(unreachable_pub)]
mod signals;
use signals::{Dice, at};

/// A step of 200 to 900 standard deviations at 5 and 2 readings a second. A slow shape that rounding made a step stood for it, or the fit
/// ended before it: then the interval lay up to 18 s before.
#[test]
fn a_step_is_not_timed_before_it_comes() {
    let mut before = Vec::new();
    let mut timed = 0;
    for seed in 0..60 {
        let mut dice = Dice::new(seed);
        let (rate, height) = (dice.pick(&[2.0, 5.0]), dice.between(200.0, 900.0));
        let (release, step) = (dice.between(8.0, 30.0), dice.between(50.0, 80.0));
        let (mut slow, mut all) = (0.0, Vec::new());
        for i in 0..(260.0 * rate) as u32 {
            let t = f64::from(i) / rate;
            slow = 0.9 * slow + 0.3 * dice.normal();
            all.push(Sample::new(at(t), 5.0 + 0.6 * dice.normal() + slow + if t > step { height } else { 0.0 }));
        }
        let (first, rest) = all.split_at((release * rate) as usize);
        let outcome = smoke::analyse(first, rest, &Release::by_device(at(release), 0.0), &smoke::Rule::default());
        let Outcome::Response(r) = outcome else { continue };
        timed += 1;
        if r.onset.interval95_s.1 < step - 1.0 / rate {
            before.push((seed, step, r.onset));
        }
    }
    assert!(timed >= 55, "{timed} timed");
    assert!(before.is_empty(), "{before:?}");
}
