//! Requests carried out.
use super::{Device, Inhibit, Taking, Transaction, settings::from_image};
use plumeline_base::{Instant, quantity::KELVIN_AT_0_C};
use plumewire::{
    Baseline, BaselineState, BaselineStatus, Capabilities, ClockReply, EventCode, FlowReference, Frame, Header,
    HelloReply, HelloRequest, Judgement, Kind, Latches, Lease, MAX_PAYLOAD, MAX_WIRE, Manifest, Message, Nothing,
    OpenTransaction, Operation, OutputsStatus, PerInlet, ReadingsStarted, Refusal, RefusalCode as Code, Reply, Request,
    Sample, Sensors, SettingsPart, VERSION, WallClock, WriteBegun, WriteCommitted, WriteProgress, WriteStatus, clip,
};
use sha2::{Digest as _, Sha256};
use std::time::Duration;

/// Time that the unit takes to answer, and to write its store.
const ANSWER: Duration = Duration::from_millis(4);
const WRITE: Duration = Duration::from_millis(250);
/// Limits that it states.
const CHUNK_MAX: u16 = 128;
const LEASE_MAX_S: u16 = 900;
const FLOW_MAX_NL_S: u64 = 2_500_000_000;
const OBSCURATION_MAX_N_M: u64 = 250_000_000;

/// Why a request is not carried out.
pub(super) struct Refused(Code, pub(super) String);
fn refuse<T>(code: Code, why: impl Into<String>) -> Result<T, Refused> {
    Err(Refused(code, why.into()))
}
pub(super) type Outcome<T> = Result<T, Refused>;

impl Device {
    /// Bytes arrive on the unit's line at `now`.
    pub(crate) fn handle_bytes(&mut self, now: Instant, bytes: &[u8]) {
        if self.run.as_ref().is_none_or(|r| now < r.answers_from) {
            return;
        }
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
                    let len = self.answer(now, operation, &payload, sequence, &mut out);
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
                self.line.send(now + wait, out.get(..len).unwrap_or_default());
            }
        }
    }
    /// Carries a new request out and writes its answer.
    fn answer(&mut self, now: Instant, operation: u8, payload: &[u8], sequence: u32, out: &mut [u8]) -> usize {
        let outcome = match Request::decode(operation, payload) {
            Ok(request) => self.carry_out(now, request),
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
            (_, Some(Refused(code, why))) => {
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
    fn ready(&self, now: Instant) -> Outcome<()> {
        if self.starting(now) { refuse(Code::Starting, "still starting") } else { Ok(()) }
    }
    fn carry_out(&mut self, now: Instant, request: Request<'_>) -> Outcome<Reply<'_>> {
        Ok(match request {
            Request::Hello(r) => Reply::Hello(self.hello(now, r)?),
            Request::Clock(r) => {
                let received_us = self.clock_us(now);
                // Stamped with when its first byte will leave.
                let replied_us = self.clock_us(self.line.sent_at(now + ANSWER, 0));
                Reply::Clock(ClockReply { sent_us: r.sent_us, received_us, replied_us })
            }
            Request::WallClock(_) => Reply::WallClock(self.wall_clock(now)),
            Request::WallClockSet(r) => {
                self.date = Some((now, r.utc_ms));
                self.note(now, EventCode::TimeSet, "date and time set".into());
                Reply::WallClockSet(self.wall_clock(now))
            }
            Request::Restart(_) => {
                self.note(now, EventCode::Restart, "restart asked for".into());
                if let Some(run) = &mut self.run {
                    run.restart_at = Some(now + super::RESTART_AFTER);
                }
                Reply::Restart(Nothing {})
            }
            Request::ReadingsStart(r) => {
                let max = self.fitted.model.readings.rate_max_hz;
                if r.rate_hz == 0 || r.rate_hz > max {
                    return refuse(Code::Range, format!("readings come 1 to {max} times a second"));
                }
                self.log.skip();
                if let Some(run) = &mut self.run {
                    (run.rate_hz, run.dropped) = (r.rate_hz, 0);
                    run.next_reading = now + Duration::from_micros(1_000_000 / u64::from(r.rate_hz));
                }
                Reply::ReadingsStart(ReadingsStarted { rate_hz: r.rate_hz })
            }
            Request::ReadingsStop(_) => {
                self.stop_readings();
                Reply::ReadingsStop(Nothing {})
            }
            Request::SettingsManifest(_) => Reply::SettingsManifest(Manifest {
                revision: self.memory.revision,
                length: self.memory.image.len() as u32,
                digest: Sha256::digest(&self.memory.image).into(),
                schema: &self.fitted.model.schema,
            }),
            Request::SettingsRead(r) => {
                if r.revision != self.memory.revision {
                    return refuse(
                        Code::Revision,
                        format!("the settings have revision {} by now", self.memory.revision),
                    );
                }
                let wanted = r.length > 0 && r.length <= CHUNK_MAX;
                let Some(from) = self.memory.image.get(r.offset as usize..).filter(|_| wanted) else {
                    return refuse(Code::Range, "no such part of the settings");
                };
                let bytes = from.get(..usize::from(r.length)).unwrap_or(from);
                Reply::SettingsRead(SettingsPart { offset: r.offset, bytes })
            }
            Request::WriteBegin(r) => {
                self.ready(now)?;
                if r.base_revision != self.memory.revision {
                    return refuse(
                        Code::Revision,
                        format!("the settings have revision {} by now", self.memory.revision),
                    );
                }
                if r.length == 0 || r.length as usize > super::settings::SETTINGS_MAX {
                    return refuse(Code::Range, format!("an image has 1 to {} bytes", super::settings::SETTINGS_MAX));
                }
                let Some(run) = &mut self.run else { return refuse(Code::Internal, "no power") };
                if run.transaction.is_some() || run.taking.is_some() {
                    return refuse(Code::Busy, "settings are being written, or a baseline is being taken");
                }
                run.transactions += 1;
                let number = run.transactions;
                let (base, length, digest) = (r.base_revision, r.length, r.digest);
                run.transaction = Some(Transaction { number, base, length, digest, bytes: Vec::new() });
                Reply::WriteBegin(WriteBegun { transaction: number })
            }
            Request::WriteChunk(r) => {
                let t = self.transaction(r.transaction)?;
                if r.offset as usize != t.bytes.len() {
                    return refuse(Code::Offset, format!("the next part begins at byte {}", t.bytes.len()));
                }
                if r.bytes.is_empty()
                    || r.bytes.len() > usize::from(CHUNK_MAX)
                    || t.bytes.len() + r.bytes.len() > t.length as usize
                {
                    return refuse(Code::Range, "the part is empty or too long");
                }
                t.bytes.extend(r.bytes);
                Reply::WriteChunk(WriteProgress { received: t.bytes.len() as u32 })
            }
            Request::WriteCommit(r) => {
                let t = self.transaction(r.transaction)?.clone();
                let digest: [u8; 32] = Sha256::digest(&t.bytes).into();
                if t.bytes.len() != t.length as usize || digest != t.digest || digest != r.digest {
                    return refuse(Code::Digest, "the bytes received do not have the digest that was stated");
                }
                if t.base != self.memory.revision {
                    return refuse(
                        Code::Revision,
                        format!("the settings were changed meanwhile: revision {}", self.memory.revision),
                    );
                }
                self.put_in_force(now, t.bytes)?;
                self.memory.loaded = true;
                self.keep();
                self.run.iter_mut().for_each(|run| run.transaction = None);
                Reply::WriteCommit(WriteCommitted { revision: self.memory.revision })
            }
            Request::WriteStatus(_) => {
                let open = self.run.as_ref().and_then(|r| r.transaction.as_ref()).map(|t| OpenTransaction {
                    transaction: t.number,
                    received: t.bytes.len() as u32,
                    length: t.length,
                    digest: t.digest,
                });
                Reply::WriteStatus(WriteStatus { revision: self.memory.revision, open })
            }
            Request::WriteAbandon(r) => {
                self.transaction(r.transaction)?;
                self.run.iter_mut().for_each(|run| run.transaction = None);
                Reply::WriteAbandon(Nothing {})
            }
            Request::BaselineTake(_) => {
                self.ready(now)?;
                if !self.at_speed() {
                    return refuse(Code::Busy, "the fan is not at its speed yet");
                }
                if self.truth.cover_open {
                    return refuse(Code::Busy, "the cover is open");
                }
                let Some(run) = &mut self.run else { return refuse(Code::Internal, "no power") };
                if run.taking.is_some() || run.transaction.is_some() {
                    return refuse(Code::Busy, "a baseline is being taken, or settings are being written");
                }
                run.taking = Some(Taking::default());
                run.baseline_state = BaselineState::Taking;
                run.baseline_reason = None;
                Reply::BaselineTake(self.baseline_status())
            }
            Request::BaselineStatus(_) => Reply::BaselineStatus(self.baseline_status()),
            Request::BaselineRead(_) => {
                let Some(b) = self.baseline() else {
                    return refuse(Code::NoBaseline, "there is no baseline that holds");
                };
                let samples = |list: &[i64]| {
                    let samples: Vec<Sample> =
                        list.iter().map(|v| if *v < 0 { Sample::Absent } else { Sample::Value(*v) }).collect();
                    PerInlet::from_slice(&samples).unwrap_or_default()
                };
                Reply::BaselineRead(Baseline {
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
            Request::Inhibit(r) => {
                self.leases += 1;
                Reply::Inhibit(self.lease(now, self.leases, r.seconds)?)
            }
            Request::InhibitRenew(r) => match self.inhibit {
                Inhibit::Leased { lease, .. } if lease == r.lease => {
                    Reply::InhibitRenew(self.lease(now, lease, r.seconds)?)
                }
                _ => return refuse(Code::Lease, "no such inhibit lease runs"),
            },
            Request::InhibitRelease(r) => {
                match self.inhibit {
                    Inhibit::Leased { lease, .. } | Inhibit::Lapsed { lease, .. } if lease == r.lease => {}
                    _ => return refuse(Code::Lease, "no such inhibit lease runs"),
                }
                if !self.clear() {
                    return refuse(Code::NotClear, "smoke at the lowest level, a latched alarm, or a driven output");
                }
                self.inhibit = Inhibit::Free;
                self.remember_inhibit();
                self.note(now, EventCode::Restored, "outputs given back".into());
                Reply::InhibitRelease(Nothing {})
            }
            Request::OutputsStatus(_) => {
                let (inhibit, lease, left_ms) = self.inhibit.told(now);
                let (driven, operated) = (self.driven.bits(), self.operated());
                Reply::OutputsStatus(OutputsStatus { inhibit, lease, left_ms, driven, operated })
            }
            Request::Drive(r) => {
                self.ready(now)?;
                let outputs = self.outputs();
                if r.output == 0 || r.output > outputs || r.seconds == 0 || r.seconds > 60 {
                    return refuse(Code::Range, format!("outputs are 1 to {outputs}, and are driven for 1 to 60 s"));
                }
                self.driven.drive(r.output, now + Duration::from_secs(r.seconds.into()));
                self.note(now, EventCode::Driven, format!("output {} driven for test", r.output));
                Reply::Drive(Nothing {})
            }
            Request::Undrive(r) => {
                if r.output == 0 || r.output > self.outputs() {
                    return refuse(Code::Range, "no such output");
                }
                self.driven.stop(r.output);
                Reply::Undrive(Nothing {})
            }
            Request::ResetLatches(_) => {
                self.alarms.reset();
                self.held = 0;
                self.faults_latched = self.faults;
                self.note(now, EventCode::LatchesReset, "latches reset".into());
                Reply::ResetLatches(Latches { alarms: self.alarms.latched, faults: self.faults_latched })
            }
            Request::LogRead(r) => Reply::LogRead(self.log.page(r.from)),
        })
    }
    fn wall_clock(&self, now: Instant) -> WallClock {
        WallClock { utc_ms: self.utc_ms(now + ANSWER), zone_min: self.config.zone_min }
    }
    fn stop_readings(&mut self) {
        if let Some(run) = &mut self.run {
            (run.rate_hz, run.next_reading) = (0, Instant::FAR_FUTURE);
        }
    }
    fn hello(&mut self, now: Instant, r: HelloRequest) -> Outcome<HelloReply<'_>> {
        if !(r.version_min..=r.version_max).contains(&VERSION) {
            return refuse(Code::Version, format!("this unit speaks version {VERSION}"));
        }
        self.stop_readings();
        let (uptime_us, starting) = (self.clock_us(now), self.starting(now));
        let boots = self.memory.boots as u16;
        let Some(run) = &mut self.run else { return refuse(Code::Internal, "no power") };
        run.hellos = run.hellos.wrapping_add(1);
        let boot_id = run.boot_id;
        let nonce = u32::from(boots) << 16 | u32::from(run.hellos);
        self.line.once.open(nonce.max(1));
        let f = &self.fitted;
        let kelvin = |c: f64| libm::round((c + KELVIN_AT_0_C) * 1e3) as u32;
        let flow_reference = f
            .model
            .flow_reference
            .map(|(c, pa)| FlowReference { temperature_mk: kelvin(c), pressure_pa: libm::round(pa) as u32 });
        let sensors = Sensors::ALL.iter().fold(Sensors(0), |all, (one, _)| all.with(*one));
        Ok(HelloReply {
            version: VERSION,
            token: r.token,
            maker: &f.model.maker,
            model: &f.model.name,
            serial: &f.serial,
            firmware: &f.model.firmware,
            boot_id,
            uptime_us,
            starting,
            capabilities: Capabilities {
                inlets: f.inlets,
                alarm_levels: f.model.levels,
                outputs: f.model.outputs.len() as u8,
                inputs: f.model.inputs,
                sensors,
                obscuration_per_inlet: f.sensor_per_inlet,
                flow_reference,
                flow_max_nl_s: FLOW_MAX_NL_S,
                obscuration_max_n_m: OBSCURATION_MAX_N_M,
                rate_max_hz: f.model.readings.rate_max_hz,
                settings_max: super::settings::SETTINGS_MAX as u32,
                chunk_max: CHUNK_MAX,
                lease_max_s: LEASE_MAX_S,
                wall_clock: Some(true),
            },
        })
    }
    fn transaction(&mut self, number: u32) -> Outcome<&mut Transaction> {
        match self.run.as_mut().and_then(|r| r.transaction.as_mut()).filter(|t| t.number == number) {
            Some(t) => Ok(t),
            None => refuse(Code::Transaction, "no such transaction is open"),
        }
    }
    /// The new image in the place of the old, or nothing changed.
    pub(super) fn put_in_force(&mut self, now: Instant, image: Vec<u8>) -> Outcome<()> {
        let model = &self.fitted.model;
        let config = from_image(&image).and_then(|s| model.configure(&s, self.fitted.inlets));
        let config = config.map_err(|e| Refused(Code::Settings, e.to_string()))?;
        let moved = config.fan_speed != self.config.fan_speed || config.used != self.config.used;
        self.config = config;
        self.memory.image = image;
        self.memory.revision += 1;
        self.settings_fault = false;
        self.keep();
        self.note(now, EventCode::SettingsChanged, format!("settings revision {} in force", self.memory.revision));
        if moved {
            self.void_baseline(now, "fan speed or inlets in use changed");
        }
        Ok(())
    }
    fn lease(&mut self, now: Instant, lease: u32, seconds: u16) -> Outcome<Lease> {
        if seconds == 0 || seconds > LEASE_MAX_S {
            return refuse(Code::Range, format!("a lease runs 1 to {LEASE_MAX_S} s"));
        }
        if !self.inhibit.holds() {
            self.note(now, EventCode::Inhibited, "outputs inhibited".into());
        }
        self.inhibit = Inhibit::Leased { lease, until: now + Duration::from_secs(seconds.into()) };
        self.remember_inhibit();
        Ok(Lease { lease, seconds })
    }
    fn baseline_status(&self) -> BaselineStatus<'_> {
        let held = self.baseline().map(|b| b.id);
        match &self.run {
            Some(run) => BaselineStatus {
                // What was taken and holds no longer is not told as taken.
                state: match run.baseline_state {
                    BaselineState::Taken if held.is_none() => BaselineState::Idle,
                    state => state,
                },
                progress: run.taking.as_ref().map_or(0, Taking::progress),
                held,
                reason: run.baseline_reason.as_deref().map(clip),
            },
            None => BaselineStatus { state: BaselineState::Idle, progress: 0, held, reason: None },
        }
    }
}
