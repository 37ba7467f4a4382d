//! Numbers in their units: exact conversion, and rounding to the steps that a device takes.
//!
//! Steps are decimal: what comes out is the double nearest to a multiple of the step, so that it is written with as few
//! digits as the step has.
use crate::meaning::Dimension;
use alloc::{format, string::String};
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

/// A step as a whole number of units of the last decimal place, and how many of these make one: 0.0005 is 5 of 10,000.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    units: f64,
    per_one: f64,
}

/// How near to a multiple of its step a number has to be to count as one, in steps. Far over the rounding of a
/// conversion, far under anything that a device could show.
const ON_STEP: f64 = 1e-7;

impl Grid {
    /// The grid of a step; `None` if it is not over 0 or has more than nine decimals.
    pub fn of(step: f64) -> Option<Self> {
        let mut per_one = 1.0;
        for _ in 0..=9 {
            let units = libm::round(step * per_one);
            if units >= 1.0 && libm::fabs(step * per_one - units) < 1e-9 * units && units < 1e15 {
                return Some(Self { units, per_one });
            }
            per_one *= 10.0;
        }
        None
    }
    /// The multiple `k` of the step.
    fn at(self, k: f64) -> f64 {
        k * self.units / self.per_one
    }
    /// How many steps, not whole.
    fn steps(self, value: f64) -> f64 {
        value * self.per_one / self.units
    }
    /// The nearest multiple if `value` is one, but for the rounding of conversions.
    pub fn exact(self, value: f64) -> Option<f64> {
        let k = libm::round(self.steps(value));
        (libm::fabs(self.steps(value) - k) <= ON_STEP * libm::fmax(1.0, libm::fabs(k) * 1e-6)).then(|| self.at(k))
    }
    /// The largest multiple that is not over `value`.
    pub fn down(self, value: f64) -> f64 {
        self.exact(value).unwrap_or_else(|| self.at(libm::floor(self.steps(value))))
    }
    /// The multiple nearest to `value`.
    pub fn near(self, value: f64) -> f64 {
        self.at(libm::round(self.steps(value)))
    }
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
    fn steps_are_decimal() {
        let g = Grid::of(0.0001).unwrap();
        assert_eq!(g.down(0.039_366), 0.0393);
        assert_eq!(g.down(0.0394), 0.0394);
        assert_eq!(format!("{}", g.down(0.164_04)), "0.164");
        assert_eq!(Grid::of(0.05).unwrap().near(0.12), 0.1);
        assert_eq!(Grid::of(30.0).unwrap().down(150.0), 150.0);
        assert_eq!(Grid::of(30.0).unwrap().down(149.0), 120.0);
        assert_eq!(Grid::of(0.0), None);
        assert_eq!(Grid::of(f64::NAN), None);
    }
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
