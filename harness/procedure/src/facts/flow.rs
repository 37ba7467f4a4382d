//! What the flow of a whole pipe can show: as found, steady, against the prediction.
use alloc::{format, string::String};
use plumeline_base::quantity::M3_S_PER_L_MIN;
use plumeline_measure::settle::{Fault, Reason};

/// The code of [`less`].
pub(crate) const LESS: &str = "flow.less-than-predicted";

facts! {
    captured() = "as-found.flow-captured", Pass, "flow captured";
    not_captured(error) = "as-found.flow-not-captured", Undecided, "flow not captured: {error}";
    read_once() = "as-found.flow-read-once", Pass, "flow read once, without an uncertainty";
    not_told() = "as-found.flow-not-told", Undecided, "flow not captured: it was not told";

    steady() = "settle.steady", Pass, "flow is steady";
    cut_short(reason) = "settle.cut-short", Undecided, "not steady when another pipe ended the wait: {reason}";
    not_steady(reason) = "settle.not-steady", Undecided, "not steady in time: {reason}",
        likely "ventilation that changes, doors, a pipe that is not fixed, or a fan that hunts",
        next "bring the ventilation to its normal state, close doors and the unit's cover, then run the job again";
    stuck() = "settle.stuck", Fail,
        "its flow reading can't be judged: it never changes, as no live sensor does",
        next "check the unit's flow sensor of this inlet; do not take a baseline";
    faulty(fault) = "settle.faulty", Undecided, "its flow reading can't be judged: {fault}",
        next "check the unit's flow sensor of this inlet; do not take a baseline";

    fan_beyond_curve(flow, share, limit) = "flow.fan-beyond-curve", Undecided,
        "the prediction lets the fan move {flow} L/min, {share} % beyond the flows that its curve spans, where {limit} % is the limit: how hard the fan pulls there is a guess",
        next "take the fan curve from the description of the model, or give its points up to the flow of this pipework";
    fan_near_curve(flow, share, limit) = "flow.fan-near-curve", Pass,
        "the prediction lets the fan move {flow} L/min, {share} % beyond the flows that its curve spans, within the limit of {limit} %; the prediction's ± is wider for it";
    warned(says) = "flow.prediction-warns", Pass, "the prediction says of itself: {says}";

    not_measured(error, remedy) = "flow.not-measured", Undecided, "flow was not measured: {error}", next "{remedy}";
    not_predicted() = "flow.not-predicted", Undecided, "the pipework predicts nothing for this inlet";
    not_judged(error, remedy) = "flow.not-judged", Undecided,
        "flow was measured but can't be judged: {error}", next "{remedy}";
    as_predicted(percent) = "flow.as-predicted", Pass, "flow is as predicted ({percent} %)";
    near_limit(percent) = "flow.near-limit", Undecided,
        "flow is {percent} % off the prediction: too near the limit to tell",
        next "prove by holes: close each reachable hole in turn; put right those that do not draw";
    too_uncertain(percent) = "flow.too-uncertain", Undecided,
        "flow is {percent} % off the prediction; flow alone can't show the smallest material defect: prove by holes",
        next "prove by holes: close each reachable hole in turn; put right those that do not draw";
    more(percent) = "flow.more-than-predicted", Fail, "flow is {percent} % more than predicted",
        likely "air enters where it should not: the pipe is off or half seated in its inlet, an end cap is missing, or the pipe is broken",
        next "look at the inlet and the end cap of this pipe first, then along it; then prove flow again";
    less(percent) = "flow.less-than-predicted", Fail, "flow is {percent} % less than predicted",
        likely "holes of this pipe are blocked or taped, the pipe is crushed or full of swarf, or it is in another pipe's inlet",
        next "look at the inlet's number and at the holes of this pipe, nearest first; then prove flow again";
    only_pipe_less(percent) = "flow.only-pipe-less", Fail,
        "flow is {percent} % less than predicted; beside the unit's only pipe nothing tells whether the pipe or the unit is the cause",
        likely "of the unit: a clogged filter, a fan that runs slower than it is set or told, a covered exhaust; of the pipe: blocked or taped holes, a crushed pipe",
        next "check the filter, the fan and the exhaust of the unit, which are at hand; then the holes of the pipe, nearest first; then prove flow again";
    less_beside(percent, other) = "flow.less-beside-more", Fail,
        "flow is {percent} % less than predicted, while pipe {other} draws more than predicted",
        likely "pipe {other} takes the air: it is off or half seated, open at its end or broken",
        next "put pipe {other} right first, then prove flow again";
    all_more(percent) = "flow.all-more-than-predicted", Fail,
        "flow is {percent} % more than predicted, and every other pipe draws more too",
        likely "the fan runs faster than the pipework file says, the exhaust or filter differs, or the pipework file is wrong",
        next "check the fan setting, the filter and the exhaust, then prove flow again";
    all_less(percent) = "flow.all-less-than-predicted", Fail,
        "flow is {percent} % less than predicted, and every other pipe draws less too",
        likely "a clogged filter, a fan set too slow, a covered exhaust, or a pipework file that is wrong",
        next "check the filter, the fan setting and the exhaust, then prove flow again";

    level_not_told() = "flow.level-not-told", Undecided,
        "the unit tells this pipe's flow only as a share of what it holds to be normal: its level is not told (flows at its holes are stated as parts of the predicted flow)",
        next "prove by holes: close every hole in turn";
    shares_incomplete(closed, holes) = "flow.shares-incomplete", Undecided,
        "the level of this pipe's flow is not told, and only {closed} of its {holes} holes were measured: air that comes in elsewhere is not told",
        next "close every hole of this pipe in turn; or measure the pipe's flow by a flow meter, named under [[instruments]] in the plan";
    shares_as_predicted(percent) = "flow.proven-by-shares", Pass,
        "every hole was shown to draw; all holes of the pipe together take {percent} % off the predicted share of its flow. How much that is, the smoke's time shows (flows at its holes are stated as parts of the predicted flow)";
    shares_shifted(percent) = "flow.shares-shifted", Fail,
        "all holes of the pipe together take {percent} % off the predicted share of its flow",
        likely "air enters where it should not: the pipe is off or half seated in its inlet, an end cap is missing, or the pipe is broken",
        next "look at the inlet and the end cap of this pipe first, then along it; then prove flow again";
    shares_unsure(percent) = "flow.shares-too-uncertain", Undecided,
        "all holes of the pipe together take {percent} % off the predicted share of its flow: too uncertain to tell air that comes in elsewhere",
        next "close the holes again for longer; or measure the pipe's flow by a flow meter, named under [[instruments]] in the plan";
    proven_alone(closed, percent) = "flow.proven-alone", Pass,
        "with every hole closed the pipe draws {closed} % of its flow, and each hole was shown to draw alone; all of them together take {percent} % off the predicted share. How much the pipe draws, the smoke's time shows (flows at its holes are stated as parts of the predicted flow)";
    draws_when_closed(closed, percent) = "flow.draws-when-closed", Fail,
        "with every hole closed the pipe still draws {closed} % of its flow: while they are open, {percent} % of it enter elsewhere",
        likely "air enters where it should not: the pipe is off or half seated in its inlet, an end cap is missing, the pipe is broken, or it has a hole that the pipework file lacks",
        next "look at the inlet and the end cap of this pipe first, then along it; then prove flow again";
    draws_a_little_when_closed(closed, percent) = "flow.draws-a-little-when-closed", Undecided,
        "with every hole closed the pipe still draws {closed} % of its flow: while they are open, {percent} % of it enter elsewhere, more than the tolerance, and not shown to thin the smoke by more than is allowed",
        likely "a hole that was not closed tightly, or the pipe is not fully seated in its inlet, or a joint leaks",
        next "look at the inlet and the end cap of this pipe first, then along it; then prove flow again";
    less_and_thinned(elsewhere, percent) = "flow.less-and-thinned", Fail,
        "a hole of the pipe draws less than the others predict, and {elsewhere} % of the pipe's flow enter elsewhere: together they thin the smoke of that hole by {percent} %",
        likely "each by itself is within what is allowed; both together are not",
        next "look at the inlet and the end cap of this pipe first, and clear the hole that draws least; then prove flow again";
    perhaps_less_and_thinned(elsewhere, percent) = "flow.perhaps-less-and-thinned", Undecided,
        "a hole of the pipe draws less than the others predict, and {elsewhere} % of the pipe's flow enter elsewhere: together they thin the smoke of that hole by {percent} %, too near the limit to tell",
        next "look at the inlet and the end cap of this pipe first, and clear the hole that draws least; then prove flow again";
    may_draw_when_closed(closed, percent) = "flow.may-draw-when-closed", Undecided,
        "with every hole closed the pipe still draws {closed} % of its flow: while they are open, {percent} % of it enter elsewhere, too near the limit to tell",
        next "see that every hole was closed tightly; look at the inlet and the end cap of this pipe; then prove flow again";
    alone_shifted(percent) = "flow.alone-shifted", Fail,
        "alone, all holes of the pipe together take {percent} % off the predicted share of its flow, more than the unit's own band",
        likely "the pipe, the filter or the exhaust is narrower than the pipework file says, or the fan differs",
        next "look along the pipe; check filter, fan setting and exhaust; then prove flow again";
    alone_unsure(percent) = "flow.alone-too-uncertain", Undecided,
        "alone, all holes of the pipe together take {percent} % off the predicted share of its flow: too near the unit's own band to tell",
        next "look along the pipe; check filter, fan setting and exhaust; or measure the pipe's flow by a flow meter, named under [[instruments]] in the plan";
    holes_not_reached(percent, holes) = "flow.holes-not-reached", Undecided,
        "flow is {percent} % off the prediction; holes {holes} were not reached: unproven",
        next "reach the holes that are left, or show by smoke or manometer that they draw";
    proven(percent, alone, alike, limit, source) = "flow.proven-by-holes", Pass,
        "flow is {percent} % off the prediction; every hole was shown to draw; the pipe is {alone} % off what the other pipes predict; all pipes together are {alike} % off the prediction, within the unit's own {limit} % ({source})";
    only_pipe_proven(percent, alike, limit, source) = "flow.only-pipe-proven-by-holes", Pass,
        "flow is {percent} % off the prediction; every hole was shown to draw; the unit's only pipe is {alike} % off the prediction, within the unit's own {limit} % ({source})";
    this_pipe_shifted(percent, alone) = "flow.this-pipe-shifted", Undecided,
        "flow is {percent} % off the prediction; every hole was shown to draw; the pipe is {alone} % off what the other pipes predict",
        likely "a leak near the unit, a pipe that is not fully seated, or a crushed pipe: each shifts a whole pipe",
        next "look at the seat of this pipe and along it, then prove flow again";
    all_pipes_shifted(percent, alike) = "flow.all-pipes-shifted", Undecided,
        "flow is {percent} % off the prediction; every hole was shown to draw; all pipes together are {alike} % off the prediction",
        likely "the filter, the fan setting or the exhaust: each shifts all pipes alike",
        next "check filter, fan setting and exhaust, then prove flow again";
    pipes_not_compared(percent) = "flow.pipes-not-compared", Undecided,
        "flow is {percent} % off the prediction; every hole was shown to draw; the pipes could not be compared with each other",
        next "prove flow again";
}

/// Why flow is not steady.
pub(crate) fn reason(reason: &Reason) -> String {
    let litres = |flow_m3_s: f64| flow_m3_s / M3_S_PER_L_MIN;
    match reason {
        Reason::WindowsNotFull => "readings are still being gathered".into(),
        Reason::Gap { missing, .. } => format!("readings were missing for {:.1} s", missing.as_secs_f64()),
        Reason::Restart { .. } => "the unit restarted".into(),
        Reason::Stale { .. } => "no fresh readings come".into(),
        Reason::TooSlow { rate_hz } => format!("only {rate_hz:.2} readings a second"),
        Reason::Trend { slope, .. } => format!("it moves by {:+.2} L/min a minute", litres(slope.per_minute)),
        Reason::Scatter { .. } => "its scatter still hides whether it moves".into(),
        Reason::Step { by, .. } => format!("it jumped by {:+.2} L/min", litres(*by)),
        Reason::Oscillation { amplitude, period_s } => {
            format!("it swings by {:.2} L/min every {period_s:.0} s", litres(*amplitude))
        }
        Reason::Spikes { count, .. } => format!("{count} single readings jumped"),
    }
}

/// Why a flow reading can't be judged.
pub(crate) fn fault(fault: &Fault) -> &'static str {
    match fault {
        Fault::Stuck { .. } => "it never changes",
        Fault::NotANumber { .. } => "it is not a number",
        Fault::OutOfOrder { .. } => "readings came out of order",
        Fault::BadRule { what } => what,
    }
}
