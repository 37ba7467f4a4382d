//! What a shut inlet can show.
facts! {
    not_shut(why) = "supervise.not-shut", Undecided, "the inlet was not shut: {why}";
    no_reading() = "supervise.no-reading-before", Undecided,
        "no fresh reading comes: a shut inlet can't be told", next "bring the readings back first";
    fault_stands() = "supervise.fault-stands", Undecided,
        "a flow fault stands already: a shut inlet can't be told", next "clear the fault first";
    no_baseline() = "supervise.no-baseline", Undecided,
        "the unit holds no airflow baseline to supervise against: a shut inlet can't be told",
        next "take the baseline first";
    unwatched() = "supervise.unwatched", Undecided,
        "nobody watched while the inlet was shut: not shown when the flow fault came";
    in_time() = "supervise.fault-in-time", Pass, "the shut inlet raised the flow fault in time";
    fault_goes() = "supervise.fault-goes", Fail, "the flow fault went while the inlet was still shut",
        likely "the unit does not keep a fault for as long as its cause stands",
        next "do not put this unit into service before its maker has explained it";
    still_flows(percent) = "supervise.still-flows", Undecided,
        "the shut inlet still reads {percent} % of its flow",
        likely "the inlet was not shut tight, or the unit's readings tell only a part of each change",
        next "shut it tightly and try again; if it comes back, do not put this unit into service before its maker has explained it";
    inlet_not_named() = "supervise.inlet-not-named", Undecided,
        "the flow fault came, but the unit names no inlet",
        next "see at the unit which inlet it reports; a fault that names none sends people to the wrong pipe";
    wrong_inlet(named) = "supervise.wrong-inlet", Fail,
        "the shut inlet raised the flow fault of inlets {named}",
        likely "pipes or the unit's own sensors are crossed, or the unit supervises another inlet than it says",
        next "see which sensor belongs to which inlet; do not put a unit into service that names the wrong one";
    readings_stopped() = "supervise.readings-stopped", Undecided,
        "readings stopped while the inlet was shut: not shown whether the flow fault came",
        next "bring the readings back and try again";
    no_fault() = "supervise.no-fault", Fail, "the shut inlet raised no flow fault",
        likely "the unit's flow band or delay is set too wide, or its supervision is off",
        next "correct the flow band and delay in the settings, load them, and try again";
    late(after) = "supervise.fault-late", Fail, "the flow fault came late, after {after} s",
        likely "the unit's flow band or delay is set too wide, or its supervision is off",
        next "correct the flow band and delay in the settings, load them, and try again";
    not_by_delay(after, delay) = "supervise.not-by-its-delay", Fail,
        "the flow fault came when the flow had been outside of the band for {after} s; its delay is {delay} s",
        likely "the unit acts on another delay or band than it reads back",
        next "load the settings again and shut the inlet again; if it comes back, do not put this unit into service";
    delay_unknown(why, remedy) = "supervise.delay-unknown", Undecided,
        "not known after which delay the unit raises its flow fault: {why}", next "{remedy}";
    not_put_back(why) = "supervise.not-put-back", Fail, "the inlet was not put back: {why}",
        next "put it back, then prove flow and take the baseline again";
    band_unknown(why, remedy) = "supervise.band-unknown", Undecided,
        "not known by which band the unit supervises the flow: {why}", next "{remedy}";
    cleared() = "supervise.fault-cleared", Pass, "the flow fault cleared when the inlet was put back";
    clearing_not_seen() = "supervise.clearing-not-seen", Undecided,
        "readings stopped: not shown whether the flow fault cleared";
    not_cleared() = "supervise.fault-not-cleared", Fail,
        "the flow fault did not clear when the inlet was put back",
        likely "the pipe is not pushed home as it was at the baseline",
        next "seat and seal the pipe, and look again";
}
