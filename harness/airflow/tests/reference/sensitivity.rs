//! The adjoint's derivatives against central differences of the scipy solve.
use crate::{case::Case, data};
use plumeline_airflow::{
    SolveOptions,
    sensitivity::{Gradient, Measurable, gradients},
};
use serde::Deserialize;

#[derive(Deserialize)]
struct Differences {
    case: Case,
    inlets: usize,
    openings: usize,
    nominal: Vec<f64>,
    /// Kind, index (none: common to the pipework), derivative of each measurable by the logarithm of the input.
    gradients: Vec<(String, Option<usize>, Vec<f64>)>,
}

fn by(g: &Gradient, kind: &str, index: Option<usize>) -> f64 {
    match (kind, index) {
        ("diameter", Some(i)) => g.openings[i].diameter,
        ("discharge", Some(i)) => g.openings[i].discharge,
        ("bore", Some(i)) => g.segments[i].bore,
        ("length", Some(i)) => g.segments[i].length,
        ("roughness", Some(i)) => g.segments[i].roughness,
        ("minor_k", Some(i)) => g.segments[i].minor_k,
        ("density", None) => g.density,
        ("viscosity", None) => g.viscosity,
        ("friction", None) => g.friction,
        // The reference moves all losses together, and all volumes.
        ("unit_loss", None) => g.unit_loss + g.inlet_losses.iter().sum::<f64>(),
        ("unit_volume", None) => g.unit_volume + g.inlet_volumes.iter().sum::<f64>(),
        ("fan", None) => g.fan_pressure,
        other => panic!("no derivative by {other:?}"),
    }
}

/// Differences over 2e-4 of an input: good to about 1e-6 of the measurable's largest derivative.
#[test]
fn derivatives_agree_with_differences() {
    let d: Differences = data("monte_carlo.json");
    let measurables: Vec<Measurable> = (0..d.inlets)
        .map(Measurable::InletFlow)
        .chain((0..d.openings).map(Measurable::OpeningFlow))
        .chain((0..d.openings).map(Measurable::MeanTime))
        .collect();
    assert!(d.gradients.len() > 60 && measurables.len() == d.nominal.len());
    let options = SolveOptions { momentum: false, tolerance: 1e-12, ..SolveOptions::default() };
    let got = gradients(&d.case.pipework(), &options, &measurables).unwrap();
    for (m, g) in got.iter().enumerate() {
        let largest = d.gradients.iter().fold(0.0_f64, |l, (_, _, of)| l.max(of[m].abs()));
        assert!((g.value / d.nominal[m] - 1.0).abs() < 1e-8, "{:?}: {}, {}", measurables[m], g.value, d.nominal[m]);
        for (kind, index, of) in &d.gradients {
            let derivative = by(g, kind, *index);
            assert!(
                (derivative - of[m]).abs() < 3e-6 * largest,
                "{:?} by {kind} {index:?}: {derivative}, difference {}",
                measurables[m],
                of[m]
            );
        }
    }
}
