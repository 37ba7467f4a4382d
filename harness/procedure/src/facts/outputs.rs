//! Whether each output operates its own input at the panel and no other.
const SHEET: &str =
    "compare settings and wires with the wiring sheet, put them right, and operate every output again";
const WIRES: &str =
    "wires on the wrong terminals, or another contact sense (the order of outputs differs from unit to unit); or the unit operates another contact than it tells";

/// Who tells what the panel shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum By {
    Operator,
    /// An input of the unit, by number.
    Input(u8),
}
impl core::fmt::Display for By {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Operator => f.write_str("the operator says"),
            Self::Input(n) => write!(f, "input {n} shows"),
        }
    }
}

facts! {
    cannot_operate() = "outputs.cannot-operate", Undecided, "outputs can't be operated this way";
    unknown(why, remedy) = "outputs.unknown", Undecided, "not known what it follows: {why}", next "{remedy}";
    sheet_not_understood(why, remedy) = "outputs.sheet-not-understood", Undecided,
        "the wiring sheet can't be compared: {why}", next "{remedy}";
    none_in_use() = "outputs.none-in-use", Undecided, "no output is in use by the settings read back";
    sheet_differs(sheet, settings) = "outputs.sheet-differs", Fail,
        "the wiring sheet has \"{sheet}\" here, the settings have \"{settings}\"", next SHEET;
    sheet_unused(sheet) = "outputs.unused-by-settings", Fail,
        "the wiring sheet has \"{sheet}\" here, the settings leave it unused", next SHEET;
    active_already(function) = "outputs.active-already", Undecided,
        "\"{function}\" is active already for another reason: driving it would show nothing",
        next "clear what holds it active, then operate every output again";
    no_reading() = "outputs.no-reading", Undecided, "no fresh reading shows whether the output is at rest",
        next "bring the readings back first";
    not_operated(trouble, remedy) = "outputs.not-operated", Undecided,
        "the output could not be operated: {trouble}", next "{remedy}";
    operates(function, by) = "outputs.operates", Pass,
        "operates \"{function}\" at the panel and no other, and clears ({by})", by Panel;
    not_alone() = "outputs.not-alone", Undecided,
        "the unit's own readings do not show that this output alone was operated";
    not_told(function) = "outputs.not-told", Fail,
        "the unit took the order to operate \"{function}\", and neither its readings nor the panel show that it did",
        likely "the unit does not do what it acknowledges", next "do not put this unit into service before its maker has explained it";
    wrong_input(function, by, reason) = "outputs.wrong-input", Fail,
        "does not operate \"{function}\" at the panel ({by}{reason})", likely WIRES, next SHEET, by Panel;
    not_cleared(function, by, reason) = "outputs.not-cleared", Fail, "\"{function}\" does not clear at the panel ({by}{reason})",
        likely WIRES, next SHEET, by Panel;
    not_released(trouble, remedy) = "outputs.not-released", Undecided,
        "the output could not be put to rest again: {trouble}", next "{remedy}";
    panel_not_told(reason) = "outputs.panel-not-told", Undecided, "the panel's reaction was not told{reason}";
}
