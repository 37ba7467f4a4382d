//! By what it was judged, what could have been missed, cautions, and how to check this page.
use super::doc::{Block, Cell, Section, Table};
use crate::{
    input::ReportInput,
    words::{self, dash},
};
use plumeline_procedure::{
    outcome::{DecisionFacts, Finding},
    plan::{HoleChoice, Mark, ReleaseMark},
    rules::{self, Used},
};

/// Stands wherever a verdict is printed.
pub(crate) const CAVEAT: &str = "Local codes, the listing of the unit and a licensed person decide. This tool supports a competent person and replaces no \
     code, no listing and no licence.";

const CAUTIONS: [&str; 7] = [
    "Testing may operate outputs that release extinguishing agent, stop plant or call the fire service. Isolate at the panel and \
     lock off every release circuit physically first; the unit's own inhibit is never the only isolation. Restore afterwards, and \
     prove both.",
    "After an abort or a lost link: smoke off, then purge until obscuration is under the lowest level and latches are reset, then \
     give the outputs back. Never the other way round.",
    "Ladders: two people, firm ground, nothing held in the hand that climbs.",
    "Live supplies: disconnect before working at terminals; measure before touching.",
    "Test smoke in occupied rooms: tell the people there, use the least that serves, and mind other detectors nearby.",
    "Never blow into a unit. Clear pipes and holes outward from the unit's end, with no unit connected.",
    "A moved pipe, an opened cover, a changed filter or fan setting, or a restart of the unit makes the airflow baseline void: prove \
     the flow and take it again.",
];

pub(crate) fn sections(input: &ReportInput<'_>) -> Vec<Section> {
    vec![
        Section::new("limits", "Limits, and where they come from", limits(input)),
        Section::new("rule", "Decision rule and risks", rule(input)),
        Section::new("cautions", "Cautions", vec![Block::text(CAVEAT), Block::list(CAUTIONS)]),
        Section::new("verify", "To check this page against its record", verify(input)),
    ]
}

fn limits(input: &ReportInput<'_>) -> Vec<Block> {
    let plan = input.plan;
    let all = rules::used(plan);
    let (advanced, usual): (Vec<_>, Vec<_>) = all.iter().partition(|u| u.rule.section.starts_with("advanced"));
    let changed = all.iter().filter(|u| u.changed).count();
    let from_memory = all.iter().filter(|u| u.limit.as_ref().is_some_and(|l| l.mark == Mark::FromMemory)).count();
    let mut blocks = vec![Block::text(format!(
        "Every number that a verdict hangs on, by its key in the plan. {changed} of {} differ from what holds where a plan says nothing.",
        all.len()
    ))];
    blocks.push(table("Every limit used, with its source and how well that is known", &usual));
    if from_memory > 0 {
        blocks.push(Block::text(format!(
            "{from_memory} of these limits were written down from memory of the published text. Check them against the text before \
             anything hangs on this verdict."
        )));
    }
    let mark = match plan.smoke.mark {
        ReleaseMark::ByHand => "by the person who released it",
        ReleaseMark::ByRadio => "called over a radio (comes late, corrected for)",
        ReleaseMark::Device => "by a release device",
    };
    let holes = match &plan.holes.choice {
        HoleChoice::Reachable => "every hole in reach".to_owned(),
        HoleChoice::These(these) => format!("{} chosen holes", these.len()),
        HoleChoice::None => "none".to_owned(),
    };
    let battery = &plan.supply.rule;
    blocks.push(Block::facts([
        ("Holes closed in turn", holes),
        ("Moment of release marked", mark.to_owned()),
        ("Battery's capacity", format!("{} ({})", battery.source, battery.mark.words())),
    ]));
    let (changed, preset): (Vec<_>, Vec<_>) = advanced.into_iter().partition(|u| u.changed);
    if !changed.is_empty() {
        blocks.push(table("Rules that few jobs change, and this one did", &changed));
    }
    blocks.push(as_preset(&preset));
    blocks
}

/// Rules in a row: a text that is too long is cut.
const IN_A_ROW: usize = 24;

/// Rules that hold as they are preset: by their keys, one row for each source.
fn as_preset(rules: &[&Used]) -> Block {
    let mut by_source: Vec<(&str, &str, Vec<String>)> = Vec::new();
    for u in rules {
        let (value, source, known) = match &u.limit {
            Some(l) => (u.rule.dimension.shown(l.value), l.source.as_str(), l.mark.words()),
            None => (dash(), "not stated", ""),
        };
        let line = format!("{} {value}", u.rule.path());
        match by_source.iter_mut().find(|(s, k, _)| (*s, *k) == (source, known)) {
            Some((.., lines)) => lines.push(line),
            None => by_source.push((source, known, vec![line])),
        }
    }
    let mut table = Table::new(
        "Rules that few jobs change, as they are preset; what each means stands in the plan's template and in docs/rules.md",
        &["Source, and how well it is known", "Rules"],
    );
    for (source, known, lines) in by_source {
        let rows = lines.chunks(IN_A_ROW);
        table.rows.extend(rows.map(|some| vec![Cell::text(source).below(known), Cell::text(some.join("; "))]));
    }
    table.block()
}

fn table(title: &str, rows: &[&Used]) -> Block {
    let mut table = Table::new(title, &["Rule", "Value", "Source, and how well it is known"]);
    for u in rows {
        let (value, source, known) = match &u.limit {
            Some(l) => (u.rule.dimension.shown(l.value), l.source.as_str(), l.mark.words()),
            None => (dash(), "not stated", ""),
        };
        table.rows.push(vec![
            Cell::text(u.rule.says).below(u.rule.path()),
            Cell::number(value).below(if u.changed { "set for this job" } else { "" }),
            Cell::text(source).below(known),
        ]);
    }
    table.block()
}

/// The range that a decision allows, as words. Bounds alike on both sides of zero are bounds of a difference.
fn allowed(d: &DecisionFacts, unit: &str) -> String {
    let (unit, times) = words::shown_unit(unit);
    let n = |v: f64| words::number(v * times, 2);
    match (d.low, d.high) {
        (Some(a), Some(b)) if a == -b => format!("± {} {unit} off the expected", n(b)),
        (Some(a), Some(b)) => format!("{} to {} {unit}", n(a), n(b)),
        (None, Some(b)) => format!("at most {} {unit}", n(b)),
        (Some(a), None) => format!("at least {} {unit}", n(a)),
        (None, None) => dash(),
    }
}

fn rule(input: &ReportInput<'_>) -> Vec<Block> {
    let r = &input.plan.rule;
    let mut blocks = vec![
        Block::text(
            "A measured value passes when it lies within the limit by at least the guard band, fails when it lies outside by as much, and \
             is undecided between, which is not a pass (decision rules of JCGM 106). Measured and predicted uncertainty are combined; \
             the tolerance comes from what a defect would do, never from how little is known.",
        ),
        Block::facts([
            ("Accepted risk of passing what does not conform, each test by itself", words::percent(r.accept_risk, 2)),
            ("Accepted risk of failing what conforms, all tests of the job together", words::percent(r.reject_risk, 2)),
            ("Coverage of printed intervals", words::percent(r.coverage, 1)),
        ]),
    ];
    let decided = input.outcome.findings.iter().filter_map(|f| f.decision.as_ref());
    let mut rules: Vec<&str> = decided.map(|d| d.rule.as_str()).collect();
    rules.sort_unstable();
    rules.dedup();
    if rules.is_empty() {
        blocks.push(Block::text("No measured value was decided by this rule."));
    } else {
        blocks.push(Block::text(
            "Beside each value that was decided by it stand the range that is allowed, the guard band, and the probability that the value \
             conforms: what is missing to 100 % is the risk that a pass is wrong, and it is itself the risk that a fail is wrong.",
        ));
        blocks.push(Block::list(rules));
    }
    blocks
}

/// How a measured value was decided, in a line.
pub(crate) fn decided(f: &Finding, d: &DecisionFacts) -> String {
    let unit = f.measured.as_ref().or(f.expected.as_ref()).map_or("", |m| m.unit.as_str());
    let (shown, times) = words::shown_unit(unit);
    format!(
        "{}, guard band {} {shown}; conforms with {}",
        allowed(d, unit),
        words::number(d.guard * times, 3),
        words::probability(d.conformity)
    )
}

fn verify(input: &ReportInput<'_>) -> Vec<Block> {
    let or_none = |s: &str| if s.is_empty() { "none".to_owned() } else { s.to_owned() };
    let mut table = Table::new("SHA-256 digests, hexadecimal", &["What", "Digest", "Length"]);
    table.rows.push(vec![
        Cell::text("journal.jsonl, hash of its last line (binds all lines before it)"),
        Cell::text(or_none(&input.digests.journal_head)),
        Cell::text(""),
    ]);
    table.rows.push(vec![
        Cell::text("trace.pcapng, the input log"),
        Cell::text(or_none(&input.digests.trace)),
        Cell::text(""),
    ]);
    for (name, sha256, length) in &input.record.files {
        table.rows.push(vec![
            Cell::text(format!("{name}, as it was read")),
            Cell::text(or_none(sha256)),
            Cell::number(format!("{length} B")),
        ]);
    }
    for note in &input.record.notes_left {
        let code = note.closed.as_deref().unwrap_or(&note.isolated);
        let when = if note.closed.is_some() { "at the end" } else { "out of service" };
        table.rows.push(vec![
            Cell::text(format!("code left in the event log of unit {}, {when}", note.serial)),
            Cell::text(code),
            Cell::text(""),
        ]);
    }
    vec![
        Block::text(
            "This page is derived from the record and can be made again from it. In the job folder, \"plumeline check\" tells whether the \
             journal's chain, the input log and the files still match, and \"plumeline replay\" runs the input log through the same \
             procedure again. If the job is sealed (seal-1.json and so on), \"plumeline check --key\" with the signer's public key also tells \
             whether this page and every other file are as they were signed; this page can't tell that of itself.",
        ),
        table.block(),
    ]
}

/// Room for signatures.
pub(crate) fn sign() -> Table {
    let mut table =
        Table::new("To be signed by hand on paper, or in the site's own system", &["Who", "Name", "Date", "Signature"]);
    for who in ["Technician", "For the site", "Licensed person, where required"] {
        table.rows.push(vec![Cell::text(who), Cell::default(), Cell::default(), Cell::default()]);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_of_a_difference_are_said_to_be_one() {
        let d = |low, high| DecisionFacts {
            conformity: 1.0,
            low,
            high,
            guard: 0.0,
            consumers_risk: 0.0,
            producers_risk: 1.0,
            rule: String::new(),
        };
        assert_eq!(allowed(&d(Some(-4.0), Some(4.0)), "L/min"), "± 4.00 L/min off the expected");
        assert_eq!(allowed(&d(None, Some(120.0)), "s"), "at most 120.00 s");
        assert_eq!(allowed(&d(Some(0.1), Some(0.2)), "1"), "10.00 to 20.00 %");
        assert_eq!(allowed(&d(Some(25.0), None), "Pa"), "at least 25.00 Pa");
    }
}
