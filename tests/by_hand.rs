//! A unit that speaks nothing of ours, by a simulated person's eyes and hands: the whole job, with defects and with slips; and the
//! sheets that its settings are entered by.
use crate::common::{Folder, exits, run, stdout, text};
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
        "holes.alone-draws",
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
