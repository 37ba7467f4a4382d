//! Verdicts, and how they combine. They start undecided, and only evidence moves them.
use core::fmt;
use serde::{Deserialize, Serialize};

/// What a check, a stage or a job comes to.
///
/// The default is [`Verdict::Undecided`]: missing, stale, skipped or interrupted evidence is never a pass.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Shown by evidence to hold.
    Pass,
    /// Not shown either way. Not a pass.
    #[default]
    Undecided,
    /// Shown by evidence not to hold.
    Fail,
}

impl Verdict {
    /// The verdict over both: a failure anywhere fails, anything undecided leaves undecided.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        self.max(other)
    }
    /// The verdict over all; undecided when there is nothing (an empty run shows nothing).
    pub fn over(all: impl IntoIterator<Item = Self>) -> Self {
        all.into_iter().reduce(Self::and).unwrap_or_default()
    }
    /// True only for [`Verdict::Pass`].
    pub fn is_pass(self) -> bool {
        self == Self::Pass
    }
    /// The plain word: `pass`, `undecided` or `fail`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Undecided => "undecided",
            Self::Fail => "fail",
        }
    }
}
impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

#[cfg(test)]
mod tests {
    use super::Verdict::{self, *};
    #[test]
    fn nothing_is_undecided_and_the_worst_wins() {
        assert_eq!(Verdict::over([]), Undecided);
        assert_eq!(Verdict::default(), Undecided);
        assert_eq!(Verdict::over([Pass, Pass]), Pass);
        assert_eq!(Verdict::over([Pass, Undecided]), Undecided);
        assert_eq!(Verdict::over([Fail, Undecided, Pass]), Fail);
    }
}
