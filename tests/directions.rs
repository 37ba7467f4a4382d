//! Which crate may depend on which, and which crates are pure. Guarded here, not by good will.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
use std::{
    collections::{BTreeMap, BTreeSet},
    path::Path,
    process::Command,
};

/// Ours only: crate, and what it may depend on. Tests of a crate may use more, except where `NEVER` says otherwise.
const MAY: [(&str, &[&str]); 15] = [
    ("plumewire", &[]),
    ("plumeline-base", &[]),
    ("plumeline-simulator", &["plumewire", "plumeline-base"]),
    ("plumeline-airflow", &["plumeline-base"]),
    ("plumeline-measure", &["plumeline-base"]),
    ("plumeline-trace", &["plumeline-base"]),
    ("plumeline-detector", &["plumeline-base", "plumewire"]),
    ("plumeline-procedure", &["plumeline-base", "plumeline-detector", "plumeline-airflow", "plumeline-measure"]),
    ("plumeline-carry", &["plumeline-base", "plumeline-detector", "plumeline-airflow"]),
    ("plumeline-job", &["plumeline-base", "plumeline-detector", "plumeline-procedure", "plumeline-carry"]),
    ("plumeline-link", &["plumeline-base", "plumeline-trace"]),
    // Reports show findings and readings, whose types are the procedure's and the detector's.
    (
        "plumeline-report",
        &[
            "plumeline-base",
            "plumeline-detector",
            "plumeline-measure",
            "plumeline-job",
            "plumeline-procedure",
            "plumeline-carry",
        ],
    ),
    (
        "plumeline-runtime",
        &[
            "plumeline-base",
            "plumeline-simulator",
            "plumeline-airflow",
            "plumeline-trace",
            "plumeline-detector",
            "plumeline-procedure",
            "plumeline-carry",
            "plumeline-job",
            "plumeline-link",
            "plumeline-report",
        ],
    ),
    (
        "plumeline-lab",
        &[
            "plumeline-base",
            "plumeline-simulator",
            "plumeline-airflow",
            "plumeline-measure",
            "plumeline-procedure",
            "plumeline-job",
            "plumeline-link",
            "plumeline-report",
            "plumeline-runtime",
        ],
    ),
    (
        "plumeline",
        &[
            "plumewire",
            "plumeline-base",
            "plumeline-simulator",
            "plumeline-airflow",
            "plumeline-measure",
            "plumeline-trace",
            "plumeline-detector",
            "plumeline-procedure",
            "plumeline-carry",
            "plumeline-job",
            "plumeline-link",
            "plumeline-report",
            "plumeline-runtime",
            "plumeline-lab",
        ],
    ),
];
/// Not even in tests: the simulator must not lean on the engine that it checks.
const NEVER: [(&str, &str); 1] = [("plumeline-simulator", "plumeline-airflow")];
/// No std: neither I/O nor clocks nor platform mathematics even compile in them.
const PURE: [&str; 7] = [
    "plumewire",
    "plumeline-base",
    "plumeline-airflow",
    "plumeline-measure",
    "plumeline-detector",
    "plumeline-procedure",
    "plumeline-carry",
];
/// Sans-IO though not without std.
const NO_CLOCK: [&str; 1] = ["plumeline-simulator"];

struct Member {
    folder: String,
    normal: BTreeSet<String>,
    all: BTreeSet<String>,
}

fn members() -> BTreeMap<String, Member> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--no-deps", "--format-version", "1", "--offline"])
        .current_dir(&top)
        .output()
        .unwrap();
    let meta: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let packages = meta["packages"].as_array().unwrap();
    let ours: BTreeSet<&str> = packages.iter().map(|p| p["name"].as_str().unwrap()).collect();
    let member = |p: &serde_json::Value| {
        let deps = p["dependencies"].as_array().unwrap();
        let named = |keep: &dyn Fn(&serde_json::Value) -> bool| -> BTreeSet<String> {
            deps.iter()
                .filter(|d| keep(d))
                .map(|d| d["name"].as_str().unwrap())
                .filter(|n| ours.contains(n))
                .map(str::to_owned)
                .collect()
        };
        Member {
            folder: Path::new(p["manifest_path"].as_str().unwrap()).parent().unwrap().display().to_string(),
            normal: named(&|d| d["kind"] != "dev"),
            all: named(&|_| true),
        }
    };
    packages.iter().map(|p| (p["name"].as_str().unwrap().to_owned(), member(p))).collect()
}

#[test]
fn every_crate_depends_only_on_what_it_may() {
    let members = members();
    let known: BTreeSet<&str> = MAY.iter().map(|(n, _)| *n).collect();
    assert_eq!(
        members.keys().map(String::as_str).collect::<BTreeSet<_>>(),
        known,
        "a crate came or went: say here what it may use"
    );
    for (name, may) in MAY {
        for used in &members[name].normal {
            assert!(may.contains(&used.as_str()), "{name} must not depend on {used}");
        }
    }
    for (name, never) in NEVER {
        assert!(!members[name].all.contains(never), "{name} must not use {never}, not even in tests");
    }
}

fn sources(folder: &Path, out: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

#[test]
fn pure_crates_have_no_std_and_nobody_pure_reads_a_clock() {
    let members = members();
    for name in PURE {
        let lib = std::fs::read_to_string(Path::new(&members[name].folder).join("src/lib.rs")).unwrap();
        assert!(lib.lines().any(|l| l.trim() == "#![no_std]" || l.contains("no_std")), "{name} is not no_std");
    }
    for name in PURE.iter().chain(&NO_CLOCK) {
        let mut files = Vec::new();
        sources(&Path::new(&members[*name].folder).join("src"), &mut files);
        assert!(!files.is_empty());
        for file in files {
            let text = std::fs::read_to_string(&file).unwrap();
            for word in ["SystemTime", "std::time::Instant", "thread::sleep", "std::fs", "std::net", "mul_add"] {
                assert!(!text.contains(word), "{} uses {word}", file.display());
            }
        }
    }
}

#[test]
fn files_stay_readable_in_one_sitting() {
    let members = members();
    let mut long = Vec::new();
    for m in members.values() {
        let mut files = Vec::new();
        sources(Path::new(&m.folder), &mut files);
        for file in files {
            let text = std::fs::read_to_string(&file).unwrap();
            let code = text.lines().filter(|l| !l.trim().is_empty() && !l.trim_start().starts_with("//")).count();
            if code > 500 {
                long.push(format!("{}: {code}", file.display()));
            }
        }
    }
    assert!(long.is_empty(), "files over 500 lines of code: {long:#?}");
}
