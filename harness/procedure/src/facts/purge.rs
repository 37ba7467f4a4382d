//! Whether smoke has cleared and alarm levels are reset.
facts! {
    no_smoke_used() = "purge.no-smoke-used", Pass, "no smoke was released in this job: there is nothing to purge";
    clear() = "purge.clear", Pass, "obscuration is back under the lowest level";
    not_shown_clear(why) = "purge.not-shown-clear", Undecided, "not shown that the smoke has cleared: {why}";
    cannot_reset() = "purge.cannot-reset", Undecided, "latched alarms can't be reset this way";
    no_level() = "purge.no-level", Pass, "no alarm level is active or latched";
    no_reading() = "purge.no-reading", Undecided,
        "no fresh reading shows whether an alarm level is active or latched";
    level_stands() = "purge.level-stands", Fail, "an alarm level is still active or latched after the reset",
        next "wait for the air to clear, reset again, and look for another source of smoke or dust";
}
