//! A unit that speaks nothing of ours, by a simulated person's eyes and hands: the whole job, with defects and with slips; and the
//! sheets that its settings are entered by.
use crate::{
    common::{Folder, exits, run, stdout, text},
    person::{played, verdicts},
};
use plumeline_base::Verdict;
use plumeline_procedure::Outcome;
use serde_json::Value;

/// The demonstration with a unit that a person reads: its exit code and its result.
fn demo(dir: &Folder, more: &[&str]) -> (i32, Value) {
    let job = dir.join("job");
    let mut args = vec!["demo", "--small", "--unit", "display", "--quiet", "--force", "--out", text(&job)];
    args.extend(more);
    let o = run(&args);
    let result = std::fs::read(job.join("result.json")).unwrap_or_else(|_| panic!("{}", stdout(&o)));
    (o.status.code().unwrap(), serde_json::from_slice(&result).unwrap())
}
fn findings(result: &Value) -> &[Value] {
    result["outcome"]["findings"].as_array().unwrap()
}
fn has(result: &Value, code: &str) -> bool {
    findings(result).iter().any(|f| f["code"] == code)
}

#[test]
fn a_person_proves_what_a_person_can() {
    let dir = Folder::new("by-hand");
    let (code, result) = demo(&dir, &[]);
    assert_eq!(code, 0, "{:#?}", findings(&result));
    for shown in [
        "unit.as-planned",
        "inhibit.held-by-hand",
        "load.kept",
        "settle.steady",
        "flow.proven-alone",
        "holes.draws",
        "baseline.as-measured",
        "smoke.within-limit",
        "alarms.seen",
        "supervise.fault-in-time",
        "restore.no-fault",
        "held.left-alone",
    ] {
        let found = findings(&result).iter().find(|f| f["code"] == shown);
        let found = found.unwrap_or_else(|| panic!("{shown} is not among {:#?}", findings(&result)));
        assert_eq!(found["verdict"], "pass", "{shown}");
        let said = ["inhibit.held-by-hand", "held.left-alone"].contains(&shown);
        assert_eq!(found["means"], if said { "attested" } else { "person" }, "{shown}");
    }
    // Nothing of the replacement came over a line.
    let by = &result["shown_by"];
    assert_eq!(by["measured"], 0);
    let sum: u64 = ["read", "attested", "not_shown"].iter().map(|k| by[k].as_u64().unwrap()).sum();
    assert_eq!(by["items"].as_u64(), Some(sum));
    assert_eq!(by["attested_items"].as_array().map(|all| all.len() as u64), by["attested"].as_u64());
    // What was typed stands in the trace, and replays to the same journal.
    exits(&run(&["check", text(&dir.join("job"))]), &[0, 2]);
}

/// The job that a demonstration left behind, done anew with other words in its plan.
fn again(dir: &Folder, edits: &[(&str, &str)]) -> Outcome {
    with(dir, edits, &[])
}
/// The same at a site with these defects.
fn with(dir: &Folder, edits: &[(&str, &str)], defects: &[&str]) -> Outcome {
    played(dir, &[], edits, defects, |eyes| eyes, "")
}

#[test]
fn numbers_say_what_they_were_read_off_and_count_while_its_calibration_holds() {
    let dir = Folder::new("by-instrument");
    let (code, result) = demo(&dir, &[]);
    assert_eq!(code, 0);
    let volts = findings(&result).iter().find(|f| f["code"] == "supply.voltage").unwrap();
    assert_eq!(volts["measured"]["by"], "Meter 7, volts, serial M7-0231");
    assert_eq!(volts["means"], "person");
    // By hand: hypot(0.02 V, 0.3 % of the reading) and the step, at two standard uncertainties or so: near 0.17 V at 27 V.
    let (value, expanded) =
        (volts["measured"]["value"].as_f64().unwrap(), volts["measured"]["expanded"].as_f64().unwrap());
    let u = (0.02_f64.powi(2) + (0.003 * value).powi(2) + 0.01_f64.powi(2) / 12.0).sqrt();
    assert!((expanded / u - 1.96).abs() < 0.01, "{expanded} {u}");
    assert!(result["outcome"]["supply"]["standby"]["by"].as_str().unwrap().starts_with("Meter 7, amperes"));
    let said = stdout(&run(&["check", text(&dir.join("job"))]));
    for part in ["read off Meter 7, volts, serial M7-0231", "calibrated on 2024-03-01, due on 2049-12-31"] {
        assert!(said.contains(part), "{part}: {said}");
    }

    let sound = again(&dir, &[]);
    assert_eq!(sound.verdict, Verdict::Pass, "{}", sound.because);
    assert_eq!(verdicts(&sound, "instrument.in-date"), [Verdict::Pass; 2]);
    let due = ("due = \"2049-12-31\"", "due = \"2025-12-31\"");
    let over = again(&dir, &[due]);
    assert_eq!(verdicts(&over, "instrument.overdue"), [Verdict::Undecided]);
    assert_eq!(over.verdict, Verdict::Undecided, "{}", over.because);
    let named = ("\nreadings = ", "\nnot_shown = [\"calibration in date\"]\nreadings = ");
    let allowed = again(&dir, &[due, named]);
    assert_eq!(verdicts(&allowed, "instrument.overdue-allowed"), [Verdict::Pass]);
    assert_eq!(allowed.verdict, Verdict::Pass, "{}", allowed.because);
    // What the instrument can't show is no number.
    let small = again(&dir, &[("range = [0.0, 60.0]", "range = [0.0, 12.0]")]);
    assert_eq!(verdicts(&small, "supply.voltage-not-measured"), [Verdict::Undecided; 2]);
}

const WATCH: &str = "[[instruments]]\nname = \"Watch 3\"\nkind = \"stop-watch\"\nserial = \"w3\"\nunit = \"s\"\nrange = [0.0, 3600.0]\nresolution = 0.01\nuncertainty = 0.05\ncalibrated = \"2024-03-01\"\ndue = \"2049-12-31\"\n\n[supply]";

#[test]
fn times_are_read_off_a_stop_watch_that_the_plan_names() {
    let dir = Folder::new("by-watch");
    assert_eq!(demo(&dir, &[]).0, 0);
    let sound = again(&dir, &[("[supply]", WATCH)]);
    assert_eq!(sound.verdict, Verdict::Pass, "{}", sound.because);
    let by = |o: &Outcome, code: &str| {
        let of = o.findings.iter().find(|f| f.code == *code).and_then(|f| f.measured.clone()).unwrap();
        (of.by, of.expanded.unwrap())
    };
    let watch = Some("Watch 3, serial w3".to_owned());
    let (read_off, u) = by(&sound, "smoke.within-limit");
    assert_eq!(read_off, watch);
    assert_eq!(by(&sound, "smoke.as-predicted").0, watch);
    assert_eq!(by(&again(&dir, &[]), "smoke.within-limit").0, None);
    // Its certificate counts: one that leaves 3 s open widens the time by as much.
    let poor = again(&dir, &[("[supply]", WATCH), ("uncertainty = 0.05", "uncertainty = 3.0")]);
    assert!(by(&poor, "smoke.within-limit").1 > u + 2.0, "{:?} for {u}", by(&poor, "smoke.within-limit"));
    assert_ne!(poor.verdict, Verdict::Fail, "{}", poor.because);
    // And so does its date.
    let over = again(&dir, &[("[supply]", &WATCH.replace("2049-12-31", "2025-12-31"))]);
    assert!(
        !verdicts(&over, "instrument.overdue").is_empty() && over.verdict == Verdict::Undecided,
        "{}",
        over.because
    );
    // A fan that runs slowly is told by the watch as well.
    let slow = with(&dir, &[("[supply]", WATCH)], &["fan-setting-wrong:severity=0.6"]);
    assert_ne!(slow.verdict, Verdict::Pass);
}

/// A pipe of many holes, of which the display's steps hide one: the tape is counted, as many pieces as holes, or it is left open. The
/// site is the campaign's, which leaves its job when it is asked to explain it.
#[test]
fn where_no_flow_shows_that_all_is_open_again_the_tape_does() {
    let dir = Folder::new("by-tape");
    let job = dir.join("job");
    let o = run(&["campaign", "--means", "display", "--explain", "175501", "--out", text(&job)]);
    exits(&o, &[0]);
    assert!(stdout(&o).contains("sound by the campaign's definition"), "{}", stdout(&o));
    let of = |answers: &str| {
        let o = played(&dir, &[], &[], &[], |eyes| eyes, answers);
        (verdicts(&o, "holes.opened-counted"), verdicts(&o, "holes.opened-unseen"))
    };
    assert_eq!(of(""), (vec![Verdict::Pass], vec![]));
    let one_short = "[[answer]]\nact = \"count-tape\"\nvalue = 3\n";
    assert_eq!(of(&format!("{one_short}times = 1\n")), (vec![Verdict::Pass], vec![]), "found when it was looked for");
    assert_eq!(of(one_short), (vec![], vec![Verdict::Undecided]));
    let cannot = "[[answer]]\nact = \"count-tape\"\nsay = \"cannot\"\nbecause = \"swept up\"\n";
    assert_eq!(of(cannot), (vec![], vec![Verdict::Undecided]));
}

const MANOMETER: &str = "[suction]\nat = \"farthest\"\n\n[[instruments]]\nname = \"Gauge\"\nkind = \"manometer\"\nserial = \"g1\"\nunit = \"Pa\"\nrange = [0.0, 500.0]\nresolution = 1.0\nuncertainty = 0.5\nrelative_uncertainty = \"0.5 %\"\ncalibrated = \"2024-03-01\"\ndue = \"2049-12-31\"\n\n[supply]";

#[test]
fn the_suction_at_the_far_end_is_held_against_the_prediction() {
    let dir = Folder::new("by-manometer");
    demo(&dir, &[]);
    let edits = [("[supply]", MANOMETER)];
    let sound = again(&dir, &edits);
    let found = sound
        .findings
        .iter()
        .find(|f| f.subject.to_string().contains("hole") && f.code.as_str().starts_with("suction."));
    let found = found.unwrap();
    let (m, e) = (found.measured.as_ref().unwrap(), found.expected.as_ref().unwrap());
    eprintln!("{}: {m}, expected {e}", found.says);
    assert_eq!(found.code, "suction.as-predicted", "{m} {e}");
    assert_eq!(m.by.as_deref(), Some("Gauge, serial g1"));
    // The simulator marches other physics: both must agree within what they leave open together.
    assert!((m.value - e.value).abs() < e.expanded.unwrap() + m.expanded.unwrap(), "{m} {e}");
    assert_eq!(sound.verdict, Verdict::Pass, "{}", sound.because);
    let unnamed = again(&dir, &[("[supply]", "[suction]\nat = \"farthest\"\n\n[supply]")]);
    assert_eq!(verdicts(&unnamed, "suction.no-manometer"), [Verdict::Undecided]);
    let clogged = with(&dir, &edits, &["filter-clogged"]);
    assert_eq!(verdicts(&clogged, "suction.as-predicted"), []);
    assert_ne!(clogged.verdict, Verdict::Pass);
}

#[test]
fn a_flow_meter_tells_the_level_where_the_unit_shows_per_cent_alone() {
    let dir = Folder::new("by-flow-meter");
    demo(&dir, &[]);
    let meter = MANOMETER
        .split_once("[[instruments]]")
        .map(|(_, table)| format!("[[instruments]]{table}"))
        .unwrap()
        .replace("Gauge", "Flow meter")
        .replace("manometer", "flow meter")
        .replace("\"Pa\"", "\"L/min\"")
        .replace("resolution = 1.0", "resolution = 0.1");
    let edits = [("[supply]", meter.as_str())];
    let sound = again(&dir, &edits);
    let pipe = |o: &Outcome| {
        o.findings
            .iter()
            .find(|f| f.subject.to_string() == "pipe 1" && f.measured.as_ref().is_some_and(|m| m.by.is_some()))
            .cloned()
            .unwrap()
    };
    let f = pipe(&sound);
    assert_eq!(f.measured.as_ref().unwrap().by.as_deref(), Some("Flow meter, serial g1"), "{f:?}");
    assert!(["flow.as-predicted", "flow.proven-alone"].contains(&f.code.as_str()), "{f:?}");
    assert_eq!(sound.verdict, Verdict::Pass, "{}", sound.because);
    let off = with(&dir, &edits, &["pipe-off"]);
    let f = pipe(&off);
    assert_eq!((f.code.as_str(), f.verdict), ("flow.more-than-predicted", Verdict::Fail), "{f:?}");
}

#[test]
fn defects_are_stopped_by_what_a_person_reads() {
    let dir = Folder::new("by-hand-defects");
    for (defect, code) in [("hole-blocked", "holes."), ("pipe-off", ""), ("wires-crossed", "outputs.wrong-input")] {
        let (exit, result) = demo(&dir, &["--defect", defect]);
        assert!([1, 2].contains(&exit), "{defect}: {exit}");
        let told = findings(&result)
            .iter()
            .any(|f| f["verdict"] != "pass" && f["code"].as_str().is_some_and(|c| c.starts_with(code)));
        assert!(told, "{defect}: {:#?}", findings(&result));
    }
}

#[test]
fn slips_neither_fail_a_sound_site_nor_pass_a_blocked_hole() {
    let dir = Folder::new("by-hand-slips");
    for seed in ["1", "2", "3", "4", "5"] {
        let (exit, _) = demo(&dir, &["--seed", seed, "--slips", "0.15", "--defect", "hole-blocked"]);
        assert!([1, 2].contains(&exit), "seed {seed}: {exit}");
        let (_, result) = demo(&dir, &["--seed", seed, "--slips", "0.15"]);
        assert!(has(&result, "load.kept"), "seed {seed}");
    }
}

#[test]
fn a_sheet_is_written_filled_in_and_read() {
    let dir = Folder::new("sheet");
    let (csv, json) = (dir.join("sheet.csv"), dir.join("settings.json"));
    let sheet = ["settings", "sheet", "model-f", "--inlets", "1"];
    exits(&run(&[&sheet[..], &["--csv", "--out", text(&csv)]].concat()), &[0]);
    let empty = std::fs::read_to_string(&csv).unwrap();
    let back = [&sheet[..], &["--from", text(&csv), "--out", text(&json)]].concat();
    let o = run(&back);
    exits(&o, &[3]);
    let filled: Vec<String> = empty
        .lines()
        .map(|line| {
            let value = match line.split(',').next().unwrap() {
                "al-1" => "0,1 %/m".into(),
                "al-2" => "0.3".to_owned(),
                "al-1-hold" | "al-2-hold" | "pipe-1" => "yes".into(),
                "k2" | "k3" => "OFF".into(),
                "name" => "Store".into(),
                "fan" => "5".into(),
                "air-delay" => "120".into(),
                "key" => return line.to_owned(),
                _ => "10".into(),
            };
            format!("{line}\"{value}\"")
        })
        .collect();
    std::fs::write(&csv, filled.join("\r\n")).unwrap();
    exits(&run(&back), &[0]);
    let o = run(&[&sheet[..], &[text(&json)]].concat());
    exits(&o, &[0]);
    let told = stdout(&o);
    for part in ["Entered at the unit: menu SET", "al-1", "0.1 %/m", "Read back by"] {
        assert!(told.contains(part), "{part}: {told}");
    }
}
