//! The plumewire driver and a small unit on a virtual clock, over a line that loses and damages.
#![allow(clippy::unwrap_used, reason = "helpers of tests may panic")]
mod common;
use common::{Effect, Pair, Unit};
use plumeline_base::{Instant, input::LinkDown};
use plumeline_detector::{
    Ask, Driver, Faults, Report, Request, Trouble, ask,
    driver::RefusalKind,
    plumewire::Plumewire,
    settings::{Item, Settings, Value},
    vocabulary::ReadingsBy,
};
use std::time::Duration;

fn item(key: &str, value: Value, unit: Option<&str>) -> Item {
    Item { key: key.into(), value, unit: unit.map(str::to_string) }
}
fn some_settings(n: i64) -> Settings {
    let mut items = vec![
        item("alarm.1.threshold", Value::Number(0.25), Some("%/m")),
        item("fan.setting", Value::Int(6), None),
        item("inlet.1.in-use", Value::Bool(true), None),
        item("label", Value::Text("Cold store".into()), None),
        item("x-maker.blob", Value::Opaque { hex: "00ff10".into() }, None),
    ];
    items.extend((0..60).map(|i| item(&format!("zone.{i:02}.delay"), Value::Int(n + i), Some("s"))));
    Settings::from_items(None, items).unwrap()
}
/// A unit that holds no settings at all: the image of no items.
fn pair() -> Pair {
    Pair::new(Unit::new(vec![0x80]))
}
/// Repeatable coin tosses: true once in `n`.
fn one_in(n: u64, seed: u64) -> impl FnMut() -> bool {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state.is_multiple_of(n)
    }
}

#[test]
fn identifies_and_says_what_the_unit_can_do() {
    let mut p = pair();
    let (identity, abilities) = p.ask(ask::Identify).unwrap();
    assert_eq!((identity.serial.as_str(), identity.boot_id), ("T-1", Some(1)));
    assert_eq!((abilities.inlets, abilities.outputs, abilities.readings), (2, 4, ReadingsBy::Stream { hz: (1, 10) }));
    assert_eq!(p.driver.abilities(), Some(&abilities));
    assert_eq!(p.driver.line().repeated, 0);
}

#[test]
fn a_unit_that_still_starts_is_not_identified_yet() {
    let mut p = pair();
    p.unit.starting = true;
    assert!(matches!(p.ask(ask::Identify), Err(Trouble::Refused { kind: RefusalKind::StillStarting, code: 9, .. })));
    p.unit.starting = false;
    assert!(p.ask(ask::Identify).is_ok());
}

#[test]
fn says_hello_by_itself_and_exchanges_clocks() {
    let mut p = pair();
    let ask::ClockExchange { sent, device_received_us, device_sent_us, received } = p.ask(ask::Clock).unwrap();
    assert_eq!(device_received_us, sent.as_micros() + 5_000_000);
    assert_eq!(device_sent_us, device_received_us + 100);
    assert_eq!(received.since(sent), Duration::from_millis(10));
}

#[test]
fn a_lost_clock_exchange_is_made_anew_and_never_repeated() {
    let mut p = pair();
    p.ask(ask::Identify).unwrap();
    let mut lost = 0;
    p.damage = Box::new(move |to_unit, bytes| {
        lost += u32::from(!to_unit);
        (to_unit || lost > 2).then_some(bytes)
    });
    let ask::ClockExchange { sent, received, .. } = p.ask(ask::Clock).unwrap();
    // The stamps are those of the try that was answered, not of the first.
    assert_eq!(received.since(sent), Duration::from_millis(10));
    assert_eq!(p.driver.line().repeated, 2);
}

#[test]
fn a_request_whose_answer_is_lost_has_its_effect_once() {
    let mut p = pair();
    p.ask(ask::Identify).unwrap();
    let mut answers = 0;
    p.damage = Box::new(move |to_unit, bytes| {
        answers += u32::from(!to_unit);
        (to_unit || answers > 3).then_some(bytes)
    });
    assert_eq!(p.ask(ask::Drive { output: 3, on: true }), Ok(()));
    assert_eq!(p.unit.effects, [Effect::Drove(3)]);
    assert_eq!(p.driver.line().repeated, 3);
}

#[test]
fn tells_silent_from_garbled() {
    let mut p = pair();
    p.damage = Box::new(|_, _| None);
    assert_eq!(p.ask(ask::Identify), Err(Trouble::Silent));
    p.damage = Box::new(|_, mut bytes| {
        bytes.iter_mut().for_each(|b| *b ^= 0x55);
        Some(bytes)
    });
    // The unit can't read what it gets either, so it is made to talk: bytes without a single delimiter.
    let ticket = p.driver.request(p.now, Request::Identify);
    for _ in 0..400 {
        p.driver.receive(p.now, &[0x55; 7]);
        p.run(p.now + Duration::from_millis(50));
    }
    assert_eq!(p.end_of(ticket).map(|end| end.map(|_| ())), Some(Err(Trouble::Garbled)));
}

#[test]
fn streams_readings_in_neutral_units() {
    let mut p = pair();
    let flow_and_cover = p.unit.told.faults;
    p.unit.told.faults = flow_and_cover.with(plumewire::Faults(1 << 30));
    assert_eq!(p.ask(ask::StartReadings { hz: 10 }), Ok(()));
    p.run(p.now + Duration::from_secs(3));
    let unasked = p.unasked();
    assert!(unasked.len() >= 29, "{}", unasked.len());
    let Report::Reading(r) = &unasked[5] else { panic!("{:?}", unasked[5]) };
    assert_eq!(r.flow_m3_s, [Some(7e-4), None]);
    assert_eq!(r.extinction_per_m, [Some(-2e-6)]);
    assert_eq!((r.fan_rpm, r.temperature_c, r.supply_v, r.supply_a), (Some(3000.0), Some(22.0), Some(24.0), None));
    // A fault of a later version has no neutral word of its own, and must not vanish for that.
    assert_eq!(r.faults, Some(Faults(Faults::FLOW.0 | Faults::COVER.0 | Faults::OTHER.0)));
    assert_eq!((r.levels, r.latched, r.inhibited(), r.missed), (Some(0), Some(1), Some(true), 0));
    assert_eq!(p.ask(ask::StopReadings), Ok(()));
    p.unasked();
    p.run(p.now + Duration::from_secs(30));
    assert_eq!(p.unasked(), []);
}

#[test]
fn counts_readings_that_the_line_lost() {
    let mut p = pair();
    p.ask(ask::StartReadings { hz: 10 }).unwrap();
    let mut toss = one_in(3, 5);
    p.damage = Box::new(move |_, bytes| (!toss()).then_some(bytes));
    p.run(p.now + Duration::from_secs(60));
    let readings: Vec<_> =
        p.unasked().into_iter().filter_map(|t| if let Report::Reading(r) = t { Some(r) } else { None }).collect();
    let missed: u32 = readings.iter().map(|r| r.missed).sum();
    assert!(missed > 150);
    // Between the first and the last nothing is unaccounted for: device times tell how many there were.
    let span = readings[readings.len() - 1].device_us.unwrap() - readings[0].device_us.unwrap();
    assert_eq!(u64::from(missed) + readings.len() as u64 - 1, span.div_ceil(100_000));
    assert_eq!(p.driver.line().missed_readings, u64::from(missed));
}

#[test]
fn a_stream_that_stops_is_told_once_and_so_is_its_return() {
    let mut p = pair();
    p.ask(ask::StartReadings { hz: 5 }).unwrap();
    p.run(p.now + Duration::from_secs(1));
    p.unasked();
    p.damage = Box::new(|_, _| None);
    p.run(p.now + Duration::from_secs(20));
    assert_eq!(p.unasked(), [Report::Silent]);
    p.damage = Box::new(|_, bytes| Some(bytes));
    p.run(p.now + Duration::from_secs(1));
    let told = p.unasked();
    assert_eq!(told[0], Report::Back);
    let Report::Reading(r) = &told[1] else { panic!() };
    assert!(r.missed > 90, "{}", r.missed);
    p.damage = Box::new(|_, mut bytes| {
        bytes.iter_mut().for_each(|b| *b ^= 0x10);
        Some(bytes)
    });
    p.run(p.now + Duration::from_secs(20));
    assert_eq!(p.unasked().last(), Some(&Report::Garbled));
}

#[test]
fn reads_once_from_a_stream_of_its_own_or_from_the_one_that_runs() {
    let mut p = pair();
    assert!(p.ask(ask::ReadOnce { look: ask::Look::Flows }).is_ok());
    assert_eq!(p.unit.rate_hz, 0);
    p.ask(ask::StartReadings { hz: 2 }).unwrap();
    assert!(p.ask(ask::ReadOnce { look: ask::Look::Flows }).is_ok());
    assert_eq!(p.unit.rate_hz, 2);
}

#[test]
fn writes_settings_whole_and_reads_them_back() {
    let mut p = pair();
    let wanted = some_settings(0);
    assert_eq!(p.ask(ask::WriteSettings { settings: wanted.clone() }), Ok(Some(5)));
    let read = p.ask(ask::ReadSettings).unwrap();
    assert_eq!(wanted.differences(&read), []);
    assert_eq!(read.revision, Some(5));
    // The same again is there already: nothing is written.
    assert_eq!(p.ask(ask::WriteSettings { settings: wanted }), Ok(Some(5)));
    assert_eq!(p.unit.effects, [Effect::Committed]);
}

#[test]
fn takes_up_a_transaction_after_the_link_was_lost() {
    let mut p = pair();
    let mut to_unit = 0;
    p.damage = Box::new(move |there, bytes| {
        to_unit += u32::from(there);
        // Hello, manifest, status, begin, one chunk; then nothing more.
        (to_unit <= 5).then_some(bytes)
    });
    let ticket = p.driver.request(p.now, Request::WriteSettings { settings: some_settings(0) });
    p.run(p.now + Duration::from_secs(2));
    p.driver.link_down(p.now, LinkDown::Unplugged);
    p.run(p.now + Duration::from_secs(1));
    assert_eq!(p.end_of(ticket).map(|end| end.map(|_| ())), Some(Err(Trouble::LinkDown(LinkDown::Unplugged))));
    let received = p.unit.open.as_ref().unwrap().3.len();
    assert_eq!((received, p.unit.revision), (512, 4));
    assert!(matches!(p.ask(ask::Identify), Err(Trouble::LinkDown(_))));
    p.damage = Box::new(|_, bytes| Some(bytes));
    p.driver.link_up(p.now);
    assert_eq!(p.ask(ask::WriteSettings { settings: some_settings(0) }), Ok(Some(5)));
    // The part that was there was not sent again.
    assert_eq!(p.unit.chunks.iter().sum::<usize>(), p.unit.image.len());
}

#[test]
fn another_transaction_is_cleared_away_and_a_refused_one_given_up() {
    let mut p = pair();
    p.unit.open = Some((77, 10, [0; 32], vec![1, 2, 3]));
    assert!(p.ask(ask::WriteSettings { settings: some_settings(0) }).is_ok());
    p.unit.refuse_commit = true;
    let image = p.unit.image.clone();
    assert!(matches!(
        p.ask(ask::WriteSettings { settings: some_settings(9) }),
        Err(Trouble::Refused { kind: RefusalKind::Invalid, code: 14, .. })
    ));
    assert_eq!((p.unit.open.is_none(), &p.unit.image), (true, &image));
}

#[test]
fn a_setting_that_has_no_exact_form_is_not_sent() {
    let mut p = pair();
    for x in [f64::NAN, f64::INFINITY, 1e-30] {
        let settings = Settings::from_items(None, vec![item("a", Value::Number(x), None)]).unwrap();
        assert!(matches!(p.ask(ask::WriteSettings { settings }), Err(Trouble::CannotDo(_))));
    }
}

fn until_done<A: Ask>(p: &mut Pair, ask: A) -> A::Reply {
    let ended = (0..40).find_map(|_| match p.ask(ask.clone()) {
        Err(Trouble::Silent | Trouble::Garbled) => None,
        end => Some(end),
    });
    ended.unwrap().unwrap()
}
#[test]
fn everything_gets_through_a_bad_line_once() {
    for seed in 1..60 {
        let mut p = pair();
        // One byte in a hundred is damaged, and one piece in twenty is lost.
        let (mut byte, mut piece) = (one_in(100, seed), one_in(20, seed + 100));
        p.damage = Box::new(move |_, mut bytes| {
            bytes.iter_mut().for_each(|b| *b ^= u8::from(byte()) << 3);
            (!piece()).then_some(bytes)
        });
        until_done(&mut p, ask::Identify);
        let wanted = some_settings(seed as i64);
        let written = until_done(&mut p, ask::WriteSettings { settings: wanted.clone() });
        assert_eq!(written, Some(5), "seed {seed}");
        let read = until_done(&mut p, ask::ReadSettings);
        assert_eq!(wanted.differences(&read), []);
        assert_eq!(p.unit.effects, [Effect::Committed]);
        assert!(p.driver.line().garbled > 0 && p.driver.line().repeated > 0);
    }
}

#[test]
fn notices_that_the_unit_started_anew() {
    let mut p = pair();
    p.ask(ask::StartReadings { hz: 5 }).unwrap();
    p.run(p.now + Duration::from_secs(1));
    p.unit.start_anew();
    p.unasked();
    assert_eq!(p.ask(ask::ResetLatches), Ok(()));
    let told = p.unasked();
    let Some(Report::StartedAnew(identity, _)) = told.first() else { panic!("{told:?}") };
    assert_eq!(identity.boot_id, Some(2));
    p.run(p.now + Duration::from_secs(5));
    assert_eq!(p.unasked(), [Report::Silent], "its stream ended with it");
}

#[test]
fn a_restart_whose_answer_is_lost_is_not_asked_for_twice() {
    let mut p = pair();
    p.ask(ask::Identify).unwrap();
    let mut answers = 0;
    p.damage = Box::new(move |there, bytes| {
        answers += u32::from(!there);
        (there || answers > 1).then_some(bytes)
    });
    let ticket = p.driver.request(p.now, Request::Restart);
    p.run(p.now + Duration::from_millis(300));
    p.unit.start_anew();
    p.run(p.now + Duration::from_secs(5));
    assert!(p.end_of(ticket).is_some_and(|end| end.is_ok()));
    assert_eq!(p.unit.effects, [Effect::Restarted]);
}

#[test]
fn a_token_that_the_unit_has_seen_is_replaced_by_another() {
    let mut p = pair();
    p.ask(ask::Identify).unwrap();
    p.ask(ask::Clock).unwrap();
    // The tool is started anew and by chance says the very same hello.
    p.driver = Plumewire::new();
    p.now = Instant::START;
    p.driver.link_up(p.now);
    assert!(p.ask(ask::Identify).is_ok());
    assert_eq!(p.ask(ask::ResetLatches), Ok(()));
}

#[test]
fn every_request_ends_once_when_the_link_goes() {
    let mut p = pair();
    let requests = [Request::Identify, Request::ReadSettings, Request::Clock, Request::TakeBaseline];
    let tickets: Vec<_> = requests.into_iter().map(|r| p.driver.request(p.now, r)).collect();
    p.driver.link_down(p.now, LinkDown::Closed);
    p.run(p.now + Duration::from_secs(60));
    let down = Trouble::LinkDown(LinkDown::Closed);
    let ended: Vec<_> = tickets.into_iter().map(|ticket| Report::Ended(ticket, Err(down.clone()))).collect();
    assert_eq!(p.reports, ended);
    assert_eq!(p.driver.next_timeout(), None);
}

#[test]
fn takes_a_baseline_and_tells_it() {
    let mut p = pair();
    let b = p.ask(ask::TakeBaseline).unwrap();
    assert_eq!((b.flow_m3_s, b.boot_id), (vec![Some(7e-4), None], Some(1)));
    assert_eq!(p.unit.effects, [Effect::BaselineBegun]);
    assert!(p.reports.iter().any(|r| matches!(r, Report::Progress { done: 30, total: 100 })));
}

#[test]
fn holds_and_gives_back_the_inhibit() {
    let mut p = pair();
    assert!(matches!(p.ask(ask::RenewInhibit), Err(Trouble::Refused { code: 16, .. })));
    assert_eq!(p.ask(ask::Inhibit { lease: Duration::from_secs(60) }), Ok(()));
    assert_eq!(p.ask(ask::RenewInhibit), Ok(()));
    assert_eq!(p.ask(ask::ReleaseInhibit), Ok(()));
    assert_eq!(p.ask(ask::ReleaseInhibit), Ok(()), "given back already");
    assert_eq!(p.unit.effects, [Effect::Released]);
}

#[test]
fn reads_the_event_log_until_it_ends() {
    let mut p = pair();
    let events = p.ask(ask::ReadEvents { from: 2 }).unwrap();
    assert_eq!(events.iter().map(|e| e.position).collect::<Vec<_>>(), (2..=10).collect::<Vec<_>>());
}

#[test]
fn leaves_a_note_in_the_event_log_once() {
    let mut p = pair();
    assert_eq!(p.ask(ask::WriteNote { text: "seen".into() }), Ok(()));
    assert_eq!(p.unit.effects, [Effect::Noted("seen".into())]);
    // A note is cut to what a message holds.
    assert_eq!(p.ask(ask::WriteNote { text: "é".repeat(60) }), Ok(()));
    assert!(matches!(&p.unit.effects[1], Effect::Noted(text) if text.len() == 96));
}

#[test]
fn nothing_panics_on_any_bytes() {
    let mut p = pair();
    let mut toss = one_in(2, 99);
    p.driver.request(p.now, Request::ReadSettings);
    for _ in 0..2_000 {
        let bytes: Vec<u8> = (0..50).map(|_| (0..8).fold(0, |b, _| b << 1 | u8::from(toss()))).collect();
        p.driver.receive(p.now, &bytes);
        p.run(p.now + Duration::from_millis(20));
    }
}
