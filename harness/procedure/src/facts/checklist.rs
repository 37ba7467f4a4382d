//! What people say of the work by hand.
const DECIDE: &str = "do it, or have whoever is responsible for the site decide, and record it";
facts! {
    done(item, by) = "checklist.done", Pass, "{item}: done, says {by}", by Word;
    not_applicable(item, why, by) = "checklist.not-applicable", Pass, "{item}: not applicable ({why}), says {by}", by Word;
    not_done(item, why) = "checklist.not-done", Undecided, "{item}: not done ({why})", next DECIDE, by Word;
    no_reason(item) = "checklist.no-reason", Undecided, "{item}: said not to apply, without a reason", next DECIDE;
    nobody(item) = "checklist.nobody-named", Undecided, "{item}: who did it was not told", next DECIDE;
}
