//! What is proven again when something was put right: one table beside that of the stages. The documents' table comes from it.
//!
//! Not here: who decides it, and when (`crate::stages`).
use crate::{
    outcome::{Finding, Subject},
    stage::{StageKind, Traits},
};
use alloc::{collections::BTreeSet, vec::Vec};

/// Something that a person can put right on the spot.
#[derive(Clone, Copy, Debug)]
pub struct Mending {
    /// The word that names it in what the person says.
    pub word: &'static str,
    /// What was done, in plain words.
    pub what: &'static str,
    /// Stages that are always proven again.
    stages: &'static [StageKind],
    /// And those of which this holds.
    holds: fn(&Traits) -> bool,
}

const fn none(_: &Traits) -> bool {
    false
}
const fn on_start(t: &Traits) -> bool {
    t.bound_to_start
}
const fn on_settings(t: &Traits) -> bool {
    t.bound_to_settings
}

/// What can be put right, and what that makes void.
pub const MENDINGS: &[Mending] = &[
    Mending {
        word: "hole",
        what: "a hole was cleared, opened or closed as it should be",
        stages: &[
            StageKind::ProveFlow,
            StageKind::Baseline,
            StageKind::ProveSmoke,
            StageKind::Purge,
            StageKind::LastLook,
        ],
        holds: none,
    },
    Mending { word: "pipe", what: "a pipe was refitted, sealed or changed", stages: &[], holds: on_start },
    Mending { word: "settings", what: "settings were corrected", stages: &[StageKind::Load], holds: on_settings },
    Mending { word: "unit", what: "the unit was restarted or opened", stages: &[], holds: on_start },
    Mending {
        word: "exchange",
        what: "another unit was fitted",
        stages: &[StageKind::Swap, StageKind::Boot, StageKind::Load],
        holds: on_settings,
    },
    Mending { word: "output", what: "an output's wire was put right", stages: &[StageKind::Outputs], holds: none },
    Mending {
        word: "supply",
        what: "mains, battery or their wires were put right",
        stages: &[StageKind::Supply],
        holds: none,
    },
    Mending { word: "other", what: "anything else", stages: &[], holds: on_settings },
];

impl Mending {
    /// The stages that are proven again, as far as they were done.
    pub fn voids(&self) -> Vec<StageKind> {
        StageKind::with(self.holds)
            .into_iter()
            .chain(self.stages.iter().copied())
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect()
    }
    /// What these words say was put right: all that they name, else by what was found. What nobody can tell makes everything
    /// void that it could touch.
    pub(crate) fn said<'a>(words: &str, found: impl IntoIterator<Item = &'a Finding>) -> Vec<&'static Self> {
        let named = |word: &str| MENDINGS.iter().find(|m| m.word == word || word.strip_suffix('s') == Some(m.word));
        let words = words.to_lowercase();
        let words: Vec<&str> = words.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
        let all = words.iter().enumerate().filter_map(|(i, w)| Some((i, named(w).filter(|m| m.word != "other")?)));
        let (places, things): (Vec<_>, Vec<_>) = all.partition(|(i, _)| is_place(&words, *i));
        // Where only places are named, the first of them is what was put right.
        let said: BTreeSet<&str> = if things.is_empty() { &places[..places.len().min(1)] } else { &things[..] }
            .iter()
            .map(|(_, m)| m.word)
            .collect();
        if !said.is_empty() {
            return said.into_iter().filter_map(named).collect();
        }
        let by_subject = found.into_iter().map(|f| match (&f.subject, f.stage) {
            (Subject::Hole(..), _) => "hole",
            (Subject::Pipe(_), _) => "pipe",
            (Subject::Setting(_), _) => "settings",
            (Subject::Output(_), _) => "output",
            (_, StageKind::Supply) => "supply",
            _ => "other",
        });
        let words: BTreeSet<&str> = by_subject.collect();
        if words.is_empty() {
            MENDINGS.iter().filter(|m| m.word == "other").collect()
        } else {
            words.into_iter().filter_map(named).collect()
        }
    }
}

/// Words after which a thing is a place.
const BEFORE_A_PLACE: [&str; 8] = ["of", "at", "in", "on", "to", "from", "by", "near"];

/// This word says where something was done: "hole 3 *of pipe* 1", "*pipe* 1 hole 3", "at the *unit*".
fn is_place(words: &[&str], at: usize) -> bool {
    let article = |w: &&&str| !matches!(**w, "the" | "this" | "that");
    let before = words[..at].iter().rev().find(article);
    let of_a_hole = words.get(at + 2).is_some_and(|w| *w == "hole") && words[at + 1].parse::<u32>().is_ok();
    before.is_some_and(|w| BEFORE_A_PLACE.contains(w)) || of_a_hole
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::load;

    #[test]
    fn the_words_name_it_and_else_what_was_found_does() {
        let said =
            |words: &str, found: &[Finding]| Mending::said(words, found).iter().map(|m| m.word).collect::<Vec<_>>();
        let of = |subject| Finding::of(StageKind::ProveFlow, subject, load::no_restart());
        assert_eq!(said("Hole 4 cleared", &[of(Subject::Pipe(1))]), ["hole"]);
        assert_eq!(said("both pipes pushed home", &[]), ["pipe"]);
        // All that is named, and no place.
        assert_eq!(said("hole 3 cleared, and pipe 1 refitted", &[]), ["hole", "pipe"]);
        for words in
            ["hole 3 of pipe 1 opened", "pipe 1, hole 3 opened", "hole 3 cleared near the unit", "cleared it at hole 3"]
        {
            assert_eq!(said(words, &[]), ["hole"], "{words}");
        }
        assert_eq!(said("the other hole cleared", &[]), ["hole"]);
        assert_eq!(said("cleared it", &[of(Subject::Hole(1, 2)), of(Subject::Pipe(2))]), ["hole", "pipe"]);
        // Nobody can tell: everything that rests on the unit and its settings.
        assert_eq!(said("did something", &[]), ["other"]);
        assert!(!Mending::said("did something", &[])[0].voids().is_empty());
    }
    #[test]
    fn every_mending_voids_something_and_nothing_that_isolates() {
        for m in MENDINGS {
            let voids = m.voids();
            assert!(!voids.is_empty() && !voids.contains(&StageKind::Isolate) && !voids.contains(&StageKind::Restore));
        }
        let pipe = MENDINGS.iter().find(|m| m.word == "pipe").map(Mending::voids).unwrap_or_default();
        assert!(pipe.contains(&StageKind::Settle) && pipe.contains(&StageKind::Baseline));
    }
}
