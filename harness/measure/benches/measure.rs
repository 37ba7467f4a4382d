//! What settling costs per reading, and one analysis of a smoke run.
#![allow(clippy::unwrap_used)]
use criterion::{Criterion, criterion_group, criterion_main};
use plumeline_base::Instant;
use plumeline_measure::{
    Sample,
    settle::{Rule, Settler},
    smoke,
};
use std::hint::black_box;

#[allow(unreachable_pub)]
#[path = "../tests/signals/mod.rs"]
mod signals;
use signals::{Dice, at};

fn flow(n: u32, hz: f64) -> Vec<Sample> {
    let mut dice = Dice::new(1);
    (0..n).map(|i| Sample::new(at(f64::from(i) / hz), 40.0 + 0.2 * dice.normal())).collect()
}

fn benches(c: &mut Criterion) {
    let hour = flow(36_000, 10.0);
    c.bench_function("settle: an hour at 10 Hz, the state asked for at every reading", |b| {
        b.iter(|| {
            let mut settler = Settler::new(Rule::default(), Instant::START);
            hour.iter().for_each(|s| {
                settler.push(*s);
                black_box(settler.state(s.at));
            });
        });
    });
    for hz in [1.0, 10.0] {
        let mut dice = Dice::new(2);
        let all: Vec<Sample> = (0..(420.0 * hz) as u32)
            .map(|i| f64::from(i) / hz)
            .map(|t| Sample::new(at(t), 30.0 * (1.0 - (30.0 / (30.0 + (t - 150.0).max(0.0))).powi(2)) + dice.normal()))
            .collect();
        let (before, after) = all.split_at((120.0 * hz) as usize);
        let release = smoke::Release::by_hand(at(120.0));
        c.bench_function(&format!("smoke: seven minutes at {hz} Hz, laminar arrival"), |b| {
            b.iter(|| smoke::analyse(before, after, &release, &smoke::Rule::default()));
        });
    }
}
criterion_group!(all, benches);
criterion_main!(all);
