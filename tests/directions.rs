//! Which crate may depend on which, and which crates are pure. Guarded here, not by good will.
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

/// A key, or words in a source, with `#` for whatever number stands in them.
fn shape(text: &str) -> String {
    let mut out = String::new();
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '{' => while chars.next().is_some_and(|c| c != '}') {},
            '0'..='9' => while chars.next_if(char::is_ascii_digit).is_some() {},
            _ => {
                out.push(c);
                continue;
            }
        }
        out.push('#');
    }
    out
}

#[test]
fn the_procedure_names_no_key_of_any_description() {
    use plumeline_job::description::{SHIPPED, parse};
    let mut keys = BTreeMap::new();
    for (name, text) in SHIPPED {
        let slots = parse(name, text.as_bytes()).unwrap().slots;
        // A key without parts (`zone`) may be any word.
        let keyed = slots.iter().filter(|s| s.key.contains(['.', '-']));
        keys.extend(keyed.map(|s| (shape(&s.key), format!("{} of {name}", s.key))));
    }
    assert!(keys.contains_key("alarm.#.threshold") && keys.contains_key("q-minus"), "{keys:?}");
    let mut files = Vec::new();
    sources(&Path::new(&members()["plumeline-procedure"].folder).join("src"), &mut files);
    let mut named = Vec::new();
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        // Every other piece between quotation marks stands in a literal, and a key holds none.
        let keys_named = text.lines().flat_map(|l| l.split('"')).filter_map(|words| keys.get(&shape(words)));
        named.extend(keys_named.map(|key| format!("{}: {key}", file.display())));
    }
    assert!(named.is_empty(), "ask the view of the unit by meaning: {named:#?}");
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

/// The modules of the procedure, lowest first: each uses only those that stand before it. So judges see neither the context
/// nor a wait, facts are not arrived at where they are worded, and nothing but the machine starts stages. Modules of one row
/// describe each other: a plan holds stages and rules, whose defaults are in the plan's own types.
const PROCEDURE: [&str; 32] = [
    "stage plan rules instrument",
    "stop",
    "prompt",
    "facts",
    "outcome",
    "means",
    "mending",
    "battery",
    "job",
    "again anchor",
    "digest",
    "mean_flow",
    "effect",
    "rise",
    "drops",
    "readings",
    "lines",
    "state",
    "judge",
    "executor",
    "context",
    "marks",
    "answers",
    "described",
    "feed",
    "typed",
    "date",
    "metered",
    "watch",
    "stages",
    "supervisors",
    "machine",
];

/// The modules of the crate that a source names: `crate::a::b` and `crate::{a::b, c}`.
fn named_modules(source: &str) -> BTreeSet<String> {
    let code: Vec<&str> = source.lines().filter(|l| !l.trim_start().starts_with("//")).collect();
    let code = code.join("\n");
    let mut out = BTreeSet::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        let word = |s: &str| s.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
        let Some(group) = rest.strip_prefix('{') else {
            out.insert(word(rest));
            continue;
        };
        let mut depth = 0;
        let outer = group.chars().map_while(|c| {
            depth += i32::from(c == '{') - i32::from(c == '}');
            (depth >= 0).then_some(if depth == 0 { c } else { ' ' })
        });
        out.extend(outer.collect::<String>().split(',').map(|s| word(s.trim())).filter(|m| !m.is_empty()));
    }
    out
}

#[test]
fn modules_of_the_procedure_use_only_what_stands_below_them() {
    assert_eq!(
        named_modules("use crate::{\n a::{b, c},\n d,\n};\n// crate::x\ncrate::e::f()"),
        ["a", "d", "e"].map(str::to_owned).into()
    );
    let src = Path::new(&members()["plumeline-procedure"].folder).join("src");
    let place = |module: &str| PROCEDURE.iter().position(|row| row.split(' ').any(|m| m == module));
    let mut files = Vec::new();
    sources(&src, &mut files);
    let mut wrong = Vec::new();
    for file in files {
        let path = file.strip_prefix(&src).unwrap();
        let module = path.components().next().unwrap().as_os_str().to_str().unwrap().trim_end_matches(".rs").to_owned();
        if module == "lib" {
            continue;
        }
        let own =
            place(&module).unwrap_or_else(|| panic!("a module came: say the place of `{module}` among the others"));
        let used = named_modules(&std::fs::read_to_string(&file).unwrap());
        // What the crate gives out at its top (`crate::Finding`) is no module.
        let up = used.iter().filter(|m| place(m).is_some_and(|p| p > own));
        wrong.extend(up.map(|m| format!("{} uses {m}", path.display())));
    }
    assert!(wrong.is_empty(), "upward: {wrong:#?}");
}
