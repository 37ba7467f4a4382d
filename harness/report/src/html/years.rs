//! What this job and the earlier ones at the same unit measured, over the years. Nothing is judged here: \"plumeline compare\" says
//! what changed by more than it is known to.
use super::doc::{Block, Cell, Section, Table};
use crate::{
    chart::years::{self, Panel, Series},
    input::ReportInput,
    standing::shown_verdict,
    words,
};
use plumeline_base::Verdict;
use plumeline_job::history::{self, Measured, What};
use plumeline_procedure::outcome::Figure;
use std::collections::BTreeSet;
use time::{OffsetDateTime, format_description::well_known::Rfc3339};

/// Visits in a row of the tables: what fits a page.
const COLUMNS: usize = 5;

/// A visit, an earlier one or this.
struct Visit<'a> {
    date: Option<OffsetDateTime>,
    when: String,
    verdict: Verdict,
    measured: std::borrow::Cow<'a, [Measured]>,
}

pub(crate) fn sections(input: &ReportInput<'_>) -> Vec<Section> {
    let Some(earlier) = input.history.filter(|h| !h.jobs.is_empty()) else { return Vec::new() };
    let date = |text: Option<&String>| text.and_then(|s| OffsetDateTime::parse(s, &Rfc3339).ok());
    let day = |date: Option<OffsetDateTime>| {
        date.map_or_else(
            || "no date".to_owned(),
            |d| format!("{:04}-{:02}-{:02}", d.year(), u8::from(d.month()), d.day()),
        )
    };
    let mut visits: Vec<Visit<'_>> = earlier
        .jobs
        .iter()
        .map(|past| {
            let date = date(past.date.as_ref());
            Visit { date, when: day(date), verdict: past.verdict, measured: past.measured.as_slice().into() }
        })
        .collect();
    let now = date(input.record.dates.first().map(|(_, date)| date));
    let own = history::measured(input.outcome);
    visits.push(Visit { date: now, when: day(now), verdict: shown_verdict(input.outcome), measured: own.into() });
    let inlets: BTreeSet<u8> = visits.iter().flat_map(|v| v.measured.iter().map(|m| m.inlet)).collect();
    let simulated = earlier.jobs.iter().filter(|p| p.simulated).count();
    let mut text = format!(
        "Earlier jobs at the unit with serial number {} as their own records say; the last column is this job. A bar is the expanded uncertainty \
         of its job. `plumeline compare` says what changed by more than both uncertainties.",
        earlier.serial
    );
    if simulated > 0 {
        text += &format!(" SIMULATED: {simulated} of the earlier jobs.");
    }
    let mut blocks = vec![Block::text(text), verdicts(&visits)];
    for inlet in inlets {
        blocks.extend(chart(inlet, &visits));
        blocks.push(table(inlet, &visits));
    }
    vec![Section::new("years", "Over the years", blocks)]
}

fn verdicts(visits: &[Visit<'_>]) -> Block {
    let told = visits.iter().map(|v| (v.when.clone(), v.verdict.word().to_owned()));
    Block::facts(told)
}

fn places(inlet: u8, visits: &[Visit<'_>], what: What) -> BTreeSet<Option<u32>> {
    let all = visits.iter().flat_map(|v| v.measured.iter());
    all.filter(|m| m.inlet == inlet && m.what == what).map(|m| m.hole).collect()
}
fn of<'a>(visit: &'a Visit<'_>, inlet: u8, hole: Option<u32>, what: What) -> Option<&'a Figure> {
    visit.measured.iter().find(|m| (m.inlet, m.hole, m.what) == (inlet, hole, what)).map(|m| &m.figure)
}

fn chart(inlet: u8, visits: &[Visit<'_>]) -> Option<Block> {
    let known: Option<Vec<f64>> = visits.iter().map(|v| Some(v.date?.unix_timestamp() as f64 / 86_400.0)).collect();
    let days = known.filter(|days| days.is_sorted()).unwrap_or_else(|| (0..visits.len()).map(|k| k as f64).collect());
    let axis: Vec<(f64, String)> = days.into_iter().zip(visits.iter().map(|v| v.when.clone())).collect();
    let line = |hole: Option<u32>, what: What, label: String| Series {
        label,
        points: visits.iter().map(|v| of(v, inlet, hole, what).map(|f| (f.value, f.expanded))).collect(),
    };
    let flow =
        Panel { label: format!("flow of pipe {inlet}, L/min"), series: vec![line(None, What::Flow, String::new())] };
    let holes = |what| places(inlet, visits, what).into_iter().flatten();
    let times = Panel {
        label: "smoke after, s (a tenth of the plateau)".into(),
        series: holes(What::Time).map(|n| line(Some(n), What::Time, format!("hole {n}"))).collect(),
    };
    let shares: Vec<Series> = holes(What::Drop).map(|n| share(inlet, n, visits)).collect();
    let drops = Panel {
        label: "closing each hole, % of its first visit (the farthest off is named)".into(),
        series: named(shares),
    };
    let title = format!("Pipe {inlet} over the years");
    let desc = "Flow, time of smoke, and what each hole draws, by visit.";
    let svg = years::svg(&format!("years-{inlet}"), &title, desc, &axis, &[flow, times, drops])?;
    Some(Block::Chart { svg, caption: title })
}

/// What a hole draws against its own first visit, %.
fn share(inlet: u8, hole: u32, visits: &[Visit<'_>]) -> Series {
    let first = visits.iter().find_map(|v| of(v, inlet, Some(hole), What::Drop)).map(|f| f.value).filter(|v| *v > 0.0);
    let point = |v: &Visit<'_>| Some((of(v, inlet, Some(hole), What::Drop)?.value / first? * 100.0, None));
    Series { label: format!("hole {hole}"), points: visits.iter().map(point).collect() }
}

/// Only the hole that is farthest off the middle of the others keeps its name: names of all would lie on one another.
fn named(mut all: Vec<Series>) -> Vec<Series> {
    let last = |s: &Series| s.points.last().copied().flatten().map(|(v, _)| v);
    let mut ends: Vec<f64> = all.iter().filter_map(last).collect();
    ends.sort_by(f64::total_cmp);
    let middle = ends.get(ends.len() / 2).copied().unwrap_or(100.0);
    let off = |s: &Series| last(s).map_or(0.0, |v| (v - middle).abs());
    let farthest = (0..all.len()).max_by(|a, b| off(&all[*a]).total_cmp(&off(&all[*b])));
    for (k, series) in all.iter_mut().enumerate() {
        if Some(k) != farthest {
            series.label.clear();
        }
    }
    all
}

fn table(inlet: u8, visits: &[Visit<'_>]) -> Block {
    const HEAD: [&str; COLUMNS + 1] = ["What", "", "", "", "", ""];
    let shown = &visits[visits.len().saturating_sub(COLUMNS)..];
    let mut table =
        Table::new(format!("Pipe {inlet}: the latest {} visits, this job last", shown.len()), &HEAD[..=shown.len()]);
    let row = |label: String, cell: &dyn Fn(&Visit<'_>) -> String| -> Vec<Cell> {
        [Cell::text(label)].into_iter().chain(shown.iter().map(|v| Cell::number(cell(v)))).collect()
    };
    table.rows.push(row("Visit".into(), &|v| v.when.clone()));
    for (what, words) in [(What::Flow, "flow"), (What::Time, "smoke after"), (What::Drop, "closing takes off")] {
        for hole in places(inlet, visits, what) {
            let label = hole.map_or_else(|| words.to_owned(), |n| format!("hole {n}, {words}"));
            table.rows.push(row(label, &|v| words::figure_or_dash(of(v, inlet, hole, what))));
        }
    }
    table.block()
}
