//! Batches as build servers use them: a part of the jobs, a deadline for each, retries that are kept and told.
use crate::common::{Folder, exits, run, stdout, text};
use serde_json::Value;
use std::{fs, path::PathBuf};

/// A batch of these jobs over the small demonstration.
fn batch(dir: &Folder, jobs: &str) -> PathBuf {
    let files = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small");
    let words = format!("format = 1\n{}", jobs.replace("FILES", text(&files)));
    let path = dir.join("batch.toml");
    fs::write(&path, words).unwrap();
    path
}
fn result(out: &std::path::Path) -> Value {
    serde_json::from_slice(&fs::read(out.join("result.json")).unwrap()).unwrap()
}

#[test]
fn a_part_of_a_batch_is_run_and_retries_are_kept() {
    let dir = Folder::new("batches");
    let jobs = "[[job]]\nname = \"sound\"\nfiles = \"FILES\"\nretries = 2\n\
                [[job]]\nname = \"wrong\"\nfiles = \"FILES\"\nretries = 1\nexpect = { verdict = \"fail\" }\n";
    let (path, out) = (batch(&dir, jobs), dir.join("out"));
    let run_only = |part: &str| run(&["batch", text(&path), "--out", text(&out), "--force", "--only", part]);
    exits(&run_only("nothing-like-it"), &[3]);
    exits(&run_only("sou"), &[0]);
    assert_eq!(result(&out)["jobs"].as_array().unwrap().len(), 1);
    assert!(!out.join("sound.attempt-1").exists() && !out.join("wrong").exists());
    let o = run_only("wrong");
    exits(&o, &[1]);
    assert!(stdout(&o).contains("at attempt 2"), "{}", stdout(&o));
    assert!(out.join("wrong.attempt-1/trace.pcapng").exists(), "every attempt is kept");
    assert_eq!(result(&out)["jobs"][0]["attempts_before"][0]["verdict"], "pass");
    let junit = fs::read_to_string(out.join("junit.xml")).unwrap();
    for property in
        ["name=\"attempts\" value=\"2\"", "name=\"port\" value=\"sim:\"", "name=\"inputs\"", "name=\"attempt-before\""]
    {
        assert!(junit.contains(property), "{property} is not in {junit}");
    }
}

#[test]
fn a_job_whose_deadline_is_over_is_ended() {
    let dir = Folder::new("deadline");
    fs::write(dir.join("operator.toml"), "format = 1\n").unwrap();
    // Nobody listens there: the job would try for as long as its stage allows.
    let job = "[[job]]\nname = \"waits\"\nfiles = \"FILES\"\nport = \"tcp:127.0.0.1:9\"\noperator = \"operator.toml\"\ndeadline_s = 1.5\n";
    let (path, out, began) = (batch(&dir, job), dir.join("out"), std::time::Instant::now());
    exits(&run(&["batch", text(&path), "--out", text(&out)]), &[1]);
    assert!(began.elapsed().as_secs() < 60, "{:?}", began.elapsed());
    assert_eq!(result(&out)["jobs"][0]["came_to"]["how"], "no-result");
    let wrong = batch(&dir, &job.replace("1.5", "-1.0"));
    exits(&run(&["batch", text(&wrong), "--out", text(&out), "--force"]), &[3]);
}
