//! Whether the unit's event log tells what was done.
facts! {
    kept(entries) = "log.kept", Pass, "the unit's event log tells what was done ({entries} entries)";
    in_part(entries, what) = "log.in-part", Pass, "the unit's event log has {entries} entries, and none of: {what}. It may keep them under codes of its maker's own, or not keep them over a start";
    missing(what) = "log.missing", Undecided, "the unit's event log has no entry of what was done: {what}",
        likely "the unit keeps no log, though it says that it can be read",
        next "do not rely on its log to find out what happened; tell its maker";
    not_read(why) = "log.not-read", Undecided, "the unit's event log was not read: {why}",
        next "read the log at the unit before it is relied upon";
}
