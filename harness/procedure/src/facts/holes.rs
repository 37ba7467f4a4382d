//! What closing the holes of a pipe in turn can show.
/// Closing a hole showed that its pipe sits in another's inlet.
pub(crate) const CROSSED: &str = "holes.pipes-crossed";

facts! {
    not_closed(hole, why) = "holes.not-closed", Undecided, "{hole} was not closed: {why}",
        next "show by smoke or manometer that it draws, or reach it another way";
    // A hole that stays closed is a defect of our own making.
    left_closed(hole, why) = "holes.left-closed", Fail,
        "{hole} was closed for the check and not opened again: {why}", next "open it, then prove flow again";
    not_predicted(hole) = "holes.not-predicted", Undecided, "the pipework predicts nothing for {hole}";
    not_measured(hole, error, remedy) = "holes.not-measured", Undecided,
        "the flow while {hole} was open or closed could not be measured: {error}", next "{remedy}";
    stands_still(hole) = "holes.stands-still", Undecided,
        "the flow reading stood still all the time while {hole} was open, closed and open again",
        likely "the unit's flow sensor of this inlet stands still, or tells in steps that are coarser than its noise",
        next "check the unit's flow sensor of this inlet, then prove flow again";
    no_scatter(hole) = "holes.no-scatter", Undecided,
        "the flow readings while {hole} was open and closed have no scatter: how sure the drop is can't be told";
    crossed(hole, other, drop, own) = "holes.pipes-crossed", Fail,
        "closing {hole} lowered the flow of inlet {other} by {drop} L/min, not that of inlet {own}",
        likely "pipes {own} and {other} are crossed",
        next "put each pipe into the inlet of its own number, then prove flow again";
    not_judged(hole, error, remedy) = "holes.not-judged", Undecided,
        "closing {hole} showed a fall of flow that can't be judged: {error}", next "{remedy}";
    far_less(hole, drop) = "holes.far-too-little", Fail,
        "{hole} draws too little: closing it lowered the flow by only {drop} L/min",
        likely "the hole is blocked, taped, or smaller than the pipework file says",
        next "clear it outward from the unit's end (never blow into a unit), then close it again";
    far_more(hole, drop) = "holes.far-too-much", Fail,
        "{hole} draws too much: closing it lowered the flow by {drop} L/min",
        likely "the hole is larger than the pipework file says, its cap is missing, or others are blocked",
        next "measure the hole, look at the others, correct the pipework file if it is wrong";

    alone_not_opened(hole, why) = "holes.alone-not-opened", Undecided, "{hole} was not opened alone: {why}",
        next "show by smoke or manometer that it draws, or reach it another way";
    alone_not_measured(hole, error, remedy) = "holes.alone-not-measured", Undecided,
        "what {hole} draws alone could not be measured: {error}", next "{remedy}";
    alone_not_parted(hole) = "holes.alone-not-compared", Undecided,
        "what {hole} draws alone can't be compared with the pipe's other holes";
    alone_all_off(hole, share, percent) = "holes.alone-all-off", Undecided,
        "{hole} alone draws {share} % of its pipe's flow, and all holes of the pipe together are {percent} % off the prediction",
        next "check the pipe's bore, lengths and holes against the pipework file";
    alone_draws(hole, share, off) = "holes.alone-draws", Pass,
        "{hole} draws: alone it takes {share} % of its pipe's flow, {off} % off what the other holes of the pipe predict";
    alone_less(hole, share, off) = "holes.alone-too-little", Fail,
        "{hole} draws too little: alone it takes only {share} % of its pipe's flow, {off} % off what the other holes of the pipe predict",
        likely "the hole is blocked, taped, or smaller than the pipework file says",
        next "clear it outward from the unit's end (never blow into a unit), then prove flow again";
    alone_more(hole, share, off) = "holes.alone-too-much", Fail,
        "{hole} draws too much: alone it takes {share} % of its pipe's flow, {off} % off what the other holes of the pipe predict",
        likely "the hole is larger than the pipework file says, its cap is missing, or another hole was not closed",
        next "measure the hole, look at the others, correct the pipework file if it is wrong";
    alone_more_but_others_draw(hole, share, off) = "holes.alone-too-much-but-others-draw", Undecided,
        "{hole} draws too much, though not enough to starve the others: alone it takes {share} % of its pipe's flow, {off} % off what the other holes of the pipe predict",
        likely "the hole is larger than the pipework file says, its cap is missing, or another hole was not closed",
        next "measure the hole, look at the others, correct the pipework file if it is wrong";
    alone_stands_out(hole, share, off) = "holes.alone-stands-out", Undecided,
        "{hole} alone takes {share} % of its pipe's flow, {off} % off what the other holes of the pipe predict: less than chance explains, but not enough to tell by how much",
        next "look at the hole and measure it";
    alone_near_limit(hole, share, off) = "holes.alone-near-limit", Undecided,
        "{hole} alone takes {share} % of its pipe's flow, {off} % off what the other holes of the pipe predict: too near the limit to tell",
        next "look at the hole and measure it, or show by smoke or manometer that it draws";
    all_crossed(other, percent, own) = "holes.all-crossed", Fail,
        "closing every hole of pipe {own} lowered the flow of inlet {other} by {percent} %, not that of inlet {own}",
        likely "pipes {own} and {other} are crossed",
        next "put each pipe into the inlet of its own number, then prove flow again";
    one_left_closed(percent) = "holes.one-left-closed", Fail,
        "after every hole was opened again the pipe draws {percent} % less than before: one of them is still closed",
        next "open it, then prove flow again";

    not_parted(hole) = "holes.not-compared", Undecided,
        "closing {hole} showed a fall of flow that can't be compared with the pipe's other holes";
    all_off(hole, drop, percent) = "holes.all-off", Undecided,
        "closing {hole} lowered the flow by {drop} L/min, and all holes of the pipe together are {percent} % off the prediction",
        next "check the pipe's bore, lengths and holes against the pipework file";
    draws(hole, drop, off) = "holes.draws", Pass,
        "{hole} draws: closing it lowered the flow by {drop} L/min, {off} % off what the other holes of the pipe predict";
    less(hole, drop, off) = "holes.too-little", Fail,
        "{hole} draws too little: closing it lowered the flow by only {drop} L/min, {off} % off what the other holes of the pipe predict",
        likely "the hole is blocked, taped, or smaller than the pipework file says",
        next "clear it outward from the unit's end (never blow into a unit), then close it again";
    more(hole, drop, off) = "holes.too-much", Fail,
        "{hole} draws too much: closing it lowered the flow by {drop} L/min, {off} % off what the other holes of the pipe predict",
        likely "the hole is larger than the pipework file says, its cap is missing, or others are blocked",
        next "measure the hole, look at the others, correct the pipework file if it is wrong";
    // A wrong hole, or a wrong file: a person decides which. What it takes from the others is less than matters.
    more_but_others_draw(hole, drop, off) = "holes.too-much-but-others-draw", Undecided,
        "{hole} draws too much, though not enough to starve the others: closing it lowered the flow by {drop} L/min, {off} % off what the other holes of the pipe predict",
        likely "the hole is larger than the pipework file says, its cap is missing, or others are blocked",
        next "measure the hole, look at the others, correct the pipework file if it is wrong";
    stands_out(hole, drop, off) = "holes.stands-out", Undecided,
        "closing {hole} lowered the flow by {drop} L/min, {off} % off what the other holes of the pipe predict: less than chance explains, but not enough to tell by how much",
        next "look at the hole and measure it";
    near_limit(hole, drop, off) = "holes.near-limit", Undecided,
        "closing {hole} lowered the flow by {drop} L/min, {off} % off what the other holes of the pipe predict: too near the limit to tell",
        next "look at the hole and measure it; average for longer, or show by smoke or manometer that it draws";
}
