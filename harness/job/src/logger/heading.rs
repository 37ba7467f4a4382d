//! The heading of a column: its name and its unit, however the two are set apart. Not here: units of quantities that are computed
//! with; a logger's unit is shown, never converted.
use super::moment;

/// A column as its heading states it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Heading {
    /// As it stands in the file.
    pub whole: String,
    /// Name without the unit.
    pub name: String,
    /// Unit as written; none where none is stated.
    pub unit: Option<String>,
}

/// Units that are known well enough to be told from a name that they are only joined to by `_`, `/`, `in` or a blank. Compared
/// without case, `³` and `^3` as `3`.
const KNOWN: &[&str] = &[
    "us", "µs", "ms", "s", "sec", "min", "h", "hr", "d", "rfc3339", "%", "%/m", "%obs/m", "%/ft", "db/m", "1/m", "m-1",
    "l/min", "l/s", "l/h", "ml/min", "nl/min", "sl/min", "lpm", "slpm", "m3/h", "m3/s", "m3/min", "cfm", "ft3/min",
    "pa", "hpa", "kpa", "mbar", "bar", "psi", "mmh2o", "inh2o", "degc", "°c", "c", "degf", "°f", "k", "v", "mv", "a",
    "ma", "hz", "m/s", "km/h", "1", "ppm", "ug/m3", "mg/m3", "g/m3", "kg/m3", "%rh", "rpm", "mm", "cm", "m",
];

fn known(unit: &str) -> bool {
    let plain = unit.to_lowercase().replace('³', "3").replace("^3", "3").replace("⁻¹", "-1");
    KNOWN.contains(&plain.as_str())
}

impl Heading {
    /// `flow_L/min`, `flow_l_min`, `Flow [l/min]`, `Flow (l/min)`, `Flow / l/min`, `Flow in l/min`, `Flow, l/min`, `Flow l/min`.
    pub(super) fn parse(text: &str) -> Self {
        let text = text.trim();
        let split = bracketed(text).or_else(|| joined(text)).or_else(|| underscored(text));
        let (name, unit) = split.map_or((text, None), |(name, unit)| (name, Some(unit)));
        Self { whole: text.to_owned(), name: name.trim().to_owned(), unit: unit.filter(|u| !u.is_empty()) }
    }
    /// Whether a user's word for a column means this one.
    pub(super) fn goes_by(&self, wanted: &str) -> bool {
        let same = |a: &str| a.eq_ignore_ascii_case(wanted.trim());
        same(&self.whole) || same(&self.name)
    }
    /// A unit below the name, in a line of its own.
    pub(super) fn with_unit_below(mut self, below: &str) -> Self {
        let unit = below.trim().trim_start_matches(['[', '(']).trim_end_matches([']', ')']).trim();
        if self.unit.is_none() && !unit.is_empty() && !is_pattern(unit) {
            self.unit = Some(unit.to_owned());
        }
        self
    }
}

/// What may stand in a line of units.
pub(super) fn is_unit_cell(text: &str) -> bool {
    let text = text.trim();
    let inner = text.trim_start_matches(['[', '(']).trim_end_matches([']', ')']).trim();
    text.is_empty() || text == "-" || inner.len() < text.len() || known(inner) || is_pattern(inner)
}

/// `hh:mm:ss`, `dd.mm.yyyy`: how a moment is written, not a unit.
fn is_pattern(text: &str) -> bool {
    let lower = text.to_lowercase();
    let marks = |c: char| "hmsdyjtaz:.-/ ,f0".contains(c);
    lower.len() >= 5
        && lower.chars().all(marks)
        && ["hh", "dd", "yy", "jj", "mm"].iter().filter(|p| lower.contains(*p)).count() >= 2
}

fn bracketed(text: &str) -> Option<(&str, String)> {
    let pair = |open, close| text.strip_suffix(close).and_then(|t: &str| t.rsplit_once(open));
    let (name, unit) = pair('(', ')').or_else(|| pair('[', ']')).or_else(|| pair('{', '}'))?;
    let unit = unit.trim();
    (!name.trim().is_empty()).then(|| (name, if is_pattern(unit) { String::new() } else { unit.to_owned() }))
}

fn joined(text: &str) -> Option<(&str, String)> {
    for mark in [" / ", " in ", ", ", ",", " "] {
        // The first place at which what follows is a unit: `Flow / l/min`.
        for (at, _) in text.match_indices(mark) {
            let unit = text[at + mark.len()..].trim();
            if at > 0 && known(unit) {
                return Some((&text[..at], unit.to_owned()));
            }
        }
    }
    None
}

/// `flow_l_min` is flow in l/min; `flow_sccm` is what the file says it is.
fn underscored(text: &str) -> Option<(&str, String)> {
    for (at, _) in text.match_indices('_').filter(|(at, _)| *at > 0) {
        let unit = text[at + 1..].replace('_', "/");
        if known(&unit) {
            return Some((&text[..at], unit));
        }
    }
    let (name, unit) = text.rsplit_once('_')?;
    (!name.is_empty() && !unit.is_empty()).then(|| (name, unit.to_owned()))
}

/// Seconds in a unit of time.
pub(super) fn seconds(unit: &str) -> Option<f64> {
    Some(match unit.to_lowercase().as_str() {
        "us" | "µs" | "μs" => 1e-6,
        "ms" | "msec" => 1e-3,
        "s" | "sec" | "secs" | "second" | "seconds" | "sek" => 1.0,
        "min" | "minute" | "minutes" | "minuten" => 60.0,
        "h" | "hr" | "hour" | "hours" | "std" => 3600.0,
        "d" | "day" | "days" | "tage" => moment::DAY_US as f64 * 1e-6,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_units_as_they_are_written() {
        for (text, name, unit) in [
            ("flow_L/min", "flow", Some("L/min")),
            ("flow_l_min", "flow", Some("l/min")),
            ("pipe_1_flow_l_min", "pipe_1_flow", Some("l/min")),
            ("Flow [l/min]", "Flow", Some("l/min")),
            ("Durchfluss (m³/h)", "Durchfluss", Some("m³/h")),
            ("Flow / l/min", "Flow", Some("l/min")),
            ("Flow in l/min", "Flow", Some("l/min")),
            ("Flow, l/min", "Flow", Some("l/min")),
            ("Flow m3/h", "Flow", Some("m3/h")),
            ("smoke_%/m", "smoke", Some("%/m")),
            ("flow_sccm", "flow", Some("sccm")),
            ("time_s", "time", Some("s")),
            ("Time (hh:mm:ss)", "Time", None),
            ("Flow", "Flow", None),
            ("Count [1]", "Count", Some("1")),
        ] {
            let got = Heading::parse(text);
            assert_eq!((got.name.as_str(), got.unit.as_deref()), (name, unit), "{text}");
        }
    }
}
