//! Registers: a table of values and commands over Modbus RTU, ASCII or TCP.
//!
//! The table is one invented layout for every model that is reached so; `harness/job/descriptions/model-g.toml` states the same from
//! the other side. Framing and exceptions are those of a library, so that they are not the driver's own. Not here: what
//! the unit does (see [`crate::device`]).
use super::{Front, line::Outbox};
use crate::{
    device::{Device, outputs::Inhibit, settings::SettingValue, settings::from_image, tell::Snapshot},
    models::{Allowed, Framing, RegisterBus, Slot},
};
use plumeline_base::{
    Instant,
    obscuration::{Extinction, ObscurationUnit},
};
use plumewire::image::Decimal;
use rmodbus::{
    ErrorKind, ModbusProto, generate_ascii_frame, guess_request_frame_len, parse_ascii_frame,
    server::{Changes, ModbusFrame, context::ModbusContext, storage::ModbusStorage},
};
use std::time::Duration;

/// Time that the unit takes to answer, and of a byte at 19,200 bit/s, eleven bits each.
const ANSWER: Duration = Duration::from_millis(8);
const BYTE: Duration = Duration::from_micros(573);
/// What stands in the registers is renewed this often.
const RENEWED: Duration = Duration::from_millis(250);
/// After so long a pause a frame begins anew.
const PAUSE: Duration = Duration::from_millis(50);

/// Input registers that there are.
const INPUTS: [(u16, u16); 5] = [(0, 14), (20, 9), (40, 9), (60, 2), (70, 18)];
/// Holding registers but for the settings, and coils.
const HOLDINGS: [(u16, u16); 2] = [(10, 3), (20, 1)];
const COILS: [(u16, u16); 2] = [(0, 3), (10, 4)];
/// Where the settings begin, in the order of their keys.
const SETTINGS: u16 = 1000;
/// Registers of a text; a number counts thousandths.
const TEXT: u16 = 20;
/// What stands where there is no value.
const NONE: u16 = 0xFFFF;
/// 0.01 L/min in m3/s.
const FLOW: f64 = 0.01 / 60_000.0;

type Storage = ModbusStorage<32, 1, 100, 1200>;

/// The unit's end of a line that is read by registers.
#[derive(Debug)]
pub(crate) struct Registers {
    bus: RegisterBus,
    buffer: Vec<u8>,
    heard: Instant,
    outbox: Outbox,
    lease: Option<u32>,
    renews: Instant,
}

impl Front for Registers {
    fn restart(&mut self) {
        *self = Self::new(self.bus);
    }
    fn received(&mut self, device: &mut Device, now: Instant, bytes: &[u8]) {
        if now.since(self.heard) > PAUSE {
            self.buffer.clear();
        }
        self.heard = now;
        self.buffer.extend_from_slice(bytes);
        while let Some(frame) = self.frame() {
            if let Some(reply) = self.answer(device, now, &frame) {
                self.outbox.send(now + ANSWER, &reply);
            }
        }
    }
    fn next_reading(&self) -> Option<Instant> {
        Some(self.renews)
    }
    fn reading_due(&mut self, now: Instant) -> bool {
        let due = now >= self.renews;
        if due {
            self.renews = now + RENEWED;
        }
        due
    }
    fn next_bytes(&self) -> Option<Instant> {
        self.outbox.next()
    }
    fn poll(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.outbox.poll(now)
    }
}

/// A setting's place.
struct Held<'a> {
    slot: &'a Slot,
    at: u16,
    length: u16,
}

impl Registers {
    pub(crate) fn new(bus: RegisterBus) -> Self {
        let byte = if bus.framing == Framing::Tcp { Duration::ZERO } else { BYTE };
        let (heard, renews) = (Instant::START, Instant::START);
        Self { bus, buffer: Vec::new(), heard, outbox: Outbox::new(byte), lease: None, renews }
    }
    const fn protocol(&self) -> ModbusProto {
        match self.bus.framing {
            Framing::Rtu => ModbusProto::Rtu,
            Framing::Ascii => ModbusProto::Ascii,
            Framing::Tcp => ModbusProto::TcpUdp,
        }
    }
    /// The next whole request. What can't be one is forgotten, as at a pause.
    fn frame(&mut self) -> Option<Vec<u8>> {
        if self.bus.framing == Framing::Ascii {
            let end = self.buffer.iter().position(|b| *b == b'\n')?;
            let line: Vec<u8> = self.buffer.drain(..=end).collect();
            let mut frame = [0; 256];
            let length = parse_ascii_frame(&line, line.len(), &mut frame, 0).ok()?;
            return Some(frame[..usize::from(length)].to_vec());
        }
        match guess_request_frame_len(&self.buffer, self.protocol()) {
            Ok(length) if self.buffer.len() >= usize::from(length) => {
                Some(self.buffer.drain(..usize::from(length)).collect())
            }
            Ok(_) | Err(ErrorKind::OOB) => None,
            Err(_) => {
                self.buffer.clear();
                None
            }
        }
    }
    fn answer(&mut self, device: &mut Device, now: Instant, bytes: &[u8]) -> Option<Vec<u8>> {
        // Of another function the library answers before it looks at the check, and adds beyond a byte.
        let function = bytes.get(if self.bus.framing == Framing::Tcp { 7 } else { 1 })?;
        if !matches!(function, 1..=6 | 15 | 16) {
            return None;
        }
        let mut response = Vec::new();
        let mut frame = ModbusFrame::new(self.bus.address, bytes, self.protocol(), &mut response);
        if frame.parse().is_err() || !frame.response_required {
            // Damaged, or for another device.
            return None;
        }
        if frame.processing_required {
            let asked = (frame.func.byte(), frame.reg, frame.count);
            let done = match (self.has(device, asked), frame.readonly) {
                (false, _) => Err(ErrorKind::IllegalDataAddress),
                (true, true) => self.storage(device, now).and_then(|s| frame.process_read(&*s)),
                (true, false) => {
                    let mut storage = self.storage(device, now).ok()?;
                    let changes = frame.changes();
                    let written = frame.process_write(&mut *storage);
                    written.and_then(|()| changes.map_or(Ok(()), |c| self.change(device, now, c, &storage)))
                }
            };
            if let Err(why) = done {
                frame.set_modbus_error_if_unset(&why).ok()?;
            }
        }
        frame.finalize_response().ok()?;
        if self.bus.framing != Framing::Ascii {
            return Some(response);
        }
        let mut line = Vec::new();
        generate_ascii_frame(&response, &mut line).ok()?;
        Some(line)
    }
    /// All of these addresses are there.
    fn has(&self, device: &Device, (function, at, count): (u8, u16, u16)) -> bool {
        let settings = self.settings(device);
        let end = settings.last().map_or(SETTINGS, |s| s.at + s.length);
        let inside = |ranges: &[(u16, u16)]| {
            ranges.iter().any(|(from, n)| at >= *from && u32::from(at) + u32::from(count) <= u32::from(from + n))
        };
        match function {
            1 | 5 | 15 => inside(&COILS),
            3 | 6 | 16 => inside(&HOLDINGS) || inside(&[(SETTINGS, end - SETTINGS)]),
            4 => inside(&INPUTS),
            _ => false,
        }
    }
    /// Every setting of the model, also those of inlets that this unit does not have.
    fn settings<'a>(&self, device: &'a Device) -> Vec<Held<'a>> {
        let mut at = SETTINGS;
        let place = |slot: &'a Slot| {
            let length = match slot.allowed {
                Allowed::Switch | Allowed::OneOf(_) => 1,
                Allowed::Number { .. } => 2,
                Allowed::Text(_) | Allowed::Bytes(_) => TEXT,
            };
            at += length;
            Held { slot, at: at - length, length }
        };
        device.model().schema(u8::MAX).into_iter().map(place).collect()
    }
    /// All that stands in the tables now.
    fn storage(&self, device: &mut Device, now: Instant) -> Result<Box<Storage>, ErrorKind> {
        let mut s = Box::<Storage>::default();
        let seen = device.snapshot(now).ok_or(ErrorKind::SlaveDeviceFailure)?;
        let mut input = |at: u16, value: u16| s.set_input(at, value);
        for (at, value) in
            (0..8).zip(seen.flow_m3_s.iter().map(|q| if seen.starting { NONE } else { flow(*q) }).chain([NONE; 8]))
        {
            input(at, value)?;
        }
        readings(&seen, &mut input)?;
        let baseline = device.baseline().cloned();
        for i in 0..8u16 {
            let of = baseline.as_ref().and_then(|b| b.flow_nl_s.get(usize::from(i)).copied()).filter(|q| *q >= 0);
            input(40 + i, of.map_or(NONE, |q| flow(q as f64 * 1e-12)))?;
        }
        input(48, baseline.map_or(0, |b| b.id as u16))?;
        input(60, device.boots() as u16)?;
        input(61, device.inlets().into())?;
        let model = device.model();
        for (at, length, text) in [(70, 8, &*model.name), (78, 5, device.serial()), (83, 5, &*model.firmware)] {
            for (i, word) in (0..length).zip(words(text)) {
                input(at + i, word)?;
            }
        }
        let seconds = device.utc_ms(now).map_or(0, |ms| ms / 1000) as u32;
        s.set_holdings_from_u32(10, seconds)?;
        s.set_holding(12, device.zone_min() as i16 as u16)?;
        let left = match device.inhibited() {
            Inhibit::Leased { until, .. } => until.since(now).as_secs() as u16,
            Inhibit::Free | Inhibit::Lapsed { .. } => 0,
        };
        s.set_holding(20, left)?;
        for n in 0..4 {
            s.set_coil(10 + n, device.driven() >> n & 1 == 1)?;
        }
        let held = from_image(device.image()).unwrap_or_default();
        for h in self.settings(device) {
            if let Some(value) = held.iter().find(|s| s.key == h.slot.factory.key).map(|s| &s.value) {
                for (i, word) in (0..h.length).zip(written(value, h.slot)) {
                    s.set_holding(h.at + i, word)?;
                }
            }
        }
        Ok(s)
    }
    /// Does what was written.
    fn change(&mut self, device: &mut Device, now: Instant, changes: Changes, s: &Storage) -> Result<(), ErrorKind> {
        let (at, count) = match changes {
            Changes::Coils { reg, .. } => return self.order(device, now, reg, s.get_coil(reg)?),
            Changes::Holdings { reg, count } => (reg, count),
        };
        let refused = |_| ErrorKind::IllegalDataValue;
        match (at, count) {
            (10, 2) => device.set_date(now, u64::from(s.get_holdings_as_u32(10)?) * 1000),
            (20, 1) => self.inhibit(device, now, s.get_holding(20)?)?,
            _ => {
                let settings = self.settings(device);
                let held = settings.iter().find(|h| (h.at, h.length) == (at, count));
                let held = held.ok_or(ErrorKind::IllegalDataValue)?;
                let words: Vec<u16> = (0..count).map(|i| s.get_holding(at + i)).collect::<Result<_, _>>()?;
                let value = read(&words, held.slot).ok_or(ErrorKind::IllegalDataValue)?;
                let key = held.slot.factory.key.clone();
                device.load_one(now, &key, value).map_err(refused)?;
            }
        }
        Ok(())
    }
    fn order(&self, device: &mut Device, now: Instant, coil: u16, on: bool) -> Result<(), ErrorKind> {
        let done = match (coil, on) {
            (0, true) if device.is_taking() => return Err(ErrorKind::SlaveDeviceBusy),
            (0, true) => device.take(now),
            (1, true) => {
                device.reset_latches(now);
                Ok(())
            }
            (2, true) => {
                device.restart(now);
                Ok(())
            }
            (10..=13, true) => device.drive(now, (coil - 9) as u8, 60),
            (10..=13, false) => device.undrive((coil - 9) as u8),
            _ => Ok(()),
        };
        done.map_err(|_| ErrorKind::SlaveDeviceFailure)
    }
    /// A lease is written in seconds, and written anew to be carried on; 0 gives the outputs back.
    fn inhibit(&mut self, device: &mut Device, now: Instant, seconds: u16) -> Result<(), ErrorKind> {
        let lease = self.lease.or(match device.inhibited() {
            Inhibit::Leased { lease, .. } | Inhibit::Lapsed { lease, .. } => Some(lease),
            Inhibit::Free => None,
        });
        let done = match (seconds, lease) {
            (0, None) => Ok(()),
            (0, Some(lease)) => device.release(now, lease),
            (seconds, Some(lease)) if matches!(device.inhibited(), Inhibit::Leased { .. }) => {
                device.renew(now, lease, seconds).map(drop)
            }
            (seconds, _) => device.inhibit(now, seconds).map(|lease| self.lease = Some(lease)),
        };
        if seconds == 0 && done.is_ok() {
            self.lease = None;
        }
        done.map_err(|_| ErrorKind::SlaveDeviceFailure)
    }
}

fn flow(m3_s: f64) -> u16 {
    (m3_s / FLOW).round().clamp(0.0, 65_534.0) as u16
}
/// What a snapshot says but for the flows.
fn readings(seen: &Snapshot, input: &mut impl FnMut(u16, u16) -> Result<(), ErrorKind>) -> Result<(), ErrorKind> {
    let smoke =
        seen.extinction_per_m.first().map_or(f64::NAN, |k| Extinction(*k).stated(ObscurationUnit::PercentPerMetre));
    let smoke = if seen.starting { f32::NAN } else { smoke as f32 }.to_bits();
    let values = [
        (8, (seen.temperature_c * 10.0).round() as i16 as u16),
        (9, (seen.fan_mrev_s as f64 * 0.06).round() as u16),
        (10, (smoke >> 16) as u16),
        (11, smoke as u16),
        (12, (seen.supply_v * 1e3).round() as u16),
        (13, (seen.supply_a * 1e3).round() as u16),
        (20, seen.faults.0 as u16),
        (21, seen.faults_latched.0 as u16),
        (22, seen.flow_low.into()),
        (23, seen.flow_high.into()),
        (24, seen.alarms as u16),
        (25, seen.alarms_latched as u16),
        (26, seen.outputs as u16),
        (27, seen.inputs as u16),
        (28, seen.conditions.0 as u16),
    ];
    values.into_iter().try_for_each(|(at, value)| input(at, value))
}
fn words(text: &str) -> impl Iterator<Item = u16> {
    let word = |p: &[u8]| u16::from_be_bytes([p[0], p.get(1).copied().unwrap_or(0)]);
    text.as_bytes().chunks(2).map(word)
}
/// A setting as registers.
fn written(value: &SettingValue, slot: &Slot) -> Vec<u16> {
    match value {
        SettingValue::Switch(on) => vec![u16::from(*on)],
        SettingValue::Number(n) => {
            let thousandths = (n.to_f64() * 1e3).round() as i32;
            vec![(thousandths >> 16) as u16, thousandths as u16]
        }
        SettingValue::Text(text) => match &slot.allowed {
            Allowed::OneOf(list) => {
                vec![list.iter().position(|(word, _)| word == text).map_or(NONE, |i| i as u16)]
            }
            _ => words(text).collect(),
        },
        SettingValue::Bytes(bytes) => words(&String::from_utf8_lossy(bytes)).collect(),
    }
}
/// A setting from registers.
fn read(words: &[u16], slot: &Slot) -> Option<SettingValue> {
    Some(match (&slot.allowed, words) {
        (Allowed::Switch, [on @ (0 | 1)]) => SettingValue::Switch(*on == 1),
        (Allowed::OneOf(list), [n]) => SettingValue::Text(list.get(usize::from(*n))?.0.clone()),
        (Allowed::Number { .. }, [high, low]) => {
            let thousandths = (u32::from(*high) << 16 | u32::from(*low)) as i32;
            SettingValue::Number(Decimal::new(thousandths.into(), 3)?)
        }
        (Allowed::Text(_), words) => {
            let bytes: Vec<u8> = words.iter().flat_map(|w| w.to_be_bytes()).take_while(|b| *b != 0).collect();
            SettingValue::Text(String::from_utf8(bytes).ok()?)
        }
        _ => return None,
    })
}
