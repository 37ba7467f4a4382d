//! What people at the site call a hole, and the order in which they walk: as it is written, and read.
//!
//! Not here: the rule by which they walk where nothing is written; see [`Pipework::walking_order`].
use super::{build::Builder, raw::Step};
use crate::{
    error::{Kind, Problem, Source, quoted},
    written::{Spanned, whole},
};
use plumeline_base::pipework::{Pipework, Walked, Whereabouts};
use serde::{
    Deserialize, Deserializer,
    de::{Error, SeqAccess, Visitor},
};
use std::{
    collections::{BTreeMap, BTreeSet},
    fmt,
};

/// Longest label, characters.
pub(super) const LABEL: usize = 40;
/// Longest words for a place, characters.
pub(super) const PLACE: usize = 120;

/// One text, or a list with one for each hole.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(untagged, inline))]
pub(crate) enum TextOrEach {
    One(String),
    Each(Vec<Spanned<String>>),
}
impl<'de> Deserialize<'de> for TextOrEach {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct AsWritten;
        impl<'de> Visitor<'de> for AsWritten {
            type Value = TextOrEach;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a text in quotes, or a list of them, one for each hole")
            }
            fn visit_str<E: Error>(self, v: &str) -> Result<TextOrEach, E> {
                Ok(TextOrEach::One(v.to_owned()))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<TextOrEach, A::Error> {
                let mut all = Vec::new();
                while let Some(v) = seq.next_element()? {
                    all.push(v);
                }
                Ok(TextOrEach::Each(all))
            }
        }
        d.deserialize_any(AsWritten)
    }
}

/// A pipe of the walk.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct OnTheWalk {
    /// The inlet that carries the pipe.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = super::MAX_INLETS)))]
    inlet: Spanned<i64>,
    /// Numbers of its holes, in the order in which a person reaches them; those left out come after them.
    #[serde(default)]
    holes: Vec<Spanned<i64>>,
}

impl Builder<'_> {
    /// What the `i`th of `n` holes of a step is called: the hole that was entered last.
    pub(super) fn name_last(&mut self, step: &Spanned<Step>, i: usize, n: usize) -> Result<(), Problem> {
        let of = &step.as_ref().of_place;
        let last = self.openings.len().saturating_sub(1);
        if let Some(label) = &of.label {
            let text = match label.as_ref() {
                TextOrEach::One(_) if n > 1 => {
                    let cause = format!("one label stands for {n} holes");
                    let remedy = "give a list with one for each; where they all are goes into `where`";
                    return Err(self.source.problem(Kind::Conflict, label.span(), cause, remedy));
                }
                _ => self.text(label, "label", i, n)?,
            };
            self.label(last, &text, label)?;
        }
        if let Some(place) = &of.place {
            let text = self.text(place, "where", i, n)?;
            self.place(last, &text, place)?;
        }
        Ok(())
    }

    /// The `i`th of `n` texts.
    fn text(&self, written: &Spanned<TextOrEach>, key: &str, i: usize, n: usize) -> Result<String, Problem> {
        match written.as_ref() {
            TextOrEach::One(text) => Ok(text.clone()),
            TextOrEach::Each(all) => {
                all.get(i).filter(|_| all.len() == n).map(|s| s.as_ref().clone()).ok_or_else(|| {
                    let cause =
                        format!("`{key}` has {} texts for {n} {}", all.len(), if n == 1 { "hole" } else { "holes" });
                    let remedy = "give one for each hole, or one text in quotes";
                    self.source.problem(Kind::Conflict, written.span(), cause, remedy)
                })
            }
        }
    }

    /// Labels an opening. `written`: where that stands.
    pub(super) fn label<T>(&mut self, opening: usize, text: &str, written: &Spanned<T>) -> Result<(), Problem> {
        let text = fits(self.source, text, written, "label", LABEL)?;
        if let Some(o) = self.openings.get_mut(opening) {
            o.whereabouts.label = text;
            self.labels.insert(opening, written.span());
        }
        Ok(())
    }
    /// Says where an opening is. `written`: where that stands.
    pub(super) fn place<T>(&mut self, opening: usize, text: &str, written: &Spanned<T>) -> Result<(), Problem> {
        let text = fits(self.source, text, written, "where", PLACE)?;
        if let Some(o) = self.openings.get_mut(opening) {
            o.whereabouts.place = text;
        }
        Ok(())
    }

    /// Nobody can tell two holes with one label apart.
    pub(super) fn check_labels(&self) -> Result<(), Problem> {
        let mut seen = BTreeSet::new();
        for (opening, span) in &self.labels {
            let Some(Whereabouts { label, .. }) = self.openings.get(*opening).map(|o| &o.whereabouts) else { continue };
            if !seen.insert(label) {
                let cause = format!("the label {} stands twice", quoted(label));
                return Err(self.source.problem(Kind::Duplicate, span.clone(), cause, "give each hole its own label"));
            }
        }
        Ok(())
    }
}

/// A text of one line at most so long.
fn fits<T>(source: &Source<'_>, text: &str, at: &Spanned<T>, key: &str, most: usize) -> Result<String, Problem> {
    let text = text.trim();
    let count = text.chars().count();
    if (1..=most).contains(&count) && !text.contains(['\n', '\r']) {
        return Ok(text.to_owned());
    }
    let cause = match count {
        0 => format!("`{key}` is empty"),
        n if n > most => format!("`{key}` has {n} characters"),
        _ => format!("`{key}` has more than one line"),
    };
    let remedy = format!("write one line of 1 to {most} characters, or remove the key");
    Err(source.problem(Kind::Range, at.span(), cause, remedy))
}

/// The stated walk: pipes and holes that there are, each once.
pub(super) fn walk(
    source: &Source<'_>,
    written: &[Spanned<OnTheWalk>],
    pipework: &Pipework,
) -> Result<Vec<Walked>, Problem> {
    let mut holes: BTreeMap<u8, BTreeSet<u32>> = BTreeMap::new();
    for (inlet, owned) in pipework.inlets.iter().zip(pipework.openings_by_inlet()).filter(|(i, _)| i.node.is_some()) {
        holes.insert(inlet.number, owned.iter().filter_map(|k| pipework.openings.get(*k)).map(|o| o.number).collect());
    }
    let mut walk: Vec<Walked> = Vec::new();
    for on in written {
        let on = on.as_ref();
        let inlet: u8 = whole(source, &on.inlet, 1, super::MAX_INLETS as i64, "an inlet's number")?;
        let Some(there) = holes.get(&inlet) else {
            let cause = format!("inlet {inlet} carries no pipe to walk along");
            return Err(source.problem(Kind::UnknownName, on.inlet.span(), cause, "name inlets that carry a pipe"));
        };
        if walk.iter().any(|w| w.inlet == inlet) {
            let cause = format!("the walk comes to pipe {inlet} twice");
            let remedy =
                "name each pipe once: its holes are done before the next pipe's, because they are judged together";
            return Err(source.problem(Kind::Duplicate, on.inlet.span(), cause, remedy));
        }
        let mut seen = BTreeSet::new();
        for hole in &on.holes {
            let number: u32 = whole(source, hole, 1, super::MAX_OPENINGS as i64, "a hole's number")?;
            if !there.contains(&number) {
                let cause = format!("pipe {inlet} has no hole {number}");
                let remedy = "name holes of this pipe; those that are left out come after them";
                return Err(source.problem(Kind::UnknownName, hole.span(), cause, remedy));
            }
            if !seen.insert(number) {
                let cause = format!("the walk comes to hole {number} of pipe {inlet} twice");
                return Err(source.problem(Kind::Duplicate, hole.span(), cause, "name each hole once"));
            }
        }
        walk.push(Walked { inlet, holes: on.holes.iter().filter_map(|n| u32::try_from(*n.as_ref()).ok()).collect() });
    }
    Ok(walk)
}
