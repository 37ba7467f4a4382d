//! A pipe's flow against the outgoing unit's as found, translated to this unit.
use core::fmt;

const AIR_ENTERS: &str = "air enters that did not before (the pipe not fully seated, a cap off), or the outgoing unit's filter was clogged, its fan slow";
const BLOCKED: &str =
    "holes blocked or a pipe crushed since, or the outgoing unit drew through a leak that is now shut";

/// How the outgoing unit's flow is translated to this unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum How {
    /// Both units' fans are known.
    Network,
    /// Only the pattern between the pipes.
    Pattern,
}
impl fmt::Display for How {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Network => "translated by the network",
            Self::Pattern => "by the pattern between the pipes alone: the outgoing unit's fan is not stated",
        })
    }
}

facts! {
    unchanged(how, percent) = "as-found.unchanged", Pass,
        "flow against the outgoing unit's as found, {how}: {percent} %, no change that shows. That nothing changed does not show that anything was sound";
    more_explained(how, percent) = "as-found.more-explained", Pass,
        "flow differs from the outgoing unit's as found, {how}: {percent} %. This pipe and every hole of it are shown on this unit, so the difference was the outgoing unit's",
        likely AIR_ENTERS;
    less_explained(how, percent) = "as-found.less-explained", Pass,
        "flow differs from the outgoing unit's as found, {how}: {percent} %. This pipe and every hole of it are shown on this unit, so the difference was the outgoing unit's",
        likely BLOCKED;
    more(how, percent) = "as-found.more", Undecided,
        "flow differs from the outgoing unit's as found, {how}: {percent} %", likely AIR_ENTERS,
        next "look at the seat and the caps of this pipe, and at the filter of the outgoing unit";
    less(how, percent) = "as-found.less", Undecided,
        "flow differs from the outgoing unit's as found, {how}: {percent} %", likely BLOCKED,
        next "look at the holes of this pipe; show each of them to draw";
}
