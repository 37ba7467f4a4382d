//! The main job from end to end against the simulated site: what is sound passes, and every defect is stopped and named.
use crate::common::{Folder, exits, run, stdout, text};

fn demo(dir: &Folder, more: &[&str]) -> std::process::Output {
    let out = dir.join("job");
    let mut args = vec!["demo", "--quiet", "--out", text(&out)];
    args.extend(more);
    run(&args)
}
fn result(dir: &Folder) -> serde_json::Value {
    serde_json::from_slice(&std::fs::read(dir.join("job/result.json")).unwrap()).unwrap()
}

#[test]
fn a_sound_site_passes_with_every_needed_stage_done() {
    let dir = Folder::new("sound");
    let o = demo(&dir, &[]);
    exits(&o, &[0]);
    let r = result(&dir);
    let stages = r["outcome"]["stages"].as_array().unwrap();
    assert_eq!(stages.len(), 17, "{stages:#?}");
    for s in stages {
        assert_eq!(s["complete"], true, "{s}");
    }
    assert!(stdout(&o).contains("report:"));
    for file in ["trace.pcapng", "journal.jsonl", "report.html", "settings-as-found.json", "settings-as-left.json"] {
        assert!(dir.join("job").join(file).exists(), "{file}");
    }
    exits(&run(&["check", text(&dir.join("job"))]), &[0]);
    // Hand-work, supply and the clock are in the result, and nothing is left isolated.
    assert_eq!(r["closed"], serde_json::json!({ "complete": true, "still": [] }));
    let ticked = r["outcome"]["checklist"].as_array().unwrap();
    assert_eq!(ticked.len(), 16);
    for t in ticked {
        assert!(
            t["state"] == "done" && t["by"].is_string() && t["date"].as_str().unwrap().starts_with("2026-01-01T"),
            "{t}"
        );
    }
    let supply = &r["outcome"]["supply"];
    for what in ["outgoing", "standby", "alarm", "mains", "battery", "needed"] {
        assert!(supply[what]["value"].as_f64().unwrap() > 0.0, "{what}");
    }
}

/// A lost setting shows on the bench, before the site goes out of service.
#[test]
fn the_bench_stops_a_bad_unit_before_anything_is_isolated() {
    let dir = Folder::new("bench");
    exits(&demo(&dir, &["--small", "--defect", "setting-lost"]), &[1]);
    let r = result(&dir);
    assert_eq!(r["outcome"]["out_of_service_s"], serde_json::Value::Null);
    assert_eq!(r["outcome"]["stages"][0]["stage"], "bench");
    assert_eq!(r["outcome"]["stages"][0]["verdict"], "fail");
}

/// What is still under way when a job ends must not reach a unit that nobody watches any more.
#[test]
fn nothing_follows_from_what_comes_after_the_end() {
    use plumeline::commands::invented::WHOLE;
    use plumeline_base::{
        Instant,
        input::{AbortCause, Event, Input, LineId, LinkDown},
    };
    use plumeline_runtime::{job_files::Files, port};
    let files = [("pipework.toml", WHOLE.pipework), ("plan.toml", WHOLE.plan), ("settings-new.json", WHOLE.settings)];
    let files = Files(files.map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec())).into());
    let mut procedure = plumeline_procedure::Procedure::new(files.check().unwrap().inputs, port::drivers(&files));
    let mut at = Instant::START;
    let mut effects = |input| {
        at += std::time::Duration::from_secs(60);
        procedure.handle(&Event { at, input });
        let all: Vec<_> = std::iter::from_fn(|| procedure.poll_effect()).collect();
        (all, procedure.poll_timeout())
    };
    let tool = Input::Tool { version: "0".into(), format: 1 };
    effects(tool.clone());
    effects(Input::LinkUp { line: LineId::Main, link: "sim:".into() });
    let (ends, _) = effects(Input::Abort(AbortCause::Operator));
    assert!(matches!(ends.last(), Some(plumeline_procedure::Effect::Done(_))), "{ends:?}");
    let down = Input::LinkDown { line: LineId::Main, cause: LinkDown::Closed, detail: String::new() };
    for input in [
        down,
        Input::LinkUp { line: LineId::Main, link: "sim:".into() },
        Input::Wake,
        tool,
        Input::Abort(AbortCause::Shutdown),
    ] {
        assert_eq!(effects(input), (Vec::new(), None));
    }
}

/// Each defect ends in fail or undecided and the message names what it concerns.
#[track_caller]
fn stopped(defect: &str, names: &[&str]) {
    let dir = Folder::new("defect");
    let o = demo(&dir, &["--defect", defect]);
    exits(&o, &[1, 2]);
    let words = stdout(&o).to_lowercase();
    assert!(names.iter().any(|n| words.contains(n)), "{defect}: none of {names:?} in\n{words}");
}

#[test]
fn a_blocked_hole_is_stopped() {
    stopped("hole-blocked:pipe=1,hole=4", &["pipe 1 hole 4"]);
}
#[test]
fn a_missing_end_cap_is_stopped() {
    stopped("end-cap-missing:pipe=2", &["pipe 2"]);
}
#[test]
fn a_pipe_off_its_inlet_is_stopped() {
    stopped("pipe-off:pipe=2", &["pipe 2"]);
}
#[test]
fn crossed_pipes_are_stopped() {
    stopped("pipes-crossed:pipe=1", &["pipe 1", "pipe 2"]);
}
#[test]
fn a_clogged_filter_is_stopped() {
    stopped("filter-clogged", &["filter"]);
}
#[test]
fn a_wrong_fan_setting_is_stopped() {
    stopped("fan-setting-wrong", &["fan"]);
}
#[test]
fn a_lost_setting_is_stopped() {
    stopped("setting-lost", &["setting "]);
}

#[test]
fn a_dead_outgoing_unit_is_normal() {
    let dir = Folder::new("dead");
    let o = demo(&dir, &["--small", "--dead"]);
    exits(&o, &[0]);
    let r = result(&dir);
    let found = r["outcome"]["findings"].as_array().unwrap();
    assert!(found.iter().any(|f| f["code"] == "as-found.nothing-captured"));
}

#[test]
fn a_job_is_never_overwritten_unasked() {
    let dir = Folder::new("twice");
    exits(&demo(&dir, &["--small"]), &[0]);
    let before = std::fs::read(dir.join("job/trace.pcapng")).unwrap();
    exits(&demo(&dir, &["--small"]), &[3]);
    assert_eq!(std::fs::read(dir.join("job/trace.pcapng")).unwrap(), before);
    exits(&demo(&dir, &["--small", "--force"]), &[0]);
}

#[test]
fn one_seed_gives_one_job_byte_for_byte() {
    let (a, b) = (Folder::new("a"), Folder::new("b"));
    for d in [&a, &b] {
        exits(&demo(d, &["--small", "--seed", "7"]), &[0]);
    }
    for file in ["trace.pcapng", "journal.jsonl", "result.json", "report.html", "junit.xml"] {
        let (x, y) =
            (std::fs::read(a.join("job").join(file)).unwrap(), std::fs::read(b.join("job").join(file)).unwrap());
        assert!(x == y, "{file} differs");
    }
}
