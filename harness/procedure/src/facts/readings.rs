//! Whether the unit's readings can be relied upon as such, whatever they say.
const MAKER: &str = "do not put this unit into service before its maker has explained it";
facts! {
    unusable(seconds, what) = "readings.unusable", Undecided,
        "for {seconds} s no reading could be used: {what}",
        likely "a sensor of the unit fails, or the unit is not what it says it is",
        next "look at the unit's own faults; then run the job again";
    stamps_fall() = "readings.stamps-fall", Fail, "the unit stamps readings earlier than those that it sent before",
        likely "the unit's readings are not of the time that they state", next MAKER;
    lost_untold(percent, hz) = "readings.lost-untold", Undecided,
        "{percent} % of the readings did not come, of {hz} a second that were asked for, and the unit does not tell that it left any out",
        likely "the unit leaves readings out and does not count them", next MAKER;
    answers_late(seconds, most) = "readings.answer-late", Undecided,
        "the flow readings answer what is closed and opened only {seconds} s after the marks, not within {most} s",
        likely "the readings are not of now: they come late, are kept from before, or are smoothed beyond what is permitted; or the marks were given early",
        next "give each mark when the hole or inlet is closed; if it comes back, do not put this unit into service before its maker has explained it";
    stands_still(what, seconds) = "readings.stands-still", Fail,
        "the {what} has not moved for {seconds} s, and it moved up and down all the time before",
        likely "the readings are kept from before: the unit no longer measures what it tells", next MAKER;
    repeated() = "readings.repeated", Fail,
        "the unit tells the same readings again and again, then others of all sensors at once",
        likely "the unit measures less often than it tells, and stamps what it kept as new", next MAKER;
    clock_drifts() = "readings.clock-drifts", Fail,
        "the unit's clock keeps running away from the log's, by more than the plan allows",
        likely "the unit's clock is defective: no time that it states can be relied upon", next MAKER;
}
