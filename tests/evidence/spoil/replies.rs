//! What the unit answered: replies lost, damaged, refused or saying something else.
use super::{
    Dice, Spoilt,
    readings::{mapped, without},
};
use crate::evidence::recording::{Heard, Recording};
use plumeline_base::input::{Event, Input, LineId};
use plumeline_procedure::StageKind;
use plumewire::{BaselineState, Frame, Kind, MAX_WIRE, Message, Operation, Refusal, RefusalCode, Reply, Sample};
use std::collections::BTreeSet;
/// The events that hold a reply of the replacement to one of these, on the bench and on the wall.
pub fn replies(r: &Recording, of: &[Operation]) -> Vec<usize> {
    let ((began, ended), (_, since)) = (r.stages[&StageKind::Bench], r.stages[&StageKind::Swap]);
    let theirs = |i: usize| (began..=ended).contains(&r.events[i].at) || r.events[i].at > since;
    let wanted = |h: &Heard| h.header.kind == Kind::Reply && of.iter().any(|o| *o as u8 == h.header.operation);
    r.frames.iter().filter(|(i, f)| theirs(**i) && f.iter().any(wanted)).map(|(i, _)| *i).collect()
}

/// One of these replies is lost, damaged on the line or a refusal.
pub fn reply(r: &Recording, d: &mut Dice, of: &[Operation]) -> Spoilt {
    let at = d.pick(&replies(r, of));
    reply_at(r, d, of, at)
}

/// Loses, damages or refuses the reply in this event.
pub fn reply_at(r: &Recording, d: &mut Dice, of: &[Operation], at: usize) -> Spoilt {
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
pub fn said(r: &Recording, places: &[usize], mut change: impl FnMut(usize, &mut Message<'_>)) -> Vec<Event> {
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

pub fn identity(r: &Recording, d: &mut Dice) -> Spoilt {
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

pub fn restart(r: &Recording, d: &mut Dice) -> Spoilt {
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
pub fn refused(r: &Recording, d: &mut Dice, of: &[Operation]) -> Spoilt {
    let at = d.pick(&replies(r, of));
    let events = refusal(r, at);
    Spoilt { events, how: format!("reply {of:?} in event {at} refused") }
}

/// The baseline that the unit tells at the last look is another, or none.
pub fn still_held(r: &Recording, d: &mut Dice) -> Spoilt {
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

pub fn renewals(r: &Recording, _: &mut Dice) -> Spoilt {
    let lost: BTreeSet<usize> = replies(r, &[Operation::InhibitRenew]).into_iter().collect();
    Spoilt { events: without(r, &lost), how: format!("all {} renewals lost", lost.len()) }
}

pub fn read_back(r: &Recording, d: &mut Dice) -> Spoilt {
    let committed = replies(r, &[Operation::WriteCommit])[0];
    let until = r.stages[&StageKind::Load].1;
    bit_of_settings(r, d, |i| i > committed && r.events[i].at <= until)
}

/// One bit of the settings that the unit tells is another.
pub fn bit_of_settings(r: &Recording, d: &mut Dice, of: impl Fn(usize) -> bool) -> Spoilt {
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

pub fn baseline(r: &Recording, d: &mut Dice) -> Spoilt {
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

pub fn clock(r: &Recording, d: &mut Dice) -> Spoilt {
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

/// The unit's date and time are lost again, or others.
pub fn unit_clock(r: &Recording, d: &mut Dice) -> Spoilt {
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

pub fn settings_at_the_end(r: &Recording, d: &mut Dice) -> Spoilt {
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
