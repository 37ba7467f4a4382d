//! A person at a real terminal whose program is ended at every stage in every way: the job is left safe and goes on.
use crate::{
    common::{Folder, exits, run, text},
    field::{
        at_a_terminal::signal,
        person::{Person, SOON, SPEED, Site},
    },
    simulator::{Simulator, job},
};
use serde_json::{Value, json};
use std::time::Duration;

/// Every stage that takes time.
const STAGES: [&str; 16] = [
    "bench",
    "isolate",
    "as-found",
    "swap",
    "boot",
    "load",
    "settle",
    "prove-flow",
    "baseline",
    "prove-smoke",
    "purge",
    "supervise",
    "supply",
    "outputs",
    "last-look",
    "restore",
];

/// Each stage ends with a line of the checklist, so that none is over before it was ended in every way.
fn held_open(dir: &Folder) {
    let path = dir.join("job/plan.toml");
    let line =
        |stage: &str| format!("[[checklist]]\nstage = \"{stage}\"\nafter = true\ntext = \"Looked at once more\"\n");
    let plan = std::fs::read_to_string(&path).unwrap() + &STAGES.map(line).concat();
    std::fs::write(path, plan).unwrap();
}

/// At every stage the program is ended in each way; the job goes on where it was, to the verdict of a job without a pause.
#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn the_program_ended_at_every_stage_in_every_way_leaves_a_job_that_goes_on_to_its_pass() {
    let dir = Folder::new("ended-everywhere");
    job(&dir);
    held_open(&dir);
    let simulator = Simulator::start_at(SPEED, &dir, "", &["--tcp", "127.0.0.1:0"]);
    let mut person = Person::new(&dir, &simulator, Vec::new());
    // In scaled time the date jumps when a job is taken up: the unit's clock is then not at the time that was set.
    person.patience = 8;
    let mut pauses = 0;
    for stage in STAGES {
        let began = |p: &Person<'_>| p.journal().iter().any(|e| e["entry"] == "stage-began" && e["stage"] == stage);
        person.until(stage, began);
        for (way, at) in ["ctrl-c", "closed", "-TERM", "-HUP"].into_iter().zip(0u32..) {
            // From here on it listens: what ends it sooner is a program that was never there.
            let terminal = &person.terminal;
            terminal.comes("an open link", SOON, || terminal.shown().contains("link       open").then_some(()));
            // Each time a little further on.
            std::thread::sleep(Duration::from_millis(300) * at);
            let over = |e: &Value| e["entry"] == "stage-ended" && e["stage"] == stage;
            assert!(!person.journal().iter().any(over), "{stage} {way}: nobody answered its last question");
            match way {
                "ctrl-c" => person.terminal.press("\x03"),
                "closed" => person.terminal.close(),
                name => signal(&dir, name),
            }
            let (code, shown) = person.terminal.ended();
            assert_eq!(code, Some(6), "{stage} {way}\n{shown}");
            let journal = person.journal();
            assert!(!journal.iter().any(|e| e["entry"] == "ended"), "{stage} {way}");
            let paused = |e: &Value| e["entry"] == "remark" && e["text"].as_str().unwrap().starts_with("paused: ");
            assert!(journal.iter().filter(|e| paused(e)).count() > pauses, "{stage} {way}");
            pauses = journal.iter().filter(|e| paused(e)).count();
            person.runs_again();
        }
    }
    person.until("the end of the job", |_| false);
    let (code, shown) = person.terminal.ended();
    assert_eq!(code, Some(0), "{shown}");
    let panel = Site::at(&simulator.control).does(r#"{"do":"panel"}"#)["panel"].clone();
    assert_eq!((&panel["isolated"], &panel["alarms_not_isolated"]), (&json!(false), &json!(0)), "{panel}");
    exits(&run(&["check", text(&dir.join("job"))]), &[0]);
}
