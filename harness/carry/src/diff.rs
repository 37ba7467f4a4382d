//! Settings side by side by what they mean, across models: what differs, with numbers converted.
//!
//! Not here: how it is shown.
use crate::{
    description::Description,
    meaning::{Dimension, Group, Meaning, Takes},
    neutral::{Seen, SeenItem, Sense},
    number::{self, short},
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use plumeline_detector::settings::{Settings, Value};
use serde::Serialize;

/// Settings with the description of their model, if there is one.
#[derive(Clone, Copy, Debug)]
pub struct Side<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// What they mean.
    pub description: &'a Description,
}

/// A line of a comparison or of a listing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// Its group.
    pub group: Group,
    /// What it means, in plain words; the key where only the maker knows.
    pub what: String,
    /// Key and value on the first side.
    pub a: Option<(String, String)>,
    /// Key and value on the second side.
    pub b: Option<(String, String)>,
    /// The second side's number in the unit of the first.
    pub converted: Option<String>,
    /// Both mean the same.
    pub same: bool,
}

/// Relative difference of numbers that count as the same: the rounding of conversions.
const SAME: f64 = 1e-9;

/// A value as it is shown, with its unit.
fn shown(seen: &SeenItem<'_>) -> String {
    let value = match (&seen.item.value, &seen.sense) {
        (Value::Text(t), Sense::Function(f)) if *t != f.to_string() => format!("{t:?} ({f})"),
        (Value::Text(t), Sense::Contact(c)) if *t != c.to_string() => format!("{t:?} ({c})"),
        (Value::Opaque { hex }, _) if hex.len() <= 32 => format!("hex {hex}"),
        (value, _) => value.to_string(),
    };
    seen.item.unit.as_ref().map_or(value.clone(), |u| format!("{value} {u}"))
}

/// Every item by group and meaning.
pub fn listing(side: &Side<'_>) -> Vec<Line> {
    let seen = Seen::of(side.settings, side.description);
    let mut lines: Vec<(Meaning, Line)> = seen.items.iter().map(|i| (i.meaning, one(i, true))).collect();
    lines.sort_by(|(m, a), (n, b)| (a.group, m, &a.what).cmp(&(b.group, n, &b.what)));
    lines.into_iter().map(|(_, l)| l).collect()
}

fn one(item: &SeenItem<'_>, first: bool) -> Line {
    let value = Some((item.item.key.clone(), shown(item)));
    let (a, b) = if first { (value, None) } else { (None, value) };
    let what = if item.meaning == Meaning::Vendor { item.item.key.clone() } else { item.meaning.words() };
    Line { group: item.meaning.group(), what, a, b, converted: None, same: false }
}

/// Both sides item by item, by what they mean; what only the makers know, by its key. One setting for all levels stands
/// against each level's own.
pub fn compare(a: &Side<'_>, b: &Side<'_>) -> Vec<Line> {
    let (left, right) = (Seen::of(a.settings, a.description), Seen::of(b.settings, b.description));
    let mut lines = Vec::new();
    for i in &left.items {
        let others: Vec<&SeenItem<'_>> = partners(i, &right).collect();
        if others.is_empty() {
            lines.push((i.meaning, one(i, true)));
        }
        for j in others {
            // The narrower of two meanings names the line.
            let meaning = if i.meaning == Meaning::LatchingAll { j.meaning } else { i.meaning };
            lines.push((meaning, pair(meaning, i, j)));
        }
    }
    for j in &right.items {
        if partners(j, &left).next().is_none() {
            lines.push((j.meaning, one(j, false)));
        }
    }
    lines.sort_by(|(m, a), (n, b)| (a.group, m, &a.what).cmp(&(b.group, n, &b.what)));
    lines.into_iter().map(|(_, l)| l).collect()
}

fn partners<'s, 'a>(i: &SeenItem<'_>, other: &'s Seen<'a>) -> impl Iterator<Item = &'s SeenItem<'a>> {
    let (meaning, key) = (i.meaning, i.item.key.clone());
    let has_own = other.get(meaning).is_some();
    other.items.iter().filter(move |j| match (meaning, j.meaning) {
        (Meaning::Vendor, Meaning::Vendor) => j.item.key == key,
        (Meaning::Vendor, _) | (_, Meaning::Vendor) => false,
        (Meaning::Latching(_), Meaning::LatchingAll) | (Meaning::LatchingAll, Meaning::Latching(_)) => !has_own,
        (m, n) => m == n,
    })
}

fn pair(meaning: Meaning, i: &SeenItem<'_>, j: &SeenItem<'_>) -> Line {
    let mut line = one(i, true);
    if meaning != Meaning::Vendor {
        line.what = meaning.words();
    }
    line.b = Some((j.item.key.clone(), shown(j)));
    line.same = match (&i.sense, &j.sense) {
        (Sense::Number(x), Sense::Number(y)) => {
            libm::fabs(x - y) <= SAME * libm::fmax(libm::fabs(*x), libm::fabs(*y))
                // Another fan's setting is another thing.
                && (meaning.takes() != Takes::Number(Dimension::Plain) || i.item.unit == j.item.unit)
        }
        (x, y) => x == y,
    };
    if let (Takes::Number(dimension), Sense::Number(y)) = (meaning.takes(), &j.sense)
        && dimension != Dimension::Plain
        && i.item.unit != j.item.unit
        && let (Some(unit), Some(v)) = (&i.item.unit, number::stated(dimension, *y, i.item.unit.as_deref()))
    {
        line.converted = Some(format!("{} {unit}", short(v, 5)));
    }
    line
}
