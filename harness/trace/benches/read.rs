//! How fast a long log is read and written: 8 h of readings at 10 Hz, about 300,000 records.
#![allow(clippy::expect_used)] // A benchmark that can't run should say so at once.
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use plumeline_base::{
    Instant,
    input::{Input, LineId},
};
use plumeline_trace::{FORMAT, LogReader, LogRecord, LogWriter, Logged, TRACE_FILE, fake::FakeDisk};
use std::hint::black_box;

/// One reading of about 70 B every 100 ms, and a timer wake for every third.
fn records() -> Vec<LogRecord> {
    let tool = Input::Tool { version: "0.1.0".into(), format: FORMAT };
    let mut all = vec![LogRecord { at: Instant::START, what: Logged::Input(tool) }];
    for i in 0..225_000_u64 {
        let at = Instant::from_micros(128_000 * i);
        let frame = (0..70_u64).map(|k| (i * 31 + k * 7) as u8).collect();
        all.push(LogRecord { at, what: Logged::Input(Input::Received(LineId::Main, frame)) });
        if i % 3 == 0 {
            all.push(LogRecord { at, what: Logged::Input(Input::Wake) });
        }
    }
    all
}

fn written(records: &[LogRecord]) -> Vec<u8> {
    let disk = FakeDisk::new();
    let mut log = LogWriter::create(disk.clone(), TRACE_FILE).expect("an empty disk");
    for record in records {
        log.append(record).expect("a sound record");
    }
    disk.contents(TRACE_FILE).expect("a log")
}

fn bench(c: &mut Criterion) {
    let records = records();
    let bytes = written(&records);
    let mut group = c.benchmark_group("log of 8 h at 10 Hz");
    group.throughput(Throughput::Elements(records.len() as u64)).sample_size(20);
    group.bench_function("read", |b| {
        b.iter(|| LogReader::new(black_box(&bytes[..])).map(|e| e.expect("a sound log").citation.index).last());
    });
    group.bench_function("write", |b| b.iter(|| written(black_box(&records)).len()));
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
