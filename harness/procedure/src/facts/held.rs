//! Whether the unit still holds what was loaded, before it is given back.
const KEYS: &str = "somebody changed settings at the unit's own keys";
const AGAIN: &str = "load the settings again, and prove what hangs on them again";
facts! {
    another_unit() = "held.another-unit", Undecided,
        "another unit answers than the one that the settings were loaded into",
        next "find out which unit is on the wall; load and prove it before it is relied upon";
    still(revision) = "held.still", Pass, "the unit still holds the settings loaded, revision {revision}";
    still_by_digest() = "held.still-by-digest", Pass,
        "the unit still holds the settings loaded, by what was read back; it counts no revisions";
    changed_back(before, after) = "held.changed-back", Undecided,
        "settings were changed at the unit after the load and changed back: revision {before} became {after}",
        likely KEYS, next AGAIN;
    changed(before, after) = "held.changed", Fail,
        "settings were changed at the unit after the load (revision {before} became {after})", likely KEYS, next AGAIN;
    item_changed(before, after, item) = "held.item-changed", Fail,
        "changed at the unit after the load (revision {before} became {after}): {item}", likely KEYS, next AGAIN;
    left_alone() = "held.left-alone", Pass,
        "nobody changed the unit's settings since they were last read back, says the technician", by Word;
    not_shown(why) = "held.not-shown", Undecided, "not shown that the unit still holds the settings loaded: {why}",
        next "look at the unit's settings before it is relied upon";
}
