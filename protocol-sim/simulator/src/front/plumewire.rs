//! plumewire: requests of its frames carried out by a unit, its readings and log reported.
//!
//! Not here: what the unit does (see [`crate::device`]).
use super::{Front, line::Line};
use crate::{
    device::{
        Device,
        asked::{LEASE_MAX_S, Refused, Why},
        outputs::Inhibit,
        settings::SETTINGS_MAX,
        tell::Snapshot,
    },
    sensors::NL_S,
};
use plumeline_base::{Instant, quantity::KELVIN_AT_0_C};
use plumewire::{
    Baseline, BaselineStatus, Capabilities, ClockReply, ClockRequest, FlowReference, Frame, Header, HelloReply,
    HelloRequest, InhibitState, Judgement, Kind, Latches, Lease, LogNoted, MAX_PAYLOAD, MAX_WIRE, Manifest, Message,
    Nothing, OpenTransaction, Operation, OutputsStatus, PerInlet, Reading, ReadingsStart, ReadingsStarted, Refusal,
    RefusalCode as Code, Reply, Report, Request, Sample, Sensors, SettingsPart, SettingsRead, VERSION, WallClock,
    WriteBegin, WriteBegun, WriteChunk, WriteCommit, WriteCommitted, WriteProgress, WriteStatus, clip,
};
use sha2::{Digest as _, Sha256};
use std::time::Duration;

/// Time that the unit takes to answer, and to write its store.
const ANSWER: Duration = Duration::from_millis(4);
const WRITE: Duration = Duration::from_millis(250);
/// Limits that it states.
const CHUNK_MAX: u16 = 128;
const FLOW_MAX_NL_S: u64 = 2_500_000_000;
const OBSCURATION_MAX_N_M: u64 = 250_000_000;

/// Why a request is not carried out, as the protocol says it.
struct NotDone(Code, String);
type Outcome<T> = Result<T, NotDone>;
fn refuse<T>(code: Code, why: impl Into<String>) -> Outcome<T> {
    Err(NotDone(code, why.into()))
}
impl From<Refused> for NotDone {
    fn from(Refused(why, text): Refused) -> Self {
        let code = match why {
            Why::Busy => Code::Busy,
            Why::Lease => Code::Lease,
            Why::NotClear => Code::NotClear,
            Why::Range => Code::Range,
            Why::Settings => Code::Settings,
            Why::Starting => Code::Starting,
        };
        Self(code, text)
    }
}

/// New settings on their way.
#[derive(Clone, Debug)]
struct Transaction {
    number: u32,
    /// Revision that was in force when it began.
    base: u64,
    length: u32,
    digest: [u8; 32],
    bytes: Vec<u8>,
}
/// The unit's end of a line that speaks plumewire.
#[derive(Debug)]
pub(crate) struct Plumewire {
    line: Line,
    hellos: u16,
    rate_hz: u8,
    next_reading: Instant,
    reports: u32,
    dropped: u32,
    transaction: Option<Transaction>,
    transactions: u32,
}

impl Front for Plumewire {
    fn restart(&mut self) {
        *self = Self::new();
    }
    fn received(&mut self, device: &mut Device, now: Instant, bytes: &[u8]) {
        let mut rest = bytes;
        loop {
            // The frame borrows the decoder, so its request is copied out before the unit acts on it.
            let Some(found) = self.line.decoder.next_frame(&mut rest) else { return };
            let Ok(frame) = found else { continue };
            let mut out = [0; MAX_WIRE];
            let (operation, sequence) = (frame.header.operation, frame.header.sequence);
            let len = match self.line.once.judge(&frame) {
                Judgement::New => {
                    let payload = frame.payload.to_vec();
                    let len = self.answer(device, now, operation, &payload, sequence, &mut out);
                    self.line.once.answered(out.get(..len).unwrap_or_default());
                    len
                }
                Judgement::Repeat(kept) => {
                    let len = kept.len();
                    out.get_mut(..len).into_iter().for_each(|o| o.copy_from_slice(kept));
                    len
                }
                Judgement::Refuse(refusal) => {
                    let conversation = frame.header.conversation;
                    Message::Refusal(operation, refusal).write(conversation, sequence, &mut out).unwrap_or(0)
                }
                Judgement::Pending | Judgement::Ignore => 0,
            };
            if len > 0 {
                let wait = if operation == Operation::WriteCommit as u8 { WRITE } else { ANSWER };
                self.line.outbox.send(now + wait, out.get(..len).unwrap_or_default());
            }
        }
    }
    fn next_reading(&self) -> Option<Instant> {
        (self.next_reading < Instant::FAR_FUTURE).then_some(self.next_reading)
    }
    fn reading_due(&mut self, now: Instant) -> bool {
        let due = now >= self.next_reading;
        if due {
            let period = Duration::from_micros(1_000_000 / u64::from(self.rate_hz.max(1)));
            self.next_reading += period;
            if self.next_reading <= now {
                self.next_reading = now + period;
            }
        }
        due
    }
    fn report(&mut self, device: &mut Device, now: Instant) {
        if let Some(snapshot) = device.snapshot(now) {
            let reading = reading(&snapshot, self.dropped);
            if self.line.report(now, &Message::Report(Report::Reading(reading)), self.reports) {
                self.reports = self.reports.wrapping_add(1);
            } else {
                self.dropped = self.dropped.saturating_add(1);
            }
        }
        while let Some(entry) = device.log_report() {
            self.line.report(now, &Message::Report(Report::Log(entry)), self.reports);
            self.reports = self.reports.wrapping_add(1);
        }
    }
    fn next_bytes(&self) -> Option<Instant> {
        self.line.outbox.next()
    }
    fn poll(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.line.outbox.poll(now)
    }
}

impl Plumewire {
    pub(crate) fn new() -> Self {
        Self {
            line: Line::new(),
            hellos: 0,
            rate_hz: 0,
            next_reading: Instant::FAR_FUTURE,
            reports: 0,
            dropped: 0,
            transaction: None,
            transactions: 0,
        }
    }
    /// Carries a new request out and writes its answer.
    fn answer(
        &mut self,
        device: &mut Device,
        now: Instant,
        operation: u8,
        payload: &[u8],
        sequence: u32,
        out: &mut [u8],
    ) -> usize {
        let outcome = match Request::decode(operation, payload) {
            Ok(request) => self.carry_out(device, now, request),
            Err(_) if Operation::from_code(operation).is_none() => refuse(Code::Unsupported, "no such operation"),
            Err(fault) => refuse(Code::Malformed, format!("the request can't be read: {fault}")),
        };
        let mut body = [0; MAX_PAYLOAD];
        // Once the answer is written, a hello has opened its conversation: the answer is the first frame of it.
        let (written, refusal) = match outcome {
            Ok(reply) => (reply.encode(&mut body), None),
            Err(refused) => (Ok(0), Some(refused)),
        };
        let conversation = self.line.once.conversation().unwrap_or(0);
        match (written, refusal) {
            (_, Some(NotDone(code, why))) => {
                let conversation = if operation == Operation::Hello as u8 { 0 } else { conversation };
                let refusal = Refusal { code, reason: clip(&why) };
                Message::Refusal(operation, refusal).write(conversation, sequence, out).unwrap_or(0)
            }
            (Ok(len), None) => {
                let header = Header { version: VERSION, kind: Kind::Reply, operation, conversation, sequence };
                Frame { header, payload: body.get(..len).unwrap_or_default() }.write(out).unwrap_or(0)
            }
            (Err(_), None) => 0,
        }
    }
    fn carry_out<'a>(&'a mut self, device: &'a mut Device, now: Instant, request: Request<'_>) -> Outcome<Reply<'a>> {
        Ok(match request {
            Request::Hello(r) => Reply::Hello(self.hello(device, now, r)?),
            Request::Clock(r) => Reply::Clock(self.clock(device, now, r)),
            Request::WallClock(_) => Reply::WallClock(wall_clock(device, now)),
            Request::WallClockSet(r) => {
                device.set_date(now, r.utc_ms);
                Reply::WallClockSet(wall_clock(device, now))
            }
            Request::Restart(_) => {
                device.restart(now);
                Reply::Restart(Nothing {})
            }
            Request::ReadingsStart(r) => Reply::ReadingsStart(self.start(device, now, r)?),
            Request::ReadingsStop(_) => {
                self.stop();
                Reply::ReadingsStop(Nothing {})
            }
            Request::SettingsManifest(_) => Reply::SettingsManifest(manifest(device)),
            Request::SettingsRead(r) => Reply::SettingsRead(part(device, r)?),
            Request::WriteBegin(r) => Reply::WriteBegin(self.begin(device, now, r)?),
            Request::WriteChunk(r) => Reply::WriteChunk(self.chunk(r)?),
            Request::WriteCommit(r) => Reply::WriteCommit(self.commit(device, now, r)?),
            Request::WriteStatus(_) => Reply::WriteStatus(self.status(device)),
            Request::WriteAbandon(r) => {
                self.open(r.transaction)?;
                self.transaction = None;
                Reply::WriteAbandon(Nothing {})
            }
            Request::BaselineTake(_) => {
                if device.is_taking() || self.transaction.is_some() {
                    device.ready(now)?;
                    return refuse(Code::Busy, "a baseline is being taken, or settings are being written");
                }
                device.take(now)?;
                Reply::BaselineTake(baseline_status(device))
            }
            Request::BaselineStatus(_) => Reply::BaselineStatus(baseline_status(device)),
            Request::BaselineRead(_) => Reply::BaselineRead(baseline(device)?),
            Request::Inhibit(r) => Reply::Inhibit(Lease { lease: device.inhibit(now, r.seconds)?, seconds: r.seconds }),
            Request::InhibitRenew(r) => {
                Reply::InhibitRenew(Lease { lease: device.renew(now, r.lease, r.seconds)?, seconds: r.seconds })
            }
            Request::InhibitRelease(r) => {
                device.release(now, r.lease)?;
                Reply::InhibitRelease(Nothing {})
            }
            Request::OutputsStatus(_) => Reply::OutputsStatus(outputs_status(device, now)),
            Request::Drive(r) => {
                device.drive(now, r.output, r.seconds)?;
                Reply::Drive(Nothing {})
            }
            Request::Undrive(r) => {
                device.undrive(r.output)?;
                Reply::Undrive(Nothing {})
            }
            Request::ResetLatches(_) => {
                let (alarms, faults) = device.reset_latches(now);
                Reply::ResetLatches(Latches { alarms, faults })
            }
            Request::LogRead(r) => Reply::LogRead(device.log_page(r.from)),
            Request::LogNote(r) => Reply::LogNote(LogNoted { position: device.note_of_tool(now, r.text) }),
        })
    }
    fn hello<'a>(&mut self, device: &'a Device, now: Instant, r: HelloRequest) -> Outcome<HelloReply<'a>> {
        if !(r.version_min..=r.version_max).contains(&VERSION) {
            return refuse(Code::Version, format!("this unit speaks version {VERSION}"));
        }
        self.stop();
        self.hellos = self.hellos.wrapping_add(1);
        let nonce = u32::from(device.boots() as u16) << 16 | u32::from(self.hellos);
        self.line.once.open(nonce.max(1));
        let model = device.model();
        let kelvin = |c: f64| libm::round((c + KELVIN_AT_0_C) * 1e3) as u32;
        let flow_reference = model
            .flow_reference
            .map(|(c, pa)| FlowReference { temperature_mk: kelvin(c), pressure_pa: libm::round(pa) as u32 });
        let (alarm_levels, outputs) = device.stated();
        Ok(HelloReply {
            version: VERSION,
            token: r.token,
            maker: &model.maker,
            model: &model.name,
            serial: device.serial(),
            firmware: &model.firmware,
            boot_id: device.boot_id(),
            uptime_us: device.clock_us(now),
            starting: device.starting(now),
            capabilities: Capabilities {
                inlets: device.inlets(),
                alarm_levels,
                outputs,
                inputs: model.inputs,
                sensors: Sensors::ALL.iter().fold(Sensors(0), |all, (one, _)| all.with(*one)),
                obscuration_per_inlet: device.sensor_per_inlet(),
                flow_reference,
                flow_max_nl_s: FLOW_MAX_NL_S,
                obscuration_max_n_m: OBSCURATION_MAX_N_M,
                rate_max_hz: model.readings.rate_max_hz,
                settings_max: SETTINGS_MAX as u32,
                chunk_max: CHUNK_MAX,
                lease_max_s: LEASE_MAX_S,
                wall_clock: Some(true),
                simulated: Some(true),
                notes: Some(true),
            },
        })
    }
    fn clock(&self, device: &Device, now: Instant, r: ClockRequest) -> ClockReply {
        // Stamped with when its first byte will leave.
        let replied_us = device.clock_us(self.line.outbox.sent_at(now + ANSWER, 0));
        ClockReply { sent_us: r.sent_us, received_us: device.clock_us(now), replied_us }
    }
    fn start(&mut self, device: &mut Device, now: Instant, r: ReadingsStart) -> Outcome<ReadingsStarted> {
        let max = device.model().readings.rate_max_hz;
        if r.rate_hz == 0 || r.rate_hz > max {
            return refuse(Code::Range, format!("readings come 1 to {max} times a second"));
        }
        device.log_skip();
        (self.rate_hz, self.dropped) = (r.rate_hz, 0);
        self.next_reading = now + Duration::from_micros(1_000_000 / u64::from(r.rate_hz));
        Ok(ReadingsStarted { rate_hz: r.rate_hz })
    }
    const fn stop(&mut self) {
        (self.rate_hz, self.next_reading) = (0, Instant::FAR_FUTURE);
    }

    fn open(&mut self, number: u32) -> Outcome<&mut Transaction> {
        match self.transaction.as_mut().filter(|t| t.number == number) {
            Some(t) => Ok(t),
            None => refuse(Code::Transaction, "no such transaction is open"),
        }
    }
    fn begin(&mut self, device: &Device, now: Instant, r: WriteBegin) -> Outcome<WriteBegun> {
        device.ready(now)?;
        at_revision(device, r.base_revision)?;
        if r.length == 0 || r.length as usize > SETTINGS_MAX {
            return refuse(Code::Range, format!("an image has 1 to {SETTINGS_MAX} bytes"));
        }
        if self.transaction.is_some() || device.is_taking() {
            return refuse(Code::Busy, "settings are being written, or a baseline is being taken");
        }
        self.transactions += 1;
        let number = self.transactions;
        let (base, length, digest) = (r.base_revision, r.length, r.digest);
        self.transaction = Some(Transaction { number, base, length, digest, bytes: Vec::new() });
        Ok(WriteBegun { transaction: number })
    }
    fn chunk(&mut self, r: WriteChunk<'_>) -> Outcome<WriteProgress> {
        let t = self.open(r.transaction)?;
        if r.offset as usize != t.bytes.len() {
            return refuse(Code::Offset, format!("the next part begins at byte {}", t.bytes.len()));
        }
        let whole = t.bytes.len() + r.bytes.len();
        if r.bytes.is_empty() || r.bytes.len() > usize::from(CHUNK_MAX) || whole > t.length as usize {
            return refuse(Code::Range, "the part is empty or too long");
        }
        t.bytes.extend(r.bytes);
        Ok(WriteProgress { received: t.bytes.len() as u32 })
    }
    fn commit(&mut self, device: &mut Device, now: Instant, r: WriteCommit) -> Outcome<WriteCommitted> {
        let t = self.open(r.transaction)?.clone();
        let digest: [u8; 32] = Sha256::digest(&t.bytes).into();
        if t.bytes.len() != t.length as usize || digest != t.digest || digest != r.digest {
            return refuse(Code::Digest, "the bytes received do not have the digest that was stated");
        }
        if t.base != device.revision() {
            let text = format!("the settings were changed meanwhile: revision {}", device.revision());
            return refuse(Code::Revision, text);
        }
        device.load(now, t.bytes)?;
        self.transaction = None;
        Ok(WriteCommitted { revision: device.revision() })
    }
    fn status(&self, device: &Device) -> WriteStatus {
        let open = self.transaction.as_ref().map(|t| OpenTransaction {
            transaction: t.number,
            received: t.bytes.len() as u32,
            length: t.length,
            digest: t.digest,
        });
        WriteStatus { revision: device.revision(), open }
    }
}

fn wall_clock(device: &Device, now: Instant) -> WallClock {
    WallClock { utc_ms: device.utc_ms(now + ANSWER), zone_min: device.zone_min() }
}
fn at_revision(device: &Device, revision: u64) -> Outcome<()> {
    if revision == device.revision() {
        return Ok(());
    }
    refuse(Code::Revision, format!("the settings have revision {} by now", device.revision()))
}
fn manifest(device: &Device) -> Manifest<'_> {
    Manifest {
        revision: device.revision(),
        length: device.image().len() as u32,
        digest: device.digest(),
        schema: &device.model().schema,
    }
}
fn part(device: &Device, r: SettingsRead) -> Outcome<SettingsPart<'_>> {
    at_revision(device, r.revision)?;
    let wanted = r.length > 0 && r.length <= CHUNK_MAX;
    let Some(from) = device.image().get(r.offset as usize..).filter(|_| wanted) else {
        return refuse(Code::Range, "no such part of the settings");
    };
    let bytes = from.get(..usize::from(r.length)).unwrap_or(from);
    Ok(SettingsPart { offset: r.offset, bytes })
}
fn baseline_status(device: &Device) -> BaselineStatus<'_> {
    let p = device.progress();
    BaselineStatus { state: p.state, progress: p.percent, held: p.held, reason: p.reason.map(clip) }
}
fn baseline(device: &Device) -> Outcome<Baseline> {
    let Some(b) = device.baseline() else {
        return refuse(Code::NoBaseline, "there is no baseline that holds");
    };
    let samples = |list: &[i64]| {
        let samples: Vec<Sample> =
            list.iter().map(|v| if *v < 0 { Sample::Absent } else { Sample::Value(*v) }).collect();
        PerInlet::from_slice(&samples).unwrap_or_default()
    };
    Ok(Baseline {
        id: b.id,
        flow_nl_s: samples(&b.flow_nl_s),
        uncertainty_nl_s: samples(&b.uncertainty_nl_s),
        temperature_mk: Sample::Value(b.temperature_mk),
        fan_mrev_s: Sample::Value(b.fan_mrev_s),
        duration_ms: b.duration_ms,
        boot_id: b.boot_id,
        taken_us: b.taken_us,
        settings_revision: b.settings_revision,
    })
}
fn outputs_status(device: &Device, now: Instant) -> OutputsStatus {
    let (inhibit, lease, left_ms) = match device.inhibited() {
        Inhibit::Free => (InhibitState::Free, None, 0),
        Inhibit::Leased { lease, until } => {
            (InhibitState::Leased, Some(lease), u32::try_from(until.since(now).as_millis()).unwrap_or(u32::MAX))
        }
        Inhibit::Lapsed { lease, .. } => (InhibitState::Lapsed, Some(lease), 0),
    };
    OutputsStatus { inhibit, lease, left_ms, driven: device.driven(), operated: device.told_operated() }
}
/// A reading as the wire says it.
fn reading(seen: &Snapshot, dropped: u32) -> Reading {
    let whole = |x: f64| if x.is_finite() { Sample::Value(libm::round(x) as i64) } else { Sample::Failed };
    let air = |x: &[f64], unit: f64| {
        let sample = |x: &f64| if seen.starting { Sample::Failed } else { whole(x / unit) };
        // A list has room for the most inlets that a unit can have.
        PerInlet::from_slice(&x.iter().map(sample).collect::<Vec<_>>()).unwrap_or_default()
    };
    Reading {
        taken_us: seen.taken_us,
        dropped,
        flow_nl_s: air(&seen.flow_m3_s, NL_S),
        obscuration_n_m: air(&seen.extinction_per_m, 1e-9),
        fan_mrev_s: Sample::Value(seen.fan_mrev_s),
        temperature_mk: whole((seen.temperature_c + KELVIN_AT_0_C) * 1e3),
        supply_mv: whole(seen.supply_v * 1e3),
        supply_ma: whole(seen.supply_a * 1e3),
        inputs: seen.inputs,
        outputs: seen.outputs,
        faults: seen.faults,
        faults_latched: seen.faults_latched,
        flow_low: seen.flow_low,
        flow_high: seen.flow_high,
        alarms: seen.alarms,
        alarms_latched: seen.alarms_latched,
        conditions: seen.conditions,
    }
}
