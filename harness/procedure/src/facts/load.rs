//! Whether the unit took the settings, and holds them over a restart.
const AGAIN: &str = "load the settings again; if it comes back, do not put this unit into service and tell its maker";
const DROPPED: &str = "the unit dropped the item";
const HAS_MORE: &str = "the unit has an item that settings-new.json lacks";
const FELL_BACK: &str = "the unit fell back to another value, or somebody changed it at its keys";
facts! {
    changed_since_bench() = "load.changed-since-bench", Undecided,
        "the unit no longer holds the settings that were loaded on the bench",
        likely "somebody changed them at its keys, or it lost them when its power was off",
        next "find out which; if the unit loses settings, do not put it into service";
    nothing_to_load() = "load.nothing-to-load", Undecided, "there are no settings to load",
        next "put the settings for the replacement into the job folder as settings-new.json, then run the job again";
    refused(trouble) = "load.refused", Fail, "the unit did not take the settings: {trouble}",
        next "correct settings-new.json as the unit's reason says; the unit still holds what it held before";
    changed_meanwhile(reason) = "load.changed-meanwhile", Undecided,
        "somebody changed the unit's settings while they were being loaded: {reason}",
        likely "somebody works at the unit's own keys, or with another tool",
        next "see that nobody else works at the unit, then run the job again";
    none() = "load.none", Undecided, "settings-new.json holds no setting: nothing was compared",
        next "put the settings for the replacement into settings-new.json, then run the job again";
    read_back(items) = "load.read-back", Pass, "all {items} settings sent and read back, item by item";
    missing(item) = "load.item-missing", Fail, "not sent and read back: {item}", likely DROPPED, next AGAIN;
    extra(item) = "load.item-extra", Fail, "not sent and read back: {item}", likely HAS_MORE, next AGAIN;
    changed(item) = "load.item-changed", Fail, "not sent and read back: {item}", likely FELL_BACK, next AGAIN;
    no_restart() = "load.no-restart", Undecided,
        "not shown that the settings survive a restart: the unit can't be restarted this way";
    not_shown_here() = "load.not-shown-here", Undecided,
        "the unit shows its settings to nobody: nothing was loaded that could be read back",
        next "describe what its display shows, or reach it in another way";
    another_unit() = "load.another-unit-after-restart", Fail, "another unit answers after the restart",
        next "check which unit the cable goes to; a unit that says another thing at each start is defective";
    kept(items) = "load.kept", Pass, "all {items} settings still there after a restart, item by item";
    missing_later(item) = "load.item-missing-after-restart", Fail, "not still there after a restart: {item}",
        likely DROPPED, next AGAIN;
    extra_later(item) = "load.item-extra-after-restart", Fail, "not still there after a restart: {item}",
        likely HAS_MORE, next AGAIN;
    changed_later(item) = "load.item-changed-after-restart", Fail, "not still there after a restart: {item}",
        likely FELL_BACK, next AGAIN;
    as_left_before(items) = "load.as-left-before", Pass, "the unit holds all {items} settings of settings-new.json, item by item; none was sent";
    not_as_left_before(item) = "load.not-as-left-before", Fail, "the unit does not hold what settings-new.json has: {item}",
        likely "somebody changed it since the last job, or the unit lost it",
        next "find out who and why; set it right at the unit, or settle that the new value stands and put it into settings-new.json";
    revision_stuck(before, after) = "load.revision-stuck", Fail,
        "other settings came into force and the unit's revision did not rise: {before} before, {after} after",
        likely "the unit's revision tells nothing: a change at its keys would not be noticed",
        next "do not put this unit into service before its maker has explained it";
    same_revision(revision, digest) = "load.same-revision", Pass,
        "the unit holds revision {revision} with digest {digest}… before and after the restart";
    same_digest(digest) = "load.same-digest", Pass,
        "the unit holds settings of digest {digest}… before and after the restart, as read back; it counts no revisions";
    other_digest(digest) = "load.other-digest", Undecided,
        "the settings read back after the restart have another digest, {digest}…; the unit counts no revisions",
        next "see that nobody else works at the unit, then load again";
    mixture(trouble) = "load.mixture", Undecided, "{trouble}",
        likely "the line or the supply failed while the settings were sent item by item",
        next "load the settings again; until then the unit must not be relied upon";
    other_revision(before, after) = "load.other-revision", Undecided,
        "the unit's settings went from revision {before} to {after} although nobody here sent any",
        likely "somebody changed settings at the unit's own keys",
        next "see that nobody else works at the unit, then load again";
}
