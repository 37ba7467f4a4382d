//! Values in the files that people write: with their place in the text, checked for unit and range; and what TOML
//! itself has to say about a text, with a remedy.
//!
//! Not here: which keys a format has.
use crate::{
    error::{Kind, Problem, Source, choices, nearest, quoted},
    tables,
    units::{self, Dimension},
};
use serde::{
    Deserialize, Deserializer,
    de::{DeserializeOwned, Error, Visitor},
};
use std::{fmt, marker::PhantomData, ops::Range};

/// A value with its place in the text. In a schema it is the value alone.
#[derive(Clone, Debug, Deserialize)]
#[serde(transparent)]
pub struct Spanned<T>(serde_spanned::Spanned<T>);
impl<T> Spanned<T> {
    /// Where it stands in the text, bytes.
    pub fn span(&self) -> Range<usize> {
        self.0.span()
    }
}
impl<T> AsRef<T> for Spanned<T> {
    fn as_ref(&self) -> &T {
        self.0.as_ref()
    }
}

/// A quantity as written, with its place: text with a unit, or a bare number. `B` says what it may be.
#[derive(Clone, Debug, Deserialize)]
#[serde(transparent, bound = "")]
pub(crate) struct Q<B>(Spanned<Written>, PhantomData<B>);
impl<B: Bounded> Q<B> {
    pub(crate) fn span(&self) -> Range<usize> {
        self.0.span()
    }
    /// Its SI value, if it is in bounds.
    pub(crate) fn read(&self, source: &Source<'_>) -> Result<f64, Problem> {
        B::BOUNDS.read(source, &self.0)
    }
}

/// A quantity that may be left out.
pub(crate) trait ReadOr {
    /// Its SI value, if it is in bounds, or `default` where nothing is written.
    fn read_or(&self, source: &Source<'_>, default: f64) -> Result<f64, Problem>;
}
impl<B: Bounded> ReadOr for Option<Q<B>> {
    fn read_or(&self, source: &Source<'_>, default: f64) -> Result<f64, Problem> {
        self.as_ref().map_or(Ok(default), |q| q.read(source))
    }
}

/// What stands for bounds in a type.
pub(crate) trait Bounded {
    const BOUNDS: Bounds;
}

/// Text or a bare number, before it is known which unit is asked for.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Written {
    Text(String),
    Number(f64),
}
impl<'de> Deserialize<'de> for Written {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct AsWritten;
        impl Visitor<'_> for AsWritten {
            type Value = Written;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a value with its unit in quotes, such as \"21 mm\"")
            }
            fn visit_str<E: Error>(self, v: &str) -> Result<Written, E> {
                Ok(Written::Text(v.to_owned()))
            }
            fn visit_i64<E: Error>(self, v: i64) -> Result<Written, E> {
                Ok(Written::Number(v as f64))
            }
            fn visit_f64<E: Error>(self, v: f64) -> Result<Written, E> {
                Ok(Written::Number(v))
            }
        }
        d.deserialize_any(AsWritten)
    }
}

/// What a value may be.
pub(crate) struct Bounds {
    pub(crate) dimension: Dimension,
    /// Lowest and highest value, SI.
    pub(crate) low: f64,
    pub(crate) high: f64,
    /// The lowest value itself is not allowed.
    pub(crate) above_low: bool,
    /// It is measured, and a nominal size of pipe is not it.
    pub(crate) measured: bool,
    /// What it is the value of: `a pipe's length`.
    pub(crate) what: &'static str,
    /// The bounds in plain words, for the remedy.
    pub(crate) says: &'static str,
}

impl Bounds {
    pub(crate) const fn new(dimension: Dimension, low: f64, high: f64, what: &'static str, says: &'static str) -> Self {
        Self { dimension, low, high, above_low: false, measured: false, what, says }
    }
    /// A nominal size of pipe is refused.
    pub(crate) const fn measured(mut self) -> Self {
        self.measured = true;
        self
    }
    /// The lowest value itself is not allowed.
    pub(crate) const fn above(mut self) -> Self {
        self.above_low = true;
        self
    }
    /// The SI value of `q`, if it is in bounds.
    pub(crate) fn read(&self, source: &Source<'_>, q: &Spanned<Written>) -> Result<f64, Problem> {
        self.read_at(source, q.as_ref(), q.span())
    }
    /// The SI value of a written value at a place, if it is in bounds.
    pub(crate) fn read_at(&self, source: &Source<'_>, written: &Written, span: Range<usize>) -> Result<f64, Problem> {
        if let (true, Written::Text(text)) = (self.measured, written)
            && let Some((cause, remedy)) = tables::nominal(text)
        {
            return Err(source.problem(Kind::Range, span, cause, remedy));
        }
        let range = plumeline_procedure::rules::Range { low: self.low, high: self.high, above_low: self.above_low };
        read_in(source, written, span, self.dimension, range, self.what, self.says)
    }
}

/// The SI value of a written value at a place, if it is in range: `what` it is the value of, and what the range `says`.
pub(crate) fn read_in(
    source: &Source<'_>,
    written: &Written,
    span: Range<usize>,
    dimension: Dimension,
    range: plumeline_procedure::rules::Range,
    what: &str,
    says: &str,
) -> Result<f64, Problem> {
    let (value, shown) = match written {
        Written::Text(text) => match units::parse(dimension, text) {
            Ok(v) => (v, quoted(text)),
            Err(e) => return Err(source.problem(e.kind, span, e.cause, e.remedy)),
        },
        Written::Number(v) if dimension.is_bare() => (*v, quoted(&v.to_string())),
        Written::Number(v) => {
            let cause = format!("`{v}` has no unit; {what} needs one");
            return Err(source.problem(Kind::Unit, span, cause, units::remedy(dimension)));
        }
    };
    let whole = dimension != Dimension::Count || value.fract() == 0.0;
    if whole && range.contains(value) {
        return Ok(value);
    }
    let cause = if value < 0.0 && range.low >= 0.0 {
        format!("{shown} is negative; {what} can't be")
    } else {
        format!("{shown} is out of range for {what}")
    };
    Err(source.problem(Kind::Range, span, cause, format!("write {says}")))
}

/// A whole number from `low` to `high`.
pub(crate) fn whole<T: TryFrom<i64>>(
    source: &Source<'_>,
    n: &Spanned<i64>,
    low: i64,
    high: i64,
    what: &str,
) -> Result<T, Problem> {
    let value = *n.as_ref();
    let converted = if (low..=high).contains(&value) { T::try_from(value).ok() } else { None };
    converted.ok_or_else(|| {
        let cause = format!("{value} is out of range for {what}");
        source.problem(Kind::Range, n.span(), cause, format!("write a whole number from {low} to {high}"))
    })
}

/// One of several names.
pub(crate) fn choice<T: Copy>(
    source: &Source<'_>,
    name: &Spanned<String>,
    what: &str,
    known: &[(&'static str, T)],
) -> Result<T, Problem> {
    known
        .iter()
        .find(|(k, _)| k == name.as_ref())
        .map(|(_, v)| *v)
        .ok_or_else(|| unknown_name(source, name, what, known.iter().map(|(k, _)| *k)))
}

/// The refusal of a name that is not known: `what` is what it should be, such as "a stage".
pub fn unknown_name<'a>(
    source: &Source<'_>,
    name: &Spanned<String>,
    what: &str,
    known: impl Iterator<Item = &'a str> + Clone,
) -> Problem {
    let mut cause = format!("{} is not {what}", quoted(name.as_ref()));
    if let Some(near) = nearest(name.as_ref(), known.clone()) {
        cause.push_str(&format!("; did you mean \"{near}\"?"));
    }
    source.problem(Kind::UnknownName, name.span(), cause, format!("use one of {}", choices(known)))
}

/// Refuses a format version that is not read.
///
/// # Errors
/// [`Kind::Version`].
pub fn version(source: &Source<'_>, format: &Spanned<i64>, known: i64) -> Result<(), Problem> {
    if *format.as_ref() == known {
        return Ok(());
    }
    let cause = format!("this file says that its format is {}; this tool reads format {known}", format.as_ref());
    Err(source.problem(Kind::Version, format.span(), cause, "use the version of the tool that wrote the file"))
}

/// Reads a TOML text into its raw form.
///
/// # Errors
/// The first thing that is wrong, with its place and a remedy.
pub fn from_toml<T: DeserializeOwned>(source: &Source<'_>) -> Result<T, Problem> {
    toml::from_str(source.text()).map_err(|e| toml_problem(source, &e))
}

pub(crate) fn toml_problem(source: &Source<'_>, e: &toml::de::Error) -> Problem {
    let span = e.span().unwrap_or(0..0);
    let message = e.message().trim_end();
    let first = message.lines().next().unwrap_or_default();
    let (kind, cause, remedy) = if let Some((cause, remedy)) = unknown_key(first) {
        (Kind::UnknownKey, cause, remedy)
    } else if first.starts_with("missing field") {
        let name = quoted(first.split('`').nth(1).unwrap_or_default());
        (Kind::MissingKey, format!("the key {name} is missing"), format!("add {name} here"))
    } else if ["invalid type", "invalid length", "invalid value"].iter().any(|w| first.starts_with(w)) {
        (Kind::WrongType, first.to_owned(), "write the value as the message says; texts stand in quotes".to_owned())
    } else if first.starts_with("duplicate") {
        (Kind::Duplicate, "the key stands twice".to_owned(), "keep one of the two".to_owned())
    } else {
        let cause = format!("this is not well-formed TOML: {}", message.replace('\n', "; "));
        (
            Kind::Syntax,
            cause,
            "look for a missing quote, comma or bracket near here; TOML is described at toml.io".to_owned(),
        )
    };
    source.problem(kind, span, cause, remedy)
}

/// What serde says of a key that is not known, in our words, with the keys that there are.
fn unknown_key(message: &str) -> Option<(String, String)> {
    // The names in backquotes: the key that is wrong, then the keys that there are.
    let mut names = message.strip_prefix("unknown field")?.split('`').skip(1).step_by(2);
    let given = names.next()?;
    Some(no_such_key(given, &names.collect::<Vec<&str>>()))
}

/// That a key is not known, with the keys that there are.
pub(crate) fn no_such_key(given: &str, known: &[&str]) -> (String, String) {
    let mut cause = format!("there is no key {} here", quoted(given));
    if let Some(near) = nearest(given, known.iter().copied()) {
        cause.push_str(&format!("; did you mean `{near}`?"));
    }
    (cause, format!("the keys here are: {}", known.join(", ")))
}

/// Reads a JSON text.
pub(crate) fn from_json<T: DeserializeOwned>(source: &Source<'_>) -> Result<T, Problem> {
    serde_json::from_str(source.text()).map_err(|e| {
        use serde_json::error::Category;
        let line_start =
            source.text().split_inclusive('\n').take(e.line().saturating_sub(1)).map(str::len).sum::<usize>();
        let at = (line_start + e.column().saturating_sub(1)).min(source.text().len());
        // serde_json ends its message with the place, which the problem states by itself.
        let message = e.to_string();
        let message = message.rsplit_once(" at line ").map_or(message.as_str(), |(m, _)| m);
        if let Some((cause, remedy)) = unknown_key(message) {
            return source.problem(Kind::UnknownKey, at..at + 1, cause, remedy);
        }
        let (kind, cause, remedy) = match e.classify() {
            Category::Data if message.starts_with("missing field") => (Kind::MissingKey, message.to_owned(), "add it"),
            Category::Data => (Kind::WrongType, message.to_owned(), "see the format's JSON Schema in docs/schemas"),
            _ => (
                Kind::Syntax,
                format!("this is not well-formed JSON: {message}"),
                "look for a missing quote, comma or bracket near here",
            ),
        };
        source.problem(kind, at..at + 1, cause, remedy)
    })
}
