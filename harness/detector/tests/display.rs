//! A person at a display, by what is typed: slips are asked again with the reason and end nothing.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test ends where something is not as it should be"
)]
use core::time::Duration;
use plumeline_base::{Instant, input::Answer, quantity::M3_S_PER_L_MIN};
use plumeline_detector::{
    Driver, Faults, Reply, Request, Trouble,
    ask::Look,
    display::{Display, Face, FlowShown, Hands, Lamp, Scale, SheetItem, Shows, Takes},
    driver::{About, End, Means, Question, Report, Wants},
    settings::{Item, Settings, Value},
    vocabulary::{FlowBasis, ReadingsBy},
};

fn scale(unit: &str, range: (f64, f64), step: f64) -> Scale {
    Scale { unit: unit.into(), range, step: Some(step) }
}
fn flow(unit: &str, m3_s: f64, basis: FlowBasis, step: f64) -> FlowShown {
    FlowShown {
        scale: scale(unit, (0.0, 120.0), step),
        m3_s,
        basis,
        per_inlet: true,
        meter: None,
        renewed: Duration::ZERO,
    }
}
fn face() -> Face {
    let lamps = [
        ("FAULT", Lamp::AnyFault),
        ("AIR 1", Lamp::Flow { inlet: 1, low: true, high: true }),
        ("AIR 2", Lamp::Flow { inlet: 2, low: true, high: true }),
        ("NO POWER", Lamp::Fault(Faults::SUPPLY)),
        ("A1", Lamp::Level(1)),
        ("A2", Lamp::Level(2)),
    ];
    let item =
        |key: &str, group, takes| SheetItem { key: key.into(), means: "words".into(), group, inlet: None, takes };
    let words = |w: [&str; 2]| Takes::Words(w.map(String::from).to_vec());
    Face {
        maker: "North".into(),
        model: "Eye".into(),
        serial: None,
        inlets: (2, 2),
        levels: 2,
        outputs: 2,
        inputs: 0,
        shows: Shows {
            flow: Some(flow("L/min", M3_S_PER_L_MIN, FlowBasis::Actual, 0.1)),
            lamps: lamps.map(|(name, lamp)| (name.to_string(), lamp)).to_vec(),
            settings: true,
            clock: true,
            ..Shows::default()
        },
        hands: Hands {
            settings: Some("menu 3".into()),
            baseline: Some("hold SET".into()),
            clock: Some("menu 5".into()),
            test_output: Some(("menu 7".into(), Duration::from_secs(20))),
            ..Hands::default()
        },
        items: vec![
            item("A1", "Alarm levels", Takes::Number(scale("%/m", (0.01, 10.0), 0.01))),
            item("A2", "Alarm levels", Takes::Number(scale("%/m", (0.01, 10.0), 0.01))),
            item("LATCH", "Alarm levels", Takes::Switch),
            item("REL2", "Outputs", words(["no fault", "level-1"])),
            item("NAME", "Labels", Takes::Text(8)),
        ],
    }
}

struct Person(Display, Instant);
impl Person {
    fn at(faces: &[Face]) -> Self {
        Self(Display::new(faces.to_vec()), Instant::START)
    }
    fn question(&mut self) -> Question {
        self.0.poll_question().expect("a question")
    }
    /// Types this, and gives the question.
    fn says(&mut self, answer: Answer) -> Question {
        let q = self.question();
        self.1 += Duration::from_secs(5);
        self.0.answer(self.1, q.id, &answer);
        q
    }
    fn types(&mut self, text: &str) -> Question {
        self.says(Answer::Text(text.into()))
    }
    fn asked(&mut self, request: Request) -> &mut Self {
        self.0.request(self.1, request);
        self
    }
    fn end(&mut self) -> End {
        match self.0.poll_report() {
            Some(Report::Ended(_, end)) => end,
            other => panic!("{other:?}"),
        }
    }
    fn serial(&mut self) -> String {
        match self.end() {
            Ok(Reply::Identity((identity, _))) => identity.serial,
            other => panic!("{other:?}"),
        }
    }
    /// The reason why what was typed before was not taken.
    fn again(&mut self) -> String {
        let q = self.0.poll_question().expect("asked again");
        let why = q.text.strip_prefix("Not taken: ").expect("a reason").to_owned();
        self.0.answer(self.1, q.id, &Answer::Again("nothing".into()));
        why
    }
}
fn identified() -> Person {
    let mut p = Person::at(&[face()]);
    p.asked(Request::Identify);
    for typed in ["yes", "4711", "2.1"] {
        p.types(typed);
    }
    assert_eq!(p.serial(), "4711");
    p
}

#[test]
fn who_it_is_is_asked_in_full_once_and_then_by_one_answer() {
    let mut p = Person::at(&[face()]);
    let label = p.asked(Request::Identify).types("yes");
    assert_eq!(label.about, About::Label { label: "North Eye".into() });
    p.types("4711");
    let firmware = p.types("2.1");
    assert!(firmware.text.contains("4711"), "said back: {}", firmware.text);
    let Ok(Reply::Identity((identity, can))) = p.end() else { panic!() };
    assert_eq!((identity.maker.as_str(), identity.model.as_str()), ("North", "Eye"));
    assert_eq!((can.inlets, can.readings, can.read_settings, can.inhibit), (2, ReadingsBy::Asking, true, false));
    assert_eq!(can.flow_step_nl_s, 1_666_667);
    let again = p.asked(Request::Identify).says(Answer::Yes);
    assert_eq!((again.wants, again.about), (Wants::YesNo, About::Which { serials: vec!["4711".into()] }));
    assert_eq!(p.serial(), "4711");
}

#[test]
fn a_transposed_digit_is_asked_again_and_ends_nothing() {
    let mut p = identified();
    p.asked(Request::Identify).says(Answer::No);
    p.types("yes");
    p.types("4171");
    let which = p.types("4711");
    assert!(which.text.contains("4711 was stated before, 4171 is typed now"), "{}", which.text);
    p.types("2.1");
    assert_eq!(p.serial(), "4711");
    // What the plan expects is known before anything is typed.
    let mut p = Person::at(&[Face { serial: Some("902".into()), ..face() }]);
    p.asked(Request::Identify).types("yes");
    p.types("920");
    p.types("920");
    p.types("-");
    assert_eq!(p.serial(), "920", "the person is the one who sees the label");
}

#[test]
fn of_several_units_the_serial_number_says_which() {
    let other = Face { model: "Ear".into(), ..face() };
    let mut p = Person::at(&[face(), other]);
    p.asked(Request::Identify);
    for typed in ["yes", "4711", "2.1"] {
        p.types(typed);
    }
    p.serial();
    p.asked(Request::Identify).says(Answer::No);
    let label = p.types("y");
    assert_eq!(label.about, About::Label { label: "North Ear".into() });
    p.types("902");
    p.types("1");
    assert_eq!(p.serial(), "902");
    p.asked(Request::Identify).says(Answer::Yes);
    assert!(p.again().contains("which of them"));
    p.types("4171");
    assert!(p.again().contains("the number typed before is 4711"));
    p.types("4711");
    assert_eq!(p.serial(), "4711");
}

#[test]
fn another_label_is_taken_when_it_is_typed_twice() {
    let mut p = Person::at(&[face()]);
    p.asked(Request::Identify).types("North Eey");
    assert!(p.again().contains("North Eye"));
    p.types("north  eye");
    p.types("1");
    p.types("-");
    let Ok(Reply::Identity((identity, _))) = p.end() else { panic!() };
    assert_eq!((identity.model.as_str(), identity.firmware.as_str()), ("Eye", ""));
    let mut p = Person::at(&[face()]);
    p.asked(Request::Identify).types("South Ear");
    p.types("South Ear");
    p.types("1");
    p.types("-");
    p.types("9");
    assert!(p.again().contains("between 1 and 8"));
    p.types("2");
    let Ok(Reply::Identity((identity, can))) = p.end() else { panic!() };
    assert_eq!((identity.model.as_str(), can.read_settings), ("South Ear", false));
}

fn flows(p: &mut Person) -> Vec<Option<f64>> {
    match p.end() {
        Ok(Reply::Reading(r)) => {
            r.flow_m3_s.iter().map(|q| q.map(|q| (q / M3_S_PER_L_MIN * 10.0).round() / 10.0)).collect()
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn flows_are_one_table_and_what_can_not_be_is_asked_again() {
    let mut p = identified();
    let q = p.asked(Request::ReadOnce { look: Look::Flows }).types("31,5 L/min 32");
    assert_eq!(q.about, About::Flows { inlets: vec![1, 2], unit: "L/min".into(), meter: None });
    assert_eq!(flows(&mut p), [Some(31.5), Some(32.0)]);
    p.asked(Request::ReadOnce { look: Look::Flows });
    for (typed, reason) in [
        ("31.5", "2 numbers are wanted"),
        ("31.5 320", "320 is outside of 0 to 120 L/min"),
        ("31.57 32", "between the steps of 0.1"),
        ("31.5 x", "is no number"),
        ("13.5 32", "inlet 1: 31.5 was typed before, 13.5 now"),
        ("32 31.5", ""),
    ] {
        p.types(typed);
        if !reason.is_empty() {
            let why = p.again();
            assert!(why.contains(reason), "{typed}: {why}");
        }
    }
    // Half a litre apart: no sign of pipes that were exchanged.
    assert_eq!(flows(&mut p), [Some(32.0), Some(31.5)]);
}

/// A meter at the exhaust in place of the display: one number for all inlets that are open, within what the meter can show.
#[test]
fn a_meter_at_the_exhaust_shows_one_number_for_all() {
    let mut metered = face();
    let shown = FlowShown {
        per_inlet: false,
        meter: Some("Meter 5, serial m5".into()),
        ..flow("L/min", M3_S_PER_L_MIN, FlowBasis::Actual, 0.1)
    };
    metered.shows.flow = Some(shown);
    let mut p = Person::at(&[metered]);
    p.asked(Request::Identify);
    for typed in ["yes", "1", "-"] {
        p.types(typed);
    }
    let Ok(Reply::Identity((_, can))) = p.end() else { panic!() };
    assert!(can.flow_per_inlet && can.readings == ReadingsBy::Asking, "a pipe's own while the others are shut");
    let q = p.asked(Request::ReadOnce { look: Look::Flows }).types("82,4");
    assert!(q.text.contains("exhaust") && q.text.contains("Meter 5, serial m5"), "{}", q.text);
    assert_eq!(
        q.about,
        About::Flows { inlets: vec![], unit: "L/min".into(), meter: Some("Meter 5, serial m5".into()) }
    );
    let Ok(Reply::Reading(r)) = p.end() else { panic!() };
    let all = r.flow_all_m3_s.map(|q| (q / M3_S_PER_L_MIN * 10.0).round() / 10.0);
    assert_eq!((r.flow_m3_s, all), (vec![None, None], Some(82.4)));
    p.asked(Request::ReadOnce { look: Look::Flows }).types("82,45");
    assert!(p.again().contains("between the steps of 0.1"));
    p.types("82.4 41");
    assert!(p.again().contains("wanted"), "one for all");
}

#[test]
fn exchanged_inlets_and_the_same_number_every_time_are_looked_at_again() {
    let mut p = identified();
    let mut read = |typed: &str| {
        p.asked(Request::ReadOnce { look: Look::Flows }).types(typed);
        match p.0.poll_question() {
            Some(q) => {
                p.0.answer(p.1, q.id, &Answer::Text(typed.into()));
                assert_eq!(flows(&mut p).len(), 2, "what is typed twice is taken");
                Some(q.text)
            }
            None => {
                flows(&mut p);
                None
            }
        }
    };
    assert_eq!(read("31.5 60"), None);
    assert!(read("60 31.5").unwrap().contains("in another order"));
    for _ in 0..5 {
        assert_eq!(read("40.1 40.2"), None);
    }
    assert!(read("40.1 40.2").unwrap().contains("5 times in a row"));
    assert_eq!(read("40.1 40.2"), None);
}

#[test]
fn nothing_is_asked_before_another_number_can_be_shown() {
    let mut slow = face();
    slow.shows.flow = Some(FlowShown { renewed: Duration::from_secs(10), ..flow("%", 1e-5, FlowBasis::Share, 1.0) });
    let mut p = Person::at(&[slow]);
    p.asked(Request::Identify);
    for typed in ["yes", "1", "-"] {
        p.types(typed);
    }
    p.serial();
    p.asked(Request::ReadOnce { look: Look::Flows }).types("99% 101%");
    let Ok(Reply::Reading(r)) = p.end() else { panic!() };
    assert_eq!(r.flow_m3_s[0], Some(99.0 * 1e-5));
    p.asked(Request::ReadOnce { look: Look::Flows });
    assert!(p.0.poll_question().is_none());
    let due = p.0.next_timeout().unwrap();
    assert_eq!(due, p.1 + Duration::from_secs(10));
    p.0.timeout(due);
    assert!(p.0.poll_question().is_some());
    assert_eq!(p.0.next_timeout(), None, "a person takes as long as it takes");
}

#[test]
fn lamps_tell_what_they_can_and_nothing_else() {
    let mut p = identified();
    p.asked(Request::ReadOnce { look: Look::State }).types("air 1, FAULT");
    let Ok(Reply::Reading(r)) = p.end() else { panic!() };
    assert_eq!((r.faults, r.flow_low, r.flow_high), (Some(Faults::FLOW), Some(1), Some(1)));
    assert_eq!((r.levels, r.outputs, r.conditions), (Some(0), None, None));
    // A name that begins with "no" reads as a refusal at a keyboard.
    p.asked(Request::ReadOnce { look: Look::State }).says(Answer::Cannot("POWER".into()));
    let Ok(Reply::Reading(r)) = p.end() else { panic!() };
    assert_eq!(r.faults, Some(Faults::SUPPLY));
    p.asked(Request::ReadOnce { look: Look::State }).types("FAULT");
    let Ok(Reply::Reading(r)) = p.end() else { panic!() };
    assert_eq!(r.faults, Some(Faults::OTHER), "some fault stands, and nobody knows which");
    p.asked(Request::ReadOnce { look: Look::State }).says(Answer::Cannot("the lamps are behind the duct".into()));
    assert_eq!(p.end(), Err(Trouble::NotTold("the lamps are behind the duct".into())));
}

fn some_settings() -> Settings {
    let item = |key: &str, value, unit: Option<&str>| Item { key: key.into(), value, unit: unit.map(Into::into) };
    let items = vec![
        item("A1", Value::Number(0.08), Some("%/m")),
        item("A2", Value::Number(0.2), Some("%/m")),
        item("LATCH", Value::Bool(true), None),
        item("REL2", Value::Text("no fault".into()), None),
        item("NAME", Value::Text("No 5".into()), None),
    ];
    Settings::from_items(None, items).unwrap()
}

#[test]
fn settings_are_entered_by_a_sheet_and_read_back_blind() {
    let mut p = identified();
    p.asked(Request::WriteSettings { settings: some_settings() });
    let mut seen = String::new();
    for _ in 0..3 {
        let q = p.says(Answer::Yes);
        assert!(q.wants == Wants::Done && q.text.contains("menu 3"), "{}", q.text);
        seen += &q.text;
    }
    assert!(
        ["A1 = 0.08 %/m", "LATCH = yes", "REL2 = no fault", "NAME = No 5"].iter().all(|s| seen.contains(s)),
        "{seen}"
    );
    assert_eq!(p.end(), Ok(Reply::Written(None)));
    let first = p.asked(Request::ReadSettings).types("0,08 %/m 0.205");
    assert!(!first.text.contains("0.08") && first.text.contains("who did not enter them"), "{}", first.text);
    // What was right of the row is not asked again.
    let why = p.question();
    assert!(why.text.contains("A2: 0.205 is between the steps"), "{}", why.text);
    assert_eq!(why.about, About::Settings { keys: vec!["A2".into()] });
    p.0.answer(p.1, why.id, &Answer::Text("0.2".into()));
    p.says(Answer::Yes);
    assert!(matches!(p.types("NO FAULT").wants, Wants::OneOf { .. }));
    p.types("\"No 5\"");
    assert_eq!(p.end(), Ok(Reply::Settings(some_settings())));
}

#[test]
fn what_a_hand_can_not_do_is_refused_with_the_reason() {
    let mut p = identified();
    for request in [
        Request::StartReadings { hz: 10 },
        Request::Clock,
        Request::SettingsState,
        Request::ReadOnce { look: Look::Smoke },
        Request::ResetLatches,
        Request::Inhibit { lease: Duration::from_secs(60) },
        Request::RenewInhibit,
        Request::ReadBaseline,
    ] {
        let end = p.asked(request.clone()).end();
        assert!(matches!(end, Err(Trouble::CannotDo(_))), "{request:?}: {end:?}");
    }
    let q = p.asked(Request::TakeBaseline).says(Answer::Yes);
    assert!(q.text.contains("hold SET"), "{}", q.text);
    let Ok(Reply::Baseline(b)) = p.end() else { panic!() };
    assert_eq!(b.flow_m3_s, [None, None], "taken, and nobody has seen the numbers");
    p.asked(Request::Drive { output: 2, on: true }).says(Answer::NoBecause("the menu is locked".into()));
    assert_eq!(p.end(), Err(Trouble::NotTold("the menu is locked".into())));
    assert_eq!(p.0.means(&Request::TakeBaseline), Means::Attested);
}

#[test]
fn the_clock_is_set_by_a_watch_and_looked_at() {
    let mut p = identified();
    p.asked(Request::SetTime { utc_ms: 0 }).types("+01:00");
    assert_eq!(p.says(Answer::Yes).about, About::SetTime);
    p.types("2026-03-09 14:32:30");
    let Ok(Reply::Time(time)) = p.end() else { panic!() };
    assert_eq!((time.utc_ms, time.zone_min), (Some(1_773_063_150_000), 60));
    p.asked(Request::TellTime).types("half past two");
    assert!(p.again().contains("no date and time"));
}

#[test]
fn a_request_that_nobody_waits_for_is_given_up() {
    let mut p = identified();
    let first = p.0.request(p.1, Request::ReadOnce { look: Look::Flows });
    let second = p.0.request(p.1, Request::Identify);
    let q = p.question();
    assert_eq!(p.0.give_up(p.1, first), Some(q.id));
    p.0.answer(p.1, q.id, &Answer::Text("31.5 32".into()));
    assert!(p.0.poll_report().is_none(), "an answer to a question that is not open changes nothing");
    p.says(Answer::Yes);
    assert!(matches!(p.0.poll_report(), Some(Report::Ended(ticket, Ok(_))) if ticket == second));
    assert_eq!(p.0.give_up(p.1, second), None);
}

/// Whatever is typed, each request ends once or waits with one question.
#[test]
fn anything_may_be_typed() {
    let mut state = 7u64;
    let mut draw = |n: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % n
    };
    let words = [
        "yes",
        "no",
        "",
        "-",
        "4711",
        "4171",
        "other",
        "2.1",
        "31.5 32",
        "31,5",
        "1e309",
        "nan",
        "\u{202e}x",
        "FAULT",
        "none",
        "0.08 0.2",
        "2026-03-09 14:32:30",
        "+01:00",
        "North Eye",
        ";;;",
        "\"",
        "999999999999999999999 1",
    ];
    let requests = |k: usize| match k {
        0 => Request::Identify,
        1 => Request::ReadOnce { look: Look::Flows },
        2 => Request::ReadOnce { look: Look::State },
        3 => Request::ReadSettings,
        4 => Request::WriteSettings { settings: some_settings() },
        5 => Request::TakeBaseline,
        6 => Request::TellTime,
        _ => Request::Drive { output: 1, on: true },
    };
    let (mut asked, mut ended) = (0, 0);
    let mut p = Person::at(&[face()]);
    for _ in 0..20_000 {
        match p.0.poll_question() {
            Some(q) => {
                let answer = match draw(6) {
                    0 => Answer::Yes,
                    1 => Answer::No,
                    2 => Answer::Number(draw(50) as f64),
                    3 if draw(10) == 0 => Answer::Cannot("it is dark".into()),
                    _ => Answer::Text(words[draw(words.len())].into()),
                };
                p.0.answer(p.1, q.id, &answer);
            }
            None => {
                p.0.request(p.1, requests(draw(8)));
                asked += 1;
            }
        }
        while p.0.poll_report().is_some() {
            ended += 1;
        }
        assert!(asked - ended <= 1, "{asked} asked, {ended} ended");
    }
    assert!(ended > 1000, "{ended}");
}
