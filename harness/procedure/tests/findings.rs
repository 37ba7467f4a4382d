//! `docs/findings.md` lists every kind of finding as it is declared. Run with `PLUMELINE_WRITE_FINDINGS=1` to write it
//! anew. And no finding gets its sentences anywhere but from these declarations.
use plumeline_procedure::facts::{Known, known};
use std::{
    collections::BTreeMap,
    env, fs, io,
    path::{Path, PathBuf},
};

const HEAD: &str = "# Findings

Every finding has a code. Programs go by the code: it stands in `result.json`, in the journal and in the JUnit file, and it is never
given another meaning. The sentences are for people; their wording may change. A `{name}` is filled by a value of the finding, which
stands under `told` in `result.json`. Codes are grouped by the topic before the dot, which is mostly the stage; one code may come up at
several stages.

The verdict is the one that the finding usually carries. Where it is decided by the job's decision rule, it may be stricter. A finding
that was made void later counts as undecided at best.

This file is written by a test from the declarations in `harness/procedure/src/facts/`; do not edit it.
";

fn document() -> String {
    let mut topics: BTreeMap<&str, Vec<&Known>> = BTreeMap::new();
    for k in known() {
        topics.entry(k.code.split('.').next().unwrap_or_default()).or_default().push(k);
    }
    let cell = |words: Option<&str>| words.unwrap_or_default().replace('|', "\\|");
    let row = |k: &&Known| {
        let [says, likely, next] = [Some(k.says), k.likely, k.next].map(cell);
        format!("| `{}` | {} | {says} | {likely} | {next} |\n", k.code, k.verdict)
    };
    let topic = |(topic, kinds): (&&str, &Vec<&Known>)| {
        let rows: String = kinds.iter().map(row).collect();
        format!("\n## {topic}\n\n| Code | Verdict | Found | Most likely | Next |\n|---|---|---|---|---|\n{rows}")
    };
    HEAD.to_owned() + &topics.iter().map(topic).collect::<String>()
}

#[test]
fn the_document_lists_every_kind_of_finding() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/findings.md");
    if env::var_os("PLUMELINE_WRITE_FINDINGS").is_some() {
        fs::write(&path, document()).unwrap();
    }
    let kept = fs::read_to_string(&path).unwrap_or_default();
    assert!(kept == document(), "docs/findings.md is out of date: run with PLUMELINE_WRITE_FINDINGS=1");
}

/// All Rust files under a folder.
fn sources(folder: &Path, into: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            sources(&path, into)?;
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
    Ok(())
}

/// A line that gives a finding or a fact words of its own.
fn words_of_its_own(line: &str) -> bool {
    let assigned = line.split_once(" = ").map(|(left, _)| left).or_else(|| line.strip_suffix(" ="));
    let changed = line.split_once(".push_str(").map(|(left, _)| left);
    let fields = ["f.says", "f.likely", "f.next", "f.told", "f.code", "finding.says"];
    let holds = |part: Option<&str>| part.is_some_and(|part| fields.iter().any(|field| part.contains(field)));
    holds(assigned) || holds(changed) || line.contains(" Fact {") && !line.contains("->")
}

#[test]
fn no_finding_gets_its_sentences_elsewhere() {
    assert!(
        words_of_its_own("f.says = \"all is well\".into();") && words_of_its_own("(f.verdict, f.says) = match a {")
    );
    assert!(!words_of_its_own("if f.code == other {") && !words_of_its_own("fn difference(d: &D) -> Fact {"));
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut all = Vec::new();
    for part in ["stages", "judge"] {
        sources(&src.join(part), &mut all).unwrap();
    }
    all.extend(["context.rs", "supervisors.rs", "watch.rs", "machine.rs"].map(|name| src.join(name)));
    assert!(all.len() > 20, "{all:?}");
    for path in all {
        let text = fs::read_to_string(&path).unwrap();
        for (line, number) in text.lines().zip(1..) {
            assert!(!words_of_its_own(line), "{}:{number}: {line}", path.display());
        }
    }
}
