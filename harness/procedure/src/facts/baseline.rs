//! What the airflow baseline and the last look at it can show.
const MOVED: &str = "dirt on the filter or in the pipes, another fan setting, or a change at the pipes since the baseline was taken";
const ANEW: &str = "put right what prove-flow names, clean or renew the filter; if the flow is proven and stays where it is, take the \
                    baseline anew (visit = \"new-baseline\")";
facts! {
    refused(proven) = "baseline.refused", Undecided, "no baseline taken: the airflow is not proven ({proven})",
        next "put right what prove-flow found, then run the job again";
    over_unproven(who) = "baseline.over-unproven-airflow", Undecided,
        "the baseline was taken over unproven airflow, by decision of: {who}",
        next "prove the airflow and take the baseline again";
    not_shown(trouble) = "baseline.not-shown", Undecided,
        "the baseline was taken by hand, and what the unit holds is not shown: {trouble}",
        next "describe where the unit shows its baseline, or have it read in another way";
    not_shown_allowed(trouble) = "baseline.not-shown-allowed", Pass,
        "the baseline was taken by hand; what the unit holds is not shown ({trouble}), and the plan goes without it by name", by Word;
    another_read_back() = "baseline.another-read-back", Fail, "the baseline read back is not the one that was taken";
    before_start() = "baseline.taken-before-start", Fail,
        "the baseline read back was taken before the unit's last start";
    none_held() = "baseline.none-held", Fail, "the unit holds no baseline for this inlet";
    not_measured(error) = "baseline.not-measured", Undecided, "the baseline can't be compared: {error}";
    not_judged(error, remedy) = "baseline.not-judged", Undecided,
        "not shown that the baseline is what was measured: {error}", next "{remedy}";
    as_measured() = "baseline.as-measured", Pass, "the baseline is what was measured";
    not_as_measured() = "baseline.not-as-measured", Fail, "the baseline is not what was measured just before";
    near_limit() = "baseline.near-limit", Undecided,
        "not shown that the baseline is what was measured: too near the limit to tell";
    kept() = "baseline.kept", Pass, "flow is near enough to the baseline that the unit keeps";
    kept_near_limit() = "baseline.kept-near-limit", Undecided,
        "not shown that flow is near enough to the baseline that the unit keeps: too near the limit to tell", likely MOVED, next ANEW;
    kept_too_far() = "baseline.kept-too-far", Fail,
        "flow has gone so far from the baseline that little of the band is left on that side", likely MOVED, next ANEW;
    kept_not_shown(trouble) = "baseline.kept-not-shown", Undecided, "the baseline that the unit keeps is not shown: {trouble}",
        next "describe where the unit shows its baseline, or have it read in another way";

    look_not_measured(error) = "last-look.not-measured", Undecided, "flow was not measured: {error}";
    no_baseline() = "last-look.no-baseline", Undecided, "there is no baseline to compare the flow with";
    look_not_judged(error) = "last-look.not-judged", Undecided,
        "not shown that flow is as at the baseline: {error}",
        likely "a hole left taped, an inlet not put back, or the cover open",
        next "count off tapes and plugs, look at inlets and cover, then look again";
    as_at_baseline() = "last-look.as-at-baseline", Pass, "flow is as at the baseline";
    not_as_at_baseline() = "last-look.not-as-at-baseline", Fail, "flow is no longer as at the baseline",
        likely "a hole left taped, an inlet not put back, or the cover open",
        next "count off tapes and plugs, look at inlets and cover, then look again";
    look_near_limit() = "last-look.near-limit", Undecided,
        "not shown that flow is as at the baseline: too near the limit to tell",
        likely "a hole left taped, an inlet not put back, or the cover open",
        next "count off tapes and plugs, look at inlets and cover, then look again";

    left_alone() = "last-look.left-alone", Pass,
        "pipes, cover, filter and fan setting were left alone since the baseline, says the technician", by Word;
    touched(reason) = "last-look.touched", Undecided,
        "pipes, cover, filter or fan setting were touched since the baseline{reason}",
        next "prove flow and take the baseline again", by Word;
    not_told_left_alone(reason) = "last-look.not-told-left-alone", Undecided,
        "not told whether pipes, cover, filter and fan setting were left alone since the baseline{reason}";
    still_held() = "last-look.baseline-still-held", Pass, "the unit still holds the baseline that was taken";
    no_longer_held() = "last-look.baseline-no-longer-held", Undecided,
        "the unit no longer holds the baseline that was taken",
        next "find out who took another one, then prove flow and take the baseline again";
    not_shown_held(trouble) = "last-look.baseline-not-shown", Undecided,
        "not shown that the unit still holds its baseline: {trouble}";
    not_shown_held_allowed(trouble) = "last-look.baseline-not-shown-allowed", Pass,
        "that the unit still holds its baseline is not shown ({trouble}), and the plan goes without it by name", by Word;
    settings_as_loaded() = "last-look.settings-as-loaded", Pass, "the settings are still as loaded";
    settings_changed(difference) = "last-look.settings-changed", Undecided,
        "the settings were changed since they were loaded: {difference}",
        likely "somebody changed them at the unit's keys",
        next "load the settings, prove flow and take the baseline again";
    settings_not_shown(why) = "last-look.settings-not-shown", Undecided,
        "not shown that the settings are still as loaded: {why}";
}
