//! A plain CSV sheet of holes turned into the text of a `pipework.toml`.
//!
//! Not here: bends and other fittings, which a sheet of holes does not hold; they are added to the text by hand.
use super::{FORMAT, MAX_OPENINGS, bounds};
use crate::{
    TEXT_LIMIT,
    csv::{self, Cell},
    error::{Kind, Problem, Source, choices, nearest, quoted},
    logger,
    written::{Bounded, Bounds, Written},
};
use std::{collections::BTreeMap, fmt::Write as _, ops::Range};

/// The columns: name, unit put behind a bare number (nothing where the cell holds no quantity), must it be there.
/// A column of a length may end in another unit instead: `distance_ft`, `diameter_in`.
const COLUMNS: &[(&str, &str, bool)] = &[
    ("pipe", "", true),
    ("hole", "", true),
    ("distance_m", "m", true),
    ("diameter_mm", "mm", true),
    ("kind", "", false),
    ("bore_mm", "mm", false),
    ("height_m", "m", false),
    ("drop_length_m", "m", false),
    ("drop_bore_mm", "mm", false),
    ("reachable", "", false),
    ("label", "", false),
    ("where", "", false),
    ("basis", "", false),
];
/// What a length's column may end in.
const LENGTHS: [&str; 5] = ["m", "mm", "cm", "ft", "in"];

/// A hole as the sheet has it.
struct Hole<'a> {
    number: u32,
    distance: f64,
    row: Range<usize>,
    cells: BTreeMap<&'static str, Cell<'a>>,
}

/// Turns a sheet into the text of a pipework file. The first line names the columns; `pipe`, `hole`, `distance_m` and
/// `diameter_mm` must be there. Distances count along the pipe from the unit. How cells are separated: [`csv`]; the
/// decimal mark is a point, or a comma where cells are not separated by commas.
///
/// # Errors
/// The first cell that is wrong, with its line, column and a remedy.
pub fn import_csv(name: &str, bytes: &[u8]) -> Result<String, Problem> {
    let (text, _) = logger::decode(name, bytes)?;
    let source = Source::new(name, text.as_bytes(), TEXT_LIMIT)?;
    let mut rows = csv::rows(&source);
    let decimal_comma = !rows.by_commas();
    let Some(mut header) = rows.next().transpose()? else {
        let remedy = "write a first line that names the columns: pipe,hole,distance_m,diameter_mm";
        return Err(source.problem(Kind::MissingKey, 0..0, "the sheet is empty", remedy));
    };
    while header.last().is_some_and(|c| c.text.is_empty()) {
        header.pop();
    }
    let columns = columns(&source, &header)?;
    let mut pipes: BTreeMap<u8, Vec<Hole<'_>>> = BTreeMap::new();
    for (count, row) in rows.enumerate() {
        let mut row = row?;
        let span = csv::span(&row);
        // Separators at the end of a row, as spreadsheets leave them, count for nothing.
        while row.len() > columns.len() && row.last().is_some_and(|c| c.text.is_empty()) {
            row.pop();
        }
        if count >= MAX_OPENINGS {
            let cause = format!("the sheet has more than {MAX_OPENINGS} holes");
            return Err(source.problem(Kind::TooLarge, span, cause, "split it into several sheets"));
        }
        if row.len() != columns.len() {
            let cause = format!("the row has {} cells, the first line {}", row.len(), columns.len());
            return Err(source.problem(Kind::Syntax, span, cause, "give every row as many cells as the first line"));
        }
        let (pipe, hole) = hole(&source, &columns, row, span, decimal_comma)?;
        pipes.entry(pipe).or_default().push(hole);
    }
    let mut out = format!(
        "# Made from {}: add fittings, the unit and the air; see the formats' document.\nformat = {FORMAT}\nname = \"\"\n",
        quoted(name)
    );
    for (inlet, mut holes) in pipes {
        holes.sort_by_key(|h| h.number);
        write_pipe(&source, &mut out, inlet, &holes)?;
    }
    Ok(out)
}

/// The known column that each cell belongs to, with the unit of its bare numbers.
fn columns(source: &Source<'_>, header: &[Cell<'_>]) -> Result<Vec<(&'static str, String)>, Problem> {
    let mut found: Vec<(&'static str, String)> = Vec::new();
    for cell in header {
        let matches = |(name, unit, _): &&(&'static str, &'static str, bool)| {
            let stem = name.strip_suffix(unit).filter(|_| !unit.is_empty());
            *name == cell.text.as_ref()
                || stem.and_then(|s| cell.text.strip_prefix(s)).is_some_and(|u| LENGTHS.contains(&u))
        };
        let Some((name, unit, _)) = COLUMNS.iter().find(matches) else {
            let names = COLUMNS.iter().map(|(n, ..)| *n);
            let mut cause = format!("there is no column {}", quoted(&cell.text));
            if let Some(near) = nearest(&cell.text, names.clone()) {
                let _ = write!(cause, "; did you mean `{near}`?");
            }
            let remedy = format!("the columns are: {}", choices(names));
            return Err(source.problem(Kind::UnknownKey, cell.span.clone(), cause, remedy));
        };
        if found.iter().any(|(n, _)| n == name) {
            let cause = format!("the column {} stands twice", quoted(&cell.text));
            return Err(source.problem(Kind::Duplicate, cell.span.clone(), cause, "keep one of the two"));
        }
        let stem = name.strip_suffix(unit).unwrap_or(name);
        let unit = if unit.is_empty() { "" } else { cell.text.strip_prefix(stem).unwrap_or(unit) };
        found.push((name, unit.to_owned()));
    }
    for (name, _, needed) in COLUMNS {
        if *needed && !found.iter().any(|(n, _)| n == name) {
            let span = header.first().map_or(0..0, |c| c.span.clone());
            let remedy = "the first line names the columns: pipe,hole,distance_m,diameter_mm";
            return Err(source.problem(Kind::MissingKey, span, format!("the column `{name}` is missing"), remedy));
        }
    }
    Ok(found)
}

fn hole<'a>(
    source: &Source<'_>,
    columns: &[(&'static str, String)],
    row: Vec<Cell<'a>>,
    span: Range<usize>,
    decimal_comma: bool,
) -> Result<(u8, Hole<'a>), Problem> {
    let mut cells = BTreeMap::new();
    for ((name, unit), mut cell) in columns.iter().zip(row) {
        let between = |(i, _): (usize, &str)| {
            let digit = |b: Option<&u8>| b.is_some_and(u8::is_ascii_digit);
            let bytes = cell.text.as_bytes();
            digit(i.checked_sub(1).and_then(|i| bytes.get(i))) && digit(bytes.get(i + 1))
        };
        if decimal_comma
            && !unit.is_empty()
            && cell.text.match_indices(',').all(between)
            && cell.text.matches(',').count() == 1
        {
            cell.text = cell.text.replace(',', ".").into();
        }
        if !unit.is_empty() && cell.text.ends_with(|c: char| c.is_ascii_digit() || c == '.') {
            cell.text = format!("{} {unit}", cell.text).into();
        }
        if !cell.text.is_empty() {
            cells.insert(*name, cell);
        }
    }
    let pipe = number(source, &cells, &span, "pipe", super::MAX_INLETS as u32)?;
    let hole = Hole {
        number: number(source, &cells, &span, "hole", MAX_OPENINGS as u32)?,
        distance: length(source, &cells, &span, "distance_m", &bounds::Distance::BOUNDS)?,
        row: span,
        cells,
    };
    Ok((u8::try_from(pipe).unwrap_or(u8::MAX), hole))
}

fn needed<'c, 'a>(
    source: &Source<'_>,
    cells: &'c BTreeMap<&'static str, Cell<'a>>,
    row: &Range<usize>,
    name: &str,
) -> Result<&'c Cell<'a>, Problem> {
    cells.get(name).ok_or_else(|| {
        let cause = format!("the row has no `{name}`");
        source.problem(Kind::MissingKey, row.clone(), cause, "fill in the cell, or take the row out")
    })
}

fn number(
    source: &Source<'_>,
    cells: &BTreeMap<&'static str, Cell<'_>>,
    row: &Range<usize>,
    name: &str,
    high: u32,
) -> Result<u32, Problem> {
    let cell = needed(source, cells, row, name)?;
    cell.text.parse().ok().filter(|n| (1..=high).contains(n)).ok_or_else(|| {
        let cause = format!("{} is no number of a {name}", quoted(&cell.text));
        let remedy = format!("write a whole number from 1 to {high}");
        source.problem(Kind::Range, cell.span.clone(), cause, remedy)
    })
}

fn length(
    source: &Source<'_>,
    cells: &BTreeMap<&'static str, Cell<'_>>,
    row: &Range<usize>,
    name: &str,
    bounds: &Bounds,
) -> Result<f64, Problem> {
    let cell = needed(source, cells, row, name)?;
    bounds.read_at(source, &Written::Text(cell.text.clone().into_owned()), cell.span.clone())
}

/// The run of one pipe: for each hole the pipe to it and the hole itself.
fn write_pipe(source: &Source<'_>, out: &mut String, inlet: u8, holes: &[Hole<'_>]) -> Result<(), Problem> {
    // Writing to a string can't fail.
    let _ = write!(out, "\n[[pipe]]\ninlet = {inlet}\nrun = [\n");
    let (mut before, mut height) = (0.0, 0.0);
    for (i, hole) in holes.iter().enumerate() {
        let problem = |kind, cause: String, remedy: &str| Err(source.problem(kind, hole.row.clone(), cause, remedy));
        if hole.number as usize != i + 1 {
            let cause = format!("pipe {inlet} has hole {} where hole {} should be", hole.number, i + 1);
            return problem(Kind::Duplicate, cause, "number the holes of each pipe 1, 2, 3 ... from the unit");
        }
        let along = hole.distance - before;
        if along < 0.0 || (i > 0 && along == 0.0) {
            let cause = format!("hole {} of pipe {inlet} is not farther than the one before it", hole.number);
            return problem(
                Kind::Range,
                cause,
                "distances count along the pipe from the unit and rise with the number",
            );
        }
        before = hole.distance;
        let rise = match hole.cells.get("height_m") {
            Some(_) => length(source, &hole.cells, &hole.row, "height_m", &bounds::Height::BOUNDS)? - height,
            None => 0.0,
        };
        height += rise;
        if along > 0.0 {
            let _ = write!(out, "  {{ pipe = \"{} m\"", rounded(along));
            if rise != 0.0 {
                let _ = write!(out, ", rise = \"{} m\"", rounded(rise));
            }
            copy(out, hole, "bore_mm", "bore");
            copy(out, hole, "basis", "basis");
            out.push_str(" },\n");
        }
        write_opening(source, out, hole, i + 1 == holes.len())?;
    }
    out.push_str("]\n");
    Ok(())
}

fn write_opening(source: &Source<'_>, out: &mut String, hole: &Hole<'_>, last: bool) -> Result<(), Problem> {
    let kind = hole.cells.get("kind").map_or("hole", |c| c.text.as_ref());
    let blind = hole.cells.get("diameter_mm").is_some_and(|c| c.text.trim() == "blind");
    if !blind {
        length(source, &hole.cells, &hole.row, "diameter_mm", &bounds::Diameter::BOUNDS)?;
    }
    match (kind, last) {
        ("hole", _) => copy_first(out, hole, "hole"),
        ("cap", true) => copy_first(out, hole, "cap"),
        ("open", true) => out.push_str("  { open = true"),
        _ => {
            let span = hole.cells.get("kind").map_or(hole.row.clone(), |c| c.span.clone());
            let cause = format!("{} is no kind of opening for this place", quoted(kind));
            let remedy = "write hole, and for the last one of a pipe cap or open";
            return Err(source.problem(Kind::UnknownName, span, cause, remedy));
        }
    }
    if let Some(cell) = hole.cells.get("reachable") {
        let reachable = match cell.text.as_ref() {
            "yes" => true,
            "no" => false,
            other => {
                let cause = format!("{} is neither yes nor no", quoted(other));
                return Err(source.problem(Kind::WrongType, cell.span.clone(), cause, "write yes or no"));
            }
        };
        if !reachable {
            out.push_str(", reachable = false");
        }
    }
    copy(out, hole, "label", "label");
    copy(out, hole, "where", "where");
    copy(out, hole, "basis", "basis");
    if kind == "hole" && hole.cells.contains_key("drop_length_m") {
        needed(source, &hole.cells, &hole.row, "drop_bore_mm")?;
        out.push_str(", drop = { length = ");
        out.push_str(&toml_text(hole, "drop_length_m"));
        copy(out, hole, "drop_bore_mm", "bore");
        out.push_str(" }");
    }
    out.push_str(" },\n");
    if last && kind == "hole" {
        out.push_str("  { cap = \"blind\" },\n");
    }
    Ok(())
}

fn copy_first(out: &mut String, hole: &Hole<'_>, key: &str) {
    let _ = write!(out, "  {{ {key} = {}", toml_text(hole, "diameter_mm"));
}

fn copy(out: &mut String, hole: &Hole<'_>, column: &str, key: &str) {
    if hole.cells.contains_key(column) {
        let _ = write!(out, ", {key} = {}", toml_text(hole, column));
    }
}

/// A cell as a TOML string.
fn toml_text(hole: &Hole<'_>, column: &str) -> String {
    toml::Value::from(hole.cells.get(column).map_or("", |c| c.text.as_ref())).to_string()
}

/// Metres to the micrometre, so that differences of distances read as people wrote them.
fn rounded(m: f64) -> f64 {
    (m * 1e6).round() / 1e6
}
