//! Whether the unit is the planned one, and is fitted.
const WHICH: &str = "check which unit the cable goes to, which unit was delivered, and with which firmware";
const GO_WITHOUT: &str = "decide whether this job can go without it; if so, name it in the plan's `not_shown`";
facts! {
    as_planned(maker, model, serial, firmware) = "unit.as-planned", Pass,
        "{maker} {model}, serial {serial}, firmware {firmware} (as planned)";
    firmware_not_planned(maker, model, serial, firmware) = "unit.firmware-not-planned", Pass,
        "{maker} {model}, serial {serial}, firmware {firmware} (held against nothing: the plan states none)";
    model_as_planned(maker, model, serial, firmware) = "unit.model-as-planned", Pass,
        "{maker} {model} as planned, serial {serial}, firmware {firmware} (the plan states no firmware)";
    still_outgoing() = "unit.still-outgoing", Fail, "the unit that answers is still the outgoing one", next WHICH;
    not_as_planned(property, planned, told) = "unit.not-as-planned", Fail,
        "the plan expects {property} {planned}, the unit says {told}", next WHICH;
    too_few_inlets(inlet, inlets) = "unit.too-few-inlets", Fail,
        "the pipework uses inlet {inlet}, the unit has {inlets} inlets", next WHICH;
    not_that_of_the_bench(serial, firmware) = "unit.not-that-of-the-bench", Undecided,
        "another unit than on the bench: serial {serial}, firmware {firmware} there; that trial counts for nothing";
    no_device_time() = "unit.no-device-time", Undecided,
        "when the unit measured what it tells is not shown: it has no clock that can be compared; a reading counts when it was read",
        next GO_WITHOUT;
    no_log() = "unit.no-event-log", Undecided, "what the unit did is not shown by itself: it has no event log that can be read",
        next GO_WITHOUT;
    no_inhibit() = "unit.no-inhibit", Undecided,
        "not shown that the unit holds its outputs back: it has no inhibit on a lease; the isolation at the panel was the only one",
        next GO_WITHOUT;
    no_date() = "unit.no-date", Undecided, "not shown that the unit's date and time are set and kept: they can't be asked for",
        next GO_WITHOUT;
    keeps_no_date() = "unit.keeps-no-date", Pass,
        "the unit says that it keeps no date and time: what its log holds is dated by this record alone";
    goes_without(what) = "unit.goes-without", Pass, "not shown by this unit, and the plan goes without it by name: {what}";
    fitted() = "swap.fitted", Pass, "the replacement is fitted and has power, says the technician", by Word;
    not_fitted(why) = "swap.not-fitted", Undecided, "not fitted: {why}";
    not_tried(why) = "bench.not-tried", Undecided, "not tried on the bench: {why}",
        next "try it before the site goes out of service, or leave the stage out of the plan";
    cable_not_moved(why) = "bench.cable-not-moved", Undecided,
        "the cable was not moved back to the outgoing unit: {why}";
}
