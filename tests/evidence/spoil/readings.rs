//! What the unit's readings showed: flows, smoke, faults, outputs, supply.
use super::{
    Dice, Spoilt,
    replies::{replies, reply_at, said},
};
use crate::evidence::recording::{Heard, Recording};
use plumeline_base::{Instant, input::Event};
use plumeline_procedure::{Act, StageKind, Subject};
use plumewire::{Conditions, Faults, Kind, Message, Operation, PerInlet, Reading, Report, Sample};
use std::{collections::BTreeSet, time::Duration};
/// The events without these.
pub fn without(r: &Recording, lost: &BTreeSet<usize>) -> Vec<Event> {
    r.events.iter().enumerate().filter(|(i, _)| !lost.contains(i)).map(|(_, e)| e.clone()).collect()
}

/// Those of these events that hold a reading.
pub fn readings(r: &Recording, of: Vec<usize>) -> Vec<usize> {
    let reading = |h: &Heard| h.header.kind == Kind::Report && h.header.operation == Operation::ReadingsStart as u8;
    of.into_iter().filter(|i| r.frames.get(i).is_some_and(|f| f.iter().any(reading))).collect()
}

/// The events with these readings changed; `change` gets how many readings came before it.
pub fn read(r: &Recording, places: &[usize], mut change: impl FnMut(usize, &mut Reading)) -> Vec<Event> {
    let mut n = 0;
    said(r, places, |_, m| {
        if let Message::Report(Report::Reading(reading)) = m {
            change(n, reading);
            n += 1;
        }
    })
}

pub fn mapped(list: &PerInlet, mut f: impl FnMut(i64) -> Sample) -> PerInlet {
    let all: Vec<Sample> = list.iter().map(|s| s.value().map_or(*s, &mut f)).collect();
    PerInlet::from_slice(&all).unwrap()
}

/// The readings at these places, as they were.
pub fn kept(r: &Recording, places: &[usize]) -> Vec<Reading> {
    let mut all = Vec::new();
    read(r, places, |_, reading| all.push(*reading));
    all
}

/// The flow of a stretch is lost, failed, stuck, or another.
pub fn flow(r: &Recording, d: &mut Dice, stage: StageKind, of: impl Fn(&Subject) -> bool) -> Spoilt {
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

pub fn steady(r: &Recording, d: &mut Dice) -> Spoilt {
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
pub fn hole(r: &Recording, d: &mut Dice) -> Spoilt {
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
pub fn smoke(r: &Recording, d: &mut Dice) -> Spoilt {
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
pub fn from_stage(r: &Recording, stage: StageKind, early: Duration) -> Vec<usize> {
    readings(r, r.between(r.stages[&stage].0 - early, Instant::FAR_FUTURE))
}

pub fn purge(r: &Recording, d: &mut Dice) -> Spoilt {
    let places = from_stage(r, StageKind::Purge, Duration::ZERO);
    let failed = d.below(2) == 0;
    let events = read(r, &places, |_, reading| {
        let high = |v: i64| if failed { Sample::Failed } else { Sample::Value(v + 1_000_000_000) };
        reading.obscuration_n_m = mapped(&reading.obscuration_n_m, high);
    });
    Spoilt { events, how: format!("obscuration {} from the purge on", if failed { "failed" } else { "high" }) }
}

pub fn latches(r: &Recording, d: &mut Dice) -> Spoilt {
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

pub fn flow_fault(r: &Recording, d: &mut Dice) -> Spoilt {
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
pub fn fault_for_a_while(r: &Recording, d: &mut Dice, fault: Faults, stages: &[StageKind]) -> Spoilt {
    let stage = d.pick(stages);
    let places = readings(r, r.within(stage));
    let (from, n) = (d.below(places.len() - 1), 1 + d.below(20));
    let places = &places[from..places.len().min(from + n)];
    let events = read(r, places, |_, reading| reading.faults = reading.faults.with(fault));
    Spoilt { events, how: format!("fault {fault:?} in {} readings of {stage}", places.len()) }
}

pub fn active_output(r: &Recording, _: &mut Dice) -> Spoilt {
    let places = readings(r, r.within(StageKind::Outputs));
    Spoilt { events: read(r, &places, |_, reading| reading.outputs = u32::MAX), how: "all outputs active".into() }
}

pub fn standing_fault(r: &Recording, d: &mut Dice) -> Spoilt {
    let places = from_stage(r, StageKind::Restore, Duration::from_secs(5));
    if d.below(4) == 0 {
        return Spoilt { events: without(r, &places.into_iter().collect()), how: "no readings any more".into() };
    }
    let (fault, name) = d.pick(Faults::ALL);
    let events = read(r, &places, |_, reading| reading.faults = reading.faults.with(fault));
    Spoilt { events, how: format!("fault {name} stands at hand-back") }
}

/// The fault of a removed supply never comes, or stays.
pub fn supply_fault(r: &Recording, d: &mut Dice) -> Spoilt {
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
pub fn supply(r: &Recording, d: &mut Dice) -> Spoilt {
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
pub fn other_output(r: &Recording, d: &mut Dice) -> Spoilt {
    let other = 1 << (8 + d.below(8));
    let events = read(r, &readings(r, r.within(StageKind::Outputs)), |_, reading| {
        if reading.outputs != 0 {
            reading.outputs |= other;
        }
    });
    Spoilt { events, how: format!("output bit {other:#x} is operated with every other") }
}

/// The lapse of the inhibit shows no fault, or gives the outputs back at once.
pub fn lapse(r: &Recording, d: &mut Dice) -> Spoilt {
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
