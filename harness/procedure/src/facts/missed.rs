//! The smallest defects that a job could have missed, or that a unit's own supervision does not see.
use alloc::{format, string::String};

/// By what untold air is bounded: flows that are off so many per cent.
pub(crate) fn untold_by_flows(low: &str) -> String {
    format!("by the fan's curve that goes with flows that are {low} % off the prediction, which this job leaves open")
}
/// By what untold air is bounded: the unused inlets covered.
pub(crate) fn untold_by_covers() -> String {
    "by how much the pipe's flow rose while the inlets without a pipe were covered".into()
}
/// By what untold air is bounded: the smoke of this hole beside a shut inlet.
pub(crate) fn untold_by_smoke(hole: &str, inlet: u8) -> String {
    format!("by how much the smoke from {hole} thickened while inlet {inlet} was shut")
}

/// What the codes begin with that state what shifts all pipes alike.
pub(crate) const ALIKE: &str = "missed.all-alike";
/// What the codes begin with that state air which the unit does not tell.
pub(crate) const UNTOLD: &str = "missed.untold-air";

facts! {
    settings_by_hand() = "missed.settings-by-hand", Undecided,
        "a setting of the unit that its description does not name (its settings were entered by keys and read back by a person)";
    beside_smoke(pipe, holes) = "missed.shown-by-smoke-only", Undecided,
        "pipe {pipe}: how much less or more than predicted holes {holes} draw (shown by smoke, which tells only that they draw)";
    not_closed(pipe, holes) = "missed.not-closed", Undecided,
        "pipe {pipe}: a blocked hole among {holes} (not closed in turn)";
    coarse(pipe, holes, percent) = "missed.coarse", Undecided,
        "pipe {pipe}: a hole among {holes} that draws up to {percent} % less than predicted (its drop is too small a part of the flow to tell more)";
    smallest(pipe, flow, less, more) = "missed.smallest-by-flow", Undecided,
        "pipe {pipe}: a change of its whole flow by less than {flow} % (by flow alone); one hole that draws up to {less} % less or {more} % more than the other holes of the pipe predict";
    all_alike(low, high, alike, limit) = "missed.all-alike", Undecided,
        "a change of the flows of all pipes alike between {low} and {high} % (by a filter, a fan that runs slower or faster than told, an exhaust, or air that enters past the pipes): together they are {alike} % off the prediction, and what may stay within {limit} % is passed";
    alike_by_smoke(limit) = "missed.all-alike-by-smoke", Undecided,
        "a change of the flows of all pipes alike that moves the smoke's times by less than {limit} %: the unit tells shares of a flow, and only the smoke tells how much that is";
    alike_unknown() = "missed.all-alike-unknown", Undecided,
        "a change of the flows of all pipes alike, whatever its size: they were not held against their prediction together";
    baseline_off(pipe, percent) = "missed.baseline-off", Undecided,
        "pipe {pipe}: a baseline that is up to {percent} % off the flow, by which the unit's band around it is wrong";
    together() = "missed.pipes-together", Undecided,
        "a change of one pipe since the baseline that a change of another makes up for: one meter at the exhaust showed all pipes together at the last look";
    threshold(level, low, high, seconds) = "missed.alarm-threshold", Undecided,
        "alarm level {level}: that it acts on {low} to {high} % of its threshold (it was seen to go, and how far under its threshold it does is its own), or up to {seconds} s sooner or later than its delay";
    threshold_by_eye(level) = "missed.threshold-by-eye", Undecided,
        "alarm level {level}: at how much smoke it acts (a person saw that it does, and its threshold was read back, no more)";
    logger_not_read(logger, why) = "missed.logger-not-read", Undecided,
        "how the smoke rose: {logger} was to tell it, and its file was not given ({why}); the times are those that were marked by hand";
    not_told(what) = "missed.not-told", Undecided, "whatever only the unit's {what} would show: this unit tells none of it";
    unit_band() = "missed.unit-band", Undecided,
        "at which change of the flow the unit raises its fault, and whether more flow than its baseline raises any: its band is read back, and a shut inlet is beyond any band";
    own_faults() = "missed.own-faults", Undecided,
        "whether the unit tells when its filter, its fan, a sensor of it or its cover is at fault: none of them fails in a job";
    log() = "missed.log", Undecided,
        "whether the unit's event log has an entry of each thing: it was read for one of each kind of what was done";
    once() = "missed.once", Undecided,
        "whether the unit does again what this job saw it do once, as a second reset of its latches or a second flow fault of an inlet";
    after_restart() = "missed.after-restart", Undecided,
        "whether the unit still holds its baseline after a restart or a loss of all power: it is not restarted once the baseline is taken";
    outputs_at_alarm() = "missed.outputs-at-alarm", Undecided,
        "whether an alarm operates the outputs that are set to follow it: they are inhibited while smoke is at the unit, and are operated one by one";
    untold_air(share, by) = "missed.untold-air", Undecided,
        "air that enters at an inlet without a pipe or within the unit and that the unit does not tell, up to {share} % of the air of all pipes: {by}. It thins the smoke of every hole";
    untold_unbounded() = "missed.untold-air-unbounded", Undecided,
        "air that enters at an inlet without a pipe or within the unit and that the unit does not tell, whatever its share: no flow that was measured bounds it. It thins the smoke of every hole";
    late_readings(seconds, percent) = "missed.late-readings", Undecided,
        "that the flow readings come up to {seconds} s late or smoothed, or tell up to {percent} % less of a change than there is; how much the obscuration reading is smoothed is shown only by its levels";
    allowances(delay, stands, unused, lost, drift) = "missed.allowances", Undecided,
        "what stays within what is allowed: a flow fault up to {delay} s sooner or later than its delay, or one that goes after {stands} s; up to {unused} % of the flow of all pipes at an inlet without a pipe; up to {lost} % of the readings left out untold; a clock that drifts by up to {drift} parts in a million";

    band_sees(pipe, defect, shift, low, high, from) = "band.smallest-seen", Undecided,
        "pipe {pipe}: the smallest single defect that raises the unit's flow fault is {defect} ({shift} %), by a band of -{low} / +{high} % ({from})";
    band_sees_none(pipe, low, high, from) = "band.none-seen", Undecided,
        "pipe {pipe}: after hand-back no single defect at any opening raises the unit's flow fault, by a band of -{low} / +{high} % ({from})";
    band_is_blind(pipe, defect, shift, low, high, from) = "band.not-seen", Undecided,
        "pipe {pipe}: after hand-back the unit does not see {defect} ({shift} %) nor any smaller change, by a band of -{low} / +{high} % ({from})";
}
