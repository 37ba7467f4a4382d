//! A damaged log: what is before the damage is read, the damage is named, and nothing panics.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::input::{Input, LineId};
use plumeline_trace::{LogReader, LogWriter, Logged, ReadError, TRACE_FILE, fake::FakeDisk};
use proptest::prelude::*;

#[test]
fn cut_anywhere_it_is_read_up_to_the_last_whole_record() {
    let all = one_of_each();
    let bytes = written(&all);
    let ends: Vec<_> = read(&bytes).0.iter().map(|e| e.citation.offset as usize).collect();
    for cut in 0..bytes.len() {
        let whole = ends.iter().filter(|&&end| end <= cut).count();
        let (entries, error) = read(&bytes[..cut]);
        assert_eq!(entries.len(), whole, "cut at {cut}");
        match error {
            None => assert!(ends.contains(&cut), "cut at {cut}"),
            Some(ReadError::Truncated { offset }) => {
                let begin = if whole == 0 { 0 } else { ends[whole - 1] };
                assert_eq!(offset as usize, begin, "cut at {cut}");
            }
            Some(other) => panic!("cut at {cut}: {other}"),
        }
    }
}

#[test]
fn a_changed_bit_is_found_wherever_content_could_change() {
    let all = vec![
        tool(0),
        input(1000, Input::Received(LineId::Main, (0..40).collect())),
        at(2000, Logged::Sent(LineId::Outgoing, (0..40).collect())),
        input(3000, Input::File { name: "a".into(), bytes: vec![7; 50] }),
        input(4000, Input::Wake),
    ];
    let bytes = written(&all);
    let sound: Vec<_> = read(&bytes).0;
    let last = sound[sound.len() - 2].citation.offset as usize * 8;
    let mut unseen = 0;
    for bit in 0..bytes.len() * 8 {
        let mut damaged = bytes.clone();
        damaged[bit / 8] ^= 1 << (bit % 8);
        let (entries, error) = read(&damaged);
        if let Some(e) = &error {
            assert!(e.offset() <= bytes.len() as u64, "bit {bit}: {e}");
            assert!(!e.remedy().is_empty());
        }
        for (seen, was) in entries.iter().zip(&sound) {
            assert_eq!(seen.record.what, was.record.what, "bit {bit}");
            // Comments and instants have no checksum of their own: the digest tells, and the next block's chain.
            let before = was.citation.offset as usize * 8 <= bit;
            assert_eq!(seen.citation == was.citation, before, "bit {bit}");
        }
        if error.is_none() {
            assert!(bit >= last, "bit {bit}: only within the last record a change can go unseen by the log alone");
            unseen += 1;
        }
    }
    // There it takes a citation: the last record's comment and the upper bits of its instant.
    assert!(unseen > 0 && unseen < bytes.len() * 8 - last);
}

#[test]
fn each_kind_of_damage_has_its_error() {
    let bytes = written(&[tool(0), input(1, Input::Received(LineId::Main, vec![9; 16]))]);
    let last = read(&bytes).0[0].citation.offset as usize;
    let with = |at: usize, value: &[u8]| {
        let mut damaged = bytes.clone();
        damaged[at..at + value.len()].copy_from_slice(value);
        read(&damaged).1.unwrap()
    };
    assert!(matches!(read(b"").1, Some(ReadError::Truncated { offset: 0 })));
    assert!(matches!(read(b"not a log").1, Some(ReadError::NotALog { offset: 0, .. })));
    assert!(matches!(with(last + 4, &[0, 0, 0, 1]), ReadError::TooLong { .. }));
    assert!(matches!(with(last + 4, &[3, 0, 0, 0]), ReadError::BadBlock { .. }));
    assert!(matches!(with(last + 4, &[0, 0, 0, 0]), ReadError::BadBlock { .. }));
    assert!(matches!(with(bytes.len() - 4, &[0, 0, 0, 0]), ReadError::BadBlock { .. }));
    assert!(matches!(with(last + 30, &[8]), ReadError::Checksum { .. }));
    assert!(matches!(with(last + 8, &[2]), ReadError::BadBlock { .. }), "an interface that is not there");

    // Two sound logs one after the other are not one log.
    let mut two = bytes.clone();
    two.extend(&bytes);
    assert!(matches!(read(&two).1, Some(ReadError::Chain { .. })));

    // The last record's instant, set back: packets store it in two halves after the interface.
    let mut back = written(&[tool(5), input(6, Input::Wake)]);
    let last = read(&back).0[0].citation.offset as usize;
    back[last + 16] = 4;
    assert!(matches!(read(&back).1, Some(ReadError::Backwards { .. })));

    // The other byte order, which the format does not have.
    assert!(matches!(with(8, &[0x1a, 0x2b, 0x3c, 0x4d]), ReadError::NotALog { offset: 0, .. }));

    // A capture of something else.
    let mut other = bytes.clone();
    let interface = other.windows(4).position(|w| w == [147, 0, 0, 0]).unwrap();
    other[interface] = 1;
    assert!(matches!(read(&other).1, Some(ReadError::NotALog { .. })));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]
    #[test]
    fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = read(&bytes);
    }

    #[test]
    fn no_change_of_a_sound_log_makes_it_panic(
        all in any_records(),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        cut in any::<prop::sample::Index>(),
    ) {
        let mut bytes = written(&all);
        for (at, value) in changes {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        bytes.truncate(cut.index(bytes.len()) + 1);
        let mut reader = LogReader::new(&bytes[..]);
        let n = reader.by_ref().take_while(Result::is_ok).count();
        prop_assert!(reader.next().is_none(), "nothing comes after an error");
        prop_assert!(n <= all.len() + 1);

        // Taken up again, it is sound again, and no byte is lost.
        let disk = FakeDisk::new();
        disk.put(TRACE_FILE, &bytes);
        if let Ok((mut log, resumed)) = LogWriter::resume(disk.clone(), TRACE_FILE, None) {
            prop_assert_eq!(resumed.end.map_or(0, |c| c.index + 1), n as u64);
            let last = resumed.last_at.as_micros();
            log.append(&tool(last)).unwrap();
            let kept = disk.contents(TRACE_FILE).unwrap();
            let (entries, error) = read(&kept);
            prop_assert!(error.is_none(), "{:?}", error);
            prop_assert_eq!(entries.len(), n + 1);
            let good = resumed.end.map_or(0, |c| c.offset as usize);
            let mut whole = kept[..good].to_vec();
            if let Some(aside) = resumed.set_aside {
                whole.extend(disk.contents(&aside.name).unwrap());
            }
            prop_assert_eq!(whole, bytes);
        }
    }
}
