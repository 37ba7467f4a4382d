//! What smoke held to a hole can show of it, where closing the hole can't.
facts! {
    no_hole(number, pipe) = "presence.no-such-hole", Undecided, "the pipework has no hole {number} on pipe {pipe}";
    not_predicted(hole) = "presence.not-predicted", Undecided,
        "no transport time is predicted from {hole}: smoke can't show that it draws";
    not_released(hole, why) = "presence.not-released", Undecided, "not shown by smoke that {hole} draws: {why}",
        next "release again, longer and close to the hole; if nothing comes, clear the hole";
    set_aside(hole, times, why) = "presence.set-aside", Undecided,
        "not shown by smoke that {hole} draws: set aside {times} times, last: {why}",
        next "release again, longer and close to the hole; if nothing comes, clear the hole";
    no_response(hole, why) = "presence.no-response", Undecided, "smoke at {hole} did not show: {why}",
        likely "the hole is blocked or taped, or the release was too weak",
        next "release again, longer and close to the hole; if nothing comes, clear the hole";
    draws(hole) = "presence.draws", Pass, "{hole} draws: smoke held to it shows within the time predicted for it";
    other_time(hole, after, from, to) = "presence.other-time", Undecided,
        "smoke held to {hole} shows after {after} s, not within {from} to {to} s as from this hole",
        likely "the smoke got in at another hole, or the pipe is open or blocked",
        next "release again, longer and close to the hole; if nothing comes, clear the hole";
    crossed(hole, other, own) = "presence.pipes-crossed", Fail,
        "smoke from {hole} shows at inlet {other}, not at inlet {own}",
        likely "pipes {own} and {other} are crossed",
        next "put each pipe into the inlet of its own number, then prove flow again";
}
