//! The log against the death of the process: real kills of a real process that writes to a real file.
#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::input::{Input, LineId};
use plumeline_trace::{Citation, Folder, LogReader, LogWriter, TRACE_FILE};
use std::{
    io::{BufRead, BufReader, Write},
    path::Path,
    process::{Command, Stdio},
};

const FOLDER: &str = "PLUMELINE_TEST_FOLDER";

/// Takes the log up, says each record's end once the system has it, and goes on until killed.
#[test]
#[ignore = "helper of the next test: writes until it is killed"]
fn helper_writes() {
    let folder = std::env::var_os(FOLDER).unwrap();
    let (mut log, resumed) = LogWriter::resume(Folder::new(folder), TRACE_FILE, None).unwrap();
    let mut out = std::io::stdout();
    let begin = resumed.last_at.as_micros();
    log.append(&tool(begin)).unwrap();
    for i in 0_usize.. {
        // Now and then one that takes several blocks.
        let size = if i % 50 == 49 { 300_000 } else { i * 37 % 2000 };
        let end = log.append(&input(begin + i as u64, Input::Received(LineId::Main, vec![i as u8; size]))).unwrap();
        if i % 20 == 0 {
            log.sync().unwrap();
        }
        writeln!(out, "END {}", serde_json::to_string(&end).unwrap()).unwrap();
    }
}

#[test]
fn thirty_two_kills_lose_nothing_that_was_written() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kills");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let mut told: Vec<Citation> = Vec::new();
    for kill in 0..32_usize {
        let mut process = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "helper_writes", "--ignored", "--nocapture"])
            .env(FOLDER, &folder)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(process.stdout.take().unwrap()).lines();
        // Killed at a different count each time; what it still says on its way out counts as well.
        let mut heard = 0;
        while let Some(Ok(line)) = lines.next() {
            if let Some(end) = line.strip_prefix("END ").and_then(|l| serde_json::from_str(l).ok()) {
                told.push(end);
                heard += 1;
                if heard == 3 + kill * 17 % 101 {
                    process.kill().unwrap();
                }
            }
        }
        assert!(heard > 0);
        let status = process.wait().unwrap();
        assert_eq!(status.code(), None, "it was killed");

        let (_, resumed) = LogWriter::resume(Folder::new(&folder), TRACE_FILE, told.last().copied()).unwrap();
        let entries: Result<Vec<_>, _> = LogReader::open(&folder.join(TRACE_FILE)).unwrap().collect();
        let entries = entries.unwrap();
        assert_eq!(entries.last().map(|e| e.citation), resumed.end);
        let mut kept = entries.iter().map(|e| e.citation);
        assert!(told.iter().all(|t| kept.any(|c| c == *t)), "after kill {kill} a record that was told is gone");
    }
    assert!(told.len() > 1000);
}
