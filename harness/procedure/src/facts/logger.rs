//! What the file of a logger on the unit's smoke signal can show.
const ANOTHER: &str = "release again (`again: smoke`) with the logger on the unit's smoke signal, mark its clock when asked, and give its file; or refuse the file with a reason: the times that were marked by hand then count";
facts! {
    tied(logger, marks, u, drift) = "logger.tied", Pass,
        "{logger}: its clock is tied to this job's by {marks} marks, to {u} s; it runs {drift} parts in a million off", by Eye;
    not_used(logger, why) = "logger.not-used", Undecided,
        "{logger}: no file of it that was given can be used: {why}", next ANOTHER, by Eye;
    contradicts(hole, run, how) = "logger.contradicts", Undecided,
        "smoke from {hole}, run {run}: {how}",
        likely "the mark was pressed late, the logger stores another signal, or the file is of another time",
        next "see that the logger stores this unit's smoke signal, then release again (`again: smoke`)", by Eye;
}
