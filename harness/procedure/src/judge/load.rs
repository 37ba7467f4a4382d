//! Whether the unit holds the settings that it was sent: at once, and after a restart.
use crate::{
    facts::{Fact, Revision, load as fact},
    outcome::{Finding, StageKind, Subject},
};
use alloc::{vec, vec::Vec};
use plumeline_detector::{
    Abilities, Identity, SettingsState,
    settings::{Difference, Settings},
};

/// When the settings were read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Read {
    /// After they were sent.
    Back,
    /// After a restart.
    AfterRestart,
    /// At a service visit, to which nothing was sent.
    AtVisit,
}

/// The settings that were wanted against those that were read, item by item.
pub(crate) fn items(stage: StageKind, wanted: &Settings, read: &Settings, when: Read) -> Vec<Finding> {
    let differences = wanted.differences(read);
    // A unit that holds nothing shows nothing of how it holds something.
    if wanted.items.is_empty() && differences.is_empty() {
        return vec![Finding::of(stage, Subject::Replacement, fact::none())];
    }
    if differences.is_empty() {
        let items = wanted.items.len();
        let fact = match when {
            Read::Back => fact::read_back(items),
            Read::AfterRestart => fact::kept(items),
            Read::AtVisit => fact::as_left_before(items),
        };
        return vec![Finding::of(stage, Subject::Replacement, fact)];
    }
    let differs = |d: Difference| Finding::of(stage, Subject::Setting(d.key().into()), difference(&d, when));
    differences.into_iter().map(differs).collect()
}

fn difference(d: &Difference, when: Read) -> Fact {
    match (d, when) {
        (Difference::Missing(_), Read::Back) => fact::missing(d),
        (Difference::Extra(_), Read::Back) => fact::extra(d),
        (Difference::Changed { .. }, Read::Back) => fact::changed(d),
        (Difference::Missing(_), Read::AfterRestart) => fact::missing_later(d),
        (Difference::Extra(_), Read::AfterRestart) => fact::extra_later(d),
        (Difference::Changed { .. }, Read::AfterRestart) => fact::changed_later(d),
        (_, Read::AtVisit) => fact::not_as_left_before(d),
    }
}

/// The unit's own account before and after: another digest shows item by item, another revision shows here.
pub(crate) fn revision(stage: StageKind, sent: &SettingsState, held: &SettingsState) -> Finding {
    let digest = held.sha256.get(..12).unwrap_or(&held.sha256);
    let fact = match (sent.revision, held.revision) {
        (_, Some(revision)) if sent == held => fact::same_revision(revision, digest),
        (None, None) if sent == held => fact::same_digest(digest),
        // What differs is found item by item.
        (None, None) => fact::other_digest(digest),
        _ => fact::other_revision(Revision(sent.revision), Revision(held.revision)),
    };
    Finding::of(stage, Subject::Replacement, fact)
}

/// The unit's own account before and after settings were sent: other settings must have a greater revision.
pub(crate) fn counted(stage: StageKind, before: &SettingsState, sent: &SettingsState) -> Option<Finding> {
    let (was, is) = before.revision.zip(sent.revision)?;
    let stuck = before.sha256 != sent.sha256 && is <= was;
    stuck.then(|| Finding::of(stage, Subject::Replacement, fact::revision_stuck(was, is)))
}

/// The unit that answers after the restart is the one that was restarted: all but its boot id is the same.
pub(crate) fn same_unit(before: Option<(&Identity, &Abilities)>, after: (&Identity, &Abilities)) -> bool {
    before.is_some_and(|(was, could)| *was == Identity { boot_id: was.boot_id, ..after.0.clone() } && could == after.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::String;
    use plumeline_base::Verdict;
    use plumeline_detector::settings::{Item, Value};

    fn settings(items: &[(&str, i64)]) -> Settings {
        let item = |(key, n): &(&str, i64)| Item { key: (*key).into(), value: Value::Int(*n), unit: None };
        Settings::from_items(None, items.iter().map(item).collect()).unwrap()
    }
    fn codes(findings: &[Finding]) -> Vec<String> {
        findings.iter().map(|f| f.code.as_str().into()).collect()
    }

    #[test]
    fn each_item_counts_and_when_it_was_read() {
        let wanted = settings(&[("a", 1), ("b", 2)]);
        let read = settings(&[("a", 5), ("c", 3)]);
        let found = items(StageKind::Load, &wanted, &read, Read::Back);
        assert_eq!(codes(&found), ["load.item-changed", "load.item-missing", "load.item-extra"]);
        assert!(found.iter().all(|f| f.verdict == Verdict::Fail));
        let found = items(StageKind::Load, &wanted, &read, Read::AfterRestart);
        let later = ["changed", "missing", "extra"].map(|w| alloc::format!("load.item-{w}-after-restart"));
        assert_eq!(codes(&found), later);
        let none = settings(&[]);
        let found = items(StageKind::Load, &none, &none, Read::Back);
        assert_eq!((codes(&found), found[0].verdict), (vec!["load.none".into()], Verdict::Undecided));
        assert_eq!(codes(&items(StageKind::Load, &wanted, &wanted, Read::Back)), ["load.read-back"]);
        assert_eq!(codes(&items(StageKind::Load, &wanted, &wanted, Read::AfterRestart)), ["load.kept"]);
    }
    #[test]
    fn other_settings_have_a_greater_revision() {
        let state = |revision, sha256: &str| SettingsState { revision: Some(revision), sha256: sha256.into() };
        let stuck = |before, after| counted(StageKind::Load, &before, &after).map(|f| f.verdict);
        assert_eq!(stuck(state(3, "aa"), state(4, "bb")), None);
        assert_eq!(stuck(state(3, "aa"), state(3, "aa")), None, "nothing was changed");
        assert_eq!(stuck(state(3, "aa"), state(3, "bb")), Some(Verdict::Fail));
    }
    #[test]
    fn a_revision_that_moved_by_itself_is_open() {
        let state = |revision| SettingsState { revision, sha256: "0123456789abcdef".into() };
        let same = revision(StageKind::Load, &state(Some(3)), &state(Some(3)));
        assert_eq!((same.verdict, same.told["digest"].as_str()), (Verdict::Pass, "0123456789ab"));
        assert_eq!(revision(StageKind::Load, &state(Some(3)), &state(Some(4))).verdict, Verdict::Undecided);
        assert_eq!(revision(StageKind::Load, &state(Some(3)), &state(None)).verdict, Verdict::Undecided);
    }
    #[test]
    fn where_no_revision_is_counted_the_digest_tells() {
        let state = |sha256: &str| SettingsState { revision: None, sha256: sha256.into() };
        let of = |held| revision(StageKind::Load, &state("aa"), &state(held));
        assert_eq!((of("aa").code.as_str(), of("aa").verdict), ("load.same-digest", Verdict::Pass));
        assert_eq!((of("bb").code.as_str(), of("bb").verdict), ("load.other-digest", Verdict::Undecided));
        assert_eq!(counted(StageKind::Load, &state("aa"), &state("bb")), None);
    }
}
