//! A new job: what flags say, what is asked at a terminal, what is taken over from another job, and what of it is still open.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
use crate::common::{Folder, exits, run, stderr, stdout, text};

fn read(dir: &Folder, name: &str) -> String {
    std::fs::read_to_string(dir.join("job").join(name)).unwrap()
}

#[test]
fn flags_fill_the_files_in_and_what_is_open_is_said_and_not_run() {
    let dir = Folder::new("new-flags");
    let path = dir.join("job");
    let job = text(&path);
    let flags = ["--site", "Hall 7, zone 3", "--technician", "B. Name", "--inlets", "1,2", "--port", "sim:"];
    let units = ["--replacement", "model-b", "--outgoing", "model-a"];
    let o = run(&[&["new", job][..], &flags, &units].concat());
    exits(&o, &[0]);
    assert!(stdout(&o).contains("pipes-untouched") && !stdout(&o).contains("site-untouched"), "{}", stdout(&o));
    let (pipework, plan) = (read(&dir, "pipework.toml"), read(&dir, "plan.toml"));
    assert!(pipework.contains("model = \"Model B\"") && pipework.contains("inlet = 2"), "{pipework}");
    assert!(pipework.matches("# OPEN:").count() >= 4 && !pipework.contains("curve ="), "{pipework}");
    for line in ["site = \"Hall 7, zone 3\"", "technician = \"B. Name\"", "port = \"sim:\"", "model = \"Model A\""] {
        assert!(plan.contains(line), "{line}\n{plan}");
    }
    // The example is remarked where it is predicted, and no site is isolated for it.
    let o = run(&["predict", text(&path.join("pipework.toml"))]);
    exits(&o, &[0]);
    assert!(stderr(&o).contains("still the example"), "{}", stderr(&o));
    exits(&run(&["plan-check", job, "--no-simulation"]), &[2]);
    let o = run(&["run", job]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("pipes-untouched") && !path.join("trace.pcapng").exists(), "{}", stderr(&o));
    exits(&run(&["new", text(&dir.join("other")), "--inlets", "0,9"]), &[3]);
}

#[test]
fn files_are_taken_over_from_another_job_and_no_evidence() {
    let dir = Folder::new("new-from");
    let (from, path) = (dir.join("from"), dir.join("job"));
    exits(&run(&["demo", "--small", "--out", text(&from)]), &[0]);
    exits(&run(&["new", text(&path), "--from", text(&from)]), &[0]);
    let names = |at| {
        let all = std::fs::read_dir(at).unwrap().map(|e: Result<std::fs::DirEntry, _>| e.unwrap().file_name());
        all.map(|n| n.into_string().unwrap()).collect::<std::collections::BTreeSet<_>>()
    };
    let (had, taken) = (names(&from), names(&path));
    for evidence in [
        "trace.pcapng",
        "journal.jsonl",
        "result.json",
        "report.html",
        "junit.xml",
        "seal-1.json",
        "settings-as-found.json",
        "settings-as-left.json",
    ] {
        assert!(had.contains(evidence) && !taken.contains(evidence), "{evidence}: {taken:?}");
    }
    for file in [
        "pipework.toml",
        "plan.toml",
        "unit-replacement.toml",
        "decisions.toml",
        "settings-old.json",
        "settings-new.json",
        "carry-account.json",
    ] {
        assert_eq!(std::fs::read(from.join(file)).unwrap(), std::fs::read(path.join(file)).unwrap(), "{file}");
    }
    // It is a job that can be done, from its beginning.
    exits(&run(&["run", text(&path), "--port", "sim:"]), &[0]);
    // Nothing is written over one that has begun.
    exits(&run(&["new", text(&path), "--from", text(&from), "--force"]), &[3]);
}

#[cfg(target_os = "linux")]
#[test]
fn what_no_flag_says_is_asked_at_a_terminal() {
    use crate::field::terminal::Terminal;
    let dir = Folder::new("new-asked");
    let path = dir.join("job");
    let mut terminal = Terminal::start(&["new", text(&path), "--technician", "B. Name"], true);
    for line in ["Hall 7", "model-b", "dead", "1", ""] {
        terminal.press(&format!("{line}\n"));
    }
    let (code, shown) = terminal.exit();
    assert_eq!(code, Some(0), "{shown}");
    assert!(shown.contains("Site and zone") && !shown.contains("Who does the work"), "{shown}");
    let plan = read(&dir, "plan.toml");
    assert!(plan.contains("site = \"Hall 7\"") && plan.contains("# dead: [outgoing]") && !plan.contains("\nport ="));
}
