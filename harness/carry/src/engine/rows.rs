//! The rows of the account: every new item with what answers it, then every old item that nothing took up.
use super::{
    Carry, Maps,
    book::{Book, Entry},
    express::{self, Expressed, express},
};
use crate::{
    account::{Account, Fate, New, Open, Row},
    decision::{About, Choice, DecisionFault},
    description::Slot,
    maps::{Map, old_contact, old_function, translated},
    meaning::{Contact, Dimension, Function, Meaning},
    neutral::{Seen, SeenItem, Sense, plain},
    number::{self, short},
};
use alloc::{
    format,
    string::{String, ToString},
    vec,
    vec::Vec,
};
use plumeline_detector::settings::Item;

/// Shares that change by less are the same: far under what any pipework is known to.
const SAME_SHARE: f64 = 0.01;

/// What answers a new item.
struct Answer<'s, 'a> {
    from: Vec<&'s SeenItem<'a>>,
    sense: Result<Sense, String>,
    /// The pairs that it rests on.
    map: Option<&'s Map>,
}
impl<'s, 'a> Answer<'s, 'a> {
    fn of(item: &'s SeenItem<'a>, map: Option<&'s Map>) -> Self {
        Self { from: vec![item], sense: Ok(item.sense.clone()), map }
    }
    fn nothing(why: impl Into<String>) -> Self {
        Self { from: Vec::new(), sense: Err(why.into()), map: None }
    }
    fn items(&self) -> Vec<Item> {
        self.from.iter().map(|s| s.item.clone()).collect()
    }
}

pub(super) fn rows(
    c: &Carry<'_>,
    old: &Seen<'_>,
    maps: &Maps,
    book: &Book<'_>,
    inlets: u8,
    account: &mut Account,
) -> Result<(), DecisionFault> {
    let mut rows = Vec::new();
    for slot in c.to.slots_with(inlets) {
        let answer = answer(c, old, maps, slot);
        rows.push(match book.new_item(&slot.key) {
            Some(entry) => decided(slot, &answer, entry, account)?,
            None => plainly(slot, &answer, account),
        });
    }
    for seen in &old.items {
        let carried = rows.iter().find(|r| r.old.iter().any(|i| i.key == seen.item.key));
        match (carried, book.old(&seen.item.key)) {
            (Some(row), Some((index, _))) => {
                let into = row.new.as_ref().map_or("", |n| n.key.as_str());
                return Err(DecisionFault {
                    index,
                    cause: format!("`{}` is carried over into `{into}`: there is nothing to leave out", seen.item.key),
                    remedy: "take it out of the decision".into(),
                });
            }
            (Some(_), None) => {}
            (None, _) => {
                let row = left(c, old, maps, book, seen, account);
                rows.push(row);
            }
        }
    }
    rows.sort_by_key(|r| (r.group(), r.meaning, place(r)));
    account.rows = rows;
    Ok(())
}

fn place(row: &Row) -> String {
    let key = row.new.as_ref().map(|n| n.key.clone());
    key.or_else(|| row.old.first().map(|i| i.key.clone())).unwrap_or_default()
}

fn answer<'s, 'a>(c: &Carry<'_>, old: &'s Seen<'a>, maps: &'s Maps, slot: &Slot) -> Answer<'s, 'a> {
    let level = |n: u8| maps.levels.old_of(n);
    let no_level =
        || Answer { map: Some(&maps.levels), ..Answer::nothing("no level of the old unit becomes this one") };
    let by_level = |meaning: Option<Meaning>| {
        meaning.map_or_else(no_level, |m| match old.get(m) {
            Some(item) => Answer::of(item, Some(&maps.levels)),
            None => Answer { map: Some(&maps.levels), ..Answer::nothing("nothing in the old settings says") },
        })
    };
    match slot.meaning {
        Meaning::Threshold { set, level: n } => by_level(level(n).map(|level| Meaning::Threshold { set, level })),
        Meaning::Delay(n) => by_level(level(n).map(Meaning::Delay)),
        Meaning::Latching(n) => match (level(n), old.get(Meaning::LatchingAll)) {
            (Some(_), Some(all)) => Answer::of(all, Some(&maps.levels)),
            (m, _) => by_level(m.map(Meaning::Latching)),
        },
        Meaning::LatchingAll => latching_all(old, &maps.levels),
        Meaning::InletPipe(n) => inlet(old, maps, n),
        Meaning::OutputFunction(n) => {
            let map = Some(&maps.outputs.map);
            let paired = maps.outputs.map.old_of(n).and_then(|m| Some((m, c.from.output(m)?)));
            match paired {
                Some((m, output)) => Answer {
                    from: old.get(Meaning::OutputFunction(m)).into_iter().collect(),
                    sense: translated(old_function(old, output), &maps.levels)
                        .map(Sense::Function)
                        .ok_or_else(|| "it follows a level that is not carried over".to_string()),
                    map,
                },
                None if maps.outputs.map.decision.is_some() => {
                    Answer { from: Vec::new(), sense: Ok(Sense::Function(Function::Nothing)), map }
                }
                None => Answer::nothing("no output of the old unit needs this one"),
            }
        }
        Meaning::OutputContact(n) => {
            let map = Some(&maps.outputs.map);
            match maps.outputs.map.old_of(n).and_then(|m| Some((m, c.from.output(m)?))) {
                Some((m, output)) => {
                    let from = old.get(Meaning::OutputContact(m)).into_iter().collect();
                    Answer { from, sense: Ok(Sense::Contact(old_contact(old, output))), map }
                }
                None => Answer::nothing("no output of the old unit needs this one"),
            }
        }
        Meaning::OutputLatching(n) => {
            let item = maps.outputs.map.old_of(n).and_then(|m| old.get(Meaning::OutputLatching(m)));
            item.map_or_else(
                || Answer::nothing("nothing in the old settings says whether it latches"),
                |i| Answer::of(i, Some(&maps.outputs.map)),
            )
        }
        Meaning::Fan | Meaning::Vendor if !c.from.is_model(c.to) => {
            let from: Vec<_> = old.get(slot.meaning).into_iter().collect();
            let why = match (slot.meaning, from.is_empty()) {
                (Meaning::Vendor, _) => "only the maker knows what it means",
                (_, true) => "nothing in the old settings says",
                (_, false) => "another fan: its setting says nothing of this one's; choose it by `plumeline predict`",
            };
            Answer { from, ..Answer::nothing(why) }
        }
        Meaning::Vendor => old.key(&slot.key).map_or_else(
            || Answer::nothing("nothing in the old settings says"),
            |i| Answer { from: vec![i], sense: Ok(Sense::AsItIs(i.item.value.clone())), map: None },
        ),
        meaning => old
            .get(meaning)
            .map_or_else(|| Answer::nothing("nothing in the old settings says"), |i| Answer::of(i, None)),
    }
}

fn latching_all<'s, 'a>(old: &'s Seen<'a>, levels: &'s Map) -> Answer<'s, 'a> {
    if let Some(all) = old.get(Meaning::LatchingAll) {
        return Answer::of(all, None);
    }
    let from: Vec<_> = levels.pairs.iter().filter_map(|(n, _)| old.get(Meaning::Latching(*n))).collect();
    let sense = match from.split_first() {
        Some((first, rest)) if rest.iter().all(|i| i.sense == first.sense) => Ok(first.sense.clone()),
        Some(_) => Err("the old unit's levels differ in this; here they are all alike".to_string()),
        None => Err("nothing in the old settings says".to_string()),
    };
    Answer { from, sense, map: Some(levels) }
}

fn inlet<'s, 'a>(old: &'s Seen<'a>, maps: &'s Maps, n: u8) -> Answer<'s, 'a> {
    let map = Some(&maps.pipes);
    if let Some(m) = maps.pipes.old_of(n) {
        return old.get(Meaning::InletPipe(m)).map_or_else(
            || Answer::nothing("nothing in the old settings says; pipework.toml has a pipe here"),
            |i| Answer { from: vec![i], sense: Ok(Sense::Switch(true)), map },
        );
    }
    match old.get(Meaning::InletPipe(n)) {
        Some(i) if i.sense == Sense::Switch(false) => Answer::of(i, map),
        _ if maps.pipes.decision.is_some() => Answer { from: Vec::new(), sense: Ok(Sense::Switch(false)), map },
        _ => Answer::nothing("the old unit has no such inlet; pipework.toml has no pipe here"),
    }
}

/// A new item that a person decided about.
fn decided(
    slot: &Slot,
    answer: &Answer<'_, '_>,
    (index, decision): Entry<'_>,
    account: &Account,
) -> Result<Row, DecisionFault> {
    let fault = |cause: String, remedy: &str| DecisionFault { index, cause, remedy: remedy.into() };
    let made = match &decision.choice {
        Choice::Default => {
            let Some(default) = &slot.default else {
                let cause = format!("the description states no default for `{}`", slot.key);
                return Err(fault(cause, "choose a value"));
            };
            by_person(slot, default, "as the factory delivers it")
        }
        Choice::Value(given) => by_person(slot, given, ""),
        choice => threshold(slot, answer, choice, account),
    };
    let made = made.map_err(|why| fault(format!("`{}`: {why}", slot.key), "correct the decision"))?;
    let mut row = row(slot, answer.items(), made);
    row.decision = Some(index);
    Ok(row)
}

fn by_person(slot: &Slot, given: &plumeline_detector::settings::Value, says: &str) -> Result<Expressed, String> {
    let item = express::decided(slot, given)?;
    Ok(Expressed { item, exact: None, fate: Fate::Decided, says: says.into() })
}

/// A threshold by the old number, or by what the holes need.
fn threshold(slot: &Slot, answer: &Answer<'_, '_>, choice: &Choice, account: &Account) -> Result<Expressed, String> {
    if !matches!(slot.meaning, Meaning::Threshold { .. }) {
        return Err("this choice is for thresholds only; give a value or `default`".into());
    }
    let k = match &answer.sense {
        Ok(Sense::Number(k)) => *k,
        Ok(_) => return Err("the old unit has no number here".into()),
        Err(why) => return Err(format!("{why}: give a value")),
    };
    let from = answer.from.first().map(|s| s.item);
    if *choice == Choice::SameNumber {
        return express(slot, &Sense::Number(k), from).map_err(|u| u.why);
    }
    let most = account.holes.as_ref().and_then(|h| h.most_diluted());
    let (hole, ratio) =
        most.ok_or("the obscuration at the holes could not be computed: keep the number, or give a value")?;
    if ratio <= 0.0 {
        return Err(format!(
            "hole {} of pipe {} draws nothing with the new unit: no threshold makes up for that",
            hole.number, hole.inlet
        ));
    }
    let made = express(slot, &Sense::Number(k * ratio), None).map_err(|u| u.why)?;
    let unit = made.item.unit.clone().unwrap_or_default();
    let number = number::stated(Dimension::Obscuration, k, Some(&unit)).unwrap_or_default();
    let rounded = if made.says.is_empty() { String::new() } else { format!("; {}", made.says) };
    let says = format!(
        "the same number would be {} {unit}; the same computed hole obscuration is {} {unit}, as hole {} of pipe {} has {} % of \
         the unit's flow, {} % before{rounded}",
        short(number, 4),
        short(made.exact.unwrap_or_default(), 4),
        hole.number,
        hole.inlet,
        short(hole.share_after * 100.0, 3),
        short(hole.share_before * 100.0, 3),
    );
    Ok(Expressed { fate: Fate::Decided, says, ..made })
}

fn row(slot: &Slot, old: Vec<Item>, made: Expressed) -> Row {
    Row {
        meaning: slot.meaning,
        old,
        new: Some(New { key: slot.key.clone(), item: Some(made.item), exact: made.exact }),
        fate: made.fate,
        says: made.says,
        decision: None,
    }
}

/// A new item that nobody decided about: what the old unit says, if that is plain.
fn plainly(slot: &Slot, answer: &Answer<'_, '_>, account: &mut Account) -> Row {
    let default = slot.default.as_ref().map(|_| Choice::Default);
    let open = |why: String, choices: Vec<Choice>, account: &mut Account| {
        account.open.push(Open { about: About::New(vec![slot.key.clone()]), why: why.clone(), choices });
        why
    };
    let empty = |says: String| Row {
        meaning: slot.meaning,
        old: answer.items(),
        new: Some(New { key: slot.key.clone(), item: None, exact: None }),
        fate: Fate::Open,
        says,
        decision: None,
    };
    let sense = match &answer.sense {
        Ok(sense) => sense,
        Err(why) => return empty(open(why.clone(), default.into_iter().collect(), account)),
    };
    let made = match express(slot, sense, answer.from.first().map(|s| s.item)) {
        Ok(made) => made,
        Err(unfit) => {
            let nearest = unfit.nearest.map(Choice::Value);
            return empty(open(unfit.why, nearest.into_iter().chain(default).collect(), account));
        }
    };
    let mut row = row(slot, answer.items(), made);
    if let Some(map) = answer.map {
        row.decision = map.decision;
        if answer.from.is_empty() && map.decision.is_some() {
            row.fate = Fate::Decided;
        }
        if map.open.is_some() {
            row.fate = Fate::Open;
            row.says = format!("waits for the pairs of {}s", what(slot.meaning));
        }
    }
    if matches!(slot.meaning, Meaning::Threshold { .. }) {
        let (why, choices) = match &account.holes {
            Some(h) if h.greatest_change() <= SAME_SHARE => return row,
            Some(h) => (
                format!(
                    "the holes' shares of the flow change by up to {} %: keep the number, or the computed hole obscuration",
                    short(h.greatest_change() * 100.0, 2)
                ),
                vec![Choice::SameHoleObscuration, Choice::SameNumber],
            ),
            None => (
                "what the holes need could not be computed: keep the number, or give a value".to_string(),
                vec![Choice::SameNumber],
            ),
        };
        row.says = open(why, choices, account);
        row.fate = Fate::Open;
    }
    row
}

fn what(meaning: Meaning) -> &'static str {
    match meaning {
        Meaning::InletPipe(_) => "inlet",
        Meaning::OutputFunction(_) | Meaning::OutputContact(_) | Meaning::OutputLatching(_) => "output",
        _ => "level",
    }
}

/// An old item that no new one takes up.
fn left(
    c: &Carry<'_>,
    old: &Seen<'_>,
    maps: &Maps,
    book: &Book<'_>,
    seen: &SeenItem<'_>,
    account: &mut Account,
) -> Row {
    let row = |fate, says: String, decision| Row {
        meaning: seen.meaning,
        old: vec![seen.item.clone()],
        new: None,
        fate,
        says,
        decision,
    };
    if let Some((index, _)) = book.old(&seen.item.key) {
        return row(Fate::NoCounterpart, "left out".into(), Some(index));
    }
    let mut why = seen.strange.clone().unwrap_or_else(|| "the new unit has no such setting".to_string());
    match seen.meaning {
        Meaning::Threshold { level: n, .. } | Meaning::Delay(n) | Meaning::Latching(n)
            if maps.levels.new_of(n).is_none() =>
        {
            match (maps.levels.decision, &maps.levels.open) {
                (Some(index), _) => return row(Fate::NoCounterpart, format!("level {n} is left out"), Some(index)),
                (None, Some(_)) => return row(Fate::Open, "waits for the pairs of levels".into(), None),
                (None, None) => {}
            }
        }
        Meaning::InletPipe(n) if maps.pipes.new_of(n).is_some() => {
            let says = "the new unit has no setting for it; pipework.toml has the pipe";
            return row(Fate::NoCounterpart, says.into(), maps.pipes.decision);
        }
        Meaning::OutputFunction(n) | Meaning::OutputContact(n) | Meaning::OutputLatching(n) => {
            let output = c.from.output(n);
            let idle = output.is_some_and(|o| old_function(old, o) == Function::Nothing);
            match (maps.outputs.map.new_of(n), maps.outputs.map.decision) {
                _ if idle => return row(Fate::NoCounterpart, "the output was not used".into(), None),
                (None, Some(index)) => {
                    return row(Fate::NoCounterpart, format!("output {n} is left out"), Some(index));
                }
                (None, None) => {
                    let function = old.get(Meaning::OutputFunction(n));
                    if let Some((index, _)) = function.and_then(|f| book.old(&f.item.key)) {
                        return row(Fate::NoCounterpart, format!("output {n} is left out"), Some(index));
                    }
                    if let Some((_, because)) = maps.outputs.left.iter().find(|(m, _)| *m == n) {
                        why.clone_from(because);
                    }
                }
                (Some(m), index) if !matches!(seen.meaning, Meaning::OutputLatching(_)) => {
                    let new = c.to.output(m);
                    let says = match seen.meaning {
                        Meaning::OutputContact(_) => {
                            format!("no setting: output {m} {}", new.map_or(Contact::ChangesOver, |o| o.contact))
                        }
                        _ => format!("no setting: output {m} always follows this"),
                    };
                    return row(Fate::Kept, says, index);
                }
                _ => {}
            }
        }
        _ => {}
    }
    if seen.sense.is_unused(seen.meaning) {
        return row(Fate::NoCounterpart, "it was not used".into(), None);
    }
    account.open.push(Open {
        about: About::Old(vec![seen.item.key.clone()]),
        why: why.clone(),
        choices: vec![Choice::LeaveOut],
    });
    row(Fate::Open, why, None)
}

/// The new unit's fan setting, and whether it is only proposed.
pub(super) fn fan_setting(c: &Carry<'_>, old: &Seen<'_>, book: &Book<'_>) -> Result<(Option<f64>, bool), ()> {
    let Some(slot) = c.to.meaning(Meaning::Fan) else { return Ok((None, false)) };
    let default = slot.default.as_ref().and_then(plain);
    match book.new_item(&slot.key).map(|(_, d)| &d.choice) {
        Some(Choice::Value(v)) => Ok((plain(v), false)),
        Some(Choice::Default) => Ok((default, false)),
        Some(_) => Err(()),
        None if c.from.is_model(c.to) => Ok((old.number(Meaning::Fan), false)),
        None => Ok((default, true)),
    }
}
