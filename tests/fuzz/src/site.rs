//! Sequences of events into the simulator: bytes and requests to the unit, people at the site, time.
use crate::dice::Dice;
use plumeline_base::Instant;
use plumeline_simulator::{
    Defect, Scenario, Simulation, demo::straight_pipes, models::invented::air_path, scenario::Which,
};
use plumewire::{
    BaselineState, Decoder, Drive, Frame, Header, HelloRequest, Inhibit, InhibitRelease, InhibitRenew, Kind, LogRead,
    MAX_WIRE, Message, Nothing, ReadingsStart, Reply, Report, Request, SettingsRead, Undrive, VERSION, WriteAbandon,
    WriteBegin, WriteChunk, WriteCommit,
};
use sha2::{Digest as _, Sha256};
use std::time::Duration;

/// Simulated time of one input, at most.
const LONGEST: Duration = Duration::from_secs(600);

struct Site<'a> {
    dice: Dice<'a>,
    now: Instant,
    simulation: Simulation,
    decoder: Decoder,
    conversation: u32,
    sequence: u32,
    lease: u32,
    transaction: u32,
    revision: u64,
    /// What was asked: sequence and operation.
    asked: Vec<(u32, u8)>,
    /// Cable and power are as they were, so that frames come whole.
    whole: bool,
}

/// A site and its units.
pub fn device(data: &[u8]) {
    let mut dice = Dice::new(data);
    let pipes: &[u32] = if dice.byte() & 1 == 0 { &[2] } else { &[1, 2] };
    let mut scenario =
        Scenario::new(straight_pipes(pipes, 3.0, 3e-3, air_path(Which::Replacement)), dice.byte().into());
    let shape = dice.byte();
    scenario.mounted = if shape & 1 == 0 { Which::Replacement } else { Which::Outgoing };
    scenario.outgoing_alive = shape & 2 == 0;
    const DEFECTS: [&str; 6] =
        ["none", "hole-blocked", "pipe-off", "setting-lost", "wires-crossed", "fan-setting-wrong"];
    scenario.defects.extend(Defect::parse(DEFECTS[usize::from(shape >> 2) % DEFECTS.len()]).ok());
    let again = scenario.clone();
    let Ok(simulation) = Simulation::new(scenario, Instant::START) else { return };
    let mut site = Site {
        dice,
        now: Instant::START,
        simulation,
        decoder: Decoder::new(),
        conversation: 0,
        sequence: 0,
        lease: 0,
        transaction: 0,
        revision: 0,
        asked: Vec::new(),
        whole: true,
    };
    site.request(&Request::Hello(HelloRequest { version_min: 1, version_max: 1, token: 1 }));
    for _ in 0..120 {
        if site.dice.is_spent() || site.now > Instant::START + LONGEST {
            break;
        }
        site.step();
        site.listen();
    }
    // What the units remember can be given to the next life of the process.
    let store = Some(site.simulation.store());
    Simulation::new(Scenario { store, ..again }, Instant::START).expect("it reads what it stored");
}

impl Site<'_> {
    fn step(&mut self) {
        let (now, nothing) = (self.now, Nothing {});
        match self.dice.byte() % 32 {
            0..=5 => {
                let ms = u64::from(self.dice.byte()) * 40;
                self.run(self.now + Duration::from_millis(ms));
            }
            6 => {
                let s = u64::from(self.dice.byte());
                self.run(self.now + Duration::from_secs(s / 4));
            }
            7 => {
                let length = self.dice.byte();
                let bytes = self.dice.bytes(length.into());
                self.simulation.handle_bytes(now, bytes);
            }
            8 => self.made_up(),
            9 => {
                // Time never runs backward.
                self.simulation.handle_timeout(Instant::from_micros(self.dice.u16().into()));
            }
            10 => self.hello(),
            11 => {
                let rate_hz = self.dice.byte() % 22;
                self.request(&Request::ReadingsStart(ReadingsStart { rate_hz }));
            }
            12 => self.request(&Request::SettingsManifest(nothing)),
            13 => {
                let (offset, length) = (self.dice.u16().into(), self.dice.u16() % 1200);
                self.request(&Request::SettingsRead(SettingsRead { revision: self.revision, offset, length }));
            }
            14 | 15 => self.write_settings(),
            16 => self.request(&Request::BaselineTake(nothing)),
            17 => self.request(&Request::BaselineStatus(nothing)),
            18 => self.request(&Request::BaselineRead(nothing)),
            19 => {
                let seconds = self.dice.u16() % 400;
                self.request(&Request::Inhibit(Inhibit { seconds }));
            }
            20 => {
                let seconds = self.dice.u16() % 400;
                self.request(&Request::InhibitRenew(InhibitRenew { lease: self.lease, seconds }));
            }
            21 => self.request(&Request::InhibitRelease(InhibitRelease { lease: self.lease })),
            22 => {
                let (output, seconds) = (self.dice.byte() % 40, self.dice.byte() % 70);
                self.request(&Request::Drive(Drive { output, seconds }));
            }
            23 => {
                let output = self.dice.byte() % 40;
                self.request(&Request::Undrive(Undrive { output }));
            }
            24 => self.request(&Request::ResetLatches(nothing)),
            25 => {
                let from = self.dice.byte().into();
                self.request(&Request::LogRead(LogRead { from }));
            }
            26 => self.request(&Request::Restart(nothing)),
            27 => self.request(&Request::OutputsStatus(nothing)),
            28..=30 => self.people(),
            _ => {
                let length = self.dice.byte();
                let line = String::from_utf8_lossy(self.dice.bytes(length.into())).into_owned();
                self.control(&line);
            }
        }
    }

    /// Every wake is served, and each brings the next one nearer.
    fn run(&mut self, until: Instant) {
        while let Some(at) = self.simulation.poll_timeout().filter(|at| *at <= until) {
            assert!(at >= self.now, "it wants to be woken in the past");
            self.now = at;
            self.simulation.handle_timeout(at);
            assert!(self.simulation.poll_timeout().is_none_or(|next| next >= at));
            self.listen();
        }
        self.now = until;
        self.simulation.handle_timeout(until);
    }

    fn hello(&mut self) {
        let token = self.dice.byte().into();
        (self.conversation, self.sequence) = (0, self.sequence + 1);
        self.request(&Request::Hello(HelloRequest { version_min: 1, version_max: 1, token }));
    }

    fn request(&mut self, request: &Request<'_>) {
        self.sequence += 1;
        let mut out = [0; MAX_WIRE];
        let length = Message::Request(*request).write(self.conversation, self.sequence, &mut out).unwrap();
        self.asked.push((self.sequence, request.operation() as u8));
        self.simulation.handle_bytes(self.now, &out[..length]);
        self.listen();
    }

    fn made_up(&mut self) {
        let kind = [Kind::Request, Kind::Reply][usize::from(self.dice.byte() % 2)];
        let (operation, sequence) = (self.dice.byte(), u32::from(self.dice.byte()));
        let header = Header { version: VERSION, kind, operation, conversation: self.conversation, sequence };
        let length = self.dice.byte();
        let payload = self.dice.bytes(length.into());
        let mut out = [0; MAX_WIRE];
        let length = Frame { header, payload }.write(&mut out).unwrap();
        self.asked.push((sequence, operation));
        self.simulation.handle_bytes(self.now, &out[..length]);
        self.listen();
    }

    /// A transaction with an image of the fuzzer's, in whole or in part.
    fn write_settings(&mut self) {
        let length = self.dice.byte();
        let image = self.dice.bytes(length.into());
        let digest: [u8; 32] = Sha256::digest(image).into();
        let base_revision = self.revision;
        let shape = self.dice.byte();
        self.request(&Request::WriteBegin(WriteBegin { base_revision, length: image.len() as u32, digest }));
        let transaction = self.transaction;
        let mut offset = 0;
        for bytes in image.chunks(usize::from(shape & 0x3F).max(8)) {
            self.request(&Request::WriteChunk(WriteChunk { transaction, offset, bytes }));
            offset += bytes.len() as u32;
        }
        self.request(&Request::WriteStatus(Nothing {}));
        if shape & 0x40 == 0 {
            self.request(&Request::WriteCommit(WriteCommit { transaction, digest }));
        } else if shape & 0x80 != 0 {
            self.request(&Request::WriteAbandon(WriteAbandon { transaction }));
        }
    }

    fn people(&mut self) {
        let (what, pipe, hole) = (self.dice.byte(), self.dice.byte() % 3 + 1, self.dice.byte() % 4);
        let on = what & 0x80 != 0;
        let unit = if on { "replacement" } else { "outgoing" };
        let line = match what % 16 {
            0 => format!(
                r#"{{"do":"smoke","pipe":{pipe},"hole":{hole},"obscuration":{},"seconds":{}}}"#,
                self.dice.byte(),
                hole * 9
            ),
            1 => r#"{"do":"smoke-off"}"#.into(),
            2 => format!(r#"{{"do":"close","pipe":{pipe},"hole":{hole}}}"#),
            3 => format!(r#"{{"do":"open","pipe":{pipe},"hole":{hole}}}"#),
            4 => format!(r#"{{"do":"inlet","inlet":{pipe},"shut":{on}}}"#),
            5 => format!(r#"{{"do":"pipe-off","pipe":{pipe}}}"#),
            6 => format!(r#"{{"do":"pipe-on","pipe":{pipe}}}"#),
            7 => r#"{"do":"swap"}"#.into(),
            8 => format!(r#"{{"do":"cable","unit":"{unit}"}}"#),
            9 => format!(r#"{{"do":"power","unit":"{unit}","mains":{on},"battery":{}}}"#, hole & 1 == 0),
            10 => format!(r#"{{"do":"cover","open":{on}}}"#),
            11 => format!(r#"{{"do":"input","number":{hole},"on":{on}}}"#),
            12 => r#"{"do":"isolate"}"#.into(),
            13 => r#"{"do":"restore"}"#.into(),
            14 => r#"{"do":"repair","defect":"hole-blocked"}"#.into(),
            _ => r#"{"do":"panel"}"#.into(),
        };
        self.control(&line);
    }

    /// Every line has an answer that is JSON, and what is really so is always a number.
    fn control(&mut self, line: &str) {
        let reply = self.simulation.handle_control(self.now, line);
        assert!(serde_json::from_str::<serde_json::Value>(&reply).unwrap()["ok"].is_boolean());
        // Bytes under way when the cable moves or the power goes are lost.
        self.whole &= !["cable", "swap", "power"].iter().any(|w| line.contains(w));
        self.listen();
        let truth = self.simulation.handle_control(self.now, r#"{"do":"truth"}"#);
        assert!(!truth.contains("\"flow_l_min\":null") && !truth.contains("\"pressure_pa\":null,"), "{line}: {truth}");
    }

    /// What comes from the unit is whole frames, each an answer to what was asked or a report.
    fn listen(&mut self) {
        let mut sent = 0;
        while let Some(bytes) = self.simulation.poll_transmit() {
            sent += bytes.len();
            assert!(sent < 1 << 20, "no end of bytes");
            let mut rest = &bytes[..];
            while let Some(found) = self.decoder.next_frame(&mut rest) {
                let Ok(frame) = found else {
                    assert!(!self.whole, "the unit sent {:?}", found);
                    continue;
                };
                let message = Message::decode(&frame).expect("the unit keeps to the protocol");
                if matches!(frame.header.kind, Kind::Reply | Kind::Refusal) {
                    let asked = (frame.header.sequence, frame.header.operation);
                    assert!(self.asked.contains(&asked), "an answer to nothing: {message:?}");
                }
                match message {
                    Message::Reply(Reply::Hello(_)) => self.conversation = frame.header.conversation,
                    Message::Reply(Reply::Inhibit(l)) => self.lease = l.lease,
                    Message::Reply(Reply::WriteBegin(b)) => self.transaction = b.transaction,
                    Message::Reply(Reply::SettingsManifest(m)) => self.revision = m.revision,
                    Message::Reply(Reply::WriteCommit(c)) => self.revision = c.revision,
                    Message::Reply(Reply::BaselineStatus(s)) => {
                        assert!(s.state != BaselineState::Taken || s.held.is_some(), "taken, and none in force");
                        assert!(s.progress <= 100 && (s.state == BaselineState::Taking || s.progress == 0));
                    }
                    Message::Report(Report::Reading(r)) => assert!(r.taken_us <= self.now.as_micros() + 86_400_000_000),
                    _ => {}
                }
            }
        }
    }
}
