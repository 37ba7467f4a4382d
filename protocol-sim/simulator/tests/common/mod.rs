//! The smallest tool there can be: it says hello, asks, and keeps what is reported. No harness code.
#![allow(dead_code, reason = "each test binary uses its own part")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "test code: a surprise ends the test")]
use plumeline_base::Instant;
use plumeline_simulator::{
    Defect, Scenario, Simulation,
    demo::straight_pipes,
    models::invented::air_path,
    scenario::{Scatter, Ventilation, Which},
    sensors::SensorLaws,
};
use plumewire::*;
use std::time::Duration;

/// An owned answer: the frame's payload, to be decoded where it is used.
pub(crate) struct Client {
    pub(crate) sim: Simulation,
    pub(crate) now: Instant,
    decoder: Decoder,
    conversation: u32,
    sequence: u32,
    pub(crate) readings: Vec<Reading>,
    pub(crate) log: Vec<(u16, String)>,
}
/// Bytes of settings asked for or sent at once: within what the unit says it takes.
const PART: usize = 100;
pub(crate) type Answer = Result<Vec<u8>, (RefusalCode, String)>;

pub(crate) fn scenario(defects: &[&str]) -> Scenario {
    let pipework = straight_pipes(&[8, 12], 4.0, 3e-3, air_path(Which::Replacement));
    let defects = defects.iter().map(|d| Defect::parse(d).unwrap()).collect();
    Scenario { defects, ..Scenario::new(pipework, 7) }
}
/// Nothing scatters, wanders or errs.
pub(crate) fn exact(defects: &[&str]) -> Scenario {
    Scenario {
        scatter: Scatter::NONE,
        ventilation: Ventilation { swing_pa: 0.0, time_s: 1.0 },
        sensors: SensorLaws::EXACT,
        ..scenario(defects)
    }
}

impl Client {
    pub(crate) fn new(scenario: Scenario) -> Self {
        Self {
            sim: Simulation::new(scenario, Instant::START).unwrap(),
            now: Instant::START,
            decoder: Decoder::new(),
            conversation: 0,
            sequence: 0,
            readings: Vec::new(),
            log: Vec::new(),
        }
    }
    fn take(&mut self, wanted: Option<u32>) -> Option<(Kind, u32, Vec<u8>)> {
        let mut found = None;
        while let Some(bytes) = self.sim.poll_transmit() {
            let mut rest = &bytes[..];
            while let Some(frame) = self.decoder.next_frame(&mut rest) {
                let frame = frame.expect("the line is clean");
                match Message::decode(&frame).expect("the unit speaks the protocol") {
                    Message::Report(Report::Reading(r)) => self.readings.push(r),
                    Message::Report(Report::Log(e)) => self.log.push((e.code, e.text.into())),
                    _ if wanted == Some(frame.header.sequence) => {
                        found = Some((frame.header.kind, frame.header.conversation, frame.payload.to_vec()));
                    }
                    _ => {}
                }
            }
        }
        found
    }
    /// Time goes by.
    pub(crate) fn wait(&mut self, seconds: f64) {
        let end = self.now + Duration::from_secs_f64(seconds);
        while let Some(at) = self.sim.poll_timeout().filter(|at| *at <= end) {
            self.sim.handle_timeout(at);
            self.take(None);
        }
        self.sim.handle_timeout(end);
        self.now = end;
    }
    pub(crate) fn send(&mut self, bytes: &[u8]) {
        self.sim.handle_bytes(self.now, bytes);
    }
    pub(crate) fn frame(&self, request: Request<'_>, sequence: u32) -> Vec<u8> {
        let mut out = [0; MAX_WIRE];
        let conversation = if matches!(request, Request::Hello(_)) { 0 } else { self.conversation };
        let len = Message::Request(request).write(conversation, sequence, &mut out).unwrap();
        out[..len].to_vec()
    }
    /// Sends and waits up to a second for the answer; `None`: silence.
    pub(crate) fn try_ask(&mut self, request: Request<'_>) -> Option<Answer> {
        self.sequence += 1;
        let frame = self.frame(request, self.sequence);
        self.send(&frame);
        self.answer(self.sequence)
    }
    pub(crate) fn answer(&mut self, sequence: u32) -> Option<Answer> {
        let end = self.now + Duration::from_secs(1);
        while self.now < end {
            let next = self.sim.poll_timeout().unwrap_or(end).min(end);
            self.now = next;
            self.sim.handle_timeout(next);
            if let Some((kind, conversation, payload)) = self.take(Some(sequence)) {
                if kind == Kind::Reply {
                    self.conversation = conversation;
                    return Some(Ok(payload));
                }
                let header = Header { version: VERSION, kind, operation: 1, conversation, sequence };
                let Message::Refusal(_, r) = Message::decode(&Frame { header, payload: &payload }).unwrap() else {
                    panic!("neither reply nor refusal")
                };
                return Some(Err((r.code, r.reason.into())));
            }
        }
        None
    }
    pub(crate) fn ask(&mut self, request: Request<'_>) -> Answer {
        self.try_ask(request).expect("an answer")
    }
    /// The refusal's code.
    pub(crate) fn refused(&mut self, request: Request<'_>) -> RefusalCode {
        self.ask(request).expect_err("a refusal").0
    }
    pub(crate) fn hello(&mut self) -> (String, u64, bool) {
        let token = self.sequence + 1;
        let request = Request::Hello(HelloRequest { version_min: 1, version_max: 1, token });
        let payload = self.ask(request).unwrap();
        match Reply::decode(Operation::Hello as u8, &payload).unwrap() {
            Reply::Hello(h) => (h.model.into(), h.boot_id, h.starting),
            other => panic!("{other:?}"),
        }
    }
    pub(crate) fn manifest(&mut self) -> (u64, u32, [u8; 32]) {
        let payload = self.ask(Request::SettingsManifest(Nothing {})).unwrap();
        match Reply::decode(Operation::SettingsManifest as u8, &payload).unwrap() {
            Reply::SettingsManifest(m) => (m.revision, m.length, m.digest),
            other => panic!("{other:?}"),
        }
    }
    /// Where taking the baseline stands, the number of the one in force, and why an attempt failed.
    pub(crate) fn baseline(&mut self) -> (BaselineState, Option<u32>, Option<String>) {
        let payload = self.ask(Request::BaselineStatus(Nothing {})).unwrap();
        match Reply::decode(Operation::BaselineStatus as u8, &payload).unwrap() {
            Reply::BaselineStatus(s) => (s.state, s.held, s.reason.map(Into::into)),
            other => panic!("{other:?}"),
        }
    }
    pub(crate) fn image(&mut self) -> Vec<u8> {
        let (revision, length, _) = self.manifest();
        let mut image = Vec::new();
        while image.len() < length as usize {
            let part = SettingsRead { revision, offset: image.len() as u32, length: PART as u16 };
            let payload = self.ask(Request::SettingsRead(part)).unwrap();
            match Reply::decode(Operation::SettingsRead as u8, &payload).unwrap() {
                Reply::SettingsRead(p) => image.extend(p.bytes),
                other => panic!("{other:?}"),
            }
        }
        image
    }
    pub(crate) fn begin(&mut self, image: &[u8], digest: [u8; 32]) -> Result<u32, RefusalCode> {
        let (base_revision, ..) = self.manifest();
        let begin = WriteBegin { base_revision, length: image.len() as u32, digest };
        let payload = self.ask(Request::WriteBegin(begin)).map_err(|e| e.0)?;
        match Reply::decode(Operation::WriteBegin as u8, &payload).unwrap() {
            Reply::WriteBegin(b) => Ok(b.transaction),
            other => panic!("{other:?}"),
        }
    }
    pub(crate) fn chunks(&mut self, transaction: u32, image: &[u8]) {
        let mut offset = 0;
        for bytes in image.chunks(PART) {
            self.ask(Request::WriteChunk(WriteChunk { transaction, offset, bytes })).unwrap();
            offset += bytes.len() as u32;
        }
    }
    pub(crate) fn control(&mut self, line: &str) -> serde_json::Value {
        let reply = self.sim.handle_control(self.now, line);
        serde_json::from_str(&reply).unwrap()
    }
    pub(crate) fn do_it(&mut self, line: &str) {
        let reply = self.control(line);
        assert_eq!(reply["ok"], true, "{line}: {reply}");
    }
    pub(crate) fn stream(&mut self, rate_hz: u8) {
        self.ask(Request::ReadingsStart(ReadingsStart { rate_hz })).unwrap();
    }
    pub(crate) fn last(&self) -> &Reading {
        self.readings.last().expect("a reading")
    }
    /// Flow of inlet `i` in the latest reading, L/min.
    pub(crate) fn flow(&self, i: usize) -> f64 {
        self.last().flow_nl_s[i].value().expect("a flow") as f64 * 6e-8
    }
    pub(crate) fn take_baseline(&mut self) -> BaselineState {
        self.ask(Request::BaselineTake(Nothing {})).unwrap();
        self.wait(40.0);
        let payload = self.ask(Request::BaselineStatus(Nothing {})).unwrap();
        match Reply::decode(Operation::BaselineStatus as u8, &payload).unwrap() {
            Reply::BaselineStatus(s) => s.state,
            other => panic!("{other:?}"),
        }
    }
    /// The replacement on the wall, started, greeted, with every pipe's inlet in use and streaming.
    pub(crate) fn replaced(scenario: Scenario) -> Self {
        use plumeline_simulator::device::settings::{SettingValue, from_image, to_image};
        use sha2::Digest;
        let mut c = Self::new(scenario);
        c.do_it(r#"{"do":"isolate"}"#);
        c.do_it(r#"{"do":"swap"}"#);
        c.wait(60.0);
        c.hello();
        let mut settings = from_image(&c.image()).unwrap();
        for s in &mut settings {
            if s.key.ends_with(".used") {
                s.value = SettingValue::Switch(true);
            }
            let number = s.key.strip_prefix("output.").and_then(|k| k.chars().next()).unwrap_or('0');
            if ('2'..='4').contains(&number) {
                s.value = SettingValue::Text(format!("alarm-{}", number as u8 - b'1'));
            }
        }
        let image = to_image(&settings).unwrap();
        let digest = sha2::Sha256::digest(&image).into();
        let transaction = c.begin(&image, digest).unwrap();
        c.chunks(transaction, &image);
        c.ask(Request::WriteCommit(WriteCommit { transaction, digest })).unwrap();
        c.stream(1);
        c.wait(30.0);
        c
    }
}
