//! Whether the unit's clock is set and kept.
facts! {
    no_date() = "clock.no-date", Undecided, "the unit's clock was not set: the record knows no date";
    doubtful(why) = "clock.doubtful-date", Undecided,
        "the unit's clock is not set by this computer, whose date is not to be trusted: {why}",
        next "set this computer's clock right, then load again";
    lost() = "clock.lost", Fail, "the unit's clock was set and is lost again",
        next "set the clock again; if it does not stay, tell the unit's maker";
    kept() = "clock.kept", Pass, "the unit's clock is set, and kept over the restart";
    off() = "clock.off", Fail, "the unit's clock is not at the time that was set",
        next "set the clock again; if it does not stay, tell the unit's maker";
    off_after_pause() = "clock.off-after-pause", Undecided, "the unit's clock is not at the time that was set",
        next "compare the clocks of this computer and of the unit with a third, then load again";
    zone_not_planned(zone) = "clock.zone-not-planned", Pass,
        "the unit's local time is {zone}, as its settings say; the plan states no zone to hold that against";
    zone_as_planned(zone) = "clock.zone-as-planned", Pass, "the unit's local time is {zone}, as the plan states";
    zone_differs(zone, planned) = "clock.zone-differs", Fail,
        "the unit's local time is {zone}, the plan states {planned}",
        next "correct the zone in the settings, load them, and try again";
}
