//! The file of a logger on the unit's smoke signal: its clock tied to the log's by the marks of a person, what it must hold before
//! anything is read off it, and whether what it shows can be so beside what a person marked.
//!
//! A logger's times are of its own clock, written in steps: a mark is an exchange of time stamps whose length is that of a press
//! ([`plumeline_measure::clock`]), and a reading is known to a step. Not here: how a file is read, and how it is asked for.
use super::smoke::SmokeSeen;
use crate::{
    instrument::{Instrument, Stores},
    rules::advanced::LoggerRules,
};
use alloc::{format, string::String, vec::Vec};
use core::time::Duration;
use libm::{fabs, hypot, round, sqrt};
use plumeline_base::{Instant, logger::LoggerFile, obscuration::Extinction, quantity::Estimate, time::seconds};
use plumeline_measure::{
    Error, Sample, clock,
    smoke::{self, Release, Rule},
};

const DAY_S: f64 = 86_400.0;
/// Times of a file begin here, us, so that what lies before its first row is no negative time.
const BASE_US: i64 = 1 << 52;

/// What was typed of a clock, and when.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Mark {
    pub(crate) at: Instant,
    pub(crate) text: String,
    shows: Shows,
}
/// What a clock shows.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Shows {
    s: f64,
    step_s: f64,
    /// It begins anew each day.
    of_day: bool,
    dated: bool,
}
impl Mark {
    /// Takes a time as it was typed. `Err`: it is none.
    pub(crate) fn read(at: Instant, text: &str, stores: &Stores) -> Result<Self, String> {
        let text = text.trim();
        let shows = of_day(text).or_else(|| counted(text, stores.time_unit.as_deref()));
        let shows = shows.ok_or_else(|| {
            format!("`{text}` is no time of a clock: type it as its file writes it, for example 14:05:30 or 2026-01-31 14:05:30")
        })?;
        Ok(Self { at, text: text.into(), shows })
    }
    /// Whether one clock can have shown both, this one first.
    pub(crate) fn agrees(&self, later: &Self, rules: &LoggerRules) -> bool {
        let passed = later.at.since(self.at).as_secs_f64();
        let mut off = later.shows.s - self.shows.s - passed;
        if self.shows.of_day != later.shows.of_day {
            return false;
        }
        if self.shows.of_day {
            off -= DAY_S * round(off / DAY_S);
        }
        let most = 2.0 * half_press_s(rules) + self.shows.step_s + later.shows.step_s + rules.most_drift * passed;
        fabs(off) <= most
    }
}
/// Half of what a press takes, as the bound of an even distribution (JCGM 100, 4.3.7).
fn half_press_s(rules: &LoggerRules) -> f64 {
    sqrt(3.0) * rules.mark_u_s
}

/// A time of day, or since a beginning, with colons: `14:05:30`, `2026-01-31 14:05:30,5`, `2:05:30 pm`.
fn of_day(text: &str) -> Option<Shows> {
    let of_clock = |c: char| c.is_ascii_digit() || matches!(c, ':' | '.' | ',');
    let clock = text.split(|c: char| !of_clock(c)).find(|part| part.contains(':'))?.trim_end_matches(['.', ',']);
    let mut parts = clock.splitn(3, ':').map(|p| p.replace(',', ".").parse::<f64>().ok().filter(|x| *x >= 0.0));
    let (first, second, third) = (parts.next()??, parts.next()??, parts.next());
    let third = match third {
        Some(read) => Some(read?),
        None => None,
    };
    let decimals = clock.rsplit_once(['.', ',']).map_or(0, |(_, d)| d.len().min(6));
    let fine = (0..decimals).fold(1.0, |step, _| step / 10.0);
    let (mut hours, minutes, s, step_s) = match third {
        Some(s) => (first, second, s, fine),
        // Two parts and a fraction are minutes and seconds.
        None if decimals > 0 => (0.0, first, second, fine),
        None => (first, second, 0.0, 60.0),
    };
    let lower = text.to_ascii_lowercase();
    let half = lower.find(clock).and_then(|at| lower.get(at + clock.len()..)).unwrap_or_default().trim_start();
    if half.starts_with('p') || half.starts_with('a') {
        hours = hours % 12.0 + if half.starts_with('p') { 12.0 } else { 0.0 };
    }
    let dated = text.replacen(clock, "", 1).chars().filter(char::is_ascii_digit).count() >= 3;
    (minutes < 60.0 || hours == 0.0).then_some(())?;
    (s < 60.0).then_some(Shows { s: (hours * 60.0 + minutes) * 60.0 + s, step_s, of_day: true, dated })
}
/// A number of its unit: seconds, where nothing else is said.
fn counted(text: &str, unit: Option<&str>) -> Option<Shows> {
    let unit_s = match unit.unwrap_or("s") {
        "us" => 1e-6,
        "ms" => 1e-3,
        "min" => 60.0,
        "h" => 3600.0,
        "d" => DAY_S,
        _ => 1.0,
    };
    let number = text.replace(',', ".").parse::<f64>().ok().filter(|x| x.is_finite())?;
    let decimals = text.rsplit_once(['.', ',']).map_or(0, |(_, d)| d.len().min(6));
    let fine = (0..decimals).fold(1.0, |step, _| step / 10.0);
    Some(Shows { s: number * unit_s, step_s: fine * unit_s, of_day: false, dated: false })
}

/// What a file must hold: from before a release until its smoke was stopped.
#[derive(Clone, Debug)]
pub(crate) struct Span {
    /// Which release, for people.
    pub(crate) words: String,
    /// Since then the air was clear.
    pub(crate) from: Instant,
    pub(crate) until: Instant,
}

/// A file whose clock is tied to the log's.
#[derive(Clone, Debug)]
pub(crate) struct Tied {
    /// In order: extinction, 1/m, by log time.
    samples: Vec<Sample>,
    /// Standard uncertainty of all its times together, s.
    pub(crate) u_s: f64,
    /// By how much its clock runs faster, parts in a million, by the marks.
    pub(crate) drift_ppm: f64,
}

/// By what a file is tied.
pub(crate) struct By<'a> {
    pub(crate) logger: &'a Instrument,
    pub(crate) marks: &'a [Mark],
    pub(crate) rules: &'a LoggerRules,
    /// Longest time between readings that is no gap, s.
    pub(crate) longest_gap_s: f64,
    /// The local time of this computer at the first mark, us since 1970, where it is known.
    pub(crate) local_us: Option<i64>,
}

/// Why a file can't be used, with what to do.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Refused {
    pub(crate) why: String,
    /// It is of these releases, and shows nothing.
    pub(crate) shows_nothing: bool,
}

/// Ties a file, and looks whether it holds what was released.
pub(crate) fn tie(file: &LoggerFile, spans: &[Span], by: &By<'_>) -> Result<Tied, Refused> {
    match tied(file, spans, by) {
        Ok(tied) if tied.shows_nothing(spans) => Err(Refused {
            why: "it stores one and the same reading over all releases: see that the logger is on the unit's smoke signal, and that the \
                  column is the right one"
                .into(),
            shows_nothing: true,
        }),
        Ok(tied) => Ok(tied),
        Err(why) => Err(Refused { why, shows_nothing: false }),
    }
}
fn tied(file: &LoggerFile, spans: &[Span], by: &By<'_>) -> Result<Tied, String> {
    let stated = &by.logger.scale.unit;
    if !same_unit(&file.unit, stated) {
        return Err(format!(
            "its column \"{}\" is in {}, and the plan says that {} stores {stated}: give the column of the smoke signal, in {stated}",
            file.column, file.unit, by.logger.name
        ));
    }
    let step_s = file.step_us as f64 * 1e-6;
    let tie = tie_of(file, by, step_s)?;
    if file.rows.is_empty() {
        return Err(format!(
            "it holds no reading about the marks of its clock ({} to {}); it begins at {}: give the file that was stored meanwhile",
            by.marks.first().map_or("-", |m| &m.text),
            by.marks.last().map_or("-", |m| &m.text),
            file.first
        ));
    }
    let placed = placed(file, by, &tie)?;
    let mut u_s = 0.0_f64;
    for span in spans {
        let here = within(&placed, span);
        covered(here, span, by.longest_gap_s)?;
        u_s = here.iter().fold(u_s, |u, (_, of)| u.max(*of));
    }
    let drift_ppm = tie.drift_ppm().map_or(0.0, |(drift, _)| drift);
    let samples = placed.into_iter().map(|(sample, _)| sample).collect();
    // A reading is of some moment within a step of its time, whichever way the logger rounds.
    Ok(Tied { samples, u_s: hypot(u_s, step_s / sqrt(3.0)), drift_ppm })
}

fn same_unit(told: &str, stated: &str) -> bool {
    let plain = |unit: &str| unit.split_whitespace().collect::<String>().to_lowercase().replace("%obs/", "%/");
    plain(told) == plain(stated)
}

/// The tie by all marks, each held against the others.
fn tie_of(file: &LoggerFile, by: &By<'_>, step_s: f64) -> Result<clock::Tie, String> {
    let mut tie = clock::Tie::new(clock::Rule {
        max_drift_ppm: by.rules.most_drift * 1e6,
        max_delay_s: 4.0 * half_press_s(by.rules),
        resolution_s: step_s.max(1e-6),
        reach_s: by.rules.reach_s,
    });
    let half = seconds(half_press_s(by.rules));
    for (k, mark) in by.marks.iter().enumerate() {
        let Some(at_us) = file.marks_us.get(k).copied().flatten() else {
            return Err(format!(
                "the mark `{}` is no time as this file writes them; its first is {}: give the file of the clock that was marked",
                mark.text, file.first
            ));
        };
        let device_us = u64::try_from(at_us.saturating_add(BASE_US)).unwrap_or(0);
        let exchange = clock::Exchange {
            sent: Instant::from_micros(mark.at.as_micros().saturating_sub(micros(half))),
            device_received_us: device_us,
            device_sent_us: device_us,
            received: mark.at + half,
        };
        match tie.push(&exchange) {
            Ok(_) => {}
            Err(Error::ClockJump { by_s, .. }) => {
                return Err(format!(
                    "its clock went {:.1} s too {} between the marks `{}` and `{}`: it was set meanwhile, or a mark was mistyped",
                    fabs(by_s),
                    if by_s > 0.0 { "far" } else { "little" },
                    by.marks.get(k.saturating_sub(1)).map_or("-", |m| &m.text),
                    mark.text
                ));
            }
            Err(error) => return Err(format!("its clock can't be tied by the mark `{}`: {error}", mark.text)),
        }
        // A time of day alone fits every day.
        if let (Some(first_us), false) = (file.dated_us, mark.shows.dated) {
            let Some(local_us) = by.local_us else {
                return Err(format!(
                    "its times have dates, the mark `{}` has none, and this computer's date is not known: mark the logger's clock with its date",
                    mark.text
                ));
            };
            let passed_us = by.marks.first().map_or(0, |first| micros(mark.at.since(first.at)) as i64);
            let off_s = fabs((first_us + at_us - local_us - passed_us) as f64 * 1e-6);
            if off_s > by.rules.another_day_s {
                return Err(format!(
                    "by its dates it is of another day: it begins at {}, which is {:.0} h off this computer's clock. Give the file of this job alone, or mark the logger's clock with its date",
                    file.first,
                    off_s / 3600.0
                ));
            }
        }
    }
    Ok(tie)
}
fn micros(d: Duration) -> u64 {
    u64::try_from(d.as_micros()).unwrap_or(u64::MAX)
}

/// Every reading by log time, with how sure that is, s. What lies too far from the marks is left out.
fn placed(file: &LoggerFile, by: &By<'_>, tie: &clock::Tie) -> Result<Vec<(Sample, f64)>, String> {
    let mut placed: Vec<(Sample, f64)> = Vec::with_capacity(file.rows.len());
    let mut last_us = None;
    for (at_us, value) in &file.rows {
        let after_s = *at_us as f64 * 1e-6;
        if let Some(last_us) = last_us.replace(*at_us).filter(|last| at_us <= last) {
            let back_s = (last_us - at_us) as f64 * 1e-6;
            return Err(match back_s {
                0.0 => format!(
                    "two of its rows have the same time, {after_s:.0} s after its first: let it store no more than one reading in each step of its times"
                ),
                _ => format!(
                    "its clock was set back by {back_s:.0} s, {after_s:.0} s after its first row: nothing that it stored can be placed"
                ),
            });
        }
        let Some(device_us) = at_us.checked_add(BASE_US).and_then(|us| u64::try_from(us).ok()) else { continue };
        let Ok(mapped) = tie.map(device_us) else { continue };
        let Some(Extinction(value)) = by.logger.extinction(*value) else {
            return Err(format!("{value} {}, {after_s:.0} s after its first row, is no obscuration", file.unit));
        };
        placed.push((Sample::new(mapped.at, value), mapped.u_s));
    }
    Ok(placed)
}

/// What of it lies in a span.
fn within<'a>(all: &'a [(Sample, f64)], span: &Span) -> &'a [(Sample, f64)] {
    let from = all.partition_point(|(s, _)| s.at < span.from);
    let until = all.partition_point(|(s, _)| s.at <= span.until).max(from);
    all.get(from..until).unwrap_or_default()
}

/// Whether there are readings from a span's beginning to its end.
fn covered(here: &[(Sample, f64)], span: &Span, longest_s: f64) -> Result<(), String> {
    let mut last = span.from;
    let ends = here.iter().map(|(s, _)| s.at).chain([span.until]);
    for at in ends {
        let apart = at.since(last).as_secs_f64();
        if apart > longest_s {
            return Err(format!(
                "it holds no reading for {apart:.0} s of the {:.0} s about {}: give a file that was stored all the time, at least once in {longest_s} s",
                span.until.since(span.from).as_secs_f64(),
                span.words
            ));
        }
        last = at;
    }
    Ok(())
}

impl Tied {
    /// Nothing moves in it while smoke is released.
    fn shows_nothing(&self, spans: &[Span]) -> bool {
        let still = |span: &Span| {
            let (_, here) = self.about(span, span.from);
            here.windows(2).all(|pair| matches!(pair, [a, b] if a.value == b.value))
        };
        spans.iter().all(still)
    }
    /// What the file holds of a release, as a stream of readings is judged.
    pub(crate) fn outcome(&self, span: &Span, release: &Release, rule: &Rule) -> smoke::Outcome {
        let (before, after) = self.about(span, release.at);
        smoke::analyse(before, after, release, rule)
    }
    /// The readings before and after this moment of a span.
    fn about(&self, span: &Span, at: Instant) -> (&[Sample], &[Sample]) {
        let from = self.samples.partition_point(|s| s.at < span.from);
        let until = self.samples.partition_point(|s| s.at <= span.until).max(from);
        let here = self.samples.get(from..until).unwrap_or_default();
        here.split_at(here.partition_point(|s| s.at < at))
    }
    /// The readings of a span for a chart: s after the release, 1/m.
    pub(crate) fn curve(&self, span: &Span, released: Instant) -> Vec<(f64, f64)> {
        let (before, after) = self.about(span, released);
        let since = |at: Instant| at.since(released).as_secs_f64() - released.since(at).as_secs_f64();
        // To the millisecond, as far as it can be known.
        let point = |s: &Sample| (round(since(s.at) * 1e3) / 1e3, s.value);
        before.iter().chain(after).map(point).collect()
    }
    /// The highest reading from a release until so long after it.
    fn highest(&self, span: &Span, released: Instant, until_s: f64) -> f64 {
        let (_, after) = self.about(span, released);
        let within = after.iter().filter(|s| s.at.since(released).as_secs_f64() <= until_s);
        within.map(|s| s.value).fold(f64::NEG_INFINITY, f64::max)
    }
}

/// A time off a file whose logger lags by up to so much: half of it is taken off, as likely as any other part of it.
pub(crate) fn without_lag(told: Estimate, lag_s: f64) -> Estimate {
    Estimate { value: told.value - lag_s / 2.0, ..told }
}
/// What all times off a file have in common, standard uncertainty, s: its tie, and the lag.
pub(crate) fn common_s(tied: &Tied, lag_s: f64) -> f64 {
    hypot(tied.u_s, lag_s / sqrt(12.0))
}

/// A release as a person saw it, and what holds of the logger.
pub(crate) struct Beside<'a> {
    pub(crate) span: &'a Span,
    pub(crate) by_hand: &'a SmokeSeen,
    pub(crate) logger: &'a Instrument,
    pub(crate) rules: &'a LoggerRules,
    /// Standard uncertainty of a moment that a person marks, s.
    pub(crate) seen_u_s: f64,
    /// The lowest alarm level, where it is known.
    pub(crate) lowest: Option<Extinction>,
}

/// Why what the file shows of a release can't be so beside what was marked at the unit; `None`: it can. `onset`: a tenth of the plateau
/// by the file.
pub(crate) fn contradiction(tied: &Tied, onset: &Estimate, beside: &Beside<'_>) -> Option<String> {
    let (seen, wide) = (beside.by_hand, beside.rules.widths);
    let slack = |u: f64| wide * hypot(onset.u(), u);
    let name = &beside.logger.name;
    if let Some(by_hand) = &seen.onset {
        let (off, most) = (onset.value - by_hand.value, slack(by_hand.u()));
        // A lamp comes some time after its smoke; a reading is marked on its way up.
        if off > most || seen.marked.is_some() && -off > most {
            return Some(format!(
                "by the file of {name} it arrives after {:.1} s, by what was marked at the unit after {:.1} s: {:.1} s apart, where {most:.1} s may be",
                onset.value,
                by_hand.value,
                fabs(off)
            ));
        }
    }
    let after_s = seen.alarm_after_s?;
    if onset.value > after_s + slack(beside.seen_u_s) {
        return Some(format!(
            "by the file of {name} it arrives after {:.1} s, and the unit showed an alarm level after {after_s:.1} s already",
            onset.value
        ));
    }
    let lowest = beside.lowest?.0;
    let highest = tied.highest(beside.span, seen.released, after_s + slack(beside.seen_u_s));
    let Instrument { u, u_relative, si, .. } = beside.logger;
    let most = highest + wide * hypot(u * si, u_relative * highest);
    // No reading until then is no smoke that was stored, either.
    let reached = most >= lowest;
    (!reached).then(|| {
        format!(
            "the unit showed an alarm level after {after_s:.1} s, and the file of {name} stays under the lowest threshold until then"
        )
    })
}

#[cfg(test)]
mod tests;
