//! What the unit says of its own state.
facts! {
    at_work() = "states.at-work", Pass, "the unit reports nothing that speaks against its usual work";
    no_reading() = "states.no-reading", Undecided, "no fresh reading shows in which state the unit is",
        next "bring the readings back first";
    not_told(what) = "states.not-told", Undecided, "the unit's readings do not tell {what}",
        next "look at the unit and at the panel, and write down what they show";
    starting() = "states.starting", Undecided, "the unit reports that it still starts",
        next "wait until it has started, then do this again";
    fan_not_at_speed() = "states.fan-not-at-speed", Undecided, "the unit reports that its fan is not at speed",
        likely "the fan still runs up, is blocked, or does not reach the speed that it is set to",
        next "wait until it is at speed; if it does not get there, do not put this unit into service";
    learning() = "states.learning", Undecided, "the unit reports that it learns its alarm thresholds",
        likely "learning is switched on in its settings, or was begun at its keys",
        next "end the learning, load the settings, and do this again: thresholds that are being learnt are not those of the settings";
    taking_baseline() = "states.taking-baseline", Undecided, "the unit reports that it is taking an airflow baseline",
        next "wait until it is taken, then do this again";
    unknown_condition() = "states.unknown", Undecided, "the unit reports a condition that has no meaning here",
        next "find out from its maker what it means";
    still_inhibited() = "states.still-inhibited", Fail,
        "the unit reports that its outputs are still inhibited although it gave them back",
        next "release the inhibit at the unit; do not leave it like this: it would alarm nobody";
    still_driven() = "states.still-driven", Fail, "the unit reports that an output is still driven for test",
        next "end the test at the unit, and look at the panel";
    level_stands(levels) = "states.level-stands", Undecided, "alarm levels {levels} are active or latched when the unit is left",
        next "clear the air and reset them";
    output_operated(outputs) = "states.output-operated", Fail,
        "outputs {outputs} are operated when the unit is left, and no fault stands that they could follow",
        next "look at the panel and at what they operate before the zone is relied upon";
    fault_latched() = "states.fault-latched", Undecided, "a fault that has gone is still latched when the unit is left",
        next "reset it; if it comes back, find out which it is";
    inlet_without_fault(inlets) = "states.inlet-without-fault", Undecided,
        "the unit names inlets {inlets} as outside of their band and reports no flow fault",
        likely "the fault's delay is running, or its supervision is off",
        next "wait for the delay and look again; the flow must be back within its band";
}
