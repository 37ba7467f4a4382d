//! Whether outputs, zone and release circuits are given back, and what the unit reports then.
const IN_WRITING: &str = "hand this over in writing to whoever is responsible for the site before leaving";
const BY_HAND: &str =
    "clear the air, reset the latched alarms, then give the outputs back by hand; the inhibit lapses by itself with a fault";
const CLEAR_IT: &str = "clear the fault before the zone is relied upon";
facts! {
    lapse_harmless(times, first) = "restore.lapse-harmless", Pass,
        "the inhibit of the unit's outputs did not hold all the time ({times} times; first: {first}); nothing was operated meanwhile, says the technician", by Word;
    lapse_open(times, first) = "restore.lapse-open", Undecided,
        "the inhibit of the unit's outputs did not hold all the time ({times} times; first: {first})",
        likely "the link was down, or the program ended, for longer than the lease",
        next "look at the panel and at what the outputs operate: nobody knows what they did meanwhile";
    kept_no_reading() = "restore.kept-no-reading", Undecided,
        "outputs stay inhibited: no fresh reading shows that the air is clear", next BY_HAND;
    kept_level_stands() = "restore.kept-level-stands", Undecided,
        "outputs stay inhibited: an alarm level is active or latched", next BY_HAND;
    given_back() = "restore.given-back", Pass, "the unit's outputs are given back";
    not_given_back(trouble, remedy) = "restore.not-given-back", Undecided, "outputs not given back: {trouble}",
        next "{remedy}";
    not_inhibited() = "restore.not-inhibited", Undecided,
        "the unit's outputs were not inhibited any more: not shown that they were given back over clear air",
        next "look at the unit and the panel: clear air, no latched alarm, no fault, outputs at rest";
    faults_not_told() = "restore.faults-not-told", Undecided, "the unit does not tell whether a fault stands",
        next "look at the unit and at the panel before the zone is relied upon";
    no_fault() = "restore.no-fault", Pass, "the unit reports no fault";
    fault_stands(faults) = "restore.fault-stands", Fail, "the unit still reports a fault: {faults}", next CLEAR_IT;
    no_baseline_fault(faults) = "restore.no-baseline-fault", Undecided, "the unit still reports a fault: {faults}",
        next CLEAR_IT;
    never_isolated() = "restore.never-isolated", Undecided,
        "the zone was never isolated in this job: nothing to restore";
    zone_restored() = "restore.zone-restored", Pass, "the zone is restored at the panel", by Word;
    zone_still_isolated() = "restore.zone-still-isolated", Undecided, "the zone is still isolated at the panel",
        next IN_WRITING;
    unlocked() = "restore.unlocked", Pass, "release circuits are unlocked, or there is none", by Word;
    still_locked_off() = "restore.still-locked-off", Undecided, "release circuits are still locked off",
        next IN_WRITING;
}
