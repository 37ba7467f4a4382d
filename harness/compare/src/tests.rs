//! Records made up here, each with one thing changed.
use super::*;
use plumeline_base::{Instant, Verdict};
use plumeline_detector::{
    Identity,
    settings::{Item, Settings, Value},
};
use plumeline_procedure::outcome::{Finding, Outcome, PipeFlow, SmokeRun, StageKind};

const HOLES: [f64; 6] = [3.1, 3.0, 2.9, 2.8, 2.7, 5.5];

fn record(pipes: &[(u8, [f64; 6])]) -> Record {
    let mut outcome =
        Outcome { replacement: Some(Identity { serial: "S1".into(), ..Identity::default() }), ..Outcome::default() };
    for (inlet, holes) in pipes {
        let flow: f64 = holes.iter().sum();
        outcome.pipes.push(PipeFlow {
            inlet: *inlet,
            predicted: Figure::with(20.0, 2.0, "L/min"),
            measured: Some(Figure::with(flow, 0.06 * flow, "L/min")),
            as_found: None,
            baseline: None,
            predicted_transport: None,
            smallest_visible: None,
        });
        for (hole, drop) in (1..).zip(holes) {
            let told = [("hole", "it"), ("seen", "x"), ("off", "y")];
            let mut finding =
                Finding::coded(StageKind::ProveFlow, Subject::Hole(*inlet, hole), "holes.draws", &told).unwrap();
            finding.measured = Some(Figure::with(*drop, 0.02 * drop, "L/min"));
            outcome.findings.push(finding);
        }
        for run in 1..=3 {
            outcome.smoke.push(SmokeRun {
                inlet: *inlet,
                hole: 6,
                run,
                released: Instant::START,
                onset: Some(Figure::with(30.0 * 20.0 / flow, 1.0, "s")),
                half_plateau: None,
                alarm_after_s: None,
                until: Instant::START,
                why_not: None,
                by: None,
                by_hand: None,
                curve: Vec::new(),
                set_aside: None,
            });
        }
    }
    for output in 1..=2 {
        let told = [("function", "x"), ("by", "y")];
        outcome
            .findings
            .push(Finding::coded(StageKind::Outputs, Subject::Output(output), "outputs.operates", &told).unwrap());
    }
    let volt = || Some(Figure::with(24.0, 0.5, "V"));
    outcome.supply.standby = Some(Figure::with(0.4, 0.01, "A"));
    outcome.supply.alarm = Some(Figure::with(0.5, 0.01, "A"));
    (outcome.supply.mains, outcome.supply.battery) = (volt(), volt());
    let item = |value| Item { key: "alarm.1.threshold".into(), value: Value::Number(value), unit: Some("%/m".into()) };
    let left = Settings { revision: None, items: vec![item(0.05)] };
    Record {
        site: "Invented".into(),
        date: None,
        verdict: Verdict::Pass,
        invented: true,
        coverage: 0.95,
        outcome,
        found: None,
        left: Some(left),
    }
}
fn two(first: [f64; 6], second: [f64; 6]) -> Record {
    record(&[(1, first), (2, second)])
}
fn named(old: &Record, new: &Record) -> Vec<(String, &'static str)> {
    let found = compare(old, new);
    assert_eq!(found.open, Vec::<String>::new());
    found.changes.iter().map(|c| (c.about.to_string(), c.code)).collect()
}
fn scaled(by: f64) -> [f64; 6] {
    HOLES.map(|q| q * by)
}
fn with(hole: usize, by: f64) -> [f64; 6] {
    let mut all = HOLES;
    all[hole - 1] *= by;
    all
}

#[test]
fn nothing_changed_is_said_only_where_everything_was_compared() {
    let old = two(HOLES, HOLES);
    assert!(named(&old, &two(HOLES, scaled(1.01))).is_empty());
    let mut less = two(HOLES, HOLES);
    less.outcome.findings.remove(0);
    less.outcome.pipes.remove(1);
    less.left = None;
    let found = compare(&old, &less);
    assert!(found.changes.is_empty());
    for what in ["pipe 1 hole 1:", "pipe 2:", "settings:"] {
        assert!(found.open.iter().any(|o| o.starts_with(what)), "{what} in {:?}", found.open);
    }
}
#[test]
fn a_hole_is_named_and_its_neighbours_are_not() {
    let old = two(HOLES, HOLES);
    for hole in 1..=6 {
        let less = named(&old, &two(with(hole, 0.8), HOLES));
        assert_eq!(less, [(format!("pipe 1 hole {hole}"), "hole.less")]);
    }
    assert_eq!(named(&old, &two(HOLES, with(2, 1.3))), [("pipe 2 hole 2".into(), "hole.more")]);
    let mut twice = with(2, 0.5);
    twice[4] *= 0.6;
    let both = named(&old, &two(twice, HOLES));
    assert_eq!(both, [("pipe 1 hole 2".into(), "hole.less"), ("pipe 1 hole 5".into(), "hole.less")]);
}
#[test]
fn filter_and_air_move_all_pipes_and_name_no_hole() {
    let old = two(HOLES, HOLES);
    assert_eq!(named(&old, &two(scaled(0.82), scaled(0.82))), [("job".into(), "all.less")]);
    let mut both = with(3, 0.6).map(|q| q * 0.82);
    both[5] *= 1.01;
    let dirty = named(&old, &two(both, scaled(0.82)));
    assert!(dirty.contains(&("pipe 1 hole 3".into(), "hole.less")), "{dirty:?}");
    assert!(dirty.iter().all(|(about, code)| *code == "all.less" || about == "pipe 1 hole 3"), "{dirty:?}");
}
#[test]
fn a_leak_is_told_from_a_pipe_that_resists() {
    let old = two(HOLES, HOLES);
    let mut leak = two(scaled(0.9), HOLES);
    leak.outcome.pipes[0].measured = Some(Figure::with(24.0, 1.4, "L/min"));
    assert_eq!(named(&old, &leak), [("pipe 1".into(), "pipe.air-elsewhere")]);
    assert_eq!(named(&old, &two(HOLES, scaled(0.75))), [("pipe 2".into(), "pipe.less")]);
}
#[test]
fn smoke_that_the_flow_does_not_explain_is_named() {
    let old = two(HOLES, HOLES);
    let mut late = two(HOLES, HOLES);
    for run in late.outcome.smoke.iter_mut().filter(|r| r.inlet == 2) {
        run.onset = Some(Figure::with(45.0, 1.0, "s"));
    }
    assert_eq!(named(&old, &late), [("pipe 2 hole 6".into(), "smoke.later")]);
}
#[test]
fn settings_and_another_unit_are_named() {
    let old = two(HOLES, HOLES);
    let mut new = two(HOLES, HOLES);
    new.left.as_mut().unwrap().items[0].value = Value::Number(0.08);
    new.outcome.replacement.as_mut().unwrap().serial = "S2".into();
    let all = named(&old, &new);
    assert_eq!(
        all,
        [("replacement unit".into(), "unit.another"), ("setting alarm.1.threshold".into(), "settings.changed")]
    );
}
#[test]
fn an_output_that_no_longer_operates_is_named_and_one_that_was_not_operated_is_open() {
    let old = two(HOLES, HOLES);
    let mut new = two(HOLES, HOLES);
    let of = |f: &Finding, n| f.subject == Subject::Output(n);
    new.outcome.findings.iter_mut().filter(|f| of(f, 2)).for_each(|f| f.verdict = Verdict::Fail);
    assert_eq!(named(&old, &new), [("output 2".into(), "outputs.changed")]);
    new.outcome.findings.retain(|f| !of(f, 1));
    assert_eq!(compare(&old, &new).open, ["output 1: operated at one visit only"]);
}
#[test]
fn two_records_that_hold_nothing_are_not_as_before() {
    let bare = || Record { outcome: Outcome::default(), left: None, ..two(HOLES, HOLES) };
    let found = compare(&bare(), &bare());
    assert!(found.changes.is_empty() && found.lines.is_empty());
    for what in ["unit", "holes", "smoke", "current at standby", "outputs", "settings"] {
        assert!(found.open.iter().any(|o| o.starts_with(what)), "{what} in {:?}", found.open);
    }
}
#[test]
fn what_is_no_result_is_told() {
    for bytes in ["", "{}", "[1]", r#"{"format":9}"#] {
        assert!(Record::read(bytes.as_bytes(), 1, None, None).is_err(), "{bytes}");
    }
}
#[test]
fn the_words_hold_every_change_and_every_gap() {
    let (old, mut new) = (two(HOLES, HOLES), two(with(1, 0.5), HOLES));
    new.outcome.smoke.clear();
    let found = compare(&old, &new);
    let words = text(&old, &new, &found);
    for change in &found.changes {
        assert!(words.contains(&change.says) && words.contains(change.likely), "{words}");
    }
    assert!(found.open.len() >= 2 && found.open.iter().all(|o| words.contains(o)), "{words}");
}
