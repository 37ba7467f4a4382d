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
    plugged_still(percent) = "inlets.plugged-and-still", Pass,
        "the display shows nothing at this inlet, which carries no pipe, by steps that hide up to {percent} % of the flow of all pipes; it is plugged and sealed, says the technician", by Word;
    no_rise(percent, most) = "inlets.no-untold-air", Pass,
        "the pipe's flow rose by {percent} % when the inlets without a pipe were covered: air that the unit does not tell is at most {most} % of the pipe's";
    no_rise_unbounded(percent) = "inlets.no-untold-air-seen", Pass,
        "the pipe's flow did not rise when the inlets without a pipe were covered ({percent} %)";
    rises(percent) = "inlets.untold-air", Fail,
        "the pipe's flow rose by {percent} % when the inlets without a pipe were covered: air enters there that the unit does not tell",
        likely "a plug is missing, leaks or is not pushed home, and the unit's readings do not show it",
        next "plug and seal every inlet without a pipe, then prove flow again; have the unit's flow readings looked at";
    rise_unclear(percent) = "inlets.untold-air-unclear", Undecided,
        "not shown that no air enters at the inlets without a pipe: the pipe's flow rose by {percent} % when they were covered",
        likely "a plug leaks a little, or the air of the building changed meanwhile",
        next "seal the plugs and prove flow again";
    not_covered(why) = "inlets.not-covered", Undecided,
        "not shown that no air enters at the inlets without a pipe: {why}",
        next "cover them when asked to; or decide whether this job can go without it, and name it in the plan's `not_shown` (untold air)";
    left_covered(why) = "inlets.left-covered", Undecided, "the covers of the inlets without a pipe were not taken off: {why}",
        next "take them off, then prove flow again";
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
