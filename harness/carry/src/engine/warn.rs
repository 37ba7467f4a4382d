//! What a reader of the account should not miss: thresholds at the holes, limits of ports, contacts; and the wiring sheet.
use super::{Carry, Maps, limit_extinction, obscuration};
use crate::{
    account::{Account, AtMost, LevelAtHoles, Terminal, Wire},
    description::{FlowReading, Kind, Output},
    maps::{Map, old_contact, old_function},
    meaning::{Function, Meaning},
    neutral::{Seen, Sense, sense},
    number::short,
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use plumeline_base::{obscuration::ObscurationUnit, quantity::M3_S_PER_L_MIN};

/// Air paths that differ by less in their flow are the same.
const SAME_FLOW: f64 = 0.02;

/// What the new unit's item with this meaning came to.
fn came_to(c: &Carry<'_>, account: &Account, meaning: Meaning) -> Option<Sense> {
    let slot = c.to.meaning(meaning)?;
    let new = account.rows.iter().filter_map(|r| r.new.as_ref()).find(|n| n.key == slot.key)?;
    sense(new.item.as_ref()?, slot).ok()
}

pub(super) fn levels_at_holes(c: &Carry<'_>, old: &Seen<'_>, levels: &Map, account: &mut Account) {
    let Some(holes) = &account.holes else { return };
    let mut all = Vec::new();
    for item in &old.items {
        let (Meaning::Threshold { set, level }, Sense::Number(before)) = (item.meaning, &item.sense) else { continue };
        let Some(new) = levels.new_of(level) else { continue };
        let Some(Sense::Number(after)) = came_to(c, account, Meaning::Threshold { set, level: new }) else { continue };
        let limit = c.ports.iter().find(|p| p.level == new).and_then(|p| {
            let says = format!("{} {} ({}; {})", p.value, p.unit, p.source, p.known);
            Some(AtMost { extinction: limit_extinction(p)?, says })
        });
        all.push(holes.level(set, (level, new), *before, after, limit));
    }
    all.sort_by_key(|l| (l.set, l.new_level));
    if let Some(holes) = &mut account.holes {
        holes.levels = all;
    }
}

/// The unit in which the new unit states obscuration.
pub(crate) fn new_unit(c: &Carry<'_>) -> ObscurationUnit {
    let thresholds = c.to.slots.iter().filter(|s| matches!(s.meaning, Meaning::Threshold { .. }));
    let units = thresholds.filter_map(|s| match &s.kind {
        Kind::Number { unit: Some(u), .. } => ObscurationUnit::parse(u),
        _ => None,
    });
    units.into_iter().next().unwrap_or(ObscurationUnit::PercentPerMetre)
}

fn level_name(l: &LevelAtHoles) -> String {
    if l.set == 1 { format!("Level {}", l.new_level) } else { format!("Set {}, level {}", l.set, l.new_level) }
}

pub(super) fn warnings(c: &Carry<'_>, old: &Seen<'_>, account: &mut Account) {
    let unit = new_unit(c);
    let mut warnings = Vec::new();
    if let Some(holes) = &account.holes {
        for l in &holes.levels {
            let worse: Vec<usize> = l.worse().collect();
            // The worst of them is the one that grows most.
            let growth = |i: &usize| {
                let n = l.needs.get(*i).copied();
                n.map_or(0.0, |n| n.after.unwrap_or(f64::INFINITY) / n.before.unwrap_or(f64::INFINITY))
            };
            let most = worse.iter().max_by(|a, b| growth(a).total_cmp(&growth(b)));
            if let Some((hole, need)) = most.and_then(|i| Some((holes.holes.get(*i)?, l.needs.get(*i)?))) {
                let say = |k: Option<f64>| k.map_or_else(|| "no smoke is drawn".into(), |k| obscuration(k, unit));
                warnings.push(format!(
                    "{} needs more smoke than before at {} of {} holes; most at hole {} of pipe {}: {}, before {}.",
                    level_name(l),
                    worse.len(),
                    l.needs.len(),
                    hole.number,
                    hole.inlet,
                    say(need.after),
                    say(need.before),
                ));
            }
            let beyond = l.beyond().count();
            if let (Some(limit), Some(worst)) = (&l.limit, l.worst().filter(|_| beyond > 0))
                && let (Some(hole), Some(need)) = (holes.holes.get(worst), l.needs.get(worst))
            {
                let needs =
                    need.after.map_or_else(|| "draws nothing".into(), |k| format!("needs {}", obscuration(k, unit)));
                warnings.push(format!(
                    "{} at {beyond} of {} holes is beyond the job's limit for a port, {}; hole {} of pipe {} {needs}.",
                    level_name(l),
                    l.needs.len(),
                    limit.says,
                    hole.number,
                    hole.inlet,
                ));
            }
        }
        let l_min = |m3_s: f64| short(m3_s / M3_S_PER_L_MIN, 3);
        account.remarks.push(format!(
            "Computed with {} L/min through the old unit and {} L/min through the new one, clean air from all other holes.",
            l_min(holes.flow_before_m3_s),
            l_min(holes.flow_after_m3_s)
        ));
        if let Ok(own) = plumeline_airflow::solve(c.pipework, c.options) {
            let differs = libm::fabs(own.total_flow_m3_s / holes.flow_after_m3_s - 1.0);
            if differs > SAME_FLOW {
                warnings.push(format!(
                    "The unit under [unit] in pipework.toml draws {} L/min, the described {} at its setting {} L/min: one of \
                     the two is not the new unit.",
                    l_min(own.total_flow_m3_s),
                    c.to.model,
                    l_min(holes.flow_after_m3_s)
                ));
            }
        }
    }
    rising(c, account, &mut warnings);
    if c.from.flow != c.to.flow && old.get(Meaning::FlowLow).is_some() {
        let words = |f: FlowReading| match f {
            FlowReading::Actual => "the volume of the air as it is",
            FlowReading::Reference => "the volume at reference conditions",
        };
        account.remarks.push(format!(
            "Flow bands: the old unit's per cent are of {}, the new unit's of {}. They are alike only while the air keeps its \
             temperature and pressure.",
            words(c.from.flow),
            words(c.to.flow)
        ));
    }
    account.remarks.push(
        "Same computed hole obscuration is not the same protection: sensing principles answer one smoke differently, and the \
         new unit's listed class and number of holes decide."
            .into(),
    );
    account.warnings.append(&mut warnings);
}

/// Thresholds that do not rise from level to level are refused by units, and make no sense.
fn rising(c: &Carry<'_>, account: &Account, warnings: &mut Vec<String>) {
    for set in 1..=8 {
        let threshold = |level| match came_to(c, account, Meaning::Threshold { set, level }) {
            Some(Sense::Number(k)) => Some(k),
            _ => None,
        };
        for level in 2..=c.to.levels {
            if let (Some(low), Some(high)) = (threshold(level - 1), threshold(level))
                && low >= high
            {
                warnings.push(format!("The threshold of level {level} is not above that of level {}.", level - 1));
            }
        }
    }
}

fn terminal(output: &Output, function: Function, contact: crate::meaning::Contact) -> Terminal {
    Terminal {
        output: output.number,
        terminals: output.terminals.clone(),
        function,
        contact,
        energised_at_rest: output.energised_at_rest,
    }
}

/// Which wires go where. Outputs that nothing follows have none.
pub(super) fn wiring(c: &Carry<'_>, old: &Seen<'_>, maps: &Maps, account: &mut Account) {
    let new_side = |n: u8| {
        let output = c.to.output(n)?;
        let function = match came_to(c, account, Meaning::OutputFunction(n)) {
            Some(Sense::Function(f)) => f,
            _ => output.fixed.unwrap_or(Function::Nothing),
        };
        let contact = match came_to(c, account, Meaning::OutputContact(n)) {
            Some(Sense::Contact(contact)) => contact,
            _ => output.contact,
        };
        Some(terminal(output, function, contact))
    };
    let mut wires = Vec::new();
    for output in &c.from.outputs {
        let function = old_function(old, output);
        if function == Function::Nothing {
            continue;
        }
        let from = terminal(output, function, old_contact(old, output));
        let to = maps.outputs.map.new_of(output.number).and_then(new_side).filter(|t| t.function != Function::Nothing);
        let mut mind = Vec::new();
        match &to {
            None => mind.push("goes nowhere: make the wires safe and tell the panel's keeper".to_string()),
            Some(to) => {
                if to.output != from.output {
                    mind.push("another output".to_string());
                }
                if to.contact != from.contact {
                    mind.push(format!("contact {}, before {}", to.contact, from.contact));
                }
                if to.energised_at_rest != from.energised_at_rest {
                    let how = if to.energised_at_rest { "energised" } else { "not energised" };
                    mind.push(format!("{how} at rest, unlike before: closed and open swap without power"));
                }
            }
        }
        wires.push(Wire { from: Some(from), to, mind });
    }
    for output in &c.to.outputs {
        let taken = wires.iter().filter_map(|w: &Wire| w.to.as_ref()).any(|t| t.output == output.number);
        if let Some(to) = new_side(output.number).filter(|t| !taken && t.function != Function::Nothing) {
            wires.push(Wire {
                from: None,
                to: Some(to),
                mind: Vec::from(["new: nothing was wired for it".to_string()]),
            });
        }
    }
    account.wiring = wires;
}
