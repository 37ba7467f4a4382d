//! The whole job with a replacement that is read by registers: sound ones pass, each defect of the air is stopped, the line may
//! lose bytes, and the log replays strictly.
use crate::common::{Folder, exits, run, stdout, text};
use plumeline_base::Instant;
use plumeline_job::description;
use serde_json::Value;
use std::fs;

fn demo(dir: &Folder, more: &[&str]) -> std::process::Output {
    let out = dir.join("job");
    let mut args = vec!["demo", "--unit", "registers", "--quiet", "--force", "--out", text(&out)];
    args.extend(more);
    run(&args)
}
fn result(dir: &Folder) -> Value {
    serde_json::from_slice(&fs::read(dir.join("job/result.json")).unwrap()).unwrap()
}
fn codes(r: &Value) -> Vec<&str> {
    r["outcome"]["findings"].as_array().unwrap().iter().filter_map(|f| f["code"].as_str()).collect()
}

#[test]
fn a_sound_unit_passes_and_says_what_it_can_t_show() {
    let dir = Folder::new("registers");
    exits(&demo(&dir, &[]), &[0]);
    let r = result(&dir);
    assert!(r["outcome"]["stages"].as_array().unwrap().iter().all(|s| s["complete"] == true));
    let codes = codes(&r);
    for code in ["load.same-digest", "held.still-by-digest", "unit.goes-without", "inhibit.lapse-shown", "clock.kept"] {
        assert!(codes.contains(&code), "{code}: {codes:?}");
    }
    let missed = r["outcome"]["could_have_missed"].as_array().unwrap();
    assert_eq!(missed.iter().filter(|m| m["code"] == "missed.not-told").count(), 1);
    let job = dir.join("job");
    exits(&run(&["replay", text(&job), "--expect", "pass"]), &[0]);
    exits(&run(&["check", text(&job)]), &[0]);
    // What the plan does not go without by name is no pass.
    let plan = fs::read_to_string(dir.join("job/plan.toml")).unwrap();
    let again = dir.join("again");
    fs::create_dir(&again).unwrap();
    for name in ["pipework.toml", "settings-new.json", "unit-replacement.toml", "unit-outgoing.toml"] {
        fs::copy(dir.join("job").join(name), again.join(name)).unwrap();
    }
    fs::write(again.join("plan.toml"), plan.replace("\"device time\", ", "")).unwrap();
    exits(&run(&["run", text(&again), "--port", "sim:", "--old-port", "sim:", "--quiet"]), &[2]);
    let r: Value = serde_json::from_slice(&fs::read(again.join("result.json")).unwrap()).unwrap();
    assert_eq!(r["verdict"], "undecided");
    assert!(
        r["outcome"]["because"].as_str().unwrap().contains("when the unit measured"),
        "{}",
        r["outcome"]["because"]
    );
}

#[track_caller]
fn stopped(defect: &str, names: &[&str]) {
    let dir = Folder::new("registers-defect");
    let o = demo(&dir, &["--defect", defect]);
    exits(&o, &[1, 2]);
    let words = stdout(&o).to_lowercase();
    assert!(names.iter().any(|n| words.contains(n)), "{defect}: none of {names:?} in\n{words}");
}
#[test]
fn each_defect_of_the_air_is_stopped() {
    for (defect, names) in [
        ("hole-blocked:pipe=1,hole=4", &["pipe 1 hole 4"][..]),
        ("end-cap-missing:pipe=2", &["pipe 2"]),
        ("pipe-off:pipe=2", &["pipe 2"]),
        ("pipes-crossed:pipe=1", &["pipe 1", "pipe 2"]),
        ("filter-clogged", &["filter"]),
        ("fan-setting-wrong", &["fan"]),
        ("setting-lost", &["setting "]),
    ] {
        stopped(defect, names);
    }
}

#[test]
fn a_line_that_drops_and_spoils_bytes_costs_time_and_no_truth() {
    let dir = Folder::new("registers-line");
    exits(&demo(&dir, &["--small", "--faults", "flip=0.002,drop=0.002,cut=900s+20s"]), &[0]);
    exits(&run(&["replay", text(&dir.join("job"))]), &[0]);
    let dir = Folder::new("registers-line-blocked");
    exits(
        &demo(&dir, &["--small", "--faults", "flip=0.002,drop=0.002", "--defect", "hole-blocked:pipe=1,hole=3"]),
        &[1, 2],
    );
}

/// The map says another order of registers than the unit has: no number of it is believed.
#[test]
fn a_wrong_order_of_registers_is_refused_with_the_remedy() {
    use plumeline_runtime::{
        job::Job,
        keep::MemoryKeeper,
        line::Line,
        operator::{Operator, Script, SimulatedSite},
    };
    use plumeline_simulator::{Simulation, scenario::Which};
    let dir = Folder::new("registers-order");
    exits(&demo(&dir, &["--small"]), &[0]);
    let folder = plumeline_job::folder::Folder::open(&dir.join("job")).unwrap();
    let mut files = plumeline_runtime::job_files::Files::read(&folder).unwrap();
    files.0.retain(|(name, _)| name != "carry-account.json");
    let (_, described) = files.0.iter_mut().find(|(name, _)| name == "unit-replacement.toml").unwrap();
    let wrong = String::from_utf8(described.clone())
        .unwrap()
        .replace("protocol = \"rtu\"", "protocol = \"rtu\"\nwords = \"low first\"");
    *described = wrong.into_bytes();
    let parsed = description::parse("unit", described).unwrap();
    let files = files.with_ports("sim:", Some("sim:"));
    let inputs = files.check().unwrap().inputs;
    let mut site = plumeline_simulator::Scenario::new(inputs.pipework.clone(), 1);
    site.replacement = plumeline_runtime::simulated_model::of(&parsed).unwrap().into();
    let site = SimulatedSite::new(Simulation::new(site, Instant::START).unwrap());
    let line = |unit| Line::simulated(&site, Some(unit), Default::default(), 1);
    let session = Job::begin(&files, inputs, MemoryKeeper::default(), "2026-01-01T00:00:00Z")
        .line(line(Which::Replacement))
        .outgoing_line(Some(line(Which::Outgoing)))
        .operator(Operator::script("script", Script::willing(), site.clone()))
        .run()
        .unwrap();
    let outcome = session.outcome().unwrap();
    assert_ne!(outcome.verdict, plumeline_base::Verdict::Pass);
    assert_eq!(outcome.out_of_service_s, None, "found on the bench");
    let said = format!("{outcome:?}");
    assert!(said.contains("`words`") && said.contains("can't be right"), "{said}");
}
