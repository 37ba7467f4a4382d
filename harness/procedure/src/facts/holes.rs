//! What closing the holes of a pipe in turn can show.
/// Closing a hole showed that its pipe sits in another's inlet.
pub(crate) const CROSSED: &str = "holes.pipes-crossed";
const TOO_WIDE: &str = "the hole is larger than the pipework file says, its cap is missing, others are blocked, or tape that should close another does not";
const MEASURE_IT: &str = "measure the hole, look at the others, correct the pipework file if it is wrong";

facts! {
    not_closed(hole, why) = "holes.not-closed", Undecided, "{hole} was not closed: {why}",
        next "show by smoke that it draws, or reach it another way";
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
        "closing {hole} lowered the flow of inlet {other} by {drop}, not that of inlet {own}",
        likely "pipes {own} and {other} are crossed",
        next "put each pipe into the inlet of its own number, then prove flow again";
    not_judged(hole, error, remedy) = "holes.not-judged", Undecided,
        "closing {hole} showed a fall of flow that can't be judged: {error}", next "{remedy}";
    far_less(hole, drop) = "holes.far-too-little", Fail,
        "{hole} draws too little: closing it lowered the flow by only {drop}",
        likely "the hole is blocked, taped, or smaller than the pipework file says",
        next "clear it outward from the unit's end (never blow into a unit), then close it again";
    far_more(hole, drop) = "holes.far-too-much", Fail,
        "{hole} draws too much: closing it lowered the flow by {drop}",
        likely "the hole is larger than the pipework file says, its cap is missing, or others are blocked",
        next "measure the hole, look at the others, correct the pipework file if it is wrong";

    alone_not_opened(hole, why) = "holes.alone-not-opened", Undecided, "{hole} was not opened alone: {why}",
        next "show by smoke that it draws, or reach it another way";
    all_crossed(other, percent, own) = "holes.all-crossed", Fail,
        "closing every hole of pipe {own} lowered the flow of inlet {other} by {percent} %, not that of inlet {own}",
        likely "pipes {own} and {other} are crossed",
        next "put each pipe into the inlet of its own number, then prove flow again";
    not_of_pipe(percent, own) = "holes.not-this-pipes", Fail,
        "with every hole of pipe {own} closed and the inlets of the other pipes shut, {percent} % of the flow is still there: most of it is not drawn at this pipe's holes",
        likely "pipes are crossed, so that another pipe sits in inlet {own}; or the pipe is open at another place, its end cap missing or a joint apart",
        next "follow the pipe from its inlet to its holes, and put each pipe into the inlet of its own number, then prove flow again";
    opened_unseen(holes, error, remedy) = "holes.opened-unseen", Undecided,
        "{holes} was opened again, but no flow shows it: {error}", next "{remedy}";
    opened_counted(tapes) = "holes.opened-counted", Pass,
        "what the pipe draws can't be told from one hole less; {tapes} pieces of tape came off the pipe, one for each hole, says the technician", by Word;
    opened_in_part(percent) = "holes.opened-in-part", Undecided,
        "after every hole was opened again the pipe draws {percent} % less than before, less than a whole hole takes",
        likely "tape or its glue still covers part of a hole, or the air changed",
        next "look at each hole of the pipe, then prove flow again";
    one_left_closed(percent) = "holes.one-left-closed", Fail,
        "after every hole was opened again the pipe draws {percent} % less than before: one of them is still closed",
        next "open it, then prove flow again";

    // What was seen of a hole: closing it lowered the flow by so much, or alone it takes so much of its pipe's flow.
    not_parted(hole) = "holes.not-compared", Undecided,
        "what {hole} showed can't be compared with the pipe's other holes";
    all_off(hole, seen, percent) = "holes.all-off", Undecided,
        "{hole}: {seen}, and all holes of the pipe together are {percent} % off the prediction",
        next "check the pipe's bore, lengths and holes against the pipework file";
    draws(hole, seen, off) = "holes.draws", Pass,
        "{hole} draws: {seen}, {off} % off what the other holes of the pipe predict";
    less(hole, seen, off) = "holes.too-little", Fail,
        "{hole} draws too little: {seen}, {off} % off what the other holes of the pipe predict",
        likely "the hole is blocked, taped, or smaller than the pipework file says",
        next "clear it outward from the unit's end (never blow into a unit), then prove it again";
    more(hole, seen, off) = "holes.too-much", Fail,
        "{hole} draws too much: {seen}, {off} % off what the other holes of the pipe predict",
        likely TOO_WIDE, next MEASURE_IT;
    // A wrong hole, or a wrong file: a person decides which. What it takes from the others is less than matters.
    more_but_others_draw(hole, seen, off) = "holes.too-much-but-others-draw", Undecided,
        "{hole} draws too much, though not enough to starve the others: {seen}, {off} % off what the other holes of the pipe predict",
        likely TOO_WIDE, next MEASURE_IT;
    stands_out(hole, seen, off) = "holes.stands-out", Undecided,
        "{hole}: {seen}, {off} % off what the other holes of the pipe predict: less than chance explains, but not enough to tell by how much",
        next "look at the hole and measure it";
    near_limit(hole, seen, off) = "holes.near-limit", Undecided,
        "{hole}: {seen}, {off} % off what the other holes of the pipe predict: too near the limit to tell",
        next "look at the hole and measure it; average for longer, or show by smoke that it draws";
}
