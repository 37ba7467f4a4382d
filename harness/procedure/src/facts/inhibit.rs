//! What speaks against an inhibit while it should hold.
facts! {
    operated(output) = "inhibit.output-operated", Fail,
        "output {output} was operated while the unit's outputs were inhibited",
        likely "the unit does not hold its outputs back, or somebody operates it by other means",
        next "stop the smoke, look at the panel and at what this output operates; do not put this unit into service before its maker has explained it";
    not_told() = "inhibit.not-in-force", Fail,
        "the unit granted the inhibit of its outputs, and its readings say that they are not inhibited",
        likely "the unit does not do what it answers",
        next "stop the smoke, look at the panel; do not put this unit into service before its maker has explained it";
}
