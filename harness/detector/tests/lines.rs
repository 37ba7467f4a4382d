//! The lines driver, and a line with a person at it: what comes of printed text, and who answers what.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::expect_used,
    reason = "a test ends where something is not as it should be"
)]
use plumeline_base::{Instant, input::Answer};
use plumeline_detector::{
    Abilities, Driver, Faults, Reading, Report, Request, Trouble,
    ask::{Look, Reply},
    display::{Display, Face, FlowShown, Hands, Lamp, Scale, Shows},
    driver::{End, Means},
    lines::{
        Lines, Map,
        map::{Field, Number, Part, Template},
    },
    mixed::Mixed,
    told::{Flag, Quantity, Si, Who},
    vocabulary::FlowBasis,
};
use std::time::Duration;

fn number(quantity: Quantity, times: f64, step: f64) -> Field {
    let si = Si::Linear { times, plus: 0.0 };
    Field::Number(Number { quantity, scale: 1.0, offset: 0.0, none: Some("--".into()), step, si })
}
fn text(t: &str) -> Part {
    Part::Text(t.into())
}
/// `Q 31.5 32.0 S LOW1`, and `# 4711` where `banner` is wanted.
fn map(banner: bool) -> Map {
    let low = [Flag::Fault(Faults::FLOW), Flag::Low(1)].to_vec();
    let words = Field::Words(vec![
        ("OK".into(), Vec::new()),
        ("LOW1".into(), low),
        ("AC".into(), vec![Flag::Fault(Faults::SUPPLY)]),
        ("AL1".into(), vec![Flag::Level(1), Flag::Latched(1)]),
    ]);
    let flow = |n| number(Quantity::Flow(n), 1.0 / 60_000.0, 0.5);
    let first = [text("Q "), Part::Field(0), text(" "), Part::Field(1), text(" S "), Part::Field(2)];
    let second = [text("# "), Part::Field(3)];
    let kinds = if banner { 2 } else { 1 };
    Map {
        every: Duration::from_secs(1),
        maker: "North".into(),
        model: "Printer".into(),
        has: (1, 1, 0),
        basis: FlowBasis::Actual,
        lines: [first.to_vec(), second.to_vec()].into_iter().take(kinds).map(Template).collect(),
        fields: [flow(1), flow(2), words, Field::Text(Who::Serial)].into_iter().take(2 + kinds).collect(),
    }
}

struct Unit<D>(D, Instant);
impl<D: Driver> Unit<D> {
    fn up(mut driver: D) -> Self {
        driver.link_up(Instant::START);
        driver.receive(Instant::START, b"e beginning is lost\r\n");
        Self(driver, Instant::START)
    }
    fn prints(&mut self, line: &str) -> &mut Self {
        self.1 += Duration::from_secs(1);
        self.0.receive(self.1, line.as_bytes());
        self.0.receive(self.1, b"\r\n");
        self
    }
    fn waits(&mut self, s: u64) -> &mut Self {
        self.1 += Duration::from_secs(s);
        self.0.timeout(self.1);
        self
    }
    fn asked(&mut self, request: Request) -> &mut Self {
        self.0.request(self.1, request);
        self
    }
    fn reports(&mut self) -> Vec<Report> {
        std::iter::from_fn(|| self.0.poll_report()).collect()
    }
    fn end(&mut self) -> End {
        match self.reports().as_slice() {
            [Report::Ended(_, end)] => end.clone(),
            other => panic!("{other:?}"),
        }
    }
    fn says(&mut self, what: &str) -> String {
        let q = self.0.poll_question().expect("a question");
        self.0.answer(self.1, q.id, &Answer::Text(what.into()));
        q.text
    }
}
fn flows(reading: &Reading) -> Vec<Option<f64>> {
    reading.flow_m3_s.iter().map(|q| q.map(|q| (q * 60_000.0 * 100.0).round() / 100.0)).collect()
}

#[test]
fn each_line_of_the_first_kind_is_a_reading() {
    let mut u = Unit::up(Lines::new(map(false)));
    u.asked(Request::Identify).prints("Q 31.5 -- S OK");
    let Ok(Reply::Identity((identity, can))) = u.end() else { panic!() };
    assert_eq!((identity.maker.as_str(), identity.serial.as_str(), can.inlets), ("North", "", 2));
    assert_eq!(can.flow_step_nl_s, 8_333_333);
    assert!(can.readings.streams() && !can.read_settings && !can.baseline && !can.inhibit);
    u.asked(Request::StartReadings { hz: 1 });
    assert_eq!(u.end(), Ok(Reply::Done(())));
    u.prints("a banner that nobody described").prints("Q  30,5  32.0 S LOW1");
    let [Report::Reading(reading)] = <[_; 1]>::try_from(u.reports()).unwrap() else { panic!() };
    assert_eq!(flows(&reading), [Some(30.5), Some(32.0)]);
    assert_eq!((reading.received, reading.faults, reading.flow_low), (u.1, Some(Faults::FLOW), Some(1)));
    assert_eq!((reading.levels, reading.outputs), (Some(0), None), "what no word tells is not told");
    // What can't be right is told by name, and is no reading.
    for wrong in ["Q 3x.5 32 S OK", "Q 90000 32 S OK", "Q 31.5 32 S FINE", "Q inf 32 S OK"] {
        u.prints(wrong);
        let [Report::Unfit(why)] = <[_; 1]>::try_from(u.reports()).unwrap() else { panic!("{wrong}") };
        assert!(why.contains("as Flow") || why.contains("words"), "{wrong}: {why}");
    }
    assert_eq!(u.0.line().missed_readings, 4);
    u.asked(Request::ReadSettings);
    assert!(matches!(u.end(), Err(Trouble::CannotDo(_))));
}

#[test]
fn silence_and_noise_are_told_apart_and_both_end() {
    let mut u = Unit::up(Lines::new(map(false)));
    u.asked(Request::Identify).waits(60);
    assert_eq!(u.end(), Err(Trouble::Silent));
    u.asked(Request::Identify).prints("?=x<\u{7f}").waits(60);
    assert_eq!(u.end(), Err(Trouble::Garbled));
    u.asked(Request::Identify).prints("Q 31.5 x S OK");
    let Err(Trouble::Nonsense(why)) = u.end() else { panic!() };
    assert!(why.contains("[lines]"), "{why}");
    u.asked(Request::Identify).prints("Q 31.5 32 S OK");
    assert!(u.end().is_ok());
    u.asked(Request::StartReadings { hz: 1 }).reports();
    assert_eq!(u.waits(10).reports(), [Report::Silent]);
    assert_eq!(u.waits(10).reports(), [], "said once");
    assert!(matches!(u.prints("Q 31.5 32 S OK").reports()[..], [Report::Back, Report::Reading(_)]));
    u.prints(&"x".repeat(5000)).waits(10);
    assert_eq!(u.reports(), [Report::Garbled]);
    assert!(u.0.next_timeout().is_none());
}

#[test]
fn a_serial_number_that_is_printed_is_waited_for() {
    let mut u = Unit::up(Lines::new(map(true)));
    u.asked(Request::Identify).prints("Q 31.5 32 S OK");
    assert_eq!(u.reports(), []);
    u.prints("# 4711").prints("Q 31.5 32 S OK");
    let Ok(Reply::Identity((identity, _))) = u.end() else { panic!() };
    assert_eq!(identity.serial, "4711");
}

fn face() -> Face {
    Face {
        maker: "North".into(),
        model: "Printer".into(),
        inlets: (2, 2),
        levels: 1,
        outputs: 1,
        shows: Shows {
            lamps: vec![("TROUBLE".into(), Lamp::AnyFault), ("A1".into(), Lamp::Level(1))],
            ..Shows::default()
        },
        hands: Hands { baseline: Some("hold OK".into()), reset: Some("key RESET".into()), ..Hands::default() },
        ..Face::default()
    }
}
fn mixed(map: Map) -> Unit<Mixed> {
    Unit::up(Mixed::new(Box::new(Lines::new(map)), Display::new(vec![face()])))
}

#[test]
fn each_thing_comes_from_the_first_means_that_has_it() {
    let mut u = mixed(map(true));
    u.asked(Request::Identify).prints("# 4711").prints("Q 31.5 32 S OK");
    let Ok(Reply::Identity((_, can))) = u.end() else { panic!() };
    let Abilities { baseline, read_settings, reset_latches, inhibit, flow_per_inlet, .. } = can;
    assert_eq!((baseline, read_settings, reset_latches, inhibit, flow_per_inlet), (true, false, true, false, true));
    let by = |u: &Unit<Mixed>, request| u.0.means(&request);
    assert_eq!(by(&u, Request::Identify), Means::Protocol);
    assert_eq!(by(&u, Request::ReadOnce { look: Look::Flows }), Means::Protocol);
    assert_eq!(by(&u, Request::ReadOnce { look: Look::State }), Means::Protocol, "its lines tell faults and levels");
    assert_eq!(by(&u, Request::ResetLatches), Means::Attested);
    assert!(!u.0.asks(Look::Flows) && !u.0.asks(Look::State));
    u.asked(Request::ResetLatches);
    assert!(u.says("done").contains("key RESET"));
    assert_eq!(u.end(), Ok(Reply::Done(())));
    // Nobody has it: the reason is the person's.
    u.asked(Request::Inhibit { lease: Duration::from_secs(60) });
    assert!(matches!(u.end(), Err(Trouble::CannotDo(_))));
    // The stream goes on while a person is asked, and nobody else's answer ends it.
    u.asked(Request::StartReadings { hz: 1 }).reports();
    let ticket = u.0.request(u.1, Request::TakeBaseline);
    assert!(matches!(u.prints("Q 31.5 32 S OK").reports()[..], [Report::Reading(_)]));
    assert!(u.0.give_up(u.1, ticket).is_some());
}

/// Lines that tell no flow, and a meter at the exhaust: it is read by the person, whatever streams meanwhile.
#[test]
fn a_meter_tells_what_no_line_does() {
    let mut quiet = map(true);
    quiet.lines[0].0[1] = Part::Skip;
    quiet.lines[0].0[3] = Part::Skip;
    let mut metered = face();
    metered.shows.flow = Some(FlowShown {
        scale: Scale { unit: "L/min".into(), range: (0.0, 200.0), step: Some(0.1) },
        m3_s: 1.0 / 60_000.0,
        basis: FlowBasis::Actual,
        per_inlet: false,
        meter: Some("Meter 5".into()),
        renewed: Duration::ZERO,
    });
    // Nothing of a flow is left in the map.
    quiet.fields = vec![quiet.fields[2].clone(), quiet.fields[3].clone()];
    (quiet.lines[0].0[5], quiet.lines[1].0[1]) = (Part::Field(0), Part::Field(1));
    let mut u = Unit::up(Mixed::new(Box::new(Lines::new(quiet)), Display::new(vec![metered])));
    u.asked(Request::Identify).prints("# 4711").prints("Q 31.5 32 S OK");
    let Ok(Reply::Identity((_, can))) = u.end() else { panic!() };
    assert_eq!((can.inlets, can.flow_per_inlet, can.flow_step_nl_s), (2, true, 1_666_667));
    assert!(u.0.asks(Look::Flows) && !u.0.asks(Look::State));
    assert_eq!(u.0.means(&Request::ReadOnce { look: Look::Flows }), Means::Person);
    u.asked(Request::StartReadings { hz: 1 }).reports();
    u.asked(Request::ReadOnce { look: Look::Flows }).prints("Q 31.5 32 S OK");
    assert!(u.says("63.5").contains("Meter 5"));
    let [Report::Reading(_), Report::Ended(_, Ok(Reply::Reading(read)))] = <[_; 2]>::try_from(u.reports()).unwrap()
    else {
        panic!()
    };
    assert_eq!(read.flow_all_m3_s.map(|q| (q * 600_000.0).round()), Some(635.0));
}

#[test]
fn without_a_printed_number_the_label_says_who_it_is_and_lamps_say_what_stands() {
    // Lines without a state.
    let mut quiet = map(false);
    quiet.lines[0].0.truncate(4);
    quiet.fields.truncate(2);
    let mut u = mixed(quiet);
    u.asked(Request::Identify).prints("Q 31.5 32");
    for (asked, typed) in [("label", "yes"), ("Serial", "4711"), ("Firmware", "2.1")] {
        let text = u.says(typed);
        assert!(text.contains(asked), "{text}");
    }
    let Ok(Reply::Identity((identity, can))) = u.end() else { panic!() };
    assert_eq!((identity.serial.as_str(), can.inlets, can.alarm_levels), ("4711", 2, 1));
    assert_eq!(u.0.means(&Request::Identify), Means::Person);
    assert!(u.0.asks(Look::State) && !u.0.asks(Look::Flows));
    u.asked(Request::StartReadings { hz: 1 }).reports();
    u.asked(Request::ReadOnce { look: Look::State }).prints("Q 31.5 32");
    u.says("A1");
    let [Report::Reading(_), Report::Ended(_, Ok(Reply::Reading(seen)))] = <[_; 2]>::try_from(u.reports()).unwrap()
    else {
        panic!()
    };
    assert_eq!((seen.levels, seen.faults, seen.flow_m3_s.len()), (Some(1), Some(Faults::default()), 0));
}
