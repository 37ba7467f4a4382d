//! The shipped descriptions, asked by meaning: what each model's settings say, and that what is not told is unknown.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
use plumeline_base::obscuration::ObscurationUnit;
use plumeline_detector::{
    Identity,
    settings::{Item, Settings, Value},
};
use plumeline_job::description::{SHIPPED, parse};
use plumeline_unit::{
    Description, Meaning, UnitView, Unknown,
    description::Kind,
    meaning::{Contact, Function},
};

fn shipped(name: &str) -> Description {
    let (file, text) = SHIPPED.into_iter().find(|(n, _)| *n == name).unwrap();
    parse(file, text.as_bytes()).unwrap()
}

/// What the factory delivers the model with; `changed` by meaning.
fn settings(d: &Description, changed: &[(Meaning, Value)]) -> Settings {
    let items = d.slots.iter().filter_map(|s| {
        let value = changed.iter().find(|(m, _)| *m == s.meaning).map(|(_, v)| v.clone()).or(s.default.clone())?;
        let unit = match &s.kind {
            Kind::Number { unit, .. } => unit.clone(),
            _ => None,
        };
        Some(Item { key: s.key.clone(), value, unit })
    });
    Settings::from_items(Some(1), items.collect()).unwrap()
}

fn text(t: &str) -> Value {
    Value::Text(t.into())
}

#[test]
fn every_shipped_model_answers_by_meaning() {
    // Model, lowest level in its own unit, delay of level 1, flow band, flow delay, inlets that carry a pipe.
    let expected = [
        ("model-a", 0.025, ObscurationUnit::PercentPerFoot, 10.0, 0.15, 60.0),
        ("model-b", 0.08, ObscurationUnit::PercentPerMetre, 10.0, 0.30, 60.0),
        ("model-c", 0.1, ObscurationUnit::PercentPerMetre, 5.0, 0.20, 120.0),
        // By night it is more sensitive, and nobody here knows which set is in force.
        ("model-d", 0.001, ObscurationUnit::DecibelPerMetre, 5.0, 0.20, 120.0),
    ];
    for (name, lowest, unit, delay, band, flow_delay) in expected {
        let d = shipped(name);
        let s = settings(&d, &[]);
        let view = UnitView::new(Some(&d), None, Some(&s));
        let got = view.threshold(1).unwrap().stated(unit);
        assert!((got - lowest).abs() < 1e-9, "{name}: {got}");
        assert_eq!(view.delay_s(1), Ok(delay), "{name}");
        assert_eq!(view.latching(1), Ok(true), "{name}");
        assert_eq!(view.learning(), Ok(false), "{name}");
        assert_eq!(view.flow_band().map(|b| (b.low, b.high)), Ok((band, band)), "{name}");
        assert_eq!(view.flow_delay_s(), Ok(flow_delay), "{name}");
        assert_eq!(view.carries_pipe(1), Ok(true), "{name}");
        assert_eq!(view.carries_pipe(2), Ok(false), "{name}");
        assert_eq!(view.carries_pipe(d.inlets.1 + 1), Err(Unknown::NoInlet(d.inlets.1 + 1)), "{name}");
        // Each leaves the factory with its fault output alone in use.
        let used = view.outputs_in_use().unwrap();
        assert_eq!(used.iter().map(|o| (o.number, o.function)).collect::<Vec<_>>(), [(1, Function::Fault)], "{name}");
        assert!(!used[0].terminals.is_empty());
        for level in 1..=d.levels {
            assert!(view.threshold(level).is_ok() && view.delay_s(level).is_ok(), "{name}: level {level}");
        }
        assert_eq!(view.threshold(d.levels + 1), Err(Unknown::NoLevel(d.levels + 1)), "{name}");
        let fan = view.fan_setting();
        assert_eq!(fan.is_ok(), name != "model-c", "{name}: {fan:?}");
    }
}

#[test]
fn what_is_not_told_is_unknown_and_never_an_empty_set() {
    for (name, _) in SHIPPED {
        let d = shipped(name);
        let all = settings(&d, &[]);
        let nobody = UnitView::new(None, None, Some(&all));
        assert_eq!(nobody.outputs_in_use(), Err(Unknown::NotDescribed), "{name}");
        assert_eq!(nobody.threshold(1), Err(Unknown::NotDescribed), "{name}");
        let unread = UnitView::new(Some(&d), None, None);
        assert_eq!(unread.threshold(1), Err(Unknown::NotRead), "{name}");
        assert_eq!(unread.outputs_in_use(), Err(Unknown::NotRead), "{name}");
        let empty = Settings::default();
        let empty = UnitView::new(Some(&d), None, Some(&empty));
        assert!(matches!(empty.outputs_in_use(), Err(Unknown::Missing(Meaning::OutputFunction(_)))), "{name}");
        assert!(matches!(empty.flow_band(), Err(Unknown::Missing(Meaning::FlowLow))), "{name}");
        let other = Identity {
            maker: d.maker.clone(),
            model: "Another".into(),
            serial: "1".into(),
            firmware: "1".into(),
            boot_id: None,
        };
        let other = UnitView::new(Some(&d), Some(&other), Some(&all));
        assert!(matches!(other.outputs_in_use(), Err(Unknown::OtherModel { .. })), "{name}");
        // A word that the description does not know, in one output of several.
        let n = d.outputs.iter().rev().find(|o| o.fixed.is_none()).unwrap().number;
        let odd = settings(&d, &[(Meaning::OutputFunction(n), text("odd"))]);
        let odd = UnitView::new(Some(&d), None, Some(&odd));
        assert!(matches!(odd.outputs_in_use(), Err(Unknown::Strange { .. })), "{name}");
    }
}

#[test]
fn a_unit_that_learns_has_no_thresholds_in_its_settings() {
    let d = shipped("model-b");
    let s = settings(&d, &[(Meaning::Learning, Value::Bool(true))]);
    assert_eq!(UnitView::new(Some(&d), None, Some(&s)).threshold(1), Err(Unknown::Learnt));
}

#[test]
fn functions_go_by_neutral_words_or_the_makers_own() {
    for (name, output, own, function) in [
        ("model-a", 2, "level-1", Function::Level(1)),
        ("model-b", 2, "alarm-1", Function::Level(1)),
        ("model-c", 2, "flow", Function::FlowFault),
        ("model-d", 6, "t4", Function::Level(4)),
    ] {
        let d = shipped(name);
        let s = settings(&d, &[(Meaning::OutputFunction(output), text(own))]);
        let view = UnitView::new(Some(&d), None, Some(&s));
        assert_eq!(view.output(output).unwrap().function, function, "{name}");
        assert_eq!(view.function_called(output, own), Ok(function), "{name}");
        assert_eq!(view.function_called(output, "fault"), Ok(Function::Fault), "{name}");
        assert_eq!(view.function_called(output, "lamp"), Err(Unknown::NoFunction("lamp".into())), "{name}");
    }
    // A contact that can be set is as it is set.
    let d = shipped("model-d");
    let s = settings(&d, &[(Meaning::OutputContact(2), text("break"))]);
    assert_eq!(UnitView::new(Some(&d), None, Some(&s)).output(2).unwrap().contact, Contact::Opens);
}
