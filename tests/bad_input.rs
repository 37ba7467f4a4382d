//! Bad input of each kind: the message names the place and the remedy, the exit code is 3 or 4, and nothing is lost.
use crate::common::{Folder, exits, run, stderr, text};
use std::path::Path;

fn demo_job() -> Folder {
    let dir = Folder::new("bad");
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small");
    for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
        std::fs::copy(from.join(name), dir.join(name)).unwrap();
    }
    dir
}
/// Runs the job in `dir` after `spoil` changed the text of `file`, and gives the message without this machine's paths.
fn message(file: &str, spoil: impl Fn(String) -> String) -> String {
    let dir = demo_job();
    let path = dir.join(file);
    let text_then = std::fs::read_to_string(&path).unwrap();
    let spoilt = spoil(text_then.clone());
    assert_ne!(spoilt, text_then, "nothing was spoilt");
    std::fs::write(&path, &spoilt).unwrap();
    let said = said(&dir, &["run", text(dir.path()), "--port", "sim:"], 3);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), spoilt, "the input is left as it was");
    assert!(!dir.join("trace.pcapng").exists(), "nothing is begun over bad input");
    said
}
fn said(dir: &Folder, args: &[&str], code: i32) -> String {
    let o = run(args);
    exits(&o, &[code]);
    stderr(&o).replace(text(dir.path()), "JOB")
}

#[test]
fn files_of_a_job() {
    insta::assert_snapshot!("wrong key", message("plan.toml", |t| t.replace("technician =", "technican =")));
    insta::assert_snapshot!(
        "wrong unit",
        message("pipework.toml", |t| t.replace("diameter = \"3 mm\"", "diameter = \"3 L/min\""))
    );
    insta::assert_snapshot!("no unit", message("pipework.toml", |t| t.replace("every = \"4 m\"", "every = \"4\"")));
    insta::assert_snapshot!(
        "negative length",
        message("pipework.toml", |t| t.replace("{ pipe = \"5 m\"", "{ pipe = \"-5 m\""))
    );
    insta::assert_snapshot!("unknown stage", message("plan.toml", |t| t.replace("\"prove-flow\"", "\"prove-flw\"")));
    insta::assert_snapshot!("unknown preset", message("plan.toml", |t| t.replace("\"NFPA 72\"", "\"NFPA 27\"")));
    insta::assert_snapshot!("broken json", message("settings-new.json", |t| t.replace("\"items\":", "\"items\"")));
    insta::assert_snapshot!(
        "wrong type",
        message("settings-new.json", |t| t.replace("\"key\": \"fan.speed\"", "\"key\": 7"))
    );
}

#[test]
fn missing_files_and_folders() {
    let dir = demo_job();
    std::fs::remove_file(dir.join("pipework.toml")).unwrap();
    insta::assert_snapshot!("missing file", said(&dir, &["run", text(dir.path()), "--port", "sim:"], 3));
    insta::assert_snapshot!("no job folder", said(&dir, &["run", text(&dir.join("nowhere")), "--port", "sim:"], 3));
    insta::assert_snapshot!("missing trace", said(&dir, &["replay", text(&dir.join("trace.pcapng"))], 3));
}

#[test]
fn arguments() {
    let dir = demo_job();
    let job = text(dir.path());
    insta::assert_snapshot!("wrong port", said(&dir, &["run", job, "--port", "serial"], 3));
    insta::assert_snapshot!("wrong faults", said(&dir, &["run", job, "--port", "sim:", "--faults", "flip=2"], 3));
    insta::assert_snapshot!(
        "unknown defect",
        said(&dir, &["demo", "--out", text(&dir.join("d")), "--defect", "hole-bloked"], 3)
    );
    insta::assert_snapshot!("unknown command", said(&dir, &["rnu"], 3));
    assert!(!dir.join("d").exists(), "an unknown defect writes nothing");
}

fn copy_of_clean_trace() -> Folder {
    let dir = Folder::new("bad-trace");
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-traces/clean");
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, dir.join(path.file_name().unwrap().to_str().unwrap())).unwrap();
    }
    dir
}

#[test]
fn a_truncated_trace() {
    let dir = copy_of_clean_trace();
    let path = dir.join("trace.pcapng");
    let bytes = std::fs::read(&path).unwrap();
    std::fs::write(&path, &bytes[..100_003]).unwrap();
    let message = said(&dir, &["replay", text(&path)], 3);
    // Where the last whole record ends hangs on the recorded trace; that a place is named does not.
    let (before, after) = message.split_once("at byte ").unwrap();
    let place = after.trim_start_matches(|c: char| c.is_ascii_digit());
    assert_ne!(place, after, "{message}");
    insta::assert_snapshot!("truncated trace", format!("{before}at byte N{place}"));
}

#[test]
fn an_edited_journal() {
    let dir = copy_of_clean_trace();
    let path = dir.join("journal.jsonl");
    let text_then = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, text_then.replacen("\"verdict\":\"pass\"", "\"verdict\":\"fail\"", 1)).unwrap();
    insta::assert_snapshot!("edited journal", said(&dir, &["check", text(dir.path())], 1));
}

#[test]
fn ports_that_are_not_there() {
    let dir = demo_job();
    let path = format!("serial:{}", text(&dir.join("tty-of-nothing")));
    // The link is tried again for as long as the plan allows; the first message is what counts here.
    let mut c = crate::common::plumeline(&["run", text(dir.path()), "--port", &path])
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(c.stdin.take());
    let o = c.wait_with_output().unwrap();
    // Nobody is there to answer: the job waits to be taken up again.
    exits(&o, &[6]);
    let said = crate::common::stdout(&o);
    assert!(said.contains("the port is not there"), "{said}");
    assert!(said.contains("check the cable and the name of the port"), "{said}");
}

/// What names a file takes no pipe, which would wait; no device, which need not end; and nothing that is too long, before it is
/// read: 3 GB that take no room on the disk would take as much memory.
#[cfg(unix)]
#[test]
fn what_is_no_file_of_a_fit_length() {
    let dir = demo_job();
    let (pipe, long, out) = (dir.join("pipe"), dir.join("long"), dir.join("out"));
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    std::fs::File::create(&long).unwrap().set_len(3 << 30).unwrap();
    let (job, out) = (text(dir.path()), text(&out));
    for input in [text(&pipe), "/dev/zero", job, text(&long)] {
        let asks: [&[&str]; 12] = [
            &["show", input],
            &["diff", input, input],
            &["carry", job, "--settings", input, "--to", "acme-12"],
            &["carry", job, "--to", input],
            &["new", out, "--from-csv", input],
            &["run", job, "--port", "sim:", "--operator", input],
            &["simulate", "--scenario", input],
            &["batch", input, "--out", out],
            &["predict", input],
            &["unpack", input, "--out", out],
            &["replay", input],
            &["key", "show", input],
        ];
        for ask in asks {
            // The folder is what these are for.
            if input == job && matches!(ask[0], "replay" | "predict") {
                continue;
            }
            let began = std::time::Instant::now();
            let o = run(ask);
            exits(&o, &[3]);
            assert!(began.elapsed().as_secs() < 20, "{ask:?}");
            assert!(!dir.join("trace.pcapng").exists() && !dir.join("out").exists(), "{ask:?}");
        }
    }
    for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
        std::fs::remove_file(dir.join(name)).unwrap();
        std::fs::rename(&pipe, dir.join(name)).unwrap();
        exits(&run(&["run", job, "--port", "sim:"]), &[3]);
        std::fs::rename(dir.join(name), &pipe).unwrap();
        std::fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small").join(name), dir.join(name)).unwrap();
    }
}
