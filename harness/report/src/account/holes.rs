//! What the levels ask of every hole, as a table: shares of the flow and obscurations needed, before and after.
use super::columns::{paragraph, push};
use plumeline_base::obscuration::{Extinction, ObscurationUnit};
use plumeline_carry::{
    Account,
    account::{Holes, LevelAtHoles},
    number::short,
};

/// Holes shown in a text; of more, those that need most.
const SHOWN: usize = 40;
/// Widths of the columns: pipe and hole, one share, one obscuration.
const PLACE: usize = 11;
const SHARE: usize = 8;
const NEED: usize = 9;

/// The table of the holes, ready to be laid out.
pub(crate) struct HoleTable {
    /// Headings of the levels.
    pub(crate) levels: Vec<String>,
    /// For every hole: pipe, number, share before and after in per cent, and for every level what it needs before and
    /// after, whether that is more than before, and whether it is beyond the job's limit.
    pub(crate) rows: Vec<HoleRow>,
    /// Holes that are not shown.
    pub(crate) left_out: usize,
}
/// A row of it.
pub(crate) struct HoleRow {
    /// Pipe and hole.
    pub(crate) place: (u8, u32),
    /// Share of the unit's flow before and after.
    pub(crate) shares: (String, String),
    /// What it needs for each level: before, after with a mark where it is worse (`+`) or beyond a limit (`!`).
    pub(crate) needs: Vec<(String, String)>,
}

/// The unit in which the levels are stated: the first new threshold's.
fn unit(account: &Account) -> ObscurationUnit {
    let new = account.rows.iter().filter_map(|r| r.new.as_ref()?.item.as_ref()?.unit.clone());
    new.filter_map(|u| ObscurationUnit::parse(&u)).next().unwrap_or(ObscurationUnit::PercentPerMetre)
}

fn title(l: &LevelAtHoles, unit: ObscurationUnit) -> String {
    let set = if l.set == 1 { String::new() } else { format!("set {} ", l.set) };
    format!("{set}level {}, {unit}", l.new_level)
}

/// The table for these holes, at most `most` of them.
pub(crate) fn hole_table(account: &Account, holes: &Holes, most: usize) -> HoleTable {
    let unit = unit(account);
    let say = |k: Option<f64>| k.map_or_else(|| "none".to_owned(), |k| short(Extinction(k).stated(unit), 3));
    let marks: Vec<(Vec<usize>, Vec<usize>)> =
        holes.levels.iter().map(|l| (l.worse().collect(), l.beyond().collect())).collect();
    let mut chosen: Vec<usize> = (0..holes.holes.len()).collect();
    if chosen.len() > most {
        // Needs grow as shares fall, for every level alike.
        let share = |i: &usize| holes.holes.get(*i).map_or(0.0, |h| h.share_after);
        chosen.sort_by(|a, b| share(a).total_cmp(&share(b)));
        chosen.truncate(most);
        chosen.sort_unstable();
    }
    let percent = |s: f64| short(s * 100.0, 3);
    let rows = chosen
        .iter()
        .filter_map(|i| {
            let h = holes.holes.get(*i)?;
            let needs = holes.levels.iter().zip(&marks).map(|(l, (worse, beyond))| {
                let n = l.needs.get(*i).copied();
                let mark = match (worse.contains(i), beyond.contains(i)) {
                    (_, true) => "!",
                    (true, false) => "+",
                    _ => "",
                };
                (say(n.and_then(|n| n.before)), format!("{}{mark}", say(n.and_then(|n| n.after))))
            });
            Some(HoleRow {
                place: (h.inlet, h.number),
                shares: (percent(h.share_before), percent(h.share_after)),
                needs: needs.collect(),
            })
        })
        .collect();
    HoleTable {
        levels: holes.levels.iter().map(|l| title(l, unit)).collect(),
        rows,
        left_out: holes.holes.len() - chosen.len(),
    }
}

pub(super) fn table(out: &mut String, account: &Account, width: usize) {
    let Some(holes) = &account.holes else { return };
    if holes.levels.is_empty() {
        return;
    }
    push(out, "\nObscuration needed at each hole, computed, with clean air from all the others");
    let t = hole_table(account, holes, SHOWN);
    let fits = ((width - 2 - PLACE - 2 * SHARE) / (2 * NEED)).max(1);
    for first in (0..t.levels.len()).step_by(fits) {
        let these = first..(first + fits).min(t.levels.len());
        let mut head = format!("  {:<PLACE$}{:>w$}", "pipe, hole", "share, %", w = 2 * SHARE);
        let mut under = format!("  {:<PLACE$}{:>SHARE$}{:>SHARE$}", "", "before", "after");
        for level in t.levels.get(these.clone()).unwrap_or_default() {
            head.push_str(&format!("{level:>w$}", w = 2 * NEED));
            under.push_str(&format!("{:>NEED$}{:>NEED$}", "before", "after"));
        }
        push(out, &head);
        push(out, &under);
        for r in &t.rows {
            let place = format!("{:>4}, {:<4}", r.place.0, r.place.1);
            let mut line = format!("  {place:<PLACE$}{:>SHARE$}{:>SHARE$}", r.shares.0, r.shares.1);
            for (before, after) in r.needs.get(these.clone()).unwrap_or_default() {
                line.push_str(&format!("{before:>NEED$}{after:>NEED$}"));
            }
            push(out, &line);
        }
    }
    if t.left_out > 0 {
        let text = format!("{} holes that need less are left out here; the account's JSON has all.", t.left_out);
        paragraph(out, "  ", &text, width);
    }
    paragraph(out, "  ", "+ more smoke than before, ! beyond the job's limit for a port.", width);
}
