//! The whole job with replacements of other makes, and with replacements that lie.
use crate::common::{Folder, run, text};
use plumeline_lab::campaign::lies::STATED;
use plumeline_simulator::LieKind;
use serde_json::Value;
use std::process::Output;

/// The small demonstration, and what came of it.
fn demo(dir: &Folder, more: &[&str]) -> (Output, Value) {
    demonstrated(dir, &[&["--small"], more].concat())
}
fn demonstrated(dir: &Folder, more: &[&str]) -> (Output, Value) {
    let out = dir.join("job");
    let mut args = vec!["demo", "--seed", "11", "--quiet", "--force", "--out", text(&out)];
    args.extend(more);
    let o = run(&args);
    let result = std::fs::read(out.join("result.json")).unwrap_or_else(|_| panic!("{more:?}: no result\n{o:?}"));
    (o, serde_json::from_slice(&result).unwrap())
}

/// The statement with this code in a report about what could have been missed.
fn stated<'a>(result: &'a Value, code: &str) -> Option<&'a Value> {
    result["outcome"]["could_have_missed"].as_array().unwrap().iter().find(|s| s["code"] == code)
}

/// Each lie of the catalogue has a finding that stops it, or a line in every report, that of a sound unit too, which says that it is not shown.
#[test]
fn a_unit_that_lies_is_not_passed_or_the_report_says_that_this_lie_is_not_shown() {
    let dir = Folder::new("lies");
    let (_, sound) = demo(&dir, &[]);
    assert_eq!(sound["verdict"], "pass");
    let mut stopped = 0;
    for kind in LieKind::all() {
        let lie = kind.name();
        // The mean of one flow is that flow: this one needs several pipes.
        let (_, result) = match kind {
            LieKind::FlowsAveraged => demonstrated(&dir, &["--lie", lie]),
            _ => demo(&dir, &["--lie", lie]),
        };
        if result["verdict"] != "pass" {
            stopped += 1;
            continue;
        }
        let (_, code) = STATED.iter().find(|(k, _)| *k == kind).unwrap_or_else(|| panic!("passed over {lie}"));
        for (of, result) in [("its", &result), ("a sound", &sound)] {
            assert!(stated(result, code).is_some(), "{lie}: {of} report lacks {code}");
        }
    }
    assert!(stopped >= LieKind::all().count() - STATED.len(), "{stopped} stopped");
}

/// A value of a statement, as a number.
fn value(result: &Value, code: &str, name: &str) -> f64 {
    let stated = stated(result, code).unwrap_or_else(|| panic!("no {code}"));
    stated["told"][name]
        .as_str()
        .and_then(|v| v.parse().ok())
        .unwrap_or_else(|| panic!("{code} lacks {name}: {stated}"))
}

/// A milder lie that passes is within what this very job says that it could have missed.
#[test]
fn a_mild_lie_that_passes_is_within_what_its_report_leaves_open() {
    let dir = Folder::new("mild-lies");
    let level = "missed.alarm-threshold";
    let mild = [
        ("threshold-low:0.8", level, "low", 80.0, true),
        ("smoke-scaled:0.8", level, "low", 80.0, true),
        ("threshold-high:1.2", level, "high", 120.0, false),
        ("fan-speed-untrue:0.95", "missed.all-alike", "low", -4.0, true),
        ("leak-untold:3", "missed.untold-air", "share", 3.0, false),
        ("flow-compressed:0.97", "missed.late-readings", "percent", 3.0, false),
        ("readings-stale:3", "missed.late-readings", "seconds", 3.0, false),
        ("old-delays", level, "seconds", 5.0, false),
        ("flow-fault-late:10", "missed.allowances", "delay", 10.0, false),
        ("clock-drifts:0.0003", "missed.allowances", "drift", 300.0, false),
        ("readings-lost:0.03", "missed.allowances", "lost", 3.0, false),
    ];
    for (lie, code, name, size, at_most) in mild {
        let (_, result) = demo(&dir, &["--lie", lie]);
        if result["verdict"] == "pass" {
            let open = value(&result, code, name);
            assert!(
                if at_most { open <= size } else { open >= size },
                "{lie} passed, and {code} leaves only {open} open"
            );
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
