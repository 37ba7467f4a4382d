//! What is still off at the end, and for how long the zone was out of service.
facts! {
    incomplete(still) = "close.incomplete", Undecided, "closed incomplete: {still}",
        next "put it back, then hand over in writing what was done after this record";
    never_out() = "close.never-out-of-service", Undecided, "the zone was never taken out of service in this job";
    not_back() = "close.not-back-in-service", Undecided, "the zone is not shown to be back in service";
    in_time() = "close.in-time", Pass, "out of service for no longer than the limit";
    time_unknown(why) = "close.time-unknown", Undecided,
        "for how long the zone was out of service is not known: this computer's date is not to be trusted: {why}",
        next "find out from the panel's log or from those who were told for how long it was";
    too_long_covered() = "close.too-long-covered", Pass,
        "out of service for longer than the limit; what is then called for was in place", by Word;
    too_long(why) = "close.too-long", Undecided,
        "out of service for longer than the limit, and what is then called for is not shown to have been in place: {why}";
}
