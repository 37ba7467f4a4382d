//! What the unit says of itself and of its readings: levels, latches, the inhibit, conditions, the inlet of a fault, stamps, unused
//! inlets, revisions, its log.
use super::{
    Dice, Spoilt,
    readings::{from_stage, kept, mapped, read, readings},
    replies::{replies, said},
};
use crate::evidence::recording::Recording;
use plumeline_procedure::{Act, StageKind};
use plumewire::{Conditions, EventCode, Faults, List, LogEntry, Message, Operation, PerInlet, Reply, Sample};
use std::time::Duration;

/// Readings a second of the recorded job.
const HZ: usize = 2;

/// The readings of a stage.
fn of_stage(r: &Recording, stage: StageKind) -> Vec<usize> {
    readings(r, r.within(stage))
}
/// Some readings in a row while smoke is tried.
fn a_while(r: &Recording, d: &mut Dice) -> Vec<usize> {
    let all = of_stage(r, StageKind::ProveSmoke);
    let from = 10 * HZ + d.below(all.len() - 20 * HZ);
    all[from..from + 4 + d.below(10)].to_vec()
}

/// A level is never told, or long after it rose.
pub fn levels(r: &Recording, d: &mut Dice) -> Spoilt {
    let (level, late) = (1 << d.below(3), d.below(2) == 0);
    let mut stood = 0;
    let events = read(r, &of_stage(r, StageKind::ProveSmoke), |_, reading| {
        stood = if reading.alarms & level == 0 { 0 } else { stood + 1 };
        if !late || stood <= 20 * HZ {
            reading.alarms &= !level;
        }
    });
    Spoilt { events, how: format!("level bit {level} comes 20 s late: {late}, or never") }
}

/// A level that is set to latch does not.
pub fn latches(r: &Recording, d: &mut Dice) -> Spoilt {
    let level = 1 << d.below(3);
    let places = [of_stage(r, StageKind::ProveSmoke), of_stage(r, StageKind::Purge)].concat();
    let events = read(r, &places, |_, reading| reading.alarms_latched &= !level);
    Spoilt { events, how: format!("level bit {level} does not latch") }
}

/// An output that follows an alarm is operated under the inhibit.
pub fn inhibited_output(r: &Recording, d: &mut Dice) -> Spoilt {
    let (places, output) = (a_while(r, d), 2 << d.below(3));
    let events = read(r, &places, |_, reading| reading.outputs |= output);
    Spoilt { events, how: format!("output bit {output} in {} readings", places.len()) }
}

/// The readings do not say that outputs are inhibited.
pub fn inhibit_told(r: &Recording, d: &mut Dice) -> Spoilt {
    let places = a_while(r, d);
    let events = read(r, &places, |_, reading| reading.conditions.0 &= !Conditions::INHIBITED.0);
    Spoilt { events, how: format!("not inhibited in {} readings", places.len()) }
}

/// The unit is not at its usual work.
pub fn at_work(r: &Recording, d: &mut Dice) -> Spoilt {
    let condition = d.pick(&[Conditions::STARTING, Conditions::SPINNING_UP, Conditions::LEARNING]);
    let stage = d.pick(&[StageKind::Settle, StageKind::Restore]);
    let places = from_stage(r, stage, Duration::from_secs(5));
    let events = read(r, &places, |_, reading| reading.conditions = reading.conditions.with(condition));
    Spoilt { events, how: format!("condition {condition:?} from {stage} on") }
}

/// The flow fault names another inlet, or none.
pub fn fault_inlet(r: &Recording, d: &mut Dice) -> Spoilt {
    let named = d.pick(&[0, 2, 3]);
    let events = read(r, &of_stage(r, StageKind::Supervise), |_, reading| {
        if reading.faults.has(Faults::FLOW) {
            (reading.flow_low, reading.flow_high) = (named, 0);
        }
    });
    Spoilt { events, how: format!("the fault names inlets {named:#b}") }
}

/// Stamps that do not rise.
pub fn stamps(r: &Recording, d: &mut Dice) -> Spoilt {
    let (every, by) = (5 + d.below(10), 600_000 + d.below(3_000_000) as u64);
    let places = from_stage(r, StageKind::Settle, Duration::ZERO);
    let events = read(r, &places, |n, reading| {
        if n % every == every - 1 {
            reading.taken_us -= by;
        }
    });
    Spoilt { events, how: format!("every {every}th stamp {by} us early") }
}

/// Values of before under the stamp of now: by so much, or each kept for so long.
pub fn of_now(r: &Recording, d: &mut Dice) -> Spoilt {
    let (stale, by) = (d.below(2) == 0, HZ * (10 + d.below(20)));
    let places = from_stage(r, StageKind::Settle, Duration::ZERO);
    let were = kept(r, &places);
    let events = read(r, &places, |n, reading| {
        let old = &were[if stale { n.saturating_sub(by) } else { n / by * by }];
        (reading.flow_nl_s, reading.obscuration_n_m) = (old.flow_nl_s, old.obscuration_n_m);
    });
    Spoilt { events, how: format!("values of {by} readings before: {stale}, or kept for so many") }
}

/// A flow at the inlet that carries no pipe.
pub fn unused_inlet(r: &Recording, d: &mut Dice) -> Spoilt {
    let share = [0.1, 0.2, 0.4][d.below(3)];
    let events = read(r, &from_stage(r, StageKind::ProveFlow, Duration::ZERO), |_, reading| {
        let first = reading.flow_nl_s.iter().next().copied().and_then(Sample::value).unwrap_or(0);
        let mut n = 0;
        let all: Vec<Sample> = reading
            .flow_nl_s
            .iter()
            .map(|s| {
                n += 1;
                if n == 2 { Sample::Value((first as f64 * share) as i64) } else { *s }
            })
            .collect();
        reading.flow_nl_s = PerInlet::from_slice(&all).unwrap();
    });
    Spoilt { events, how: format!("the unused inlet draws {share} of the pipe's flow") }
}

/// The pipe draws more while the inlets without a pipe are covered.
pub fn untold_air(r: &Recording, d: &mut Dice) -> Spoilt {
    let more = [1.05, 1.1, 1.3][d.below(3)];
    let answered = |of: fn(&Act) -> bool| r.answers.iter().find(|(_, a)| of(a)).map(|(i, _)| r.events[*i].at).unwrap();
    let covered = answered(|a| matches!(a, Act::CoverInlets { .. }));
    let off = answered(|a| matches!(a, Act::UncoverInlets { .. }));
    let events = read(r, &readings(r, r.between(covered, off)), |_, reading| {
        reading.flow_nl_s = mapped(&reading.flow_nl_s, |q| Sample::Value((q as f64 * more) as i64));
    });
    Spoilt { events, how: format!("{more} times the flow beside covered inlets") }
}

/// The revision stays what it was when settings came into force.
pub fn revision(r: &Recording, _: &mut Dice) -> Spoilt {
    let mut first = None;
    let of = [Operation::SettingsManifest, Operation::WriteCommit, Operation::WriteStatus];
    let events = said(r, &replies(r, &of), |_, m| match m {
        Message::Reply(Reply::SettingsManifest(m)) => m.revision = *first.get_or_insert(m.revision),
        Message::Reply(Reply::WriteCommit(m)) => m.revision = *first.get_or_insert(m.revision - 1),
        Message::Reply(Reply::WriteStatus(m)) => m.revision = *first.get_or_insert(m.revision),
        _ => {}
    });
    Spoilt { events, how: "the revision stays".into() }
}

/// The event log is empty, or has nothing of all that was done.
pub fn log(r: &Recording, d: &mut Dice) -> Spoilt {
    let empty = d.below(2) == 0;
    let done = [EventCode::Started, EventCode::SettingsChanged, EventCode::BaselineTaken, EventCode::Alarm];
    let events = said(r, &replies(r, &[Operation::LogRead]), |_, m| {
        if let Message::Reply(Reply::LogRead(page)) = m {
            let other = |e: &LogEntry<'_>| if done.iter().any(|c| *c as u16 == e.code) { 999 } else { e.code };
            let all = page.entries.iter().filter(|_| !empty).map(|e| LogEntry { code: other(e), ..*e });
            page.entries = List::from_slice(&all.collect::<Vec<_>>()).unwrap();
        }
    });
    Spoilt { events, how: if empty { "empty" } else { "other entries only" }.into() }
}

/// The shut inlet still reads a part of its flow, or its flow goes slowly.
pub fn shut_flow(r: &Recording, d: &mut Dice) -> Spoilt {
    let (slowly, share) = (d.below(2) == 0, [0.1, 0.3, 0.6][d.below(3)]);
    let places = of_stage(r, StageKind::Supervise);
    let open = kept(r, &of_stage(r, StageKind::ProveFlow))[0].flow_nl_s;
    let first = open.iter().next().copied().and_then(Sample::value).unwrap();
    let mut told = first as f64;
    let events = read(r, &places, |_, reading| {
        let all: Vec<Sample> = reading.flow_nl_s.iter().copied().collect();
        let Some(now) = all[0].value().map(|v| v as f64) else { return };
        told += (now - told) * if slowly { 0.5 / 15.0 } else { 1.0 };
        let shown = if slowly { told } else { now.max(share * first as f64) };
        let of = |(i, s): (usize, &Sample)| if i == 0 { Sample::Value(shown as i64) } else { *s };
        reading.flow_nl_s = PerInlet::from_slice(&all.iter().enumerate().map(of).collect::<Vec<_>>()).unwrap();
    });
    Spoilt { events, how: format!("flow smoothed over 15 s: {slowly}, or never under {share} of what it was") }
}
