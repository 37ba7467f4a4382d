//! What the suction at a hole can show, read off a manometer that closes it.
const LOOK: &str = "look at the pipe between the unit and this hole, at its seat in the inlet, and at filter, fan setting and exhaust; then prove flow again";
facts! {
    not_predicted(hole) = "suction.not-predicted", Undecided, "the pipework predicts no suction at {hole}", by Eye;
    no_manometer(hole) = "suction.no-manometer", Undecided,
        "the suction at {hole} was not measured: the plan names no manometer",
        next "name the manometer under [[instruments]] in the plan, with its certificate", by Eye;
    not_measured(hole, why) = "suction.not-measured", Undecided, "the suction at {hole} was not measured: {why}", by Eye;
    not_judged(hole, error, remedy) = "suction.not-judged", Undecided,
        "the suction at {hole} was measured but can't be judged: {error}", next "{remedy}", by Eye;
    as_predicted(hole, flow) = "suction.as-predicted", Pass,
        "the suction at {hole} is as predicted; if it is open and has the size in the pipework file, it draws {flow} L/min by it", by Eye;
    lower(hole, percent) = "suction.lower", Fail,
        "the suction at {hole} is {percent} % lower than predicted",
        likely "air enters where it should not between the unit and this hole, the pipe is crushed or full of swarf, the filter is clogged, or the fan pulls less",
        next LOOK, by Eye;
    higher(hole, percent) = "suction.higher", Fail,
        "the suction at {hole} is {percent} % higher than predicted",
        likely "other holes of this pipe are blocked or taped, or the fan runs faster than the pipework file says",
        next LOOK, by Eye;
    near_limit(hole, percent) = "suction.near-limit", Undecided,
        "the suction at {hole} is {percent} % off the prediction: too uncertain to tell",
        next "measure with a manometer of a finer step or a smaller uncertainty, or state tolerances of the pipework that were measured", by Eye;
}
