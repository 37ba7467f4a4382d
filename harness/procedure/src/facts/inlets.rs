//! What inlets without a pipe show.
facts! {
    closed() = "inlets.closed", Pass, "no air enters at this inlet, which carries no pipe";
    open(percent) = "inlets.open", Fail, "air enters at this inlet, which carries no pipe: {percent} % of the flow of all pipes",
        likely "its plug is missing or not pushed home, or a pipe is in the wrong inlet",
        next "plug and seal the inlet, then prove flow again";
    not_shown_closed(percent) = "inlets.not-shown-closed", Undecided,
        "not shown that no air enters at this inlet, which carries no pipe: it reads {percent} % of the flow of all pipes",
        likely "its plug leaks, or its sensor has an offset or much noise",
        next "plug and seal the inlet, then prove flow again";
    nothing_to_compare() = "inlets.no-flow", Undecided,
        "not shown that no air enters at this inlet, which carries no pipe: the flow of the pipes is not known";
    no_reading() = "inlets.no-reading", Undecided,
        "not shown that no air enters at this inlet, which carries no pipe: no fresh reading came",
        next "bring the readings back, then prove flow again";
    not_told() = "inlets.not-told", Undecided,
        "the unit has no flow sensor at this inlet, which carries no pipe, and nobody says that it is plugged",
        next "plug and seal the inlet, and say so";
    plugged() = "inlets.plugged", Pass,
        "the unit has no flow sensor at this inlet, which carries no pipe; it is plugged and sealed, says the technician", by Word;
}
