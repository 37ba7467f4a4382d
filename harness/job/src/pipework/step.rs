//! What a step of a run is, and which keys may stand together in it.
//!
//! Not here: what a step does; see the runs.
use super::{bounds, raw::Step};
use crate::{
    error::{Kind, Problem, Source, choices},
    written::{Q, Spanned, Written},
};

const ROW: &[&str] = &["first", "every"];
const DIAMETER: &[&str] = &["diameter"];
const PIPE: &[&str] = &["bore", "roughness", "rise", "temperature"];
const HOLE: &[&str] = &["discharge", "outside", "reachable", "blocked"];
const DROP: &[&str] = &["drop"];
const PLACE: &[&str] = &["label", "where"];
const BASIS: &[&str] = &["basis"];

/// What a step can be, with the groups of further keys that have a meaning then.
pub(crate) const WHAT: &[(&str, &[&[&str]])] = &[
    ("pipe", &[PIPE, BASIS]),
    ("fitting", &[&["count", "k"]]),
    ("hole", &[HOLE, DROP, PLACE, BASIS]),
    ("holes", &[DIAMETER, ROW, PIPE, HOLE, DROP, PLACE, BASIS]),
    ("holes_at", &[DIAMETER, PIPE, HOLE, DROP, PLACE, BASIS]),
    ("cap", &[HOLE, PLACE, BASIS]),
    ("open", &[HOLE, PLACE, BASIS]),
    ("branch", &[&["bore", "k_branch", "k_run"]]),
    ("mark", &[]),
    ("join", &[]),
];

/// What a step is, with the value that says so.
pub(super) enum Is<'a> {
    Pipe(&'a Q<bounds::Length>),
    Fitting(&'a Spanned<String>),
    Hole(&'a Q<bounds::Diameter>),
    Holes(&'a Spanned<i64>),
    HolesAt(&'a Spanned<Vec<Q<bounds::Distance>>>),
    Cap(&'a Spanned<Written>),
    Open(&'a Spanned<bool>),
    Branch(&'a Spanned<Vec<Spanned<Step>>>),
    Mark(&'a Spanned<String>),
    Join(&'a Spanned<String>),
}

/// What a step is, by the one key that says so; its other keys belong to that.
pub(super) fn kind_of<'a>(source: &Source<'_>, step: &'a Spanned<Step>) -> Result<Is<'a>, Problem> {
    let s = step.as_ref();
    let mut kinds = WHAT.iter().filter(|(what, _)| s.keys().any(|(key, _)| key == *what));
    let Some((what, with)) = kinds.next() else {
        return Err(says_nothing(source, step));
    };
    if let Some((other, _)) = kinds.next() {
        let cause = format!("the step says both `{what}` and `{other}`");
        return Err(source.problem(Kind::Conflict, step.span(), cause, "make two steps of it"));
    }
    if let Some((key, span)) = s.keys().find(|(key, _)| key != what && !with.concat().contains(key)) {
        let cause = format!("`{key}` has no meaning in a `{what}` step");
        let remedy = match with {
            [] => format!("a `{what}` step has no further keys"),
            _ => format!("with `{what}` go: {}", with.concat().join(", ")),
        };
        return Err(source.problem(Kind::UnknownKey, span, cause, remedy));
    }
    let w = &s.what;
    let is = w.pipe.as_ref().map(Is::Pipe);
    let is = is.or(w.fitting.as_ref().map(Is::Fitting)).or(w.hole.as_ref().map(Is::Hole));
    let is = is.or(w.holes.as_ref().map(Is::Holes)).or(w.holes_at.as_ref().map(Is::HolesAt));
    let is = is.or(w.cap.as_ref().map(Is::Cap)).or(w.open.as_ref().map(Is::Open));
    let is = is.or(w.branch.as_ref().map(Is::Branch)).or(w.mark.as_ref().map(Is::Mark));
    is.or(w.join.as_ref().map(Is::Join)).ok_or_else(|| says_nothing(source, step))
}

fn says_nothing(source: &Source<'_>, step: &Spanned<Step>) -> Problem {
    let remedy = format!("give the step one of the keys {}", choices(WHAT.iter().map(|(w, _)| *w)));
    source.problem(Kind::MissingKey, step.span(), "the step does not say what it is", remedy)
}
