//! What a person says of what must be done before anything else.
use crate::{
    facts::isolate as fact,
    outcome::{Finding, StageKind, Subject},
};

/// What keeps people and the site safe while the job runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Safeguard {
    /// The zone is isolated at the panel.
    Zone,
    /// Release circuits are locked off.
    Lock,
    /// Those who must know were told.
    People,
}

/// Done, or the reason why that is not shown.
pub(crate) fn answered(safeguard: Safeguard, done: Result<(), &str>) -> Finding {
    let fact = match (safeguard, done) {
        (Safeguard::Zone, Ok(())) => fact::zone_isolated(),
        (Safeguard::Zone, Err(why)) => fact::zone_not_shown(why),
        (Safeguard::Lock, Ok(())) => fact::locked_off(),
        (Safeguard::Lock, Err(why)) => fact::lock_not_shown(why),
        (Safeguard::People, Ok(())) => fact::told_people(),
        (Safeguard::People, Err(why)) => fact::telling_not_shown(why),
    };
    Finding::of(StageKind::Isolate, Subject::Zone, fact)
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_base::Verdict;

    #[test]
    fn only_what_was_done_passes() {
        for safeguard in [Safeguard::Zone, Safeguard::Lock, Safeguard::People] {
            assert_eq!(answered(safeguard, Ok(())).verdict, Verdict::Pass);
            let open = answered(safeguard, Err("no key"));
            assert_eq!(open.verdict, Verdict::Undecided);
            assert_eq!(open.told["why"], "no key");
        }
    }
}
