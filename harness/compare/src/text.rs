//! A comparison in words, for a terminal.
use crate::{Comparison, Record, Standing};
use std::fmt::Write as _;

/// What changed first, then what is not known, then every figure.
pub fn text(old: &Record, new: &Record, found: &Comparison) -> String {
    let mut out = String::new();
    let date = |r: &Record| r.date.clone().unwrap_or_else(|| "no date".into());
    let _ = writeln!(
        out,
        "{}\n  before  {}  {}\n  now     {}  {}\n",
        new.site,
        date(old),
        old.verdict,
        date(new),
        new.verdict
    );
    match found.changes.len() {
        0 => out.push_str("Nothing changed by more than the uncertainties of both records.\n"),
        1 => out.push_str("1 change:\n"),
        n => {
            let _ = writeln!(out, "{n} changes:");
        }
    }
    for change in &found.changes {
        let _ = writeln!(out, "  {}: {}\n      likely: {}", change.about, change.says, change.likely);
    }
    if !found.open.is_empty() {
        out.push_str("\nNot compared, which does not say that it is as before:\n");
        found.open.iter().for_each(|what| {
            let _ = writeln!(out, "  {what}");
        });
    }
    if !found.lines.is_empty() {
        out.push_str(
            "\nFigures (own change: without what is common to the holes, or what the flow explains of a time):\n",
        );
    }
    let head = ["about", "figure", "before", "now", "own change", ""].map(str::to_owned);
    let rows = found.lines.iter().map(|line| {
        let standing = match line.standing {
            Standing::AsBefore => "as before",
            Standing::Changed => "CHANGED",
            Standing::Follows => "follows from the above",
        };
        [
            line.about.to_string(),
            line.what.to_owned(),
            line.old.to_string(),
            line.new.to_string(),
            format!("{:+.0} ± {:.0} %", line.own_percent, line.expanded_percent),
            standing.to_owned(),
        ]
    });
    let rows: Vec<[String; 6]> =
        if found.lines.is_empty() { Vec::new() } else { std::iter::once(head).chain(rows).collect() };
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: [usize; 6] = std::array::from_fn(width);
    for row in &rows {
        let cells = row.iter().zip(widths).map(|(cell, width)| format!("{cell:<width$}"));
        let _ = writeln!(out, "  {}", cells.collect::<Vec<_>>().join("  ").trim_end());
    }
    out
}
