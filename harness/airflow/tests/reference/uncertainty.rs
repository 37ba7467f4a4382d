//! Propagation of tolerances against numpy and scipy: Monte Carlo (JCGM 101:2008) and linear (JCGM 100:2008).
use crate::{apart, case::Case, data};
use plumeline_airflow::{
    SolveOptions,
    uncertainty::{ModelTolerance, PredictOptions, Prediction, predict},
};
use plumeline_base::{
    pipework::{Drive, Known, Tolerance},
    quantity::Estimate,
};
use serde::Deserialize;

#[derive(Deserialize)]
struct Tolerances {
    diameter: (f64, f64),
    discharge: (f64, f64),
    bore: (f64, f64),
    length: (f64, f64),
    roughness: (f64, f64),
    minor_k: (f64, f64),
}

#[derive(Deserialize)]
struct Model {
    density: f64,
    viscosity: f64,
    friction: f64,
    unit_loss: f64,
    unit_volume: f64,
}

/// Lists run over inlet flows, opening flows, mean times, in that order.
#[derive(Deserialize)]
struct Propagated {
    case: Case,
    known: Tolerances,
    model: Model,
    fan_pressure: f64,
    draws: u64,
    nominal: Vec<f64>,
    linear_common: Vec<f64>,
    linear_individual: Vec<f64>,
    linear_inlet_covariance: Vec<Vec<f64>>,
    monte_carlo_u: Vec<f64>,
    monte_carlo_inlet_covariance: Vec<Vec<f64>>,
    monte_carlo_interval95: Vec<(f64, f64)>,
}

impl Propagated {
    fn predict(&self) -> Prediction {
        let mut pipework = self.case.pipework();
        let tolerance = |(common, individual)| Tolerance { common, individual };
        let known = &self.known;
        pipework.known = vec![Known {
            diameter: tolerance(known.diameter),
            discharge: tolerance(known.discharge),
            bore: tolerance(known.bore),
            length: tolerance(known.length),
            roughness: tolerance(known.roughness),
            minor_k: tolerance(known.minor_k),
            ..Known::default()
        }];
        if let Drive::Fan(fan) = &mut pipework.unit.drive {
            fan.u_pressure = self.fan_pressure;
        }
        let m = &self.model;
        let model = ModelTolerance {
            density: m.density,
            viscosity: m.viscosity,
            friction: m.friction,
            friction_form: 0.0,
            unit_loss: m.unit_loss,
            suction: 0.0,
            unit_volume: m.unit_volume,
        };
        let solve = SolveOptions { momentum: false, tolerance: 1e-12, ..SolveOptions::default() };
        let options = PredictOptions { solve, model, draws: 40_000, seed: 7, ..PredictOptions::default() };
        predict(&pipework, &options).unwrap()
    }
}

/// Inlet flows, opening flows, mean times.
fn estimates(p: &Prediction) -> Vec<Estimate> {
    let inlets = p.inlets.iter().map(|i| i.flow_m3_s);
    inlets.chain(p.openings.iter().map(|o| o.flow_m3_s)).chain(p.openings.iter().map(|o| o.mean_s)).collect()
}

fn list(of: &[Estimate], what: impl Fn(&Estimate) -> f64) -> Vec<f64> {
    of.iter().map(what).collect()
}

fn agree(what: &str, got: &[f64], reference: &[f64], tolerance: f64) {
    let worst = apart(got, reference, 0.0);
    assert!(worst <= tolerance, "{what} apart by {worst:e}, tolerance {tolerance:e}:\n{got:?}\n{reference:?}");
}

/// Values to 1e-8. Common and individual parts, linear on both sides, to 1e-4 (the reference's are differences).
#[test]
fn linear_propagation_agrees_with_differences() {
    let d: Propagated = data("monte_carlo.json");
    let got = estimates(&d.predict());
    agree("values", &list(&got, |e| e.value), &d.nominal, 1e-8);
    agree("common parts", &list(&got, |e| e.u_common), &d.linear_common, 1e-4);
    agree("individual parts", &list(&got, |e| e.u_individual), &d.linear_individual, 1e-4);
}

/// Two independent samples, 10,000 draws there and 40,000 here: one standard deviation is known to 0.7 % and 0.35 %, so
/// 3 % is four sigma of their difference for any one of the 26 measurables; the ends of an interval scatter wider.
#[test]
fn monte_carlo_agrees_with_numpy() {
    let d: Propagated = data("monte_carlo.json");
    assert!(d.draws >= 10_000);
    let p = d.predict();
    let got = estimates(&p);
    agree("combined uncertainties", &list(&got, Estimate::u), &d.monte_carlo_u, 0.03);
    agree("covariance", &p.inlet_covariance.concat(), &d.monte_carlo_inlet_covariance.concat(), 0.05);
    agree("covariance, linear", &p.inlet_covariance.concat(), &d.linear_inlet_covariance.concat(), 0.05);
    let flows = p.inlets.iter().map(|i| i.flow_interval95);
    let openings = d.nominal.len() - p.inlets.len();
    let times = p.openings.iter().map(|o| o.mean_interval95);
    let reference = &d.monte_carlo_interval95;
    let expected = reference[..p.inlets.len()].iter().chain(&reference[p.inlets.len() + openings / 2..]);
    let u = d.monte_carlo_u[..p.inlets.len()].iter().chain(&d.monte_carlo_u[p.inlets.len() + openings / 2..]);
    for (((low, high), (a, b)), u) in flows.chain(times).zip(expected).zip(u) {
        assert!((low - a).abs() < 0.25 * u && (high - b).abs() < 0.25 * u, "{low} to {high}, numpy {a} to {b}");
        assert!(((high - low) / (b - a) - 1.0).abs() < 0.05, "{low} to {high}, numpy {a} to {b}");
    }
}
