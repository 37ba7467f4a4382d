//! Hand-worked cases: closed forms and a textbook's example. Not here: random networks, and other programs' results.
#![allow(clippy::unwrap_used)]
mod common;
use common::*;
use plumeline_airflow::{SolveOptions, friction::FrictionLaw, solve};
use plumeline_base::pipework::*;
use std::f64::consts::PI;

fn without_momentum() -> SolveOptions {
    SolveOptions { momentum: false, tolerance: 1e-12, ..SolveOptions::default() }
}

fn one_pipe(length: f64, suction: f64, diameter: f64) -> Pipework {
    let mut p = empty();
    let (a, b) = (node(&mut p), node(&mut p));
    p.inlets.push(inlet(1, Some(a)));
    p.segments.push(segment(a, b, length));
    p.openings.push(Opening { kind: OpeningKind::EndCap, ..hole(b, 1, diameter) });
    p.unit.drive = Drive::InletSuction(vec![suction]);
    p.air.given = Some(GivenAir { density: 1.2, viscosity: 1.8e-5 });
    p
}

/// Laminar pipe and one hole: a q + c q^2 = suction, with a = 128 mu L / (pi D^4) (Hagen and Poiseuille).
#[test]
fn laminar_pipe_with_one_hole() {
    let s = solve(&one_pipe(50.0, 60.0, 0.0015), &without_momentum()).unwrap();
    let a = 128.0 * 1.8e-5 * 50.0 / (PI * 0.021f64.powi(4));
    let c = 1.2 / (2.0 * (0.62 * PI * 0.0015f64.powi(2) / 4.0).powi(2));
    let q = (-a + (a * a + 4.0 * c * 60.0).sqrt()) / (2.0 * c);
    assert!(s.segment_reynolds[0] < 800.0);
    assert!((s.total_flow_m3_s / q - 1.0).abs() < 1e-12, "{} {q}", s.total_flow_m3_s);
}

/// White, Fluid Mechanics, the example of finding the flow rate (6.9 in several editions; numbers from memory): oil,
/// nu = 2e-5 m2/s, 100 m of 0.3 m pipe, roughness ratio 0.0002, head loss 8 m: f = 0.0201, V = 4.84 m/s, Re = 72,600.
/// Only nu, the geometry and the head matter, so a gas of that nu gives the same answer.
#[test]
fn whites_flow_rate_example() {
    let mut p = one_pipe(100.0, 1.0, 2.0);
    p.segments[0].bore_m = 0.3;
    p.segments[0].roughness_m = 0.3 * 0.0002;
    p.openings[0].discharge = 1.0;
    p.air.given = Some(GivenAir { density: 1.2, viscosity: 1.2 * 2e-5 });
    p.unit.drive = Drive::InletSuction(vec![1.2 * 9.81 * 8.0]);
    for friction in [FrictionLaw::Churchill, FrictionLaw::Colebrook, FrictionLaw::HagenDunlopSwameeJain] {
        let s = solve(&p, &SolveOptions { friction, ..without_momentum() }).unwrap();
        let v = s.total_flow_m3_s / (PI * 0.09 / 4.0);
        assert!((v - 4.84).abs() < 0.01 * 4.84, "{friction:?} {v}");
        assert!((s.segment_reynolds[0] - 72_600.0).abs() < 0.01 * 72_600.0);
    }
}

/// 10 m of height and 20 K: about 7.5 Pa (rho g h dT/T, with 1.2 kg/m3 at 20 degC).
#[test]
fn stack_of_ten_metres_and_twenty_kelvin() {
    let mut p = one_pipe(10.0, 0.0, 0.003);
    p.nodes[1].elevation_m = 10.0;
    p.air.temperature_c = 20.0;
    p.segments[0].air_temperature_c = Some(0.0);
    let s = solve(&p, &without_momentum()).unwrap();
    let want: f64 = 1.2 * (293.15 / 273.15 - 1.0) * 9.80665 * 10.0;
    assert!((want - 8.6).abs() < 0.1);
    // Cold air in the riser falls to the unit and draws air in at the top: all of the stack, less the pipe's friction.
    let lost = want - s.opening_suction_pa[0];
    assert!(s.total_flow_m3_s > 0.0 && lost > 0.0 && lost < 1.0, "{want} {:?}", s.opening_suction_pa);
    p.segments[0].air_temperature_c = Some(40.0);
    assert!(solve(&p, &without_momentum()).unwrap().total_flow_m3_s < 0.0);
}

/// Cold air: what counts is mass. A hole in a cold run, no friction to speak of: m = Cd A sqrt(2 rho_cold dp).
#[test]
fn cold_air_expands_on_its_way() {
    let mut p = one_pipe(1e-3, 100.0, 0.003);
    p.segments[0].air_temperature_c = Some(-25.0);
    let s = solve(&p, &without_momentum()).unwrap();
    let rho: f64 = 1.2 * 293.15 / 248.15;
    let mass = 0.62 * PI * 0.003f64.powi(2) / 4.0 * (2.0 * rho * 100.0).sqrt();
    assert!((s.total_flow_m3_s * 1.2 / mass - 1.0).abs() < 1e-4);
}

/// Momentum theorem, one hole in a frictionless run: P + rho V^2 is continuous along it, and the wall at the hole feels
/// the mean of before and after.
#[test]
fn momentum_at_one_hole() {
    let mut p = empty();
    let (a, b, c) = (node(&mut p), node(&mut p), node(&mut p));
    p.inlets.push(inlet(1, Some(a)));
    p.segments.extend([segment(a, b, 1e-6), segment(b, c, 1e-6)]);
    p.openings.extend([hole(b, 1, 0.006), hole(c, 2, 0.008)]);
    p.unit.drive = Drive::InletSuction(vec![50.0]);
    p.air.given = Some(GivenAir { density: 1.2, viscosity: 1.8e-5 });
    let s = solve(&p, &SolveOptions { tolerance: 1e-12, ..SolveOptions::default() }).unwrap();
    let area = PI * 0.021f64.powi(2) / 4.0;
    let (v1, v2) = (s.segment_flow_m3_s[1] / area, s.segment_flow_m3_s[0] / area);
    let step = 1.2 * (v2 * v2 - v1 * v1);
    assert!(step > 1.0);
    assert!((s.inlet_suction_pa[0] - s.opening_suction_pa[1] - step).abs() < 1e-3 * step, "{step} {s:?}");
    assert!((s.opening_suction_pa[0] - 0.5 * (s.inlet_suction_pa[0] + s.opening_suction_pa[1])).abs() < 1e-3 * step);
}

/// A ring of two equal ways carries half each; suction and hole then give the closed form of one pipe at half flow.
#[test]
fn ring_of_two_equal_ways() {
    let mut p = empty();
    let n: Vec<u32> = (0..4).map(|_| node(&mut p)).collect();
    p.inlets.push(inlet(1, Some(n[0])));
    p.segments.extend([
        segment(n[0], n[1], 30.0),
        segment(n[1], n[3], 30.0),
        segment(n[0], n[2], 30.0),
        segment(n[2], n[3], 30.0),
    ]);
    p.openings.push(hole(n[3], 1, 0.002));
    p.unit.drive = Drive::InletSuction(vec![80.0]);
    p.air.given = Some(GivenAir { density: 1.2, viscosity: 1.8e-5 });
    let s = solve(&p, &without_momentum()).unwrap();
    let a = 128.0 * 1.8e-5 * 60.0 / (PI * 0.021f64.powi(4)) / 2.0;
    let c = 1.2 / (2.0 * (0.62 * PI * 0.002f64.powi(2) / 4.0).powi(2));
    let q = (-a + (a * a + 4.0 * c * 80.0).sqrt()) / (2.0 * c);
    assert!((s.total_flow_m3_s / q - 1.0).abs() < 1e-11, "{} {q}", s.total_flow_m3_s);
    for k in 0..4 {
        assert!((s.segment_flow_m3_s[k] / q - 0.5).abs() < 1e-11, "{k}");
    }
}
