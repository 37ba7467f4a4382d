//! The carry-over itself: old settings and two descriptions in, an account of every item out.
//!
//! Nothing is defaulted: what no old item answers, what two models say differently and what would change what the site is
//! protected by waits for a person. Not here: files.
mod book;
mod express;
mod rows;
mod warn;

use crate::{
    account::{Account, Open},
    decision::{About, Choice, Decision, DecisionFault},
    description::Description,
    holes,
    maps::{self, Map},
    meaning::Meaning,
    neutral::Seen,
    number,
};
use alloc::{format, string::String, vec, vec::Vec};
use book::Book;
use plumeline_airflow::SolveOptions;
use plumeline_base::{
    obscuration::{Extinction, ObscurationUnit},
    pipework::Pipework,
};
use plumeline_detector::settings::Settings;

/// What is carried over, from what to what.
#[derive(Clone, Copy, Debug)]
pub struct Carry<'a> {
    /// The captured settings.
    pub old: &'a Settings,
    /// The capture holds every item that the unit has, as the unit's own list of them proves.
    pub complete: bool,
    /// The old unit's model.
    pub from: &'a Description,
    /// The new unit's model.
    pub to: &'a Description,
    /// What was decided.
    pub decisions: &'a [Decision],
    /// The pipework, with the pipes in the inlets of the new unit.
    pub pipework: &'a Pipework,
    /// How its airflow is computed.
    pub options: &'a SolveOptions,
    /// What a port may need, by level of the new unit.
    pub ports: &'a [PortLimit],
}

/// The most obscuration that a port may need for a level.
#[derive(Clone, Debug, PartialEq)]
pub struct PortLimit {
    /// Level of the new unit.
    pub level: u8,
    /// The obscuration, in `unit`.
    pub value: f64,
    /// Its unit.
    pub unit: ObscurationUnit,
    /// What it is and where it comes from.
    pub source: String,
    /// How well that is known, in plain words.
    pub known: String,
}

/// Carries the settings over. The same input gives the same account, bit for bit.
///
/// # Errors
/// A decision that does not fit: about an item that there is not, a value that the unit does not take, two about the same
/// item. An account with open decisions is no error.
pub fn carry(c: &Carry<'_>) -> Result<Account, DecisionFault> {
    let book = Book::new(c.decisions)?;
    let old = Seen::of(c.old, c.from);
    let inlets = c.pipework.inlets.iter().map(|i| i.number).max().unwrap_or(0);
    book.check_keys(c, inlets)?;
    let levels = maps::levels(&old, c.to, book.levels())?;
    let mut piped: Vec<u8> = c.pipework.inlets.iter().filter(|i| i.node.is_some()).map(|i| i.number).collect();
    piped.sort_unstable();
    let pipes = maps::inlets(&old, &piped, book.inlets())?;
    let outputs = maps::outputs(&old, c.from, c.to, &levels, book.outputs())?;
    let mut account = Account::default();
    whole(c, &old, &book, &mut account);
    if !(c.to.inlets.0..=c.to.inlets.1).contains(&inlets) {
        account.warnings.push(format!(
            "pipework.toml gives the unit {inlets} inlets, but a {} has {} to {}: correct `inlets` under [unit]",
            c.to.model, c.to.inlets.0, c.to.inlets.1
        ));
    }
    for open in [&levels.open, &pipes.open, &outputs.map.open].into_iter().flatten() {
        account.open.push(open.clone());
    }
    account.holes = at_holes(c, &old, &book, &mut account.remarks);
    let maps = Maps { levels, pipes, outputs };
    rows::rows(c, &old, &maps, &book, inlets, &mut account)?;
    warn::levels_at_holes(c, &old, &maps.levels, &mut account);
    warn::warnings(c, &old, &mut account);
    warn::wiring(c, &old, &maps, &mut account);
    Ok(account)
}

/// What belongs together, by its kind.
pub(crate) struct Maps {
    pub(crate) levels: Map,
    pub(crate) pipes: Map,
    pub(crate) outputs: maps::Outputs,
}

/// A capture that is not whole can't be carried over unseen.
fn whole(c: &Carry<'_>, old: &Seen<'_>, book: &Book<'_>, account: &mut Account) {
    let mut why = Vec::new();
    if !c.complete {
        why.push("the document does not say that it holds every item of the unit".into());
    }
    if !old.missing.is_empty() {
        let shown: Vec<&str> = old.missing.iter().take(5).map(String::as_str).collect();
        let more = if old.missing.len() > 5 { " and others" } else { "" };
        why.push(format!(
            "{} items that a {} has are not in it ({}{more})",
            old.missing.len(),
            c.from.model,
            shown.join(", ")
        ));
    }
    if why.is_empty() {
        return;
    }
    let why = format!("the captured settings are not whole: {}", why.join("; "));
    match book.capture() {
        Some((_, d)) => account.warnings.push(format!("{why}; carried over all the same, by {}: {}", d.name, d.reason)),
        None => account.open.push(Open { about: About::Capture, why, choices: vec![Choice::GoOn] }),
    }
}

/// The share of full speed of a fan: by its setting, or full where it has none to set.
fn speed(of: &Description, setting: Option<f64>) -> Option<f64> {
    let air = of.air.as_ref()?;
    match (air.speeds.is_empty(), setting) {
        (true, _) => Some(1.0),
        (false, Some(setting)) => air.speed(setting),
        (false, None) => None,
    }
}

fn at_holes(
    c: &Carry<'_>,
    old: &Seen<'_>,
    book: &Book<'_>,
    remarks: &mut Vec<String>,
) -> Option<crate::account::Holes> {
    let mut cannot = |why: String| {
        remarks.push(format!("Thresholds were not compared at the holes: {why}."));
        None
    };
    let (Some(old_air), Some(new_air)) = (&c.from.air, &c.to.air) else {
        return cannot("a description does not state its air path".into());
    };
    let Some(old_speed) = speed(c.from, old.number(Meaning::Fan)) else {
        return cannot("the old unit's fan speed is not known".into());
    };
    let (setting, assumed) = rows::fan_setting(c, old, book).unwrap_or_default();
    let Some(new_speed) = speed(c.to, setting) else {
        return cannot("the new unit's fan speed is not known".into());
    };
    match holes::compare(c.pipework, (old_air, old_speed), (new_air, new_speed), c.options) {
        Ok(holes) => {
            if assumed {
                remarks.push(
                    "The new unit's fan setting is open; its holes were computed at the setting that is proposed."
                        .into(),
                );
            }
            Some(holes)
        }
        Err(why) => cannot(why),
    }
}

/// Extinction of a port limit, 1/m.
pub(crate) fn limit_extinction(limit: &PortLimit) -> Option<f64> {
    Extinction::from_stated(limit.value, limit.unit).map(|e| e.0)
}

/// An extinction in words, in this unit.
pub(crate) fn obscuration(extinction: f64, unit: ObscurationUnit) -> String {
    format!("{} {unit}", number::short(Extinction(extinction).stated(unit), 4))
}
