//! Whether the zone is isolated, release circuits are locked off and people are told.
const FIRST: &str = "do not start before this is done; then run the job again";
facts! {
    zone_isolated() = "isolate.zone-isolated", Pass, "the zone is isolated at the panel", by Word;
    zone_not_shown(why) = "isolate.zone-not-shown", Undecided,
        "not shown that the zone is isolated at the panel: {why}", next FIRST;
    locked_off() = "isolate.locked-off", Pass, "release circuits are locked off, or there is none", by Word;
    lock_not_shown(why) = "isolate.lock-not-shown", Undecided,
        "not shown that release circuits are locked off, or there is none: {why}", next FIRST;
    told_people() = "isolate.told", Pass, "those who must be told have been told", by Word;
    telling_not_shown(why) = "isolate.telling-not-shown", Undecided,
        "not shown that those who must be told have been told: {why}", next FIRST;
}
