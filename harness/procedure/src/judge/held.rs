//! Whether the unit still holds the settings loaded: by its own revision and digest, and item by item where these differ.
use crate::{
    facts::{Fact, Reason, Revision, held as fact},
    outcome::{Finding, StageKind, Subject},
    stop::OtherSettings,
};
use alloc::{format, string::ToString, vec, vec::Vec};
use plumeline_base::input::Answer;
use plumeline_detector::{SettingsState, Trouble, settings::Settings};

fn of_unit(stage: StageKind, fact: Fact) -> Finding {
    Finding::of(stage, Subject::Replacement, fact)
}

/// Another unit answers: what it holds says nothing of what was loaded.
pub(crate) fn another_unit(stage: StageKind) -> Finding {
    of_unit(stage, fact::another_unit())
}

/// The unit never told which settings it holds, so that nothing shows a change.
pub(crate) fn not_told(stage: StageKind) -> Finding {
    of_unit(stage, fact::not_shown("the unit does not tell which settings it holds"))
}

/// What a person says of settings that only a look at each would show.
pub(crate) fn said(stage: StageKind, answer: &Answer) -> Finding {
    of_unit(
        stage,
        match answer {
            Answer::Yes => fact::left_alone(),
            other => fact::not_shown(format!("the technician does not say that nobody changed them{}", Reason(other))),
        },
    )
}

/// The unit holds something else than was loaded, by its digest: only then its items are worth reading.
pub(crate) fn differs(loaded: &SettingsState, now: &Result<SettingsState, &str>) -> bool {
    now.as_ref().is_ok_and(|now| now.sha256 != loaded.sha256)
}

/// What the unit told, or why it did not; `items` are the settings as left and as they are now, where these were read.
pub(crate) fn against(
    stage: StageKind,
    loaded: &SettingsState,
    now: Result<SettingsState, &str>,
    items: Option<(&Settings, &Settings)>,
) -> Vec<Finding> {
    let (before, now) = match now {
        Err(why) => return vec![of_unit(stage, fact::not_shown(why))],
        Ok(now) if now == *loaded => {
            return vec![of_unit(stage, now.revision.map_or_else(fact::still_by_digest, fact::still))];
        }
        Ok(now) => (Revision(loaded.revision), now),
    };
    let after = Revision(now.revision);
    if now.sha256 == loaded.sha256 {
        return vec![of_unit(stage, fact::changed_back(before, after))];
    }
    let differences = items.map(|(left, read)| left.differences(read)).unwrap_or_default();
    let item = |d: &plumeline_detector::settings::Difference| {
        Finding::of(stage, Subject::Setting(d.key().into()), fact::item_changed(before, after, d))
    };
    let whole = of_unit(stage, fact::changed(before, after));
    differences.iter().map(item).chain([whole]).collect()
}

/// The settings after a pause in which nobody watched, against those that everything since was proven under.
pub(crate) fn after_pause(proven: Option<&Settings>, told: Result<Settings, Trouble>) -> Option<OtherSettings> {
    match (told, proven) {
        (Ok(now), Some(was)) if was.canonical() == now.canonical() => None,
        (Ok(now), was) => {
            let first = was.and_then(|was| was.differences(&now).first().map(ToString::to_string));
            Some(OtherSettings::Changed(first))
        }
        (Err(trouble), _) => Some(OtherSettings::NotRead(trouble)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::String;
    use plumeline_detector::settings::{Item, Value};

    fn state(revision: u64, sha256: &str) -> SettingsState {
        SettingsState { revision: Some(revision), sha256: sha256.into() }
    }
    fn codes(now: Result<SettingsState, &str>, items: Option<(&Settings, &Settings)>) -> Vec<String> {
        let found = against(StageKind::Restore, &state(3, "aa"), now, items);
        found.iter().map(|f| f.code.as_str().into()).collect()
    }

    #[test]
    fn revision_and_digest_tell_what_happened_since() {
        let settings = |n| {
            let item = Item { key: "a".into(), value: Value::Int(n), unit: None };
            Settings::from_items(None, vec![item]).unwrap()
        };
        assert_eq!(codes(Ok(state(3, "aa")), None), ["held.still"]);
        assert_eq!(codes(Ok(state(5, "aa")), None), ["held.changed-back"]);
        assert_eq!(codes(Ok(state(5, "bb")), None), ["held.changed"]);
        let both = (&settings(1), &settings(2));
        assert_eq!(codes(Ok(state(5, "bb")), Some(both)), ["held.item-changed", "held.changed"]);
        assert_eq!(codes(Err("silent"), None), ["held.not-shown"]);
        assert!(another_unit(StageKind::Restore).code == "held.another-unit");
        let uncounted = |sha256: &str| SettingsState { revision: None, sha256: sha256.into() };
        let of = |now| against(StageKind::Restore, &uncounted("aa"), Ok(uncounted(now)), None);
        assert_eq!((of("aa")[0].code.as_str(), of("bb")[0].code.as_str()), ("held.still-by-digest", "held.changed"));
    }
    #[test]
    fn after_a_pause_only_the_same_settings_are_the_proven_ones() {
        let settings = |n| {
            let item = Item { key: "a".into(), value: Value::Int(n), unit: None };
            Settings::from_items(None, vec![item]).unwrap()
        };
        let proven = settings(1);
        let after = |told| after_pause(Some(&proven), told);
        assert_eq!(after(Ok(settings(1))), None);
        assert!(matches!(after(Ok(settings(2))), Some(OtherSettings::Changed(Some(_)))));
        assert_eq!(after(Err(Trouble::Silent)), Some(OtherSettings::NotRead(Trouble::Silent)));
        assert_eq!(after_pause(None, Ok(settings(1))), Some(OtherSettings::Changed(None)));
    }
    #[test]
    fn items_are_read_only_where_the_digest_differs() {
        assert!(differs(&state(3, "aa"), &Ok(state(4, "bb"))));
        assert!(!differs(&state(3, "aa"), &Ok(state(4, "aa"))) && !differs(&state(3, "aa"), &Err("silent")));
    }
}
