//! Values with uncertainty, and the units that people read and write.
//!
//! Inside the pure crates a number is SI and its name says so (`flow_m3_s`, `suction_pa`); conversions happen
//! where people read or write, with the constants here.
use serde::{Deserialize, Serialize};

/// One litre per minute in cubic metres per second (exact).
pub const M3_S_PER_L_MIN: f64 = 1.0 / 60_000.0;
/// One foot in metres (exact, international foot).
pub const M_PER_FT: f64 = 0.3048;
/// One inch in metres (exact).
pub const M_PER_IN: f64 = 0.0254;
/// 0 degC in kelvin (exact by definition of the Celsius scale).
pub const KELVIN_AT_0_C: f64 = 273.15;
/// One inch of water (conventional, 4 degC) in pascal. NIST SP 811 (2008), appendix B.
pub const PA_PER_IN_WATER: f64 = 249.088_9;

/// A value with its standard uncertainty, kept in two parts (JCGM 100 clause 5.2: correlated inputs).
///
/// The common part is shared by all values of its kind in one job (a drill that is too large, a sensor
/// calibration): averaging never shrinks it. The individual part is independent from value to value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best estimate, in the unit of the quantity.
    pub value: f64,
    /// Standard uncertainty shared with the other values of the kind, same unit, >= 0.
    pub u_common: f64,
    /// Standard uncertainty of this value alone, same unit, >= 0.
    pub u_individual: f64,
}
impl Estimate {
    /// A value with both parts of its standard uncertainty.
    pub const fn new(value: f64, u_common: f64, u_individual: f64) -> Self {
        Self { value, u_common, u_individual }
    }
    /// Combined standard uncertainty (root sum of squares of both parts; JCGM 100, equation 10).
    pub fn u(&self) -> f64 {
        libm::hypot(self.u_common, self.u_individual)
    }
    /// True when every part is a finite number and no uncertainty is negative.
    pub fn is_sound(&self) -> bool {
        self.value.is_finite()
            && self.u_common.is_finite()
            && self.u_individual.is_finite()
            && self.u_common >= 0.0
            && self.u_individual >= 0.0
    }
}
