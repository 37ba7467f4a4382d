//! A number in the code that is no rule has its reason in `docs/constants.md`, and what stands there stands in the code.
#![allow(clippy::unwrap_used, reason = "helpers of tests may panic")]
use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
};

const CRATES: [&str; 3] = ["procedure", "measure", "unit"];
/// Types of a constant that is a number.
const NUMBERS: [&str; 11] =
    ["f64", "f32", "u8", "u16", "u32", "u64", "usize", "i64", "Duration", "(u64, u64)", "(Duration, Duration)"];

fn harness() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}
/// The code of a crate, file by file, without tests, remarks and the rules themselves.
fn code() -> Vec<(String, Vec<String>)> {
    let mut folders: Vec<PathBuf> = CRATES.iter().map(|name| harness().join(name).join("src")).collect();
    let mut all = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.strip_prefix(harness()).unwrap().to_string_lossy().replace('\\', "/");
            let skipped = name.starts_with("procedure/src/rules") || name.ends_with("judge/sample.rs");
            if path.is_dir() {
                folders.push(path);
            } else if !skipped && name.ends_with(".rs") {
                let text = fs::read_to_string(&path).unwrap();
                let text = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
                all.push((name, text.lines().map(|l| l.split("//").next().unwrap_or_default().to_owned()).collect()));
            }
        }
    }
    all
}
/// The name of the constant that a line declares, if it is a number.
fn constant(line: &str) -> Option<&str> {
    let (name, rest) = line.split_once("const ")?.1.split_once(": ")?;
    let (kind, _) = rest.split_once(" = ")?;
    let is_number = NUMBERS.contains(&kind) || kind.starts_with("(u32, ");
    (is_number && name.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '_')).then_some(name)
}

#[test]
fn every_constant_is_a_rule_or_says_why_it_is_none() {
    let text = fs::read_to_string(harness().join("../docs/constants.md")).unwrap();
    let row = |l: &str| {
        let mut cell = l.strip_prefix("| `")?.split('`');
        Some((cell.next()?.to_owned(), cell.nth(1)?.to_owned()))
    };
    let listed: BTreeSet<(String, String)> = text.lines().filter_map(row).collect();
    let mut found = BTreeSet::new();
    for (file, lines) in code() {
        found.extend(lines.iter().filter_map(|l| constant(l)).map(|name| (file.clone(), name.to_owned())));
    }
    assert!(found.len() > 25, "{found:?}");
    assert_eq!(listed.difference(&found).collect::<Vec<_>>(), [] as [&_; 0], "listed, and not in the code");
    let unsaid = "neither a rule nor listed in docs/constants.md";
    assert_eq!(found.difference(&listed).collect::<Vec<_>>(), [] as [&_; 0], "{unsaid}");
}

#[test]
fn a_time_in_the_procedure_has_a_name() {
    let mut bare = Vec::new();
    for (file, lines) in code() {
        let written = |l: &&String| {
            let number = |start: &str| {
                l.match_indices(start).any(|(i, _)| l[i + start.len()..].starts_with(|c: char| c.is_ascii_digit()))
            };
            constant(l).is_none() && ["from_secs(", "from_millis(", "seconds("].iter().any(|s| number(s))
        };
        let of_procedure = file.starts_with("procedure/");
        bare.extend(lines.iter().filter(|_| of_procedure).filter(written).map(|l| format!("{file}: {}", l.trim())));
    }
    assert!(bare.is_empty(), "{bare:#?}");
}
