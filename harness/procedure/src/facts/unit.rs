//! Whether the unit is the planned one, and is fitted.
const WHICH: &str = "check which unit the cable goes to, which unit was delivered, and with which firmware";
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
    fitted() = "swap.fitted", Pass, "the replacement is fitted and has power, says the technician", by Word;
    not_fitted(why) = "swap.not-fitted", Undecided, "not fitted: {why}";
    not_tried(why) = "bench.not-tried", Undecided, "not tried on the bench: {why}",
        next "try it before the site goes out of service, or leave the stage out of the plan";
    cable_not_moved(why) = "bench.cable-not-moved", Undecided,
        "the cable was not moved back to the outgoing unit: {why}";
}
