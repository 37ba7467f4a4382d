//! What a description says of a unit's display and of what hands can do at it.
//!
//! Not here: the keys of the format, and what a person is asked (the detector crate).
use super::raw;
use crate::{
    error::{Kind as Wrong, Problem, Source, choices, quoted},
    units::{self, Dimension},
    written::{ReadOr, Spanned, choice},
};
use plumeline_base::{grid::Grid, obscuration::ObscurationUnit};
use plumeline_detector::{
    Faults,
    display::{FlowShown, Hands, Lamp, Scale, Shows},
    vocabulary::{DRIVE_S, FlowBasis, WHOLE_M3_S},
};
use plumeline_unit::{
    Description,
    description::{FlowReading, Kind},
};
use std::{collections::BTreeSet, ops::Range, time::Duration};

/// Longest name of a lamp, and words that say how something is done.
const LONGEST: usize = 100;
/// Most lamps: as many as fit one question.
const MOST_LAMPS: usize = 48;

pub(super) const SHOWN_FOR: &[(&str, bool)] = &[("each inlet", true), ("all inlets", false)];

/// What lamps can stand for, but for those that name a number.
const STANDS_FOR: &[(&str, Lamp)] = &[
    ("fault", Lamp::AnyFault),
    ("flow fault", Lamp::Fault(Faults::FLOW)),
    ("fan fault", Lamp::Fault(Faults::FAN)),
    ("sensor fault", Lamp::Fault(Faults::SENSOR)),
    ("supply fault", Lamp::Fault(Faults::SUPPLY)),
    ("battery fault", Lamp::Fault(Faults::BATTERY)),
    ("settings fault", Lamp::Fault(Faults::SETTINGS)),
    ("no baseline", Lamp::Fault(Faults::NO_BASELINE)),
    ("cover open", Lamp::Fault(Faults::COVER)),
    ("filter due", Lamp::Fault(Faults::FILTER)),
    ("other fault", Lamp::Fault(Faults::OTHER)),
    ("inhibited", Lamp::Inhibited),
    ("starting", Lamp::Starting),
];
/// Those that name one, for remedies.
const NUMBERED: [&str; 5] = ["level 1", "output 1", "flow 1", "flow 1 low", "flow 1 high"];

/// Reads the table.
pub(super) fn display(source: &Source<'_>, raw: &raw::Display, d: &Description) -> Result<(Shows, Hands), Problem> {
    let shows = Shows {
        flow: raw.flow.as_ref().map(|f| flow(source, f.as_ref(), d)).transpose()?,
        smoke: raw.smoke.as_ref().map(|s| smoke(source, s.as_ref())).transpose()?,
        smoke_averaged: raw
            .smoke
            .as_ref()
            .map_or(Ok(0.0), |s| s.as_ref().averaged.read_or(source, 0.0))
            .map(Duration::from_secs_f64)?,
        lamps: lamps(source, raw, d)?,
        baseline: raw.baseline.as_ref().map(|f| flow(source, f.as_ref(), d)).transpose()?,
        settings: raw.settings,
        clock: raw.clock,
    };
    let hands = by_hand(source, &raw.by_hand)?;
    let nobody_reads = |what: &str, span: Range<usize>| {
        let cause = format!("{what} can be entered by hand, but the display shows nothing of it");
        Err(source.problem(
            Wrong::Conflict,
            span,
            cause,
            "add `settings = true` or `clock = true` to [display], or take this out",
        ))
    };
    match &raw.by_hand {
        raw::ByHand { settings: Some(how), .. } if !raw.settings => return nobody_reads("settings", how.span()),
        raw::ByHand { clock: Some(how), .. } if !raw.clock => return nobody_reads("date and time", how.span()),
        _ => {}
    }
    Ok((shows, hands))
}

fn scale(
    source: &Source<'_>,
    unit: &Spanned<String>,
    step: &Spanned<f64>,
    range: &Spanned<(f64, f64)>,
) -> Result<Scale, Problem> {
    let (low, high) = *range.as_ref();
    if !(low.is_finite() && high.is_finite() && low < high) {
        return Err(source.problem(Wrong::Range, range.span(), "this is no range", "write [least, greatest]"));
    }
    if Grid::of(*step.as_ref()).is_none() || *step.as_ref() > high - low {
        let remedy = "write a number over 0 with at most nine decimals, less than the range";
        return Err(source.problem(Wrong::Range, step.span(), "this is no step", remedy));
    }
    Ok(Scale { unit: unit.as_ref().clone(), range: (low, high), step: Some(*step.as_ref()) })
}

fn flow(source: &Source<'_>, f: &raw::Flow, d: &Description) -> Result<FlowShown, Problem> {
    let scale = scale(source, &f.unit, &f.step, &f.range)?;
    let share = scale.unit == "%";
    let m3_s = match units::parse(Dimension::Flow, &format!("1 {}", scale.unit)) {
        _ if share => WHOLE_M3_S / 100.0,
        Ok(m3_s) => m3_s,
        Err(_) => {
            let known: Vec<&str> = units::of(Dimension::Flow).filter(|u| u.is_ascii()).chain(["%"]).collect();
            let cause = format!("{} is no unit of a flow", quoted(&scale.unit));
            let remedy = format!(
                "use one of {}; \"%\" is a share of the unit's own normal flow",
                choices(known.iter().copied())
            );
            return Err(source.problem(Wrong::Unit, f.unit.span(), cause, remedy));
        }
    };
    let refers = [f.reference_temperature.as_ref().map(|t| t.span()), f.reference_pressure.as_ref().map(|p| p.span())];
    let by_reference = d.flow == FlowReading::Reference && !share;
    let basis = match (&f.reference_temperature, &f.reference_pressure) {
        (Some(t), Some(p)) if by_reference => {
            let (t, p) = (t.read(source)?, p.read(source)?);
            FlowBasis::Reference { temperature_mc: (t * 1e3).round() as i32, pressure_pa: p.round() as u32 }
        }
        _ if by_reference => {
            let cause = "nothing says which conditions this flow refers to";
            let remedy = "add `reference_temperature = \"0 degC\"` and `reference_pressure = \"1013.25 hPa\"`";
            return Err(source.problem(Wrong::MissingKey, f.unit.span(), cause, remedy));
        }
        _ => match refers.into_iter().flatten().next() {
            Some(span) => {
                let cause = "this flow does not refer to reference conditions";
                return Err(source.problem(Wrong::Conflict, span, cause, "take it out, or correct `flow_reading`"));
            }
            None if share => FlowBasis::Share,
            None => FlowBasis::Actual,
        },
    };
    let per_inlet =
        f.shown_for.as_ref().map_or(Ok(true), |s| choice(source, s, "what a number stands for", SHOWN_FOR))?;
    let renewed = Duration::from_secs_f64(f.renewed.read_or(source, 0.0)?);
    Ok(FlowShown { scale, m3_s, basis, per_inlet, meter: None, renewed })
}

fn smoke(source: &Source<'_>, s: &raw::Smoke) -> Result<(Scale, ObscurationUnit), Problem> {
    let of = ObscurationUnit::parse(s.unit.as_ref()).ok_or_else(|| {
        let cause = format!("{} is no unit of obscuration", quoted(s.unit.as_ref()));
        source.problem(Wrong::Unit, s.unit.span(), cause, "use one of \"%/m\", \"%/ft\", \"dB/m\"")
    })?;
    Ok((scale(source, &s.unit, &s.step, &s.range)?, of))
}

fn lamps(source: &Source<'_>, raw: &raw::Display, d: &Description) -> Result<Vec<(String, Lamp)>, Problem> {
    let mut seen = BTreeSet::new();
    let mut lamps = Vec::new();
    for (name, stands_for) in &raw.lamps {
        let at = |cause: String, remedy: &str| Err(source.problem(Wrong::Range, stands_for.span(), cause, remedy));
        let plain = !name.trim().is_empty() && name.len() <= LONGEST && !name.contains([',', ';']);
        if !plain
            || name.chars().any(char::is_control)
            || ["none", "nothing", "no"].contains(&name.trim().to_lowercase().as_str())
        {
            let cause = format!("{} is no name that a person could type in a list", quoted(name));
            return at(cause, "write what is written at the lamp, without commas; not \"none\"");
        }
        if !seen.insert(name.to_lowercase()) || lamps.len() == MOST_LAMPS {
            return at(format!("{} stands twice, or there are too many", quoted(name)), "keep one; at most 48");
        }
        lamps.push((name.trim().to_owned(), lamp(source, stands_for, d)?));
    }
    // Without a lamp for any fault, dark lamps do not show that no fault stands.
    let of_fault = |l: &Lamp| matches!(l, Lamp::Fault(_) | Lamp::Flow { .. });
    let any = lamps.iter().any(|(_, l)| *l == Lamp::AnyFault);
    match raw.lamps.iter().zip(&lamps).find(|(_, (_, l))| !any && of_fault(l)) {
        Some(((_, stands_for), _)) => {
            let cause = "there are lamps for faults, but none that is lit at any fault: dark ones would show nothing";
            let remedy = "add the lamp or line that shows any fault, such as `FAULT = \"fault\"`";
            Err(source.problem(Wrong::MissingKey, stands_for.span(), cause, remedy))
        }
        None => Ok(lamps),
    }
}

fn lamp(source: &Source<'_>, text: &Spanned<String>, d: &Description) -> Result<Lamp, Problem> {
    if let Some((_, lamp)) = STANDS_FOR.iter().find(|(name, _)| name == text.as_ref()) {
        return Ok(*lamp);
    }
    let mut words = text.as_ref().split(' ');
    let (what, number, side) = (words.next().unwrap_or_default(), words.next().unwrap_or_default(), words.next());
    let number = number.parse::<u8>().ok().filter(|n| *n > 0 && words.next().is_none());
    let (lamp, most) = match (what, number, side) {
        ("level", Some(n), None) => (Lamp::Level(n), d.levels.min(n)),
        ("output", Some(n), None) => (Lamp::Output(n), u8::try_from(d.outputs.len()).unwrap_or(u8::MAX).min(n)),
        ("flow", Some(inlet), None) => (Lamp::Flow { inlet, low: true, high: true }, d.inlets.1.min(inlet)),
        ("flow", Some(inlet), Some("low")) => (Lamp::Flow { inlet, low: true, high: false }, d.inlets.1.min(inlet)),
        ("flow", Some(inlet), Some("high")) => (Lamp::Flow { inlet, low: false, high: true }, d.inlets.1.min(inlet)),
        _ => {
            let cause = format!("{} is nothing that a lamp stands for", quoted(text.as_ref()));
            let remedy = format!("use one of {}", choices(STANDS_FOR.iter().map(|(name, _)| *name).chain(NUMBERED)));
            return Err(source.problem(Wrong::UnknownName, text.span(), cause, remedy));
        }
    };
    if number != Some(most) {
        let cause = format!("{} is beyond what the unit has", quoted(text.as_ref()));
        return Err(source.problem(
            Wrong::Conflict,
            text.span(),
            cause,
            "correct it, or levels, outputs and inlets above",
        ));
    }
    Ok(lamp)
}

fn by_hand(source: &Source<'_>, raw: &raw::ByHand) -> Result<Hands, Problem> {
    let how = |text: &Option<Spanned<String>>| match text {
        Some(t)
            if t.as_ref().trim().is_empty()
                || t.as_ref().len() > LONGEST
                || t.as_ref().chars().any(char::is_control) =>
        {
            let remedy = "write in at most 100 characters what a person does at the unit, such as \"hold SET for 5 s\"";
            Err(source.problem(Wrong::Range, t.span(), "this does not say how it is done", remedy))
        }
        text => Ok(text.as_ref().map(|t| t.as_ref().trim().to_owned())),
    };
    let lasts = Duration::from_secs_f64(raw.test_lasts.read_or(source, f64::from(DRIVE_S))?);
    if let (Some(lasts), None) = (&raw.test_lasts, &raw.test_output) {
        let cause = "nothing says how an output is operated for test";
        return Err(source.problem(
            Wrong::Conflict,
            lasts.span(),
            cause,
            "add `test_output = \"...\"`, or take this out",
        ));
    }
    Ok(Hands {
        baseline: how(&raw.baseline)?,
        reset: how(&raw.reset)?,
        restart: how(&raw.restart)?,
        settings: how(&raw.settings)?,
        clock: how(&raw.clock)?,
        test_output: how(&raw.test_output)?.map(|how| (how, lasts)),
        inhibit: how(&raw.inhibit)?,
    })
}

/// Settings that are shown can be read: bytes can't.
pub(super) fn readable(source: &Source<'_>, f: &raw::File, d: &Description) -> Result<(), Problem> {
    let shown = d.display.as_ref().is_some_and(|(shows, _)| shows.settings);
    let bytes = d.slots.iter().find(|slot| shown && matches!(slot.kind, Kind::Bytes { .. }));
    let Some(at) = bytes.and_then(|_| f.item.iter().find(|i| i.as_ref().takes.as_ref() == "bytes")) else {
        return Ok(());
    };
    let cause = "the display shows the settings, but nobody can read these bytes";
    Err(source.problem(
        Wrong::Conflict,
        at.as_ref().takes.span(),
        cause,
        "take the item out, or `settings` out of [display]",
    ))
}
