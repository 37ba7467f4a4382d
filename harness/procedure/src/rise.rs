//! What an alarm level did while smoke came to the unit, and while it went.
//!
//! Not here: how that is told from readings, and what follows from it ([`crate::judge::alarms`]).

/// What a level did while smoke was at the unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Rise {
    /// The reading never stood over the threshold for as long as the level needs.
    NotReached,
    /// It rose when it should, so long after its threshold was reached, s.
    InTime(f64),
    /// A person saw it so long after the release, s; at which reading is not known.
    Seen(f64),
    /// It rose although its threshold had not stood for its delay; since when it had, s.
    Early(f64),
    /// It may have risen too soon: readings come too seldom to tell.
    TooSeldom,
    /// It rose so long after its threshold was reached, s.
    Late(f64),
    /// It did not rise although its threshold had stood for so long, s.
    Never(f64),
}
impl Rise {
    /// Of two trials of a level, what counts: what went wrong is not made good by another trial.
    pub(crate) fn and(self, other: Self) -> Self {
        let weight = |r: &Self| match r {
            Self::NotReached => 0,
            Self::TooSeldom => 1,
            Self::InTime(_) | Self::Seen(_) => 2,
            Self::Early(_) | Self::Late(_) | Self::Never(_) => 3,
        };
        if weight(&other) > weight(&self) { other } else { self }
    }
}

/// How a level that was reached went with the smoke: thin smoke goes slowly, so this tells its threshold far more closely
/// than the rise of dense smoke does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Leaving {
    /// It went when the reading fell under its threshold; between these shares of it.
    AtThreshold(f64, f64),
    /// It went while the reading still stood over its threshold, at this share of it.
    Above(f64),
    /// It stayed until the reading had fallen to this share of its threshold.
    Below(f64),
}
impl Leaving {
    /// Of two, what counts: what went wrong is not made good by another time, and two that went well bound the threshold together.
    pub(crate) fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::AtThreshold(a, b), Self::AtThreshold(c, d)) => Self::AtThreshold(a.max(c), b.min(d)),
            (Self::AtThreshold(..), other) => other,
            (wrong, _) => wrong,
        }
    }
}
