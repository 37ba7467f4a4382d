//! What hands do and a person says: the checklist with who, note and photo; wiring sheet, supply, and a job that ends with
//! something still isolated. Whole small jobs against the simulated site.
use crate::common::{Folder, exits, plumeline, run, stdout, text};
use plumeline_base::{Instant, Verdict, input::TickState};
use plumeline_link::faults::FaultSpec;
use plumeline_procedure::{Outcome, outcome::Finding};
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    job::Job,
    job_files::Files,
    keep::MemoryKeeper,
    line::Line,
    operator::{Operator, Script, SimulatedSite},
    scenario,
};
use plumeline_simulator::Simulation;
use std::{
    io::{BufRead, BufReader, Write},
    path::Path,
    process::Stdio,
};

fn file(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small").join(name)).unwrap()
}
/// The small plan with some of its words changed.
fn plan(changes: &[(&str, &str)]) -> String {
    let mut plan = file("plan.toml");
    for (from, to) in changes {
        assert!(plan.contains(from), "no {from:?} in the plan");
        plan = plan.replacen(from, to, 1);
    }
    plan
}

/// A whole small job with this plan and these answers, at a site with these commands given beforehand.
fn job(plan: &str, answers: &str, site_commands: &[&str]) -> Outcome {
    let files = [("pipework.toml", file("pipework.toml")), ("settings-new.json", file("settings-new.json"))];
    let mut all: Vec<(String, Vec<u8>)> = files.map(|(n, t)| (n.to_owned(), t.into_bytes())).to_vec();
    all.insert(1, ("plan.toml".into(), plan.as_bytes().to_vec()));
    let files = Files(all).with_shipped("model-a", "model-b").unwrap().with_port("sim:");
    let inputs = files.check().unwrap().inputs;
    let site = scenario::site(inputs.pipework.clone(), 11, &[], true).unwrap();
    let mut simulation = Simulation::new(site, Instant::START).unwrap();
    for command in site_commands {
        let reply = simulation.handle_control(Instant::START, command);
        assert!(reply.contains("\"ok\":true"), "{reply}");
    }
    let script = Script::of(Script::read("operator.toml", format!("format = 1\n{answers}").as_bytes()).unwrap());
    let site = SimulatedSite::new(simulation);
    let session = Job::begin(&files, inputs, MemoryKeeper::default(), DATE_OF_SIMULATIONS)
        .line(Line::simulated(&site, None, FaultSpec::default(), 11))
        .operator(Operator::script("script", script, site))
        .run()
        .unwrap();
    session.outcome().unwrap().clone()
}
/// A finding with this code whose sentences are filled by these values, among others.
#[track_caller]
fn found(o: &Outcome, code: &str, told: &[(&str, &str)]) {
    let filled = |f: &Finding| told.iter().all(|(name, value)| f.told.get(*name).is_some_and(|v| v == value));
    assert!(o.findings.iter().any(|f| f.code == *code && filled(f)), "no {code} {told:?} in {:#?}", o.findings);
}

/// A plan of the stages that outputs need, and no others.
fn outputs_only(changes: &[(&str, &str)]) -> String {
    let plan = plan(changes);
    let (head, rest) = plan.split_once("[[stages]]").unwrap();
    let (_, checklist) = rest.split_once("# Hand-work").unwrap();
    let stages = ["isolate", "swap", "boot", "load", "outputs", "restore", "close"];
    let stages: String = stages.iter().map(|s| format!("[[stages]]\nstage = \"{s}\"\npolicy = \"go-on\"\n")).collect();
    format!("{head}{stages}# Hand-work{checklist}")
}

#[test]
fn an_input_answers_for_the_panel_where_the_wiring_sheet_says_so() {
    let sheet = plan(&[("function = \"alarm-1\"", "function = \"alarm-1\"\ninput = 1")]);
    assert!(sheet.contains("input = 1"));
    let plan = outputs_only(&[("function = \"alarm-1\"", "function = \"alarm-1\"\ninput = 1")]);
    // Whoever asks the operator hears no: only the input can pass this output.
    let answers = "[[answer]]\nact = \"panel-shows\"\noutput = 2\nsay = \"no\"\n";
    let o = job(&plan, answers, &[r#"{"do":"echo","wire":2,"input":1}"#]);
    found(&o, "outputs.operates", &[("function", "alarm-1"), ("by", "input 1 shows")]);
    let o = job(&plan, "", &[r#"{"do":"echo","wire":3,"input":1}"#]);
    found(&o, "outputs.wrong-input", &[("function", "alarm-1"), ("by", "input 1 shows")]);
}

#[test]
fn the_wiring_sheet_and_the_settings_must_name_the_same() {
    let o = job(&outputs_only(&[("function = \"alarm-2\"", "function = \"alarm-3\"")]), "", &[]);
    found(&o, "outputs.sheet-differs", &[("sheet", "alarm-3"), ("settings", "alarm-2")]);
}

#[test]
fn a_battery_that_is_too_small_fails_and_one_that_is_not_stated_is_undecided() {
    let o = job(&plan(&[("battery = \"17 Ah\"", "battery = \"7 Ah\"")]), "", &[]);
    assert_eq!(o.verdict, Verdict::Fail);
    found(&o, "supply.battery-small", &[("fitted", "7")]);
    let needed = o.supply.needed.unwrap().value;
    // Model B by its own table: 0.14 A + 0.31 A, and 15 mA for each of four outputs; BS 5839-1 by hand.
    let by_hand = 1.25 * (24.0 * 0.45 + 1.75 * 0.5 * (0.45 + 4.0 * 0.015));
    assert!((needed / by_hand - 1.0).abs() < 0.01, "{needed} against {by_hand}");
}

#[test]
fn a_loss_of_supply_that_the_panel_does_not_show_fails() {
    let o = job(&plan(&[]), "[[answer]]\nact = \"panel-fault\"\nsay = \"no\"\n", &[]);
    found(&o, "supply.loss-not-at-panel", &[("supply", "mains")]);
}

#[test]
fn hand_work_is_recorded_with_who_note_and_reason() {
    let answers = "[[answer]]\nact = \"who\"\ntext = \"A. Name\"\n\
                   [[answer]]\nact = \"check\"\nnumber = 8\nsay = \"not-applicable\"\nbecause = \"every inlet carries a pipe\"\n\
                   [[answer]]\nact = \"check\"\nnumber = 9\nby = \"B. Name\"\ntext = \"two clips more\"\n";
    let o = job(&plan(&[]), answers, &[]);
    assert_eq!(o.verdict, Verdict::Pass, "{}", o.because);
    let item = |n| o.checklist.iter().find(|t| t.item == n).unwrap();
    let who = |n| item(n).by.as_deref();
    assert_eq!((who(1), who(8), who(9), who(10)), (Some("A. Name"), Some("A. Name"), Some("B. Name"), Some("A. Name")));
    assert_eq!(
        (item(8).state, item(8).note.as_deref()),
        (TickState::NotApplicable, Some("every inlet carries a pipe"))
    );
    assert_eq!(item(9).note.as_deref(), Some("two clips more"));
    assert!(item(9).at > item(8).at && item(9).date.as_deref().unwrap().starts_with("2026-01-01T08:0"));
    // Not done, not applicable without a reason, nobody's name: open.
    for answers in [
        "[[answer]]\nact = \"check\"\nnumber = 7\nsay = \"no\"\n",
        "[[answer]]\nact = \"check\"\nnumber = 8\nsay = \"not-applicable\"\n",
        "[[answer]]\nact = \"who\"\nsay = \"no\"\n",
        // "yes" is nobody's name, wherever it is said.
        "[[answer]]\nact = \"who\"\ntext = \" Yes \"\n",
        "[[answer]]\nact = \"who\"\nsay = \"no\"\n[[answer]]\nact = \"check\"\nby = \"ok\"\n",
    ] {
        let o = job(&plan(&[]), answers, &[]);
        assert_eq!(o.verdict, Verdict::Undecided, "{answers}: {}", o.because);
        if answers.contains("who") {
            assert!(o.checklist.iter().all(|t| t.by.is_none()), "{answers}: {:?}", o.checklist);
        }
    }
}

/// The files of a small job in a folder.
fn folder(name: &str) -> Folder {
    let dir = Folder::new(name);
    std::fs::create_dir_all(dir.join("job")).unwrap();
    for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
        std::fs::write(dir.join("job").join(name), file(name)).unwrap();
    }
    dir
}
fn result(dir: &Folder) -> serde_json::Value {
    serde_json::from_slice(&std::fs::read(dir.join("job/result.json")).unwrap()).unwrap()
}

#[test]
fn a_photo_is_kept_and_shown_in_the_record() {
    let dir = folder("photo");
    // The smallest picture: PNG's signature and an IHDR chunk of one point.
    let png =
        [0x89u8, b'P', b'N', b'G', 13, 10, 26, 10, 0, 0, 0, 13, b'I', b'H', b'D', b'R', 0, 0, 0, 1, 0, 0, 0, 1, 8, 0];
    std::fs::write(dir.join("seat.png"), png).unwrap();
    let photo = dir.join("seat.png");
    let words =
        format!("format = 1\n[[answer]]\nact = \"check\"\nnumber = 7\nphoto = {:?}\n", photo.display().to_string());
    std::fs::write(dir.join("operator.toml"), words).unwrap();
    let (job, operator) = (dir.join("job"), dir.join("operator.toml"));
    let o = run(&["run", text(&job), "--port", "sim:", "--operator", text(&operator), "--quiet"]);
    exits(&o, &[0, 1, 2]);
    let r = result(&dir);
    let ticked = r["outcome"]["checklist"].as_array().unwrap().iter().find(|t| t["item"] == 7).unwrap();
    let name = ticked["photo"]["name"].as_str().unwrap();
    assert_eq!(std::fs::read(job.join(name)).unwrap(), png);
    assert_eq!(ticked["photo"]["length"], png.len());
    let report = std::fs::read_to_string(job.join("report.html")).unwrap();
    assert!(report.contains(&format!("<a href=\"{name}\"><img")), "no link to the photo");
    let journal = std::fs::read_to_string(job.join("journal.jsonl")).unwrap();
    assert!(journal.lines().any(|l| l.contains("\"entry\":\"ticked\"") && l.contains(name)));
    exits(&run(&["check", text(&job)]), &[0]);
}

#[test]
fn a_zone_that_is_not_restored_closes_the_job_incomplete() {
    let dir = folder("incomplete");
    std::fs::write(dir.join("operator.toml"), "format = 1\n[[answer]]\nact = \"restore\"\nsay = \"no\"\n").unwrap();
    let (job, operator) = (dir.join("job"), dir.join("operator.toml"));
    let o = run(&["run", text(&job), "--port", "sim:", "--operator", text(&operator), "--quiet"]);
    exits(&o, &[1, 2]);
    let r = result(&dir);
    assert_eq!(r["closed"]["complete"], false);
    // What holds the release back is not asked for while the zone is isolated.
    let still = ["the zone is isolated at the panel", "the release circuits are locked off"];
    assert_eq!(r["closed"]["still"], serde_json::json!(still));
    let words = stdout(&o);
    let (top, _) = words.split_once("About").unwrap();
    assert!(top.contains("CLOSED INCOMPLETE"), "{words}");
    assert!(std::fs::read_to_string(job.join("report.html")).unwrap().contains("CLOSED INCOMPLETE"));
}

/// The clock goes on while a question waits and nothing else happens.
#[test]
fn the_time_out_of_service_is_shown_while_a_question_waits() {
    let dir = folder("clock");
    let skipped = file("plan.toml").replacen("policy = \"go-on\"", "policy = \"skip\"", 1);
    std::fs::write(dir.join("job/plan.toml"), skipped).unwrap();
    let job = dir.join("job");
    let mut c = plumeline(&["run", text(&job), "--port", "display:", "--json", "--speed", "60"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = c.stdin.take().unwrap();
    // The zone is isolated; then nobody answers.
    writeln!(stdin, "isolated").unwrap();
    let mut shown = Vec::new();
    for line in BufReader::new(c.stdout.take().unwrap()).lines() {
        let value: serde_json::Value = serde_json::from_str(&line.unwrap()).unwrap();
        if let Some(s) = value["out_of_service"]["s"].as_f64() {
            assert_eq!(value["out_of_service"]["limit_s"], 14_400.0);
            shown.push(s);
        }
        if shown.len() == 4 {
            break;
        }
    }
    drop(stdin);
    let _ = c.wait();
    assert!(shown.windows(2).all(|w| w[1] >= w[0] + 10.0), "{shown:?}");
}
