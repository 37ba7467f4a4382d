//! A neutral value as a setting of the new model: its word, or its number on the model's own steps.
//!
//! Rounding goes to the side that tells sooner: lower thresholds, shorter delays, narrower bands.
use crate::{
    account::Fate,
    description::{Kind, Slot, Word},
    meaning::{Dimension, Meaning, Takes},
    neutral::{Sense, plain},
    number::{self, Grid, short},
};
use alloc::{
    format,
    string::{String, ToString},
};
use plumeline_detector::settings::{Item, Value};

/// A value in the new model's terms.
pub(super) struct Expressed {
    pub(super) item: Item,
    pub(super) exact: Option<f64>,
    pub(super) fate: Fate,
    pub(super) says: String,
}

/// Why a value has no place in a setting, and what could stand there instead.
pub(super) struct Unfit {
    pub(super) why: String,
    pub(super) nearest: Option<Value>,
}
fn unfit(why: impl Into<String>) -> Unfit {
    Unfit { why: why.into(), nearest: None }
}

/// A number as a value: whole numbers as such, as settings keep them.
pub(super) fn value(x: f64) -> Value {
    if libm::trunc(x) == x && libm::fabs(x) < 9e15 { Value::Int(x as i64) } else { Value::Number(x) }
}

fn item(slot: &Slot, value: Value) -> Item {
    let unit = match &slot.kind {
        Kind::Number { unit, .. } => unit.clone(),
        _ => None,
    };
    Item { key: slot.key.clone(), value, unit }
}

/// The value `sense` as this setting. `from` is the old item's unit, for the words about a conversion.
pub(super) fn express(slot: &Slot, sense: &Sense, from: Option<&Item>) -> Result<Expressed, Unfit> {
    let kept = |value: Value| Expressed { item: item(slot, value), exact: None, fate: Fate::Kept, says: String::new() };
    match (&slot.kind, sense) {
        (Kind::Switch, Sense::Switch(on)) => Ok(kept(Value::Bool(*on))),
        (Kind::Words(words), Sense::Switch(_) | Sense::Function(_) | Sense::Contact(_)) => {
            let means = |w: &Word| match (w, sense) {
                (Word::Switch(a), Sense::Switch(b)) => a == b,
                (Word::Function(a), Sense::Function(b)) => a == b,
                (Word::Contact(a), Sense::Contact(b)) => a == b,
                _ => false,
            };
            let says = match sense {
                Sense::Function(f) => f.to_string(),
                Sense::Contact(c) => c.to_string(),
                Sense::Switch(on) => if *on { "yes" } else { "no" }.to_string(),
                _ => String::new(),
            };
            match words.iter().find(|(_, w)| means(w)) {
                Some((word, _)) => Ok(kept(Value::Text(word.clone()))),
                None => Err(unfit(format!("the new unit has no word for \"{says}\" here"))),
            }
        }
        (Kind::Number { unit, low, high, step }, Sense::Number(x)) => {
            let Takes::Number(dimension) = slot.meaning.takes() else {
                return Err(unfit("the new unit takes a number here"));
            };
            number(slot, dimension, *x, (unit.as_deref(), *low, *high, *step), from)
        }
        (_, Sense::AsItIs(value)) => match slot.check(value) {
            Ok(()) => Ok(kept(value.clone())),
            Err(why) => Err(unfit(why)),
        },
        _ => Err(unfit("the new unit takes another kind of value here")),
    }
}

fn number(
    slot: &Slot,
    dimension: Dimension,
    neutral: f64,
    (unit, low, high, step): (Option<&str>, f64, f64, f64),
    from: Option<&Item>,
) -> Result<Expressed, Unfit> {
    let (Some(exact), Some(grid)) = (number::stated(dimension, neutral, unit), Grid::of(step)) else {
        return Err(unfit("the value can't be stated in the new unit's terms"));
    };
    let shown = |x: f64| unit.map_or_else(|| short(x, 5), |u| format!("{} {u}", short(x, 5)));
    let on_step = grid.exact(exact);
    // Settings without a side that tells sooner are not rounded by themselves.
    let rounds = matches!(
        slot.meaning,
        Meaning::Threshold { .. } | Meaning::Delay(_) | Meaning::FlowLow | Meaning::FlowHigh | Meaning::FlowDelay
    );
    let rounded = on_step.unwrap_or_else(|| grid.down(exact));
    if on_step.is_none() && !rounds {
        let nearest = Some(value(grid.near(exact))).filter(|_| (low..=high).contains(&grid.near(exact)));
        return Err(Unfit {
            why: format!("{} is between the new unit's steps of {}", shown(exact), shown(step)),
            nearest,
        });
    }
    if !(low..=high).contains(&rounded) {
        let end = if rounded < low { low } else { high };
        return Err(Unfit {
            why: format!("{} is outside of what the new unit takes, {} to {}", shown(exact), shown(low), shown(high)),
            nearest: Some(value(end)),
        });
    }
    let from_unit = from.and_then(|i| i.unit.as_deref());
    let formula = number::formula(dimension, from_unit, unit);
    let same_unit = from.is_some() && from_unit == unit;
    let mut says = formula.map_or_else(String::new, |f| format!("{f} = {}", shown(exact)));
    let fate = if on_step.is_none() {
        let sep = if says.is_empty() { "" } else { "; " };
        says.push_str(&format!(
            "{sep}down to a step of {}: {}",
            shown(step),
            effect(slot.meaning, exact, rounded, unit)
        ));
        Fate::Rounded
    } else if same_unit {
        Fate::Kept
    } else {
        Fate::Converted
    };
    Ok(Expressed { item: item(slot, value(rounded)), exact: Some(exact), fate, says })
}

/// What rounding down does.
fn effect(meaning: Meaning, exact: f64, rounded: f64, unit: Option<&str>) -> String {
    let by = |what: &str| format!("{} {} {what}", short(exact - rounded, 2), unit.unwrap_or_default());
    match meaning {
        Meaning::Threshold { .. } => {
            format!("{} % more sensitive", short((exact - rounded) / exact * 100.0, 2))
        }
        Meaning::FlowLow | Meaning::FlowHigh => by("narrower"),
        _ => by("sooner"),
    }
}

/// A value that was decided, as the setting keeps it.
pub(super) fn decided(slot: &Slot, given: &Value) -> Result<Item, String> {
    slot.check(given)?;
    let kept = match (&slot.kind, plain(given)) {
        (Kind::Number { step, .. }, Some(x)) => value(Grid::of(*step).and_then(|g| g.exact(x)).unwrap_or(x)),
        _ => given.clone(),
    };
    Ok(item(slot, kept))
}
