//! The smallest defects that a job could have missed, or that a unit's own supervision does not see.
facts! {
    beside_smoke(pipe, holes) = "missed.shown-by-smoke-only", Undecided,
        "pipe {pipe}: how much less or more than predicted holes {holes} draw (shown by smoke, which tells only that they draw)";
    not_closed(pipe, holes) = "missed.not-closed", Undecided,
        "pipe {pipe}: a blocked hole among {holes} (not closed in turn)";
    coarse(pipe, holes, percent) = "missed.coarse", Undecided,
        "pipe {pipe}: a hole among {holes} that draws up to {percent} % less than predicted (its drop is too small a part of the flow to tell more)";
    smallest(pipe, flow, less, more) = "missed.smallest-by-flow", Undecided,
        "pipe {pipe}: a change of its whole flow by less than {flow} % (by flow alone); one hole that draws up to {less} % less or {more} % more than the other holes of the pipe predict";

    band_sees(pipe, defect, shift, low, high, from) = "band.smallest-seen", Undecided,
        "pipe {pipe}: the smallest single defect that raises the unit's flow fault is {defect} ({shift} %), by a band of -{low} / +{high} % ({from})";
    band_sees_none(pipe, low, high, from) = "band.none-seen", Undecided,
        "pipe {pipe}: after hand-back no single defect at any opening raises the unit's flow fault, by a band of -{low} / +{high} % ({from})";
    band_is_blind(pipe, defect, shift, low, high, from) = "band.not-seen", Undecided,
        "pipe {pipe}: after hand-back the unit does not see {defect} ({shift} %) nor any smaller change, by a band of -{low} / +{high} % ({from})";
}
