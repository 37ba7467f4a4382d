//! How long the engine takes. `scripts/bench_airflow.py` runs a general solver on the same networks beside it.
#![allow(clippy::unwrap_used)]
#[path = "../tests/common/mod.rs"]
mod common;
use common::*;
use criterion::{BatchSize, BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use plumeline_airflow::{
    Network, SolveOptions, friction,
    sensitivity::{Measurable, gradients},
    solve,
    transport::{TransportOptions, times},
    uncertainty::{PredictOptions, predict},
};
use plumeline_base::pipework::*;
use std::hint::black_box;

/// A tree of about this many nodes: legs like sampling pipes, 24 holes each, on one wide header, so that every size has
/// the same physics.
fn tree(nodes: usize) -> Pipework {
    let mut p = empty();
    let mut header = node(&mut p);
    p.inlets.push(inlet(1, Some(header)));
    for _ in 0..nodes / 25 {
        let next = node(&mut p);
        p.segments.push(Segment { bore_m: 2.0, ..segment(header, next, 1.0) });
        header = next;
        let mut at = header;
        for number in 1..=24 {
            let far = node(&mut p);
            p.segments.push(segment(at, far, 4.0));
            p.openings.push(hole(far, number, 0.0025));
            at = far;
        }
    }
    p.unit.drive = Drive::InletSuction(vec![150.0]);
    p
}

/// One pipe with this many holes, wide enough for all to draw.
fn one_pipe(holes: u32) -> Pipework {
    let mut p = empty();
    let mut at = node(&mut p);
    p.inlets.push(inlet(1, Some(at)));
    for number in 1..=holes {
        let far = node(&mut p);
        p.segments.push(Segment { bore_m: 0.04, ..segment(at, far, 0.1) });
        p.openings.push(hole(far, number, 0.0005));
        at = far;
    }
    p.unit.drive = Drive::InletSuction(vec![150.0]);
    p
}

fn options() -> SolveOptions {
    SolveOptions { momentum: false, tolerance: 1e-8, ..SolveOptions::default() }
}

fn cold_solve(c: &mut Criterion) {
    let mut group = c.benchmark_group("cold solve, 4 x 25");
    for (name, momentum) in [("plain", false), ("momentum", true)] {
        let network = Network::build(&four_by_25(), &SolveOptions { momentum, ..options() }).unwrap();
        let mut ws = network.workspace();
        group.bench_function(name, |b| b.iter(|| network.solve(&mut ws).unwrap().total_flow_m3_s));
    }
    let p = four_by_25();
    group.bench_function("laid out and solved", |b| b.iter(|| solve(&p, &options()).unwrap().total_flow_m3_s));
    group.finish();
}

fn trees(c: &mut Criterion) {
    let mut group = c.benchmark_group("tree");
    group.sample_size(10);
    for nodes in [1_000, 10_000, 100_000, 1_000_000] {
        let p = tree(nodes);
        let network = Network::build(&p, &options()).unwrap();
        let mut ws = network.workspace();
        group.throughput(Throughput::Elements(nodes as u64));
        group.bench_function(BenchmarkId::from_parameter(nodes), |b| {
            b.iter(|| network.solve(&mut ws).unwrap().total_flow_m3_s);
        });
    }
    group.finish();
}

fn uncertainty(c: &mut Criterion) {
    let p = four_by_25();
    let mut group = c.benchmark_group("prediction, 4 x 25");
    group.sample_size(10);
    for draws in [100, 10_000] {
        let options = PredictOptions { draws, ..PredictOptions::default() };
        group.bench_function(format!("{draws} draws"), |b| b.iter(|| predict(&p, &options).unwrap()));
    }
    group.finish();
    // What `plumeline predict` draws unless it is told otherwise; with the feature `threads`, as in the binary, on all cores.
    let (p, options) = (one_pipe(2_000), PredictOptions { draws: 1_000, ..PredictOptions::default() });
    c.benchmark_group("prediction, one pipe")
        .sample_size(10)
        .bench_function("2,000 holes", |b| b.iter(|| predict(&p, &options).unwrap()));
}

fn adjoint(c: &mut Criterion) {
    let p = four_by_25();
    let all: Vec<Measurable> = (0..4)
        .flat_map(|i| [Measurable::InletFlow(i), Measurable::InletSuction(i)])
        .chain(
            (0..100).flat_map(|k| [Measurable::OpeningFlow(k), Measurable::OpeningSuction(k), Measurable::MeanTime(k)]),
        )
        .chain([Measurable::TotalFlow])
        .collect();
    c.bench_function("adjoint of all 309 measurables by all parameters", |b| {
        b.iter(|| gradients(&p, &SolveOptions::default(), &all).unwrap());
    });
    let s = solve(&p, &SolveOptions::default()).unwrap();
    c.bench_function("transport of 100 holes", |b| b.iter(|| times(&p, &s, &TransportOptions::default())));
}

fn friction_law(c: &mut Criterion) {
    let re: Vec<f64> = (0..1024).map(|i| 900.0 + 7.0 * f64::from(i)).collect();
    let mut group = c.benchmark_group("friction factor with slopes");
    group.throughput(Throughput::Elements(1024));
    group.bench_function("Churchill", |b| {
        b.iter_batched_ref(
            || re.clone(),
            |re| re.iter().map(|re| friction::derivative(friction::FrictionLaw::Churchill, *re, 7e-5)).sum::<f64>(),
            BatchSize::SmallInput,
        );
    });
    group.bench_function("Churchill as printed, libm, no slopes", |b| {
        b.iter(|| black_box(&re).iter().map(|re| as_printed(*re, 7e-5)).sum::<f64>());
    });
    group.finish();
}

fn as_printed(re: f64, rough: f64) -> f64 {
    let a = libm::pow(2.457 * libm::log(1.0 / (libm::pow(7.0 / re, 0.9) + 0.27 * rough)), 16.0);
    let b = libm::pow(37_530.0 / re, 16.0);
    8.0 * libm::pow(libm::pow(8.0 / re, 12.0) + libm::pow(a + b, -1.5), 1.0 / 12.0)
}

criterion_group!(benches, cold_solve, trees, uncertainty, adjoint, friction_law);
criterion_main!(benches);
