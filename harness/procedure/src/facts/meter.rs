//! What one meter at the unit's exhaust can show of several pipes, and what shutting inlets for it leaves behind.
const SHUT_AGAIN: &str = "put every inlet back, then prove flow again";
facts! {
    not_alone(pipe, why) = "meter.not-alone", Undecided, "the flow of pipe {pipe} was not read alone off the meter at the exhaust: {why}",
        next "shut the inlets of the other pipes when asked to, then prove flow again", by Eye;
    left_shut(why) = "meter.left-shut", Fail,
        "the inlet was shut so that another pipe's flow could be read alone, and not put back: {why}", next SHUT_AGAIN, by Word;
    as_before() = "meter.as-before", Pass,
        "with every inlet open again, the meter at the exhaust shows what it showed before any was shut", by Eye;
    less_than_before(percent) = "meter.less-than-before", Fail,
        "with every inlet open again, the meter at the exhaust shows {percent} % less than before any was shut",
        likely "an inlet was not put back as it was, or tape was left at a hole", next SHUT_AGAIN, by Eye;
    more_than_before(percent) = "meter.more-than-before", Fail,
        "with every inlet open again, the meter at the exhaust shows {percent} % more than before any was shut",
        likely "a pipe was not pushed home again, or its seal leaks", next SHUT_AGAIN, by Eye;
    not_compared(why) = "meter.not-compared", Undecided,
        "not shown that every inlet is open again as before: {why}", next SHUT_AGAIN, by Eye;
}
