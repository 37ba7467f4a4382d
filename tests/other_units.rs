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

/// Lies that no job can see, each with the statement in the report of every job that says so.
const NOT_SHOWN: [(&str, &str); 6] = [
    ("leak-untold", "missed.untold-air"),
    ("baseline-of-before", "missed.baseline-off"),
    ("baseline-lost-at-restart", "missed.after-restart"),
    ("flow-band-wide", "missed.unit-band"),
    ("old-flow-band", "missed.unit-band"),
    ("old-outputs", "missed.outputs-at-alarm"),
];

#[test]
fn a_unit_that_lies_is_not_passed_or_the_report_says_that_this_lie_is_not_shown() {
    let dir = Folder::new("lies");
    for lie in LieKind::all().map(LieKind::name) {
        let (_, result) = demo(&dir, &["--lie", lie]);
        let passed = result["verdict"] == "pass";
        match NOT_SHOWN.iter().find(|(name, _)| *name == lie) {
            None => assert!(!passed, "passed over {lie}"),
            Some((_, code)) => {
                let stated = result["outcome"]["could_have_missed"].as_array().unwrap();
                assert!(stated.iter().any(|s| s["code"] == *code), "{lie}: the report lacks {code}");
            }
        }
    }
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
