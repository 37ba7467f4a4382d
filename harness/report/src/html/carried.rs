//! Settings that were carried over from another model: every item, who decided what, the holes, the wires.
use super::doc::{Block, Cell, Section, Table};
use crate::{
    account::{self, captured, counts, decision, fate, model, shown, terminal},
    input::ReportInput,
    words::dash,
};
use plumeline_carry::account::{Row, Terminal};
use plumeline_detector::settings::Item;
use plumeline_job::account::AccountFile;

/// Holes in the table; of more, those that need most.
const HOLES: usize = 200;

pub(crate) fn sections(input: &ReportInput<'_>) -> Vec<Section> {
    input.carried.map(|f| Section::new("carried", "Settings carried over", blocks(f))).into_iter().collect()
}

fn blocks(f: &AccountFile) -> Vec<Block> {
    let a = &f.account;
    let mut blocks = vec![Block::facts([
        ("From", captured(f)),
        ("To", model(&f.to)),
        ("Items", counts(f)),
        ("Captured items, SHA-256", f.old_sha256.to_string()),
        ("New items, SHA-256", f.new_sha256.map_or_else(dash, |d| d.to_string())),
    ])];
    if !a.warnings.is_empty() {
        blocks.push(Block::list(&a.warnings));
    }
    let mut items = Table::new(
        "Every captured item and every new one",
        &["What it means", "Old unit", "New unit", "What became of it", "Decision"],
    );
    items.rows = a.rows.iter().map(|r| item_row(f, r)).collect();
    blocks.push(items.block());
    if !f.decisions.is_empty() {
        let mut decided = Table::new("Decided by a person", &["No.", "What", "Who", "Why"]);
        decided.rows = (1..)
            .zip(&f.decisions)
            .map(|(n, d): (u32, _)| {
                vec![Cell::number(n.to_string()), Cell::text(decision(d)), Cell::text(&d.name), Cell::text(&d.reason)]
            })
            .collect();
        blocks.push(decided.block());
    }
    blocks.extend(holes(f));
    if !a.wiring.is_empty() {
        let mut wires = Table::new("Wiring sheet", &["Old unit", "New unit", "Mind"]);
        let cell = |t: &Option<Terminal>| {
            t.as_ref().map_or_else(
                || Cell::text(""),
                |t| {
                    let [at, does] = terminal(t);
                    Cell::text(at).below(does)
                },
            )
        };
        wires.rows = a.wiring.iter().map(|w| vec![cell(&w.from), cell(&w.to), Cell::text(w.mind.join("; "))]).collect();
        blocks.push(wires.block());
    }
    blocks.push(Block::list(&a.remarks));
    blocks
}

fn item_row(f: &AccountFile, r: &Row) -> Vec<Cell> {
    let value = |item: &Item| Cell::text(shown(item)).below(&item.key);
    let old = match r.old.as_slice() {
        [] => Cell::text(""),
        [one] => value(one),
        many => Cell::text(many.iter().map(shown).collect::<Vec<_>>().join(", "))
            .below(many.iter().map(|i| i.key.as_str()).collect::<Vec<_>>().join(", ")),
    };
    let new = match r.new.as_ref() {
        None => Cell::text(""),
        Some(n) => n.item.as_ref().map_or_else(|| Cell::text("").below(&n.key), value),
    };
    let by = r.decision.filter(|k| *k < f.decisions.len()).map(|k| format!("no. {}", k + 1)).unwrap_or_default();
    vec![Cell::text(r.meaning.words()), old, new, Cell::text(fate(r)), Cell::text(by)]
}

fn holes(f: &AccountFile) -> Vec<Block> {
    let Some(holes) = f.account.holes.as_ref().filter(|h| !h.levels.is_empty()) else { return Vec::new() };
    let t = account::hole_table(&f.account, holes, HOLES);
    let levels: Vec<String> = t.levels.iter().map(ToString::to_string).collect();
    let mut table = Table::new(
        format!(
            "Obscuration needed at each hole, computed, with clean air from all the others: before, and after, for {}",
            levels.join("; for ")
        ),
        &["Hole", "Share of the old unit's flow", "Share of the new unit's flow", "Needed before, after"],
    );
    for r in &t.rows {
        let needs = r.needs.iter().map(|(before, after)| format!("{before}, {after}"));
        table.rows.push(vec![
            Cell::text(format!("Pipe {}, hole {}", r.place.0, r.place.1)),
            Cell::number(format!("{} %", r.shares.0)),
            Cell::number(format!("{} %", r.shares.1)),
            Cell::number(needs.collect::<Vec<_>>().join("; ")),
        ]);
    }
    let mut blocks = vec![table.block()];
    if t.left_out > 0 {
        blocks.push(Block::text(format!("{} holes that need less are left out here.", t.left_out)));
    }
    blocks.push(Block::text("+ more smoke than before, ! beyond the job's limit for a port."));
    blocks
}
