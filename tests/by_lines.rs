//! One unit by several means: lines that it prints, and a person for what they do not tell. And two units of which each is asked
//! in its own way.
use crate::common::{Folder, exits, plumeline, run, stderr, stdout, text};
use serde_json::Value;
use std::{fs, io::Write as _, path::Path, process::Stdio, time::Duration};

fn demo(dir: &Folder, more: &[&str]) -> (i32, Value) {
    let job = dir.join("job");
    let mut args = vec!["demo", "--unit", "lines", "--quiet", "--force", "--out", text(&job)];
    args.extend(more);
    let o = run(&args);
    (o.status.code().unwrap(), result(&job).unwrap_or_else(|| panic!("{}{}", stdout(&o), stderr(&o))))
}
fn result(job: &Path) -> Option<Value> {
    serde_json::from_slice(&fs::read(job.join("result.json")).ok()?).ok()
}
/// The finding with this code.
fn found<'a>(result: &'a Value, code: &str) -> &'a Value {
    let all = result["outcome"]["findings"].as_array().unwrap();
    all.iter().find(|f| f["code"] == code).unwrap_or_else(|| panic!("{code} is not among {all:#?}"))
}

#[test]
fn what_lines_tell_is_measured_and_a_person_does_the_rest() {
    let dir = Folder::new("by-lines");
    let (code, result) = demo(&dir, &[]);
    assert_eq!(code, 0, "{:#}", result["outcome"]["because"]);
    for (code, means) in [
        ("flow.as-predicted", "protocol"),
        ("holes.draws", "protocol"),
        ("settle.steady", "protocol"),
        ("smoke.within-limit", "protocol"),
        ("unit.as-planned", "person"),
        ("load.kept", "person"),
        ("alarms.seen", "person"),
        ("supervise.fault-in-time", "person"),
        ("supply.loss-shown", "person"),
        ("baseline.as-measured", "person"),
        ("last-look.baseline-still-held", "person"),
        ("inhibit.held-by-hand", "attested"),
    ] {
        let f = found(&result, code);
        assert_eq!((f["verdict"].as_str(), f["means"].as_str()), (Some("pass"), Some(means)), "{code}");
    }
    let by = &result["shown_by"];
    assert!(["measured", "read", "attested"].iter().all(|k| by[k].as_u64().unwrap() > 5), "{by:#}");
    assert_eq!(by["not_shown"], 0);
    let job = dir.join("job");
    exits(&run(&["replay", text(&job), "--expect", "pass"]), &[0]);
    exits(&run(&["check", text(&job)]), &[0]);
}

#[test]
fn defects_of_the_air_are_stopped_by_what_lines_tell() {
    let dir = Folder::new("by-lines-defects");
    for defect in ["hole-blocked", "end-cap-missing", "pipe-off", "fan-setting-wrong"] {
        let (exit, result) = demo(&dir, &["--small", "--defect", defect]);
        assert!([1, 2].contains(&exit), "{defect}: {exit} {}", result["verdict"]);
    }
}

/// A line without a check of its own: what is damaged is not believed for long, and never passes a blocked hole.
#[test]
fn a_line_that_drops_and_spoils_bytes_passes_no_blocked_hole() {
    let dir = Folder::new("by-lines-faults");
    for seed in ["1", "2", "3"] {
        let faults = ["--small", "--seed", seed, "--faults", "flip=0.0005,drop=0.0005", "--defect", "hole-blocked"];
        let (exit, result) = demo(&dir, &faults);
        assert!([1, 2].contains(&exit), "seed {seed}: {exit} {}", result["verdict"]);
    }
}

/// The outgoing unit is read by a person, the replacement by registers.
#[test]
fn an_outgoing_unit_by_a_person_and_a_replacement_by_registers_are_one_job() {
    let dir = Folder::new("two-means");
    let first = dir.join("job");
    exits(&run(&["demo", "--small", "--unit", "registers", "--quiet", "--out", text(&first)]), &[0]);
    let job = dir.join("again");
    fs::create_dir(&job).unwrap();
    for name in ["pipework.toml", "settings-new.json", "unit-replacement.toml", "plan.toml"] {
        fs::copy(first.join(name), job.join(name)).unwrap();
    }
    // The outgoing unit shows its flow and a lamp, and can be asked nothing.
    let described = fs::read_to_string(first.join("unit-outgoing.toml")).unwrap();
    let can = described.lines().find(|l| l.starts_with("can = ")).unwrap();
    let display =
        "[display]\nflow = { unit = \"%\", step = 1, range = [0, 250] }\n[display.lamps]\nFAULT = \"fault\"\n\n[air]";
    let described = described.replace(can, "can = []").replacen("[air]", display, 1);
    assert!(described.contains("[display]"));
    fs::write(job.join("unit-outgoing.toml"), described).unwrap();
    exits(&run(&["run", text(&job), "--port", "sim:", "--old-port", "sim:", "--quiet"]), &[0]);
    let result = result(&job).unwrap();
    assert_eq!(found(&result, "as-found.identity")["means"], "person");
    assert_eq!(found(&result, "unit.as-planned")["means"], "protocol");
    assert_eq!(found(&result, "flow.as-predicted")["means"], "protocol");
    exits(&run(&["replay", text(&job), "--expect", "pass"]), &[0]);
}

/// A logger's CSV, with a decimal comma, is followed while it is written: what stood in it before is of another time.
#[test]
fn a_file_that_a_logger_writes_is_read_row_by_row() {
    let dir = Folder::new("by-file");
    let (_, shipped) = plumeline_job::description::SHIPPED.into_iter().find(|(name, _)| *name == "model-h").unwrap();
    let printed = "AIR{inlets} {flow.1} {flow.2} {flow.3} {flow.4} L/min SMOKE {smoke} %/m";
    let described = shipped.replace(printed, "{};{inlets};{flow.1};{flow.2};{flow.3};{flow.4};{smoke}");
    assert_ne!(described, shipped);
    let (model, csv) = (dir.join("logged.toml"), dir.join("log.csv"));
    fs::write(&model, described).unwrap();
    fs::write(&csv, "time;inlets;1;2;3;4;smoke\n08:00:00;2;9,99;9,98;----;----;0,0500\n").unwrap();
    let port = format!("file:{}", text(&csv));
    let mut child = plumeline(&["describe", text(&model), "--port", &port]).stdout(Stdio::piped()).spawn().unwrap();
    for n in 0..150 {
        if child.try_wait().unwrap().is_some() {
            break;
        }
        let mut file = fs::OpenOptions::new().append(true).open(&csv).unwrap();
        writeln!(file, "08:01:{n:02};2;32,15;33,02;----;----;0,0123").unwrap();
        std::thread::sleep(Duration::from_millis(200));
    }
    let o = child.wait_with_output().unwrap();
    exits(&o, &[0, 2]);
    let told = stdout(&o);
    assert!(told.contains("32.15") && told.contains("33.02") && !told.contains("9.9"), "{told}");
}
