//! The items of evidence, and the ways to spoil each. Every way damages its item: nothing here is harmless by design.
mod unit;

use super::recording::{Heard, Recording};
use plumeline_base::{
    Instant,
    input::{Answer, Event, Input, LineId, LinkDown, OperatorAct},
};
use plumeline_procedure::{Act, StageKind, Subject};
use plumewire::{
    BaselineState, Conditions, Faults, Frame, Kind, MAX_WIRE, Message, Operation, PerInlet, Reading, Refusal,
    RefusalCode, Reply, Report, Sample,
};
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use std::{collections::BTreeSet, time::Duration};

/// Random numbers from one seeded ChaCha stream.
pub struct Dice(ChaCha8Rng);
impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }
    fn below(&mut self, n: usize) -> usize {
        (self.0.next_u64() % n as u64) as usize
    }
    fn pick<T: Clone>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())].clone()
    }
}

/// An item of evidence.
pub struct Item {
    pub name: &'static str,
    pub spoil: fn(&Recording, &mut Dice) -> Spoilt,
}
/// The events with one item spoilt, and how it was spoilt.
pub struct Spoilt {
    pub events: Vec<Event>,
    pub how: String,
}

macro_rules! items {
    ($($name:literal => $spoil:expr;)*) => {
        /// Every item, as `docs/evidence.md` lists them.
        pub const ITEMS: &[Item] = &[$(Item { name: $name, spoil: $spoil }),*];
    };
}
items! {
    "bench trial" => |r, d| answer(r, d, |a| matches!(a, Act::Bench | Act::BenchDone));
    "who did the work by hand" => who;
    "isolation" => |r, d| answer(r, d, |a| *a == Act::Isolate);
    "lock-off" => |r, d| answer(r, d, |a| *a == Act::LockOff);
    "people told" => |r, d| answer(r, d, |a| *a == Act::Tell);
    "required checklist items" => checklist;
    "exchange of the units" => |r, d| answer(r, d, |a| *a == Act::Swap);
    "identity" => identity;
    "inhibit" => |r, d| reply(r, d, &[Operation::Inhibit]);
    "inhibit renewals" => renewals;
    "inhibit held" => |r, d| refused(r, d, &[Operation::InhibitRenew]);
    "settings sent" => |r, d| reply(r, d, &[Operation::WriteBegin, Operation::WriteChunk, Operation::WriteCommit]);
    "settings read back" => read_back;
    "restart" => restart;
    "clock of the unit" => unit_clock;
    "steady flow" => steady;
    "flow of each pipe" => |r, d| flow(r, d, StageKind::ProveFlow, |s| matches!(s, Subject::Pipe(_)));
    "hole closed" => |r, d| answer(r, d, |a| matches!(a, Act::CloseHole(_)));
    "hole opened" => |r, d| answer(r, d, |a| matches!(a, Act::OpenHole(_)));
    "drop at each hole" => hole;
    "baseline taken" => |r, d| reply(r, d, &[Operation::BaselineTake, Operation::BaselineRead]);
    "baseline read back" => baseline;
    "flow before the baseline" => |r, d| flow(r, d, StageKind::Baseline, |_| true);
    "clock tie" => clock;
    "release marks" => mark;
    "releases as meant" => |r, d| answer(r, d, |a| matches!(a, Act::ReleaseWent(_)));
    "smoke readings" => smoke;
    "purge" => purge;
    "latches reset" => latches;
    "inlet shut" => |r, d| answer(r, d, |a| matches!(a, Act::ShutInlet { .. }));
    "inlet put back" => |r, d| answer(r, d, |a| matches!(a, Act::RefitInlet { .. }));
    "flow fault" => flow_fault;
    "cover closed" => |r, d| fault_for_a_while(r, d, Faults::COVER, &[StageKind::ProveSmoke, StageKind::Outputs]);
    "no flow fault unasked" => |r, d| fault_for_a_while(r, d, Faults::FLOW, &[StageKind::ProveSmoke, StageKind::Outputs]);
    "supplies removed" => |r, d| answer(r, d, |a| matches!(a, Act::SwitchSupply { .. }));
    "fault of a removed supply" => supply_fault;
    "that fault at the panel" => |r, d| answer(r, d, |a| matches!(a, Act::PanelFault | Act::PanelFaultClear));
    "voltage and current" => supply;
    "outputs operated" => |r, d| reply(r, d, &[Operation::Drive, Operation::Undrive]);
    "outputs at rest before" => active_output;
    "no other output" => other_output;
    "outputs at the panel" => |r, d| answer(r, d, |a| matches!(a, Act::PanelShows { .. } | Act::PanelClear { .. }));
    "left alone" => |r, d| answer(r, d, |a| *a == Act::LeftAlone);
    "baseline still held" => still_held;
    "settings still as loaded" => |r, d| {
        let from = r.stages[&StageKind::LastLook].0;
        bit_of_settings(r, d, |i| r.events[i].at >= from)
    };
    "lapse of an inhibit" => lapse;
    "last look" => |r, d| flow(r, d, StageKind::LastLook, |_| true);
    "settings at hand-back" => settings_at_the_end;
    "outputs given back" => |r, d| reply(r, d, &[Operation::InhibitRelease]);
    "no standing fault" => standing_fault;
    "zone restored" => |r, d| answer(r, d, |a| *a == Act::Restore);
    "release circuits unlocked" => |r, d| answer(r, d, |a| *a == Act::Unlock);
    "alarm levels seen" => unit::levels;
    "latches kept" => unit::latches;
    "outputs at rest under the inhibit" => unit::inhibited_output;
    "inhibit told" => unit::inhibit_told;
    "unit at its work" => unit::at_work;
    "inlet of the flow fault" => unit::fault_inlet;
    "flow of a shut inlet" => unit::shut_flow;
    "stamps that rise" => unit::stamps;
    "readings of now" => unit::of_now;
    "unused inlets" => unit::unused_inlet;
    "revision" => unit::revision;
    "event log" => unit::log;
    "unbroken link" => link;
    "whole record" => cut;
}

// ---- what a person said ----

/// One of the answers is not given, or is not yes.
fn answer(r: &Recording, d: &mut Dice, of: impl Fn(&Act) -> bool) -> Spoilt {
    let at: Vec<usize> = r.answers.iter().filter(|(_, act)| of(act)).map(|(i, _)| *i).collect();
    let at = d.pick(&at);
    let other = d.pick(&[
        None,
        Some(Answer::No),
        Some(Answer::Cannot("out of reach".into())),
        Some(Answer::Text("perhaps".into())),
        Some(Answer::Number(1.0)),
    ]);
    let how = format!("{:?}: {other:?}", r.answers[&at]);
    let mut events = r.events.clone();
    match (other, &mut events[at].input) {
        (Some(answer), Input::Operator(OperatorAct { answer: given, .. })) => *given = answer,
        _ => drop(events.remove(at)),
    }
    Spoilt { events, how }
}

fn checklist(r: &Recording, d: &mut Dice) -> Spoilt {
    let required = r.required();
    answer(r, d, |a| matches!(a, Act::Check { item } if required.contains(item)))
}

/// The name is not told. Any words would be one.
fn who(r: &Recording, d: &mut Dice) -> Spoilt {
    let at = *r.answers.iter().find(|(_, act)| **act == Act::Who).unwrap().0;
    let other =
        d.pick(&[Answer::No, Answer::Cannot("never mind".into()), Answer::Number(7.0), Answer::Text(" ".into())]);
    let mut events = r.events.clone();
    let how = format!("who: {other:?}");
    // It is asked again at each item; nobody says it there either.
    events[at].input = match &events[at].input {
        Input::Operator(act) => Input::Operator(OperatorAct { answer: other, ..act.clone() }),
        other => other.clone(),
    };
    Spoilt { events, how }
}

/// The mark of a release comes long after the release.
fn mark(r: &Recording, d: &mut Dice) -> Spoilt {
    let of = |a: &Act| matches!(a, Act::ReleaseSmoke(_));
    if d.below(2) == 0 {
        return answer(r, d, of);
    }
    let marks: Vec<usize> = r.answers.iter().filter(|(_, act)| of(act)).map(|(i, _)| *i).collect();
    let (at, late) = (d.pick(&marks), 12 + d.below(78) as u64);
    let mut events = r.events.clone();
    events[at].at += Duration::from_secs(late);
    events.sort_by_key(|e| e.at);
    Spoilt { events, how: format!("event {at} comes {late} s late") }
}

// ---- what the unit said ----

/// The events that hold a reply of the replacement to one of these, on the bench and on the wall.
fn replies(r: &Recording, of: &[Operation]) -> Vec<usize> {
    let ((began, ended), (_, since)) = (r.stages[&StageKind::Bench], r.stages[&StageKind::Swap]);
    let theirs = |i: usize| (began..=ended).contains(&r.events[i].at) || r.events[i].at > since;
    let wanted = |h: &Heard| h.header.kind == Kind::Reply && of.iter().any(|o| *o as u8 == h.header.operation);
    r.frames.iter().filter(|(i, f)| theirs(**i) && f.iter().any(wanted)).map(|(i, _)| *i).collect()
}

/// One of these replies is lost, damaged on the line or a refusal.
fn reply(r: &Recording, d: &mut Dice, of: &[Operation]) -> Spoilt {
    let at = d.pick(&replies(r, of));
    reply_at(r, d, of, at)
}

/// Loses, damages or refuses the reply in this event.
fn reply_at(r: &Recording, d: &mut Dice, of: &[Operation], at: usize) -> Spoilt {
    let way = d.pick(&["lost", "damaged", "refused"]);
    let mut events = r.events.clone();
    let how = format!("reply {of:?} in event {at} {way}");
    match (way, &mut events[at].input) {
        ("lost", _) => drop(events.remove(at)),
        ("damaged", Input::Received(_, bytes)) => {
            // Within the frame, not its delimiters, and no delimiter made of it.
            let place = 1 + d.below(bytes.len() - 2);
            bytes[place] = if bytes[place] == 0x55 { 0xaa } else { 0x55 };
        }
        _ => events = refusal(r, at),
    }
    Spoilt { events, how }
}

/// The events with a refusal at this place.
fn refusal(r: &Recording, at: usize) -> Vec<Event> {
    let refusal = Refusal { code: RefusalCode::Other(999), reason: "spoilt" };
    let heard = r.frames[&at].iter().flat_map(|h| {
        let (operation, header) = (h.header.operation, h.header);
        line(&Message::Refusal(operation, refusal), header.conversation, header.sequence)
    });
    let mut events = r.events.clone();
    events[at].input = Input::Received(LineId::Main, heard.collect());
    events
}

fn line(message: &Message<'_>, conversation: u32, sequence: u32) -> Vec<u8> {
    let mut out = vec![0; MAX_WIRE];
    let len = message.write(conversation, sequence, &mut out).unwrap();
    out.truncate(len);
    out
}

/// The events with the messages at these places changed, as if the unit had said so.
fn said(r: &Recording, places: &[usize], mut change: impl FnMut(usize, &mut Message<'_>)) -> Vec<Event> {
    let mut events = r.events.clone();
    for &i in places {
        let Some(heard) = r.frames.get(&i) else { continue };
        let bytes = heard.iter().flat_map(|h| {
            let frame = Frame { header: h.header, payload: &h.payload };
            let mut message = Message::decode(&frame).unwrap();
            change(i, &mut message);
            line(&message, h.header.conversation, h.header.sequence)
        });
        events[i].input = Input::Received(LineId::Main, bytes.collect());
    }
    events
}

fn identity(r: &Recording, d: &mut Dice) -> Spoilt {
    // Said alike each time, another serial would be just another unit. What a unit says while it still starts, or between
    // the order to restart and the restart, is not taken for an answer.
    let hello = |i: &usize| match decoded(&r.frames[i][0]) {
        Message::Reply(Reply::Hello(h)) => (h.boot_id, h.starting),
        other => panic!("{other:?}"),
    };
    let (hellos, orders) = (replies(r, &[Operation::Hello]), replies(r, &[Operation::Restart]));
    let taken = |i: &usize| {
        let order = orders.iter().rev().find(|order| *order < i);
        let before = order.and_then(|order| hellos.iter().rev().find(|h| *h < order));
        !hello(i).1 && before.is_none_or(|h| hello(h).0 != hello(i).0)
    };
    let at: Vec<usize> = hellos.iter().copied().filter(taken).collect();
    let at = d.pick(&at);
    let way = d.pick(&["lost", "model", "serial", "firmware", "inlets"]);
    let events = match way {
        "lost" => without(r, &BTreeSet::from([at])),
        _ => said(r, &[at], |_, m| {
            if let Message::Reply(Reply::Hello(hello)) = m {
                match way {
                    "model" => hello.model = "Model Z",
                    "serial" => hello.serial = "Z-0",
                    "firmware" => hello.firmware = "0",
                    _ => hello.capabilities.inlets = 0,
                }
            }
        }),
    };
    Spoilt { events, how: format!("{way} in event {at}") }
}

fn restart(r: &Recording, d: &mut Dice) -> Spoilt {
    if d.below(2) == 0 {
        return reply(r, d, &[Operation::Restart]);
    }
    // The boot id stays what it was.
    let within = r.within(d.pick(&[StageKind::Bench, StageKind::Load]));
    let hellos = replies(r, &[Operation::Hello]);
    let restarted = replies(r, &[Operation::Restart]).into_iter().find(|i| within.contains(i)).unwrap();
    let mut before = None;
    let events = said(r, &hellos, |i, m| {
        if let Message::Reply(Reply::Hello(hello)) = m {
            if i < restarted {
                before = Some(hello.boot_id);
            } else if let Some(id) = before.filter(|_| within.contains(&i)) {
                hello.boot_id = id;
            }
        }
    });
    Spoilt { events, how: "the boot id after the restart is the one before".into() }
}

/// One of these replies is a refusal.
fn refused(r: &Recording, d: &mut Dice, of: &[Operation]) -> Spoilt {
    let at = d.pick(&replies(r, of));
    let events = refusal(r, at);
    Spoilt { events, how: format!("reply {of:?} in event {at} refused") }
}

/// The baseline that the unit tells at the last look is another, or none.
fn still_held(r: &Recording, d: &mut Dice) -> Spoilt {
    let from = r.stages[&StageKind::LastLook].0;
    let at: Vec<usize> =
        replies(r, &[Operation::BaselineRead]).into_iter().filter(|i| r.events[*i].at >= from).collect();
    let at = d.pick(&at);
    if d.below(2) == 0 {
        return Spoilt { events: refusal(r, at), how: format!("event {at} refused") };
    }
    let by = 1 + d.below(1000) as i64;
    let events = said(r, &[at], |_, m| {
        if let Message::Reply(Reply::BaselineRead(b)) = m {
            b.flow_nl_s = mapped(&b.flow_nl_s, |v| Sample::Value(v + by));
        }
    });
    Spoilt { events, how: format!("flow of the baseline {by} nL/s higher in event {at}") }
}

fn renewals(r: &Recording, _: &mut Dice) -> Spoilt {
    let lost: BTreeSet<usize> = replies(r, &[Operation::InhibitRenew]).into_iter().collect();
    Spoilt { events: without(r, &lost), how: format!("all {} renewals lost", lost.len()) }
}

fn read_back(r: &Recording, d: &mut Dice) -> Spoilt {
    let committed = replies(r, &[Operation::WriteCommit])[0];
    let until = r.stages[&StageKind::Load].1;
    bit_of_settings(r, d, |i| i > committed && r.events[i].at <= until)
}

/// One bit of the settings that the unit tells is another.
fn bit_of_settings(r: &Recording, d: &mut Dice, of: impl Fn(usize) -> bool) -> Spoilt {
    let wanted = [Operation::SettingsManifest, Operation::SettingsRead];
    let at: Vec<usize> = replies(r, &wanted).into_iter().filter(|i| of(*i)).collect();
    let at = d.pick(&at);
    let bit = 1u8 << d.below(8);
    let mut part = Vec::new();
    let place = d.below(64);
    if let Some(Message::Reply(Reply::SettingsRead(p))) = r.frames[&at].first().map(decoded) {
        part = p.bytes.to_vec();
        let n = part.len();
        part[place % n] ^= bit;
    }
    let events = said(r, &[at], |_, m| match m {
        Message::Reply(Reply::SettingsManifest(m)) => m.digest[place % 32] ^= bit,
        // The message borrows; what it borrows must outlive this call.
        Message::Reply(Reply::SettingsRead(p)) => p.bytes = Vec::leak(part.clone()),
        _ => {}
    });
    Spoilt { events, how: format!("bit {bit:#x} at {place} in event {at}") }
}

fn decoded(h: &Heard) -> Message<'_> {
    Message::decode(&Frame { header: h.header, payload: &h.payload }).unwrap()
}

fn baseline(r: &Recording, d: &mut Dice) -> Spoilt {
    let at = d.pick(&replies(r, &[Operation::BaselineRead]));
    let way = d.pick(&["other flow", "no flow", "other start", "other baseline", "failed"]);
    let factor = d.pick(&[0.5, 0.8, 1.3]);
    let places = match way {
        "failed" => replies(r, &[Operation::BaselineStatus]),
        "other start" => replies(r, &[Operation::BaselineRead]),
        _ => vec![at],
    };
    let events = said(r, &places, |_, m| match m {
        Message::Reply(Reply::BaselineRead(b)) => match way {
            "other flow" => b.flow_nl_s = mapped(&b.flow_nl_s, |v| Sample::Value((v as f64 * factor) as i64)),
            "no flow" => b.flow_nl_s = mapped(&b.flow_nl_s, |_| Sample::Failed),
            "other start" => b.boot_id ^= 1,
            _ => b.id += 1,
        },
        Message::Reply(Reply::BaselineStatus(s)) => s.state = BaselineState::Failed,
        _ => {}
    });
    Spoilt { events, how: format!("{way} in event {at}, factor {factor}") }
}

fn clock(r: &Recording, d: &mut Dice) -> Spoilt {
    let all = replies(r, &[Operation::Clock]);
    if d.below(2) == 0 {
        let lost = all.into_iter().collect();
        return Spoilt { events: without(r, &lost), how: "every exchange lost".into() };
    }
    let same = (d.below(2) == 0).then(|| 3_000_000 + d.below(20_000_000) as u64);
    let events = said(r, &all, |_, m| {
        if let Message::Reply(Reply::Clock(c)) = m {
            let by = 5_000_000 + d.below(20_000_000) as u64;
            let by = same.unwrap_or(by);
            (c.received_us, c.replied_us) = (c.received_us + by, c.replied_us + by);
        }
    });
    Spoilt { events, how: format!("every exchange off by 3 to 25 s, {same:?} us or each by another") }
}

// ---- readings ----

/// The events without these.
fn without(r: &Recording, lost: &BTreeSet<usize>) -> Vec<Event> {
    r.events.iter().enumerate().filter(|(i, _)| !lost.contains(i)).map(|(_, e)| e.clone()).collect()
}

/// Those of these events that hold a reading.
fn readings(r: &Recording, of: Vec<usize>) -> Vec<usize> {
    let reading = |h: &Heard| h.header.kind == Kind::Report && h.header.operation == Operation::ReadingsStart as u8;
    of.into_iter().filter(|i| r.frames.get(i).is_some_and(|f| f.iter().any(reading))).collect()
}

/// The events with these readings changed; `change` gets how many readings came before it.
fn read(r: &Recording, places: &[usize], mut change: impl FnMut(usize, &mut Reading)) -> Vec<Event> {
    let mut n = 0;
    said(r, places, |_, m| {
        if let Message::Report(Report::Reading(reading)) = m {
            change(n, reading);
            n += 1;
        }
    })
}

fn mapped(list: &PerInlet, mut f: impl FnMut(i64) -> Sample) -> PerInlet {
    let all: Vec<Sample> = list.iter().map(|s| s.value().map_or(*s, &mut f)).collect();
    PerInlet::from_slice(&all).unwrap()
}

/// The readings at these places, as they were.
fn kept(r: &Recording, places: &[usize]) -> Vec<Reading> {
    let mut all = Vec::new();
    read(r, places, |_, reading| all.push(*reading));
    all
}

/// The flow of a stretch is lost, failed, stuck, or another.
fn flow(r: &Recording, d: &mut Dice, stage: StageKind, of: impl Fn(&Subject) -> bool) -> Spoilt {
    let stretches: Vec<(Instant, Instant)> =
        r.outcome.findings.iter().filter(|f| f.stage == stage && of(&f.subject)).filter_map(|f| f.window).collect();
    let (from, to) = d.pick(&stretches);
    let places = readings(r, r.between(from, to + Duration::from_secs(1)));
    spoilt_flow(r, d, &places)
}

fn spoilt_flow(r: &Recording, d: &mut Dice, places: &[usize]) -> Spoilt {
    let way = d.pick(&["lost", "failed", "stuck", "other"]);
    let factor = d.pick(&[0.4, 0.6, 1.5, 2.0]);
    let first = kept(r, places)[0].flow_nl_s;
    let events = match way {
        "lost" => without(r, &places.iter().copied().collect()),
        _ => read(r, places, |_, reading| {
            reading.flow_nl_s = match way {
                "failed" => mapped(&reading.flow_nl_s, |_| Sample::Failed),
                "stuck" => first,
                _ => mapped(&reading.flow_nl_s, |v| Sample::Value((v as f64 * factor) as i64)),
            }
        }),
    };
    Spoilt {
        events,
        how: format!("flow {way} (factor {factor}) in {} readings from event {}", places.len(), places[0]),
    }
}

fn steady(r: &Recording, d: &mut Dice) -> Spoilt {
    let places = readings(r, r.within(StageKind::Settle));
    let way = d.pick(&["lost", "failed", "stuck", "drift", "swings"]);
    let (first, hz) = (kept(r, &places)[0].flow_nl_s, 2.0);
    let events = match way {
        "lost" => without(r, &places.iter().copied().collect()),
        _ => read(r, &places, |n, reading| {
            let t = n as f64 / hz;
            let times = |list: &PerInlet, by: f64| mapped(list, |v| Sample::Value((v as f64 * by) as i64));
            reading.flow_nl_s = match way {
                "failed" => mapped(&reading.flow_nl_s, |_| Sample::Failed),
                "stuck" => first,
                "drift" => times(&reading.flow_nl_s, 1.0 + 0.06 * t / 60.0),
                _ => times(&reading.flow_nl_s, 1.0 + 0.1 * (t / 30.0 * std::f64::consts::TAU).sin()),
            }
        }),
    };
    Spoilt { events, how: format!("flow {way} while it settles") }
}

/// While a hole is closed the flow reads as if it were open, or not at all.
fn hole(r: &Recording, d: &mut Dice) -> Spoilt {
    let closings: Vec<(usize, &Act)> =
        r.answers.iter().filter(|(_, a)| matches!(a, Act::CloseHole(_))).map(|(i, a)| (*i, a)).collect();
    let (closed, act) = d.pick(&closings);
    let opened = *r.answers.keys().find(|i| **i > closed).unwrap();
    let (from, to) = (r.events[closed].at, r.events[opened].at);
    let open = kept(r, &readings(r, r.between(from - Duration::from_secs(30), from)));
    let places = readings(r, r.between(from, to));
    if d.below(2) == 0 {
        return spoilt_flow(r, d, &places);
    }
    let events = read(r, &places, |n, reading| reading.flow_nl_s = open[n % open.len()].flow_nl_s);
    Spoilt { events, how: format!("{act:?} changes nothing") }
}

/// The readings of a run of smoke are lost or failed, or show none.
fn smoke(r: &Recording, d: &mut Dice) -> Spoilt {
    let run = d.pick(&r.outcome.smoke);
    let before = readings(r, r.between(run.released - Duration::from_secs(25), run.released));
    let before = kept(r, &before);
    let places = readings(r, r.between(run.released, run.until + Duration::from_secs(1)));
    let way = d.pick(&["lost", "failed", "nothing"]);
    let events = match way {
        "lost" => without(r, &places.iter().copied().collect()),
        _ => read(r, &places, |n, reading| {
            reading.obscuration_n_m = match way {
                "failed" => mapped(&reading.obscuration_n_m, |_| Sample::Failed),
                _ => before[n % before.len()].obscuration_n_m,
            }
        }),
    };
    Spoilt { events, how: format!("readings of run {} at hole {} {way}", run.run, run.hole) }
}

/// From a stage on to the end of the record.
fn from_stage(r: &Recording, stage: StageKind, early: Duration) -> Vec<usize> {
    readings(r, r.between(r.stages[&stage].0 - early, Instant::FAR_FUTURE))
}

fn purge(r: &Recording, d: &mut Dice) -> Spoilt {
    let places = from_stage(r, StageKind::Purge, Duration::ZERO);
    let failed = d.below(2) == 0;
    let events = read(r, &places, |_, reading| {
        let high = |v: i64| if failed { Sample::Failed } else { Sample::Value(v + 1_000_000_000) };
        reading.obscuration_n_m = mapped(&reading.obscuration_n_m, high);
    });
    Spoilt { events, how: format!("obscuration {} from the purge on", if failed { "failed" } else { "high" }) }
}

fn latches(r: &Recording, d: &mut Dice) -> Spoilt {
    if d.below(2) == 0 {
        // The one of the purge: the one at hand-back only clears what tests left, and what then stands is found.
        let of = [Operation::ResetLatches];
        return reply_at(r, d, &of, replies(r, &of)[0]);
    }
    let places = from_stage(r, StageKind::Purge, Duration::ZERO);
    let level = 1 << d.below(3);
    let events = read(r, &places, |_, reading| reading.alarms_latched |= level);
    Spoilt { events, how: format!("level bit {level} stays latched") }
}

fn flow_fault(r: &Recording, d: &mut Dice) -> Spoilt {
    let comes = d.below(2) == 0;
    let places = readings(r, r.within(StageKind::Supervise));
    let mut seen = false;
    let events = read(r, &places, |_, reading| {
        seen |= reading.faults.has(Faults::FLOW);
        if comes && seen {
            reading.faults = reading.faults.with(Faults::FLOW);
        } else if !comes {
            reading.faults.0 &= !Faults::FLOW.0;
        }
    });
    Spoilt { events, how: if comes { "the flow fault stays" } else { "the flow fault never comes" }.into() }
}

/// A fault stands for some readings in one of these stages, and goes again.
fn fault_for_a_while(r: &Recording, d: &mut Dice, fault: Faults, stages: &[StageKind]) -> Spoilt {
    let stage = d.pick(stages);
    let places = readings(r, r.within(stage));
    let (from, n) = (d.below(places.len() - 1), 1 + d.below(20));
    let places = &places[from..places.len().min(from + n)];
    let events = read(r, places, |_, reading| reading.faults = reading.faults.with(fault));
    Spoilt { events, how: format!("fault {fault:?} in {} readings of {stage}", places.len()) }
}

fn active_output(r: &Recording, _: &mut Dice) -> Spoilt {
    let places = readings(r, r.within(StageKind::Outputs));
    Spoilt { events: read(r, &places, |_, reading| reading.outputs = u32::MAX), how: "all outputs active".into() }
}

fn standing_fault(r: &Recording, d: &mut Dice) -> Spoilt {
    let places = from_stage(r, StageKind::Restore, Duration::from_secs(5));
    if d.below(4) == 0 {
        return Spoilt { events: without(r, &places.into_iter().collect()), how: "no readings any more".into() };
    }
    let (fault, name) = d.pick(Faults::ALL);
    let events = read(r, &places, |_, reading| reading.faults = reading.faults.with(fault));
    Spoilt { events, how: format!("fault {name} stands at hand-back") }
}

/// The unit's date and time are lost again, or others.
fn unit_clock(r: &Recording, d: &mut Dice) -> Spoilt {
    if d.below(2) == 0 {
        return reply(r, d, &[Operation::WallClock, Operation::WallClockSet]);
    }
    let lost = d.below(2) == 0;
    let off = 10_000 + d.below(1_000_000) as u64;
    let events = said(r, &replies(r, &[Operation::WallClock]), |_, m| {
        if let Message::Reply(Reply::WallClock(c)) = m {
            c.utc_ms = if lost { None } else { c.utc_ms.map(|t| t + off) };
        }
    });
    Spoilt { events, how: format!("the unit's clock is lost: {lost}, or off by {off} ms") }
}

fn settings_at_the_end(r: &Recording, d: &mut Dice) -> Spoilt {
    let within = r.within(StageKind::Restore);
    let at: Vec<usize> =
        replies(r, &[Operation::SettingsManifest]).into_iter().filter(|i| within.contains(i)).collect();
    if d.below(3) == 0 {
        return Spoilt { events: without(r, &at.into_iter().collect()), how: "not told".into() };
    }
    let revision = d.below(2) == 0;
    let place = d.below(32);
    let events = said(r, &at, |_, m| {
        if let Message::Reply(Reply::SettingsManifest(m)) = m {
            if revision {
                m.revision += 1;
            } else {
                m.digest[place] ^= 1;
            }
        }
    });
    Spoilt { events, how: format!("another revision: {revision}, or another digest at {place}") }
}

/// The fault of a removed supply never comes, or stays.
fn supply_fault(r: &Recording, d: &mut Dice) -> Spoilt {
    let (fault, comes) = (d.pick(&[Faults::MAINS, Faults::BATTERY]), d.below(2) == 0);
    let mut seen = false;
    let events = read(r, &readings(r, r.within(StageKind::Supply)), |_, reading| {
        seen |= reading.faults.has(fault);
        if comes && seen {
            reading.faults = reading.faults.with(fault);
        } else if !comes {
            reading.faults.0 &= !fault.0;
        }
    });
    Spoilt { events, how: format!("fault {fault:?} comes and stays: {comes}, or never comes") }
}

/// Voltage or current of the supply are not told, or others.
fn supply(r: &Recording, d: &mut Dice) -> Spoilt {
    let (current, failed) = (d.below(2) == 0, d.below(2) == 0);
    let events = read(r, &readings(r, r.within(StageKind::Supply)), |_, reading| {
        let (of, times) = if current { (&mut reading.supply_ma, 3.0) } else { (&mut reading.supply_mv, 0.5) };
        *of = match of.value() {
            Some(v) if !failed => Sample::Value((v as f64 * times) as i64),
            _ => Sample::Failed,
        };
    });
    Spoilt { events, how: format!("current: {current}, failed: {failed}") }
}

/// Another output goes with each that is driven.
fn other_output(r: &Recording, d: &mut Dice) -> Spoilt {
    let other = 1 << (8 + d.below(8));
    let events = read(r, &readings(r, r.within(StageKind::Outputs)), |_, reading| {
        if reading.outputs != 0 {
            reading.outputs |= other;
        }
    });
    Spoilt { events, how: format!("output bit {other:#x} is operated with every other") }
}

/// The lapse of the inhibit shows no fault, or gives the outputs back at once.
fn lapse(r: &Recording, d: &mut Dice) -> Spoilt {
    let silent = d.below(2) == 0;
    let events = read(r, &readings(r, r.within(StageKind::Outputs)), |_, reading| {
        if silent {
            reading.faults.0 &= !Faults::INHIBIT_LAPSED.0;
        } else if reading.faults.has(Faults::INHIBIT_LAPSED) {
            reading.conditions.0 &= !Conditions::INHIBITED.0;
        }
    });
    Spoilt { events, how: format!("no fault: {silent}, or outputs given back at once") }
}

// ---- the whole ----

/// Some moment after the exchange of the units and before the hand-back.
fn moment(r: &Recording, d: &mut Dice) -> usize {
    let of = r.between(r.stages[&StageKind::Swap].1, r.stages[&StageKind::Restore].0);
    d.pick(&of[..of.len() - 1])
}

fn link(r: &Recording, d: &mut Dice) -> Spoilt {
    let at = moment(r, d);
    let down = r.events[at].at;
    let up = down + Duration::from_secs(1 + d.below(20) as u64);
    let mut events = r.events.clone();
    let lost = Input::LinkDown { line: LineId::Main, cause: LinkDown::Unplugged, detail: "pulled".into() };
    events.insert(at + 1, Event { at: down, input: lost });
    // What comes while the link is down does not come.
    events.retain(|e| !(matches!(e.input, Input::Received(..)) && e.at > down && e.at < up));
    events.push(Event { at: up, input: Input::LinkUp { line: LineId::Main, link: "sim:".into() } });
    events.sort_by_key(|e| e.at);
    Spoilt { events, how: format!("the link is down from {down} to {up}") }
}

fn cut(r: &Recording, d: &mut Dice) -> Spoilt {
    let at = moment(r, d);
    Spoilt { events: r.events[..at].to_vec(), how: format!("the record ends at event {at}") }
}
