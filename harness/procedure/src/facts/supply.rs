//! Whether the loss of each supply is shown, and voltage and battery suffice.
use crate::prompt::Supply;
use core::fmt;

const CLEAR: &str = "clear what stands, then remove the supplies in turn";
const LOOK: &str = "look at fuse, battery, and the wire of the fault output, then try again";
const WIRES: &str = "look for thin or long wires, poor terminals, a tired battery";
const MORE: &str = "the new unit draws more than the battery was chosen for";
const LARGER: &str = "fit a larger battery, or take loads off it";

impl fmt::Display for Supply {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// The new unit's current at standby against the old one's as found, A.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Against(pub(crate) Option<(f64, f64)>);
impl fmt::Display for Against {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some((new, old)) = self.0 else { return f.write_str("the old unit's current is not known") };
        let (more, word) = (libm::fabs(new - old), if new < old { "less" } else { "more" });
        write!(f, "the new unit draws {more:.3} A {word} than the old one as found ({old:.3} A)")
    }
}

facts! {
    fault_stands(supply) = "supply.fault-stands", Undecided,
        "a fault stands already: the loss of the {supply} would show nothing at the panel", next CLEAR;
    no_reading(supply) = "supply.no-reading", Undecided,
        "no fresh reading: the loss of the {supply} would not be seen at the unit", next CLEAR;
    not_removed(supply, why) = "supply.not-removed", Undecided, "the {supply} was not removed: {why}";
    loss_shown(supply) = "supply.loss-shown", Pass,
        "the loss of the {supply} was shown at the unit and at the panel, and cleared", by Eye;
    readings_stopped(supply) = "supply.readings-stopped", Undecided,
        "readings stopped when the {supply} was switched off",
        likely "the other supply does not hold the unit, or the line was lost", next LOOK;
    not_seen_here(supply) = "supply.not-seen-here", Undecided,
        "no readings come this way: the loss of the {supply} was looked for at the panel only",
        next "use a port over which the unit can be read";
    not_at_unit(supply) = "supply.loss-not-at-unit", Fail, "the loss of the {supply} was not shown at the unit",
        next LOOK;
    not_at_panel(supply, reason) = "supply.loss-not-at-panel", Fail,
        "the loss of the {supply} was not shown at the panel{reason}",
        next LOOK, by Eye;
    not_cleared(supply) = "supply.fault-not-cleared", Undecided,
        "the fault did not clear when the {supply} was back", next LOOK;
    panel_not_cleared(supply, reason) = "supply.panel-not-cleared", Fail,
        "the panel's fault did not clear when the {supply} was back{reason}", next LOOK, by Eye;
    panel_not_told(supply, reason) = "supply.panel-not-told", Undecided,
        "not told what the panel showed when the {supply} was off{reason}", next LOOK;
    load_unknown(why, remedy) = "supply.load-unknown", Undecided,
        "not known which outputs make the load of an alarm: {why}", next "{remedy}";
    no_load() = "supply.no-load", Undecided,
        "no output is in use by the settings read back: there is no load of an alarm to measure under",
        next "correct what the outputs follow in the settings, load them, and try again";
    voltage_not_measured(supply) = "supply.voltage-not-measured", Undecided,
        "supply voltage on the {supply} was not measured";
    voltage(supply) = "supply.voltage", Pass, "supply voltage on the {supply}";
    voltage_low(supply) = "supply.voltage-low", Fail, "supply voltage on the {supply} is too low", next WIRES;
    voltage_open(supply) = "supply.voltage-open", Undecided,
        "supply voltage on the {supply} is not shown to be high enough", next WIRES;
    voltage_not_judged(supply, why, remedy) = "supply.voltage-not-judged", Undecided,
        "supply voltage on the {supply}; not judged: {why}", next "{remedy}";
    battery(fitted, against) = "supply.battery", Pass,
        "capacity that the battery must have, for {fitted} Ah fitted; {against}";
    battery_small(fitted, against) = "supply.battery-small", Fail,
        "the battery must have more capacity than the {fitted} Ah fitted; {against}", likely MORE, next LARGER;
    battery_open(fitted, against) = "supply.battery-open", Undecided,
        "the {fitted} Ah fitted are not shown to be the capacity that the battery must have; {against}",
        likely MORE, next LARGER;
    battery_not_judged(fitted, against, why, remedy) = "supply.battery-not-judged", Undecided,
        "capacity that the battery must have, for {fitted} Ah fitted; {against}; not judged: {why}", next "{remedy}";
    battery_not_stated(against) = "supply.battery-not-stated", Undecided,
        "the plan does not state the battery fitted; {against}",
        next "read the capacity off the battery and state it as supply.battery in the plan";
    current_not_measured(against) = "supply.current-not-measured", Undecided,
        "the capacity that the battery must have is not known: a current was not measured; {against}",
        next "measure the current at standby and in alarm";
}
