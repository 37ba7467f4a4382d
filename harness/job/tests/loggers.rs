//! Files of a logger that are given in a job: what is read of them, where they are kept, what is refused.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
use plumeline_detector::display::Scale;
use plumeline_job::{
    Kind, Problem,
    digest::Digest,
    folder::{self, Folder},
    kept::KeptFile,
    loggers,
};
use plumeline_procedure::instrument::{Day, Instrument, Kind as Of, Measurand, Place, Stores};
use std::{fs, path::PathBuf};

struct Dir(PathBuf);
impl Dir {
    fn new(name: &str) -> Self {
        let dir = std::env::temp_dir().join(format!("plumeline-loggers-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&dir);
        fs::create_dir_all(&dir).unwrap();
        Self(dir)
    }
    fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.join(name);
        fs::write(&path, text).unwrap();
        path
    }
}
impl Drop for Dir {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn logger(stores: Stores) -> Instrument {
    Instrument {
        name: "Logger 3".into(),
        kind: Of::Logger,
        serial: "l3".into(),
        measures: Measurand::Obscuration,
        scale: Scale { unit: "%/m".into(), range: (0.0, 20.0), step: Some(0.001) },
        si: 0.01,
        u: 0.0,
        u_relative: 0.02,
        at: Place::Inlet,
        stores: Some(stores),
        calibrated: Day::default(),
        due: Day::default(),
    }
}
fn marks(all: &[&str]) -> Vec<String> {
    all.iter().map(|m| (*m).to_owned()).collect()
}
fn given(dir: &Dir, text: &str, words: &str, of: &[&str]) -> Result<plumeline_base::logger::LoggerFile, Problem> {
    let path = dir.file("Smoke of 31. 1.csv", text);
    let logger = logger(Stores::default());
    let (_, stated) = loggers::typed(words, &logger)?;
    loggers::take_in(None, &path, &stated, &logger, &marks(of))
}

const EUROPEAN: &str = "Logger;3\r\nDatum;Zeit;Rauch [%/m]\r\n31.01.2026;08:00:00;0,010\r\n31.01.2026;08:00:01;0,012\r\n31.01.2026;08:00:02;---\r\n31.01.2026;08:00:03;0,250\r\n";

#[test]
fn a_file_is_read_on_its_own_axis_and_kept_with_its_digest() {
    let dir = Dir::new("kept");
    let folder = Folder::create(&dir.0.join("job"), &[(folder::PLAN, b"format = 1\n")], false).unwrap();
    let path = dir.file("Smoke of 31. 1.csv", EUROPEAN);
    let logger = logger(Stores::default());
    let (typed, stated) = loggers::typed(" \"a b.csv\" ", &logger).unwrap();
    assert_eq!(typed, "a b.csv");
    let marks = marks(&["08:00:01", "31.01.2026 08:00:03", "half past two"]);
    let file = loggers::take_in(Some(&folder), &path, &stated, &logger, &marks).unwrap();
    assert_eq!(
        file.rows,
        [(0, 0.010), (1_000_000, 0.012), (3_000_000, 0.250)],
        "what is no value is left out, never filled in"
    );
    assert_eq!(file.marks_us, [Some(1_000_000), Some(3_000_000), None]);
    assert_eq!((file.unit.as_str(), file.column.as_str(), file.step_us), ("%/m", "Rauch [%/m]", 1_000_000));
    assert_eq!((file.first.as_str(), file.dated_us), ("2026-01-31 08:00:00", Some(1_769_846_400_000_000)));
    assert_eq!((file.readings, file.length), (3, EUROPEAN.len() as u64));
    assert!(file.name.starts_with("loggers/smoke-of-31-1-") && file.name.ends_with(".csv"), "{}", file.name);
    let kept = KeptFile { name: file.name.clone(), length: file.length, digest: Digest::of(EUROPEAN.as_bytes()) };
    loggers::check(&folder, &kept).unwrap();
    fs::write(folder.dir().join(&file.name), EUROPEAN.replace("0,250", "0,350")).unwrap();
    assert_eq!(loggers::check(&folder, &kept).unwrap_err().kind(), Kind::Altered);
    for name in [
        "loggers/../plan.toml",
        "photos/smoke-0123456789abcdef.csv",
        "loggers/smoke.csv",
        "loggers/a-0123456789abcdef.tsv",
    ] {
        let named = KeptFile { name: name.into(), ..kept.clone() };
        assert_eq!(loggers::check(&folder, &named).unwrap_err().kind(), Kind::Range, "{name}");
    }
    // A new job in its place takes it away with the rest.
    Folder::create(&dir.0.join("job"), &[(folder::PLAN, b"format = 1\n")], true).unwrap();
    assert!(!folder.dir().join(&file.name).exists());
}

#[test]
fn what_a_file_does_not_say_is_said_behind_its_path_or_in_the_plan() {
    let dir = Dir::new("said");
    let two = "time;smoke;room\n1,5;0,1;20,5\n2,5;0,2;20,5\n";
    let of = |words: &str| given(&dir, two, words, &["2,5"]);
    assert!(of("x.csv").unwrap_err().to_string().contains("time-unit"), "{}", of("x.csv").unwrap_err());
    assert!(of("x.csv; time-unit s").unwrap_err().to_string().contains("2 columns of numbers"));
    let file = of("x.csv; time-unit s; column smoke").unwrap();
    assert_eq!(
        (file.unit.as_str(), file.step_us, file.marks_us),
        ("%/m", 100_000, vec![Some(1_000_000)]),
        "a file without a unit is in the plan's"
    );
    let stores = Stores { column: Some("smoke".into()), time_unit: Some("s".into()), ..Stores::default() };
    let by_plan = logger(stores);
    let (_, stated) = loggers::typed("x.csv", &by_plan).unwrap();
    let path = dir.file("x.csv", two);
    assert_eq!(
        loggers::take_in(None, &path, &stated, &by_plan, &marks(&["2,5"])).unwrap().rows,
        [(0, 0.1), (1_000_000, 0.2)]
    );
    for wrong in ["x.csv; colour red", "x.csv; column", "x.csv; dates backwards"] {
        let problem = of(wrong).unwrap_err();
        assert!(problem.to_string().contains("says nothing of a file"), "{problem}");
    }
    // The unit that a file states is never overruled.
    assert_eq!(given(&dir, "time_s;loop_mA\n1;4,1\n2;4,2\n", "x.csv", &["1"]).unwrap().unit, "mA");
}

#[test]
fn of_a_long_file_what_lies_about_the_marks_enters_the_log() {
    let dir = Dir::new("long");
    let mut text = String::from("time_s,smoke_%/m\n");
    for s in 0..9000 {
        text.push_str(&format!("{s},0.01\n"));
    }
    let file = given(&dir, &text, "x.csv", &["4000", "4100"]).unwrap();
    assert_eq!((file.readings, file.rows.len()), (9000, 1301));
    assert_eq!((file.rows[0].0, file.rows[1300].0), (3_400_000_000, 4_700_000_000));
    assert!(given(&dir, &text, "x.csv", &["noon"]).unwrap().rows.is_empty(), "nothing can be placed");
    for empty in ["", "time_s,smoke_%/m\n"] {
        let problem = given(&dir, empty, "x.csv", &["1"]).unwrap_err();
        assert!(problem.to_string().contains("Smoke of 31. 1.csv"), "the place is named: {problem}");
    }
}
