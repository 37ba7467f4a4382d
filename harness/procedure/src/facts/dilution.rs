//! What smoke at the unit shows of the air that thins it, while the inlet of another pipe is shut.
facts! {
    as_told(inlet, percent, most) = "dilution.as-told", Pass,
        "smoke at the unit thickened as its flows tell when inlet {inlet} was shut: air that it does not tell is {percent} % of the air of all pipes, at most {most} %";
    more_air(inlet, percent) = "dilution.untold-air", Fail,
        "smoke at the unit thickened less than its flows tell when inlet {inlet} was shut: air that it does not tell thins it, some {percent} % of the air of all pipes",
        likely "an inlet without a pipe is open or its plug leaks, the unit's housing is not closed, or the unit tells other flows than there are",
        next "plug and seal every inlet without a pipe and close the housing, then prove flow again; if it comes back, do not put this unit into service before its maker has explained it";
    some_air(inlet, percent) = "dilution.some-untold-air", Undecided,
        "smoke at the unit thickened less than its flows tell when inlet {inlet} was shut: some {percent} % of the air of all pipes is air that it does not tell, more than an inlet without a pipe may draw",
        likely "the plug of an inlet without a pipe leaks, or the unit's housing is not closed, and its readings do not show it",
        next "seal every inlet without a pipe and close the housing, then prove flow again";
    thicker(inlet, percent) = "dilution.thicker-than-told", Undecided,
        "smoke at the unit thickened by {percent} % more than its flows tell when inlet {inlet} was shut",
        likely "the unit tells the flows of its inlets in another proportion than there is, or the smoke became stronger meanwhile",
        next "release steady smoke again; if it comes back, have the unit's flow readings looked at";
    near_limit(inlet, percent, most) = "dilution.near-limit", Undecided,
        "not shown that no air enters that the unit does not tell: by how smoke thickened when inlet {inlet} was shut it is {percent} % of the air of all pipes, perhaps {most} %",
        likely "the smoke was not steady, or an inlet without a pipe leaks a little",
        next "see that every inlet without a pipe is plugged and sealed; then release smoke again, held as steadily as can be";
    not_tried(why) = "dilution.not-tried", Undecided, "not shown that no air enters that the unit does not tell: {why}",
        next "release smoke again and have the inlet shut while it is held; or decide whether this job can go without it, and name it in the plan's `not_shown` (untold air)";
    not_put_back(inlet, why) = "dilution.not-put-back", Fail, "inlet {inlet} was shut for the check and not put back: {why}",
        next "put it back, then prove flow again";
    goes_without() = "dilution.left-out", Pass, "not shown that no air enters that the unit does not tell: the plan goes without it by name";
}
