//! What a step of a run is, and which keys may stand together in it.
//!
//! Not here: what a step does; see the runs.
use super::raw::Step;
use crate::{
    error::{Kind, Problem, Source, choices},
    written::Spanned,
};

/// The spans of the keys that a step holds.
macro_rules! keys {
    ($step:expr; $($key:ident)*) => { [$((stringify!($key), $step.$key.as_ref().map(|v| v.span()))),*] };
}

/// What a step can be, with the further keys that have a meaning then.
pub(crate) const WHAT: &[(&str, &[&str])] = &[
    ("pipe", &["bore", "roughness", "rise", "temperature", "basis"]),
    ("fitting", &["count", "k"]),
    ("hole", &["discharge", "outside", "reachable", "blocked", "drop", "basis"]),
    (
        "holes",
        &[
            "diameter",
            "first",
            "every",
            "bore",
            "roughness",
            "rise",
            "temperature",
            "discharge",
            "outside",
            "reachable",
            "blocked",
            "drop",
            "basis",
        ],
    ),
    (
        "holes_at",
        &[
            "diameter",
            "bore",
            "roughness",
            "rise",
            "temperature",
            "discharge",
            "outside",
            "reachable",
            "blocked",
            "drop",
            "basis",
        ],
    ),
    ("cap", &["discharge", "outside", "reachable", "blocked", "basis"]),
    ("open", &["discharge", "outside", "reachable", "blocked", "basis"]),
    ("branch", &["bore", "k_branch", "k_run"]),
    ("mark", &[]),
    ("join", &[]),
];

/// What a step is, by the one key that says so; its other keys belong to that.
pub(super) fn kind_of(source: &Source<'_>, step: &Spanned<Step>) -> Result<&'static str, Problem> {
    let s = step.as_ref();
    let keys = keys!(s; pipe fitting hole holes holes_at cap open branch mark join
        diameter first every bore roughness rise temperature count k k_branch k_run
        discharge outside reachable blocked drop basis);
    let mut kinds = WHAT.iter().filter(|(what, _)| keys.iter().any(|(k, span)| k == what && span.is_some()));
    let Some((what, with)) = kinds.next() else {
        let remedy = format!("give the step one of the keys {}", choices(WHAT.iter().map(|(w, _)| *w)));
        return Err(source.problem(Kind::MissingKey, step.span(), "the step does not say what it is", remedy));
    };
    if let Some((other, _)) = kinds.next() {
        let cause = format!("the step says both `{what}` and `{other}`");
        return Err(source.problem(Kind::Conflict, step.span(), cause, "make two steps of it"));
    }
    for (key, span) in keys {
        if let Some(span) = span
            && key != *what
            && !with.contains(&key)
        {
            let cause = format!("`{key}` has no meaning in a `{what}` step");
            let remedy = match with {
                [] => format!("a `{what}` step has no further keys"),
                _ => format!("with `{what}` go: {}", with.join(", ")),
            };
            return Err(source.problem(Kind::UnknownKey, span, cause, remedy));
        }
    }
    Ok(what)
}
