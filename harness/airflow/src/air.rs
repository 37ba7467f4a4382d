//! The air at the site: density and viscosity of moist air. Not here: what it does in a pipe.
use crate::error::{BuildError, Fault, Place};
use libm::{exp, sqrt};
use plumeline_base::{pipework::Air, quantity::KELVIN_AT_0_C};

/// Molar gas constant as CIPM-2007 uses it (CODATA 2006), J/(mol K).
const R: f64 = 8.314_472;
/// Molar mass of dry air at a CO2 fraction of 400 ppm, kg/mol (Picard et al. 2008).
const M_DRY: f64 = 28.965_46e-3;
/// Molar mass of water, kg/mol (Picard et al. 2008).
const M_WATER: f64 = 18.015_28e-3;
/// Viscosity that a `Loss::linear` is stated at, Pa s: dry air at 20 degC by Sutherland's law, rounded.
pub const REFERENCE_VISCOSITY: f64 = 1.813_4e-5;
/// Density that a `Loss::quadratic` is stated at where no fan gives one, kg/m3.
pub const REFERENCE_DENSITY: f64 = 1.2;

/// Density and viscosity of air.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AirState {
    /// kg/m3.
    pub density: f64,
    /// Dynamic, Pa s.
    pub viscosity: f64,
}

/// Moist air by temperature (degC), absolute pressure (Pa) and relative humidity (0 to 1).
///
/// Density: CIPM-2007 (Picard, Davis, Glaeser, Fujii, Metrologia 45, 2008, 149-155) with 400 ppm CO2; its authors
/// state it for 15 to 27 degC and 600 to 1100 hPa, and it is used beyond. Viscosity: dry air by Sutherland's law
/// with the constants of the US Standard Atmosphere 1976, water vapour by the dilute-gas term of IAPWS R12-08,
/// mixed by the rule of Wilke (J. Chem. Phys. 18, 1950, 517).
///
/// Accepts -60 to 80 degC, 30 to 120 kPa, 0 to 1; anything else is an error.
pub fn moist_air(temperature_c: f64, pressure_pa: f64, relative_humidity: f64) -> Result<AirState, BuildError> {
    let check = |what, value: f64, low: f64, high: f64| {
        if value >= low && value <= high {
            Ok(())
        } else {
            Err(BuildError::new(Place::Air, Fault::OutOfRange { what, value, low, high }))
        }
    };
    check("temperature (degC)", temperature_c, -60.0, 80.0)?;
    check("absolute pressure (Pa)", pressure_pa, 3e4, 1.2e5)?;
    check("relative humidity", relative_humidity, 0.0, 1.0)?;
    let (t, p) = (temperature_c, pressure_pa);
    let kelvin = t + KELVIN_AT_0_C;
    let saturation =
        exp(1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin + 33.937_110_47 - 6.343_164_5e3 / kelvin);
    let enhancement = 1.000_62 + 3.14e-8 * p + 5.6e-7 * t * t;
    let x = relative_humidity * enhancement * saturation / p;
    let z = 1.0
        - p / kelvin
            * (1.581_23e-6 - 2.933_1e-8 * t
                + 1.104_3e-10 * t * t
                + (5.707e-6 - 2.051e-8 * t) * x
                + (1.989_8e-4 - 2.376e-6 * t) * x * x)
        + p * p / (kelvin * kelvin) * (1.83e-11 - 0.765e-8 * x * x);
    let density = p * M_DRY / (z * R * kelvin) * (1.0 - x * (1.0 - M_WATER / M_DRY));
    Ok(AirState { density, viscosity: wilke(sutherland(kelvin), water_vapour(kelvin), x) })
}

/// Viscosity of dry air, Pa s; US Standard Atmosphere 1976, equation 51.
fn sutherland(kelvin: f64) -> f64 {
    1.458e-6 * kelvin * sqrt(kelvin) / (kelvin + 110.4)
}

/// Viscosity of water vapour at zero density, Pa s; IAPWS R12-08, equation 11.
fn water_vapour(kelvin: f64) -> f64 {
    let t = kelvin / 647.096;
    1e-4 * sqrt(t) / (1.677_52 + 2.204_62 / t + 0.636_656_4 / (t * t) - 0.241_605 / (t * t * t))
}

/// Viscosity of dry air with a mole fraction x of water; Wilke 1950, equation 13.
fn wilke(dry: f64, water: f64, x: f64) -> f64 {
    let phi = |a: f64, b: f64, mass_a: f64, mass_b: f64| {
        let s = 1.0 + sqrt(a / b) * sqrt(sqrt(mass_b / mass_a));
        s * s / sqrt(8.0 * (1.0 + mass_a / mass_b))
    };
    let y = 1.0 - x;
    dry * y / (y + x * phi(dry, water, M_DRY, M_WATER)) + water * x / (x + y * phi(water, dry, M_WATER, M_DRY))
}

/// The air of a pipework: as given, or moist air at the site.
pub fn site_air(air: &Air) -> Result<AirState, BuildError> {
    air_at(air, air.temperature_c)
}

/// The site's air brought to another temperature (degC), at the same pressure and relative humidity. Air that was
/// given directly changes by the ideal-gas law (density) and Sutherland's law (viscosity) from the site's temperature.
pub fn air_at(air: &Air, temperature_c: f64) -> Result<AirState, BuildError> {
    let Some(given) = air.given else {
        return moist_air(temperature_c, air.pressure_pa, air.relative_humidity);
    };
    let check = |what, value: f64, low: f64, high: f64| {
        if value >= low && value <= high {
            Ok(value)
        } else {
            Err(BuildError::new(Place::Air, Fault::OutOfRange { what, value, low, high }))
        }
    };
    let density = check("density (kg/m3)", given.density, 0.1, 20.0)?;
    let viscosity = check("dynamic viscosity (Pa s)", given.viscosity, 1e-6, 1e-3)?;
    if temperature_c == air.temperature_c {
        return Ok(AirState { density, viscosity });
    }
    let from = check("temperature (degC)", air.temperature_c, -60.0, 80.0)? + KELVIN_AT_0_C;
    let to = check("temperature (degC)", temperature_c, -60.0, 80.0)? + KELVIN_AT_0_C;
    Ok(AirState { density: density * from / to, viscosity: viscosity * sutherland(to) / sutherland(from) })
}
