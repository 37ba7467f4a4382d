//! A person at a real terminal who makes every slip in the book in one job: each is put right, the job passes, and what was put
//! right stands in its record.
use crate::{
    common::{Folder, exits, run, text},
    field::{
        person::{
            Hands::{CtrlC, Idle, Loose, Wrong},
            Person, SPEED, Site, Slip, journal, slip,
        },
        terminal::Terminal,
    },
    simulator::{Simulator, job},
};
use serde_json::{Value, json};
use std::{path::Path, time::Duration};

const AGAIN: &[(&str, &str)] = &[("again", "")];

/// The replacement without any supply for a moment.
const OFF_AND_ON: &str = r#"{"do":"power","unit":"replacement","mains":false,"battery":false}
{"do":"power","unit":"replacement","mains":true,"battery":true}"#;

/// In the order of the job. docs/slips.md has the same list.
fn slips() -> Vec<Slip> {
    vec![
        Slip {
            hands: Idle,
            then: AGAIN,
            ..slip("Enter at the bench with the cable still on the old unit", "bench", 1)
        },
        Slip { refused: &["ok"], ..slip("\"ok\" where a name is asked for", "who", 1) },
        Slip {
            refused: &["", "done", "yes", "1 to 2"],
            ..slip("Enter, done or yes under a list of the checklist", "checks", 1)
        },
        Slip {
            refused: &["", "yes", "done"],
            ..slip("Enter, yes and done where the zone is to be isolated", "isolate", 1)
        },
        Slip {
            answer: "back",
            ahead: "isolated\n\n\n",
            ..slip("an isolation that was said too soon, taken back", "lock-off", 1)
        },
        // Typed in one breath with what took the isolation back.
        slip("the word and three times Enter before the question stood", "isolate", 2),
        Slip { answer: "can't, the key is lost", then: AGAIN, ..slip("no lock", "lock-off", 2) },
        Slip { answer: "no, nobody answers", then: AGAIN, ..slip("nobody told", "tell", 1) },
        Slip { refused: &["done; photo /nowhere/at/all.jpg"], ..slip("a mistyped photo", "check 1", 1) },
        Slip {
            refused: &["no"],
            answer: "no, the ladder is too short",
            then: AGAIN,
            ..slip("a required line not done", "check 14", 1)
        },
        Slip {
            hands: Idle,
            then: &[("put right: exchange of the units done now", "")],
            ..slip("Enter before the units are exchanged", "swap", 1)
        },
        Slip {
            hands: Wrong(OFF_AND_ON),
            then: AGAIN,
            ..slip("a plug pulled by mistake: the unit starts anew", "close-hole 1.1", 1)
        },
        Slip {
            hands: Idle,
            then: &[("again: hole 1.1", "")],
            ..slip("Enter without closing the hole", "close-hole 1.1", 2)
        },
        Slip { answer: "no, too high", ..slip("a hole out of reach", "close-hole 1.3", 1) },
        Slip { answer: "again: hole 1.3", ..slip("the ladder came: that hole again", "close-hole 1.5", 1) },
        Slip {
            hands: Idle,
            then: &[("put right: hole 3 of pipe 1 opened", r#"{"do":"open","pipe":1,"hole":3}"#)],
            ..slip("a hole left taped", "open-hole 1.3", 1)
        },
        Slip { hands: Loose, ..slip("a cable that comes loose", "close-hole 2.2", 1) },
        Slip { hands: CtrlC, ..slip("Ctrl-C", "close-hole 2.4", 1) },
        Slip { hands: Idle, then: &[("again: smoke 1.7", "")], ..slip("Enter without any smoke", "release-smoke", 1) },
        Slip { answer: "no, it was the wrong hole", ..slip("smoke at the wrong hole, told", "release-went", 3) },
        Slip {
            answer: "can't, the can is empty",
            then: &[("again: smoke 2.5", "")],
            ..slip("an empty can", "release-smoke 2.5", 2)
        },
        Slip {
            hands: Wrong(r#"{"do":"inlet","inlet":2,"shut":true}"#),
            then: &[("again", r#"{"do":"inlet","inlet":2,"shut":false}"#)],
            ..slip("another inlet shut", "shut-inlet in supervise", 1)
        },
        Slip {
            hands: Idle,
            then: &[("again", r#"{"do":"inlet","inlet":2,"shut":false}"#)],
            ..slip("an inlet not put back", "refit-inlet in supervise", 3)
        },
        Slip { hands: Idle, then: AGAIN, ..slip("a supply not switched off", "switch-supply", 1) },
        Slip { answer: "no, nothing shows", then: AGAIN, ..slip("the panel's fault overlooked", "panel-fault", 3) },
        Slip { wait_s: 45.0, ..slip("an output answered when it was no longer operated", "panel-shows 1", 1) },
        Slip {
            answer: "no, it shows input 3",
            then: AGAIN,
            ..slip("another input read off the panel", "panel-shows 2", 1)
        },
        Slip {
            answer: "no, it still stands",
            then: AGAIN,
            ..slip("an input that was not seen to clear", "panel-clear 1", 2)
        },
        Slip {
            answer: "no, I had the cover off",
            then: &[("again: baseline", "")],
            ..slip("the cover opened after the baseline", "left-alone", 2)
        },
        Slip {
            refused: &["", "yes"],
            answer: "no, the panel is locked",
            then: AGAIN,
            ..slip("a zone not restored", "restore", 1)
        },
        Slip { answer: "no, the key is away", then: AGAIN, ..slip("release circuits not unlocked", "unlock", 1) },
    ]
}

/// The answers that count to questions of consequence, with what was asked.
fn consequences(journal: &[Value]) -> Vec<(String, Value)> {
    let of = ["isolate", "lock-off", "tell", "restore", "unlock"];
    let asked = |id: &Value| journal.iter().find(|e| e["entry"] == "asked" && e["id"] == *id).unwrap()["act"].clone();
    let answers = journal.iter().filter(|e| e["entry"] == "answered");
    let all = answers.map(|e| (asked(&e["prompt"])["act"].as_str().unwrap().to_owned(), e["answer"].clone()));
    all.filter(|(act, _)| of.contains(&act.as_str())).collect()
}

/// The demonstration's own job.
fn large(dir: &Folder) {
    job(dir);
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
        std::fs::copy(from.join(name), dir.join("job").join(name)).unwrap();
    }
}

/// Slips before anything is asked: the job reaches no unit, or lacks a file, and nothing of it is used up.
fn before_it_starts(dir: &Folder, simulator: &Simulator) {
    let settings = dir.join("job/settings-new.json");
    std::fs::rename(&settings, dir.join("away")).unwrap();
    starts(dir, &simulator.unit, "there are no settings for the new unit");
    std::fs::rename(dir.join("away"), &settings).unwrap();
    let nowhere = format!("serial:{}", dir.join("ttyUSB7").display());
    starts(dir, &nowhere, "check the cable and the name of the port");
}
/// Starts the job, is told this, and leaves it with Ctrl-C at its first question.
fn starts(dir: &Folder, port: &str, told: &str) {
    let mut terminal = Terminal::sized(&["run", text(&dir.join("job")), "--port", port], true, (24, 80));
    // Folded between words to the width of the screen.
    let flat = || terminal.shown().split_whitespace().collect::<Vec<_>>().join(" ");
    terminal.comes(told, Duration::from_secs(60), || (flat().contains(told) && flat().contains("? [1]")).then_some(()));
    terminal.press("\x03");
    let (code, shown) = terminal.ended();
    assert_eq!(code, Some(6), "{shown}");
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn every_slip_in_one_job_at_a_terminal_ends_in_a_pass_with_what_was_put_right() {
    let dir = Folder::new("all-slips");
    large(&dir);
    let simulator = Simulator::start_at(SPEED, &dir, "", &["--tcp", "127.0.0.1:0"]);
    let named: Vec<&str> =
        slips().iter().map(|s| s.name).chain(["settings that are not there yet", "a mistyped port"]).collect();
    assert!(named.len() >= 30);
    before_it_starts(&dir, &simulator);
    let mut person = Person::new(&dir, &simulator, slips());
    // A machine that stands still for a second lets a second of readings be missed, times the speed.
    person.patience = 3;
    person.until("the end of the job", |_| false);
    let left: Vec<&str> = person.slips.iter().map(|s| s.name).collect();
    let (code, shown) = person.terminal.ended();
    assert_eq!(code, Some(0), "{shown}");
    assert!(left.is_empty() && person.decides.is_empty(), "slips that were never made: {left:?}\n{shown}");
    assert!(person.asked["panel-shows 1"] >= 2, "an output that had lapsed is operated anew");
    let result: Value = serde_json::from_slice(&std::fs::read(dir.join("job/result.json")).unwrap()).unwrap();
    let findings = result["outcome"]["findings"].as_array().unwrap();
    let mended = findings.iter().filter(|f| f["put_right"].is_string() && f["verdict"] != "pass").count();
    assert!(mended >= 15, "{mended}");
    // Nothing is on record that was not typed in full: the words, or why not.
    for (act, answer) in consequences(&journal(&dir)) {
        let word = ["isolated", "locked", "told", "restored", "unlocked"];
        let typed = answer["text"].as_str().is_some_and(|t| word.contains(&t));
        assert!(typed || answer == "back" || answer["cannot"].is_string(), "{act}: {answer}");
    }
    // The site is as the record says.
    let mut site = Site::at(&simulator.control);
    let panel = site.does(r#"{"do":"panel"}"#)["panel"].clone();
    assert_eq!((&panel["isolated"], &panel["alarms_not_isolated"]), (&json!(false), &json!(0)), "{panel}");
    exits(&run(&["check", text(&dir.join("job"))]), &[0]);
    // docs/slips.md has the list.
    let docs = include_str!("../../docs/slips.md");
    named.iter().for_each(|name| assert!(docs.contains(name), "docs/slips.md does not have: {name}"));
}
