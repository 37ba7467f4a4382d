//! Random networks, sane to absurd: each is solved to its equations, written a second time, or refused with a reason and a
//! remedy; none panics, hangs or lies. Not here: what must hold between networks (see `properties.rs`).
#![allow(clippy::unwrap_used, clippy::panic)]
mod common;
use common::{
    equations::misfits,
    random::{Kind, network},
};
use plumeline_airflow::{AirflowError, SolveError, SolveOptions, friction::FrictionLaw, solve};

/// Largest imbalance accepted: mass relative to all flow, pressure relative to the largest pressure.
const MASS: f64 = 1e-13;
const ENERGY: f64 = 1e-8;

#[derive(Debug, Default)]
struct Tally {
    solved: u32,
    refused: u32,
    unsettled: u32,
    most_steps: u32,
    worst: (f64, f64),
}

fn run(seeds: std::ops::Range<u64>, kind: Kind) -> Tally {
    let mut tally = Tally::default();
    for seed in seeds {
        let p = network(seed, kind);
        let options = SolveOptions { momentum: seed % 3 != 0, ..SolveOptions::default() };
        match solve(&p, &options) {
            Ok(s) => {
                let numbers = s.opening_flow_m3_s.iter().chain(&s.segment_flow_m3_s).chain(&s.node_pressure_pa);
                assert!(numbers.chain([&s.total_flow_m3_s]).all(|x| x.is_finite()), "{kind:?} {seed}");
                let (mass, energy) = misfits(&p, &options, &s);
                // An absurd one may circulate far more than its openings pass, and rounding goes with what circulates.
                let mass_limit = if kind == Kind::Absurd { 1e4 * MASS } else { MASS };
                assert!(
                    mass <= mass_limit && energy <= ENERGY,
                    "{kind:?} {seed}: mass {mass:e}, energy {energy:e}, {:?}",
                    s.residual
                );
                tally.solved += 1;
                tally.most_steps = tally.most_steps.max(s.iterations);
                tally.worst = (tally.worst.0.max(mass), tally.worst.1.max(energy));
            }
            Err(AirflowError::Build(e)) => {
                assert!(kind != Kind::Plain && !e.fault.remedy().is_empty(), "{kind:?} {seed}: {e}");
                tally.refused += 1;
            }
            Err(AirflowError::Solve(e @ (SolveError::NotConverged { .. } | SolveError::Overflow { .. }))) => {
                println!("{kind:?} {seed}: {e}");
                tally.unsettled += 1;
            }
            Err(e) => panic!("{kind:?} {seed}: {e}"),
        }
    }
    println!("{kind:?}: {tally:?}");
    tally
}

/// What one law solves, the others solve: a prediction's uncertainty asks all of them.
#[test]
fn every_law_solves_what_one_solves() {
    for (kind, seeds) in [(Kind::Plain, 0..400), (Kind::Odd, 0..400)] {
        let (mut solved, mut open) = (0, Vec::new());
        for seed in seeds {
            let p = network(seed, kind);
            let by = |friction| solve(&p, &SolveOptions { friction, ..SolveOptions::default() }).is_ok();
            if by(FrictionLaw::Churchill) {
                solved += 1;
                open.extend(FrictionLaw::ALL.into_iter().filter(|law| !by(*law)).map(|law| (seed, law)));
            }
        }
        assert!(solved > 300 && open.is_empty(), "{kind:?}: {open:?} of {solved}");
    }
}

fn all(count: u64) {
    let plain = run(0..count / 4, Kind::Plain);
    assert_eq!((plain.refused, plain.unsettled), (0, 0));
    let odd = run(count / 4..count / 2, Kind::Odd);
    // A job whose holes all happen to be closed is refused, rightly.
    assert!(odd.refused < odd.solved / 20 && odd.unsettled * 10_000 <= odd.solved, "{odd:?}");
    let absurd = run(count / 2..count, Kind::Absurd);
    assert!(absurd.solved > 0 && absurd.refused > 0);
    assert!(absurd.unsettled * 100 < absurd.solved, "{absurd:?}");
}

#[test]
fn some_random_networks() {
    all(4_000);
}

/// The full count: `cargo test --release -p plumeline-airflow --test random_networks -- --ignored --nocapture`.
#[test]
#[ignore = "takes about a minute; run by the full checks"]
fn a_hundred_thousand_random_networks() {
    all(100_000);
}
