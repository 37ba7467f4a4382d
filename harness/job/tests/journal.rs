//! The journal: its bytes can be verified by a stranger, an edit anywhere is found, a crash at any write loses nothing
//! that was acknowledged, and no bytes make the reader panic.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it should be")]
use plumeline_base::Instant;
use plumeline_job::{
    Kind, Problem,
    digest::Digest,
    disk::{Disk, fake::FakeDisk},
    journal::{Chain, Citation, Journal, Writer, read},
};
use proptest::prelude::*;
use serde_json::{Value, json};
use std::{path::Path, process::Command};

const PATH: &str = "/job/journal.jsonl";

fn citation(n: u64) -> Citation {
    Citation { offset: 100 * n, index: n, hash: Digest::of(&n.to_le_bytes()) }
}
fn entry(n: u64) -> Value {
    json!({ "entry": "remark", "text": format!("line {n}: \u{e4}, \"quoted\", {}", 0.1 + n as f64) })
}
fn lines(n: u64) -> Vec<u8> {
    let mut chain = Chain::default();
    (0..n).flat_map(|i| chain.line(Instant::from_secs(i), &citation(i), &entry(i)).unwrap()).collect()
}
fn reread(bytes: &[u8]) -> Result<Journal<Value>, Problem> {
    read("journal.jsonl", bytes)
}

#[test]
fn golden_bytes() {
    let mut chain = Chain::default();
    let first = chain.line(Instant::from_micros(5), &citation(1), &json!({ "entry": "line-back" })).unwrap();
    insta::assert_snapshot!(String::from_utf8(first).unwrap());
}

#[test]
fn read_back_as_written() {
    let journal = reread(&lines(20)).unwrap();
    assert_eq!(journal.lines.len(), 20);
    assert_eq!(journal.torn, None);
    for (i, line) in (0..).zip(&journal.lines) {
        assert_eq!((line.seq, &line.entry, line.log), (i, &entry(i), citation(i)));
    }
    assert_eq!(journal.chain.head(), journal.lines[19].hash);
}

/// Python with nothing but its standard library agrees about the chain.
#[test]
fn a_stranger_verifies_the_chain() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scripts/verify_journal.py");
    let dir = std::env::temp_dir().join(format!("plumeline-journal-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let good = lines(20);
    let edited = String::from_utf8(good.clone()).unwrap().replacen("line 7", "line 8", 1).into_bytes();
    for (name, bytes, ok) in [("good.jsonl", &good, true), ("edited.jsonl", &edited, false)] {
        let path = dir.join(name);
        std::fs::write(&path, bytes).unwrap();
        match Command::new("python3").arg(&script).arg(&path).output() {
            Ok(out) => assert_eq!(out.status.success(), ok, "{name}: {}", String::from_utf8_lossy(&out.stdout)),
            // Without Python there is no stranger to ask; the script also runs in CI, where there is one.
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => eprintln!("python3 is not here: not compared"),
            Err(e) => panic!("{e}"),
        }
    }
    std::fs::remove_dir_all(&dir).unwrap();
}

#[test]
fn lines_removed_moved_or_repeated_are_found() {
    let whole = lines(6);
    let all: Vec<&[u8]> = whole.split_inclusive(|b| *b == b'\n').collect();
    let altered = |order: &[usize]| {
        let bytes: Vec<u8> = order.iter().flat_map(|i| all[*i].iter().copied()).collect();
        reread(&bytes).map(|_| ()).map_err(|p| (p.kind(), p.place().unwrap().line))
    };
    assert_eq!(altered(&[0, 1, 3, 4, 5]), Err((Kind::Altered, 3)));
    assert_eq!(altered(&[1, 2, 3]), Err((Kind::Altered, 1)));
    assert_eq!(altered(&[0, 2, 1, 3]), Err((Kind::Altered, 2)));
    assert_eq!(altered(&[0, 1, 1, 2]), Err((Kind::Altered, 3)));
    // Lines cut off the end leave a sound chain: only what cites its head (a seal, a report) can tell.
    assert_eq!(altered(&[0, 1, 2]), Ok(()));
}

#[test]
fn a_torn_end_is_told_from_an_edit() {
    let whole = lines(3);
    let two = lines(2).len();
    for cut in two + 1..whole.len() {
        let journal = reread(&whole[..cut]).unwrap();
        assert_eq!((journal.lines.len(), journal.torn.map(|t| (t.offset, t.len))), (2, Some((two, cut - two))));
    }
    let mut zeros = whole.clone();
    zeros[two + 10..two + 40].fill(0);
    assert!(reread(&zeros).unwrap().torn.is_some());
    let mut edited = whole;
    edited[two + 10] ^= 1;
    assert_eq!(reread(&edited).unwrap_err().kind(), Kind::Altered);
}

#[test]
fn nothing_is_written_before_the_log_it_cites() {
    let disk = FakeDisk::new();
    let mut writer = Writer::create(&disk, Path::new(PATH)).unwrap();
    let e = writer.append(Instant::START, &citation(2), 199, &entry(0)).unwrap_err();
    assert_eq!(e.kind(), Kind::Internal);
    assert!(writer.chain().is_empty());
    writer.append(Instant::START, &citation(2), 200, &entry(0)).unwrap();
    assert_eq!(writer.chain().len(), 1);
}

/// Writes until the disk fails; says how many lines were acknowledged.
fn write_until_it_fails(disk: &FakeDisk, from: u64, to: u64) -> u64 {
    let path = Path::new(PATH);
    let writer = if disk.exists(path).unwrap() {
        Writer::resume::<Value>(disk, path).map(|r| r.writer)
    } else {
        Writer::create(disk, path)
    };
    let Ok(mut writer) = writer else { return from };
    for n in writer.chain().len()..to {
        if writer.append(Instant::from_secs(n), &citation(n), u64::MAX, &entry(n)).is_err() {
            break;
        }
    }
    writer.chain().len().max(from)
}

#[test]
fn a_crash_at_every_write_loses_no_acknowledged_line() {
    const LINES: u64 = 8;
    let whole = FakeDisk::new();
    assert_eq!(write_until_it_fails(&whole, 0, LINES), LINES);
    let expected = lines(LINES);
    let (mut crashes, mut torn) = (0, 0);
    for step in 0..=whole.steps() {
        let mut state = step as u64 + 1;
        for _ in 0..40 {
            // An LCG of Knuth (MMIX) is random enough to choose what survives.
            let mut choose = |n: usize| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) as usize % n
            };
            let mut disk = FakeDisk::new().crash_after(step);
            let mut acknowledged = write_until_it_fails(&disk, 0, LINES);
            // Crash again while taking the journal up, a few steps in.
            for _ in 0..3 {
                disk = disk.after_crash(&mut choose).crash_after(choose(7));
                crashes += 1;
                acknowledged = write_until_it_fails(&disk, acknowledged, LINES);
            }
            disk = disk.after_crash(&mut choose);
            let path = Path::new(PATH);
            let survived = if disk.exists(path).unwrap() { disk.read(path, 1 << 20).unwrap() } else { Vec::new() };
            let journal = reread(&survived).unwrap_or_else(|p| panic!("step {step}: {}", p.render(false)));
            assert!(journal.chain.len() >= acknowledged, "step {step}: {} of {acknowledged}", journal.chain.len());
            torn += u32::from(journal.torn.is_some());
            assert_eq!(write_until_it_fails(&disk, acknowledged, LINES), LINES);
            assert_eq!(disk.read(path, 1 << 20).unwrap(), expected, "step {step}");
        }
    }
    assert!(crashes > 1000 && torn > 50, "{crashes} crashes, {torn} torn ends: the test no longer bites");
}

#[test]
fn a_torn_end_is_kept_beside_the_journal() {
    let disk = FakeDisk::new();
    let bytes = lines(3);
    let cut = bytes.len() - 5;
    let mut file = disk.create(Path::new(PATH)).unwrap();
    file.write_all(&bytes[..cut]).unwrap();
    let resumed = Writer::resume::<Value>(&disk, Path::new(PATH)).unwrap();
    let aside = resumed.set_aside.unwrap();
    assert_eq!(aside, Path::new("/job/journal.jsonl.torn-1"));
    assert_eq!(disk.read(&aside, 1 << 20).unwrap(), bytes[lines(2).len()..cut]);
    assert_eq!(disk.read(Path::new(PATH), 1 << 20).unwrap(), lines(2));
}

proptest! {
    #[test]
    fn one_altered_byte_is_found(at in any::<prop::sample::Index>(), flip in 1_u8..) {
        let good = lines(5);
        let mut bad = good.clone();
        let at = at.index(bad.len());
        bad[at] ^= flip;
        match reread(&bad) {
            Err(p) => prop_assert!(p.place().is_some()),
            // Only what a crash could have left is set aside rather than refused: at the very end, without its
            // line feed or with a zero byte in it.
            Ok(j) => prop_assert!(j.torn.is_some() && at >= lines(4).len()),
        }
    }
    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = reread(&bytes);
    }
}
