//! The account of a carry-over and the wiring sheet as text: what became of every old item, where every new one comes from,
//! who decided what, and which wire goes where.
//!
//! Not here: the account itself (the carry crate) and its file (the job crate).
mod columns;
mod holes;
mod lines;

use crate::words::clean;
use columns::{paragraph, push, row};
use plumeline_carry::{
    Decision,
    account::{Fate, Row, Terminal},
    decision::{About, Choice},
    meaning::Group,
};
use plumeline_detector::settings::{Item, Value};
use plumeline_job::account::{AccountFile, Model};

/// Narrowest width that is written for, characters.
const NARROWEST: usize = 72;

pub(crate) fn model(m: &Model) -> String {
    clean(&format!("{} {}", m.maker, m.model))
}
/// The unit that was captured.
pub(crate) fn captured(file: &AccountFile) -> String {
    match &file.unit {
        Some(u) => clean(&format!("{} {}, serial {}, firmware {}", u.maker, u.model, u.serial, u.firmware)),
        None => format!("{}, no unit named", model(&file.from)),
    }
}

/// A value as it is shown, with its unit.
pub(crate) fn shown(item: &Item) -> String {
    let value = match &item.value {
        Value::Opaque { hex } if hex.len() <= 24 => format!("hex {hex}"),
        value => value.to_string(),
    };
    clean(&item.unit.as_ref().map_or(value.clone(), |u| format!("{value} {u}")))
}

/// How many items have which fate: `12 kept, 4 converted`.
pub(crate) fn counts(file: &AccountFile) -> String {
    let all = Fate::ALL.iter().map(|f| (file.account.count(*f), f)).filter(|(n, _)| *n > 0);
    let all: Vec<String> = all.map(|(n, f)| format!("{n} {}", f.words().replace("needs a", "need a"))).collect();
    all.join(", ")
}

/// A decision in words, without its number: what about, what was chosen.
pub(crate) fn decision(d: &Decision) -> String {
    let pairs = |what: &str| match &d.choice {
        Choice::Map(pairs) => {
            let all: Vec<String> = pairs.iter().map(|(a, b)| format!("{a} becomes {b}")).collect();
            format!("{what}: {}; no others", all.join(", "))
        }
        _ => what.to_owned(),
    };
    let words = match &d.about {
        About::Old(keys) => format!("{}: left out", keys.join(", ")),
        About::New(keys) => {
            let choice = match &d.choice {
                Choice::Default => "as the factory delivers it".to_owned(),
                Choice::Value(v) => v.to_string(),
                Choice::SameNumber => "the same number".to_owned(),
                Choice::SameHoleObscuration => "the same computed hole obscuration".to_owned(),
                _ => String::new(),
            };
            format!("{}: {choice}", keys.join(", "))
        }
        About::Levels => pairs("levels"),
        About::Outputs => pairs("outputs"),
        About::Inlets => pairs("inlets"),
        About::Capture => "settings that are not whole are carried over as far as they go".to_owned(),
    };
    clean(&words)
}

/// What became of a row, in words.
pub(crate) fn fate(r: &Row) -> String {
    let says = clean(&r.says);
    if says.is_empty() { r.fate.words().to_owned() } else { format!("{}: {says}", r.fate.words()) }
}

/// The account as plain text, at most `width` characters a line (never narrower than 72).
pub fn account_text(file: &AccountFile, width: usize) -> String {
    let width = width.max(NARROWEST);
    let a = &file.account;
    let mut out = String::new();
    push(&mut out, "Settings carried over");
    paragraph(&mut out, "  from  ", &captured(file), width);
    paragraph(&mut out, "  to    ", &model(&file.to), width);
    paragraph(&mut out, "  items ", &counts(file), width);
    if a.open.is_empty() {
        paragraph(&mut out, "  ", "Nothing is open: the settings can be loaded.", width);
    } else {
        let n = a.open.len();
        let what = if n == 1 { "1 decision is open".to_owned() } else { format!("{n} decisions are open") };
        paragraph(&mut out, "  ", &format!("{what}: nothing can be loaded before."), width);
    }
    if !a.warnings.is_empty() {
        out.push('\n');
        a.warnings.iter().for_each(|w| paragraph(&mut out, "! ", &clean(w), width));
    }
    items(&mut out, file, width);
    holes::table(&mut out, a, width);
    if !file.decisions.is_empty() {
        push(&mut out, "\nDecided");
        for (k, d) in file.decisions.iter().enumerate() {
            let text = format!("{}. {}: {}", decision(d), clean(&d.name), clean(&d.reason));
            paragraph(&mut out, &format!("  [{}] ", k + 1), &text, width);
        }
    }
    if !a.open.is_empty() {
        push(&mut out, "\nTo be decided");
        for o in &a.open {
            let about = match &o.about {
                About::Old(keys) => format!("old {}", keys.join(", ")),
                About::New(keys) => format!("new {}", keys.join(", ")),
                About::Levels => "which level becomes which".to_owned(),
                About::Outputs => "which output becomes which".to_owned(),
                About::Inlets => "which inlet becomes which".to_owned(),
                About::Capture => "the capture".to_owned(),
            };
            paragraph(&mut out, "  - ", &clean(&format!("{about}: {}", o.why)), width);
        }
    }
    out.push('\n');
    a.remarks.iter().for_each(|r| paragraph(&mut out, "", &clean(r), width));
    paragraph(&mut out, "", "Local codes, the listing of the unit and a licensed person decide.", width);
    out
}

fn items(out: &mut String, file: &AccountFile, width: usize) {
    let side = (width - 2) * 27 / 100;
    let rest = width - 2 - 2 * (side + 2);
    let mut group: Option<Group> = None;
    for r in &file.account.rows {
        if group != Some(r.group()) {
            group = Some(r.group());
            push(out, &format!("\n{}", r.group().title()));
        }
        let cell = |item: &Item| vec![clean(&item.key), format!("  {}", shown(item))];
        let old: Vec<String> = r.old.iter().flat_map(cell).collect();
        let old = if old.is_empty() { vec!["-".to_owned()] } else { old };
        let new = match &r.new {
            None => vec!["-".to_owned()],
            Some(n) => match &n.item {
                Some(item) => vec![clean(&n.key), shown(item)],
                None => vec![clean(&n.key), "?".to_owned()],
            },
        };
        let mark = r.decision.map_or_else(String::new, |k| format!(" [{}]", k + 1));
        row(out, 2, &[(old, side), (new, side), (vec![format!("{}{mark}", fate(r))], rest)]);
    }
}

/// An output at its terminals, in lines.
pub(crate) fn terminal(t: &Terminal) -> [String; 2] {
    let rest = if t.energised_at_rest { ", energised at rest" } else { "" };
    [format!("output {}: {}", t.output, clean(&t.terminals)), format!("{}, {}{rest}", t.function, t.contact)]
}

/// The wiring sheet as plain text to take along to the unit.
pub fn wiring_text(file: &AccountFile, width: usize) -> String {
    let width = width.max(NARROWEST);
    let mut out = String::new();
    push(&mut out, "Wiring sheet");
    paragraph(&mut out, "  from  ", &captured(file), width);
    paragraph(&mut out, "  to    ", &model(&file.to), width);
    if !file.account.open.is_empty() {
        paragraph(&mut out, "! ", "Decisions are open: this sheet may still change.", width);
    }
    out.push('\n');
    let text = "Isolate at the panel and lock off release circuits first. Mark every wire before it is taken off. \
                \"Closes\" and \"opens\" say what the contact does when its function arises.";
    paragraph(&mut out, "", text, width);
    out.push('\n');
    if file.account.wiring.is_empty() {
        push(&mut out, "No output is in use.");
        return out;
    }
    let side = (width - 6) * 35 / 100;
    let rest = width - 6 - 2 * (side + 2);
    row(&mut out, 6, &[(vec!["Old unit".into()], side), (vec!["New unit".into()], side), (vec!["Mind".into()], rest)]);
    for w in &file.account.wiring {
        let cell = |t: &Option<Terminal>| t.as_ref().map_or_else(|| vec!["-".to_owned()], |t| terminal(t).into());
        let mut lines = String::new();
        row(
            &mut lines,
            6,
            &[(cell(&w.from), side), (cell(&w.to), side), (w.mind.iter().map(|m| clean(m)).collect(), rest)],
        );
        // A box to tick when the wire is on.
        lines.replace_range(2..5, "[ ]");
        out.push_str(&lines);
        out.push('\n');
    }
    push(&mut out, "Done by ______________________   date ______________   seen by ______________________");
    out
}

pub(crate) use holes::hole_table;
pub use lines::{comparison_text, listing_text};
