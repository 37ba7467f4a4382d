//! A unit that only a person can read, with a logger on its smoke signal: the whole job by the file that the logger stored, with defects,
//! with files that are spoilt, with marks that are mistyped, and with a file that somebody else's program wrote.
use crate::{
    common::{Folder, exits, run, stderr, stdout, text},
    person::{self, verdicts},
};
use plumeline_base::Verdict;
use plumeline_procedure::{Outcome, outcome::SmokeRun};
use plumeline_runtime::operator::{Script, SimulatedLogger, Spoilt};
use serde_json::Value;
use std::{fmt::Write as _, fs};

/// The demonstration's job with a logger in its plan, which later jobs are made of.
fn prepared(name: &str) -> Folder {
    let dir = Folder::new(name);
    exits(&run(&["demo", "--small", "--unit", "logger", "--quiet", "--force", "--out", text(&dir.join("job"))]), &[0]);
    dir
}
/// The same done anew at a site with these defects, with this logger, by a person who answers so.
fn with(dir: &Folder, edits: &[(&str, &str)], defects: &[&str], logger: SimulatedLogger, answers: &str) -> Outcome {
    let person = |script: Script, eyes| script.with_eyes(eyes).with_logger(logger);
    person::played_by(dir, &[], edits, defects, person, answers)
}
fn spoilt(each: &[Spoilt]) -> SimulatedLogger {
    SimulatedLogger { spoilt: each.to_vec(), ..SimulatedLogger::default() }
}
fn told(o: &Outcome) -> String {
    let all = o.findings.iter().filter(|f| f.verdict != Verdict::Pass || f.code.as_str().starts_with("logger"));
    all.map(|f| format!("{} {} {}: {}\n", f.verdict, f.subject, f.code, f.says)).collect()
}
const LOGGER: &str = "Logger 3, serial L3-0144";

#[test]
fn smoke_is_read_off_the_file_of_a_logger_and_the_record_needs_no_file_again() {
    let dir = prepared("by-logger");
    let job = dir.join("job");
    let result: Value = serde_json::from_slice(&fs::read(job.join("result.json")).unwrap()).unwrap();
    let findings = result["outcome"]["findings"].as_array().unwrap();
    for (code, means) in [
        ("logger.tied", "person"),
        ("smoke.within-limit", "person"),
        ("smoke.as-predicted", "person"),
        ("instrument.in-date", "attested"),
    ] {
        let found = findings.iter().find(|f| f["code"] == code).unwrap_or_else(|| panic!("{code}: {findings:#?}"));
        assert_eq!((&found["verdict"], &found["means"]), (&"pass".into(), &means.into()), "{code}");
        if code.starts_with("smoke") {
            assert_eq!(found["measured"]["by"], LOGGER);
        }
    }
    let runs = result["outcome"]["smoke"].as_array().unwrap();
    assert_eq!(runs.len(), 3);
    for run in runs {
        assert_eq!(run["by"], LOGGER);
        assert!(run["by_hand"]["value"].as_f64().is_some(), "what was marked by hand stands beside it");
        assert!(run["curve"].as_array().unwrap().len() > 60, "the report draws it");
    }
    let report = fs::read_to_string(job.join("report.html")).unwrap();
    assert!(report.contains("chart-smoke-0") && report.contains("off the file of Logger 3, serial L3-0144"));
    exits(&run(&["check", text(&job)]), &[0, 2]);
    // The log holds what was read: a replay gives the same journal without the file, whose absence the check tells.
    let kept: Vec<_> = fs::read_dir(job.join("loggers")).unwrap().map(|e| e.unwrap().path()).collect();
    let [kept] = kept.as_slice() else { panic!("{kept:?}") };
    let stored = fs::read_to_string(kept).unwrap();
    assert!(stored.contains("time;smoke [%/m]") && stored.contains(",0"), "semicolons and decimal commas");
    fs::write(kept, stored.replacen(",0", ",1", 1)).unwrap();
    let o = run(&["check", text(&job)]);
    assert!(o.status.code() != Some(0) && (stdout(&o) + &stderr(&o)).contains("loggers/simulated-logger"));
    fs::remove_dir_all(job.join("loggers")).unwrap();
    exits(&run(&["replay", text(&job.join("trace.pcapng")), "--expect", "pass"]), &[0]);
    assert_ne!(run(&["check", text(&job)]).status.code(), Some(0));
}

#[test]
fn a_unit_that_tells_its_smoke_takes_no_logger() {
    let dir = prepared("by-logger-refused");
    let plan = fs::read_to_string(dir.join("job").join("plan.toml")).unwrap();
    let (_, table) = plan.split_once("[[instruments]]\nname = \"Logger 3\"").unwrap();
    let other = dir.join("other");
    exits(&run(&["demo", "--small", "--quiet", "--force", "--out", text(&other)]), &[0]);
    let folder = plumeline_job::folder::Folder::open(&other).unwrap();
    let mut files = plumeline_runtime::job_files::Files::read(&folder).unwrap().with_port("sim:");
    assert!(files.check().is_ok());
    let plan = files.0.iter_mut().find(|(name, _)| name == "plan.toml").unwrap();
    plan.1.extend(format!("\n[[instruments]]\nname = \"Logger 3\"{table}").bytes());
    let refused = files.check().unwrap_err().to_string();
    assert!(refused.contains("a logger of the smoke signal is named"), "{refused}");
}

#[test]
fn defects_are_stopped_by_what_the_file_shows() {
    let dir = prepared("by-logger-defects");
    let slow = with(&dir, &[], &["fan-setting-wrong:severity=0.6"], SimulatedLogger::default(), "");
    assert_eq!(slow.verdict, Verdict::Fail, "{}", told(&slow));
    let late = slow.findings.iter().find(|f| f.code == "smoke.later-than-predicted").unwrap();
    assert_eq!(late.measured.as_ref().unwrap().by.as_deref(), Some(LOGGER));
    for defect in ["cap-blocked", "hole-blocked:hole=3", "pipe-off"] {
        let o = with(&dir, &[], &[defect], SimulatedLogger::default(), "");
        assert_ne!(o.verdict, Verdict::Pass, "{defect}: {}", told(&o));
    }
}

#[test]
fn a_spoilt_file_is_asked_for_again_and_never_passes() {
    let dir = prepared("by-logger-spoilt");
    let all = [
        Spoilt::AnotherDay,
        Spoilt::SetBack(45),
        Spoilt::Gaps(6),
        Spoilt::Flat,
        Spoilt::AnotherUnit,
        Spoilt::Empty,
        Spoilt::TwoColumns,
    ];
    for each in all {
        let o = with(&dir, &[], &[], spoilt(&[each]), "");
        assert_eq!(verdicts(&o, "logger.not-used"), [Verdict::Undecided], "{each:?}: {}", told(&o));
        assert_eq!(o.verdict, Verdict::Undecided, "{each:?}: {}", o.because);
        // The times that were marked by hand are not lost.
        assert_eq!(verdicts(&o, "smoke.within-limit"), [Verdict::Pass], "{each:?}: {}", told(&o));
    }
    // Another file is taken in its place.
    let o = with(&dir, &[], &[], spoilt(&[Spoilt::Flat, Spoilt::TwoColumns, Spoilt::Sound]), "");
    assert_eq!((o.verdict, verdicts(&o, "logger.tied")), (Verdict::Pass, vec![Verdict::Pass]), "{}", told(&o));
}

#[test]
fn a_file_that_contradicts_what_was_marked_at_the_unit_passes_nothing() {
    let dir = prepared("by-logger-contradicts");
    let o = with(&dir, &[], &[], spoilt(&[Spoilt::Later(15)]), "");
    assert_eq!(verdicts(&o, "logger.tied"), [Verdict::Pass], "{}", told(&o));
    assert_eq!(verdicts(&o, "logger.contradicts"), [Verdict::Undecided], "{}", told(&o));
    assert_eq!(verdicts(&o, "smoke.within-limit"), []);
    assert_eq!(o.verdict, Verdict::Undecided, "{}", told(&o));
}

fn mark(text: &str, more: &str) -> String {
    format!("[[answer]]\nact = \"logger-time\"\ntext = \"{text}\"\n{more}\n")
}

#[test]
fn marks_that_are_mistyped_are_asked_for_again_or_tie_nothing() {
    let dir = prepared("by-logger-marks");
    let logger = SimulatedLogger::default;
    for text in ["31.01.2026 09:16:53", "31.01.2026 08:61:99", "half past two"] {
        let once = with(&dir, &[], &[], logger(), &mark(text, "times = 1"));
        assert_eq!(
            (once.verdict, verdicts(&once, "logger.tied")),
            (Verdict::Pass, vec![Verdict::Pass]),
            "{}",
            told(&once)
        );
    }
    // The same each time: it is no clock that goes.
    let always = with(&dir, &[], &[], logger(), &mark("31.01.2026 08:16:53", ""));
    assert_eq!(verdicts(&always, "logger.not-used"), [Verdict::Undecided], "{}", told(&always));
    assert_ne!(always.verdict, Verdict::Pass);
    // Two marks that agree with each other and not with the file's clock.
    let swapped = mark("31.01.2026 08:00:00", "times = 1") + &mark("31.01.2026 08:00:05", "times = 1");
    let o = with(&dir, &[], &[], logger(), &swapped);
    assert_eq!(verdicts(&o, "logger.not-used"), [Verdict::Undecided], "{}", told(&o));
    assert_ne!(o.verdict, Verdict::Pass);
}

#[test]
fn whoever_has_no_file_goes_on_by_what_was_marked() {
    let dir = prepared("by-logger-without");
    for act in ["logger-time", "give-file"] {
        let cannot = format!("[[answer]]\nact = \"{act}\"\nsay = \"cannot\"\nbecause = \"its battery is flat\"\n");
        let o = with(&dir, &[], &[], SimulatedLogger::default(), &cannot);
        assert_eq!(o.verdict, Verdict::Pass, "{act}: {}", told(&o));
        assert_eq!(verdicts(&o, "smoke.within-limit"), [Verdict::Pass]);
        assert!(o.smoke.iter().all(|run| run.by.is_none() && run.onset.is_some()));
        let missed = o.could_have_missed.iter().find(|s| s.code == "missed.logger-not-read").unwrap();
        assert!(missed.says.contains("its battery is flat"), "{}", missed.says);
    }
}

#[test]
fn a_lag_that_the_plan_states_is_taken_off_by_half_and_left_open() {
    let dir = prepared("by-logger-lag");
    let half = |edits: &[(&str, &str)]| {
        let o = with(&dir, edits, &[], SimulatedLogger::default(), "");
        assert_ne!(o.verdict, Verdict::Fail, "{}", told(&o));
        let half = o.smoke[0].half_plateau.clone().unwrap();
        (half.value, half.expanded.unwrap())
    };
    let (none, by_lag) = (half(&[]), half(&[("kind = \"logger\"", "kind = \"logger\"\nlag = \"2 s\"")]));
    assert!((none.0 - by_lag.0 - 1.0).abs() < 0.05, "{none:?} {by_lag:?}");
    // Even over 2 s: 0.58 s more, in quadrature, at about two standard uncertainties.
    let more = (by_lag.1 * by_lag.1 - none.1 * none.1).sqrt();
    assert!((more / (1.96 * 2.0 / 12.0_f64.sqrt()) - 1.0).abs() < 0.1, "{more}");
}

/// A file as somebody else's program writes it: ISO dates, tabs, points, in %/ft, two readings a second, a temperature beside them. Its
/// curve is no simulation's: a logistic rise.
fn written(o: &Outcome, clock: impl Fn(f64) -> f64, (half_s, slope_s): (f64, f64)) -> String {
    let mut file = String::from("# own program\nwhen\tobscuration (%/ft)\troom [degC]\n");
    let (from, to) = (o.smoke[0].released.as_secs_f64() - 200.0, o.smoke[2].until.as_secs_f64() + 60.0);
    for i in 0..((to - from) * 2.0) as u32 {
        let s = from + f64::from(i) * 0.5;
        let rise = |run: &SmokeRun| {
            let (since, over) = (s - run.released.as_secs_f64(), s - run.until.as_secs_f64());
            0.16 / (1.0 + (-(since - half_s) / slope_s).exp()) / (1.0 + (over / 3.0).clamp(-40.0, 40.0).exp())
        };
        let value = 0.0011 + 3e-5 * (s * 2.3).sin() + o.smoke.iter().map(rise).sum::<f64>();
        let tenths = (clock(s) * 10.0) as u32;
        let (h, m, s) = (tenths / 36_000, tenths / 600 % 60, f64::from(tenths % 600) / 10.0);
        writeln!(file, "2026-01-31 {h:02}:{m:02}:{s:04.1}\t{value:.5}\t21.5").unwrap();
    }
    file
}

#[test]
fn a_file_of_another_program_ties_and_times_as_well() {
    let dir = prepared("by-logger-foreign");
    // 25 parts in a million slow, and half an hour off.
    let logger = || SimulatedLogger { starts: "2026-01-31T08:30:00Z".into(), ppm: -25.0, spoilt: Vec::new() };
    let clock = |s: f64| 8.5 * 3600.0 + s * (1.0 - 25e-6);
    // The same person at the same site: when smoke is released does not hang on the file.
    let first = with(&dir, &[], &[], logger(), "");
    let path = dir.join("own.tsv");
    let edits = [("unit = \"%/m\"\nrange = [0.0, 20.0]", "unit = \"%/ft\"\nrange = [0.0, 10.0]")];
    let played = |half_s: f64, slope_s: f64, more: &str| {
        fs::write(&path, written(&first, clock, (half_s, slope_s))).unwrap();
        let give = format!("[[answer]]\nact = \"give-file\"\ntext = '{}{more}'\n", path.display());
        with(&dir, &edits, &[], logger(), &give)
    };
    let (onset, expected) =
        (first.smoke[0].onset.as_ref().unwrap().value, first.smoke[0].half_plateau.as_ref().unwrap().value);
    // From a tenth to a half of a logistic rise: ln 9 of its slope.
    let slope = (expected - onset) / 9.0_f64.ln();
    let o = played(expected, slope, "; column obscuration");
    assert_eq!(verdicts(&o, "logger.tied"), [Verdict::Pass], "{}", told(&o));
    for run in &o.smoke {
        let half = run.half_plateau.as_ref().unwrap_or_else(|| panic!("{}", told(&o)));
        assert!((half.value - expected).abs() < 0.8, "{half} for {expected}");
    }
    assert_eq!(o.verdict, Verdict::Pass, "{}", told(&o));
    // Which of its columns is meant is asked for.
    let open = played(expected, slope, "");
    assert_eq!(verdicts(&open, "logger.not-used"), [Verdict::Undecided], "{}", told(&open));
    assert!(told(&open).contains("2 columns of numbers"), "{}", told(&open));
    // Smoke that comes much later than it was seen at the unit can't be of these releases.
    // A rise of a form that no mixing makes proves nothing of the flow.
    let steep = played(expected, slope / 3.0, "; column obscuration");
    assert_ne!(steep.verdict, Verdict::Pass, "{}", told(&steep));
    let late = played(expected + 25.0, slope, "; column obscuration");
    assert_eq!(verdicts(&late, "logger.contradicts"), [Verdict::Undecided], "{}", told(&late));
    assert_ne!(late.verdict, Verdict::Pass);
    assert_eq!(verdicts(&late, "smoke.within-limit"), []);
}
