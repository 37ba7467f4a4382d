//! How much faster than real time a simulated job runs, and what a steady state costs.
//!
//! "elements" are simulated seconds: criterion's elements per second is the factor over real time.
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use plumeline_base::Instant;
use plumeline_simulator::{
    Scenario, Simulation,
    demo::straight_pipes,
    models::invented::air_path,
    physics::{Laws, steady},
    scenario::Which,
};
use std::hint::black_box;

fn site(pipes: &[u32]) -> Scenario {
    Scenario::new(straight_pipes(pipes, 4.0, 3e-3, air_path(Which::Replacement)), 1)
}
/// An hour and a half: a swap, 20 holes closed and opened, a smoke run for each pipe. `drain` takes what the unit sends.
fn job(scenario: Scenario, pipes: u8) -> usize {
    let Ok(mut sim) = Simulation::new(scenario, Instant::START) else { return 0 };
    let mut bytes = 0;
    let mut go = |sim: &mut Simulation, to: u64| {
        while let Some(at) = sim.poll_timeout().filter(|at| *at <= Instant::from_secs(to)) {
            sim.handle_timeout(at);
            while let Some(b) = sim.poll_transmit() {
                bytes += b.len();
            }
        }
    };
    let at = Instant::from_secs;
    go(&mut sim, 600);
    sim.handle_control(at(600), r#"{"do":"swap"}"#);
    go(&mut sim, 660);
    let mut t = 660;
    // Hello and a stream of 2 Hz, as a tool does.
    let mut out = [0; plumewire::MAX_WIRE];
    let hello = plumewire::Request::Hello(plumewire::HelloRequest { version_min: 1, version_max: 1, token: 1 });
    if let Ok(len) = plumewire::Message::Request(hello).write(0, 1, &mut out) {
        sim.handle_bytes(at(t), &out[..len]);
    }
    sim.handle_timeout(at(t + 1));
    let mut conversation = 0;
    while let Some(b) = sim.poll_transmit() {
        let mut d = plumewire::Decoder::new();
        if let Some(Ok(f)) = d.next_frame(&mut &b[..]) {
            conversation = f.header.conversation;
        }
    }
    let start = plumewire::Request::ReadingsStart(plumewire::ReadingsStart { rate_hz: 2 });
    if let Ok(len) = plumewire::Message::Request(start).write(conversation, 1, &mut out) {
        sim.handle_bytes(at(t + 1), &out[..len]);
    }
    t += 1;
    for k in 0..20 {
        let (pipe, hole) = (k % pipes + 1, k / pipes + 1);
        sim.handle_control(at(t), &format!(r#"{{"do":"close","pipe":{pipe},"hole":{hole}}}"#));
        go(&mut sim, t + 60);
        sim.handle_control(at(t + 60), &format!(r#"{{"do":"open","pipe":{pipe},"hole":{hole}}}"#));
        go(&mut sim, t + 120);
        t += 120;
    }
    for pipe in 1..=pipes {
        let line = format!(r#"{{"do":"smoke","pipe":{pipe},"hole":10,"obscuration":30,"seconds":30}}"#);
        sim.handle_control(at(t), &line);
        go(&mut sim, t + 300);
        t += 300;
    }
    go(&mut sim, 5400);
    assert!(bytes > 500_000, "the readings were streamed: {bytes}");
    bytes
}

fn benches(c: &mut Criterion) {
    let mut g = c.benchmark_group("job");
    g.throughput(Throughput::Elements(5400));
    g.sample_size(20);
    g.bench_function("2 pipes x 12 holes", |b| b.iter(|| black_box(job(site(&[12, 12]), 2))));
    g.bench_function("4 pipes x 25 holes", |b| b.iter(|| black_box(job(site(&[25; 4]), 4))));
    g.finish();
    let mut g = c.benchmark_group("steady");
    for (name, holes) in [("1 x 10", vec![10]), ("4 x 25", vec![25; 4])] {
        let p = site(&holes).pipework;
        g.bench_function(name, |b| b.iter(|| black_box(steady(&p, Laws::default()))));
    }
    g.finish();
}
criterion_group!(speed, benches);
criterion_main!(speed);
