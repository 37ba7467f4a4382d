//! A unit that does just enough, a line that can be damaged, and a virtual clock: the other end of a pair test.
#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests may panic")]
use plumeline_base::Instant;
use plumeline_detector::{Ask, Driver, Report, Ticket, Trouble, driver::End, plumewire::Plumewire};
use plumewire::{self as wire, *};
use sha2::{Digest as _, Sha256};
use std::{collections::VecDeque, time::Duration};

/// What a unit did, each effect once.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Effect {
    Drove(u8),
    Committed,
    Restarted,
    BaselineBegun,
    Released,
    Noted(String),
}

pub(crate) struct Unit {
    pub(crate) serial: &'static str,
    pub(crate) boot_id: u64,
    pub(crate) starting: bool,
    pub(crate) image: Vec<u8>,
    pub(crate) revision: u64,
    pub(crate) effects: Vec<Effect>,
    pub(crate) refuse_commit: bool,
    pub(crate) open: Option<(u32, u32, [u8; 32], Vec<u8>)>,
    pub(crate) rate_hz: u8,
    pub(crate) chunks: Vec<usize>,
    /// What every reading tells.
    pub(crate) told: wire::Reading,
    once: AtMostOnce<[u8; MAX_WIRE]>,
    decoder: Decoder,
    nonces: u32,
    reports: u32,
    transactions: u32,
    baseline_asked: u32,
    held: Option<wire::Baseline>,
    /// The lease of an inhibit, and when it lapses.
    lease: Option<(u32, Instant)>,
    driven: u32,
}
impl Unit {
    pub(crate) fn new(image: Vec<u8>) -> Self {
        Self {
            serial: "T-1",
            boot_id: 1,
            starting: false,
            image,
            revision: 4,
            effects: Vec::new(),
            refuse_commit: false,
            open: None,
            rate_hz: 0,
            chunks: Vec::new(),
            told: told(),
            once: AtMostOnce::new([0; MAX_WIRE]),
            decoder: Decoder::new(),
            nonces: 0,
            reports: 0,
            transactions: 0,
            baseline_asked: 0,
            held: None,
            lease: None,
            driven: 0,
        }
    }
    /// Power off and on.
    pub(crate) fn start_anew(&mut self) {
        let image = std::mem::take(&mut self.image);
        let old = std::mem::replace(self, Self::new(image));
        (self.boot_id, self.nonces, self.revision) = (old.boot_id + 1, old.nonces, old.revision);
        (self.effects, self.serial, self.told) = (old.effects, old.serial, old.told);
    }
    /// One reading for the line, if readings are wanted.
    pub(crate) fn reading(&mut self, now: Instant) -> Option<Vec<u8>> {
        let conversation = self.once.conversation().filter(|_| self.rate_hz > 0)?;
        self.reports += 1;
        let told = self.told;
        let lapsed = if self.lease.is_some_and(|(_, until)| until <= now) { wire::Faults::INHIBIT_LAPSED.0 } else { 0 };
        let inhibited = if self.lease.is_some() { Conditions::INHIBITED.0 } else { 0 };
        let reading = wire::Reading {
            taken_us: device_us(now),
            outputs: told.outputs | self.driven,
            faults: wire::Faults(told.faults.0 | lapsed),
            conditions: Conditions(told.conditions.0 | inhibited),
            ..told
        };
        Some(line(&Message::Report(wire::Report::Reading(reading)), conversation, self.reports))
    }
    pub(crate) fn receive(&mut self, now: Instant, bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut answers = Vec::new();
        let mut rest = bytes;
        loop {
            let found = self.decoder.next_frame(&mut rest).map(|f| f.map(|f| (f.header, f.payload.to_vec())));
            let Some(found) = found else { return answers };
            let Ok((header, payload)) = found else { continue };
            let frame = Frame { header, payload: &payload };
            match self.once.judge(&frame) {
                Judgement::New => {
                    let answer = self.answer(now, &frame);
                    self.once.answered(&answer);
                    answers.push(answer);
                }
                Judgement::Repeat(kept) => answers.push(kept.to_vec()),
                Judgement::Refuse(refusal) => {
                    let message = Message::Refusal(header.operation, refusal);
                    answers.push(line(&message, header.conversation, header.sequence));
                }
                Judgement::Pending | Judgement::Ignore => {}
            }
        }
    }
    fn answer(&mut self, now: Instant, frame: &Frame<'_>) -> Vec<u8> {
        let request = wire::Request::decode(frame.header.operation, frame.payload).unwrap();
        let image = self.image.clone();
        let message = match self.carry_out(now, request, &image) {
            Ok(reply) => Message::Reply(reply),
            Err(code) => Message::Refusal(frame.header.operation, Refusal::new(code)),
        };
        line(&message, self.once.conversation().unwrap_or(0), frame.header.sequence)
    }
    fn carry_out<'a>(
        &mut self,
        now: Instant,
        request: wire::Request<'_>,
        image: &'a [u8],
    ) -> Result<Reply<'a>, RefusalCode> {
        use RefusalCode as Code;
        use wire::Request as R;
        let done = Nothing {};
        Ok(match request {
            R::Hello(h) => {
                self.nonces += 1;
                self.rate_hz = 0;
                self.once.open(self.nonces);
                Reply::Hello(HelloReply { serial: self.serial, ..hello(h.token, self.boot_id, self.starting) })
            }
            R::WallClock(_) | R::WallClockSet(_) => return Err(Code::Unsupported),
            R::Clock(c) => {
                let at = device_us(now);
                Reply::Clock(ClockReply { sent_us: c.sent_us, received_us: at, replied_us: at + 100 })
            }
            R::Restart(_) => {
                self.effects.push(Effect::Restarted);
                Reply::Restart(done)
            }
            R::ReadingsStart(r) => {
                self.rate_hz = r.rate_hz;
                Reply::ReadingsStart(ReadingsStarted { rate_hz: r.rate_hz })
            }
            R::ReadingsStop(_) => {
                self.rate_hz = 0;
                Reply::ReadingsStop(done)
            }
            R::SettingsManifest(_) => Reply::SettingsManifest(Manifest {
                revision: self.revision,
                length: image.len() as u32,
                digest: Sha256::digest(image).into(),
                schema: "tiny/1",
            }),
            R::SettingsRead(r) => {
                let rest = image.get(r.offset as usize..).ok_or(Code::Range)?;
                let bytes = rest.get(..r.length as usize).unwrap_or(rest);
                Reply::SettingsRead(SettingsPart { offset: r.offset, bytes })
            }
            R::WriteStatus(_) => {
                let open = self.open.as_ref().map(|(transaction, length, digest, bytes)| OpenTransaction {
                    transaction: *transaction,
                    received: bytes.len() as u32,
                    length: *length,
                    digest: *digest,
                });
                Reply::WriteStatus(wire::WriteStatus { revision: self.revision, open })
            }
            R::WriteBegin(b) => {
                if self.open.is_some() {
                    return Err(Code::Busy);
                }
                if b.base_revision != self.revision {
                    return Err(Code::Revision);
                }
                self.transactions += 1;
                self.open = Some((self.transactions, b.length, b.digest, Vec::new()));
                Reply::WriteBegin(WriteBegun { transaction: self.transactions })
            }
            R::WriteChunk(c) => {
                let Some((_, _, _, bytes)) = self.open.as_mut().filter(|o| o.0 == c.transaction) else {
                    return Err(Code::Transaction);
                };
                if c.offset as usize != bytes.len() {
                    return Err(Code::Offset);
                }
                bytes.extend(c.bytes);
                self.chunks.push(c.bytes.len());
                Reply::WriteChunk(WriteProgress { received: bytes.len() as u32 })
            }
            R::WriteCommit(c) => {
                let Some((_, _, digest, bytes)) = self.open.clone().filter(|o| o.0 == c.transaction) else {
                    return Err(Code::Transaction);
                };
                if self.refuse_commit || <[u8; 32]>::from(Sha256::digest(&bytes)) != digest {
                    return Err(Code::Settings);
                }
                (self.image, self.open) = (bytes, None);
                self.revision += 1;
                self.effects.push(Effect::Committed);
                Reply::WriteCommit(WriteCommitted { revision: self.revision })
            }
            R::WriteAbandon(a) => {
                if self.open.as_ref().is_none_or(|o| o.0 != a.transaction) {
                    return Err(Code::Transaction);
                }
                self.open = None;
                Reply::WriteAbandon(done)
            }
            R::BaselineTake(_) => {
                self.effects.push(Effect::BaselineBegun);
                self.held = Some(self.flow_as_it_is());
                Reply::BaselineTake(self.baseline())
            }
            R::BaselineStatus(_) => Reply::BaselineStatus(self.baseline()),
            R::BaselineRead(_) => Reply::BaselineRead(self.held.unwrap_or_else(|| self.flow_as_it_is())),
            R::Inhibit(wire::Inhibit { seconds }) => {
                self.lease = Some((9, now + Duration::from_secs(seconds.into())));
                Reply::Inhibit(Lease { lease: 9, seconds })
            }
            R::InhibitRenew(r) if self.holds(r.lease) => {
                self.lease = Some((r.lease, now + Duration::from_secs(r.seconds.into())));
                Reply::InhibitRenew(Lease { lease: r.lease, seconds: r.seconds })
            }
            R::InhibitRelease(r) if self.holds(r.lease) => {
                self.lease = None;
                self.effects.push(Effect::Released);
                Reply::InhibitRelease(done)
            }
            R::InhibitRenew(_) | R::InhibitRelease(_) => return Err(Code::Lease),
            R::OutputsStatus(_) => Reply::OutputsStatus(wire::OutputsStatus {
                inhibit: if self.lease.is_some() { InhibitState::Leased } else { InhibitState::Free },
                lease: self.lease.map(|(lease, _)| lease),
                left_ms: 0,
                driven: 0,
                operated: 0,
            }),
            R::Drive(d) => {
                self.effects.push(Effect::Drove(d.output));
                self.driven |= output_bit(d.output);
                Reply::Drive(done)
            }
            R::Undrive(d) => {
                self.driven &= !output_bit(d.output);
                Reply::Undrive(done)
            }
            R::ResetLatches(_) => Reply::ResetLatches(Latches { alarms: 0, faults: wire::Faults(0) }),
            R::LogNote(note) => {
                self.effects.push(Effect::Noted(note.text.into()));
                Reply::LogNote(wire::LogNoted { position: 11 })
            }
            R::LogRead(l) => {
                let mut entries = List::new();
                for position in l.from.max(1)..=10 {
                    let entry = LogEntry { position, boot_id: 1, at_us: position, code: 1, text: "started" };
                    if !entries.push(entry) {
                        break;
                    }
                }
                let next = entries.last().map_or(l.from, |e| e.position + 1);
                Reply::LogRead(LogPage { oldest: 1, next, entries })
            }
        })
    }
    fn holds(&self, lease: u32) -> bool {
        self.lease.is_some_and(|(held, _)| held == lease)
    }
    fn flow_as_it_is(&self) -> wire::Baseline {
        wire::Baseline {
            id: 1,
            flow_nl_s: self.told.flow_nl_s,
            uncertainty_nl_s: List::from_slice(&[Sample::Value(1_000_000), Sample::Absent]).unwrap(),
            temperature_mk: Sample::Value(295_150),
            fan_mrev_s: Sample::Value(50_000),
            duration_ms: 3_000,
            boot_id: self.boot_id,
            taken_us: 77,
            settings_revision: self.revision,
        }
    }
    fn baseline<'a>(&mut self) -> wire::BaselineStatus<'a> {
        self.baseline_asked += 1;
        let state = if self.baseline_asked < 4 { BaselineState::Taking } else { BaselineState::Taken };
        wire::BaselineStatus { state, progress: 30, held: None, reason: None }
    }
}
fn output_bit(output: u8) -> u32 {
    1u32.checked_shl(u32::from(output).saturating_sub(1)).unwrap_or(0)
}
/// The unit's clock at an instant: it has been running for 5 s longer than the log.
fn device_us(now: Instant) -> u64 {
    now.as_micros() + 5_000_000
}
fn told() -> wire::Reading {
    let list = |v: &[Sample]| List::from_slice(v).unwrap();
    wire::Reading {
        taken_us: 0,
        dropped: 0,
        flow_nl_s: list(&[Sample::Value(700_000_000), Sample::Failed]),
        obscuration_n_m: list(&[Sample::Value(-2_000)]),
        fan_mrev_s: Sample::Value(50_000),
        temperature_mk: Sample::Value(295_150),
        supply_mv: Sample::Value(24_000),
        supply_ma: Sample::Absent,
        inputs: 0,
        outputs: 0,
        faults: wire::Faults::FLOW.with(wire::Faults::COVER),
        faults_latched: wire::Faults(0),
        flow_low: 1,
        flow_high: 0,
        alarms: 0,
        alarms_latched: 1,
        conditions: Conditions::INHIBITED,
    }
}
fn hello(token: u32, boot_id: u64, starting: bool) -> HelloReply<'static> {
    HelloReply {
        version: VERSION,
        token,
        maker: "Example Works",
        model: "Tiny",
        serial: "T-1",
        firmware: "0.1",
        boot_id,
        uptime_us: 5_000_000,
        starting,
        capabilities: Capabilities {
            inlets: 2,
            alarm_levels: 3,
            outputs: 4,
            inputs: 1,
            sensors: Sensors(0b11111),
            obscuration_per_inlet: false,
            flow_reference: None,
            flow_max_nl_s: 2_000_000_000,
            obscuration_max_n_m: 100_000_000,
            rate_max_hz: 10,
            settings_max: 4096,
            chunk_max: 512,
            lease_max_s: 300,
            wall_clock: None,
            simulated: None,
            notes: None,
        },
    }
}
fn line(message: &Message<'_>, conversation: u32, sequence: u32) -> Vec<u8> {
    let mut out = [0; MAX_WIRE];
    let len = message.write(conversation, sequence, &mut out).unwrap();
    out[..len].to_vec()
}

/// What the line does to a piece of it: `true` as first argument for what goes to the unit.
pub(crate) type Damage = Box<dyn FnMut(bool, Vec<u8>) -> Option<Vec<u8>>>;

/// Driver, line and unit on one virtual clock.
pub(crate) struct Pair {
    pub(crate) now: Instant,
    pub(crate) driver: Plumewire,
    pub(crate) unit: Unit,
    pub(crate) damage: Damage,
    pub(crate) reports: Vec<Report>,
    on_the_way: VecDeque<(Instant, Vec<u8>)>,
    next_reading: Instant,
}
impl Pair {
    pub(crate) fn new(unit: Unit) -> Self {
        let mut driver = Plumewire::new();
        driver.link_up(Instant::START);
        Self {
            now: Instant::START,
            driver,
            unit,
            damage: Box::new(|_, bytes| Some(bytes)),
            reports: Vec::new(),
            on_the_way: VecDeque::new(),
            next_reading: Instant::START,
        }
    }
    /// Moves everything that moves until `until`.
    pub(crate) fn run(&mut self, until: Instant) {
        loop {
            let mut out = Vec::new();
            while self.driver.poll_send(&mut out) {}
            if !out.is_empty()
                && let Some(bytes) = (self.damage)(true, out)
            {
                for answer in self.unit.receive(self.now, &bytes) {
                    self.deliver(answer);
                }
            }
            while let Some(report) = self.driver.poll_report() {
                self.reports.push(report);
            }
            let reading = (self.unit.rate_hz > 0).then_some(self.next_reading.max(self.now));
            let arrival = self.on_the_way.front().map(|(at, _)| *at);
            let next = [reading, arrival, self.driver.next_timeout()].into_iter().flatten().min();
            let Some(next) = next.filter(|n| *n <= until) else {
                self.now = until;
                return;
            };
            self.now = self.now.max(next);
            if reading.is_some_and(|at| at <= self.now) {
                self.next_reading = self.now + Duration::from_secs(1) / u32::from(self.unit.rate_hz);
                if let Some(bytes) = self.unit.reading(self.now) {
                    self.deliver(bytes);
                }
            }
            while let Some((_, bytes)) = self.on_the_way.pop_front_if(|(at, _)| *at <= self.now) {
                // In two pieces: a driver must not care where reads end.
                let (a, b) = bytes.split_at(bytes.len() / 2);
                self.driver.receive(self.now, a);
                self.driver.receive(self.now, b);
            }
            self.driver.timeout(self.now);
        }
    }
    fn deliver(&mut self, bytes: Vec<u8>) {
        if let Some(bytes) = (self.damage)(false, bytes) {
            self.on_the_way.push_back((self.now + Duration::from_millis(10), bytes));
        }
    }
    /// Asks, runs until the end of the request, and gives that end.
    pub(crate) fn ask<A: Ask>(&mut self, ask: A) -> Result<A::Reply, Trouble> {
        let ticket = self.driver.request(self.now, ask.request());
        for _ in 0..4_000 {
            self.run(self.now + Duration::from_millis(50));
            if let Some(end) = self.end_of(ticket) {
                return end.map(|reply| A::told(reply).unwrap());
            }
        }
        panic!("the request never ended");
    }
    /// How a request ended, if it did; its report is taken.
    pub(crate) fn end_of(&mut self, ticket: Ticket) -> Option<End> {
        let at = self.reports.iter().position(|r| matches!(r, Report::Ended(ended, _) if *ended == ticket))?;
        match self.reports.remove(at) {
            Report::Ended(_, end) => Some(end),
            _ => None,
        }
    }
    /// What was told unasked, forgotten here.
    pub(crate) fn unasked(&mut self) -> Vec<Report> {
        let asked = |r: &Report| matches!(r, Report::Ended(..) | Report::Progress { .. });
        let (asked, unasked) = self.reports.drain(..).partition(asked);
        self.reports = asked;
        unasked
    }
}
