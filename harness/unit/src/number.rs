//! Numbers in their units: exact conversion.
//!
//! Not here: rounding to the steps that a device takes ([`Grid`]).
use crate::meaning::Dimension;
use alloc::{format, string::String};
pub use plumeline_base::grid::Grid;
use plumeline_base::obscuration::{Extinction, ObscurationUnit};

/// Seconds in a unit of time.
fn seconds_in(unit: &str) -> Option<f64> {
    Some(match unit {
        "s" => 1.0,
        "ms" => 1e-3,
        "min" => 60.0,
        "h" => 3600.0,
        _ => return None,
    })
}

/// Does this unit belong to this dimension?
pub fn fits(dimension: Dimension, unit: Option<&str>) -> bool {
    match (dimension, unit) {
        (Dimension::Obscuration, Some(u)) => ObscurationUnit::parse(u).is_some(),
        (Dimension::Time, Some(u)) => seconds_in(u).is_some(),
        (Dimension::Share, Some(u)) => u == "%",
        (Dimension::Plain, _) => true,
        _ => false,
    }
}

/// The units of a dimension, for messages.
pub const fn units(dimension: Dimension) -> &'static [&'static str] {
    match dimension {
        Dimension::Obscuration => &["%/m", "%/ft", "dB/m"],
        Dimension::Time => &["s", "ms", "min", "h"],
        Dimension::Share => &["%"],
        Dimension::Plain => &[],
    }
}

/// The number in neutral terms: extinction in 1/m, a time in s, a share in %, or as it is. `None` if it has none.
pub fn neutral(dimension: Dimension, value: f64, unit: Option<&str>) -> Option<f64> {
    if !fits(dimension, unit) || !value.is_finite() {
        return None;
    }
    match dimension {
        Dimension::Obscuration => Extinction::from_stated(value, ObscurationUnit::parse(unit?)?).map(|e| e.0),
        // Divided for milliseconds, so that a decimal prefix rounds once.
        Dimension::Time if unit == Some("ms") => Some(value / 1e3),
        Dimension::Time => Some(value * seconds_in(unit?)?),
        Dimension::Share | Dimension::Plain => Some(value),
    }
}

/// A neutral number in the unit asked for.
pub fn stated(dimension: Dimension, neutral: f64, unit: Option<&str>) -> Option<f64> {
    if !fits(dimension, unit) {
        return None;
    }
    match dimension {
        Dimension::Obscuration => Some(Extinction(neutral).stated(ObscurationUnit::parse(unit?)?)),
        Dimension::Time if unit == Some("ms") => Some(neutral * 1e3),
        Dimension::Time => Some(neutral / seconds_in(unit?)?),
        Dimension::Share | Dimension::Plain => Some(neutral),
    }
}

/// The formula by which a number was converted, for people; `None` where the units are the same.
pub fn formula(dimension: Dimension, from: Option<&str>, to: Option<&str>) -> Option<String> {
    let (a, b) = (from?, to?);
    if a == b {
        return None;
    }
    Some(match (dimension, a, b) {
        (Dimension::Obscuration, "%/ft", "%/m") => "100 (1 - (1 - x/100)^(1/0.3048))".into(),
        (Dimension::Obscuration, "%/m", "%/ft") => "100 (1 - (1 - x/100)^0.3048)".into(),
        (Dimension::Obscuration, "%/m", "dB/m") => "-10 log10(1 - x/100)".into(),
        (Dimension::Obscuration, "%/ft", "dB/m") => "-10 log10(1 - x/100) / 0.3048".into(),
        (Dimension::Obscuration, "dB/m", "%/m") => "100 (1 - 10^(-x/10))".into(),
        (Dimension::Obscuration, "dB/m", "%/ft") => "100 (1 - 10^(-0.3048 x/10))".into(),
        (Dimension::Time, ..) => {
            let (from, to) = (seconds_in(a)?, seconds_in(b)?);
            if from >= to { format!("{} x", from / to) } else { format!("x / {}", to / from) }
        }
        _ => return None,
    })
}

/// A number with at most `digits` significant digits, without an exponent and without trailing zeros.
pub fn short(x: f64, digits: usize) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    let magnitude = libm::floor(libm::log10(libm::fabs(x))) as i32;
    let decimals = usize::try_from(digits as i32 - 1 - magnitude).unwrap_or(0).min(12);
    let text = format!("{x:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').into() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn minutes_and_seconds() {
        let s = neutral(Dimension::Time, 2.5, Some("min")).unwrap();
        assert_eq!(s, 150.0);
        assert_eq!(stated(Dimension::Time, s, Some("s")), Some(150.0));
        assert_eq!(formula(Dimension::Time, Some("min"), Some("s")).unwrap(), "60 x");
        assert_eq!(neutral(Dimension::Time, 1.0, None), None);
        assert_eq!(neutral(Dimension::Obscuration, 1.0, Some("s")), None);
    }
    #[test]
    fn digits() {
        assert_eq!(short(0.039_366_12, 4), "0.03937");
        assert_eq!(short(150.0, 4), "150");
        assert_eq!(short(18.143, 3), "18.1");
    }
}
