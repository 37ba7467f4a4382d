//! What goes into a log comes out of it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::{
    Instant,
    input::{Input, LineId},
};
use plumeline_trace::{
    Folder, Hash, LogError, LogReader, LogWriter, Logged, MAX_RECORD, ReadError, TRACE_FILE, fake::FakeDisk,
};
use proptest::prelude::*;
use sha2::{Digest, Sha256};

#[test]
fn one_of_each_comes_back() {
    let all = one_of_each();
    let (entries, error) = read(&written(&all));
    assert!(error.is_none(), "{error:?}");
    assert_eq!(records(entries), all);
}

#[test]
fn a_number_that_is_none_comes_back() {
    use plumeline_base::input::{Answer, OperatorAct};
    let act = Input::Operator(OperatorAct::new(1, Answer::Number(f64::NAN)));
    let (entries, error) = read(&written(&[tool(0), input(0, act)]));
    assert!(error.is_none(), "{error:?}");
    let Logged::Input(Input::Operator(OperatorAct { answer: Answer::Number(x), .. })) = entries[1].record.what else {
        panic!("{entries:?}")
    };
    assert!(x.is_nan());
}

#[test]
fn large_records_come_back_and_too_large_ones_are_refused() {
    let pattern = |n: usize| (0..n).map(|i| (i * 7 + i / 251) as u8).collect::<Vec<u8>>();
    let mut all = vec![tool(0)];
    for n in [131_071, 131_072, 131_073, 262_144, 1_000_000] {
        all.push(input(1, Input::Received(LineId::Main, pattern(n))));
        all.push(at(2, Logged::Sent(LineId::Main, pattern(n))));
        all.push(input(2, Input::File { name: "big".into(), bytes: pattern(n) }));
        all.iter_mut().for_each(|r| r.at = Instant::START);
    }
    all.push(input(3, Input::Received(LineId::Main, pattern(MAX_RECORD))));
    let (entries, error) = read(&written(&all));
    assert!(error.is_none(), "{error:?}");
    assert_eq!(records(entries), all);

    let mut log = LogWriter::create(FakeDisk::new(), TRACE_FILE).unwrap();
    log.append(&tool(0)).unwrap();
    let e = log.append(&input(0, Input::Received(LineId::Main, pattern(MAX_RECORD + 1)))).unwrap_err();
    assert!(matches!(e, LogError::TooLarge { .. }), "{e}");
    log.append(&input(0, Input::Wake)).expect("a refused record leaves the log as it was");
}

#[test]
fn a_citation_is_the_digest_of_the_bytes_before_it() {
    let all = one_of_each();
    let disk = FakeDisk::new();
    let mut log = LogWriter::create(disk.clone(), TRACE_FILE).unwrap();
    let cited: Vec<_> = all.iter().map(|r| log.append(r).unwrap()).collect();
    let bytes = disk.contents(TRACE_FILE).unwrap();
    assert_eq!(cited.last().unwrap().offset, bytes.len() as u64);
    for (i, c) in cited.iter().enumerate() {
        assert_eq!(c.index, i as u64);
        assert_eq!(c.hash, Hash(Sha256::digest(&bytes[..c.offset as usize]).into()));
        assert_eq!(c.hash.to_string().parse(), Ok(c.hash));
    }
    let read: Vec<_> = read(&bytes).0.into_iter().map(|e| e.citation).collect();
    assert_eq!(read, cited);
}

#[test]
fn order_and_openings_are_kept_to() {
    let mut log = LogWriter::create(FakeDisk::new(), TRACE_FILE).unwrap();
    assert!(matches!(log.append(&input(0, Input::Wake)), Err(LogError::NoTool)));
    log.append(&tool(5)).unwrap();
    assert!(matches!(log.append(&input(4, Input::Wake)), Err(LogError::Backwards { .. })));
    log.append(&input(5, Input::Wake)).unwrap();

    let newer = Input::Tool { version: "9".into(), format: 2 };
    let (entries, error) = read(&written(&[tool(0), input(1, newer)]));
    assert_eq!(entries.len(), 1);
    let error = error.unwrap();
    assert!(matches!(error, ReadError::Unsupported { format: 2, .. }), "{error}");
    assert!(error.remedy().contains("newer"), "{}", error.remedy());
}

#[test]
fn a_log_is_taken_up_in_a_real_folder() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("taken-up");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join(TRACE_FILE);

    let mut log = LogWriter::create(Folder::new(&folder), TRACE_FILE).unwrap();
    log.append(&tool(0)).unwrap();
    let cited = log.append(&input(7, Input::Wake)).unwrap();
    log.sync().unwrap();
    drop(log);
    assert!(matches!(LogWriter::create(Folder::new(&folder), TRACE_FILE), Err(LogError::Exists)));

    // A torn end: the beginning of a block.
    let mut bytes = std::fs::read(&path).unwrap();
    let whole = bytes.len();
    bytes.extend([6, 0, 0, 0, 80, 0, 0, 0, 1]);
    std::fs::write(&path, &bytes).unwrap();
    let error = LogReader::open(&path).unwrap().find_map(Result::err).unwrap();
    assert!(matches!(error, ReadError::Truncated { offset } if offset == whole as u64), "{error}");

    let (mut log, resumed) = LogWriter::resume(Folder::new(&folder), TRACE_FILE, Some(cited)).unwrap();
    assert_eq!((resumed.end, resumed.last_at), (Some(cited), Instant::from_micros(7)));
    let aside = resumed.set_aside.unwrap();
    assert_eq!((aside.name.as_str(), aside.bytes), ("trace.pcapng.torn-1", 9));
    assert!(aside.to_string().contains("9 bytes"), "{aside}");
    assert_eq!(std::fs::read(folder.join(&aside.name)).unwrap(), &bytes[whole..]);
    log.append(&tool(9)).unwrap();
    let end = log.append(&input(10, Input::Wake)).unwrap();
    assert_eq!(end.index, 3);
    log.sync().unwrap();

    let entries: Vec<_> = LogReader::open(&path).unwrap().collect::<Result<_, _>>().unwrap();
    assert_eq!(entries.last().unwrap().citation, end);
    assert_eq!(records(entries), [tool(0), input(7, Input::Wake), tool(9), input(10, Input::Wake)]);
    assert!(!folder.join("trace.pcapng.torn-2").exists());
}

#[test]
fn what_is_cited_must_still_be_there() {
    let disk = FakeDisk::new();
    let mut log = LogWriter::create(disk.clone(), TRACE_FILE).unwrap();
    log.append(&tool(0)).unwrap();
    let cited = log.append(&input(1, Input::Received(LineId::Main, vec![1, 2, 3, 4]))).unwrap();
    let bytes = disk.contents(TRACE_FILE).unwrap();

    let resume = |bytes: &[u8]| {
        let disk = FakeDisk::new();
        disk.put(TRACE_FILE, bytes);
        let result = LogWriter::resume(disk.clone(), TRACE_FILE, Some(cited)).map(|(_, r)| r);
        assert_eq!(disk.contents(TRACE_FILE).unwrap(), bytes, "a refused log is left as it was");
        assert_eq!(disk.names().len(), 1);
        result
    };
    assert_eq!(resume(&bytes).unwrap().end, Some(cited));
    let lost = |r: Result<_, LogError>| matches!(r, Err(LogError::Lost { .. }));
    assert!(lost(resume(&bytes[..bytes.len() - 4])));
    assert!(lost(resume(&[])));
    let mut edited = bytes.clone();
    let comment = edited.windows(8).position(|w| w == b"received").unwrap();
    edited[comment] = b'R';
    assert!(lost(resume(&edited)), "even a changed comment");
}

proptest! {
    #[test]
    fn any_records_come_back(all in any_records()) {
        let (entries, error) = read(&written(&all));
        prop_assert!(error.is_none(), "{:?}", error);
        prop_assert_eq!(records(entries), all);
    }

    #[test]
    fn however_it_arrives_it_is_read_alike(all in any_records(), sizes in proptest::collection::vec(1..5000_usize, 1..50)) {
        struct Drip<'a>(&'a [u8], std::iter::Cycle<std::vec::IntoIter<usize>>);
        impl std::io::Read for Drip<'_> {
            fn read(&mut self, buf: &mut [u8]) -> std::io::Result<usize> {
                let n = self.1.next().unwrap_or(1).min(buf.len()).min(self.0.len());
                buf[..n].copy_from_slice(&self.0[..n]);
                self.0 = &self.0[n..];
                Ok(n)
            }
        }
        let bytes = written(&all);
        let entries: Vec<_> = LogReader::new(Drip(&bytes, sizes.into_iter().cycle())).collect::<Result<_, _>>().unwrap();
        prop_assert_eq!(records(entries), all);
    }
}
