//! The instruments of a plan: names, certificates and dates, checked.
//!
//! Not here: what an instrument's number is worth (the procedure's).
use super::{MAX_ENTRIES, raw};
use crate::{
    error::{Kind as Wrong, Problem, Source, quoted},
    units::Dimension,
    written::{Bounded, Bounds, Q, ReadOr, Spanned, choice},
};
use plumeline_detector::display::Scale;
use plumeline_procedure::instrument::{Day, Instrument, Kind, Measurand, Place, Stores, UNITS};
use std::ops::Range;
use time::{OffsetDateTime, format_description::well_known::Rfc3339};

/// See [`raw::Instrument`].
#[derive(Clone, Debug)]
pub(super) struct RelativeUncertainty;
impl Bounded for RelativeUncertainty {
    const BOUNDS: Bounds =
        Bounds::new(Dimension::Ratio, 0.0, 0.5, "an instrument's uncertainty", "a share from \"0 %\" to \"50 %\"");
}

/// See [`raw::Instrument`].
#[derive(Clone, Debug)]
pub(super) struct Interval;
impl Bounded for Interval {
    const BOUNDS: Bounds = Bounds::new(
        Dimension::Time,
        0.001,
        60.0,
        "a logger's interval",
        "a time from \"0.001 s\" to \"60 s\", such as \"1 s\"",
    );
}
/// See [`raw::Instrument`].
#[derive(Clone, Debug)]
pub(super) struct Lag;
impl Bounded for Lag {
    const BOUNDS: Bounds = Bounds::new(Dimension::Time, 0.0, 60.0, "a logger's lag", "a time from \"0 s\" to \"60 s\"");
}
/// Orders of dates, by their names in plans.
pub(super) const DATES: [(&str, ()); 3] = [("day-first", ()), ("month-first", ()), ("year-first", ())];
/// Decimal marks.
pub(super) const MARKS_OF_DECIMALS: [(&str, ()); 2] = [("point", ()), ("comma", ())];
/// Units of times.
pub(super) const TIME_UNITS: [(&str, ()); 6] = [("us", ()), ("ms", ()), ("s", ()), ("min", ()), ("h", ()), ("d", ())];

/// `longest_gap_s`: readings of smoke that are further apart are a gap.
pub(super) fn instruments(
    source: &Source<'_>,
    list: &[raw::Instrument],
    longest_gap_s: f64,
) -> Result<Vec<Instrument>, Problem> {
    if let Some(first) = list.get(MAX_ENTRIES) {
        let cause = format!("the plan names more than {MAX_ENTRIES} instruments");
        return Err(source.problem(Wrong::TooLarge, first.name.span(), cause, "name those that are used"));
    }
    let mut all: Vec<Instrument> = Vec::new();
    for raw in list {
        let name = raw.name.as_ref().trim();
        if name.is_empty() || all.iter().any(|i| i.name == name) {
            let cause = format!("{} is no name of its own", quoted(name));
            let remedy = "give each entry a name; a meter of two quantities has two, such as \"Meter 7, volts\" and \"Meter 7, amperes\"";
            return Err(source.problem(Wrong::Duplicate, raw.name.span(), cause, remedy));
        }
        let instrument = instrument(source, name, raw)?;
        if instrument.at == Place::Exhaust && all.iter().any(|i| i.at == Place::Exhaust) {
            let at = raw.at.as_ref().map_or_else(|| raw.name.span(), Spanned::span);
            let cause = "two meters sit at the exhaust; all flows of a job are read off one";
            return Err(source.problem(
                Wrong::Duplicate,
                at,
                cause,
                "name the one that is used: their readings do not mix",
            ));
        }
        if instrument.kind == Kind::Logger && all.iter().any(|i| i.kind == Kind::Logger) {
            let cause = "two loggers are named; the smoke of a job is read off one";
            return Err(source.problem(
                Wrong::Duplicate,
                raw.kind.span(),
                cause,
                "name the one that is on the unit's smoke signal",
            ));
        }
        if let Some(stores) = instrument.stores.as_ref().filter(|s| s.interval_s > longest_gap_s) {
            let cause = format!(
                "the logger stores a reading every {} s, and readings of smoke that are more than {longest_gap_s} s apart are a gap",
                stores.interval_s
            );
            let at = raw.interval.as_ref().map_or_else(|| raw.kind.span(), Q::span);
            return Err(source.problem(Wrong::Conflict, at, cause, "set it to store one every second, and write that"));
        }
        all.push(instrument);
    }
    Ok(all)
}

fn instrument(source: &Source<'_>, name: &str, raw: &raw::Instrument) -> Result<Instrument, Problem> {
    let kind = choice(source, &raw.kind, "a kind of instrument", &Kind::NAMES)?;
    let units = UNITS.map(|(unit, measures, si)| (unit, (measures, si)));
    let (measures, si): (Measurand, f64) = choice(source, &raw.unit, "a unit of an instrument", &units)?;
    let wrong = |span: Range<usize>, cause: String, remedy: &str| source.problem(Wrong::Range, span, cause, remedy);
    if !kind.measures(measures) {
        let cause = format!("a {} does not show {}", raw.kind.as_ref(), raw.unit.as_ref());
        return Err(wrong(raw.unit.span(), cause, "correct the kind or the unit"));
    }
    let (low, high) = *raw.range.as_ref();
    if !(low.is_finite() && high.is_finite() && low < high) {
        let remedy = "write the least and the greatest that it can show, such as [0.0, 60.0]";
        return Err(wrong(raw.range.span(), format!("{low} to {high} is no range"), remedy));
    }
    let step = *raw.resolution.as_ref();
    if !(step > 0.0 && step < high - low) {
        let remedy = "write the step of its last digit, above 0 and within its range";
        return Err(wrong(raw.resolution.span(), format!("{step} is no step of its display"), remedy));
    }
    let u = raw.uncertainty.as_ref().map_or(0.0, |u| *u.as_ref());
    let u_relative = raw.relative_uncertainty.read_or(source, 0.0)?;
    if !(u >= 0.0 && u < high - low) || u + u_relative == 0.0 {
        let span = raw.uncertainty.as_ref().map_or_else(|| raw.name.span(), Spanned::span);
        let remedy = "write the standard uncertainty of its certificate as `uncertainty` (in its unit), `relative_uncertainty`, or both; an expanded one is divided by its k";
        return Err(wrong(span, format!("nothing says how sure {} is", quoted(name)), remedy));
    }
    let (calibrated, due) = (day(source, &raw.calibrated)?, day(source, &raw.due)?);
    if due.begins_ms < calibrated.begins_ms {
        let cause = format!("it is due on {}, before it was calibrated on {}", due.text, calibrated.text);
        return Err(wrong(raw.due.span(), cause, "correct the dates from its certificate"));
    }
    let at =
        raw.at.as_ref().map_or(Ok(Place::Inlet), |at| choice(source, at, "a place of a flow meter", &Place::NAMES))?;
    if let Some(stated) = raw.at.as_ref().filter(|_| measures != Measurand::Flow) {
        let cause = format!("a {} sits at no inlet or exhaust: it measures no flow", raw.kind.as_ref());
        return Err(wrong(stated.span(), cause, "take `at` out, or correct the kind"));
    }
    let stores = match kind {
        Kind::Logger => Some(stores(source, raw)?),
        _ => {
            let stated = [
                raw.interval.as_ref().map(Q::span),
                raw.lag.as_ref().map(Q::span),
                raw.file.as_ref().map(Spanned::span),
            ];
            if let Some(span) = stated.into_iter().flatten().next() {
                let cause =
                    format!("a {} stores nothing: `interval`, `lag` and `file` are of a logger", raw.kind.as_ref());
                return Err(wrong(span, cause, "take it out, or correct the kind"));
            }
            None
        }
    };
    let scale = Scale { unit: raw.unit.as_ref().clone(), range: (low, high), step: Some(step) };
    let (name, serial) = (name.to_owned(), raw.serial.trim().to_owned());
    Ok(Instrument { name, kind, serial, measures, scale, si, u, u_relative, at, stores, calibrated, due })
}

/// What is stated of a logger and its files.
fn stores(source: &Source<'_>, raw: &raw::Instrument) -> Result<Stores, Problem> {
    let interval_s = raw.interval.read_or(source, 0.0)?;
    if interval_s == 0.0 {
        let cause = "nothing says how often the logger stores a reading";
        let remedy = "write it as `interval`, such as \"1 s\": smoke is timed by readings that are no further apart than `advanced.smoke.longest_gap`";
        return Err(source.problem(Wrong::MissingKey, raw.kind.span(), cause, remedy));
    }
    let mut stores = Stores { interval_s, lag_s: raw.lag.read_or(source, 0.0)?, ..Stores::default() };
    if let Some(file) = raw.file.as_ref().map(Spanned::as_ref) {
        let one_of = |written: &Option<Spanned<String>>, what: &str, names: &[(&'static str, ())]| {
            let picked = written.as_ref().map(|w| choice(source, w, what, names).map(|()| w.as_ref().clone()));
            picked.transpose()
        };
        stores.dates = one_of(&file.dates, "an order of dates", &DATES)?;
        stores.decimal = one_of(&file.decimal, "a decimal mark", &MARKS_OF_DECIMALS)?;
        stores.time_unit = one_of(&file.time_unit, "a unit of times", &TIME_UNITS)?;
        (stores.time, stores.column) = (file.time.clone(), file.column.clone());
        (stores.gaps, stores.encoding) = (file.gaps.clone(), file.encoding.clone());
    }
    Ok(stores)
}

fn day(source: &Source<'_>, written: &Spanned<String>) -> Result<Day, Problem> {
    let text = written.as_ref();
    let begins = OffsetDateTime::parse(&format!("{text}T00:00:00Z"), &Rfc3339).ok();
    let begins_ms = begins.and_then(|t| u64::try_from(t.unix_timestamp() * 1000).ok());
    let begins_ms = begins_ms.ok_or_else(|| {
        let cause = format!("{} is no day", quoted(text));
        source.problem(Wrong::Syntax, written.span(), cause, "write year, month and day, such as \"2026-03-02\"")
    })?;
    Ok(Day { text: text.clone(), begins_ms })
}
