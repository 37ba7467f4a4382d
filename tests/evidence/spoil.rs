//! The items of evidence, and the ways to spoil each. Every way damages its item: nothing here is harmless by design.
mod readings;
mod replies;
mod unit;

use super::recording::Recording;
use plumeline_base::input::{Answer, Event, Input, LineId, LinkDown, OperatorAct};
use plumeline_procedure::{Act, StageKind, Subject};
use plumewire::{Faults, Operation};
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use std::time::Duration;

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
    "identity" => replies::identity;
    "inhibit" => |r, d| replies::reply(r, d, &[Operation::Inhibit]);
    "inhibit renewals" => replies::renewals;
    "inhibit held" => |r, d| replies::refused(r, d, &[Operation::InhibitRenew]);
    "settings sent" => |r, d| replies::reply(r, d, &[Operation::WriteBegin, Operation::WriteChunk, Operation::WriteCommit]);
    "settings read back" => replies::read_back;
    "restart" => replies::restart;
    "clock of the unit" => replies::unit_clock;
    "steady flow" => readings::steady;
    "flow of each pipe" => |r, d| readings::flow(r, d, StageKind::ProveFlow, |s| matches!(s, Subject::Pipe(_)));
    "hole closed" => |r, d| answer(r, d, |a| matches!(a, Act::CloseHole(_)));
    "hole opened" => |r, d| answer(r, d, |a| matches!(a, Act::OpenHole(_)));
    "drop at each hole" => readings::hole;
    "baseline taken" => |r, d| replies::reply(r, d, &[Operation::BaselineTake, Operation::BaselineRead]);
    "baseline read back" => replies::baseline;
    "flow before the baseline" => |r, d| readings::flow(r, d, StageKind::Baseline, |_| true);
    "clock tie" => replies::clock;
    "release marks" => mark;
    "releases as meant" => objected;
    "smoke readings" => readings::smoke;
    "purge" => readings::purge;
    "latches reset" => readings::latches;
    "inlet shut" => |r, d| answer(r, d, |a| matches!(a, Act::ShutInlet { .. }));
    "inlet put back" => |r, d| answer(r, d, |a| matches!(a, Act::RefitInlet { .. }));
    "flow fault" => readings::flow_fault;
    "cover closed" => |r, d| readings::fault_for_a_while(r, d, Faults::COVER, &[StageKind::ProveSmoke, StageKind::Outputs]);
    "no flow fault unasked" => |r, d| readings::fault_for_a_while(r, d, Faults::FLOW, &[StageKind::ProveSmoke, StageKind::Outputs]);
    "supplies removed" => |r, d| answer(r, d, |a| matches!(a, Act::SwitchSupply { .. }));
    "fault of a removed supply" => readings::supply_fault;
    "that fault at the panel" => |r, d| answer(r, d, |a| matches!(a, Act::PanelFault | Act::PanelFaultClear));
    "voltage and current" => readings::supply;
    "outputs operated" => |r, d| replies::reply(r, d, &[Operation::Drive, Operation::Undrive]);
    "outputs at rest before" => readings::active_output;
    "no other output" => readings::other_output;
    "outputs at the panel" => |r, d| answer(r, d, |a| matches!(a, Act::PanelShows { .. } | Act::PanelClear { .. }));
    "left alone" => |r, d| answer(r, d, |a| *a == Act::LeftAlone);
    "baseline still held" => replies::still_held;
    "settings still as loaded" => |r, d| {
        let from = r.stages[&StageKind::LastLook].0;
        replies::bit_of_settings(r, d, |i| r.events[i].at >= from)
    };
    "lapse of an inhibit" => readings::lapse;
    "last look" => |r, d| readings::flow(r, d, StageKind::LastLook, |_| true);
    "settings at hand-back" => replies::settings_at_the_end;
    "outputs given back" => |r, d| replies::reply(r, d, &[Operation::InhibitRelease]);
    "no standing fault" => readings::standing_fault;
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
    "unused inlets covered" => |r, d| answer(r, d, |a| matches!(a, Act::CoverInlets { .. } | Act::UncoverInlets { .. }));
    "air that is not told" => unit::untold_air;
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
    // What the unit's own readings show wants no answer; one that says otherwise counts all the same.
    let other = other.or(r.answers[&at].may_show().then_some(Answer::No));
    let how = format!("{:?}: {other:?}", r.answers[&at]);
    let mut events = r.events.clone();
    match (other, &mut events[at].input) {
        (Some(answer), Input::Operator(OperatorAct { answer: given, .. })) => *given = answer,
        _ => drop(events.remove(at)),
    }
    Spoilt { events, how }
}

/// One line is not said to be done, or one question of the checklist is not answered as it was.
fn checklist(r: &Recording, d: &mut Dice) -> Spoilt {
    let required = r.required();
    if d.pick(&[true, false]) {
        return answer(r, d, |a| match a {
            Act::Check { item } => required.contains(item),
            Act::Checks { items } => items.iter().any(|item| required.contains(item)),
            _ => false,
        });
    }
    let lists: Vec<(usize, u32)> = r
        .answers
        .iter()
        .filter_map(|(at, act)| if let Act::Checks { items } = act { Some((*at, items)) } else { None })
        .flat_map(|(at, items)| items.iter().filter(|i| required.contains(i)).map(move |item| (at, *item)))
        .collect();
    let (at, left_out) = d.pick(&lists);
    let mut events = r.events.clone();
    if let Input::Operator(OperatorAct { answer: Answer::Text(numbers), .. }) = &mut events[at].input {
        let rest: Vec<&str> = numbers.split(' ').filter(|n| *n != left_out.to_string()).collect();
        *numbers = rest.join(" ");
    }
    Spoilt { events, how: format!("line {left_out} left out") }
}

/// Somebody says that a release was not as it was meant to be. No answer is none.
fn objected(r: &Recording, d: &mut Dice) -> Spoilt {
    let at: Vec<usize> = r.answers.iter().filter(|(_, a)| matches!(a, Act::ReleaseWent(_))).map(|(i, _)| *i).collect();
    let at = d.pick(&at);
    let other = d.pick(&[Answer::No, Answer::Cannot("a gust".into()), Answer::Text("perhaps".into())]);
    let how = format!("{:?}: {other:?}", r.answers[&at]);
    let mut events = r.events.clone();
    if let Input::Operator(OperatorAct { answer, .. }) = &mut events[at].input {
        *answer = other;
    }
    Spoilt { events, how }
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
