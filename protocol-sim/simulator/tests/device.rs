//! The unit over its protocol: start, conversation, settings, baseline, supervision, outputs.
mod common;
use common::{Client, exact, scenario};
use plumeline_simulator::{
    Scenario,
    device::settings::{SettingValue, from_image, to_image},
    scenario::Which,
};
use plumewire::*;
use sha2::Digest as _;

#[test]
fn a_new_unit_is_silent_then_starting_then_running() {
    let mut c = Client::new(scenario(&[]));
    c.do_it(r#"{"do":"swap"}"#);
    let hello = Request::Hello(HelloRequest { version_min: 1, version_max: 1, token: 1 });
    assert!(c.try_ask(hello).is_none(), "silent at first");
    c.wait(5.0);
    let (model, boot, starting) = c.hello();
    assert!(starting && model == "Model B");
    assert_eq!(c.refused(Request::BaselineTake(Nothing {})), RefusalCode::Starting);
    c.wait(40.0);
    let (_, same, starting) = c.hello();
    assert!(!starting && same == boot);
    c.ask(Request::Restart(Nothing {})).unwrap();
    c.wait(8.0);
    assert_ne!(c.hello().1, boot, "every start has its own boot id");
    c.do_it(r#"{"do":"power","mains":false,"battery":false}"#);
    assert!(c.try_ask(hello).is_none(), "no power");
}

#[test]
fn a_dead_outgoing_unit_says_nothing_and_shows_a_fault() {
    let mut c = Client::new(Scenario { outgoing_alive: false, ..scenario(&[]) });
    assert!(c.try_ask(Request::Hello(HelloRequest { version_min: 1, version_max: 1, token: 1 })).is_none());
    assert_eq!(c.control(r#"{"do":"panel"}"#)["panel"]["fault"], true);
    c.do_it(r#"{"do":"swap"}"#);
    c.wait(40.0);
    assert_eq!(c.hello().0, "Model B");
}

#[test]
fn a_repeated_request_has_its_effect_once() {
    let mut c = Client::new(scenario(&[]));
    c.hello();
    let frame = c.frame(Request::Inhibit(Inhibit { seconds: 60 }), 100);
    c.send(&frame);
    let first = c.answer(100).unwrap().unwrap();
    c.send(&frame);
    assert_eq!(c.answer(100).unwrap().unwrap(), first, "the same lease, not a second");
    let older = c.frame(Request::ResetLatches(Nothing {}), 99);
    c.send(&older);
    assert_eq!(c.answer(99).unwrap().unwrap_err().0, RefusalCode::Stale);
    // Garbage before a frame is skipped.
    let mut noisy = vec![7, 9, 0, 1, 2, 3];
    noisy.extend(c.frame(Request::ResetLatches(Nothing {}), 101));
    c.send(&noisy);
    assert!(c.answer(101).unwrap().is_ok());
}

#[test]
fn settings_are_the_whole_old_or_the_whole_new() {
    let mut c = Client::new(scenario(&[]));
    c.do_it(r#"{"do":"swap"}"#);
    c.wait(40.0);
    c.hello();
    let old = c.image();
    assert_eq!(<[u8; 32]>::from(sha2::Sha256::digest(&old)), c.manifest().2);
    let mut settings = from_image(&old).unwrap();
    let mut change = |key: &str, to: &str| {
        let s = settings.iter_mut().find(|s| s.key == key).unwrap();
        s.value = SettingValue::Text(to.into());
        to_image(&settings).unwrap()
    };
    let new = change("label.site", "Invented store");
    let digest = <[u8; 32]>::from(sha2::Sha256::digest(&new));
    // Half way, then power goes: the old set.
    let transaction = c.begin(&new, digest).unwrap();
    c.chunks(transaction, &new[..new.len() / 2]);
    assert_eq!(c.refused(Request::WriteCommit(WriteCommit { transaction, digest })), RefusalCode::Digest);
    c.do_it(r#"{"do":"power","mains":false,"battery":false}"#);
    c.do_it(r#"{"do":"power","mains":true,"battery":true}"#);
    c.wait(40.0);
    c.hello();
    assert_eq!(c.image(), old);
    // A wrong value is refused with its key, and the old set stays.
    let wrong = change("output.2.function", "siren");
    let bad_digest = <[u8; 32]>::from(sha2::Sha256::digest(&wrong));
    let transaction = c.begin(&wrong, bad_digest).unwrap();
    assert_eq!(c.begin(&wrong, bad_digest), Err(RefusalCode::Busy));
    c.chunks(transaction, &wrong);
    let commit = Request::WriteCommit(WriteCommit { transaction, digest: bad_digest });
    let (code, reason) = c.ask(commit).unwrap_err();
    assert_eq!(code, RefusalCode::Settings);
    assert!(reason.contains("output.2.function"), "{reason}");
    c.ask(Request::WriteAbandon(WriteAbandon { transaction })).unwrap();
    assert_eq!(c.image(), old);
    // The new set, and it outlives the process.
    let revision = c.manifest().0;
    let transaction = c.begin(&new, digest).unwrap();
    c.chunks(transaction, &new);
    c.ask(Request::WriteCommit(WriteCommit { transaction, digest })).unwrap();
    assert_eq!(c.image(), new);
    assert_eq!(c.manifest().0, revision + 1);
    let again = Scenario { store: Some(c.sim.store()), mounted: Which::Replacement, ..scenario(&[]) };
    let mut c = Client::new(again);
    c.hello();
    assert_eq!(c.image(), new);
}

#[test]
fn a_lost_setting_shows_only_after_the_restart() {
    let mut c = Client::replaced(scenario(&["setting-lost"]));
    let loaded = c.image();
    let revision = c.manifest().0;
    c.ask(Request::Restart(Nothing {})).unwrap();
    c.wait(45.0);
    c.hello();
    let after = c.image();
    assert_ne!(after, loaded);
    assert_eq!(c.manifest().0, revision, "it does not say so itself");
    let (a, b) = (from_image(&loaded).unwrap(), from_image(&after).unwrap());
    assert_eq!(a.iter().zip(&b).filter(|(a, b)| a != b).count(), 1);
}

#[test]
fn readings_stream_at_their_rate_with_device_time() {
    let mut c = Client::new(scenario(&[]));
    c.hello();
    assert_eq!(c.refused(Request::ReadingsStart(ReadingsStart { rate_hz: 11 })), RefusalCode::Range);
    c.stream(10);
    c.wait(10.0);
    assert!((99..=101).contains(&c.readings.len()), "{}", c.readings.len());
    let apart: Vec<u64> = c.readings.windows(2).map(|w| w[1].taken_us - w[0].taken_us).collect();
    assert!(apart.iter().all(|a| a.abs_diff(100_000) < 50), "{apart:?}");
    let r = c.last();
    assert_eq!((r.dropped, r.faults, r.flow_low, r.flow_high), (0, Faults(0), 0, 0), "{r:?}");
    assert!((15.0..80.0).contains(&c.flow(0)) && (15.0..80.0).contains(&c.flow(1)));
    c.ask(Request::ReadingsStop(Nothing {})).unwrap();
    let n = c.readings.len();
    c.wait(5.0);
    assert_eq!(c.readings.len(), n);
}

#[test]
fn the_clock_has_an_offset_and_a_rate_of_its_own() {
    let mut c = Client::new(scenario(&[]));
    c.hello();
    let ask = |c: &mut Client| {
        let sent = c.now.as_micros();
        let payload = c.ask(Request::Clock(ClockRequest { sent_us: sent })).unwrap();
        let Reply::Clock(r) = Reply::decode(Operation::Clock as u8, &payload).unwrap() else { panic!("a clock") };
        let x = clock::Exchange {
            sent,
            device_received: r.received_us,
            device_sent: r.replied_us,
            received: c.now.as_micros(),
        };
        (x.offset_us() as f64, x.delay_us().unwrap())
    };
    let (first, delay) = ask(&mut c);
    assert!(delay < 10_000, "{delay}");
    c.wait(3600.0);
    let (later, _) = ask(&mut c);
    let drift = (later - first) / 3.6e9;
    assert!(drift != 0.0 && drift.abs() < 2e-4, "{drift}");
}

#[test]
fn baseline_then_flow_fault_beyond_the_band_only() {
    let mut c = Client::replaced(exact(&[]));
    assert!(c.last().faults.has(Faults::BASELINE));
    assert_eq!(c.refused(Request::BaselineRead(Nothing {})), RefusalCode::NoBaseline);
    assert_eq!(c.take_baseline(), BaselineState::Taken);
    c.wait(5.0);
    assert_eq!(c.last().faults, Faults(0));
    // One closed hole is within the band.
    c.do_it(r#"{"do":"close","pipe":1,"hole":5}"#);
    c.wait(400.0);
    assert_eq!(c.last().faults, Faults(0));
    c.do_it(r#"{"do":"open","pipe":1,"hole":5}"#);
    // A shut inlet is not; the fault comes after the delay, and goes.
    c.do_it(r#"{"do":"inlet","inlet":1}"#);
    c.wait(50.0);
    assert!(!c.last().faults.has(Faults::FLOW));
    c.wait(30.0);
    assert!(c.last().faults.has(Faults::FLOW) && c.last().flow_low & 1 == 1);
    assert_eq!(c.control(r#"{"do":"panel"}"#)["panel"]["fault"], true);
    c.do_it(r#"{"do":"inlet","inlet":1,"shut":false}"#);
    c.wait(40.0);
    assert_eq!(c.last().faults, Faults(0));
    // So is a pipe off.
    c.do_it(r#"{"do":"pipe-off","pipe":2}"#);
    c.wait(90.0);
    assert!(c.last().flow_high & 2 == 2, "{:?}", c.last());
    c.do_it(r#"{"do":"pipe-on","pipe":2}"#);
    c.wait(40.0);
    // An opened cover voids the baseline, and it is no longer told as taken.
    let (state, held, _) = c.baseline();
    assert!(state == BaselineState::Taken && held.is_some());
    c.do_it(r#"{"do":"cover","open":true}"#);
    c.wait(3.0);
    assert!(c.last().faults.has(Faults::COVER) && c.last().faults.has(Faults::BASELINE));
    assert_eq!(c.baseline(), (BaselineState::Idle, None, None));
}

#[test]
fn a_baseline_is_not_taken_over_changing_flow() {
    let mut c = Client::replaced(exact(&[]));
    c.ask(Request::BaselineTake(Nothing {})).unwrap();
    assert_eq!(c.refused(Request::BaselineTake(Nothing {})), RefusalCode::Busy);
    c.wait(20.0);
    c.do_it(r#"{"do":"pipe-off","pipe":1}"#);
    c.wait(20.0);
    let (state, _, reason) = c.baseline();
    assert_eq!(state, BaselineState::Failed);
    assert!(reason.unwrap().contains("still changing"));
}

#[test]
fn smoke_alarms_latches_and_outputs() {
    let mut c = Client::replaced(exact(&[]));
    c.take_baseline();
    let operated = |c: &Client| c.last().outputs;
    let payload = c.ask(Request::Inhibit(Inhibit { seconds: 600 })).unwrap();
    let Reply::Inhibit(lease) = Reply::decode(Operation::Inhibit as u8, &payload).unwrap() else { panic!("a lease") };
    c.do_it(r#"{"do":"smoke","pipe":2,"hole":12,"obscuration":30,"seconds":60}"#);
    c.wait(10.0);
    let quiet = c.last().obscuration_n_m[0].value().unwrap();
    c.wait(90.0);
    let r = c.last();
    assert!(r.obscuration_n_m[0].value().unwrap() > quiet + 500_000, "{r:?}");
    assert!(r.alarms & 1 == 1 && r.alarms_latched & 1 == 1, "{r:?}");
    assert_eq!(operated(&c), 0, "inhibited");
    let release = Request::InhibitRelease(InhibitRelease { lease: lease.lease });
    assert_eq!(c.refused(release), RefusalCode::NotClear);
    // Renewed, then left to lapse with smoke about: the fault first, the outputs only when all is clear.
    c.wait(300.0);
    assert_eq!(c.last().alarms, 0);
    assert_ne!(c.last().alarms_latched, 0);
    c.wait(205.0);
    assert!(c.last().faults.has(Faults::INHIBIT_LAPSED), "{:?}", c.last());
    assert_eq!(operated(&c), 1, "only the fault's output");
    c.wait(60.0);
    assert!(c.last().faults.has(Faults::INHIBIT_LAPSED), "latched alarms hold the outputs back");
    c.ask(Request::ResetLatches(Nothing {})).unwrap();
    c.wait(10.0);
    assert_eq!((c.last().faults, operated(&c)), (Faults(0), 0));
    let panel = c.control(r#"{"do":"panel"}"#);
    assert_eq!(panel["panel"]["alarms_not_isolated"], 0, "{panel}");
    // Not inhibited: the alarm reaches its output and the panel.
    c.do_it(r#"{"do":"smoke","pipe":1,"hole":8,"obscuration":30,"seconds":60}"#);
    c.wait(100.0);
    assert!(operated(&c) & 0b10 != 0, "{:?}", c.last());
    c.do_it(r#"{"do":"smoke-off"}"#);
}

#[test]
fn an_inhibit_outlives_a_restart() {
    let mut c = Client::replaced(exact(&[]));
    c.ask(Request::Inhibit(Inhibit { seconds: 600 })).unwrap();
    c.ask(Request::Restart(Nothing {})).unwrap();
    c.wait(6.0);
    c.hello();
    let payload = c.ask(Request::OutputsStatus(Nothing {})).unwrap();
    let Reply::OutputsStatus(s) = Reply::decode(Operation::OutputsStatus as u8, &payload).unwrap() else { panic!() };
    assert_eq!(s.inhibit, InhibitState::Lapsed);
    c.wait(60.0);
    let payload = c.ask(Request::OutputsStatus(Nothing {})).unwrap();
    let Reply::OutputsStatus(s) = Reply::decode(Operation::OutputsStatus as u8, &payload).unwrap() else { panic!() };
    assert_eq!(s.inhibit, InhibitState::Free, "the air is clear");
}

#[test]
fn outputs_are_driven_for_test_and_reach_the_right_wire() {
    for (defects, wire) in [(vec![], 2), (vec!["wires-crossed:severity=2"], 3)] {
        let mut c = Client::replaced(exact(&defects));
        assert_eq!(c.refused(Request::Drive(Drive { output: 5, seconds: 10 })), RefusalCode::Range);
        c.ask(Request::Drive(Drive { output: 2, seconds: 10 })).unwrap();
        let panel = c.control(r#"{"do":"panel"}"#);
        let on = |n: usize| panel["panel"]["inputs"][n - 1] == true;
        assert!(on(wire) && !on(5 - wire), "{panel}");
        c.wait(12.0);
        assert_eq!(c.last().outputs & !1, 0);
    }
}

#[test]
fn supplies_removed_in_turn_raise_a_fault_each() {
    let mut c = Client::replaced(exact(&[]));
    c.take_baseline();
    for (line, fault) in [
        (r#"{"do":"power","mains":false}"#, Faults::MAINS),
        (r#"{"do":"power","mains":true,"battery":false}"#, Faults::BATTERY),
    ] {
        c.do_it(line);
        c.wait(3.0);
        assert_eq!(c.last().faults, fault);
        assert_eq!(c.control(r#"{"do":"panel"}"#)["panel"]["fault"], true);
    }
    c.do_it(r#"{"do":"power","battery":true}"#);
    c.wait(3.0);
    assert_eq!(c.last().faults, Faults(0));
    assert!(c.last().supply_mv.value().unwrap() > 26_000 && c.last().supply_ma.value().unwrap() > 200);
}

#[test]
fn the_log_is_read_from_a_position() {
    let mut c = Client::replaced(exact(&[]));
    let payload = c.ask(Request::LogRead(LogRead { from: 0 })).unwrap();
    let Reply::LogRead(page) = Reply::decode(Operation::LogRead as u8, &payload).unwrap() else { panic!("a page") };
    assert_eq!(page.entries[0].code, EventCode::Started as u16);
    assert!(page.entries.iter().any(|e| e.code == EventCode::SettingsChanged as u16));
    c.do_it(r#"{"do":"cover","open":true}"#);
    c.wait(3.0);
    assert!(c.log.iter().any(|(code, text)| *code == EventCode::Fault as u16 && text.contains("cover")), "{:?}", c.log);
}

#[test]
fn one_seed_gives_the_same_bytes() {
    let run = |seed: u64| {
        let mut c = Client::replaced(Scenario { seed, ..scenario(&["hole-blocked"]) });
        c.do_it(r#"{"do":"smoke","pipe":1,"hole":8,"obscuration":20,"seconds":20}"#);
        c.wait(60.0);
        (c.readings, c.sim.store())
    };
    let (first, again, other) = (run(3), run(3), run(4));
    assert!(first == again && first.0 != other.0);
}

#[test]
fn the_new_unit_can_be_loaded_on_the_bench_first() {
    let mut c = Client::new(exact(&[]));
    assert_eq!(c.hello().0, "Model A");
    c.do_it(r#"{"do":"power","unit":"replacement","mains":true}"#);
    c.do_it(r#"{"do":"cable","unit":"replacement"}"#);
    c.wait(60.0);
    let (model, boot, _) = c.hello();
    assert_eq!(model, "Model B");
    c.stream(1);
    c.wait(20.0);
    // Inlets open, nothing in the way: more than any pipe lets through.
    assert!(c.flow(0) > 60.0, "{}", c.flow(0));
    assert!(c.last().faults.has(Faults::BATTERY));
    let mut settings = from_image(&c.image()).unwrap();
    settings.iter_mut().filter(|s| s.key == "label.zone").for_each(|s| s.value = SettingValue::Text("7".into()));
    let new = to_image(&settings).unwrap();
    let digest = sha2::Sha256::digest(&new).into();
    let transaction = c.begin(&new, digest).unwrap();
    c.chunks(transaction, &new);
    c.ask(Request::WriteCommit(WriteCommit { transaction, digest })).unwrap();
    // The outgoing unit kept working meanwhile.
    c.do_it(r#"{"do":"cable","unit":"outgoing"}"#);
    c.hello();
    c.stream(1);
    c.wait(3.0);
    assert_eq!(c.last().faults, Faults(0));
    c.do_it(r#"{"do":"swap"}"#);
    c.wait(60.0);
    let (model, later, _) = c.hello();
    assert!(model == "Model B" && later != boot);
    assert_eq!(c.image(), new);
}
