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
    goes_when_shut() = "inlets.goes-when-shut", Pass, "the flow that the unit tells of this inlet goes when the inlet is shut";
    reads_when_shut(percent) = "inlets.reads-when-shut", Fail,
        "the unit still tells {percent} % of this inlet's flow while the inlet is shut",
        likely "the unit tells other air as this pipe's, or only a part of each change: what it reads of the pipes can't be relied upon",
        next "shut the inlet tightly and try again; if it comes back, do not put this unit into service before its maker has explained it";
    not_shut(why) = "inlets.not-shut", Undecided,
        "not shown that the flow that the unit tells of this inlet is the pipe's: {why}",
        next "shut the inlet tightly and prove flow again";
    not_put_back(why) = "inlets.not-put-back", Fail, "the inlet was shut for the check and not put back: {why}",
        next "put it back, then prove flow again";
}
