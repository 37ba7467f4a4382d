//! Sentences of a report that would mislead: each is looked for where it would be wrong, in a whole job.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
use crate::{
    common::{Folder, exits, run, stdout, text},
    simulator::job,
};

/// A job done at the bundled simulator with these answers and options: its page without marks of layout.
fn page(dir: &Folder, answers: &str, more: &[&str], codes: &[i32]) -> String {
    let operator = dir.join("operator.toml");
    std::fs::write(&operator, format!("format = 1\n{answers}")).unwrap();
    let path = dir.join("job");
    let mut args = vec!["run", text(&path), "--port", "sim:", "--operator", text(&operator)];
    args.extend(more);
    let o = run(&args);
    exits(&o, codes);
    assert!(!stdout(&o).contains("held against nothing"), "{}", stdout(&o));
    words(&path.join("report.html"))
}
fn words(path: &std::path::Path) -> String {
    let html = std::fs::read_to_string(path).unwrap();
    let text = html.split('<').map(|part| part.split_once('>').map_or("", |(_, text)| text));
    text.collect::<Vec<_>>().join(" ").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_cut_of_five_seconds_is_no_hour_without_readings_and_inlets_without_pipes_are_no_pipes() {
    let dir = Folder::new("short-cut");
    job(&dir);
    let page = page(&dir, "", &["--faults", "unplug=1500s+5s"], &[0]);
    let lengths: Vec<&str> =
        page.split("no readings for ").skip(1).map(|rest| rest.split(',').next().unwrap()).collect();
    assert!(!lengths.is_empty(), "the cut is told");
    assert!(lengths.iter().all(|length| !length.contains("min") && !length.contains('h')), "{lengths:?}");
    // A release that was held for as long as was asked is not told as released for the plan's least time.
    assert!(!page.contains("released for"), "{page}");
    // The unit has four inlets, of which one carries a pipe.
    assert!(page.contains("Pipe 1") && !page.contains("Pipe 2 not done"), "{page}");
    assert!(!page.contains("Pipe 2 flow and smoke") && !page.contains("Pipe 4"), "{page}");
}

#[test]
fn a_pipe_whose_flow_passed_was_measured_although_its_smoke_was_not_tried() {
    let dir = Folder::new("no-smoke-tried");
    job(&dir);
    let no_smoke = "[[answer]]\nact = \"release-smoke\"\nsay = \"cannot\"\nbecause = \"no smoke is at hand\"\n";
    let page = page(&dir, no_smoke, &[], &[2]);
    let first: String = page.split("Pipe 1").nth(1).unwrap().chars().take(400).collect();
    assert!(!first.contains("not measured"), "{first}");
}

#[test]
fn a_model_that_was_checked_is_not_held_against_nothing() {
    let dir = Folder::new("model-alone");
    job(&dir);
    let path = dir.join("job/plan.toml");
    let plan = std::fs::read_to_string(&path).unwrap();
    let without = plan.replacen("firmware = \"4.0.1\"\n", "", 1);
    assert_ne!(plan, without);
    std::fs::write(&path, without).unwrap();
    let page = page(&dir, "", &[], &[0]);
    assert!(page.contains("as planned, serial") && !page.contains("held against nothing"), "{page}");
}

#[test]
fn a_display_that_never_had_any_readings_did_not_lose_them_with_the_mains() {
    let dir = Folder::new("display-mains");
    let path = dir.join("job");
    let o = run(&["demo", "--small", "--quiet", "--unit", "display", "--out", text(&path)]);
    exits(&o, &[0, 2]);
    let page = words(&path.join("report.html"));
    assert!(page.contains("mains") && !page.contains("readings stopped"), "{page}");
}
