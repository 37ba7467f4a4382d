//! What an opening draws alone, against solves of the pipework with the others blocked.
#![allow(clippy::unwrap_used, clippy::panic)]
mod common;
use common::*;
use plumeline_airflow::{
    SolveOptions, solve,
    uncertainty::{
        PredictOptions,
        alone::{Alone, alone},
    },
};
use plumeline_base::pipework::*;

fn fan(p: &mut Pipework) -> &mut Fan {
    match &mut p.unit.drive {
        Drive::Fan(fan) => fan,
        Drive::InletSuction(_) => panic!("these have a fan"),
    }
}

/// The share of this opening's pipe, with its others blocked.
fn solved(p: &Pipework, opening: usize) -> f64 {
    let inlet = p.openings_by_inlet().iter().position(|own| own.contains(&opening)).unwrap();
    let mut blocked = p.clone();
    for &other in p.openings_by_inlet()[inlet].iter().filter(|o| **o != opening) {
        blocked.openings[other].blocked = true;
    }
    let flow = |p: &Pipework| solve(p, &SolveOptions::default()).unwrap().inlet_flow_m3_s[inlet];
    flow(&blocked) / flow(p)
}

#[test]
fn it_is_what_a_solve_with_the_others_blocked_gives() {
    let p = four_by_25();
    let all = alone(&p, &PredictOptions::default()).unwrap();
    assert_eq!(all.len(), p.openings.len());
    for one in all.iter().step_by(7) {
        let share = solved(&p, one.opening);
        assert!((one.share.value / share - 1.0).abs() < 1e-6, "{} {share}", one.share.value);
        assert!(one.share.value > 1.0 / 25.0, "alone it has more suction than among the others: {}", one.share.value);
        assert!(one.share.is_sound() && one.share.u_individual > 0.0 && one.suction_pa > 0.0);
    }
}

#[test]
fn it_moves_as_its_uncertainty_says() {
    let options = PredictOptions::default();
    let mut p = four_by_25();
    fan(&mut p).u_pressure = 0.0;
    p.known = vec![Known { discharge: Tolerance { common: 0.002, individual: 0.0 }, ..Known::default() }];
    let before = alone(&p, &options).unwrap();
    p.openings.iter_mut().for_each(|o| o.discharge *= 1.002);
    let after = alone(&p, &options).unwrap();
    for (b, a) in before.iter().zip(&after) {
        let (moved, said) = ((a.share.value - b.share.value).abs(), b.share.u());
        assert!((moved - said).abs() < 0.02 * said + 1e-5 * b.share.value, "{}: {moved} {said}", b.opening);
    }
}

#[test]
fn the_only_opening_of_a_pipe_draws_all_of_it() {
    let mut p = four_by_25();
    let only = p.openings_by_inlet()[0][3];
    for other in p.openings_by_inlet()[0].clone() {
        p.openings[other].blocked = other != only;
    }
    let all: Vec<Alone> = alone(&p, &PredictOptions::default()).unwrap();
    let one = all.iter().find(|a| a.opening == only).unwrap();
    assert!((one.share.value - 1.0).abs() < 1e-9 && one.share.u() < 1e-9, "{:?}", one.share);
}
