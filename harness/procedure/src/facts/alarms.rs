//! What the alarm levels did while smoke was at the unit, and after it.
facts! {
    unknown(why) = "alarms.unknown", Undecided, "not shown that the alarm levels do what their settings say: {why}",
        next "describe the unit or correct its settings, then release smoke again";
    none() = "alarms.none", Undecided, "the unit has no alarm level by its description",
        next "correct the description of this model, then release smoke again";
    other_number(stated, described) = "alarms.other-number", Undecided,
        "the unit states {stated} alarm levels, its description {described}",
        next "correct the description of this model, then release smoke again";
    in_time(level) = "alarms.in-time", Pass,
        "alarm level {level} rose when its threshold had stood for its delay";
    seen(level) = "alarms.seen", Pass, "alarm level {level} was seen at the unit while smoke was held";
    early(level, after, delay) = "alarms.early", Fail,
        "alarm level {level} rose when its threshold had stood for {after} s, not for its delay of {delay} s",
        likely "the unit acts on another threshold or delay than it reads back",
        next "load the settings again and release smoke again; if it comes back, do not put this unit into service";
    late(level, after, delay) = "alarms.late", Fail,
        "alarm level {level} rose only {after} s after its threshold was reached; its delay is {delay} s",
        likely "the unit acts on another threshold or delay than it reads back",
        next "load the settings again and release smoke again; if it comes back, do not put this unit into service";
    exchanged(sooner, later, first, second) = "alarms.delays-exchanged", Fail,
        "alarm level {sooner} rose when its threshold had stood for {first} s and level {later} after {second} s: each at about the other's delay",
        likely "the unit acts on the delays of these levels in exchanged places",
        next "load the settings again and release smoke again; if it comes back, do not put this unit into service";
    never(level, after, delay) = "alarms.never", Fail,
        "alarm level {level} did not rise although its threshold had stood for {after} s; its delay is {delay} s",
        likely "the unit does not alarm at this level, or acts on another threshold than it reads back",
        next "do not put this unit into service before its alarms are shown";
    not_reached(level) = "alarms.not-reached", Undecided,
        "alarm level {level} is not shown: the smoke at the unit did not stand over its threshold for long enough",
        next "release stronger smoke for longer near the unit; or name the level in the plan as not shown (smoke.levels_not_shown)";
    too_seldom(level) = "alarms.readings-too-seldom", Undecided,
        "alarm level {level} is not shown to wait for its delay: readings come too seldom to tell when its threshold was reached",
        next "let the unit tell readings more often, then release smoke again; or name the level in the plan as not shown (smoke.levels_not_shown)";
    left_out(level) = "alarms.left-out", Pass,
        "alarm level {level} is not shown: the smoke did not reach it, and the plan allows that";
    at_threshold(level) = "alarms.at-threshold", Pass,
        "alarm level {level} went when the reading fell under its threshold";
    left_above(level, percent) = "alarms.left-above", Fail,
        "alarm level {level} went while the reading still stood at {percent} % of its threshold",
        likely "the unit acts on a higher threshold than it reads back",
        next "load the settings again and release smoke again; if it comes back, do not put this unit into service";
    left_below(level, percent) = "alarms.left-below", Fail,
        "alarm level {level} stayed until the reading had fallen to {percent} % of its threshold",
        likely "the unit acts on a lower threshold than it reads back",
        next "load the settings again and release smoke again; if it comes back, do not put this unit into service";
    leaving_not_seen(level) = "alarms.leaving-not-seen", Undecided,
        "alarm level {level} was not seen to go when the smoke went: its threshold is not shown",
        next "bring the readings back and release smoke again";
    latched(level) = "alarms.latched", Pass, "alarm level {level} stayed until it was reset, as it is set to";
    not_latched(level) = "alarms.not-latched", Fail, "alarm level {level} is set to latch and did not stay when the smoke was gone",
        likely "the unit acts on other settings than it reads back",
        next "load the settings again and release smoke again; if it comes back, do not put this unit into service";
    latched_unasked(level) = "alarms.latched-unasked", Fail,
        "alarm level {level} stays latched although it is not set to",
        likely "the unit acts on other settings than it reads back",
        next "load the settings again and release smoke again; if it comes back, do not put this unit into service";
    stays(level) = "alarms.stays", Fail, "alarm level {level} still stands although the smoke is gone and it does not latch",
        next "look for another source of smoke or dust; if there is none, do not put this unit into service";
    went(level) = "alarms.went", Pass, "alarm level {level} went when the smoke was gone";
}
