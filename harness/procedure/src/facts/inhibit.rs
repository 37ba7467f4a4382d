//! Whether an inhibit holds while it should, and how it lapses.
/// What a lapse showed is not known.
pub(crate) const NOT_SEEN: &str = "inhibit.lapse-not-seen";
const MAKER: &str = "do not rely on the unit's inhibit to end by itself; tell its maker";
facts! {
    panel_quiet() = "inhibit.panel-quiet", Pass, "the panel showed nothing of the unit while smoke was at it, says the technician", by Eye;
    shown_at_panel(reason) = "inhibit.shown-at-panel", Fail,
        "the panel showed something of the unit while smoke was at it, although its outputs were inhibited{reason}",
        likely "the inhibit does not hold and the unit's readings hide it, or wires are crossed and the panel takes a fault for an alarm",
        next "see what was operated; do not put this unit into service, and never rely on its inhibit alone", by Eye;
    panel_not_told(why) = "inhibit.panel-not-told", Undecided,
        "not told whether the panel showed anything of the unit while smoke was at it: {why}",
        next "look at the panel's memory before it is reset";
    granted() = "inhibit.granted", Pass, "the unit's own outputs are inhibited, on a lease that is renewed";
    held_by_hand() = "inhibit.held-by-hand", Pass, "the unit's outputs are held back by hand, says the technician", by Word;
    not_granted(trouble) = "inhibit.not-granted", Undecided,
        "the unit's own outputs are not inhibited: {trouble}";
    operated(output) = "inhibit.output-operated", Fail,
        "output {output} was operated while the unit's outputs were inhibited",
        likely "the unit does not hold its outputs back, or somebody operates it by other means",
        next "stop the smoke, look at the panel and at what this output operates; do not put this unit into service before its maker has explained it";
    not_in_force() = "inhibit.not-in-force", Fail,
        "the unit granted the inhibit of its outputs, and its readings say that they are not inhibited",
        likely "the unit does not do what it answers",
        next "stop the smoke, look at the panel; do not put this unit into service before its maker has explained it";
    not_shown() = "inhibit.not-shown", Undecided,
        "the unit granted the inhibit of its outputs, and its readings do not tell whether it is in force",
        next "look at the unit and at the panel: the isolation at the panel is the only one that is shown";
    lapse_not_tried() = "inhibit.lapse-not-tried", Undecided,
        "the lapse of the inhibit was not tried: air and latches were not clear, or nothing was inhibited";
    lapse_shown() = "inhibit.lapse-shown", Pass,
        "an inhibit that nobody renewed raised its fault while the outputs were still held back, and was regained";
    lapse_gave_back() = "inhibit.lapse-gave-back", Fail,
        "the lapsed inhibit gave the outputs back before its fault was shown", next MAKER;
    lapse_not_told() = "inhibit.lapse-not-told", Undecided,
        "the lapsed inhibit raised its fault; its readings do not tell whether the outputs were still held back", next MAKER;
    lapse_not_regained() = "inhibit.lapse-not-regained", Undecided, "the lapsed inhibit could not be regained",
        next MAKER;
    lapse_not_seen() = "inhibit.lapse-not-seen", Undecided,
        "readings were missing while the inhibit lapsed", next "see that the cable holds, then do this stage again";
    lapse_no_fault() = "inhibit.lapse-no-fault", Fail, "an inhibit that nobody renewed raised no fault", next MAKER;
}
