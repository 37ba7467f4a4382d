//! Sequences of events into the procedure. The world is well-behaved where the bytes decide nothing: a unit that answers, air
//! that flows as predicted, a person who does what is asked; so an empty input is a sound job that passes. The bytes
//! decide where it differs: lost, damaged and made-up frames, refusals, cables, restarts, answers, aborts, time.
use crate::{
    dice::Dice,
    job,
    unit::{Effect as Did, Unit},
};
use plumeline_base::{
    Instant, Verdict,
    input::{AbortCause, Answer, Event, Input, LineId, LinkDown, OperatorAct},
};
use plumeline_detector::{Driver, driver::Wants, plumewire::Plumewire};
use plumeline_procedure::{Act, Effect, Entry, Outcome, Procedure, Prompt, StageKind, plan::HoleRef, prompt::Supply};
use plumewire::{Faults, Frame, Header, Kind, List, MAX_WIRE, Message, Refusal, RefusalCode, Sample, VERSION};
use std::{
    collections::{BTreeMap, BTreeSet},
    time::Duration,
};

/// Steps of an input before its job is told to stop.
const STEPS: u32 = 3_000;
/// Steps that a job may take to end once it was told to.
const STEPS_TO_END: u32 = 4_000;
/// Events at one instant before it counts as spinning.
const AT_ONCE: u32 = 2_000;

/// Something on its way to the procedure.
enum Coming {
    Input(Input),
    /// An answer, with what was done at the site for it.
    Answer(u32, Act, Answer),
}

struct World<'a> {
    dice: Dice<'a>,
    now: Instant,
    procedure: Procedure,
    /// The unit that the cable goes to, and the other one: the outgoing unit or the replacement.
    unit: Unit,
    other: Unit,
    coming: BTreeMap<(Instant, u32), Coming>,
    serial: u32,
    link_up: bool,
    next_reading: Instant,
    readings: u32,
    /// Nothing is as it should be any more: no answers, no link.
    dead: bool,
    flow: [f64; 2],
    closed: BTreeSet<HoleRef>,
    shut: BTreeSet<u8>,
    /// The unit's faults beside those that follow from pipes and supplies.
    faults: Faults,
    /// Faults of supplies that are switched off.
    off: BTreeMap<Supply, Faults>,
    /// Where smoke is held, since when and until when.
    smoke: Option<(HoleRef, Instant, Instant)>,
    haze: f64,
    last_reply: Vec<u8>,
    at_once: u32,
    // What a pass needs, kept apart from what the procedure keeps.
    aborted: bool,
    /// The program would end here.
    paused: bool,
    last_answers: BTreeMap<Act, Answer>,
    smoke_seen: BTreeSet<u8>,
    good_readings: u32,
    ended: Option<Verdict>,
    outcome: Option<Box<Outcome>>,
}

/// What the unit of this world does not play, by the beginnings of the codes that find it.
const NOT_PLAYED: [&str; 3] = ["alarms.", "supervise.inlet-not-named", "log.missing"];

/// A job from its first event to its end, or its pause, and a little more.
pub fn procedure(data: &[u8]) {
    let mut dice = Dice::new(data);
    // Three of four jobs are told to stop soon after the bytes are spent; one goes on well-behaved to its end.
    let (mode, patience) = (dice.byte(), u32::from(dice.byte()) * 2 + 1);
    let mut world = World::new(dice);
    world.feed(Input::Tool { version: "0".into(), format: 1 });
    world.feed(Input::Date("2026-03-02T08:00:00+01:00".into()));
    let (mut steps, mut patience, mut left) = (0, patience, STEPS_TO_END);
    while world.outcome.is_none() && !world.paused {
        steps += 1;
        if mode & 3 != 0 && world.dice.is_spent() {
            patience = patience.saturating_sub(1);
        }
        let over = steps > STEPS || patience == 0;
        if over && !world.aborted {
            world.abort(AbortCause::Operator);
            world.dead = mode & 4 != 0;
        }
        if world.aborted {
            left -= 1;
            assert!(left > 0, "told to stop and never ends");
        }
        if world.outcome.is_none() {
            world.step();
        }
    }
    if world.paused {
        return;
    }
    world.judge();
    if data.iter().all(|byte| *byte == 0) {
        let outcome = world.outcome.as_deref().unwrap();
        let open = outcome.findings.iter().filter(|f| f.stage.judges() && f.counts_as() != Verdict::Pass);
        // An alarm that does not come is a failed test on the baseline, and makes it void.
        let open = open.filter(|f| f.stage != StageKind::Baseline || f.void.is_none());
        let unplayed = |code: &str| NOT_PLAYED.iter().any(|part| code.starts_with(part));
        let wrong: Vec<_> = open.filter(|f| !unplayed(f.code.as_str())).map(|f| (f.code.as_str(), &f.says)).collect();
        assert!(wrong.is_empty(), "a sound job: {wrong:#?}");
    }
    world.after_the_end();
}

impl<'a> World<'a> {
    fn new(dice: Dice<'a>) -> Self {
        let unit = |serial| {
            // No settings at first.
            let mut unit = Unit::new(vec![0x80]);
            unit.serial = serial;
            let told = &mut unit.told;
            (told.faults, told.supply_ma) = (Faults(0), Sample::Value(100));
            (told.flow_low, told.alarms_latched, told.conditions) = (0, 0, plumewire::Conditions(0));
            unit
        };
        Self {
            dice,
            now: Instant::START,
            procedure: Procedure::new(job::inputs().clone(), Box::new(Plumewire::new()) as Box<dyn Driver>),
            unit: unit("T-1"),
            other: unit("T-2"),
            coming: BTreeMap::new(),
            serial: 0,
            link_up: false,
            next_reading: Instant::START,
            readings: 0,
            dead: false,
            flow: [1.0; 2],
            closed: BTreeSet::new(),
            shut: BTreeSet::new(),
            faults: Faults(0),
            off: BTreeMap::new(),
            smoke: None,
            haze: 0.0,
            last_reply: Vec::new(),
            at_once: 0,
            aborted: false,
            paused: false,
            last_answers: BTreeMap::new(),
            smoke_seen: BTreeSet::new(),
            good_readings: 0,
            ended: None,
            outcome: None,
        }
    }

    fn later(&mut self, after: Duration, what: Coming) {
        self.serial += 1;
        self.coming.insert((self.now + after, self.serial), what);
    }

    /// Goes on to whatever is due next.
    fn step(&mut self) {
        let streaming = self.unit.rate_hz > 0 && self.link_up && !self.dead;
        let reading = streaming.then_some(self.next_reading);
        let arrival = self.coming.keys().next().map(|k| k.0);
        let wake = self.procedure.poll_timeout();
        let next = [reading, arrival, wake].into_iter().flatten().min().expect("it waits for nothing and is not over");
        self.at_once = if next > self.now { 0 } else { self.at_once + 1 };
        assert!(self.at_once < AT_ONCE, "it wants to be woken at once, again and again");
        self.now = self.now.max(next);
        if arrival.is_some_and(|at| at <= self.now) {
            match self.coming.pop_first().map(|(_, what)| what) {
                Some(Coming::Input(input)) => {
                    match input {
                        Input::LinkUp { .. } => self.link_up = true,
                        Input::LinkDown { .. } => self.link_up = false,
                        _ => {}
                    }
                    self.feed(input);
                }
                Some(Coming::Answer(prompt, act, answer)) => {
                    self.done_at_site(&act, &answer);
                    self.last_answers.insert(act, answer.clone());
                    self.feed(Input::Operator(OperatorAct::new(prompt, answer)));
                }
                None => {}
            }
        } else if reading.is_some_and(|at| at <= self.now) {
            self.next_reading = self.now + Duration::from_secs(1) / u32::from(self.unit.rate_hz).max(1);
            self.readings += 1;
            self.read();
            if let Some(bytes) = self.unit.reading(self.now) {
                self.feed(Input::Received(LineId::Main, bytes));
            }
            if !self.readings.is_multiple_of(8) {
                return;
            }
        } else {
            self.feed(Input::Wake);
        }
        if !self.dead && self.outcome.is_none() {
            self.disturb();
        }
    }

    /// What the sensors make of the air.
    fn read(&mut self) {
        let inputs = job::inputs();
        let mut flows = List::new();
        let mut sound = true;
        let (mut all, mut drawn) = (0.0, 0.0);
        for (i, inlet) in inputs.prediction.inlets.iter().enumerate() {
            let drop = |h: &&HoleRef| {
                let of =
                    |p: &&plumeline_airflow::uncertainty::OpeningPrediction| (p.inlet, p.number) == (h.inlet, h.number);
                inputs.prediction.openings.iter().find(of).map_or(0.0, |p| p.closed_drop_m3_s.value)
            };
            let dropped: f64 = self.closed.iter().filter(|h| h.inlet == inlet.number).map(|h| drop(&h)).sum();
            let open = f64::from(u8::from(!self.shut.contains(&inlet.number)));
            // A live sensor scatters; here by up to 0.1 %, without a memory.
            let mix = (u64::from(self.readings) * 2 + i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 40;
            let noise = 1.0 + (mix as f64 / (1u64 << 24) as f64 - 0.5) * 0.002;
            let flow = (inlet.flow_m3_s.value - dropped) * open * self.flow[i] * noise;
            sound &= flow.is_finite();
            all += inlet.flow_m3_s.value;
            drawn += flow;
            let _ = flows.push(Sample::Value((flow * 1e12) as i64));
        }
        while flows.push(Sample::Absent) && flows.len() < 2 {}
        self.unit.told.flow_nl_s = flows;
        let mut smoke = self.haze;
        if let Some((hole, from, until)) = self.smoke {
            let of = |p: &&plumeline_airflow::uncertainty::OpeningPrediction| {
                (p.inlet, p.number) == (hole.inlet, hole.number)
            };
            let half = inputs.prediction.openings.iter().find(of).map_or(20.0, |p| p.half_plateau_s.value);
            let t = self.now.since(from).as_secs_f64();
            let left = self.now.since(until).as_secs_f64();
            if t > half - 1.0 && left < half {
                // The less air the unit draws, the less thins it.
                smoke += if drawn > 0.0 { 0.02 * all / drawn } else { 0.0 };
                self.smoke_seen.insert(hole.inlet);
            }
        }
        let noise = f64::from(self.readings.wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
        let per_m = smoke + 4e-5 + noise * 8e-6;
        self.unit.told.obscuration_n_m = List::from_slice(&[Sample::Value((per_m * 1e9) as i64)]).unwrap();
        let flow = if self.shut.is_empty() { Faults(0) } else { Faults::FLOW };
        self.unit.told.faults = self.off.values().fold(self.faults.with(flow), |all, off| all.with(*off));
        self.good_readings += u32::from(sound);
    }

    fn done_at_site(&mut self, act: &Act, answer: &Answer) {
        if *answer != Answer::Yes {
            return;
        }
        match act {
            Act::Bench => self.cable_to("T-2"),
            Act::BenchDone => self.cable_to("T-1"),
            Act::Swap => self.cable_to("T-2"),
            Act::SwitchSupply { supply, on: true } => {
                self.off.remove(supply);
            }
            Act::SwitchSupply { supply, on: false } => {
                let fault = if *supply == Supply::Mains { Faults::MAINS } else { Faults::BATTERY };
                self.off.insert(*supply, fault);
            }
            Act::CloseHole(hole) => {
                self.closed.insert(*hole);
            }
            Act::OpenHole(hole) => {
                self.closed.remove(hole);
            }
            Act::CloseHoles { inlet, holes } => {
                self.closed.extend(holes.iter().map(|n| HoleRef { inlet: *inlet, number: *n }));
            }
            Act::OpenAlone { inlet, close, open } => {
                self.closed.extend(close.map(|n| HoleRef { inlet: *inlet, number: n }));
                self.closed.remove(&HoleRef { inlet: *inlet, number: *open });
            }
            Act::OpenHoles { inlet, holes } => {
                for n in holes {
                    self.closed.remove(&HoleRef { inlet: *inlet, number: *n });
                }
            }
            Act::ReleaseSmoke(hole) => self.smoke = Some((*hole, self.now, Instant::FAR_FUTURE)),
            Act::StopSmoke => {
                if let Some((.., until)) = &mut self.smoke {
                    *until = self.now.min(*until);
                }
            }
            Act::ShutInlet { inlet } => {
                self.shut.insert(*inlet);
            }
            Act::RefitInlet { inlet } => {
                self.shut.remove(inlet);
            }
            _ => {}
        }
    }

    /// The unit with this serial has power and the cable from now on.
    fn cable_to(&mut self, serial: &str) {
        if self.unit.serial != serial {
            std::mem::swap(&mut self.unit, &mut self.other);
        }
        self.unit.start_anew();
    }

    fn feed(&mut self, input: Input) {
        let at = self.now;
        self.feed_at(at, input);
    }
    fn feed_at(&mut self, at: Instant, input: Input) {
        let over = self.outcome.is_some();
        self.procedure.handle(&Event { at, input });
        let (mut effects, mut sent) = (0, 0);
        while let Some(effect) = self.procedure.poll_effect() {
            effects += 1;
            assert!(effects < 4_000, "no end of effects");
            match effect {
                Effect::Send(_, bytes) => {
                    sent += bytes.len();
                    assert!(!over, "it sends after the end");
                    assert!(sent < 64 << 10, "it sends without end");
                    self.sent(&bytes);
                }
                Effect::Connect(_) => self.connect(),
                Effect::Ask(prompt) => {
                    assert!(!over, "it asks after the end");
                    self.ask(prompt);
                }
                Effect::Note(entry) => self.note(&entry),
                Effect::Done(outcome) => {
                    assert!(self.outcome.is_none(), "it ended twice");
                    self.outcome = Some(outcome);
                }
                Effect::Paused => self.paused = true,
                Effect::TellHead
                | Effect::Withdraw(_)
                | Effect::Progress(_)
                | Effect::Reading(..)
                | Effect::Keep { .. } => {}
            }
        }
        assert_eq!(self.procedure.is_running(), self.outcome.is_none());
        if self.outcome.is_some() {
            assert_eq!(self.procedure.poll_timeout(), None);
        }
    }

    fn connect(&mut self) {
        let down = |cause| Input::LinkDown { line: LineId::Main, cause, detail: "made up".into() };
        let input = match self.dice.byte() {
            _ if self.dead => down(LinkDown::Absent),
            0xF0..=0xF5 => down(LinkDown::Busy),
            0xF6..=0xFB => down(LinkDown::Denied),
            0xFC..=0xFF => down(LinkDown::Absent),
            _ => Input::LinkUp { line: LineId::Main, link: "made up".into() },
        };
        self.later(Duration::from_millis(1), Coming::Input(input));
    }

    fn sent(&mut self, bytes: &[u8]) {
        if !self.link_up || self.dead {
            return;
        }
        let restarts = self.unit.effects.iter().filter(|e| **e == Did::Restarted).count();
        for reply in self.unit.receive(self.now, bytes) {
            self.reply(reply);
        }
        if self.unit.effects.iter().filter(|e| **e == Did::Restarted).count() > restarts {
            self.unit.start_anew();
        }
    }

    fn reply(&mut self, mut reply: Vec<u8>) {
        let decision = self.dice.byte();
        let mut after = Duration::from_millis(5);
        let framed = |bytes: &[u8]| {
            let mut decoder = plumewire::Decoder::new();
            let mut rest = bytes;
            decoder.next_frame(&mut rest).and_then(Result::ok).map(|f| (f.header, f.payload.to_vec()))
        };
        match decision {
            0xE0..=0xE5 => return,
            0xE6..=0xEA => {
                let at = usize::from(self.dice.u16()) % reply.len();
                reply[at] ^= self.dice.byte();
            }
            0xEB..=0xEF => {
                if let Some((header, _)) = framed(&reply) {
                    let code = RefusalCode::from_code(u16::from(self.dice.byte()) % 20);
                    let refusal = Message::Refusal(header.operation, Refusal { code, reason: "made up" });
                    reply = wire(|out| refusal.write(header.conversation, header.sequence, out).unwrap());
                }
            }
            0xF0..=0xF7 => {
                // Sound, but says something else.
                if let Some((header, mut payload)) = framed(&reply) {
                    let at = usize::from(self.dice.byte()) % payload.len().max(1);
                    let byte = self.dice.byte();
                    if let Some(b) = payload.get_mut(at) {
                        *b ^= byte;
                    }
                    reply = wire(|out| Frame { header, payload: &payload }.write(out).unwrap());
                }
            }
            0xF8..=0xFB => after = Duration::from_millis(u64::from(self.dice.u16())),
            0xFC..=0xFF => self.later(after, Coming::Input(Input::Received(LineId::Main, reply.clone()))),
            _ => {}
        }
        self.last_reply.clone_from(&reply);
        self.later(after, Coming::Input(Input::Received(LineId::Main, reply)));
    }

    fn ask(&mut self, prompt: Prompt) {
        if self.dead {
            return;
        }
        let decision = self.dice.byte();
        let right = match (&prompt.act, &prompt.wants) {
            (Act::Override, _) => Answer::No,
            (Act::Checks { items }, _) => Answer::Text(items.iter().map(u32::to_string).collect::<Vec<_>>().join(" ")),
            (_, Wants::Number { .. }) => Answer::Number(24.0),
            (_, Wants::Text) => Answer::Text("as it was on site (invented)".into()),
            _ => Answer::Yes,
        };
        let answer = match decision {
            0xE0..=0xE7 => Answer::No,
            0xE8..=0xED => Answer::Cannot("out of reach".into()),
            0xEE..=0xF3 => Answer::Number(self.dice.number()),
            0xF4..=0xF9 => {
                let length = self.dice.byte() % 30;
                Answer::Text(String::from_utf8_lossy(self.dice.bytes(length.into())).into_owned())
            }
            // Never.
            0xFA..=0xFF => {
                self.last_answers.remove(&prompt.act);
                return;
            }
            _ => right,
        };
        let after = Duration::from_secs(u64::from(decision & 7) + 1);
        self.later(after, Coming::Answer(prompt.id, prompt.act, answer));
    }

    fn note(&mut self, entry: &Entry) {
        match entry {
            Entry::Ended { verdict, .. } => self.ended = Some(*verdict),
            Entry::StageEnded(result) => assert!(result.began <= result.ended && result.ended <= self.now),
            Entry::Found(f) => {
                if let Some((from, to)) = f.window {
                    assert!(from <= to && to <= self.now, "a finding from the future: {f:?}");
                }
            }
            _ => {}
        }
    }

    fn abort(&mut self, cause: AbortCause) {
        self.aborted = true;
        self.feed(Input::Abort(cause));
    }

    /// Now and then something happens that no one asked for.
    fn disturb(&mut self) {
        match self.dice.byte() {
            0xC0..=0xC7 => {
                const CAUSES: [LinkDown; 4] =
                    [LinkDown::Unplugged, LinkDown::Closed, LinkDown::Other, LinkDown::Absent];
                self.link_up = false;
                let cause = CAUSES[usize::from(self.dice.byte() % 4)];
                self.feed(Input::LinkDown { line: LineId::Main, cause, detail: "pulled".into() });
            }
            0xC8..=0xCB => {
                let length = self.dice.byte();
                let bytes = self.dice.bytes(length.into()).to_vec();
                self.feed(Input::Received(LineId::Main, bytes));
            }
            0xCC..=0xCF => self.made_up_frame(),
            0xD0..=0xD3 => self.next_reading = self.now + Duration::from_secs(self.dice.byte().into()),
            0xD4..=0xD7 => {
                let which = self.dice.byte();
                self.flow[usize::from(which & 1)] = f64::from(self.dice.byte()) / 128.0;
            }
            0xD8..=0xDB => self.haze = self.dice.number().clamp(-1.0, 1.0),
            0xDC..=0xDF => self.unit.start_anew(),
            0xE0..=0xE3 => {
                self.faults = Faults(self.dice.u32());
                self.unit.told.alarms = self.dice.byte().into();
                self.unit.told.alarms_latched = self.dice.byte().into();
            }
            0xE4..=0xE7 => {
                let told = &mut self.unit.told;
                (told.fan_mrev_s, told.supply_mv) = (Sample::Failed, Sample::Absent);
                told.dropped = self.dice.u32();
            }
            0xE8..=0xEB => self.abort(AbortCause::Shutdown),
            0xEC..=0xEF => {
                // The program ended and was started again.
                self.link_up = false;
                self.coming.retain(|_, what| matches!(what, Coming::Answer(..)));
                self.feed(Input::Tool { version: "0".into(), format: 1 });
                self.feed(Input::Date("2026-03-02T09:00:00+01:00".into()));
            }
            0xF0..=0xF3 => self.now = self.now + Duration::from_secs(self.dice.u16().into()),
            0xF4..=0xF5 => self.feed(Input::Wake),
            0xF6..=0xF7 => {
                let act = OperatorAct::new(self.dice.byte().into(), Answer::Number(self.dice.number()));
                self.feed(Input::Operator(act));
            }
            0xF8..=0xF9 => {
                let earlier = Instant::from_micros(self.dice.u32().into());
                self.feed_at(earlier.min(self.now), Input::Wake);
            }
            0xFA..=0xFB => self.feed(Input::File { name: "plan.toml".into(), bytes: vec![1, 2, 3] }),
            0xFC..=0xFD => self.feed(Input::LinkUp { line: LineId::Main, link: "again".into() }),
            0xFE..=0xFF => {
                let again = self.last_reply.clone();
                self.feed(Input::Received(LineId::Main, again));
            }
            _ => {}
        }
    }

    fn made_up_frame(&mut self) {
        let kind = [Kind::Request, Kind::Reply, Kind::Refusal, Kind::Report][usize::from(self.dice.byte() % 4)];
        let operation = self.dice.byte();
        let header = Header {
            version: VERSION,
            kind,
            operation,
            conversation: self.dice.byte().into(),
            sequence: self.dice.u16().into(),
        };
        let length = self.dice.byte();
        let payload = self.dice.bytes(length.into());
        let bytes = wire(|out| Frame { header, payload }.write(out).unwrap());
        self.feed(Input::Received(LineId::Main, bytes));
    }

    /// The verdict against what really happened.
    fn judge(&self) {
        let outcome = self.outcome.as_deref().unwrap();
        assert_eq!(self.ended, Some(outcome.verdict));
        if outcome.verdict != Verdict::Pass {
            assert!(!outcome.because.is_empty());
            return;
        }
        let needed = StageKind::ALL.into_iter().filter(|s| s.is_needed());
        for stage in needed {
            let result = outcome.stages.iter().find(|r| r.stage == stage);
            assert!(
                result.is_some_and(|r| r.complete && r.verdict == Verdict::Pass),
                "passed without {stage}: {result:?}"
            );
        }
        assert!(outcome.findings.iter().all(|f| !f.stage.is_needed() || f.counts_as() == Verdict::Pass));
        assert!(outcome.not_done.iter().all(|(stage, _)| !stage.is_needed()));
        assert!(!self.aborted && !outcome.aborted);
        for did in [Did::Committed, Did::Restarted, Did::BaselineBegun, Did::Released] {
            assert!(self.unit.effects.contains(&did), "passed without {did:?}");
        }
        let inputs = job::inputs();
        assert_eq!(self.smoke_seen.len(), inputs.prediction.inlets.len(), "passed without smoke at every pipe");
        // Two settling windows and four averages, at one reading a second.
        let least = 2.0 * inputs.plan.settle.window_s + 4.0 * inputs.plan.flow.average_s;
        assert!(f64::from(self.good_readings) > 0.8 * least, "passed over {} readings", self.good_readings);
        for act in [Act::Isolate, Act::LockOff, Act::Tell, Act::Swap, Act::Check { item: 1 }, Act::Restore, Act::Unlock]
        {
            assert_eq!(self.last_answers.get(&act), Some(&Answer::Yes), "passed without {act:?}");
        }
        let refused = |act: &Act| {
            matches!(
                act,
                Act::ReleaseSmoke(_)
                    | Act::PanelShows { .. }
                    | Act::PanelClear { .. }
                    | Act::ShutInlet { .. }
                    | Act::SwitchSupply { .. }
                    | Act::PanelFault
                    | Act::PanelFaultClear
            )
        };
        assert!(self.last_answers.iter().all(|(act, answer)| !refused(act) || *answer == Answer::Yes));
        assert!(self.closed.is_empty() && self.shut.is_empty(), "passed with a hole or an inlet left closed");
        assert!(self.off.is_empty(), "passed with a supply left off");
    }

    /// Whatever comes after the end changes nothing.
    fn after_the_end(&mut self) {
        let reply = self.last_reply.clone();
        for input in
            [Input::Wake, Input::Received(LineId::Main, reply), Input::Abort(AbortCause::Operator), Input::Wake]
        {
            self.feed(input);
        }
    }
}

fn wire(write: impl FnOnce(&mut [u8]) -> usize) -> Vec<u8> {
    let mut out = vec![0; MAX_WIRE];
    let length = write(&mut out);
    out.truncate(length);
    out
}
