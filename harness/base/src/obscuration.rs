//! Obscuration and its units, converted by the Beer-Lambert law.
//!
//! Obscuration over a length L is o = 1 - I/I0 = 1 - exp(-k L), with k the extinction coefficient in 1/m.
//! Percentages per metre and per foot therefore convert as 1 - (1 - o)^(L2/L1), never by a plain factor; what
//! mixes when air streams join is extinction. dB/m is -10 log10(I/I0) per metre, as used in EN 54-7 annexes
//! (definition quoted from memory).
use crate::quantity::M_PER_FT;
use core::fmt;
use serde::{Deserialize, Serialize};

/// A unit in which obscuration is stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum ObscurationUnit {
    /// Per cent per metre.
    #[serde(rename = "%/m")]
    PercentPerMetre,
    /// Per cent per foot.
    #[serde(rename = "%/ft")]
    PercentPerFoot,
    /// Decibel per metre.
    #[serde(rename = "dB/m")]
    DecibelPerMetre,
}
impl ObscurationUnit {
    /// The unit as written: `%/m`, `%/ft` or `dB/m`.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::PercentPerMetre => "%/m",
            Self::PercentPerFoot => "%/ft",
            Self::DecibelPerMetre => "dB/m",
        }
    }
    /// The unit written so, if there is one.
    pub fn parse(s: &str) -> Option<Self> {
        [Self::PercentPerMetre, Self::PercentPerFoot, Self::DecibelPerMetre].into_iter().find(|u| u.symbol() == s)
    }
}
impl fmt::Display for ObscurationUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.symbol())
    }
}

/// Extinction coefficient, 1/m; the quantity that adds and mixes. Negative readings (noise) are allowed.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Extinction(pub f64);

impl Extinction {
    /// From a stated obscuration. `None` if the value is not finite or is 100 % or more (nothing passes: the
    /// extinction is unbounded).
    pub fn from_stated(value: f64, unit: ObscurationUnit) -> Option<Self> {
        let per_m = match unit {
            ObscurationUnit::PercentPerMetre => -libm::log1p(-value / 100.0),
            ObscurationUnit::PercentPerFoot => -libm::log1p(-value / 100.0) / M_PER_FT,
            ObscurationUnit::DecibelPerMetre => value * core::f64::consts::LN_10 / 10.0,
        };
        per_m.is_finite().then_some(Self(per_m))
    }
    /// The obscuration in the unit asked for.
    pub fn stated(self, unit: ObscurationUnit) -> f64 {
        match unit {
            ObscurationUnit::PercentPerMetre => -libm::expm1(-self.0) * 100.0,
            ObscurationUnit::PercentPerFoot => -libm::expm1(-self.0 * M_PER_FT) * 100.0,
            ObscurationUnit::DecibelPerMetre => self.0 * 10.0 / core::f64::consts::LN_10,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{ObscurationUnit::*, *};
    #[test]
    fn mixing_example_of_the_field() {
        // 0.2 %/m at the chamber, a hole with 1 % of the flow: 18.1 %/m at the hole, not 20.
        let chamber = Extinction::from_stated(0.2, PercentPerMetre).unwrap();
        let hole = Extinction(chamber.0 / 0.01);
        assert!((hole.stated(PercentPerMetre) - 18.143).abs() < 5e-4);
    }
    #[test]
    fn feet_and_metres_by_the_power_law() {
        let o = Extinction::from_stated(1.0, PercentPerFoot).unwrap().stated(PercentPerMetre);
        let direct = (1.0 - 0.99f64.powf(1.0 / 0.3048)) * 100.0;
        assert!((o - direct).abs() < 1e-12);
    }
    #[test]
    fn there_and_back() {
        for unit in [PercentPerMetre, PercentPerFoot, DecibelPerMetre] {
            for v in [-0.01, 0.0, 1e-6, 0.2, 4.0, 60.0] {
                let back = Extinction::from_stated(v, unit).unwrap().stated(unit);
                assert!((back - v).abs() < 1e-12 * (1.0 + v.abs()), "{v} {unit}");
            }
        }
        assert_eq!(Extinction::from_stated(100.0, PercentPerMetre), None);
        assert_eq!(Extinction::from_stated(f64::NAN, DecibelPerMetre), None);
    }
}
