//! Carry-overs among the shipped descriptions: every item accounted for, thresholds there and back, holes against the
//! airflow engine, what can't be decided by itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
mod carrying;

use carrying::*;
use plumeline_airflow::{SolveOptions, dilution, solve};
use plumeline_base::obscuration::{Extinction, ObscurationUnit};
use plumeline_carry::{
    Account, Carry, Decision, Meaning, PortLimit, Seen,
    account::Fate,
    carry,
    decision::{About, Choice},
    description::Kind,
};
use plumeline_detector::settings::{Item, Settings, Value};
use plumeline_job::{Kind as Wrong, decisions, description};
use proptest::prelude::*;

/// Every old item in at least one row, every new item in exactly one and none from nowhere.
fn accounted(account: &Account, old: &Settings, to: &plumeline_carry::Description, inlets: u8) {
    for item in &old.items {
        let rows: Vec<_> = account.rows.iter().filter(|r| r.old.contains(item)).collect();
        assert!(!rows.is_empty(), "{} has disappeared", item.key);
        let lost = rows.iter().all(|r| r.new.is_none());
        for r in rows.iter().filter(|_| lost) {
            assert!(matches!(r.fate, Fate::NoCounterpart | Fate::Open | Fate::Kept), "{}: {r:?}", item.key);
            assert!(!r.says.is_empty());
        }
    }
    for row in &account.rows {
        for item in &row.old {
            assert_eq!(old.get(&item.key), Some(item), "{} comes from nowhere", item.key);
        }
        assert!(row.new.is_some() || !row.old.is_empty());
        if row.fate == Fate::Decided {
            assert!(row.decision.is_some(), "decided by nobody: {row:?}");
        }
        if let (Some(new), false) = (&row.new, row.fate == Fate::Open) {
            let item = new.item.as_ref().expect("a value where nothing is open");
            assert_eq!(to.slot(&new.key).unwrap().check(&item.value), Ok(()), "{}", new.key);
        }
    }
    let mut new: Vec<&str> = account.rows.iter().filter_map(|r| r.new.as_ref()).map(|n| n.key.as_str()).collect();
    new.sort_unstable();
    let slots: Vec<&str> = to.slots_with(inlets).map(|s| s.key.as_str()).collect();
    assert_eq!(new, slots, "each new item once, and no other");
    let open = account.rows.iter().any(|r| r.fate == Fate::Open);
    assert!(!open || !account.open.is_empty(), "what is open in a row is asked for");
    for asked in &account.open {
        let (About::Old(keys) | About::New(keys)) = &asked.about else { continue };
        let has = |r: &plumeline_carry::account::Row| {
            r.new.as_ref().map_or_else(|| r.old[0].key == keys[0], |n| n.key == keys[0])
        };
        assert!(account.rows.iter().any(|r| r.fate == Fate::Open && has(r)), "{asked:?}");
    }
    assert_eq!(account.settings().is_some(), account.open.is_empty());
}

#[test]
fn among_all_every_item_is_accounted_for() {
    let pipework = one_pipe();
    for from in NAMES {
        for to in NAMES {
            let (a, b) = (shipped(from), shipped(to));
            let old = site(from, 1);
            let (account, decided) = settle(&old, &a, &b, &pipework);
            accounted(&account, &old, &b, 1);
            let new = account.settings().unwrap_or_else(|| panic!("{from} to {to}: {:#?}", account.open));
            if from == to {
                assert_eq!(new.items, old.items, "to the same model everything is kept");
                assert!(decided.is_empty(), "{decided:?}");
            } else {
                assert!(!decided.is_empty());
            }
            // Without the decisions the same account is open, and gives no settings.
            let undecided = carry(&input(&old, &a, &b, &[], &pipework)).unwrap();
            accounted(&undecided, &old, &b, 1);
            assert_eq!(undecided.settings().is_some(), from == to);
        }
    }
}

#[test]
fn the_site_of_the_simulator_arrives_with_its_meaning() {
    let (a, b) = (shipped("model-a"), shipped("model-b"));
    let old = site("model-a", 1);
    let (account, _) = settle(&old, &a, &b, &one_pipe());
    let new = account.settings().unwrap();
    let seen = Seen::of(&new, &b);
    assert_eq!(new.int("flow.delay"), Some(150), "2.5 min");
    assert_eq!(new.int("flow.low"), Some(20));
    assert_eq!(seen.switch(Meaning::Latching(3)), Some(true), "one setting for all becomes one for each");
    let row = account.rows.iter().find(|r| r.new.as_ref().is_some_and(|n| n.key == "flow.delay")).unwrap();
    assert_eq!((row.fate, row.says.as_str()), (Fate::Converted, "60 x = 150 s"));
    let gone = account.rows.iter().find(|r| r.old.iter().any(|i| i.key == "level.4.at")).unwrap();
    assert_eq!((gone.fate, gone.new.as_ref()), (Fate::NoCounterpart, None));
    assert!(account.remarks.iter().any(|r| r.contains("not the same protection")));
    // Nothing calls anything the same protection.
    let text = format!("{account:?}");
    assert_eq!(text.matches("same protection").count(), text.matches("not the same protection").count());
    // Outputs: fault and levels 1 to 3 keep their numbers, the relay of level 4 goes nowhere and says so.
    assert_eq!(account.wiring.len(), 5);
    assert!(account.wiring[4].to.is_none() && account.wiring[4].mind[0].contains("goes nowhere"));
    assert!(account.wiring[1].mind.iter().any(|m| m.contains("closes, before changes over")));
}

#[test]
fn holes_agree_with_the_airflow_engine() {
    let (a, b) = (shipped("model-a"), shipped("model-b"));
    let old = site("model-a", 1);
    // The pipework's own unit is the same model at full speed, described apart.
    let pipework = one_pipe();
    let (_, mut decisions) = settle(&old, &a, &b, &pipework);
    decisions.retain(|d| d.choice != Choice::SameHoleObscuration);
    decisions.push(Decision {
        about: About::New([1, 2, 3].map(|n| format!("alarm.{n}.threshold")).into()),
        choice: Choice::SameHoleObscuration,
        name: "A".into(),
        reason: "b".into(),
    });
    let account = carry(&input(&old, &a, &b, &decisions, &pipework)).unwrap();
    let holes = account.holes.as_ref().unwrap();
    let options = SolveOptions::default();
    let solution = solve(&pipework, &options).unwrap();
    let shares = dilution::shares(&pipework, &solution);
    assert_eq!(holes.holes.len(), pipework.openings.len());
    assert!((holes.flow_after_m3_s / solution.total_flow_m3_s - 1.0).abs() < 1e-9);
    let by_number = |number: u32| pipework.openings.iter().position(|o| o.number == number).unwrap();
    for level in &holes.levels {
        for (hole, need) in holes.holes.iter().zip(&level.needs) {
            let share = shares[by_number(hole.number)].of_unit;
            assert!((hole.share_after - share).abs() < 1e-9);
            let needed = dilution::needed_at_hole(Extinction(level.after), share).unwrap();
            assert!((need.after.unwrap() / needed.0 - 1.0).abs() < 1e-9);
            // And back: that much smoke at this hole alone brings the sensor to the level.
            let at_sensor = dilution::at_chamber(Extinction(need.before.unwrap()), hole.share_before);
            assert!((at_sensor.0 / level.before - 1.0).abs() < 1e-9);
        }
        // The same hole obscuration was chosen: no hole needs more than before, rounding is to the sensitive side, and
        // the worst one needs no less than a step's worth.
        assert_eq!(level.worse().count(), 0);
        let (_, ratio) = holes.most_diluted().unwrap();
        let step = Extinction::from_stated(0.001, ObscurationUnit::PercentPerMetre).unwrap().0;
        assert!(level.after <= level.before * ratio * (1.0 + 1e-12));
        assert!(level.after > level.before * ratio - 1.01 * step);
    }
}

#[test]
fn limits_of_ports_and_worse_holes_are_told() {
    let (a, c) = (shipped("model-a"), shipped("model-c"));
    let (old, pipework) = (site("model-a", 1), one_pipe());
    let ports = [PortLimit {
        level: 1,
        value: 0.1,
        unit: ObscurationUnit::PercentPerFoot,
        source: "half of NFPA 76, alert".into(),
        known: "from memory".into(),
    }];
    let by = |about, choice| Decision { about, choice, name: "A".into(), reason: "b".into() };
    let keep = [
        by(About::New(vec!["warn-1".into(), "warn-2".into()]), Choice::SameNumber),
        by(About::Levels, Choice::Map(vec![(2, 1), (4, 2)])),
    ];
    let options = SolveOptions::default();
    let base = input(&old, &a, &c, &keep, &pipework);
    let account = carry(&Carry { ports: &ports, options: &options, ..base }).unwrap();
    let level = &account.holes.as_ref().unwrap().levels[0];
    assert_eq!((level.old_level, level.new_level), (2, 1));
    assert!(level.beyond().count() > 0);
    let told = |part: &str| account.warnings.iter().any(|w| w.contains(part));
    assert!(
        told("beyond the job's limit for a port, 0.1 %/ft (half of NFPA 76, alert; from memory)"),
        "{:#?}",
        account.warnings
    );
    let worse = account.holes.as_ref().unwrap().levels.iter().any(|l| l.worse().count() > 0);
    assert_eq!(told("needs more smoke than before"), worse);
    assert!(
        told("one of the two is not the new unit"),
        "pipework.toml describes another unit: {:#?}",
        account.warnings
    );
}

/// Settings of a model with random values in their ranges, some items lost and some added.
fn random(name: &'static str) -> impl Strategy<Value = Settings> {
    let slots: Vec<_> = shipped(name).slots_with(2).cloned().collect();
    let values: Vec<BoxedStrategy<Option<Item>>> = slots
        .into_iter()
        .map(|slot| {
            let (key, mut unit) = (slot.key.clone(), None);
            let value: BoxedStrategy<Value> = match slot.kind {
                Kind::Switch => any::<bool>().prop_map(Value::Bool).boxed(),
                Kind::Number { unit: u, low, high, .. } => {
                    unit = u;
                    (low..=high).prop_map(Value::Number).boxed()
                }
                Kind::Words(words) => {
                    let mut all: Vec<String> = words.into_iter().map(|(w, _)| w).collect();
                    all.push("unheard-of".into());
                    prop::sample::select(all).prop_map(Value::Text).boxed()
                }
                Kind::Text { .. } => ".{0,12}".prop_map(Value::Text).boxed(),
                Kind::Bytes { .. } => Just(Value::Opaque { hex: "00ff".into() }).boxed(),
            };
            prop_oneof![9 => value.prop_map(Some), 1 => Just(None)]
                .prop_map(move |v| v.map(|value| Item { key: key.clone(), value, unit: unit.clone() }))
                .boxed()
        })
        .collect();
    let strange = prop::collection::btree_map("[a-z]{1,6}[.][a-z]{1,6}", any::<i64>(), 0..4);
    (values, strange).prop_map(|(items, strange)| {
        let mut items: Vec<Item> = items.into_iter().flatten().collect();
        for (key, n) in strange {
            if items.iter().all(|i| i.key != key) {
                items.push(Item { key, value: Value::Int(n), unit: None });
            }
        }
        Settings::from_items(None, items).unwrap()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]
    #[test]
    fn no_captured_item_ever_disappears(
        (from, old) in prop::sample::select(&NAMES[..]).prop_flat_map(|n| (Just(n), random(n))),
        to in prop::sample::select(&NAMES[..]),
        complete in any::<bool>(),
    ) {
        let (a, b) = (shipped(from), shipped(to));
        let pipework = two_pipes();
        let mut c = input(&old, &a, &b, &[], &pipework);
        c.complete = complete;
        let account = carry(&c).unwrap();
        accounted(&account, &old, &b, 2);
        let whole = complete && Seen::of(&old, &a).missing.is_empty();
        prop_assert_eq!(account.open.iter().all(|o| o.about != About::Capture), whole);
    }

    #[test]
    fn thresholds_there_and_back_stay_within_a_step(
        k in 1e-4f64..0.05,
        from in prop::sample::select(&NAMES[..]),
        to in prop::sample::select(&NAMES[..]),
    ) {
        let thresholds = |name: &str| {
            let d = shipped(name);
            let slot = d.meaning(Meaning::Threshold { set: 1, level: 1 }).unwrap().clone();
            let Kind::Number { unit: Some(unit), low, high, step } = slot.kind.clone() else { panic!("no number") };
            (d, slot.key, unit, low, high, step)
        };
        let (a, b) = (thresholds(from), thresholds(to));
        let in_unit = |k: f64, unit: &str| Extinction(k).stated(ObscurationUnit::parse(unit).unwrap());
        let k_of = |v: f64, unit: &str| Extinction::from_stated(v, ObscurationUnit::parse(unit).unwrap()).unwrap().0;
        let start = (in_unit(k, &a.2) / a.5).round() * a.5;
        prop_assume!(start >= a.3 && start <= a.4);
        let over = |from: &(plumeline_carry::Description, String, String, f64, f64, f64),
                    to: &(plumeline_carry::Description, String, String, f64, f64, f64),
                    value: f64| {
            let item = Item { key: from.1.clone(), value: Value::Number(value), unit: Some(from.2.clone()) };
            let old = Settings::from_items(None, vec![item]).unwrap();
            let keep = [
                Decision { about: About::New(vec![to.1.clone()]), choice: Choice::SameNumber, name: "A".into(), reason: "b".into() },
                Decision { about: About::Levels, choice: Choice::Map(vec![(1, 1)]), name: "A".into(), reason: "b".into() },
            ];
            let pipework = one_pipe();
            let account = carry(&input(&old, &from.0, &to.0, &keep, &pipework)).ok()?;
            let row = account.rows.iter().find(|r| r.new.as_ref().is_some_and(|n| n.key == to.1)).unwrap().clone();
            let item = row.new.unwrap().item.unwrap();
            match item.value { Value::Int(n) => Some(n as f64), Value::Number(x) => Some(x), _ => None }
        };
        // Beyond the other model's range there is no number to come back from.
        let Some(there) = over(&a, &b, start) else { return Ok(()) };
        let Some(back) = over(&b, &a, there) else { return Ok(()) };
        // Both ways round down: never less sensitive.
        prop_assert!(back <= start * (1.0 + 1e-12));
        // The way there loses less than a step of the other model, the way back less than a step of the own.
        let lost = k_of(start, &a.2) - k_of(there, &b.2);
        let other_step = k_of(there + b.5, &b.2) - k_of(there, &b.2);
        prop_assert!(lost >= -1e-12 && lost < other_step * (1.0 + 1e-6), "{start} {} {there} {}", a.2, b.2);
        let lost_back = k_of(there, &b.2) - k_of(back, &a.2);
        let own_step = k_of(back + a.5, &a.2) - k_of(back, &a.2);
        prop_assert!(lost_back < own_step * (1.0 + 1e-6));
        // Through a model with finer steps: one step of the own at most.
        if other_step <= own_step {
            prop_assert!(start - back <= a.5 * (1.0 + 1e-6), "{start} came back as {back}");
        }
    }

    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), at in 0usize..4000) {
        let _ = description::parse("d.toml", &bytes);
        let _ = decisions::parse("decisions.toml", &bytes);
        let _ = plumeline_job::account::parse("carry-account.json", &bytes);
        // And a sound description with some bytes of it spoilt.
        let mut spoilt = description::SHIPPED[0].1.as_bytes().to_vec();
        for (k, b) in bytes.iter().take(4).enumerate() {
            let at = (at + 37 * k) % spoilt.len();
            spoilt[at] = *b;
        }
        let _ = description::parse("d.toml", &spoilt);
    }
}

#[test]
fn a_capture_that_is_not_whole_waits_for_a_person() {
    let (a, b) = (shipped("model-a"), shipped("model-b"));
    let mut old = site("model-a", 1);
    old.items.retain(|i| i.key != "air.wait");
    let pipework = one_pipe();
    let open = carry(&input(&old, &a, &b, &[], &pipework)).unwrap();
    let asked = open.open.iter().find(|o| o.about == About::Capture).unwrap();
    assert!(asked.why.contains("air.wait"), "{}", asked.why);
    let go_on =
        [Decision { about: About::Capture, choice: Choice::GoOn, name: "A".into(), reason: "dead unit".into() }];
    let account = carry(&input(&old, &a, &b, &go_on, &pipework)).unwrap();
    assert!(account.open.iter().all(|o| o.about != About::Capture));
    assert!(account.warnings.iter().any(|w| w.contains("not whole") && w.contains("dead unit")));
    // What it does not answer is still asked for.
    assert!(account.open.iter().any(|o| o.about == About::New(vec!["flow.delay".into()])));
}

#[test]
fn decisions_that_do_not_fit_are_refused() {
    let (a, b) = (shipped("model-a"), shipped("model-b"));
    let (old, pipework) = (site("model-a", 1), one_pipe());
    let by = |about, choice| Decision { about, choice, name: "A".into(), reason: "b".into() };
    let new = |key: &str, choice| by(About::New(vec![key.into()]), choice);
    let left = |key: &str| by(About::Old(vec![key.into()]), Choice::LeaveOut);
    for (decision, part) in [
        (left("nothing.such"), "has no setting"),
        (new("nothing.such", Choice::Default), "has no setting"),
        (left("air.low"), "is carried over into `flow.low`"),
        (new("fan.speed", Choice::Value(Value::Int(7))), "outside of 40 to 100 %"),
        (new("fan.speed", Choice::Value(Value::Number(70.5))), "between the steps"),
        (new("fan.speed", Choice::Value(Value::Bool(true))), "a number is wanted"),
        (new("fan.speed", Choice::SameNumber), "for thresholds only"),
        (new("output.2.function", Choice::Value(Value::Text("level-2".into()))), "use one of"),
        (by(About::Levels, Choice::Map(vec![(1, 4)])), "the new unit has no level 4"),
        (by(About::Levels, Choice::Map(vec![(1, 2), (2, 1)])), "a lower level"),
        (by(About::Levels, Choice::Map(vec![(1, 1), (1, 2)])), "stands twice"),
        (by(About::Inlets, Choice::Map(vec![])), "leave a pipe out"),
        (by(About::Outputs, Choice::Map(vec![(5, 4)])), "can't take over what output 5 follows"),
        (by(About::Levels, Choice::Default), "can't be chosen"),
        (Decision { name: " ".into(), ..left("maker.block") }, "needs a name and a reason"),
    ] {
        let all = [decision];
        let fault = carry(&input(&old, &a, &b, &all, &pipework)).unwrap_err();
        assert!(fault.cause.contains(part), "{part}: {}", fault.cause);
        assert!(!fault.remedy.is_empty());
    }
    let twice = [left("maker.block"), left("maker.block")];
    assert_eq!(carry(&input(&old, &a, &b, &twice, &pipework)).unwrap_err().index, 1);
}

#[test]
fn other_inlets_are_a_decision() {
    let (a, b) = (shipped("model-a"), shipped("model-b"));
    let mut old = site("model-a", 2);
    for i in &mut old.items {
        match i.key.as_str() {
            "pipe.1.fitted" => i.value = Value::Bool(false),
            "pipe.2.fitted" => i.value = Value::Bool(true),
            _ => {}
        }
    }
    let pipework = one_pipe_of_two();
    let account = carry(&input(&old, &a, &b, &[], &pipework)).unwrap();
    let asked = account.open.iter().find(|o| o.about == About::Inlets).unwrap();
    assert_eq!(asked.choices, [Choice::Map(vec![(2, 1)])]);
    let renumbered =
        [Decision { about: About::Inlets, choice: Choice::Map(vec![(2, 1)]), name: "A".into(), reason: "b".into() }];
    let account = carry(&input(&old, &a, &b, &renumbered, &pipework)).unwrap();
    accounted(&account, &old, &b, 2);
    let came = |key: &str| {
        let row = account.rows.iter().find(|r| r.new.as_ref().is_some_and(|n| n.key == key)).unwrap();
        (row.new.as_ref().unwrap().item.as_ref().map(|i| i.value.clone()), row.decision)
    };
    assert_eq!(came("inlet.1.used"), (Some(Value::Bool(true)), Some(0)));
    assert_eq!(came("inlet.2.used"), (Some(Value::Bool(false)), Some(0)));
}

#[test]
fn published_conversions_of_obscuration() {
    let k = |v, unit| Extinction::from_stated(v, unit).unwrap();
    use ObscurationUnit::{DecibelPerMetre as Db, PercentPerFoot as Ft, PercentPerMetre as M};
    // UL 217 and UL 268, tables of obscuration and optical density of the smoke box (from memory): per cent per foot,
    // optical density per metre. 1 dB/m is 0.1 of optical density.
    for (ft, od) in [(1.0, 0.0143), (2.0, 0.0287), (4.0, 0.0581), (10.0, 0.150)] {
        assert!((k(ft, Ft).stated(Db) / 10.0 - od).abs() < 1e-4 * (1.0 + ft / 10.0), "{ft} %/ft");
    }
    // NFPA 76, air-sampling ports (from memory), with its own metric values to the digits printed.
    for (ft, m, tolerance) in [(0.2, 0.65, 0.01), (1.0, 3.24, 0.01), (1.5, 4.84, 0.01)] {
        assert!((k(ft, Ft).stated(M) - m).abs() < tolerance, "{ft} %/ft");
    }
    // EN 54-7, annex on the measurement of smoke: m = 10 log10(P0/P) / d (from memory), so 1 dB/m leaves 79.43 %.
    assert!((k(1.0, Db).stated(M) - 20.567).abs() < 1e-3);
}

/// What is refused, and how it is told.
#[test]
fn hostile_files_are_refused() {
    let base = description::SHIPPED[1].1;
    let refused = |text: &str| description::parse("d.toml", text.as_bytes()).unwrap_err();
    assert_eq!(refused(&" ".repeat(9 << 20)).kind(), Wrong::TooLarge);
    assert_eq!(refused(&format!("a = {}{}", "[".repeat(200_000), "]".repeat(200_000))).kind(), Wrong::Syntax);
    assert_eq!(refused(&base.replace("format = 1", "format = 2")).kind(), Wrong::Version);
    assert_eq!(refused(&base.replace("levels = 3", "levels = \"three\"")).kind(), Wrong::WrongType);
    assert_eq!(refused(&base.replace("levels = 3", "levels = 2")).kind(), Wrong::Conflict);
    assert_eq!(refused(&base.replace("inlets = [1, 8]", "inlets = [1, 9]")).kind(), Wrong::Range);
    assert_eq!(refused(&base.replace("step = 0.001", "step = 0")).kind(), Wrong::Range);
    assert_eq!(refused(&base.replace("step = 0.001", "step = nan")).kind(), Wrong::Range);
    assert_eq!(refused(&base.replace("unit = \"%/m\"", "unit = \"s\"")).kind(), Wrong::Unit);
    assert_eq!(refused(&base.replace("unit = \"%/m\"\n", "")).kind(), Wrong::Unit);
    assert_eq!(refused(&base.replace("means = \"flow.low\"", "means = \"flow.lowest\"")).kind(), Wrong::UnknownName);
    assert_eq!(refused(&base.replace("key = \"flow.low\"", "key = \"flow.high\"")).kind(), Wrong::Duplicate);
    assert_eq!(refused(&base.replace("fault = \"fault\"", "fault = \"nothing\"")).kind(), Wrong::UnknownName);
    assert_eq!(refused(&base.replace("default = [0.08, 0.14, 0.2]", "default = [0.08]")).kind(), Wrong::Range);
    assert_eq!(refused(&base.replace("[40, \"40 %\"]", "[50, \"40 %\"]")).kind(), Wrong::Conflict);
    assert_eq!(refused(&base.replace("n = 3\n", "n = 100000000\n")).kind(), Wrong::Range);
    assert_eq!(refused(&base.replace("maker = ", "brand = ")).kind(), Wrong::UnknownKey);
    let refused = |text: &str| decisions::parse("decisions.toml", text.as_bytes()).unwrap_err();
    let one = |body: &str| refused(&format!("format = 1\n[[decision]]\n{body}\nname = \"A\"\nreason = \"b\""));
    assert_eq!(one("").kind(), Wrong::Conflict);
    assert_eq!(one("new = [\"a\"]").kind(), Wrong::MissingKey);
    assert_eq!(one("new = []\nchoice = \"default\"").kind(), Wrong::MissingKey);
    assert_eq!(one("new = [\"a\"]\nold = [\"b\"]\nchoice = \"default\"").kind(), Wrong::Conflict);
    assert_eq!(one("old = [\"a\"]\nchoice = \"default\"").kind(), Wrong::UnknownName);
    assert_eq!(one("old = [\"a\"]\nvalue = 1").kind(), Wrong::Conflict);
    assert_eq!(one("levels = [[1, 1]]\nchoice = \"default\"").kind(), Wrong::Conflict);
    assert_eq!(one("levels = [[1, 1000]]").kind(), Wrong::WrongType);
    assert_eq!(one("capture = \"whatever\"").kind(), Wrong::UnknownName);
    assert_eq!(one("new = [\"a\"]\nvalue = [1]").kind(), Wrong::WrongType);
    let nobody = "format = 1\n[[decision]]\nold = [\"a\"]\nchoice = \"leave out\"\nname = \"\"\nreason = \"b\"";
    assert_eq!(refused(nobody).kind(), Wrong::MissingKey);
    insta::assert_snapshot!("nobody_decided", refused(nobody).render(false));
    let low = base.replace("means = \"flow.low\"", "means = \"flow.lowe\"");
    let told = description::parse("model.toml", low.as_bytes()).unwrap_err();
    insta::assert_snapshot!("no_such_meaning", told.render(false));
}

#[test]
fn a_template_asks_for_everything_that_is_open() {
    let (a, b) = (shipped("model-a"), shipped("model-b"));
    let (old, pipework) = (site("model-a", 1), one_pipe());
    let account = carry(&input(&old, &a, &b, &[], &pipework)).unwrap();
    let text = decisions::template("", &account.open);
    insta::assert_snapshot!("template", text);
    // Nobody decided anything by leaving it as it is.
    assert_eq!(decisions::parse("decisions.toml", text.as_bytes()).unwrap_err().kind(), Wrong::Conflict);
    let filled = text
        .replace("name = \"\"", "name = \"A. Person\"")
        .replace("reason = \"\"", "reason = \"seen on site\"")
        .replace("# levels =", "levels =")
        .replace("# outputs =", "outputs =")
        .replace("# choice =", "choice =")
        .replace("# value = ", "value = \"zone 7\"");
    let read = decisions::parse("decisions.toml", filled.as_bytes()).unwrap();
    assert_eq!(read.all.len(), account.open.len());
    let next = carry(&input(&old, &a, &b, &read.all, &pipework)).unwrap();
    assert!(next.open.is_empty(), "{:#?}", next.open);
}
