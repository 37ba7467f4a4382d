//! The whole job with replacements of other makes, and with replacements that lie.
use crate::common::{Folder, run, text};
use plumeline_simulator::LieKind;
use serde_json::Value;
use std::process::Output;

/// The small demonstration, and what came of it.
fn demo(dir: &Folder, more: &[&str]) -> (Output, Value) {
    let out = dir.join("job");
    let mut args = vec!["demo", "--small", "--seed", "11", "--quiet", "--force", "--out", text(&out)];
    args.extend(more);
    let o = run(&args);
    let result = std::fs::read(out.join("result.json")).unwrap_or_else(|_| panic!("{more:?}: no result\n{o:?}"));
    (o, serde_json::from_slice(&result).unwrap())
}

/// Lies that the job does not see yet. Whatever it learns to see comes off this list and never returns to it.
const UNSEEN: [&str; 31] = [
    "alarms-dead",
    "lowest-level-dead",
    "highest-level-dead",
    "levels-reversed",
    "latch-not-kept",
    "alarm-late",
    "alarm-early",
    "threshold-high",
    "threshold-low",
    "alarms-hidden",
    "inhibit-idle-hidden",
    "inhibit-always-told",
    "release-ignored",
    "leak-unused-inlet",
    "leak-untold",
    "baseline-high",
    "baseline-of-before",
    "baseline-lost-at-restart",
    "learning-on",
    "starting-forever",
    "flow-fault-late",
    "flow-band-wide",
    "readings-lost",
    "old-thresholds",
    "old-delays",
    "old-flow-band",
    "old-flow-delay",
    "old-outputs",
    "revision-stuck",
    "levels-claimed",
    "log-silent",
];

#[test]
fn a_unit_that_lies_is_not_passed() {
    let dir = Folder::new("lies");
    let passed: Vec<&str> = LieKind::all()
        .map(LieKind::name)
        .filter(|lie| !UNSEEN.contains(lie))
        .filter(|lie| demo(&dir, &["--lie", lie]).1["verdict"] == "pass")
        .collect();
    assert!(passed.is_empty(), "passed over {passed:?}");
}

#[test]
fn a_sound_job_passes_with_a_replacement_of_another_make() {
    let dir = Folder::new("model-c");
    let (o, r) = demo(&dir, &["--replacement", "model-c"]);
    assert_eq!((o.status.code(), &r["outcome"]["replacement"]["model"]), (Some(0), &"Model C".into()), "{o:?}");
    assert!(r["outcome"]["stages"].as_array().unwrap().iter().all(|s| s["complete"] == true));
}
/// Each is carried over with the decisions prepared for it, and holds what was loaded.
#[test]
fn replacements_of_other_makes_hold_what_is_loaded() {
    for (name, model) in [("model-d", "Model D"), ("model-e", "Model E")] {
        let dir = Folder::new(name);
        let (_, r) = demo(&dir, &["--replacement", name]);
        assert_eq!(r["outcome"]["replacement"]["model"], model);
        let stages = r["outcome"]["stages"].as_array().unwrap();
        for wanted in ["bench", "boot", "load"] {
            let stage = stages.iter().find(|s| s["stage"] == wanted).unwrap_or_else(|| panic!("{name}: no {wanted}"));
            assert_eq!((&stage["verdict"], &stage["complete"]), (&"pass".into(), &true.into()), "{name}: {stage}");
        }
    }
}

#[test]
fn what_is_not_prepared_or_not_known_is_named() {
    let dir = Folder::new("other-units");
    let out = dir.join("job");
    let said = |more: &[&str]| {
        let mut args = vec!["demo", "--small", "--out", text(&out)];
        args.extend(more);
        let o = run(&args);
        assert_eq!(o.status.code(), Some(3), "{o:?}");
        String::from_utf8(o.stderr).unwrap()
    };
    assert!(said(&["--replacement", "model-a"]).contains("no decisions are prepared for `model-a`"));
    assert!(said(&["--lie", "alarm-dead"]).contains("there is no lie called `alarm-dead`"));
    assert!(said(&["--lie", "alarm-late:0"]).contains("outside 1 to 3600"));
}
