//! Friction factors against library `fluids`, EPANET itself, and printed tables.
use crate::data;
use plumeline_airflow::friction::{FrictionLaw, derivative, factor};
use serde::Deserialize;

type Table = Vec<Vec<Option<f64>>>;

#[derive(Deserialize)]
struct Friction {
    re: Vec<f64>,
    relative_roughness: Vec<f64>,
    /// fluids 1.3.1, `Churchill_1977`.
    churchill: Table,
    /// fluids 1.3.1, `Colebrook` to the last digit; turbulent only.
    colebrook: Table,
    /// As EPANET 2.3.5 computes it, from the head its pipes lose.
    hagen_dunlop_swamee_jain: Table,
    /// White, Fluid Mechanics: smooth walls, f against Re (from memory).
    printed_smooth: Vec<(f64, f64)>,
    /// Crane TP-410 (2009): complete turbulence in commercial steel, f against e/D (from memory).
    printed_rough: Vec<(f64, f64)>,
}

fn compare(law: FrictionLaw, table: &Table, d: &Friction) {
    let mut seen = 0;
    for (row, &rel) in table.iter().zip(&d.relative_roughness) {
        for (f, &re) in row.iter().zip(&d.re) {
            if let Some(f) = f {
                let got = factor(law, re, rel);
                assert!((got / f - 1.0).abs() < 1e-9, "{law:?} at Re {re}, e/D {rel}: {got}, reference {f}");
                seen += 1;
            }
        }
    }
    assert!(seen >= 90, "{seen} points");
}

#[test]
fn churchill_agrees_with_fluids() {
    let d: Friction = data("friction.json");
    compare(FrictionLaw::Churchill, &d.churchill, &d);
}

#[test]
fn colebrook_agrees_with_fluids() {
    let d: Friction = data("friction.json");
    compare(FrictionLaw::Colebrook, &d.colebrook, &d);
}

#[test]
fn the_set_of_general_solvers_agrees_with_epanet() {
    let d: Friction = data("friction.json");
    compare(FrictionLaw::HagenDunlopSwameeJain, &d.hagen_dunlop_swamee_jain, &d);
}

/// Printed to four decimals, with the Prandtl constants 2.0 and 0.8.
#[test]
fn colebrook_agrees_with_the_printed_smooth_table() {
    for (re, f) in data::<Friction>("friction.json").printed_smooth {
        let got = factor(FrictionLaw::Colebrook, re, 0.0);
        assert!((got - f).abs() < 1e-4, "Re {re}: {got}, printed {f}");
    }
}

/// Printed to three decimals.
#[test]
fn colebrook_agrees_with_the_printed_rough_table() {
    for (rel, f) in data::<Friction>("friction.json").printed_rough {
        let got = factor(FrictionLaw::Colebrook, 1e12, rel);
        assert!((got - f).abs() < 6e-4, "e/D {rel}: {got}, printed {f}");
    }
}

/// The slopes that Newton steps use, against central differences of the factor itself; over the knots of the laws too.
#[test]
fn slopes_agree_with_differences() {
    for law in [FrictionLaw::Churchill, FrictionLaw::HagenDunlopSwameeJain, FrictionLaw::Colebrook] {
        for rel in [0.0, 7e-5, 2e-3, 0.03] {
            for i in 0..240 {
                let re = 3.0 * 1.08_f64.powi(i);
                let h = re * 1e-5;
                let difference = (factor(law, re + h, rel) - factor(law, re - h, rel)) / (2.0 * h);
                let slope = derivative(law, re, rel);
                let scale = factor(law, re, rel) / re;
                assert!((slope - difference).abs() < 1e-6 * scale, "{law:?} Re {re} e/D {rel}: {slope}, {difference}");
            }
        }
    }
}
