//! The engine against references made without it: general solvers, libraries, printed tables, worked examples.
//!
//! `scripts/reference/make.py` makes `tests/data/*.json`; `scripts/reference/check.sh` makes them anew and compares. What is
//! checked against which source, and how closely: `docs/outside-checks.md`. Not here: properties and unit tests.
#![allow(clippy::panic, clippy::unwrap_used, reason = "a test fails by panicking, its helpers as well")]
mod air;
mod case;
mod dispersion;
mod friction;
mod networks;
mod sensitivity;
mod textbook;
mod uncertainty;

use serde::de::DeserializeOwned;

/// A file of `tests/data`.
fn data<T: DeserializeOwned>(name: &str) -> T {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// Largest difference of two lists, each entry relative to the reference or, where that is smaller, to `floor` times
/// the largest reference.
fn apart(got: &[f64], reference: &[f64], floor: f64) -> f64 {
    assert_eq!(got.len(), reference.len());
    let largest = reference.iter().fold(0.0_f64, |m, r| m.max(r.abs()));
    let mut worst = 0.0_f64;
    for (g, r) in got.iter().zip(reference) {
        let d = (g - r).abs() / r.abs().max(floor * largest);
        // A NaN must not pass for agreement.
        worst = if d <= worst { worst } else { d };
    }
    worst
}
