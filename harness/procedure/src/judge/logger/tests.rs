use super::*;
use crate::{
    instrument::{Kind, Measurand, tests::manometer},
    judge::smoke::Watched,
};
use alloc::{borrow::ToOwned, vec};
use plumeline_base::obscuration::ObscurationUnit::PercentPerMetre;
use plumeline_detector::display::Scale;

fn logger() -> Instrument {
    Instrument {
        name: "Logger 3".into(),
        kind: Kind::Logger,
        measures: Measurand::Obscuration,
        scale: Scale { unit: "%/m".into(), range: (0.0, 20.0), step: Some(1e-4) },
        si: 0.01,
        u: 0.0,
        u_relative: 0.02,
        stores: Some(Stores { interval_s: 1.0, ..Stores::default() }),
        ..manometer()
    }
}
fn at(s: f64) -> Instant {
    Instant::from_micros((s * 1e6) as u64)
}
fn mark(s: f64, text: &str) -> Mark {
    Mark::read(at(s), text, &Stores::default()).unwrap()
}
/// Marks of a clock that shows 14:00:00 at 100 s.
fn marks() -> Vec<Mark> {
    vec![mark(100.0, "14:00:00"), mark(110.0, "14:00:10"), mark(700.0, "14:10:00")]
}
/// Smoke that rises over 10 s from `from_s` after a release at 400 s, %/m: as a file whose first row is of 90 s, each second.
fn file(from_s: f64, plateau: f64) -> LoggerFile {
    let value = |s: f64| {
        let risen = ((s - 400.0 - from_s) / 10.0).clamp(0.0, 1.0);
        // The same for all, and never the same twice: what a sensor adds.
        0.01 + 0.0004 * libm::sin(s * 1.7) + plateau * risen
    };
    let rows = (90..720).map(|s| (i64::from(s - 90) * 1_000_000, value(f64::from(s)))).collect();
    LoggerFile {
        column: "smoke".into(),
        unit: "%/m".into(),
        first: "13:59:50".into(),
        step_us: 1_000_000,
        marks_us: vec![Some(10_000_000), Some(20_000_000), Some(610_000_000)],
        rows,
        ..LoggerFile::default()
    }
}
fn span() -> Span {
    Span { words: "run 1 at hole 3".into(), from: at(360.0), until: at(480.0) }
}
fn tied_by(file: &LoggerFile, marks: &[Mark]) -> Result<Tied, Refused> {
    let (logger, rules) = (logger(), LoggerRules::default());
    let by = By { logger: &logger, marks, rules: &rules, longest_gap_s: 3.0, local_us: Some(0) };
    tie(file, &[span()], &by)
}
fn refused(file: &LoggerFile) -> String {
    tied_by(file, &marks()).unwrap_err().why
}
fn seen(tied: &Tied) -> smoke::Outcome {
    let rule = Rule { min_rise: 5e-4, min_before: 20, false_alarm: 1e-5, ..Rule::default() };
    tied.outcome(&span(), &Release::by_hand(at(400.0)), &rule)
}

#[test]
fn times_of_a_clock_are_read_as_people_write_them() {
    let s =
        |text: &str| Mark::read(at(0.0), text, &Stores::default()).map(|m| (m.shows.s, m.shows.step_s, m.shows.dated));
    let hms = |h: f64, m: f64, s: f64| (h * 60.0 + m) * 60.0 + s;
    assert_eq!(s("14:05:30"), Ok((hms(14.0, 5.0, 30.0), 1.0, false)));
    assert_eq!(s(" 14:05 "), Ok((hms(14.0, 5.0, 0.0), 60.0, false)));
    assert_eq!(s("31.01.2026 08:00:00"), Ok((hms(8.0, 0.0, 0.0), 1.0, true)));
    assert_eq!(s("2026-01-31T08:00:00.5+01:00").map(|s| (s.0, s.2)), Ok((hms(8.0, 0.0, 0.5), true)));
    assert_eq!(s("2:05:30 pm"), Ok((hms(14.0, 5.0, 30.0), 1.0, false)));
    assert_eq!(s("12:00:01 AM").map(|s| s.0), Ok(1.0));
    assert_eq!(s("12,5"), Ok((12.5, 0.1, false)));
    let minutes = Stores { time_unit: Some("min".into()), ..Stores::default() };
    assert_eq!(Mark::read(at(0.0), "2", &minutes).unwrap().shows.s, 120.0);
    for none in ["", "now", "14h05", "14:99:00", "14:05:61", "::", "inf", "14:-5:00"] {
        let read = s(none);
        assert!(read.is_err(), "{none}: {read:?}");
    }
}
#[test]
fn marks_of_one_clock_follow_from_each_other() {
    let rules = LoggerRules::default();
    let follows = |a: (f64, &str), b: (f64, &str)| mark(a.0, a.1).agrees(&mark(b.0, b.1), &rules);
    assert!(follows((100.0, "14:00:00"), (160.4, "14:01:00")));
    assert!(follows((100.0, "23:59:50"), (120.0, "00:00:10")), "over midnight");
    // An hour at 500 parts in a million is 1.8 s.
    assert!(follows((0.0, "14:00:00"), (3600.0, "15:00:04")));
    for (later, text) in
        [(160.0, "14:10:00"), (160.0, "14:01:10"), (160.0, "14:00:00"), (160.0, "60"), (160.0, "13:59:00")]
    {
        assert!(!follows((100.0, "14:00:00"), (later, text)), "{text}");
    }
}
#[test]
fn smoke_is_timed_on_a_file_as_on_a_stream() {
    let tied = tied_by(&file(20.0, 0.5), &marks()).unwrap();
    // A press of 0.3 s and two steps of 1 s.
    assert!((0.6..1.0).contains(&tied.u_s), "{}", tied.u_s);
    assert!(tied.drift_ppm.abs() < 1.0, "{}", tied.drift_ppm);
    let smoke::Outcome::Response(r) = seen(&tied) else { panic!("{:?}", seen(&tied)) };
    assert!((r.onset_s.value - 21.0).abs() < 0.5, "{:?}", r.onset_s);
    assert!((r.half_plateau_s.value - 25.0).abs() < 0.5, "{:?}", r.half_plateau_s);
    let curve = tied.curve(&span(), at(400.0));
    assert_eq!(curve.len(), 121);
    assert!((curve[0].0 + 40.0).abs() < 0.5 && curve[120].1 > 4e-3);
    // A clock that runs 300 parts in a million fast ties as well, and is told.
    let mut fast = file(20.0, 0.5);
    fast.rows.iter_mut().for_each(|(us, _)| *us += *us * 300 / 1_000_000);
    fast.marks_us = vec![Some(10_003_000), Some(20_006_000), Some(610_183_000)];
    let tied = tied_by(&fast, &marks()).unwrap();
    let smoke::Outcome::Response(r) = seen(&tied) else { panic!("{:?}", seen(&tied)) };
    assert!((r.onset_s.value - 21.0).abs() < 0.6, "{:?}", r.onset_s);
}
#[test]
fn a_file_that_can_not_be_placed_is_refused_with_its_place() {
    let sound = file(20.0, 0.5);
    let told = |change: &dyn Fn(&mut LoggerFile)| {
        let mut file = sound.clone();
        change(&mut file);
        refused(&file)
    };
    let says = |why: String, part: &str| assert!(why.contains(part), "{why}");
    says(told(&|f| f.unit = "mA".into()), "is in mA");
    says(told(&|f| f.rows.clear()), "no reading about the marks");
    says(told(&|f| f.marks_us[1] = None), "`14:00:10` is no time as this file writes them");
    says(told(&|f| f.marks_us[2] = Some(580_000_000)), "was set meanwhile, or a mark was mistyped");
    says(told(&|f| f.marks_us.swap(0, 2)), "was set meanwhile");
    says(told(&|f| f.rows[300..].iter_mut().for_each(|r| r.0 -= 60_000_000)), "was set back by 59 s");
    says(told(&|f| f.rows[300].0 = f.rows[299].0), "the same time");
    says(told(&|f| drop(f.rows.drain(320..330))), "no reading for 11 s of the 120 s about run 1 at hole 3");
    says(told(&|f| f.rows.truncate(300)), "no reading for");
    says(told(&|f| drop(f.rows.drain(..280))), "no reading for");
    says(told(&|f| f.rows[310].1 = 100.0), "is no obscuration");
    says(told(&|f| f.dated_us = Some(86_400_000_000)), "of another day");
    // Loggers write their unit as they like.
    assert!(tied_by(&LoggerFile { unit: "%obs/m".into(), ..sound.clone() }, &marks()).is_ok());
    let still = |f: &mut LoggerFile| f.rows.iter_mut().for_each(|r| r.1 = 0.01);
    let mut flat = sound.clone();
    still(&mut flat);
    let refused = tied_by(&flat, &marks()).unwrap_err();
    assert!(refused.shows_nothing && refused.why.contains("one and the same reading"), "{refused:?}");
}
#[test]
fn a_file_whose_date_nobody_knows_is_of_no_day() {
    let (logger, rules) = (logger(), LoggerRules::default());
    let dated = LoggerFile { dated_us: Some(0), ..file(20.0, 0.5) };
    let marks = marks();
    let by = By { logger: &logger, marks: &marks, rules: &rules, longest_gap_s: 3.0, local_us: None };
    assert!(tie(&dated, &[span()], &by).unwrap_err().why.contains("this computer's date is not known"));
    let marks: Vec<Mark> = [(100.0, "14:00:00"), (110.0, "14:00:10"), (700.0, "14:10:00")]
        .map(|(s, t)| mark(s, &("31.01.2026 ".to_owned() + t)))
        .to_vec();
    assert!(tie(&dated, &[span()], &By { marks: &marks, ..by }).is_ok(), "typed with its date");
}
#[test]
fn a_lag_is_taken_off_by_half_and_leaves_the_rest_open() {
    let told = without_lag(Estimate::new(20.0, 0.0, 0.4), 2.0);
    assert_eq!((told.value, told.u_individual), (19.0, 0.4));
    let tied = tied_by(&file(20.0, 0.5), &marks()).unwrap();
    assert!((common_s(&tied, 2.0) - hypot(tied.u_s, 2.0 / sqrt(12.0))).abs() < 1e-12);
}

/// What contradicts a file that shows a tenth of the plateau at 21 s.
fn beside(by_hand: Option<f64>, alarm_after_s: Option<f64>, plateau: f64) -> Option<String> {
    let (logger, rules, span) = (logger(), LoggerRules::default(), span());
    let tied = tied_by(&file(20.0, plateau), &marks()).unwrap();
    let watched = Watched { released: at(400.0), until: at(480.0), alarm_after_s, elsewhere: None };
    let lamp = |s: f64| crate::judge::smoke::Seen { onset: Estimate::new(s, 0.0, 1.0), half: None, marked: None };
    let by_hand = SmokeSeen::by_eye(by_hand.map(lamp).ok_or_else(|| "nobody looked".into()), watched);
    let lowest = Extinction::from_stated(0.1, PercentPerMetre);
    let beside = Beside { span: &span, by_hand: &by_hand, logger: &logger, rules: &rules, seen_u_s: 1.0, lowest };
    contradiction(&tied, &Estimate::new(21.0, 0.0, 0.9), &beside)
}
#[test]
fn nothing_that_was_marked_at_the_unit_may_contradict_the_file() {
    assert_eq!(beside(Some(21.5), None, 0.5), None);
    assert_eq!(beside(Some(40.0), None, 0.5), None, "a lamp comes later than its smoke");
    assert_eq!(beside(None, Some(30.0), 0.5), None);
    assert_eq!(beside(None, None, 0.5), None);
    let told = |by_hand, alarm, plateau| beside(by_hand, alarm, plateau).unwrap_or_default();
    assert!(told(Some(5.0), None, 0.5).contains("16.0 s apart"), "seen long before the file shows it");
    assert!(told(None, Some(3.0), 0.5).contains("an alarm level after 3.0 s already"));
    assert!(told(None, Some(60.0), 0.05).contains("stays under the lowest threshold"));
}
