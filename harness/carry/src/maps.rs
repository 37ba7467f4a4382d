//! Which level, inlet and output of the old unit becomes which of the new one: where it is plain by itself, and where a
//! person has to say.
//!
//! Not here: the single settings of each.
use crate::{
    account::Open,
    decision::{About, Choice, Decision, DecisionFault},
    description::{Description, Kind, Output, Slot, Word},
    meaning::{Contact, Function, Meaning},
    neutral::{Seen, Sense},
};
use alloc::{
    format,
    string::{String, ToString},
    vec,
    vec::Vec,
};

/// Old and new numbers that belong together.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Map {
    pub(crate) pairs: Vec<(u8, u8)>,
    /// The decision that it rests on.
    pub(crate) decision: Option<usize>,
    /// What has to be decided first; the pairs are then a proposal.
    pub(crate) open: Option<Open>,
}
impl Map {
    pub(crate) fn new_of(&self, old: u8) -> Option<u8> {
        self.pairs.iter().find(|p| p.0 == old).map(|p| p.1)
    }
    pub(crate) fn old_of(&self, new: u8) -> Option<u8> {
        self.pairs.iter().find(|p| p.1 == new).map(|p| p.0)
    }
    fn plain(pairs: Vec<(u8, u8)>) -> Self {
        Self { pairs, decision: None, open: None }
    }
}

/// The decided pairs, each number at most once and none beyond what there is.
fn decided(
    (index, decision): (usize, &Decision),
    what: &str,
    old: &[u8],
    new: &[u8],
) -> Result<Vec<(u8, u8)>, DecisionFault> {
    let fault = |cause: String, remedy: &str| DecisionFault { index, cause, remedy: remedy.to_string() };
    let Choice::Map(pairs) = &decision.choice else {
        return Err(fault(
            format!("{what}s are decided by pairs of numbers"),
            "write them as [[1, 1], [2, 2]]: old, new",
        ));
    };
    for (i, (a, b)) in pairs.iter().enumerate() {
        for (side, n, there) in [("old", a, old), ("new", b, new)] {
            if !there.contains(n) {
                let has: Vec<String> = there.iter().map(u8::to_string).collect();
                let cause = format!("the {side} unit has no {what} {n}");
                return Err(fault(cause, &format!("it has {}", has.join(", "))));
            }
        }
        if pairs.iter().take(i).any(|(c, d)| c == a || d == b) {
            return Err(fault(format!("a {what} stands twice in the pairs"), "pair each number once"));
        }
    }
    Ok(pairs.clone())
}

/// Levels: by number where both units have as many, else a person says.
pub(crate) fn levels(
    old: &Seen<'_>,
    to: &Description,
    decision: Option<(usize, &Decision)>,
) -> Result<Map, DecisionFault> {
    let old_levels: Vec<u8> =
        (1..=u8::MAX).filter(|n| old.get(Meaning::Threshold { set: 1, level: *n }).is_some()).collect();
    let new_levels: Vec<u8> = (1..=to.levels).collect();
    if let Some((index, d)) = decision {
        let mut pairs = decided((index, d), "level", &old_levels, &new_levels)?;
        pairs.sort_unstable();
        if pairs.windows(2).any(|w| w[1].1 < w[0].1) {
            let cause =
                "a lower level of the old unit becomes a higher one of the new unit than a higher one does".into();
            return Err(DecisionFault { index, cause, remedy: "pair the levels in their order".into() });
        }
        return Ok(Map { pairs, decision: Some(index), open: None });
    }
    let pairs: Vec<_> = old_levels.iter().copied().zip(new_levels.iter().copied()).collect();
    if old_levels.len() == new_levels.len() {
        return Ok(Map::plain(pairs));
    }
    let why = format!(
        "the old unit has {} alarm levels, the new one {}: say which becomes which, by what each of them sets off",
        old_levels.len(),
        new_levels.len()
    );
    let choices = vec![Choice::Map(pairs.clone())];
    Ok(Map { pairs, decision: None, open: Some(Open { about: About::Levels, why, choices }) })
}

fn list(numbers: &[u8]) -> String {
    let all: Vec<String> = numbers.iter().map(u8::to_string).collect();
    if all.is_empty() { "none".to_string() } else { all.join(", ") }
}

/// Inlets: by number where the pipes are in the same ones, else a person says. `piped` are those that carry a pipe in the
/// job's pipework.
pub(crate) fn inlets(old: &Seen<'_>, piped: &[u8], decision: Option<(usize, &Decision)>) -> Result<Map, DecisionFault> {
    let known = (1..=old.inlets).any(|n| old.get(Meaning::InletPipe(n)).is_some());
    let used: Vec<u8> = (1..=old.inlets).filter(|n| old.switch(Meaning::InletPipe(*n)) == Some(true)).collect();
    let used = if known { used } else { piped.to_vec() };
    if let Some((index, d)) = decision {
        let mut pairs = decided((index, d), "inlet with a pipe", &used, piped)?;
        if pairs.len() != used.len() || pairs.len() != piped.len() {
            let cause = format!(
                "the pairs leave a pipe out: the old unit has pipes in inlets {}, pipework.toml in {}",
                list(&used),
                list(piped)
            );
            return Err(DecisionFault { index, cause, remedy: "pair every pipe, or correct pipework.toml".into() });
        }
        pairs.sort_unstable();
        return Ok(Map { pairs, decision: Some(index), open: None });
    }
    if used == piped {
        return Ok(Map::plain(used.iter().map(|n| (*n, *n)).collect()));
    }
    let pairs: Vec<_> = used.iter().copied().zip(piped.iter().copied()).collect();
    let why = format!(
        "the old unit has pipes in inlets {}, pipework.toml has them in {}: say which inlet becomes which, or correct \
         pipework.toml",
        list(&used),
        list(piped)
    );
    let choices = if used.len() == piped.len() { vec![Choice::Map(pairs.clone())] } else { Vec::new() };
    Ok(Map { pairs, decision: None, open: Some(Open { about: About::Inlets, why, choices }) })
}

/// What an old output follows, in the old unit's terms.
pub(crate) fn old_function(old: &Seen<'_>, output: &Output) -> Function {
    old.function(Meaning::OutputFunction(output.number)).or(output.fixed).unwrap_or(Function::Nothing)
}
/// What an old output's contact does.
pub(crate) fn old_contact(old: &Seen<'_>, output: &Output) -> Contact {
    old.contact(Meaning::OutputContact(output.number)).unwrap_or(output.contact)
}
/// A function in the new unit's terms; `None` for a level that is not carried over.
pub(crate) fn translated(function: Function, levels: &Map) -> Option<Function> {
    match function {
        Function::Level(n) => levels.new_of(n).map(Function::Level),
        other => Some(other),
    }
}

/// Can this new output follow that?
fn allows(to: &Description, output: &Output, function: Function) -> bool {
    match to.meaning(Meaning::OutputFunction(output.number)) {
        Some(slot) => offers(slot, &Sense::Function(function)),
        None => output.fixed == Some(function),
    }
}
fn offers(slot: &Slot, sense: &Sense) -> bool {
    let Kind::Words(words) = &slot.kind else { return false };
    words.iter().any(|(_, w)| match (w, sense) {
        (Word::Function(a), Sense::Function(b)) => a == b,
        (Word::Contact(a), Sense::Contact(b)) => a == b,
        _ => false,
    })
}

/// Can the new output's contact act as the old one's did?
fn contact_fits(to: &Description, new: &Output, contact: Contact) -> bool {
    match to.meaning(Meaning::OutputContact(new.number)) {
        Some(slot) => offers(slot, &Sense::Contact(contact)),
        None => new.contact == Contact::ChangesOver || new.contact == contact,
    }
}

/// Outputs by what they follow. An output keeps its number where it can; what no new output can follow is in `left`.
pub(crate) struct Outputs {
    pub(crate) map: Map,
    /// Old outputs in use that go nowhere, with the reason.
    pub(crate) left: Vec<(u8, String)>,
}

pub(crate) fn outputs(
    old: &Seen<'_>,
    from: &Description,
    to: &Description,
    levels: &Map,
    decision: Option<(usize, &Decision)>,
) -> Result<Outputs, DecisionFault> {
    let numbers = |d: &Description| d.outputs.iter().map(|o| o.number).collect::<Vec<u8>>();
    let mut left = Vec::new();
    let mut pairs: Vec<(u8, u8)>;
    let mut index = None;
    if let Some((at, d)) = decision {
        index = Some(at);
        pairs = decided((at, d), "output", &numbers(from), &numbers(to))?;
        for (a, b) in &pairs {
            let (Some(a), Some(b)) = (from.output(*a), to.output(*b)) else { continue };
            let fits = translated(old_function(old, a), levels).is_some_and(|f| allows(to, b, f));
            if !fits {
                let cause = format!(
                    "output {} can't take over what output {} follows ({})",
                    b.number,
                    a.number,
                    old_function(old, a)
                );
                let remedy = "pair it with another output, or leave it out of the pairs".into();
                return Err(DecisionFault { index: at, cause, remedy });
            }
        }
    } else {
        pairs = by_function(old, from, to, levels);
    }
    for o in &from.outputs {
        let function = old_function(old, o);
        if function != Function::Nothing && !pairs.iter().any(|p| p.0 == o.number) {
            let why = match translated(function, levels) {
                None => format!("it follows {function}, which is not carried over"),
                Some(f) if to.outputs.iter().any(|n| allows(to, n, f)) => {
                    format!("it follows {function}, and no output of the new unit is left for that")
                }
                Some(_) => format!("it follows {function}, which no output of the new unit can follow"),
            };
            left.push((o.number, why));
        }
    }
    // Outputs that nothing follows go with each other, the same number first.
    let idle = |o: &&Output| old_function(old, o) == Function::Nothing;
    for same in [true, false] {
        for o in from.outputs.iter().filter(idle) {
            let free = to.outputs.iter().find(|n| {
                !pairs.iter().any(|p| p.1 == n.number)
                    && allows(to, n, Function::Nothing)
                    && (!same || n.number == o.number)
            });
            if let (Some(n), false) = (free, pairs.iter().any(|p| p.0 == o.number)) {
                pairs.push((o.number, n.number));
            }
        }
    }
    pairs.sort_unstable();
    let open = if decision.is_none() { misfit(old, from, to, &pairs) } else { None };
    Ok(Outputs { map: Map { pairs, decision: index, open }, left })
}

fn by_function(old: &Seen<'_>, from: &Description, to: &Description, levels: &Map) -> Vec<(u8, u8)> {
    let mut pairs: Vec<(u8, u8)> = Vec::new();
    let wanted: Vec<(u8, Function)> = from
        .outputs
        .iter()
        .filter_map(|o| Some((o.number, translated(old_function(old, o), levels)?)))
        .filter(|(_, f)| *f != Function::Nothing)
        .collect();
    // What can go to one place only goes there first; then who keeps its number; then the rest in order.
    for pass in 0..3 {
        for (number, function) in &wanted {
            if pairs.iter().any(|p| p.0 == *number) {
                continue;
            }
            let fit = |n: &&Output| {
                let fixed = to.meaning(Meaning::OutputFunction(n.number)).is_none();
                !pairs.iter().any(|p| p.1 == n.number)
                    && allows(to, n, *function)
                    && match pass {
                        0 => fixed,
                        1 => n.number == *number,
                        _ => true,
                    }
            };
            if let Some(n) = to.outputs.iter().find(fit) {
                pairs.push((*number, n.number));
            }
        }
    }
    pairs
}

/// Contacts that can't act as the old ones did have to be seen by a person.
fn misfit(old: &Seen<'_>, from: &Description, to: &Description, pairs: &[(u8, u8)]) -> Option<Open> {
    let mut which = Vec::new();
    let used = pairs.iter().filter_map(|(a, b)| Some((from.output(*a)?, to.output(*b)?)));
    for (a, b) in used.filter(|(a, _)| old_function(old, a) != Function::Nothing) {
        let contact = old_contact(old, a);
        if !contact_fits(to, b, contact) {
            which.push(format!("{} {contact}, {} {}", a.number, b.number, b.contact));
        }
    }
    if which.is_empty() {
        return None;
    }
    let why = format!(
        "contacts act in another way (old, new output: {}): see at the terminals which side is wired, then confirm the pairs",
        which.join("; ")
    );
    let real = |p: &&(u8, u8)| from.output(p.0).is_some_and(|o| old_function(old, o) != Function::Nothing);
    let pairs = pairs.iter().filter(real).copied().collect();
    Some(Open { about: About::Outputs, why, choices: vec![Choice::Map(pairs)] })
}
