//! Several jobs in one call: what each is expected to come to, one table, one junit.xml, one result.json, one exit code.
use crate::{
    common::{Folder, exits, plumeline, run, stderr, stdout, text},
    simulator::{SPEED, Simulator, job},
};
use serde_json::Value;
use std::{
    path::{Path, PathBuf},
    process::{Command, Stdio},
    time::{Duration, Instant},
};

fn examples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/examples")
}
fn result(out: &Path) -> Value {
    serde_json::from_slice(&std::fs::read(out.join("result.json")).unwrap()).unwrap()
}
/// A batch file over the small demonstration's files.
fn batch(dir: &Folder, jobs: &str) -> PathBuf {
    if !dir.join("job").exists() {
        job(dir);
    }
    let path = dir.join("batch.toml");
    std::fs::write(&path, format!("format = 1\n{jobs}")).unwrap();
    path
}

#[test]
fn the_example_for_build_servers_runs_and_gives_the_same_bytes_again() {
    let dir = Folder::new("ci");
    let outs = [dir.join("first"), dir.join("second")];
    for out in &outs {
        let o = Command::new("sh")
            .arg(examples().join("ci.sh"))
            .arg(out)
            .env("PLUMELINE", env!("CARGO_BIN_EXE_plumeline"))
            .output()
            .unwrap();
        exits(&o, &[0]);
        assert!(stdout(&o).contains("3 of 3 jobs came to what is expected of them"), "{}", stdout(&o));
        assert_eq!(stdout(&o).matches("everything holds").count(), 3, "every record is checked: {}", stdout(&o));
        assert_eq!(result(out)["as_expected"], true);
        let junit = std::fs::read_to_string(out.join("junit.xml")).unwrap();
        assert!(junit.contains("failures=\"0\" errors=\"0\""), "{junit}");
    }
    for file in
        ["result.json", "junit.xml", "sound/trace.pcapng", "hole-blocked/result.json", "cable-lost/journal.jsonl"]
    {
        let [a, b] = outs.each_ref().map(|out| std::fs::read(out.join(file)).unwrap());
        assert!(a == b, "{file} differs");
    }
}

#[test]
fn what_comes_out_otherwise_than_expected_is_told_and_counts() {
    let dir = Folder::new("missed");
    let path = batch(
        &dir,
        r#"
[[job]]
name = "hopeful"
files = "job"
defects = ["hole-blocked:pipe=1,hole=3"]
[[job]]
name = "wrong-reason"
files = "job"
defects = ["hole-blocked:pipe=1,hole=3"]
expect = { verdict = "fail", about = ["output 1"], stages = { settle = "fail", boot = "pass" } }
[[job]]
name = "sound"
files = "job"
"#,
    );
    let out = dir.join("out");
    let o = run(&["batch", text(&path), "--out", text(&out)]);
    exits(&o, &[1]);
    let said = stdout(&o);
    for words in [
        "hopeful       pass       fail       NOT AS EXPECTED",
        "expected pass, came to fail: pipe 1 hole 3",
        "came to fail, but not because of output 1",
        "stage settle: expected fail, came to pass",
        "sound         pass       pass       as expected",
        "1 of 3 jobs came to what is expected of them",
    ] {
        assert!(said.contains(words), "no `{words}` in\n{said}");
    }
    assert!(!said.contains("stage boot"), "{said}");
    let result = result(&out);
    let as_expected: Vec<_> = result["jobs"].as_array().unwrap().iter().map(|j| j["as_expected"].clone()).collect();
    assert_eq!(as_expected, [false, false, true]);
    // What is there already is not written over unasked.
    let o = run(&["batch", text(&path), "--out", text(&out)]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("--go-on"), "{}", stderr(&o));
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn a_job_that_dies_takes_no_other_with_it_and_the_batch_goes_on_later() {
    let dir = Folder::new("dies");
    job(&dir);
    let simulator = Simulator::start(&dir, "", &["--tcp", "127.0.0.1:0"]);
    let operator = dir.join("operator.toml");
    std::fs::write(&operator, format!("format = 1\ncontrol = \"{}\"\n", simulator.control)).unwrap();
    let path = batch(
        &dir,
        &format!(
            "[[job]]\nname = \"dies\"\nfiles = \"job\"\nport = \"{}\"\noperator = \"operator.toml\"\nspeed = {SPEED}\n\
             [[job]]\nname = \"lives\"\nfiles = \"job\"\n[[job]]\nname = \"unreadable\"\nfiles = \"broken\"\n",
            simulator.unit
        ),
    );
    std::fs::create_dir(dir.join("broken")).unwrap();
    for name in ["pipework.toml", "plan.toml"] {
        std::fs::write(dir.join("broken").join(name), "format = 1\n").unwrap();
    }
    let out = dir.join("out");
    let child = plumeline(&["batch", text(&path), "--out", text(&out)]).stdout(Stdio::piped()).spawn().unwrap();
    // The process that does the job stands in the job's lock.
    let began = Instant::now();
    let journal = out.join("dies/journal.jsonl");
    while !std::fs::read_to_string(&journal).unwrap_or_default().contains(r#""stage":"as-found""#) {
        assert!(began.elapsed() < Duration::from_secs(200));
        std::thread::sleep(Duration::from_millis(20));
    }
    let id = std::fs::read_to_string(out.join("dies/lock")).unwrap();
    assert!(Command::new("kill").args(["-9", id.trim()]).status().unwrap().success());
    let o = child.wait_with_output().unwrap();
    exits(&o, &[1]);
    let first = result(&out);
    let how = |r: &Value| -> Vec<String> {
        r["jobs"].as_array().unwrap().iter().map(|j| j["came_to"]["how"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(how(&first), ["no-result", "over", "no-result"], "{first:#}");
    assert!(first["jobs"][0]["came_to"]["because"].as_str().unwrap().contains("signal: 9"), "{first:#}");
    let because = first["jobs"][2]["came_to"]["because"].as_str().unwrap();
    assert!(because.contains("exit status: 3: error"), "{because}");
    assert_eq!(first["jobs"][1]["as_expected"], true);
    let junit = std::fs::read_to_string(out.join("junit.xml")).unwrap();
    assert_eq!(junit.matches("type=\"no result\"").count(), 2, "{junit}");

    let kept = std::fs::metadata(out.join("lives/trace.pcapng")).unwrap().modified().unwrap();
    let o = run(&["batch", text(&path), "--out", text(&out), "--go-on"]);
    exits(&o, &[0, 1]);
    let second = result(&out);
    assert_eq!(how(&second), ["over", "over", "no-result"], "{second:#}");
    assert_eq!(std::fs::metadata(out.join("lives/trace.pcapng")).unwrap().modified().unwrap(), kept);
    let sections = std::fs::read_to_string(&journal).unwrap().matches(r#""entry":"opened""#).count();
    assert_eq!(sections, 2, "the job over the line was taken up, not begun anew");
    exits(&run(&["check", text(&out.join("dies"))]), &[0]);
}
