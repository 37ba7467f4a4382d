//! Spread along a pipe against Taylor 1953/1954 and Aris 1956, and against the radial problem solved numerically.
use crate::{case::Case, data};
use plumeline_airflow::{
    Solution, SolveOptions,
    friction::{FrictionLaw, factor},
    solve,
    transport::{OpeningTransport, Regime, TransportOptions, times},
};
use plumeline_base::pipework::*;
use serde::Deserialize;

#[derive(Deserialize)]
struct Dispersion {
    /// 1/48, found numerically.
    taylor_coefficient: f64,
    /// D t / a^2.
    time: Vec<f64>,
    /// Variance of position over a^2 Pe^2 at those times, axial diffusion apart.
    variance: Vec<f64>,
    chain: Chain,
}

/// Parcels followed through a laminar pipe with holes, put on another streamline at each hole.
#[derive(Deserialize)]
struct Chain {
    case: Case,
    /// Of each hole: 1 %, 50 %, half the way from 16 % to 84 %, s.
    first_half_spread: Vec<(f64, f64, f64)>,
}

const BORE: f64 = 0.021;

/// One pipe with all its air from an open end, solved.
fn pipe(length_m: f64, suction: f64) -> (Pipework, Solution) {
    let pipework = Pipework {
        name: "one pipe".into(),
        nodes: vec![Node::default(); 2],
        segments: vec![Segment {
            near: 0,
            far: 1,
            kind: SegmentKind::Pipe,
            length_m,
            bore_m: BORE,
            roughness_m: 0.0,
            minor_k: 0.0,
            air_temperature_c: None,
            known: 0,
        }],
        openings: vec![Opening {
            node: 1,
            number: 1,
            kind: OpeningKind::OpenEnd,
            diameter_m: BORE,
            discharge: 0.8,
            blocked: false,
            outside_pa: 0.0,
            reachable: true,
            known: 0,
            whereabouts: Default::default(),
        }],
        inlets: vec![Inlet { number: 1, node: Some(0), loss: Loss::default(), bore_m: BORE, volume_m3: 0.0 }],
        unit: AirPath {
            loss: Loss::default(),
            volume_m3: 0.0,
            sensor_lag_s: 0.0,
            drive: Drive::InletSuction(vec![suction]),
            exhaust_loss: Loss::default(),
            exhaust_pa: 0.0,
            exhaust_elevation_m: 0.0,
        },
        air: Air {
            temperature_c: 20.0,
            pressure_pa: 101_325.0,
            relative_humidity: 0.0,
            given: Some(GivenAir { density: 1.2, viscosity: 1.8e-5 }),
        },
        known: vec![Known::default()],
        walk: Vec::new(),
    };
    let solution = solve(&pipework, &SolveOptions { momentum: false, ..SolveOptions::default() }).unwrap();
    (pipework, solution)
}

struct Run {
    /// Mean velocity, m/s, mean time, s, Reynolds number.
    velocity: f64,
    time: f64,
    re: f64,
    pipework: Pipework,
    solution: Solution,
}

impl Run {
    fn new(length: f64, suction: f64) -> Self {
        let (pipework, solution) = pipe(length, suction);
        let velocity = solution.total_flow_m3_s / (core::f64::consts::PI * BORE * BORE / 4.0);
        Self { velocity, time: length / velocity, re: velocity * BORE * 1.2 / 1.8e-5, pipework, solution }
    }

    fn with_diffusivity(&self, diffusivity_m2_s: f64) -> OpeningTransport {
        times(&self.pipework, &self.solution, &TransportOptions { diffusivity_m2_s, ..TransportOptions::default() })[0]
    }
}

/// Mixed across the bore by diffusion: one sigma of the arrival from the radial problem solved numerically.
#[test]
fn taylor_aris_spread_agrees_with_the_radial_problem() {
    let d: Dispersion = data("dispersion.json");
    assert!((d.taylor_coefficient * 48.0 - 1.0).abs() < 1e-5);
    let run = Run::new(40.0, 40.0);
    assert!(run.re > 300.0 && run.re < 1900.0, "{}", run.re);
    let a = BORE / 2.0;
    let mut seen = 0;
    for (&t, &variance) in d.time.iter().zip(&d.variance).filter(|(t, _)| **t >= 5.0) {
        let diffusivity = t * a * a / run.time;
        let peclet = a * run.velocity / diffusivity;
        let sigma = (a * a * peclet * peclet * variance + 2.0 * diffusivity * run.time).sqrt() / run.velocity;
        let got = run.with_diffusivity(diffusivity);
        assert_eq!(got.regime, Regime::TaylorAris, "D t / a2 = {t}");
        assert!((got.mean_s / run.time - 1.0).abs() < 1e-9);
        assert!((got.spread_s / sigma - 1.0).abs() < 0.03, "D t / a2 = {t}: {} s, numerically {sigma} s", got.spread_s);
        seen += 1;
    }
    assert!(seen >= 3);
}

/// Carried by the parabola alone: F(t) = 1 - (mean / 2t)^2 from half the mean on (Taylor 1953, section A).
#[test]
fn convective_arrival_agrees_with_the_parabolic_profile() {
    let d: Dispersion = data("dispersion.json");
    // The numerical side bears out that at D t / a2 = 0.001 the radial mixing takes off under 1 % of the variance t^2 / 3.
    assert!((d.variance[0] / (d.time[0] * d.time[0] / 3.0) - 1.0).abs() < 0.01);
    let run = Run::new(40.0, 40.0);
    let got = run.with_diffusivity(1e-10);
    assert_eq!(got.regime, Regime::Convective);
    let at = |fraction: f64| run.time / 2.0 / (1.0_f64 - fraction).sqrt();
    for (what, got, expected) in [
        ("first 1 %", got.first_s, at(0.01)),
        ("half", got.half_plateau_s, at(0.5)),
        ("16 to 84 %", got.spread_s, (at(0.84) - at(0.16)) / 2.0),
    ] {
        assert!((got / expected - 1.0).abs() < 0.02, "{what}: {got} s, expected {expected} s");
    }
}

/// Ten runs one after the other, against a million parcels followed in Python.
#[test]
fn arrivals_through_many_runs_agree_with_followed_parcels() {
    let chain = data::<Dispersion>("dispersion.json").chain;
    let pipework = chain.case.pipework();
    let solution = solve(&pipework, &SolveOptions { momentum: false, ..SolveOptions::default() }).unwrap();
    let got = times(&pipework, &solution, &TransportOptions::default());
    assert!(got.len() == chain.first_half_spread.len() && got.len() >= 10);
    for (i, (t, (first, half, spread))) in got.iter().zip(chain.first_half_spread).enumerate() {
        for (what, got, followed) in
            [("first", t.first_s, first), ("half", t.half_plateau_s, half), ("spread", t.spread_s, spread)]
        {
            assert!((got / followed - 1.0).abs() < 0.02, "hole {i}, {what}: {got} s, followed {followed} s");
        }
    }
}

/// K = 10.1 a u* (Taylor 1954); one sigma = sqrt(2 K t) / U.
#[test]
fn turbulent_spread_agrees_with_taylor_1954() {
    let run = Run::new(60.0, 2500.0);
    assert!(run.re > 5000.0, "{}", run.re);
    let shear = run.velocity * (factor(FrictionLaw::Churchill, run.re, 0.0) / 8.0).sqrt();
    let sigma = (2.0 * 10.1 * BORE / 2.0 * shear * run.time).sqrt() / run.velocity;
    let got = run.with_diffusivity(1e-10);
    assert_eq!(got.regime, Regime::Turbulent);
    assert!((got.spread_s / sigma - 1.0).abs() < 0.03, "{} s, expected {sigma} s", got.spread_s);
    let first = run.time - 2.326 * sigma;
    assert!((got.first_s / first - 1.0).abs() < 0.03, "{} s, expected {first} s", got.first_s);
}
