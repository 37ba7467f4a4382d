//! What timed releases of smoke can show.
use alloc::{
    format,
    string::{String, ToString},
};
use plumeline_measure::smoke::{Outcome, Unclear};

facts! {
    not_planned() = "smoke.not-planned", Undecided, "no smoke test is planned for this pipe",
        next "add its farthest hole to the plan's smoke tests";
    no_hole(number, pipe) = "smoke.no-such-hole", Undecided, "the pipework has no hole {number} on pipe {pipe}";
    not_timed(hole, why) = "smoke.not-timed", Undecided, "smoke from {hole} was not timed: {why}",
        likely "the release was too weak or too short, the hole does not draw, or the pipe is broken or not in its inlet",
        next "release again, longer and close to the hole; if nothing comes, look along the pipe";
    not_read(hole, why) = "smoke.not-readable", Undecided, "smoke from {hole} was not timed: {why}",
        likely "smoke from before was still there, or readings are missing",
        next "wait until the reading stands still, then release again and hold the smoke until it stands still anew";
    too_many_set_aside(hole, times) = "smoke.too-many-set-aside", Undecided,
        "smoke from {hole} was not timed: {times} runs were set aside",
        likely "the release was too weak or too short, the hole does not draw, or the pipe is broken or not in its inlet",
        next "release again, longer and close to the hole; if nothing comes, look along the pipe";
    crossed(hole, other, own) = "smoke.pipes-crossed", Fail,
        "smoke from {hole} shows at inlet {other}, not at inlet {own}",
        likely "pipes {own} and {other} are crossed",
        next "put each pipe into the inlet of its own number, then prove flow again";
    not_judged(hole, error, remedy) = "smoke.time-not-judged", Undecided,
        "transport time from {hole} can't be judged: {error}", next "{remedy}";
    within(hole, time, aside) = "smoke.within-limit", Pass, "smoke from {hole} arrives in {time} s, within the limit{aside}";
    longer(hole, time, aside) = "smoke.too-late", Fail, "smoke from {hole} takes {time} s, longer than the limit{aside}",
        likely "too little flow, a leak or break nearer to the unit, or a pipe that is too long for this fan",
        next "compare with the predicted time; put the pipe right or change the design, then test again";
    near_limit(hole, time, aside) = "smoke.near-limit", Undecided,
        "smoke from {hole} takes {time} s: too near the limit to tell{aside}";
    not_predicted(hole) = "smoke.not-predicted", Undecided, "no transport time is predicted from {hole}";
    no_plateau(hole) = "smoke.no-plateau", Undecided,
        "a run from {hole} showed no plateau: its time can't be compared with the prediction",
        next "release less or weaker smoke so that the reading does not run into its ceiling";
    not_compared(hole, error, remedy) = "smoke.not-compared", Undecided,
        "transport time from {hole} can't be compared with the prediction: {error}", next "{remedy}";
    as_predicted(hole, by) = "smoke.as-predicted", Pass, "smoke from {hole} arrives when it should ({by} s)";
    earlier(hole, by) = "smoke.earlier-than-predicted", Fail, "smoke from {hole} arrives {by} s earlier than predicted",
        likely "smoke got in at another hole, the pipe is broken or open nearer to the unit, or it is another pipe",
        next "look along the pipe between the unit and the hole, then test again";
    later(hole, by) = "smoke.later-than-predicted", Fail, "smoke from {hole} arrives {by} s later than predicted",
        likely "too little flow in this pipe, a leak near the unit, or a partly blocked pipe",
        next "look along the pipe between the unit and the hole, then test again";
    late_as_flows(hole, by, alike) = "smoke.late-as-flows", Undecided,
        "smoke from {hole} is {by} s off the prediction, too near the limit to tell; and the flows of all pipes are {alike} % off alike: the unit may move less air than predicted",
        likely "a clogged filter, a fan that runs slower than it is set or told, or a covered exhaust",
        next "check the filter, the fan and the exhaust of the unit, then prove flow again";
    all_late(percent) = "smoke.all-late", Undecided,
        "smoke comes late at every pipe alike, by {percent} % of its time or more",
        likely "the unit moves less air than predicted: a clogged filter, a fan that runs slower than it is set or told, or a covered exhaust",
        next "check the filter, the fan and the exhaust of the unit, then prove flow again";
    near_agreement(hole, by) = "smoke.near-agreement-limit", Undecided,
        "smoke from {hole} is {by} s off the prediction: too near the limit to tell";
}

/// What a finding adds about runs that do not count; empty where there are none.
pub(crate) fn set_aside(reasons: &[String]) -> String {
    if reasons.is_empty() {
        return String::new();
    }
    format!(" ({} set aside before the result was known: {})", reasons.len(), reasons.join("; "))
}

/// Why there is no time.
#[derive(Clone, Debug)]
pub(crate) struct WhyNot {
    pub(crate) words: String,
    /// Smoke may well have come: it is the readings that can't tell when.
    pub(crate) unreadable: bool,
}
impl WhyNot {
    /// Smoke did not come as it should have.
    pub(crate) fn came_badly(words: impl Into<String>) -> Self {
        Self { words: words.into(), unreadable: false }
    }
    /// Smoke may have come; nothing tells when.
    pub(crate) fn unreadable(words: impl Into<String>) -> Self {
        Self { words: words.into(), unreadable: true }
    }
    /// Where the unit's own alarm says that smoke came: nothing that is told may contradict it.
    pub(crate) fn beside_alarm(self, alarm_after_s: Option<f64>) -> Self {
        match (self.words, alarm_after_s) {
            (why, Some(after)) => Self::unreadable(format!(
                "its start can't be told from the readings ({why}), though smoke came: the unit alarmed {after:.0} s after the release"
            )),
            (words, None) => Self { words, ..self },
        }
    }
}

/// Said where the readings show no rise.
pub const NOTHING_ROSE: &str = "nothing rose";

/// Why there is no time; `None` where there is one.
pub(crate) fn why_not(outcome: &Outcome) -> Option<WhyNot> {
    let (badly, unreadable) = (|words: &str| WhyNot::came_badly(words), |words: &str| WhyNot::unreadable(words));
    Some(match outcome {
        Outcome::Response(_) => return None,
        Outcome::Saturated { .. } => unreadable("the reading ran into its ceiling"),
        Outcome::TooWeak { .. } => badly("something rose, but too little to be timed"),
        Outcome::NoRise { .. } => badly(NOTHING_ROSE),
        Outcome::Undecided { because } => match because {
            Unclear::Evidence(error) => unreadable(&error.to_string()),
            Unclear::BeforeRelease { .. } => unreadable("it rose before the release"),
            Unclear::TooShort { lasted_s } => badly(&format!("it rose for {lasted_s:.1} s only")),
            Unclear::RestlessBaseline { .. } => unreadable("the reading was restless before the release"),
            Unclear::EndsTooSoon => unreadable("the record ends before the plateau"),
            Unclear::TooSlow => unreadable("no rise that smoke makes explains the readings"),
        },
    })
}
