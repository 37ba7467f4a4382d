//! `plumeline judge`: awkward signals with their expected outcomes, and input that can't be used.
//!
//! The signals in `data/awkward/` come from `scripts/make_awkward_signals.py`, which states its seed; beside each lies
//! what is expected of it.
#![allow(clippy::unwrap_used, clippy::expect_used)] // helpers of tests are tests
use crate::common::{Folder, exits, run, stderr, stdout, text};
use plumeline_base::Instant;
use plumeline_job::logger::{self, Readings, Stated};
use plumeline_measure::{
    Error, Sample,
    clock::{self, Exchange, Tie},
    settle::{Reason, Rule, Settler, State},
};
use std::{
    path::{Path, PathBuf},
    time::Duration,
};

fn awkward() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/awkward")
}
fn signal(name: &str) -> Vec<Sample> {
    samples(&logger::read(&awkward().join(name), &Stated::default()).unwrap())
}
fn samples(readings: &Readings) -> Vec<Sample> {
    readings.readings.iter().map(|&(us, x)| Sample::new(Instant::from_micros(us.max(0) as u64), x)).collect()
}

#[test]
fn awkward_signals_come_out_as_expected() {
    let mut names = Vec::new();
    for entry in std::fs::read_dir(awkward()).unwrap() {
        let csv = entry.unwrap().path();
        if csv.extension().is_none_or(|e| e != "csv") {
            continue;
        }
        let expected: serde_json::Value =
            serde_json::from_slice(&std::fs::read(csv.with_extension("expected.json")).unwrap()).unwrap();
        let options = expected["args"].as_array().unwrap().iter().map(|a| a.as_str().unwrap());
        let args: Vec<&str> = std::iter::once("judge").chain(options).chain([text(&csv)]).collect();
        let o = run(&args);
        exits(&o, &[expected["exit"].as_i64().unwrap() as i32]);
        let words = stdout(&o);
        assert!(words.contains(expected["says"].as_str().unwrap()), "{}: {words}", csv.display());
        let json: serde_json::Value = serde_json::from_str(&stdout(&run(&[&args[..], &["--json"]].concat()))).unwrap();
        assert_eq!(json["verdict"], expected["verdict"], "{}", csv.display());
        let name = csv.file_stem().unwrap().to_str().unwrap().to_owned();
        insta::assert_snapshot!(name.clone(), words);
        names.push(name);
    }
    assert_eq!(names.len(), 10, "{names:?}");
}

/// A logger does not tell of a restart; a unit does, and then what came before counts no more.
#[test]
fn a_restart_that_is_known_needs_whole_windows_again() {
    let readings = signal("restart.csv");
    let mut settler = Settler::new(Rule::default(), Instant::START);
    let restarted = Instant::from_secs(300);
    for s in &readings {
        if s.at == restarted {
            assert!(matches!(settler.state(s.at), State::Steady { .. }));
            settler.restart(restarted);
        }
        settler.push(*s);
    }
    let last = readings[readings.len() - 1].at;
    assert!(matches!(
        settler.state(last),
        State::NotYet { because: Reason::Restart { at }, wait_estimate: Some(w) }
            if at == restarted && w == Duration::from_millis(20_500)
    ));
}

/// The same jump seen by exchanges of time stamps with the logger: the tie is void, and says by how much.
#[test]
fn a_clock_that_jumps_breaks_its_tie() {
    let readings = signal("clock-jump.csv");
    // The logger as read every half second: an exchange a minute, 20 ms there and back.
    let exchange = |(i, s): (usize, &Sample)| {
        let sent = Instant::from_micros(i as u64 * 500_000);
        let device = s.at.as_micros() + 10_000;
        Exchange {
            sent,
            device_received_us: device,
            device_sent_us: device,
            received: sent + Duration::from_millis(20),
        }
    };
    let mut tie = Tie::new(clock::Rule::default());
    let pushed: Vec<_> = readings.iter().enumerate().step_by(120).map(exchange).map(|e| tie.push(&e)).collect();
    let jumps: Vec<usize> = (0..pushed.len())
        .filter(|i| matches!(pushed[*i], Err(Error::ClockJump { by_s, .. }) if (by_s + 7.0).abs() < 0.05))
        .collect();
    // Set back at 300 s: the exchange of that minute shows it, and none before or after.
    assert_eq!(jumps, [5]);
    assert!(pushed.iter().enumerate().all(|(i, p)| i == 5 || p.is_ok()), "{pushed:?}");
}

#[test]
fn a_mean_is_stated_with_its_parts() {
    let path = awkward().join("quantised.csv");
    let o =
        run(&["judge", "mean", text(&path), "--from", "100", "--resolution", "0.2", "--calibration-relative", "3%"]);
    exits(&o, &[0]);
    insta::assert_snapshot!("mean", stdout(&o));
}

/// A file of a few lines, judged; the message without this machine's paths.
fn said(csv: &str, options: &[&str], code: i32) -> String {
    let dir = Folder::new("judge");
    let path = dir.join("flow.csv");
    std::fs::write(&path, csv).unwrap();
    let o = run(&[&["judge"], options, &[text(&path)]].concat());
    exits(&o, &[code]);
    format!("{}{}", stdout(&o), stderr(&o)).replace(text(dir.path()), "DIR")
}

#[test]
fn bad_input_is_named_by_line_and_column() {
    let bad = |name: &str, csv: &str| insta::assert_snapshot!(name, said(csv, &["settle"], 3));
    bad("empty", "");
    bad("no readings", "time_s,flow_L/min\n");
    bad("no unit", "time_s,flow\n0,1\n");
    bad("no unit of time", "time_fortnights,flow_L/min\n0,1\n");
    bad("no number", "time_s,flow_L/min\n0,40\n0.5,forty\n");
    bad("decimal comma", "time_s,flow_L/min\n0,40,1\n");
    bad("quotation mark", "time_s,flow_L/min\n0,\"40\n");
    bad("many columns", "time_s,flow_L/min,smoke_%/m\n0,40,1\n");
    bad("one column", "time_s\n0\n");
    // A word for no value, or nothing, is a gap that is said.
    insta::assert_snapshot!("not finite", said("time_s,flow_L/min\n0,40\n0.5,NaN\n1,41\n", &["mean"], 2));
    insta::assert_snapshot!("nothing", said("time_s,flow_L/min\n0,40\n0.5,\n1,41\n", &["mean"], 2));
    insta::assert_snapshot!("no such column", said("time_s,flow_L/min\n0,1\n", &["mean", "--column", "smoke"], 3));
}

#[test]
fn numbers_that_no_sum_can_hold_give_no_mean() {
    let rows: String = (0..40).map(|n| format!("{n},{}1e308\n", if n % 2 == 0 { "" } else { "-" })).collect();
    let words = said(&format!("time_s,flow_L/min\n{rows}"), &["mean"], 2);
    assert!(words.contains("no mean") && !words.contains("NaN"), "{words}");
}

#[test]
fn options_that_can_not_be_used_are_refused() {
    let csv = "time_s,flow_L/min\n0,40\n1,41\n";
    let bad = |name: &str, options: &[&str]| insta::assert_snapshot!(name, said(csv, options, 3));
    bad("no release", &["onset"]);
    bad("bad release", &["onset", "--release", "noon"]);
    bad("foreign option", &["mean", "--release", "3"]);
    bad("bad share", &["settle", "--slope-limit", "steep"]);
    bad("bad rule", &["settle", "--window", "0"]);
    bad("bad coverage", &["mean", "--coverage", "1"]);
    bad("no gap allowed", &["onset", "--release", "1", "--max-gap", "0"]);
    // Too few readings are evidence that is missing, not a fault of the file.
    insta::assert_snapshot!("too few", said(csv, &["mean"], 2));
    insta::assert_snapshot!("none left", said(csv, &["mean", "--from", "7"], 2));
}

#[test]
fn a_file_is_looked_at_before_it_is_judged() {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/logger");
    let o = run(&["judge", text(&data.join("two-columns-numbered.csv")), "--columns"]);
    exits(&o, &[0]);
    insta::assert_snapshot!("columns", stdout(&o));
    let o = run(&["judge", "mean", text(&data.join("gaps.csv")), "--max-gap", "5"]);
    assert!(format!("{}{}", stdout(&o), stderr(&o)).contains("rows without a value: 6, the first in line 3"));
}

/// A device never ends and a pipe never begins: neither is opened.
#[cfg(unix)]
#[test]
fn only_files_are_read() {
    for path in ["/dev/zero", "/"] {
        let o = run(&["judge", path, "--columns"]);
        exits(&o, &[3]);
        assert!(stderr(&o).contains("read the readings"), "{}", stderr(&o));
    }
}
