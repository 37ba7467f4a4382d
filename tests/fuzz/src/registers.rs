//! The registers driver at a line that brings anything: raw bytes, and replies that are right but for what the bytes change.
use crate::dice::Dice;
use plumeline_base::{Instant, input::LinkDown};
use plumeline_detector::{
    Driver, Report, Request,
    ask::{Look, Reply},
    registers::{Registers, map::Protocol},
    settings::Settings,
};
use plumeline_job::description;
use std::{collections::BTreeSet, time::Duration};

const PROTOCOLS: [Protocol; 3] = [Protocol::Rtu, Protocol::Ascii, Protocol::Tcp];

/// A reply to an RTU or TCP request with whatever values, and a check that holds.
fn reply(request: &[u8], protocol: Protocol, dice: &mut Dice<'_>) -> Vec<u8> {
    let head = if protocol == Protocol::Tcp { 6 } else { 0 };
    let Some([address, function, a, b, c, d]) = request.get(head..head + 6).and_then(|r| <[u8; 6]>::try_from(r).ok())
    else {
        return Vec::new();
    };
    let count = usize::from(u16::from_be_bytes([c, d]));
    let mut body = match function {
        1..=4 => {
            let bytes = if function < 3 { count.div_ceil(8) } else { count * 2 };
            let mut data = dice.bytes(bytes).to_vec();
            data.resize(bytes, 0);
            [vec![address, function, bytes as u8], data].concat()
        }
        _ => vec![address, function, a, b, c, d],
    };
    match dice.byte() {
        0..200 => {}
        200..220 => body = vec![address, function | 0x80, dice.byte()],
        220..235 => body[0] ^= dice.byte(),
        _ => body.truncate(usize::from(dice.byte()) % (body.len() + 1)),
    }
    match protocol {
        Protocol::Tcp => {
            let mut frame = request[..4].to_vec();
            frame.extend((body.len() as u16).to_be_bytes());
            [frame, body].concat()
        }
        _ => {
            let check = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&body);
            body.extend(check.to_le_bytes());
            body
        }
    }
}
fn request(dice: &mut Dice<'_>) -> Request {
    match dice.byte() % 12 {
        0..3 => Request::Identify,
        3 => Request::StartReadings { hz: dice.byte() },
        4 => Request::ReadOnce { look: Look::Flows },
        5 => Request::ReadSettings,
        6 => Request::SettingsState,
        7 => Request::WriteSettings { settings: Settings::default() },
        8 => Request::TakeBaseline,
        9 => Request::TellTime,
        10 => Request::Inhibit { lease: Duration::from_secs(dice.byte().into()) },
        _ => Request::Drive { output: dice.byte(), on: dice.byte() & 1 == 1 },
    }
}
/// Every request ends once, what is read is numbers that can be right, and time does not stand still.
pub fn registers(data: &[u8]) {
    let mut dice = Dice::new(data);
    let text = description::SHIPPED.iter().find(|(name, _)| *name == "model-g").unwrap().1;
    let mut map = description::parse("model-g", text.as_bytes()).unwrap().registers.unwrap();
    map.bus.protocol = PROTOCOLS[usize::from(dice.byte()) % 3];
    let protocol = map.bus.protocol;
    let mut driver = Registers::new(map);
    let (mut now, mut open) = (Instant::START, BTreeSet::new());
    driver.link_up(now);
    for _ in 0..400 {
        let mut out = Vec::new();
        while driver.poll_send(&mut out) {}
        match dice.byte() {
            0..60 => {
                open.insert(driver.request(now, request(&mut dice)));
            }
            60..180 => driver.receive(now, &reply(&out, protocol, &mut dice)),
            180..210 => {
                let length = usize::from(dice.byte());
                driver.receive(now, dice.bytes(length));
            }
            210..215 => {
                driver.link_down(now, LinkDown::Unplugged);
                driver.link_up(now);
            }
            _ => {
                let next = driver.next_timeout().unwrap_or(now).max(now + Duration::from_millis(1));
                assert!(next.since(now) < Duration::from_secs(700), "it waits for too long");
                now = next;
                driver.timeout(now);
            }
        }
        while let Some(report) = driver.poll_report() {
            let reading = match report {
                Report::Ended(ticket, end) => {
                    assert!(open.remove(&ticket), "ended twice, or never asked");
                    match end {
                        Ok(Reply::Reading(reading)) => reading,
                        _ => continue,
                    }
                }
                Report::Reading(reading) => reading,
                _ => continue,
            };
            assert!(reading.received <= now);
            let numbers = reading.flow_m3_s.iter().chain(&reading.extinction_per_m).flatten();
            assert!(numbers.into_iter().all(|x| x.is_finite()));
        }
        if dice.is_spent() {
            break;
        }
    }
    driver.link_down(now, LinkDown::Closed);
    while let Some(report) = driver.poll_report() {
        if let Report::Ended(ticket, _) = report {
            assert!(open.remove(&ticket));
        }
    }
    assert!(open.is_empty(), "a request never ended");
}
