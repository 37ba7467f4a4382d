//! Warnings of a prediction gathered for people: the same remark at several places of one pipe is told once, at its worst
//! place. Not here: what is warned of (the airflow engine), and what follows for a verdict (the procedure).
use crate::places::Forest;
use plumeline_airflow::warnings::{Remark, Warning};
use plumeline_base::pipework::Pipework;
use std::collections::{BTreeMap, BTreeSet};

/// Stretches of numbers that are told after the worst place, at most.
const NAMED: usize = 8;

/// How bad a remark is among its own kind; the greatest is the worst.
fn badness(what: &Remark) -> f64 {
    match *what {
        Remark::Starved(x) | Remark::Unbalanced(x) | Remark::SlowHole(x) => -x,
        Remark::Transition(x)
        | Remark::Backflow(x)
        | Remark::Slow(x)
        | Remark::OutsideFanCurve(x)
        | Remark::RisingFanCurve(x)
        | Remark::VeryRough(x)
        | Remark::Fast(x) => x,
        _ => 0.0,
    }
}

/// Name of a kind of remark, and its place in the order in which they are told: first what a design must not have.
pub fn kind(what: &Remark) -> (u8, &'static str) {
    match what {
        Remark::Backflow(_) => (0, "backflow"),
        Remark::Starved(_) => (1, "starved"),
        Remark::Slow(_) => (2, "slow"),
        Remark::Unbalanced(_) => (3, "unbalanced"),
        Remark::OutsideFanCurve(_) => (4, "outside-fan-curve"),
        Remark::RisingFanCurve(_) => (5, "rising-fan-curve"),
        Remark::Transition(_) => (6, "transition"),
        Remark::SlowHole(_) => (7, "slow-hole"),
        Remark::VeryRough(_) => (8, "very-rough"),
        Remark::AirBeyondCipm => (9, "air-beyond-formula"),
        Remark::Fast(_) => (10, "fast"),
        _ => (11, "other"),
    }
}

/// Warnings that are told together: their kind, and the inlet that they concern.
type Kind<'a> = ((u8, &'a str), Option<u8>);

/// All warnings, a paragraph for each kind and pipe, with the remark at its worst place. `says` puts a remark into words.
pub fn paragraphs(
    pipework: &Pipework,
    forest: &Forest,
    warnings: &[Warning],
    says: impl Fn(&Remark) -> String,
) -> Vec<(Remark, String)> {
    let mut groups: BTreeMap<Kind<'_>, Vec<&Warning>> = BTreeMap::new();
    for w in warnings {
        groups.entry((kind(&w.what), forest.inlet_at(pipework, w.place))).or_default().push(w);
    }
    groups.into_values().filter_map(|group| paragraph(pipework, forest, &group, &says)).collect()
}

fn paragraph(
    pipework: &Pipework,
    forest: &Forest,
    group: &[&Warning],
    says: impl Fn(&Remark) -> String,
) -> Option<(Remark, String)> {
    let worst = group.iter().max_by(|a, b| badness(&a.what).total_cmp(&badness(&b.what)))?;
    let mut text = format!("{}: {}", forest.full_words(pipework, worst.place), says(&worst.what));
    let told = forest.named(pipework, worst.place);
    let mut others: BTreeMap<String, BTreeSet<u32>> = BTreeMap::new();
    for (name, number) in group.iter().map(|w| forest.named(pipework, w.place)).filter(|n| *n != told) {
        others.entry(name).or_default().extend(number);
    }
    let others: Vec<String> = others.into_iter().map(|(name, numbers)| listed(&name, &numbers)).collect();
    if !others.is_empty() {
        text.push_str(&format!("; less so: {}", others.join("; ")));
    }
    Some((worst.what, text))
}

/// `holes 1 to 3, 7`
fn listed(name: &str, numbers: &BTreeSet<u32>) -> String {
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for &n in numbers {
        match runs.last_mut() {
            Some((_, last)) if n == last.saturating_add(1) => *last = n,
            _ => runs.push((n, n)),
        }
    }
    let more = runs.len().saturating_sub(NAMED);
    runs.truncate(NAMED);
    let mut told: Vec<String> =
        runs.iter().map(|&(a, b)| if a == b { a.to_string() } else { format!("{a} to {b}") }).collect();
    if more > 0 {
        told.push("and more".into());
    }
    match numbers.len() {
        0 => name.to_owned(),
        1 => format!("{name} {}", told.join(", ")),
        _ => format!("{}s {}", name.replacen("the length", "the lengths", 1), told.join(", ")),
    }
}
