//! The settings of a unit, in neutral form: items with a key, a value and a unit, sorted by key.
//!
//! Not here: files (the job crate) and the wire's image (the plumewire driver).
use alloc::{string::String, vec::Vec};
use core::fmt;
use serde::{Deserialize, Serialize};

/// A whole set of settings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// The unit's revision counter of these settings; `None` for settings that no unit holds yet.
    pub revision: Option<u32>,
    /// The items, sorted by key (bytewise), each key once.
    pub items: Vec<Item>,
}

/// One setting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// Key, for example `alarm.1.threshold`.
    pub key: String,
    /// Value.
    pub value: Value,
    /// Unit of a number, for example `%/m` or `s`; `None` where there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
}

/// The value of a setting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Value {
    /// Yes or no.
    Bool(bool),
    /// A whole number.
    Int(i64),
    /// A number.
    Number(f64),
    /// Words.
    Text(String),
    /// Bytes that only the maker understands, kept verbatim.
    Opaque {
        /// The bytes, as hexadecimal digits.
        hex: String,
    },
}
impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bool(true) => f.write_str("yes"),
            Self::Bool(false) => f.write_str("no"),
            Self::Int(n) => write!(f, "{n}"),
            Self::Number(x) => write!(f, "{x}"),
            Self::Text(t) => write!(f, "{t:?}"),
            Self::Opaque { hex } => write!(f, "{} bytes of the maker's own", hex.len() / 2),
        }
    }
}
impl fmt::Display for Item {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} = {}", self.key, self.value)?;
        self.unit.as_ref().map_or(Ok(()), |u| write!(f, " {u}"))
    }
}

/// One difference between two sets of settings.
#[derive(Clone, Debug, PartialEq)]
pub enum Difference {
    /// Only the first set has it.
    Missing(Item),
    /// Only the second set has it.
    Extra(Item),
    /// Both have it, with different values or units.
    Changed {
        /// As in the first set.
        from: Item,
        /// As in the second set.
        to: Item,
    },
}
impl Difference {
    /// The key concerned.
    pub fn key(&self) -> &str {
        match self {
            Self::Missing(i) | Self::Extra(i) | Self::Changed { from: i, .. } => &i.key,
        }
    }
}
impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing(i) => write!(f, "{i} is missing"),
            Self::Extra(i) => write!(f, "{i} was not expected"),
            Self::Changed { from, to } => write!(f, "{from} has become {}", to.value),
        }
    }
}

impl Settings {
    /// Settings from items in any order. `Err` names a key that stands twice.
    ///
    /// A number that is whole becomes a whole number: a unit that was sent 1.0 tells 1, and that is no difference.
    pub fn from_items(revision: Option<u32>, mut items: Vec<Item>) -> Result<Self, String> {
        for item in &mut items {
            // Beyond 2^53 a number of this kind no longer names one whole number.
            if let Value::Number(x) = item.value
                && (x as i64) as f64 == x
                && x.abs() < 9_007_199_254_740_992.0
            {
                item.value = Value::Int(x as i64);
            }
        }
        items.sort_by(|a, b| a.key.as_bytes().cmp(b.key.as_bytes()));
        match items.windows(2).find(|w| w[0].key == w[1].key) {
            Some(w) => Err(w[0].key.clone()),
            None => Ok(Self { revision, items }),
        }
    }
    /// The item with this key.
    pub fn get(&self, key: &str) -> Option<&Item> {
        let at = self.items.binary_search_by(|i| i.key.as_bytes().cmp(key.as_bytes())).ok()?;
        self.items.get(at)
    }
    /// A whole number by key.
    pub fn int(&self, key: &str) -> Option<i64> {
        match self.get(key)?.value {
            Value::Int(n) => Some(n),
            _ => None,
        }
    }
    /// A number by key, whole or not.
    pub fn number(&self, key: &str) -> Option<f64> {
        match self.get(key)?.value {
            Value::Int(n) => Some(n as f64),
            Value::Number(x) => Some(x),
            _ => None,
        }
    }
    /// The items as one text to be hashed: a line for each, key, TAB, kind and value, TAB, unit or nothing, LF. Kinds
    /// are `b:` with yes or no, `i:` and `n:` with a plain decimal (the fewest digits that read back the same),
    /// `t:` with the words, in which `\\`, TAB, CR and LF are written `\\\\`, `\\t`, `\\r` and `\\n`, and `x:` with
    /// hexadecimal digits.
    pub fn canonical(&self) -> String {
        let mut out = String::new();
        for i in &self.items {
            let value = match &i.value {
                Value::Bool(true) => "b:yes".into(),
                Value::Bool(false) => "b:no".into(),
                Value::Int(n) => alloc::format!("i:{n}"),
                Value::Number(x) => alloc::format!("n:{x}"),
                Value::Text(t) => alloc::format!("t:{}", escaped(t)),
                Value::Opaque { hex } => alloc::format!("x:{hex}"),
            };
            let unit = i.unit.as_deref().map(escaped).unwrap_or_default();
            out.push_str(&alloc::format!("{}\t{value}\t{unit}\n", escaped(&i.key)));
        }
        out
    }
    /// Item by item, what differs from `self` in `other`. Revisions are not compared.
    pub fn differences(&self, other: &Self) -> Vec<Difference> {
        let mut out = Vec::new();
        let (mut a, mut b) = (self.items.iter().peekable(), other.items.iter().peekable());
        loop {
            let order = match (a.peek(), b.peek()) {
                (None, None) => return out,
                (Some(_), None) => core::cmp::Ordering::Less,
                (None, Some(_)) => core::cmp::Ordering::Greater,
                (Some(x), Some(y)) => x.key.as_bytes().cmp(y.key.as_bytes()),
            };
            match order {
                core::cmp::Ordering::Less => out.extend(a.next().cloned().map(Difference::Missing)),
                core::cmp::Ordering::Greater => out.extend(b.next().cloned().map(Difference::Extra)),
                core::cmp::Ordering::Equal => {
                    if let (Some(x), Some(y)) = (a.next(), b.next())
                        && x != y
                    {
                        out.push(Difference::Changed { from: x.clone(), to: y.clone() });
                    }
                }
            }
        }
    }
}

fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('\t', "\\t").replace('\r', "\\r").replace('\n', "\\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    fn item(key: &str, n: i64) -> Item {
        Item { key: key.into(), value: Value::Int(n), unit: None }
    }
    #[test]
    fn finds_every_kind_of_difference() {
        let a = Settings::from_items(Some(1), alloc::vec![item("c", 3), item("a", 1), item("b", 2)]).unwrap();
        let b = Settings::from_items(None, alloc::vec![item("b", 9), item("c", 3), item("d", 4)]).unwrap();
        let got = a.differences(&b);
        assert_eq!(
            got,
            [
                Difference::Missing(item("a", 1)),
                Difference::Changed { from: item("b", 2), to: item("b", 9) },
                Difference::Extra(item("d", 4))
            ]
        );
        assert_eq!(a.differences(&a), []);
    }
    #[test]
    fn a_whole_number_is_the_same_however_it_is_written() {
        let of = |value| Settings::from_items(None, alloc::vec![Item { key: "a".into(), value, unit: None }]).unwrap();
        assert_eq!(of(Value::Number(3.0)), of(Value::Int(3)));
        assert_eq!(of(Value::Number(-0.0)), of(Value::Int(0)));
        assert_eq!(of(Value::Number(0.5)).items[0].value, Value::Number(0.5));
        assert_eq!(of(Value::Number(1e300)).items[0].value, Value::Number(1e300));
    }
    #[test]
    fn refuses_a_key_twice() {
        assert_eq!(Settings::from_items(None, alloc::vec![item("a", 1), item("a", 1)]), Err("a".into()));
    }
    #[test]
    fn the_canonical_text_tells_everything_apart() {
        let items = alloc::vec![
            Item { key: "a\tb".into(), value: Value::Text("x\ny\\".into()), unit: None },
            Item { key: "n".into(), value: Value::Number(1e-7), unit: Some("%/m".into()) },
            Item { key: "o".into(), value: Value::Opaque { hex: "00ff".into() }, unit: None },
            Item { key: "y".into(), value: Value::Bool(true), unit: None },
        ];
        let text = Settings::from_items(None, items).unwrap().canonical();
        assert_eq!(text, "a\\tb\tt:x\\ny\\\\\t\nn\tn:0.0000001\t%/m\no\tx:00ff\t\ny\tb:yes\t\n");
    }
}
