//! What the outgoing unit is, and what it shows. A dead or mute one is normal.
const ELSEWHERE: &str = "take the item from the site's own documents, or do without the comparison";
facts! {
    not_planned() = "as-found.no-outgoing-unit", Undecided, "not captured: the plan names no outgoing unit";
    nothing(trouble) = "as-found.nothing-captured", Undecided,
        "identity, settings and flows not captured: {trouble}", next ELSEWHERE;
    bench_unit(serial, why) = "as-found.bench-unit", Undecided,
        "not captured: the unit on the cable is not the outgoing one but the replacement (serial {serial}): {why}",
        next ELSEWHERE;
    identity(maker, model, serial) = "as-found.identity", Pass, "{maker} {model}, serial {serial}";
    other_unit(property, planned, told) = "as-found.not-as-planned", Undecided,
        "the plan expects {property} {planned}, the unit says {told}";
    settings(items) = "as-found.settings", Pass, "settings captured whole: {items} items, digest checked";
    no_settings(trouble) = "as-found.settings-not-captured", Undecided, "settings not captured: {trouble}",
        next ELSEWHERE;
    no_events(trouble) = "as-found.events-not-captured", Undecided, "event log not captured: {trouble}",
        next ELSEWHERE;
    no_flows(trouble) = "as-found.flows-not-captured", Undecided, "flows not captured: {trouble}", next ELSEWHERE;
}
