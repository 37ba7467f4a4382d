//! What can be found, each kind of finding declared once: its stable code, the verdict it usually carries, and the sentences
//! that people read. All sentences of findings stand in this folder and nowhere else.
//!
//! A row of `facts!` makes a function that gives a `Fact` from typed values; [`known`] lists all rows for the documents
//! and the tests. Codes are part of the record: programs and tests match them, so a code is never given another meaning.
//! Not here: how a fact is arrived at (`crate::judge`) and what was measured ([`crate::Finding`]).
use alloc::{
    borrow::Cow,
    collections::BTreeMap,
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::fmt;
use plumeline_base::{Verdict, input::Answer};
use serde::{Deserialize, Serialize};

/// The stable name of a kind of finding, such as `supervise.fault-late`.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(transparent)]
pub struct Code(Cow<'static, str>);
impl Code {
    /// The code as it is written in files.
    pub fn as_str(&self) -> &str {
        &self.0
    }
    pub(crate) const fn of(code: &'static str) -> Self {
        Self(Cow::Borrowed(code))
    }
}
impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
impl PartialEq<str> for Code {
    fn eq(&self, other: &str) -> bool {
        self.0 == other
    }
}
impl PartialEq<&str> for Code {
    fn eq(&self, other: &&str) -> bool {
        self.0 == *other
    }
}

/// The reason behind an answer, where one was given.
pub(crate) struct Reason<'a>(pub(crate) &'a Answer);
impl fmt::Display for Reason<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.words().filter(|why| !why.is_empty()).map_or(Ok(()), |why| write!(f, ": {why}"))
    }
}

/// A revision of settings, where the unit counts them.
#[derive(Clone, Copy)]
pub(crate) struct Revision(pub(crate) Option<u64>);
impl fmt::Display for Revision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Some(n) => n.fmt(f),
            None => f.write_str("uncounted"),
        }
    }
}

/// One thing found: its code, what fills its sentences, and the sentences.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Fact {
    pub(crate) code: Code,
    pub(crate) verdict: Verdict,
    pub(crate) says: String,
    pub(crate) likely: Option<String>,
    pub(crate) next: Option<String>,
    /// The values that fill the sentences, by name.
    pub(crate) told: BTreeMap<Cow<'static, str>, String>,
}

/// A kind of finding, for documents, tests, and whoever reads a code and its values out of a file.
#[derive(Clone, Copy, Debug)]
pub struct Known {
    /// Its code.
    pub code: &'static str,
    /// The verdict that it usually carries; a decision rule may say otherwise.
    pub verdict: Verdict,
    /// Its sentence, with `{names}` for what fills it.
    pub says: &'static str,
    /// What it most likely means.
    pub likely: Option<&'static str>,
    /// What to do next.
    pub next: Option<&'static str>,
    /// What it rests on beside the unit, or in place of it.
    pub by: Option<By>,
}

/// What a finding rests on beside the unit, or in place of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// A person's word alone.
    Word,
    /// What a person saw or read off an instrument.
    Eye,
    /// What the panel showed.
    Panel,
}

impl Known {
    /// The kind with this code.
    pub fn find(code: &str) -> Option<&'static Self> {
        known().find(|k| k.code == code)
    }
    /// The fact that these values make; `None` where one is missing.
    pub(crate) fn with(&'static self, told: BTreeMap<Cow<'static, str>, String>) -> Option<Fact> {
        let words = |words: Option<&str>| words.map_or(Some(None), |w| fill(w, &told).map(Some));
        Some(Fact {
            code: Code::of(self.code),
            verdict: self.verdict,
            says: fill(self.says, &told)?,
            likely: words(self.likely)?,
            next: words(self.next)?,
            told,
        })
    }
}

/// Words with a value for each `{name}`.
fn fill(words: &str, told: &BTreeMap<Cow<'static, str>, String>) -> Option<String> {
    let mut parts = words.split('{');
    let mut filled = String::from(parts.next()?);
    for part in parts {
        let (name, rest) = part.split_once('}')?;
        filled += told.get(name)?;
        filled += rest;
    }
    Some(filled)
}

/// Declares kinds of findings: `name(values) = "code", Verdict, "sentence", likely "...", next "...", by Word;` Words that several
/// rows share are a `const`, named in place of the literal.
macro_rules! facts {
    ($($name:ident($($value:ident),*) = $code:literal, $verdict:ident, $says:literal
        $(, likely $likely:tt)? $(, next $next:tt)? $(, by $by:ident)?;)*) => {
        $(pub(crate) fn $name($($value: impl core::fmt::Display),*) -> $crate::facts::Fact {
            $crate::facts::Fact {
                code: $crate::facts::Code::of($code),
                verdict: plumeline_base::Verdict::$verdict,
                says: alloc::format!($says),
                likely: $crate::facts::filled!($($likely)?),
                next: $crate::facts::filled!($($next)?),
                told: $crate::facts::told(&[$((stringify!($value), &$value as &dyn core::fmt::Display)),*]),
            }
        })*
        /// The kinds of findings of this file.
        pub(super) const KNOWN: &[$crate::facts::Known] = &[$($crate::facts::Known {
            code: $code,
            verdict: plumeline_base::Verdict::$verdict,
            says: $says,
            likely: $crate::facts::words!($($likely)?),
            next: $crate::facts::words!($($next)?),
            by: $crate::facts::by!($($by)?),
        }),*];
    };
}
macro_rules! filled {
    () => {
        None
    };
    ($words:literal) => {
        Some(alloc::format!($words))
    };
    ($words:ident) => {
        Some(alloc::string::String::from($words))
    };
}
macro_rules! words {
    () => {
        None
    };
    ($words:tt) => {
        Some($words)
    };
}
macro_rules! by {
    () => {
        None
    };
    ($by:ident) => {
        Some($crate::facts::By::$by)
    };
}
pub(crate) use {by, filled, words};

macro_rules! topics {
    ($($topic:ident)*) => {
        $(pub(crate) mod $topic;)*
        const TOPICS: &[&[Known]] = &[$($topic::KNOWN),*];
    };
}
topics! {
    alarms
    as_found
    baseline
    checklist
    clock
    close
    dilution
    ended
    flow
    held
    holes
    inhibit
    inlets
    instrument
    isolate
    load
    log
    logger
    meter
    missed
    outgoing
    outputs
    presence
    purge
    readings
    restore
    smoke
    states
    suction
    supervise
    supply
    unit
}

/// Names joined by commas.
pub(crate) fn list<T: fmt::Display>(items: impl IntoIterator<Item = T>) -> String {
    items.into_iter().map(|i| i.to_string()).collect::<Vec<_>>().join(", ")
}
/// A number with this many decimals.
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    format!("{value:.decimals$}")
}
/// A number with its sign.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    // What rounds to nothing has no sign.
    if text.chars().all(|c| matches!(c, '-' | '0' | '.')) { format!("{:+.decimals$}", 0.0) } else { text }
}
/// A number with its sign and its expanded uncertainty.
pub(crate) fn give_or_take(value: f64, expanded: f64, decimals: usize) -> String {
    format!("{} ± {expanded:.decimals$}", signed(value, decimals))
}

fn told(values: &[(&'static str, &dyn fmt::Display)]) -> BTreeMap<Cow<'static, str>, String> {
    values.iter().map(|(name, value)| (Cow::Borrowed(*name), value.to_string())).collect()
}

/// Every kind of finding that there is, by topic.
pub fn known() -> impl Iterator<Item = &'static Known> {
    TOPICS.iter().copied().flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::collections::BTreeSet;

    #[test]
    fn each_code_stands_once_and_is_a_plain_word() {
        let mut seen = BTreeSet::new();
        for k in known() {
            assert!(seen.insert(k.code), "{} stands twice", k.code);
            let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '.' | '-');
            assert!(k.code.contains('.') && k.code.chars().all(plain), "{}", k.code);
            assert!(!k.says.is_empty() && !k.says.ends_with('.'), "{}: {}", k.code, k.says);
            // What fills the sentences is a name and nothing else: whoever reads the record can fill them too.
            for words in [Some(k.says), k.likely, k.next].into_iter().flatten() {
                let names = words.split('{').skip(1).map(|part| part.split_once('}').map_or("", |(name, _)| name));
                let told = names.map(|name| (Cow::from(name), String::from("value"))).collect::<BTreeMap<_, _>>();
                let plain =
                    |name: &Cow<str>| !name.is_empty() && name.chars().all(|c| c.is_ascii_lowercase() || c == '_');
                assert!(told.keys().all(plain), "{}: {words}", k.code);
                assert!(fill(words, &told).is_some_and(|w| !w.contains(['{', '}'])), "{}: {words}", k.code);
            }
        }
        assert!(!seen.is_empty());
    }
    #[test]
    fn a_code_and_its_values_give_the_same_fact() {
        let fact = restore::not_given_back("no answer", "look at the {cable}");
        let known = Known::find("restore.not-given-back").unwrap();
        assert_eq!(known.with(fact.told.clone()), Some(fact));
        assert_eq!(known.with(BTreeMap::new()), None);
        assert!(Known::find("restore.nothing").is_none());
    }
}
