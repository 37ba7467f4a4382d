//! The log against power loss and kills, at every point where something is written.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::input::{Input, LineId};
use plumeline_trace::{Citation, LogError, LogRecord, LogWriter, TRACE_FILE, fake::FakeDisk};

/// How the machine is found afterwards.
#[derive(Clone, Copy, Debug)]
enum After {
    Kill,
    PowerLoss(u64),
}
fn found(disk: &FakeDisk, after: After) -> FakeDisk {
    match after {
        After::Kill => disk.after_kill(),
        After::PowerLoss(seed) => disk.after_power_loss(seed),
    }
}

/// What is known to have been promised by the time of the crash.
#[derive(Default)]
struct Promised {
    /// Everything that was given to the log, whether it was taken or not.
    given: Vec<LogRecord>,
    /// What the system was given and what was synced.
    written: Option<Citation>,
    synced: Option<Citation>,
}

/// Records of many sizes: within a sector, over several, in several blocks.
fn session(begin: u64) -> Vec<LogRecord> {
    let mut all = vec![tool(begin)];
    for i in 0..8_u64 {
        let size = [3, 60, 700, 2000, 10, 480, 150_000, 1][i as usize];
        all.push(input(begin + i, Input::Received(LineId::Main, vec![1 + (begin + i) as u8 % 200; size])));
    }
    all
}

/// Takes the log up and writes to it, syncing now and then, until the disk stops.
fn write(disk: &FakeDisk, cited: Option<Citation>, promised: &mut Promised) -> Result<(), LogError> {
    let (mut log, resumed) = LogWriter::resume(disk.clone(), TRACE_FILE, cited)?;
    promised.given.truncate(resumed.end.map_or(0, |c| c.index as usize + 1));
    for (i, record) in session(resumed.last_at.as_micros()).into_iter().enumerate() {
        promised.given.push(record.clone());
        promised.written = Some(log.append(&record)?);
        if i % 3 == 1 {
            log.sync()?;
            promised.synced = log.end();
        }
    }
    Ok(())
}

fn check(disk: &FakeDisk, after: After, promised: &Promised) {
    // The first recovery may be cut short as well, and again.
    let mut disk = found(disk, after);
    let cited = match after {
        After::Kill => promised.written,
        After::PowerLoss(_) => promised.synced,
    };
    for cut in 0.. {
        let operations = disk.operations();
        let retry = clone_crashing(&disk, operations + cut);
        let result = LogWriter::resume(retry.clone(), TRACE_FILE, cited);
        match result {
            Ok((_, resumed)) => {
                let (entries, error) = read(&retry.contents(TRACE_FILE).unwrap_or_default());
                if resumed.end.is_some() {
                    assert!(error.is_none(), "{error:?}");
                }
                assert!(entries.len() as u64 >= cited.map_or(0, |c| c.index + 1));
                assert_eq!(entries.last().map(|e| e.citation), resumed.end);
                let kept = records(entries);
                assert!(kept[..] == promised.given[..kept.len()], "what is kept is a beginning of what was given");
                return;
            }
            Err(LogError::Io(_)) => disk = found(&retry, after),
            Err(e) => panic!("{after:?}: {e}"),
        }
    }
}

/// The same files on a disk that stops at an operation.
fn clone_crashing(disk: &FakeDisk, operation: u64) -> FakeDisk {
    let copy = FakeDisk::crashing_at(operation - disk.operations());
    for name in disk.names() {
        copy.put(&name, &disk.contents(&name).unwrap());
    }
    copy
}

#[test]
fn nothing_synced_is_lost_and_nothing_torn_is_taken_for_good() {
    let calm = FakeDisk::new();
    let mut promised = Promised::default();
    write(&calm, None, &mut promised).unwrap();
    let (operations, before) = (calm.operations(), promised);
    assert!(operations > 10);

    let mut torn = 0;
    for point in 0..operations {
        for after in (0..300).map(After::PowerLoss).chain([After::Kill]) {
            let disk = FakeDisk::crashing_at(point);
            let mut promised = Promised::default();
            write(&disk, None, &mut promised).unwrap_err();
            check(&disk, after, &promised);
            let left = found(&disk, after).contents(TRACE_FILE).unwrap_or_default();
            torn += usize::from(!left.is_empty() && read(&left).1.is_some());
        }
    }
    assert!(torn > 1000, "the fake disk tears: {torn}");
    assert_eq!(before.given.len(), 9);
}

#[test]
fn a_second_session_is_as_safe_as_the_first() {
    for first in 0..14 {
        for seed in 0..8 {
            let disk = FakeDisk::crashing_at(first);
            let mut promised = Promised::default();
            let _ = write(&disk, None, &mut promised);
            let cited = promised.synced;
            for second in 0..18 {
                let again = clone_crashing(&found(&disk, After::PowerLoss(seed)), second);
                let mut promised = Promised { given: promised.given.clone(), written: cited, synced: cited };
                let _ = write(&again, cited, &mut promised);
                check(&again, After::PowerLoss(seed * 31 + second), &promised);
            }
        }
    }
}

#[test]
fn after_a_failed_write_the_log_takes_nothing_more() {
    let disk = FakeDisk::crashing_at(1);
    let mut log = LogWriter::create(disk, TRACE_FILE).unwrap();
    log.append(&tool(0)).unwrap();
    assert!(matches!(log.append(&input(1, Input::Wake)), Err(LogError::Io(_))));
    assert!(matches!(log.append(&input(1, Input::Wake)), Err(LogError::Broken)));
    assert!(matches!(log.sync(), Err(LogError::Broken)));
}
