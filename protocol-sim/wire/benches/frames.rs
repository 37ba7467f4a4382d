//! Frames a second, both ways, against the plain stack (crates cobs, crc and minicbor, nothing checked beyond the CRC)
//! on the same bytes.
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use minicbor::encode::write::Cursor;
use plumewire::{List, MAX_WIRE, Message, Reading, Report, Sample};
use std::hint::black_box;

static CRC: crc::Crc<u32, crc::Table<1>> = crc::Crc::<u32, crc::Table<1>>::new(&crc::CRC_32_ISCSI);

fn reading() -> Reading {
    let per_inlet = |v| List::from_slice(&[Sample::Value(v); 4]).unwrap_or_default();
    Reading {
        taken_us: 3_600_000_000,
        dropped: 0,
        flow_nl_s: per_inlet(700_000_000),
        obscuration_n_m: per_inlet(12_345),
        fan_mrev_s: Sample::Value(50_000),
        temperature_mk: Sample::Value(295_650),
        supply_mv: Sample::Value(24_000),
        supply_ma: Sample::Value(400),
        inputs: 0,
        outputs: 0,
        faults: plumewire::Faults(0),
        faults_latched: plumewire::Faults(0),
        flow_low: 0,
        flow_high: 0,
        alarms: 0,
        alarms_latched: 0,
        conditions: plumewire::Conditions(0),
    }
}

fn plain_encode(header: &[u8; 11], r: &Reading, out: &mut [u8; MAX_WIRE]) -> Option<usize> {
    let mut plain = [0u8; 1024];
    plain.get_mut(..11)?.copy_from_slice(header);
    let mut e = minicbor::Encoder::new(Cursor::new(plain.get_mut(11..1020)?));
    e.map(17).ok()?.u8(0).ok()?.u64(r.taken_us).ok()?.u8(1).ok()?.u32(r.dropped).ok()?;
    for (key, list) in [(2, &r.flow_nl_s), (3, &r.obscuration_n_m)] {
        e.u8(key).ok()?.array(list.len() as u64).ok()?;
        for v in list.iter() {
            e.i64(v.value()?).ok()?;
        }
    }
    for (key, v) in [(4, r.fan_mrev_s), (5, r.temperature_mk), (6, r.supply_mv), (7, r.supply_ma)] {
        e.u8(key).ok()?.i64(v.value()?).ok()?;
    }
    for key in 8..17 {
        e.u8(key).ok()?.u32(0).ok()?;
    }
    let end = 11 + e.writer().position();
    let check = CRC.checksum(plain.get(..end)?).to_le_bytes();
    plain.get_mut(end..end + 4)?.copy_from_slice(&check);
    let len = cobs::encode(plain.get(..end + 4)?, out.get_mut(1..)?);
    *out.get_mut(len + 1)? = 0;
    Some(len + 2)
}

/// Decodes what `plain_encode` wrote and sums the numbers, so that each is read.
fn plain_decode(wire: &[u8]) -> Option<i64> {
    let mut plain = [0u8; 1024];
    let len = cobs::decode(wire.get(1..wire.len() - 1)?, &mut plain).ok()?.frame_size();
    let (body, check) = plain.get(..len)?.split_last_chunk::<4>()?;
    if CRC.checksum(body) != u32::from_le_bytes(*check) {
        return None;
    }
    let mut d = minicbor::Decoder::new(body.get(11..)?);
    let mut sum = 0;
    for _ in 0..d.map().ok()?? {
        match d.u8().ok()? {
            2 | 3 => {
                for _ in 0..d.array().ok()?? {
                    sum += d.i64().ok()?;
                }
            }
            _ => sum += d.i64().ok()?,
        }
    }
    Some(sum)
}

fn bench(c: &mut Criterion) {
    let message = Message::Report(Report::Reading(reading()));
    let mut wire = [0; MAX_WIRE];
    let len = message.write(0x01020304, 77, &mut wire).unwrap_or_default();
    let header = [1, 4, 0x10, 1, 2, 3, 4, 0, 0, 0, 77];
    let mut other = [0; MAX_WIRE];
    let other_len = plain_encode(&header, &reading(), &mut other);
    assert_eq!(other_len.and_then(|n| other.get(..n)), wire.get(..len), "both stacks must make the same bytes");
    let line = wire.get(..len).unwrap_or_default();

    let mut group = c.benchmark_group("reading");
    group.throughput(Throughput::Elements(1));
    group.bench_function("encode/plumewire", |b| {
        let mut out = [0; MAX_WIRE];
        b.iter(|| black_box(&message).write(0x01020304, 77, &mut out));
    });
    group.bench_function("encode/plain", |b| {
        let (mut out, reading) = ([0; MAX_WIRE], reading());
        b.iter(|| plain_encode(black_box(&header), black_box(&reading), &mut out));
    });
    group.bench_function("decode/plumewire", |b| {
        let mut decoder = plumewire::Decoder::new();
        b.iter(|| {
            let mut rest = black_box(line);
            decoder.next_frame(&mut rest).and_then(Result::ok).map(|f| Message::decode(&f).is_ok())
        });
    });
    group.bench_function("decode/plumewire, frame only", |b| {
        let mut decoder = plumewire::Decoder::new();
        b.iter(|| {
            let mut rest = black_box(line);
            decoder.next_frame(&mut rest).and_then(Result::ok).map(|f| f.payload.len())
        });
    });
    group.bench_function("decode/plain", |b| b.iter(|| plain_decode(black_box(line))));
    group.finish();
}
criterion_group!(benches, bench);
criterion_main!(benches);
