//! From the raw plan to the typed one.
//!
//! Not here: the stages' own rules.
use super::{MAX_ENTRIES, PlanFile, farthest::farthest, instruments, raw, stages, supply};
use crate::{
    error::{Kind, Problem, Source, quoted},
    written::{Spanned, choice, whole},
};
use plumeline_base::pipework::Pipework;
use plumeline_procedure::{
    plan::{ChecklistItem, ExpectedUnit, HoleChoice, HoleRef, Plan, ReleaseMark, Untold, Visit},
    rules,
};
use std::collections::BTreeSet;

/// The ways to mark the release of smoke, by name.
pub(super) const MARKS: &[(&str, ReleaseMark)] =
    &[("by-hand", ReleaseMark::ByHand), ("by-radio", ReleaseMark::ByRadio), ("device", ReleaseMark::Device)];
/// `plan` holds the numbers already; `stated` says which of them were written.
pub(super) fn check(
    source: &Source<'_>,
    f: raw::File,
    mut plan: Plan,
    stated: &BTreeSet<String>,
    pipework: &Pipework,
) -> Result<PlanFile, Problem> {
    let mut notes = Vec::new();
    plan.visit = f.visit.as_ref().map(|v| choice(source, v, "a service visit", &Visit::NAMES)).transpose()?;
    plan.stages = stages::stages(source, f.stages.as_ref(), &plan, &mut notes)?;
    plan.holes.choice = hole_choice(source, f.holes.which.as_ref(), pipework)?;
    smoke(source, &f.smoke, pipework, &mut plan, stated, &mut notes)?;
    plan.checklist = checklist(source, f.checklist, plan.visit.is_some(), &mut notes)?;
    plan.outputs = supply::outputs(source, f.outputs)?;
    supply::supply(source, f.supply.calculation.as_ref(), &mut plan.supply, &mut notes)?;
    plan.outgoing = f.outgoing.map(|u| expected(source, u)).transpose()?;
    plan.replacement = expected(source, f.replacement)?;
    plan.suction_at = suction(source, f.suction.at.as_ref(), pipework)?;
    plan.instruments = instruments::instruments(source, &f.instruments, plan.advanced.smoke.longest_gap_s)?;
    plan.not_shown = f
        .not_shown
        .iter()
        .map(|name| choice(source, name, "something that a unit may leave unshown", &Untold::NAMES))
        .collect::<Result<_, _>>()?;
    let port = f.port;
    (plan.site, plan.technician, plan.invented) = (f.site, f.technician, f.invented);
    if !(stated.contains("flow.calibration_common") && stated.contains("flow.calibration_individual")) {
        notes.push("uncertainty of the unit's flow readings where none is stated: 3 % common, 2 % individual (common practice, no source)".to_owned());
    }
    let ports = super::ports::ports(source, &f.limits.port_obscuration)?;
    Ok(PlanFile { plan, ports, notes, port })
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
    plan: &mut Plan,
    stated: &BTreeSet<String>,
    notes: &mut Vec<String>,
) -> Result<(), Problem> {
    plan.smoke.at = match &s.at {
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
    plan.smoke.presence = presence(source, s.presence.as_ref(), pipework, &plan.holes.choice)?;
    if let Some(none) = s.levels_not_shown.iter().find(|n| *n.as_ref() == 0) {
        let remedy = "count levels from 1, the lowest";
        return Err(source.problem(Kind::Range, none.span(), "there is no alarm level 0", remedy));
    }
    plan.smoke.levels_not_shown = s.levels_not_shown.iter().map(|n| *n.as_ref()).collect();
    if let Some(name) = &s.mark {
        plan.smoke.mark = choice(source, name, "a way to mark the release", MARKS)?;
    }
    // How well a release is marked hangs on who or what marks it.
    if let Some(rule) = rules::find("smoke", "mark_uncertainty")
        && plan.smoke.mark == ReleaseMark::Device
        && !stated.contains(&rule.path())
        && let Some(limit) = rule.preset("by a device")
    {
        plan.set(rule, &limit);
    }
    Ok(())
}

/// The holes whose suction is read off a manometer.
fn suction(
    source: &Source<'_>,
    written: Option<&Spanned<raw::Which>>,
    pipework: &Pipework,
) -> Result<Vec<HoleRef>, Problem> {
    let Some(written) = written else { return Ok(Vec::new()) };
    match written.as_ref() {
        raw::Which::These(list) => holes(source, list, written, pipework),
        raw::Which::Word(w) if w == "none" => Ok(Vec::new()),
        raw::Which::Word(w) if w == "farthest" => Ok(farthest(pipework).into_iter().map(|(hole, _)| hole).collect()),
        raw::Which::Word(w) => {
            let cause = format!("{} is no choice of holes", quoted(w));
            let remedy = "write \"farthest\", \"none\", or a list such as [{ inlet = 1, hole = 9 }]";
            Err(source.problem(Kind::UnknownName, written.span(), cause, remedy))
        }
    }
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
    visit: bool,
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
        .filter(|c| !(visit && c.exchange))
        .map(|c| {
            let stage = stages::stage(source, &c.stage)?;
            Ok(ChecklistItem { stage, text: c.text, required: c.required, after: c.after })
        })
        .collect()
}
