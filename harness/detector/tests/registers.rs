//! The registers driver against a bus that is played: replies that are late, of others, damaged or refused; settings that break
//! in the middle. The unit's side is a library's, so that both ends are not one.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "helpers of tests may panic")]
use plumeline_base::{Instant, input::LinkDown};
use plumeline_detector::{
    Driver, Report, Request, Trouble,
    ask::{Look, Reply},
    registers::{Map, Registers, map::*},
    settings::{Item, Settings, Value},
    told::{Flag, Quantity, Si, Who},
    vocabulary::FlowBasis,
};
use rmodbus::{
    ModbusProto, guess_request_frame_len,
    server::{ModbusFrame, context::ModbusContext, storage::ModbusStorage},
};
use std::{collections::VecDeque, time::Duration};

const UNIT: u8 = 17;

fn map(protocol: Protocol) -> Map {
    let input = |at, form| Place { table: Table::Input, at, form };
    let litres = Si::Linear { times: 1.0 / 60_000.0, plus: 0.0 };
    let flow = |at| Number { place: input(at, Form::F32), scale: 1.0, offset: 0.0, none: None, si: litres };
    let setting = |key: &str, at| Setting {
        key: key.into(),
        unit: None,
        inlet: None,
        place: Place { table: Table::Holding, at, form: Form::U16 },
        takes: Takes::Number { scale: 0.1, offset: 0.0, step: 0.1, range: (0.0, 6_000.0) },
    };
    let ms = Duration::from_millis;
    Map {
        bus: BusRules { protocol, address: UNIT, gap: ms(5), timeout: ms(300), tries: 3, most: 100 },
        order: Order::default(),
        every: ms(1000),
        maker: "Invented".into(),
        model: "Played".into(),
        has: (1, 1, 0),
        basis: FlowBasis::Actual,
        numbers: vec![
            (Quantity::Flow(1), flow(0)),
            (Quantity::Flow(2), flow(2)),
            (
                Quantity::Starts,
                Number { place: input(10, Form::U16), scale: 1.0, offset: 0.0, none: None, si: Si::AS_IS },
            ),
        ],
        flags: vec![(Flag::Level(1), input(11, Form::Bit(3)))],
        texts: vec![(Who::Serial, input(20, Form::Text(3)))],
        settings: vec![setting("a", 100), setting("b", 101)],
        settable: true,
        commands: Vec::new(),
    }
}

/// What becomes of a request.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Fate {
    Lost,
    /// Its reply comes so much later, ms.
    Late(u64),
    Damaged,
    /// The refusal with this code.
    Refused(u8),
    /// Another device answers.
    Other,
}

/// A bus with one unit, and the driver at its other end.
struct Bus {
    driver: Registers,
    protocol: ModbusProto,
    tables: ModbusStorage<8, 8, 64, 128>,
    now: Instant,
    /// Replies under way.
    coming: Vec<(Instant, Vec<u8>)>,
    fates: VecDeque<Option<Fate>>,
    asked: u32,
    /// The unit refuses values of this register over its limit.
    limit: Option<(u16, u16)>,
    echo: bool,
}
impl Bus {
    fn new(map: Map) -> Self {
        let protocol = match map.bus.protocol {
            Protocol::Rtu => ModbusProto::Rtu,
            Protocol::Ascii => ModbusProto::Ascii,
            Protocol::Tcp => ModbusProto::TcpUdp,
        };
        let mut tables = ModbusStorage::new();
        tables.set_inputs_from_f32(0, 30.5).unwrap();
        tables.set_inputs_from_f32(2, 41.25).unwrap();
        tables.set_input(10, 4).unwrap();
        tables.set_input(11, 0b1000).unwrap();
        for (at, word) in (20..).zip([0x5331, 0x3233, 0x3400]) {
            tables.set_input(at, word).unwrap();
        }
        tables.set_holding(100, 10).unwrap();
        tables.set_holding(101, 20).unwrap();
        let mut driver = Registers::new(map);
        driver.link_up(Instant::START);
        let (coming, fates) = (Vec::new(), VecDeque::new());
        Self { driver, protocol, tables, now: Instant::START, coming, fates, asked: 0, limit: None, echo: false }
    }
    fn fates(mut self, fates: &[Option<Fate>]) -> Self {
        self.fates = fates.iter().copied().collect();
        self
    }
    /// The unit's answer to a request, by the library.
    fn answer(&mut self, request: &[u8]) -> Option<Vec<u8>> {
        let mut decoded = [0; 256];
        let request = if self.protocol == ModbusProto::Ascii {
            let n = rmodbus::parse_ascii_frame(request, request.len(), &mut decoded, 0).unwrap();
            &decoded[..usize::from(n)]
        } else {
            assert_eq!(usize::from(guess_request_frame_len(request, self.protocol).unwrap()), request.len());
            request
        };
        let fate = self.fates.pop_front().flatten();
        let address = if fate == Some(Fate::Other) { 18 } else { UNIT };
        let mut request = request.to_vec();
        let mut response = Vec::new();
        if let Some(Fate::Refused(code)) = fate {
            // Of a function that the library does not have: it refuses by itself.
            let at = if self.protocol == ModbusProto::TcpUdp { 7 } else { 1 };
            response = vec![UNIT, request[at] | 0x80, code];
            let crc = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&response);
            response.extend(crc.to_le_bytes());
            return Some(response);
        }
        if address != UNIT {
            request[0] = address;
            let end = request.len() - 2;
            let crc = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&request[..end]);
            request[end..].copy_from_slice(&crc.to_le_bytes());
        }
        let mut frame = ModbusFrame::new(address, &request, self.protocol, &mut response);
        frame.parse().unwrap();
        if frame.readonly {
            frame.process_read(&self.tables).unwrap();
        } else {
            let refused = self.limit.is_some_and(|(at, most)| {
                frame.reg == at && u16::from_be_bytes([request[4], request[5]]) > self.tables.get_holding(most).unwrap()
            });
            if refused {
                frame.set_modbus_error_if_unset(&rmodbus::ErrorKind::IllegalDataValue).unwrap();
            } else {
                frame.process_write(&mut self.tables).unwrap();
            }
        }
        frame.finalize_response().unwrap();
        let mut reply = response;
        if self.protocol == ModbusProto::Ascii {
            let binary = reply;
            reply = Vec::new();
            rmodbus::generate_ascii_frame(&binary, &mut reply).unwrap();
        }
        match fate {
            Some(Fate::Lost) => return None,
            Some(Fate::Damaged) => reply[4] ^= 0x10,
            Some(Fate::Late(ms)) => {
                self.coming.push((self.now + Duration::from_millis(ms), reply));
                return None;
            }
            _ => {}
        }
        Some(reply)
    }
    /// Until nothing is left to do but wait for more than ten minutes.
    fn run(&mut self, until: impl Fn(&Report) -> bool) -> Report {
        for _ in 0..5_000 {
            let mut out = Vec::new();
            while self.driver.poll_send(&mut out) {}
            if !out.is_empty() {
                self.asked += 1;
                if self.echo {
                    self.coming.push((self.now + Duration::from_millis(2), out.clone()));
                }
                if let Some(reply) = self.answer(&out) {
                    self.coming.push((self.now + Duration::from_millis(20), reply));
                }
            }
            while let Some(report) = self.driver.poll_report() {
                if until(&report) {
                    return report;
                }
            }
            self.coming.sort_by_key(|(at, _)| *at);
            let arrives = self.coming.first().map(|(at, _)| *at);
            let next =
                [arrives, self.driver.next_timeout()].into_iter().flatten().min().expect("it waits for something");
            self.now = self.now.max(next);
            while self.coming.first().is_some_and(|(at, _)| *at <= self.now) {
                let (_, bytes) = self.coming.remove(0);
                // In two pieces, as lines bring it.
                let (a, b) = bytes.split_at(bytes.len() / 2);
                self.driver.receive(self.now, a);
                self.driver.receive(self.now, b);
            }
            self.driver.timeout(self.now);
        }
        panic!("it does not end");
    }
    fn ask(&mut self, request: Request) -> Result<Reply, Trouble> {
        let ticket = self.driver.request(self.now, request);
        match self.run(|r| matches!(r, Report::Ended(t, _) if *t == ticket)) {
            Report::Ended(_, end) => end,
            other => panic!("{other:?}"),
        }
    }
    fn flows(&mut self) -> Vec<f64> {
        match self.ask(Request::ReadOnce { look: Look::Flows }) {
            Ok(Reply::Reading(r)) => {
                r.flow_m3_s.iter().map(|q| (q.unwrap() * 60_000.0 * 100.0).round() / 100.0).collect()
            }
            other => panic!("{other:?}"),
        }
    }
}
fn settings(a: f64, b: f64) -> Settings {
    let item = |key: &str, x| Item { key: key.into(), value: Value::Number(x), unit: None };
    Settings::from_items(None, vec![item("a", a), item("b", b)]).unwrap()
}

#[test]
fn a_unit_is_identified_and_read_by_each_framing() {
    for protocol in [Protocol::Rtu, Protocol::Ascii, Protocol::Tcp] {
        let mut bus = Bus::new(map(protocol));
        let Ok(Reply::Identity((who, can))) = bus.ask(Request::Identify) else { panic!() };
        assert_eq!((who.maker.as_str(), who.serial.as_str(), who.boot_id), ("Invented", "S1234", Some(4)));
        assert_eq!(
            (can.inlets, can.read_settings, can.inhibit, can.event_log, can.clock),
            (2, true, false, false, false)
        );
        let Ok(Reply::Reading(r)) = bus.ask(Request::ReadOnce { look: Look::State }) else { panic!() };
        assert_eq!((r.levels, r.latched, r.faults, r.outputs), (Some(1), None, None, None), "{protocol:?}");
        assert_eq!(bus.flows(), [30.5, 41.25]);
        let cannot = bus.ask(Request::Inhibit { lease: Duration::from_secs(60) });
        assert!(matches!(cannot, Err(Trouble::CannotDo(_))), "{cannot:?}");
    }
}
/// Half of each flow is asked for by a request of the same shape: the reply to the one must never be taken for the other's.
#[test]
fn a_late_reply_is_never_taken_for_the_present_one() {
    for protocol in [Protocol::Rtu, Protocol::Ascii] {
        for late in (200..2_500).step_by(50) {
            let mut map = map(protocol);
            // Two requests that look alike: the flows are read apart from each other.
            map.bus.most = 2;
            let mut bus = Bus::new(map).fates(&[Some(Fate::Late(late))]);
            for _ in 0..8 {
                match bus.ask(Request::ReadOnce { look: Look::Flows }) {
                    Ok(Reply::Reading(_)) => assert_eq!(bus.flows(), [30.5, 41.25], "{protocol:?} {late}"),
                    Ok(other) => panic!("{other:?}"),
                    Err(trouble) => assert!(matches!(trouble, Trouble::Silent | Trouble::Garbled), "{trouble:?}"),
                }
            }
        }
    }
}
#[test]
fn lost_damaged_and_foreign_replies_are_told_apart() {
    let fate = |fate| {
        let mut bus = Bus::new(map(Protocol::Rtu)).fates(&[Some(fate); 40]);
        bus.ask(Request::Identify).unwrap_err()
    };
    assert_eq!(fate(Fate::Lost), Trouble::Silent);
    assert_eq!(fate(Fate::Damaged), Trouble::Garbled);
    let other = fate(Fate::Other).to_string();
    assert!(other.contains("device 18 answers") && other.contains("`address`"), "{other}");
    let refused = fate(Fate::Refused(2)).to_string();
    assert!(refused.contains("no such address") && refused.contains("count from 0"), "{refused}");
    assert_eq!(fate(Fate::Refused(11)), Trouble::Silent, "a gateway's word for a silent unit");
    // One lost, one damaged, then an answer; a busy unit is asked again.
    for fates in [[Some(Fate::Lost), Some(Fate::Damaged)], [Some(Fate::Refused(6)), Some(Fate::Refused(5))]] {
        let mut bus = Bus::new(map(Protocol::Rtu)).fates(&fates);
        assert!(bus.ask(Request::Identify).is_ok());
    }
}
#[test]
fn an_adapter_that_gives_back_what_is_sent_is_put_up_with() {
    let mut bus = Bus::new(map(Protocol::Rtu));
    bus.echo = true;
    assert!(bus.ask(Request::Identify).is_ok());
    let Ok(Reply::Written(None)) = bus.ask(Request::WriteSettings { settings: settings(3.1, 2.0) }) else { panic!() };
    // The echo of a write is not its reply: a unit that is gone is noticed.
    bus.fates = [Some(Fate::Lost); 40].into();
    let end = bus.ask(Request::WriteSettings { settings: settings(3.2, 2.0) });
    assert_eq!(end, Err(Trouble::Silent));
}
#[test]
fn registers_in_the_wrong_order_are_refused_with_the_remedy() {
    let mut wrong = map(Protocol::Rtu);
    wrong.order.low_word_first = true;
    let why = Bus::new(wrong).ask(Request::Identify).unwrap_err().to_string();
    assert!(why.contains("Flow(1)") && why.contains("`words`"), "{why}");
}
#[test]
fn settings_are_written_where_they_differ_and_read_back() {
    let mut bus = Bus::new(map(Protocol::Tcp));
    let Ok(Reply::SettingsState(before)) = bus.ask(Request::SettingsState) else { panic!() };
    bus.asked = 0;
    let same = bus.ask(Request::WriteSettings { settings: settings(1.0, 2.0) });
    assert_eq!((same, bus.asked), (Ok(Reply::Written(None)), 2), "nothing differs: read twice, written never");
    assert_eq!(bus.ask(Request::WriteSettings { settings: settings(1.0, 2.5) }), Ok(Reply::Written(None)));
    assert_eq!((bus.tables.get_holding(100), bus.tables.get_holding(101)), (Ok(10), Ok(25)));
    let Ok(Reply::SettingsState(after)) = bus.ask(Request::SettingsState) else { panic!() };
    assert!(before.revision.is_none() && before.sha256 != after.sha256);
    let cannot = bus.ask(Request::WriteSettings { settings: settings(1.0, 9_999.0) });
    assert!(matches!(&cannot, Err(Trouble::Refused { reason, .. }) if reason.contains("setting b")), "{cannot:?}");
}
/// The unit takes `a` only up to what `b` is: it is put off, and taken when `b` has been raised.
#[test]
fn an_item_that_is_refused_for_now_comes_after_the_others() {
    let mut bus = Bus::new(map(Protocol::Rtu));
    bus.limit = Some((100, 101));
    assert_eq!(bus.ask(Request::WriteSettings { settings: settings(4.0, 5.0) }), Ok(Reply::Written(None)));
    let refused = bus.ask(Request::WriteSettings { settings: settings(6.0, 5.0) });
    assert!(matches!(&refused, Err(Trouble::Mixture(why)) if why.contains("setting a")), "{refused:?}");
}
#[test]
fn a_load_that_breaks_in_the_middle_is_a_mixture() {
    for cut in 0..6 {
        let mut fates = vec![None; cut];
        fates.extend([Some(Fate::Lost); 40]);
        let mut bus = Bus::new(map(Protocol::Rtu)).fates(&fates);
        let end = bus.ask(Request::WriteSettings { settings: settings(4.0, 5.0) }).unwrap_err();
        // The first request reads what the unit holds.
        match cut {
            0 => assert_eq!(end, Trouble::Silent),
            _ => assert!(matches!(end, Trouble::Mixture(_)), "{cut}: {end:?}"),
        }
        bus.fates.clear();
        assert_eq!(bus.ask(Request::WriteSettings { settings: settings(4.0, 5.0) }), Ok(Reply::Written(None)));
    }
    let mut bus = Bus::new(map(Protocol::Rtu)).fates(&[None, None, Some(Fate::Lost)]);
    let ticket = bus.driver.request(bus.now, Request::WriteSettings { settings: settings(4.0, 5.0) });
    bus.run(|r| matches!(r, Report::Progress { .. }));
    bus.driver.link_down(bus.now, LinkDown::Unplugged);
    let Some(Report::Ended(ended, Err(Trouble::Mixture(_)))) = bus.driver.poll_report() else { panic!() };
    assert_eq!(ended, ticket);
}
#[test]
fn polled_readings_are_of_the_middle_and_a_restart_shows() {
    let mut bus = Bus::new(map(Protocol::Rtu));
    assert!(bus.ask(Request::Identify).is_ok() && bus.ask(Request::StartReadings { hz: 10 }).is_ok());
    let reading = |r: &Report| matches!(r, Report::Reading(_));
    let Report::Reading(first) = bus.run(reading) else { panic!() };
    let before = bus.now.since(first.received);
    assert!(before > Duration::from_millis(10) && before < Duration::from_millis(60), "{before:?}");
    let Report::Reading(next) = bus.run(reading) else { panic!() };
    assert_eq!(next.received.since(first.received), Duration::from_secs(1), "no more often than the map says");
    bus.tables.set_input(10, 5).unwrap();
    let Report::StartedAnew(who, _) = bus.run(|r| matches!(r, Report::StartedAnew(..))) else { panic!() };
    assert_eq!(who.boot_id, Some(5));
    bus.fates = [Some(Fate::Lost); 6].into();
    bus.run(|r| matches!(r, Report::Silent));
    bus.run(|r| matches!(r, Report::Back));
    let Report::Reading(after) = bus.run(reading) else { panic!() };
    assert!(after.missed > 0);
}
