//! Which crate may depend on which, and which crates are pure. Guarded here, not by good will.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
use std::{
    collections::{BTreeMap, BTreeSet},
    path::Path,
    process::Command,
};

/// Not even in tests: the simulator must not lean on the engine that it checks.
const NEVER: [(&str, &str); 1] = [("plumeline-simulator", "plumeline-airflow")];
/// No std: neither I/O nor clocks nor platform mathematics even compile in them.
const PURE: [&str; 8] = [
    "plumewire",
    "plumeline-base",
    "plumeline-airflow",
    "plumeline-measure",
    "plumeline-detector",
    "plumeline-unit",
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

/// The crates' table in docs/architecture.md: folder, and the folders' last names of what it may use; `None`: all.
fn table() -> Vec<(String, Option<BTreeSet<String>>)> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let text = std::fs::read_to_string(top.join("docs/architecture.md")).unwrap();
    let rows = text.lines().skip_while(|l| !l.starts_with("| crate |")).skip(2).take_while(|l| l.starts_with('|'));
    rows.map(|row| {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        let [_, first, _, uses, _] = cells[..] else { panic!("not three columns: {row}") };
        let uses = match uses {
            "all" => None,
            "–" => Some(BTreeSet::new()),
            list => Some(list.split(", ").map(str::to_owned).collect()),
        };
        (first.split('`').nth(1).unwrap().to_owned(), uses)
    })
    .collect()
}

#[test]
fn every_crate_uses_what_the_architecture_says_and_nothing_else() {
    let members = members();
    let last = |folder: &str| folder.rsplit('/').next().unwrap().to_owned();
    let table = table();
    let said: BTreeSet<&str> = table.iter().map(|(folder, _)| folder.as_str()).collect();
    assert_eq!(said.len(), members.len(), "docs/architecture.md has a row for each crate, and for nothing else");
    for m in members.values() {
        let Some((row, may)) = table.iter().find(|(folder, _)| Path::new(&m.folder).ends_with(folder)) else {
            panic!("{} has no row in docs/architecture.md", m.folder)
        };
        let uses: BTreeSet<String> = m.normal.iter().map(|n| last(&members[n].folder)).collect();
        if let Some(may) = may {
            assert_eq!(&uses, may, "what {row} uses (left) is not what docs/architecture.md says (right)");
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
