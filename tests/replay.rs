//! Strict replay of the recorded traces: bytes sent and journal come out the same, and so does the verdict.
use crate::common::{Folder, exits, run, stderr, text};
use std::path::{Path, PathBuf};

fn traces() -> Vec<PathBuf> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-traces");
    let mut all: Vec<PathBuf> =
        std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_dir()).collect();
    all.sort();
    all
}

#[test]
fn every_demo_trace_replays_to_the_byte() {
    let all = traces();
    assert!(all.len() >= 6, "a clean job and five defects: {all:?}");
    let mut verdicts = std::collections::BTreeSet::new();
    for dir in all {
        let expected = std::fs::read_to_string(dir.join("expected-verdict.txt")).unwrap();
        assert!(dir.join("provenance.md").exists() && dir.join("pipework.toml").exists(), "{}", dir.display());
        assert!(dir.join("journal.jsonl").exists());
        exits(&run(&["replay", text(&dir), "--expect", expected.trim()]), &[0]);
        exits(&run(&["check", text(&dir)]), &[0]);
        verdicts.insert(expected.trim().to_owned());
    }
    assert!(verdicts.contains("pass") && verdicts.contains("fail"));
}

/// A copy of the first trace, to be spoilt.
fn copy() -> Folder {
    let to = Folder::new("spoilt");
    for entry in std::fs::read_dir(&traces()[0]).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, to.join(path.file_name().unwrap().to_str().unwrap())).unwrap();
    }
    to
}

#[test]
fn a_byte_changed_in_trace_or_journal_is_noticed() {
    for (file, share) in [("trace.pcapng", 0.3), ("trace.pcapng", 0.9), ("journal.jsonl", 0.2), ("journal.jsonl", 0.8)]
    {
        let dir = copy();
        let path = dir.join(file);
        let mut bytes = std::fs::read(&path).unwrap();
        let at = (bytes.len() as f64 * share) as usize;
        bytes[at] ^= 1;
        std::fs::write(&path, bytes).unwrap();
        let o = run(&["check", text(dir.path())]);
        exits(&o, &[1]);
        assert!(stderr(&o).contains(".jsonl") || stderr(&o).contains("trace"), "{}", stderr(&o));
    }
}

#[test]
fn a_cut_trace_is_no_verdict() {
    let dir = copy();
    let path = dir.join("trace.pcapng");
    let bytes = std::fs::read(&path).unwrap();
    std::fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
    exits(&run(&["replay", text(dir.path())]), &[3]);
}

#[test]
fn another_jobs_journal_is_noticed() {
    let dir = copy();
    std::fs::copy(traces()[1].join("journal.jsonl"), dir.join("journal.jsonl")).unwrap();
    exits(&run(&["check", text(dir.path())]), &[1]);
    exits(&run(&["replay", text(dir.path())]), &[3]);
}
