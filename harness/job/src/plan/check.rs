//! From the raw plan to the typed one.
//!
//! Not here: the stages' own rules.
use super::{MAX_ENTRIES, PlanFile, farthest::farthest, raw, stages, supply};
use crate::{
    error::{Kind, Problem, Source, choices, quoted},
    limits::{self, Presets},
    units::{self, Dimension::*},
    written::{Bounds, Q, Spanned, Written, choice, whole},
};
use plumeline_base::pipework::Pipework;
use plumeline_procedure::plan::{
    ChecklistItem, ExpectedUnit, FlowPlan, HoleChoice, HolePlan, HoleRef, Limit, Limits, Mark, Plan, ReleaseMark,
    RulePlan, SettlePlan, SmokePlan,
};
use schemars::Schema;
use std::collections::BTreeSet;

pub(super) const RATE: Bounds = Bounds::new(Frequency, 1.0, 20.0, "a rate of readings", "a rate from 1 Hz to 20 Hz");
pub(super) const LEASE: Bounds = Bounds::new(Time, 5.0, 3600.0, "a lease", "a time from 5 s to 1 h");
pub(super) const SPAN: Bounds = Bounds::new(Time, 1.0, 3600.0, "a measuring time", "a time from 1 s to 1 h");
pub(super) const WAIT: Bounds = Bounds::new(Time, 0.0, 3600.0, "a waiting time", "a time from 0 s to 1 h");
pub(super) const SHORT: Bounds =
    Bounds::new(Time, 0.0, 60.0, "an uncertainty of time", "a time from 0 s to 60 s").above();
pub(super) const SHARE: Bounds = Bounds::new(Ratio, 0.0, 1.0, "a share", "a share from 0 % to 100 %");
// With no risk at all nothing is ever decided.
pub(super) const RISK: Bounds = Bounds::new(Ratio, 0.0, 0.5, "a risk", "a risk over 0 %, up to 50 %").above();
pub(super) const COVERAGE: Bounds = Bounds::new(Ratio, 0.5, 0.9999, "a coverage", "a coverage from 50 % to 99.99 %");
pub(super) const CAPACITY: Bounds =
    Bounds::new(Charge, 0.0, 10_000.0, "a battery's capacity", "a capacity up to 10000 Ah, such as \"7 Ah\"").above();
pub(super) const STANDBY: Bounds =
    Bounds::new(Time, 0.0, 604_800.0, "a time on the battery", "a time from 0 s to 168 h, such as \"24 h\"");
pub(super) const FACTOR: Bounds = Bounds::new(Ratio, 1.0, 10.0, "a factor", "a factor from 1 to 10");
pub(super) const CURRENT: Bounds =
    Bounds::new(Current, 0.0, 1_000.0, "a current", "a current from 0 A to 1000 A, such as \"120 mA\"");
const LIMIT_VOLTAGE: Bounds = Bounds::new(Voltage, 0.0, 400.0, "this limit", "a voltage from 0 V to 400 V");
const LIMIT_TIME: Bounds = Bounds::new(Time, 0.0, 172_800.0, "this limit", "a time from 0 s to 48 h").above();
const LIMIT_SHARE: Bounds = Bounds::new(Ratio, 0.0, 1.0, "this limit", "a share from 0 % to 100 %").above();
const LIMIT_PRESSURE: Bounds = Bounds::new(Pressure, 0.0, 20_000.0, "this limit", "a pressure from 0 Pa to 20 kPa");

/// Most runs of smoke at one place.
pub(super) const MAX_RUNS: i64 = 20;
/// The ways to mark the release of smoke, by name.
pub(super) const MARKS: &[(&str, ReleaseMark)] =
    &[("by-hand", ReleaseMark::ByHand), ("by-radio", ReleaseMark::ByRadio), ("device", ReleaseMark::Device)];
/// The words for the holes that are closed in turn.
pub(super) const WHICH: &[&str] = &["reachable", "none"];
/// The words for the holes that smoke shows to draw.
pub(super) const PRESENCE: &[&str] = &["not-closed", "none"];
/// The word for the places of the smoke test.
pub(super) const AT: &[&str] = &["farthest"];

pub(super) fn check(source: &Source<'_>, f: raw::File, pipework: &Pipework) -> Result<PlanFile, Problem> {
    let mut notes = Vec::new();
    let stages = stages::stages(source, f.stages.as_ref(), &mut notes)?;
    let l = &f.limits;
    let choice = hole_choice(source, f.holes.which.as_ref(), pipework)?;
    let smoke = smoke(source, &f.smoke, pipework, &choice, &mut notes)?;
    let checklist = checklist(source, f.checklist, &mut notes)?;
    let outputs = supply::outputs(source, f.outputs)?;
    let supply = supply::supply(source, &f.supply, &mut notes)?;
    let read = |b: &Bounds, q: &Option<Q>, default: f64| b.read_or(source, q.as_ref(), default);
    let plan = Plan {
        site: f.site,
        technician: f.technician,
        outgoing: f.outgoing.map(|u| expected(source, u)).transpose()?,
        replacement: expected(source, f.replacement)?,
        stages,
        // In bounds, so both fit their types.
        readings_hz: read(&RATE, &f.readings, 10.0)? as u8,
        inhibit_lease_s: read(&LEASE, &f.inhibit_lease, 60.0)? as u32,
        limits: Limits {
            transport: limit(source, &l.transport, &limits::TRANSPORT)?,
            transport_agreement: limit(source, &l.transport_agreement, &limits::TRANSPORT_AGREEMENT)?,
            transport_agreement_least: limit(source, &l.transport_agreement_least, &limits::TRANSPORT_AGREEMENT_LEAST)?,
            last_hole_suction: limit(source, &l.last_hole_suction, &limits::LAST_HOLE_SUCTION)?,
            flow_band: limit(source, &l.flow_band, &limits::FLOW_BAND)?,
            flow_fault_within: limit(source, &l.flow_fault_within, &limits::FLOW_FAULT_WITHIN)?,
            out_of_service: limit(source, &l.out_of_service, &limits::OUT_OF_SERVICE)?,
            boot: limit(source, &l.boot, &limits::BOOT)?,
            clock: limit(source, &l.clock, &limits::CLOCK)?,
            supply_voltage: limit(source, &l.supply_voltage, &limits::SUPPLY_VOLTAGE)?,
            supply_fault_within: limit(source, &l.supply_fault_within, &limits::SUPPLY_FAULT_WITHIN)?,
        },
        settle: SettlePlan {
            window_s: read(&SPAN, &f.settle.window, 120.0)?,
            slope_per_min: limit(source, &f.settle.slope_per_min, &limits::STEADY)?,
        },
        flow: FlowPlan {
            average_s: read(&SPAN, &f.flow.average, 60.0)?,
            material: limit(source, &f.flow.material, &limits::MATERIAL)?,
            calibration_common: read(&SHARE, &f.flow.calibration_common, 0.03)?,
            calibration_individual: read(&SHARE, &f.flow.calibration_individual, 0.02)?,
        },
        holes: HolePlan {
            choice,
            average_s: read(&SPAN, &f.holes.average, 40.0)?,
            wait_s: read(&WAIT, &f.holes.wait, 10.0)?,
            agreement: limit(source, &f.holes.agreement, &limits::HOLE_AGREEMENT)?,
            worse: limit(source, &f.holes.worse, &limits::HOLE_WORSE)?,
        },
        smoke,
        rule: RulePlan {
            accept_risk: read(&RISK, &f.rule.accept_risk, 0.05)?,
            reject_risk: read(&RISK, &f.rule.reject_risk, 0.05)?,
            coverage: read(&COVERAGE, &f.rule.coverage, 0.95)?,
        },
        outputs,
        supply,
        checklist,
    };
    if f.flow.calibration_common.is_none() || f.flow.calibration_individual.is_none() {
        notes.push("uncertainty of the unit's flow readings where none is stated: 3 % common, 2 % individual (common practice, no source)".to_owned());
    }
    let ports = super::ports::ports(source, &f.limits.port_obscuration)?;
    Ok(PlanFile { plan, ports, notes })
}

fn expected(source: &Source<'_>, u: raw::Unit) -> Result<ExpectedUnit, Problem> {
    let zone_min = match &u.zone {
        None => None,
        Some(zone) => Some(zone_min(zone.as_ref()).ok_or_else(|| {
            let cause = format!("{} is no difference from UTC", quoted(zone.as_ref()));
            source.problem(Kind::Syntax, zone.span(), cause, "write it as \"+01:00\" or \"-03:30\"")
        })?),
    };
    Ok(ExpectedUnit { model: u.model, serial: u.serial, firmware: u.firmware, zone_min })
}

fn zone_min(text: &str) -> Option<i64> {
    let (sign, rest) = text.split_at_checked(1)?;
    let (h, m) = rest.split_once(':').filter(|(h, m)| h.len() == 2 && m.len() == 2)?;
    let (h, m): (u8, u8) = (h.parse().ok()?, m.parse().ok()?);
    let min = i64::from(h) * 60 + i64::from(m);
    match sign {
        "+" if h <= 14 && m < 60 => Some(min),
        "-" if h <= 12 && m < 60 => Some(-min),
        _ => None,
    }
}

fn limit_bounds(presets: &Presets) -> &'static Bounds {
    match presets.unit {
        "s" => &LIMIT_TIME,
        "Pa" => &LIMIT_PRESSURE,
        "V" => &LIMIT_VOLTAGE,
        _ => &LIMIT_SHARE,
    }
}

/// Says in a schema which limit a key sets.
pub(super) fn limit_of(presets: &'static Presets) -> impl FnMut(&mut Schema) {
    crate::schema::limit(presets, limit_bounds(presets))
}

/// A limit by the name of a preset, or with a value of the job's own.
fn limit(source: &Source<'_>, written: &Option<Spanned<raw::Limit>>, presets: &Presets) -> Result<Limit, Problem> {
    let Some(written) = written else { return Ok(presets.first()) };
    let bounds = limit_bounds(presets);
    let own = |value, from: &str| Limit {
        value,
        unit: presets.unit.to_owned(),
        source: from.to_owned(),
        mark: Mark::ThisJob,
    };
    match written.as_ref() {
        raw::Limit::Own(o) => Ok(own(bounds.read(source, &o.value)?, &o.source)),
        raw::Limit::Text(text) => match presets.get(text) {
            Some(preset) => Ok(preset),
            // What is not even a number can only have been meant as a name.
            None if units::parse(bounds.dimension, text).is_err()
                && !text.starts_with(|c: char| c.is_ascii_digit()) =>
            {
                let names = presets.all.iter().map(|p| p.name);
                let cause = format!("{} is no preset of this limit", quoted(text));
                let remedy =
                    format!("use one of {}, or a value such as \"{}\"", choices(names), bounds.dimension.example());
                Err(source.problem(Kind::UnknownName, written.span(), cause, remedy))
            }
            None => Ok(own(bounds.read_at(source, &Written::Text(text.clone()), written.span())?, "the job's plan")),
        },
    }
}

fn hole_choice(
    source: &Source<'_>,
    which: Option<&Spanned<raw::Which>>,
    pipework: &Pipework,
) -> Result<HoleChoice, Problem> {
    let Some(which) = which else { return Ok(HoleChoice::Reachable) };
    match which.as_ref() {
        raw::Which::Word(w) => {
            let words = [("reachable", HoleChoice::Reachable), ("none", HoleChoice::None)];
            words.into_iter().find(|(name, _)| name == w).map(|(_, c)| c).ok_or_else(|| {
                let cause = format!("{} is no choice of holes", quoted(w));
                let remedy = "write \"reachable\", \"none\", or a list such as [{ inlet = 1, hole = 9 }]";
                source.problem(Kind::UnknownName, which.span(), cause, remedy)
            })
        }
        raw::Which::These(list) => Ok(HoleChoice::These(holes(source, list, which, pipework)?)),
    }
}

/// A list of holes, each of which the pipework has.
fn holes(
    source: &Source<'_>,
    list: &[raw::Hole],
    whole_list: &Spanned<raw::Which>,
    pipework: &Pipework,
) -> Result<Vec<HoleRef>, Problem> {
    if list.is_empty() || list.len() > MAX_ENTRIES {
        let cause = format!("the list names {} holes", list.len());
        let remedy = format!("name 1 to {MAX_ENTRIES} holes, such as {{ inlet = 1, hole = 9 }}");
        return Err(source.problem(Kind::Range, whole_list.span(), cause, remedy));
    }
    let mut known = BTreeSet::new();
    for (inlet, owned) in pipework.inlets.iter().zip(pipework.openings_by_inlet()) {
        known.extend(owned.iter().filter_map(|i| pipework.openings.get(*i)).map(|o| (inlet.number, o.number)));
    }
    let mut seen = BTreeSet::new();
    list.iter()
        .map(|h| {
            let inlet: u8 = whole(source, &h.inlet, 1, i64::from(u8::MAX), "an inlet's number")?;
            let number: u32 = whole(source, &h.hole, 1, i64::from(u32::MAX), "a hole's number")?;
            if !known.contains(&(inlet, number)) {
                let cause = format!("the pipework has no hole {number} on inlet {inlet}");
                let remedy = "check the numbers against pipework.toml: holes count from the unit outward, the cap last";
                return Err(source.problem(Kind::UnknownName, h.hole.span(), cause, remedy));
            }
            if !seen.insert((inlet, number)) {
                let cause = format!("hole {number} of inlet {inlet} stands twice");
                return Err(source.problem(Kind::Duplicate, h.hole.span(), cause, "name each hole once"));
            }
            Ok(HoleRef { inlet, number })
        })
        .collect()
}

fn smoke(
    source: &Source<'_>,
    s: &raw::Smoke,
    pipework: &Pipework,
    closed: &HoleChoice,
    notes: &mut Vec<String>,
) -> Result<SmokePlan, Problem> {
    let at = match &s.at {
        Some(list) if matches!(list.as_ref(), raw::Which::These(_)) => match list.as_ref() {
            raw::Which::These(these) => holes(source, these, list, pipework)?,
            raw::Which::Word(_) => Vec::new(),
        },
        None => by_length(pipework, notes),
        Some(word) => match word.as_ref() {
            raw::Which::Word(w) if w == "farthest" => by_length(pipework, notes),
            _ => {
                let remedy = "write \"farthest\", or a list such as [{ inlet = 1, hole = 9 }]";
                return Err(source.problem(Kind::UnknownName, word.span(), "this is no choice of holes", remedy));
            }
        },
    };
    let mark = match &s.mark {
        Some(name) => choice(source, name, "a way to mark the release", MARKS)?,
        None => ReleaseMark::ByHand,
    };
    let runs = match &s.runs {
        Some(n) => whole(source, n, 1, MAX_RUNS, "a number of runs")?,
        None => 1,
    };
    let read = |b: &Bounds, q: &Option<Q>, default: f64| b.read_or(source, q.as_ref(), default);
    // A person's press, a device's own delay; how late a call over the radio comes is counted apart (common practice,
    // no source).
    let mark_u_s = match mark {
        ReleaseMark::ByHand | ReleaseMark::ByRadio => 0.35,
        ReleaseMark::Device => 0.1,
    };
    Ok(SmokePlan {
        at,
        presence: presence(source, s.presence.as_ref(), pipework, closed)?,
        runs,
        mark,
        mark_u_s: read(&SHORT, &s.mark_uncertainty, mark_u_s)?,
        release_s: read(&SPAN, &s.release, 10.0)?,
        purge_below: read(&SHARE, &s.purge_below, 0.5)?,
        purge_hold_s: read(&SPAN, &s.purge_hold, 30.0)?,
    })
}

/// The holes that smoke shows to draw.
fn presence(
    source: &Source<'_>,
    written: Option<&Spanned<raw::Which>>,
    pipework: &Pipework,
    closed: &HoleChoice,
) -> Result<Vec<HoleRef>, Problem> {
    let Some(written) = written else { return Ok(Vec::new()) };
    match written.as_ref() {
        raw::Which::These(list) => holes(source, list, written, pipework),
        raw::Which::Word(w) if w == "none" => Ok(Vec::new()),
        raw::Which::Word(w) if w == "not-closed" => {
            let mut left = Vec::new();
            for (inlet, owned) in pipework.inlets.iter().zip(pipework.openings_by_inlet()) {
                for o in owned.iter().filter_map(|i| pipework.openings.get(*i)) {
                    let hole = HoleRef { inlet: inlet.number, number: o.number };
                    let is_closed = match closed {
                        HoleChoice::Reachable => o.reachable,
                        HoleChoice::These(list) => list.contains(&hole),
                        HoleChoice::None => false,
                    };
                    if !is_closed && !o.blocked && o.diameter_m > 0.0 {
                        left.push(hole);
                    }
                }
            }
            left.sort();
            Ok(left)
        }
        raw::Which::Word(w) => {
            let cause = format!("{} is no choice of holes", quoted(w));
            let remedy = "write \"not-closed\", \"none\", or a list such as [{ inlet = 1, hole = 9 }]";
            Err(source.problem(Kind::UnknownName, written.span(), cause, remedy))
        }
    }
}

fn by_length(pipework: &Pipework, notes: &mut Vec<String>) -> Vec<HoleRef> {
    let all = farthest(pipework);
    for (hole, opening) in &all {
        if !opening.reachable {
            notes.push(format!(
                "smoke test: the farthest hole of pipe {} is hole {}, which is marked as out of reach; name another in `smoke.at` and its time proves less",
                hole.inlet, hole.number
            ));
        }
    }
    all.into_iter().map(|(hole, _)| hole).collect()
}

fn checklist(
    source: &Source<'_>,
    list: Vec<raw::Check>,
    notes: &mut Vec<String>,
) -> Result<Vec<ChecklistItem>, Problem> {
    if list.is_empty() {
        notes.push("the plan has no checklist of hand-work".to_owned());
    }
    if let Some(first) = list.get(MAX_ENTRIES) {
        let cause = format!("the checklist has more than {MAX_ENTRIES} lines");
        return Err(source.problem(Kind::TooLarge, first.stage.span(), cause, "shorten it"));
    }
    list.into_iter()
        .map(|c| {
            let stage = stages::stage(source, &c.stage)?;
            Ok(ChecklistItem { stage, text: c.text, required: c.required, after: c.after })
        })
        .collect()
}
