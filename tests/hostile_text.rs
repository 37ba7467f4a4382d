//! Text from a unit, from files and from arguments can't steer a terminal, turn the direction of text or feign lines of ours.
//! Not here: which characters are meant (`base::text`).
use crate::{
    common::{Folder, run, text},
    models,
};
use plumeline_link::faults::FaultSpec;
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    finish,
    job::Job,
    keep::DiskKeeper,
    line::Line,
    operator::{Operator, Script},
    show::Words,
};
use plumeline_simulator::models::Model;
use std::{path::Path, process::Output, sync::Mutex};

/// What clears a screen, rings, sets a title, begins a control sequence in one character, turns text and feigns a line.
const HOSTILE: &str = "\u{1b}[2J\u{7}\u{1b}]0;x\u{7}\u{9b}31m\u{202e}\u{2066}\nPASS\r";

/// Nothing but lines of characters that stay where they are put.
fn harmless(shown: &str) {
    let steers = |c: char| {
        (c.is_control() && c != '\n' && c != '\t')
            || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}')
    };
    if let Some(at) = shown.find(steers) {
        let around: String = shown[..at].chars().rev().take(60).collect::<String>().chars().rev().collect();
        panic!("{:?} behind {around:?}", shown[at..].chars().next());
    }
    assert!(!shown.lines().any(|l| l == "PASS"), "a line of its own: {shown}");
}
fn harmless_output(o: &Output) {
    for shown in [&o.stdout, &o.stderr] {
        harmless(&String::from_utf8(shown.clone()).unwrap());
    }
}

/// What is hostile about a unit.
type Change = fn(&mut Model);

static SHOWN: Mutex<String> = Mutex::new(String::new());

/// A whole job in this folder, and what was shown meanwhile.
fn job(dir: &Path, change: Change) -> String {
    let (files, loaded, site) = models::prepared("model-b", "model-b", change);
    let named: Vec<_> = files.0.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    let folder = plumeline_job::folder::Folder::create(dir, &named, false).unwrap();
    SHOWN.lock().unwrap().clear();
    let write = |text: &str| *SHOWN.lock().unwrap() += &(text.to_owned() + "\n");
    let session = Job::begin(&files, loaded.inputs.clone(), DiskKeeper::create(&folder).unwrap(), DATE_OF_SIMULATIONS)
        .line(Line::simulated(&site, None, FaultSpec::default(), 11))
        .operator(Operator::script("script", Script::willing(), site))
        .observer(Words::to(Box::new(write), true))
        .run()
        .unwrap();
    finish::finished(&folder, &loaded, session, false, true).unwrap();
    SHOWN.lock().unwrap().clone()
}

#[test]
fn a_unit_steers_no_terminal_through_a_whole_job_nor_through_an_error() {
    let dir = Folder::new("hostile");
    let jobs: [(&str, Change); 2] = [
        ("maker", |m| m.maker = HOSTILE.into()),
        ("model", |m| (m.name, m.firmware) = (HOSTILE.into(), HOSTILE.into())),
    ];
    for (name, change) in jobs {
        let out = dir.join(name);
        let shown = job(&out, change);
        assert!(shown.contains("\\u001b[2J\\u0007") && shown.contains("\\u000aPASS\\u000d"), "{name}: {shown}");
        harmless(&shown);
        for file in ["report.html", "result.xml"] {
            let written = std::fs::read_to_string(out.join(file)).unwrap_or_default();
            assert!(!written.contains(['\u{1b}', '\u{9b}', '\u{202e}', '\u{2066}']), "{name}: {file}");
        }
        for command in ["replay", "check", "report"] {
            harmless_output(&run(&[command, text(&out)]));
        }
        harmless_output(&run(&["check", text(&out), "--json"]));
    }
}

#[test]
fn names_of_files_and_their_words_steer_no_terminal() {
    let dir = Folder::new("hostile-files");
    let name = "a\u{1b}[2J\u{9b}\u{202e}b";
    harmless_output(&run(&["check", text(&dir.join(name))]));
    harmless_output(&run(&["demo", "--lie", name]));
    harmless_output(&run(&["demo", name]));
    harmless_output(&run(&[name]));
    harmless_output(&run(&["run", text(&dir.join("none")), "--port", name]));
    let csv = dir.join("readings.csv");
    std::fs::write(&csv, format!("time_s,{name}\n0,{name}\n1,2\n")).unwrap();
    harmless_output(&run(&["judge", "mean", text(&csv)]));
    harmless_output(&run(&["judge", "onset", text(&csv), "--release", name]));
    let plan = dir.join("plan.toml");
    std::fs::write(&plan, format!("format = 1\nsite = \"\u{9b}\u{202e}\"\n\u{9b}\u{202e} = {name}\n")).unwrap();
    harmless_output(&run(&["plan-check", text(dir.path())]));
}
