//! The same pipes on two units: ratios of flows against whole solves, and what of their uncertainty drops out. Not here: readings.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]
mod common;
use common::*;
use plumeline_airflow::{
    SolveOptions, solve,
    uncertainty::{
        PredictOptions, predict,
        translate::{pressure_exponents, translate, translated},
    },
};
use plumeline_base::{pipework::*, quantity::Estimate};

fn fan(p: &mut Pipework) -> &mut Fan {
    match &mut p.unit.drive {
        Drive::Fan(fan) => fan,
        Drive::InletSuction(_) => panic!("these have a fan"),
    }
}

/// The same pipes on a weaker unit with a filter of its own.
fn weaker(p: &Pipework, speed: f64) -> Pipework {
    let mut old = p.clone();
    fan(&mut old).speed = speed;
    old.unit.loss = Loss { linear: 1e4, quadratic: 2e7 };
    old
}

#[test]
fn a_ratio_is_that_of_two_solves() {
    let new = mixed();
    let old = weaker(&new, 0.8);
    let (n, o) = (solve(&new, &SolveOptions::default()).unwrap(), solve(&old, &SolveOptions::default()).unwrap());
    for t in translate(&old, &new, &PredictOptions::default()).unwrap() {
        let i = new.inlets.iter().position(|i| i.number == t.number).unwrap();
        let want = n.inlet_flow_m3_s[i] / o.inlet_flow_m3_s[i];
        assert!((t.ratio.value / want - 1.0).abs() < 1e-9 && want > 1.1, "{} {want}", t.ratio.value);
    }
}

#[test]
fn what_both_units_share_drops_out() {
    let new = mixed();
    let flows = predict(&new, &PredictOptions { draws: 400, ..PredictOptions::default() }).unwrap();
    let mut known = new.clone();
    fan(&mut known).u_pressure = 0.0;
    for (t, p) in translate(&weaker(&known, 0.8), &known, &PredictOptions::default()).unwrap().iter().zip(&flows.inlets)
    {
        // With both fans known exactly only the difference of two sensitivities to holes and pipes is left.
        let relative = t.ratio.u() / t.ratio.value;
        assert!(relative < 0.35 * p.flow_m3_s.u() / p.flow_m3_s.value, "{relative}");
    }
    // Two fans are two uncertainties: independent, so their squares add up.
    let both = translate(&new, &new, &PredictOptions::default()).unwrap();
    let exponents = pressure_exponents(&new, &PredictOptions::default()).unwrap();
    for (t, (number, e)) in both.iter().zip(exponents) {
        assert_eq!((t.number, t.ratio.value), (number, 1.0));
        let want = 0.03 * e * core::f64::consts::SQRT_2;
        assert!((t.ratio.u() / want - 1.0).abs() < 1e-9, "{} {want}", t.ratio.u());
    }
}

#[test]
fn a_perturbed_solve_moves_as_far_as_the_uncertainty_says() {
    // All holes drilled larger by one common standard deviation: the ratio moves by its own common part of that.
    let (mut new, model) = (mixed(), PredictOptions::default());
    fan(&mut new).u_pressure = 0.0;
    new.known = vec![Known { diameter: Tolerance { common: 0.002, individual: 0.0 }, ..Known::default() }];
    new.segments.iter_mut().for_each(|s| s.known = 0);
    new.openings.iter_mut().for_each(|o| o.known = 0);
    let drilled = |p: &Pipework| {
        let mut q = p.clone();
        q.openings.iter_mut().for_each(|o| o.diameter_m *= 1.002);
        q
    };
    let old = weaker(&new, 0.8);
    let before = translate(&old, &new, &model).unwrap();
    let after = translate(&drilled(&old), &drilled(&new), &model).unwrap();
    for (b, a) in before.iter().zip(&after) {
        let moved = (a.ratio.value - b.ratio.value).abs();
        assert!((moved - b.ratio.u()).abs() < 0.15 * b.ratio.u() + 1e-6, "{moved} {}", b.ratio.u());
    }
}

#[test]
fn the_pattern_follows_the_exponents_within_a_tenth_of_the_change() {
    // Another fan or speed that changes all flows by up to 40 %: each pipe's change by its own exponent, against whole solves.
    for new in [mixed(), four_by_25()] {
        let exponents = pressure_exponents(&new, &PredictOptions::default()).unwrap();
        let n = solve(&new, &SolveOptions::default()).unwrap();
        for speed in [0.7, 0.85, 1.2] {
            let o = solve(&weaker(&new, speed), &SolveOptions::default()).unwrap();
            let change: Vec<f64> = exponents
                .iter()
                .map(|(number, _)| {
                    let i = new.inlets.iter().position(|i| i.number == *number).unwrap();
                    (n.inlet_flow_m3_s[i] / o.inlet_flow_m3_s[i]).ln()
                })
                .collect();
            let alike = change.iter().zip(&exponents).map(|(c, e)| c / e.1).sum::<f64>() / change.len() as f64;
            for (c, (number, e)) in change.iter().zip(&exponents) {
                let off = (c - alike * e).abs() / (alike * e).abs();
                assert!(off < 0.1, "pipe {number}, speed {speed}: {off} of {}", alike * e);
            }
        }
    }
}

#[test]
fn a_reading_and_a_ratio_combine_as_relative_parts() {
    let t = translated(&Estimate::new(2.0, 0.06, 0.04), &Estimate::new(1.5, 0.015, 0.0));
    assert!((t.value - 3.0).abs() < 1e-15);
    assert!((t.u_common - 3.0 * (0.03f64 * 0.03 + 0.01 * 0.01).sqrt()).abs() < 1e-12, "{}", t.u_common);
    assert!((t.u_individual - 0.06).abs() < 1e-12);
}

#[test]
fn a_closed_hole_as_a_share_moves_as_its_uncertainty_says() {
    // All discharge coefficients higher by one common standard deviation: the share moves by its common part.
    let options = PredictOptions { draws: 100, ..PredictOptions::default() };
    let mut p = four_by_25();
    fan(&mut p).u_pressure = 0.0;
    p.known = vec![Known { discharge: Tolerance { common: 0.002, individual: 0.0 }, ..Known::default() }];
    let before = predict(&p, &options).unwrap();
    p.openings.iter_mut().for_each(|o| o.discharge *= 1.002);
    let after = predict(&p, &options).unwrap();
    for (b, a) in before.openings.iter().zip(&after.openings) {
        let own = before.inlets.iter().find(|i| i.number == b.inlet).unwrap();
        let share = b.closed_drop_m3_s.value / own.flow_m3_s.value;
        assert!((b.closed_share.value / share - 1.0).abs() < 1e-9);
        let (moved, said) = ((a.closed_share.value - b.closed_share.value).abs(), b.closed_share.u());
        assert!((moved - said).abs() < 0.02 * said + 1e-5 * share, "hole {}: {moved} {said}", b.number);
    }
}
