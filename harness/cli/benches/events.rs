//! Events a second through the procedure alone, and records a second through a strict replay, over the whole small job of
//! `demo-traces/clean`.
#![allow(clippy::unwrap_used, reason = "a benchmark without its data has nothing to measure")]
use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use plumeline_base::input::{Event, Input};
use plumeline_procedure::Procedure;
use plumeline_runtime::{
    job_files::Files,
    port,
    replay::{Against, Keeps, replay},
};
use plumeline_trace::{LogReader, Logged};
use std::path::Path;

fn benches(c: &mut Criterion) {
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-traces/clean");
    let log = std::fs::read(job.join("trace.pcapng")).unwrap();
    let journal = std::fs::read(job.join("journal.jsonl")).unwrap();
    let (mut files, mut events, mut records) = (Files::default(), Vec::new(), 0);
    for entry in LogReader::new(&log[..]) {
        let record = entry.unwrap().record;
        records += 1;
        let Logged::Input(input) = record.what else { continue };
        if let Input::File { name, bytes } = &input {
            files.0.push((name.clone(), bytes.clone()));
        }
        events.push(Event { at: record.at, input });
    }
    let inputs = files.check().unwrap().inputs;

    let mut group = c.benchmark_group("job");
    group.throughput(Throughput::Elements(events.len() as u64));
    group.bench_function("events through the procedure", |b| {
        let fresh = || Procedure::new(inputs.clone(), port::drivers(&files));
        b.iter_batched(
            fresh,
            |mut procedure| {
                let mut effects = 0;
                for event in &events {
                    procedure.handle(event);
                    while procedure.poll_effect().is_some() {
                        effects += 1;
                    }
                }
                assert!(!procedure.is_running());
                effects
            },
            BatchSize::LargeInput,
        );
    });
    group.throughput(Throughput::Elements(records));
    group.sample_size(20);
    group.bench_function("records through a strict replay, prediction and log included", |b| {
        b.iter(|| {
            let against = Against::Journal(journal.clone());
            replay(LogReader::new(&log[..]), against, Keeps::Nothing, None).map(|r| r.records).ok().unwrap()
        });
    });
    group.finish();
}
criterion_group!(events, benches);
criterion_main!(events);
