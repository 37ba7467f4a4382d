//! Settings captured from a unit, shown, compared, carried over by decisions, and held to: as a person does it.
use crate::common::{Folder, exits, run, stderr, stdout, text};
use crate::simulator::Simulator;
use std::{fs, path::Path};

fn demo_file(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo").join(name)).unwrap()
}

/// A job folder without settings, and a scenario of its site.
fn job(dir: &Folder) {
    fs::create_dir(dir.join("job")).unwrap();
    for name in ["pipework.toml", "plan.toml"] {
        fs::write(dir.join("job").join(name), demo_file(&format!("small/{name}"))).unwrap();
    }
    fs::write(dir.join("scenario.toml"), "format = 1\npipework = \"job/pipework.toml\"\nseed = 11\n").unwrap();
}
fn capture(dir: &Folder) {
    let to = dir.join("job/settings-old.json");
    let scenario = dir.join("scenario.toml");
    exits(&run(&["capture", "sim:", "--scenario", text(&scenario), "-o", text(&to)]), &[0]);
}

#[test]
fn captured_decided_carried_over_and_held_to() {
    let dir = Folder::new("c");
    job(&dir);
    let job = dir.join("job");
    // Nothing captured: told what to do.
    let o = run(&["carry", text(&job), "--to", "model-b"]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("plumeline capture"), "{}", stderr(&o));
    capture(&dir);
    let old = job.join("settings-old.json");
    let again = dir.join("scenario.toml");
    exits(&run(&["capture", "sim:", "--scenario", text(&again), "-o", text(&old)]), &[3]);

    let o = run(&["show", text(&old)]);
    exits(&o, &[0]);
    for part in [
        "Model A",
        "23 items, whole",
        "Alarm levels",
        "level 4, threshold",
        "0.15 %/ft",
        "\"trouble\" (fault)",
        "hex 4107003c",
    ] {
        assert!(stdout(&o).contains(part), "{part}:\n{}", stdout(&o));
    }

    // Open: an account, no settings, and nothing is loaded.
    let o = run(&["carry", text(&job), "--to", "model-b", "--template"]);
    exits(&o, &[2]);
    assert!(stdout(&o).contains("decisions are open"), "{}", stdout(&o));
    assert!(stdout(&o).lines().all(|l| l.chars().count() <= 100), "{}", stdout(&o));
    assert!(job.join("carry-account.json").exists() && !job.join("settings-new.json").exists());
    let o = run(&["run", text(&job), "--port", "sim:"]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("decisions about the carry-over are open"), "{}", stderr(&o));
    // The template decides nothing by itself.
    let o = run(&["carry", text(&job), "--to", "model-b"]);
    exits(&o, &[3]);
    let told = stderr(&o);
    assert!(told.contains("nothing says what this is about") || told.contains("nothing is chosen"), "{told}");

    let decisions = dir.join("job/decisions.toml");
    let filled = fs::read_to_string(&decisions)
        .unwrap()
        .replace("name = \"\"", "name = \"A. Person\"")
        .replace("reason = \"\"", "reason = \"seen on site\"")
        .replace("# levels =", "levels =")
        .replace("# outputs =", "outputs =")
        .replace("# choice =", "choice =");
    fs::write(&decisions, &filled).unwrap();
    let o = run(&["carry", text(&job), "--to", "model-b", "--json"]);
    exits(&o, &[0]);
    let account: serde_json::Value = serde_json::from_str(&stdout(&o)).unwrap();
    assert_eq!(account["account"]["open"].as_array().unwrap().len(), 0);
    assert!(stdout(&o).contains("seen on site"));
    let sheet = fs::read_to_string(job.join("wiring-sheet.txt")).unwrap();
    assert!(sheet.contains("4 NO, 5 C, 6 NC") && sheet.contains("A1, A2") && sheet.contains("goes nowhere"), "{sheet}");
    let told = fs::read_to_string(job.join("carry-account.txt")).unwrap();
    assert!(told.contains("not the same protection") && told.contains("A. Person: seen on site"), "{told}");
    for file in [&sheet, &told] {
        assert!(file.lines().all(|l| l.chars().count() <= 100), "{file}");
    }

    // Both sides by what they mean.
    let new = job.join("settings-new.json");
    let o = run(&["diff", text(&old), text(&new), "--b-is", "model-b", "--all"]);
    exits(&o, &[1]);
    assert!(stdout(&o).contains("150 s = 2.5 min"), "{}", stdout(&o));
    exits(&run(&["diff", text(&old), text(&old)]), &[0]);
    let o = run(&["diff", text(&old), text(&new)]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("no description is known"), "{}", stderr(&o));

    // Other settings than the account's are not loaded, and not overwritten unasked.
    let sound = fs::read_to_string(&new).unwrap();
    let lines: Vec<&str> = sound.lines().filter(|l| !l.contains("sha256")).collect();
    fs::write(&new, lines.join("\n").replacen("\"value\": 150", "\"value\": 149", 1)).unwrap();
    let o = run(&["run", text(&job), "--port", "sim:"]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("do not hold the same settings"), "{}", stderr(&o));
    let o = run(&["carry", text(&job), "--to", "model-b"]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("that no carry-over wrote"), "{}", stderr(&o));
    exits(&run(&["carry", text(&job), "--to", "model-b", "--force"]), &[0]);
    assert_eq!(fs::read_to_string(&new).unwrap(), sound);

    // A capture that is not whole, and an altered one.
    let captured = fs::read_to_string(&old).unwrap();
    fs::write(&old, captured.replace("\"complete\": true", "\"complete\": false")).unwrap();
    let o = run(&["carry", text(&job), "--to", "model-b"]);
    exits(&o, &[2]);
    assert!(stdout(&o).contains("the captured settings are not whole"), "{}", stdout(&o));
    fs::write(&old, captured.replace("0.012", "0.013")).unwrap();
    exits(&run(&["carry", text(&job), "--to", "model-b"]), &[3]);
}

#[test]
fn wrong_descriptions_are_told() {
    let dir = Folder::new("carry-wrong");
    job(&dir);
    capture(&dir);
    let job = dir.join("job");
    let o = run(&["carry", text(&job), "--to", "model-x"]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("model-a, model-b"), "{}", stderr(&o));
    let o = run(&["carry", text(&job), "--to", "model-b", "--from", "model-c"]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("describes a Second Invented Maker Model C"), "{}", stderr(&o));
    let own = dir.join("own.toml");
    fs::write(
        &own,
        "format = 1\nmaker = \"M\"\nmodel = \"X\"\ninlets = [2, 1]\nlevels = 1\nflow_reading = \"actual\"\n",
    )
    .unwrap();
    let o = run(&["carry", text(&job), "--to", text(&own)]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("own.toml:4:14"), "{}", stderr(&o));
}

#[test]
fn captured_over_a_line() {
    let dir = Folder::new("capture");
    job(&dir);
    let mut simulator = Simulator::start(&dir, "", &[]);
    let to = dir.join("line.json");
    exits(&run(&["capture", &simulator.unit, "-o", text(&to)]), &[0]);
    simulator.stop();
    capture(&dir);
    let same = |path: &Path| {
        let whole: serde_json::Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
        (whole["sha256"].clone(), whole["complete"].clone(), whole["items"].clone())
    };
    assert_eq!(same(&to), same(&dir.join("job/settings-old.json")));
    // The port is gone: trouble, and no file.
    let none = dir.join("none.json");
    exits(&run(&["capture", &simulator.unit, "-o", text(&none)]), &[4]);
    assert!(!none.exists());
}

/// What the demonstration loads comes out of a real carry-over, and the job keeps it all.
#[test]
fn the_demonstration_carries_its_settings_over() {
    let dir = Folder::new("carry-demo");
    let job = dir.join("demo");
    exits(&run(&["demo", "--small", "--quiet", "--out", text(&job)]), &[0, 1, 2]);
    let settings = |text: &str| serde_json::from_str::<serde_json::Value>(text).unwrap()["items"].clone();
    let loaded = fs::read_to_string(job.join("settings-new.json")).unwrap();
    assert_eq!(settings(&loaded), settings(&demo_file("small/settings-new.json")));
    let as_left = fs::read_to_string(job.join("settings-as-left.json")).unwrap();
    assert_eq!(settings(&as_left), settings(&loaded));
    let journal = fs::read_to_string(job.join("journal.jsonl")).unwrap();
    for name in ["settings-old.json", "decisions.toml", "carry-account.json"] {
        assert!(journal.contains(&format!("\"name\":\"{name}\"")), "{name} is not in the journal");
    }
    let report = fs::read_to_string(job.join("report.html")).unwrap();
    for part in ["Settings carried over", "B. Engineer (invented)", "same computed hole obscuration", "Wiring sheet"] {
        assert!(report.contains(part), "{part}");
    }
    // One byte of what was decided, and the job no longer stands.
    let decided = fs::read_to_string(job.join("decisions.toml")).unwrap();
    fs::write(job.join("decisions.toml"), decided.replace("zone 7", "zone 9")).unwrap();
    let o = run(&["check", text(&job)]);
    // The demonstration's seal notices it first.
    exits(&o, &[1]);
    assert!(format!("{}{}", stdout(&o), stderr(&o)).contains("--> decisions.toml"), "{}", stderr(&o));
}

#[test]
fn the_whole_demonstration_has_its_settings_from_a_carry_over_too() {
    let dir = Folder::new("carry-whole");
    fs::create_dir(dir.join("job")).unwrap();
    for name in ["pipework.toml", "plan.toml", "decisions.toml"] {
        fs::write(dir.join("job").join(name), demo_file(name)).unwrap();
    }
    fs::write(dir.join("scenario.toml"), "format = 1\npipework = \"job/pipework.toml\"\n").unwrap();
    capture(&dir);
    let job = dir.join("job");
    exits(&run(&["carry", text(&job), "--to", "model-b"]), &[0]);
    let items = |text: &str| serde_json::from_str::<serde_json::Value>(text).unwrap()["items"].clone();
    let carried = fs::read_to_string(job.join("settings-new.json")).unwrap();
    assert_eq!(items(&carried), items(&demo_file("settings-new.json")));
}
