//! The log as others see it: packet tools and a reader that shares no code with this one. They need tshark,
//! capinfos and python3, so they run only when asked for: `cargo test -p plumeline-trace --test viewer -- --ignored`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::input::{Input, LineId};
use plumeline_trace::{Citation, Folder, LogRecord, LogWriter, Logged, TRACE_FILE};
use std::{
    path::{Path, PathBuf},
    process::Command,
};

/// A log of two sections with a torn end between them that was set aside, and a record of several parts.
fn repaired_log(folder: &str) -> (PathBuf, Vec<LogRecord>, Citation) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(folder);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join(TRACE_FILE);
    let mut all = one_of_each();
    all.pop();
    let mut log = LogWriter::create(Folder::new(&folder), TRACE_FILE).unwrap();
    for record in &all {
        log.append(record).unwrap();
    }
    log.sync().unwrap();
    drop(log);
    let whole = std::fs::read(&path).unwrap();
    std::fs::write(&path, [&whole[..], &whole[..50]].concat()).unwrap();
    let (mut log, resumed) = LogWriter::resume(Folder::new(&folder), TRACE_FILE, None).unwrap();
    assert_eq!(resumed.set_aside.unwrap().bytes, 50);
    let second = [
        tool(1_000_000),
        input(1_500_000, Input::Received(LineId::Main, (0..200_000).map(|i| i as u8).collect())),
        at(2_000_000, Logged::Sent(LineId::Outgoing, b"hello".to_vec())),
    ];
    for record in &second {
        log.append(record).unwrap();
    }
    log.sync().unwrap();
    all.extend(second);
    (path, all, log.end().unwrap())
}

fn run(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program).args(arguments).output().unwrap_or_else(|e| panic!("{program}: {e}"));
    let (said, complained) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success(), "{program} {arguments:?}: {complained}");
    let complaints = complained.lines().filter(|l| !l.contains("Running as user \"root\"") && !l.is_empty());
    assert_eq!(complaints.count(), 0, "{program}: {complained}");
    said.into_owned()
}

#[test]
#[ignore = "needs tshark and capinfos"]
fn packet_tools_open_it_cleanly() {
    let (path, all, end) = repaired_log("viewer");
    let path = path.to_str().unwrap();
    // The record of several parts is three packets: its announcement and two parts.
    let packets = all.len() + 2;

    let info = run("capinfos", &["-M", path]);
    assert!(info.contains("pcapng"), "{info}");
    assert!(info.contains(&format!("Number of packets:   {packets}")), "{info}");
    assert!(info.contains("plumeline"), "{info}");
    // Its SHA-256 of the file is what the last record's citation says.
    assert!(info.contains(&end.hash.to_string()), "{info}");

    let fields = ["frame.time_epoch", "frame.interface_name", "frame.packet_flags_direction", "frame.comment"];
    let mut arguments = vec!["-r", path, "-T", "fields"];
    fields.iter().for_each(|f| arguments.extend(["-e", f]));
    let rows = run("tshark", &arguments);
    let rows: Vec<Vec<&str>> = rows.lines().map(|l| l.split('\t').collect()).collect();
    assert_eq!(rows.len(), packets);
    for (row, record) in rows.iter().zip(&all[..20]) {
        let (interface, direction) = match &record.what {
            Logged::Input(Input::Received(LineId::Main, _)) => ("line", "0x00000001"),
            Logged::Input(Input::Received(LineId::Outgoing, _)) => ("line-outgoing", "0x00000001"),
            Logged::Sent(LineId::Main, _) => ("line", "0x00000002"),
            Logged::Sent(LineId::Outgoing, _) => ("line-outgoing", "0x00000002"),
            Logged::Input(_) => ("events", ""),
        };
        let seconds: f64 = row[0].parse().unwrap();
        assert_eq!((seconds * 1e6).round() as u64, record.at.as_micros(), "{row:?}");
        assert_eq!(row[1], interface, "{row:?}");
        assert_eq!(row[2], direction, "{row:?}");
        assert!(!row[3].is_empty(), "{row:?}");
    }
}

#[test]
#[ignore = "needs python3"]
fn a_reader_of_other_hands_agrees() {
    let (path, all, end) = repaired_log("other-reader");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scripts/check_trace.py");
    let said = run("python3", &[script.to_str().unwrap(), path.to_str().unwrap()]);
    let lines: Vec<serde_json::Value> = said.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(lines.len(), all.len());
    for (line, entry) in lines.iter().zip(read(&std::fs::read(&path).unwrap()).0) {
        assert_eq!(line["us"], entry.record.at.as_micros());
        assert_eq!(line["offset"], entry.citation.offset);
        assert_eq!(line["hash"], entry.citation.hash.to_string());
        let bytes = match &entry.record.what {
            Logged::Input(Input::Received(_, bytes)) | Logged::Sent(_, bytes) => bytes,
            _ => continue,
        };
        let hex: String = bytes.iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(line["bytes"], hex.as_str());
    }
    assert_eq!(lines.last().unwrap()["hash"], end.hash.to_string());
}
