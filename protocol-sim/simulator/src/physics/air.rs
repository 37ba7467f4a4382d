//! The air at the site: density and viscosity, from other sources than the predicting engine's.
//!
//! Density: ideal mixture of dry air and vapour, vapour pressure after Buck (J. Appl. Meteorol. 1981; constants of
//! his 1996 revision). Viscosity: dilute-gas term of Lemmon and Jacobsen (Int. J. Thermophys. 2004) for dry air.
use plumeline_base::{pipework::Air, quantity::KELVIN_AT_0_C};

/// Molar gas constant, J/(mol K) (CODATA 2018, exact).
const GAS_J_MOL_K: f64 = 8.314_462_618;
/// Molar mass of dry air, kg/mol (Lemmon et al., J. Phys. Chem. Ref. Data 2000).
const DRY_KG_MOL: f64 = 28.965_46e-3;
/// Molar mass of water, kg/mol.
const WATER_KG_MOL: f64 = 18.015_27e-3;
/// Acceleration of free fall, m/s2 (standard, ISO 80000-3).
pub(crate) const GRAVITY_M_S2: f64 = 9.806_65;

/// What the flow sees of the air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Fluid {
    /// Density, kg/m3.
    pub(crate) density: f64,
    /// Dynamic viscosity, Pa s.
    pub(crate) viscosity: f64,
}

/// Saturation pressure of vapour over water, Pa, at `t_c` degC.
fn saturation_pa(t_c: f64) -> f64 {
    611.21 * libm::exp((18.678 - t_c / 234.5) * (t_c / (257.14 + t_c)))
}
/// Density of moist air, kg/m3.
fn density(t_c: f64, pressure_pa: f64, relative_humidity: f64) -> f64 {
    let vapour = (relative_humidity * saturation_pa(t_c)).min(pressure_pa);
    ((pressure_pa - vapour) * DRY_KG_MOL + vapour * WATER_KG_MOL) / (GAS_J_MOL_K * (t_c + KELVIN_AT_0_C))
}
/// Viscosity of dry air in the limit of low density, Pa s.
fn viscosity(t_c: f64) -> f64 {
    const M: f64 = 28.9586;
    const SIGMA_NM: f64 = 0.360;
    const B: [f64; 5] = [0.431, -0.4623, 0.08406, 0.005341, -0.00331];
    let t = t_c + KELVIN_AT_0_C;
    let x = libm::log(t / 103.3);
    let collision = libm::exp(B.iter().rev().fold(0.0, |sum, b| sum * x + b));
    0.026_695_8e-6 * libm::sqrt(M * t) / (SIGMA_NM * SIGMA_NM * collision)
}

/// The air at `t_c` degC (the site's own temperature if `None`), at the site's pressure.
///
/// Moisture is carried along: the vapour's share stays that of the site's air. Given properties are scaled from the
/// site's temperature.
pub(crate) fn fluid(air: &Air, t_c: Option<f64>) -> Fluid {
    let site_c = air.temperature_c;
    let t_c = t_c.unwrap_or(site_c);
    let ratio = (site_c + KELVIN_AT_0_C) / (t_c + KELVIN_AT_0_C);
    match air.given {
        Some(g) => Fluid { density: g.density * ratio, viscosity: g.viscosity * viscosity(t_c) / viscosity(site_c) },
        None => Fluid {
            density: density(site_c, air.pressure_pa, air.relative_humidity) * ratio,
            viscosity: viscosity(t_c),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    /// (degC, relative humidity, kg/m3) by CoolProp 6 (HAPropsSI, 101 325 Pa): its real-gas moist air.
    const COOLPROP: [(f64, f64, f64); 6] = [
        (-25.0, 0.5, 1.423_761),
        (0.0, 0.0, 1.293_096),
        (20.0, 0.0, 1.204_603),
        (20.0, 0.5, 1.199_359),
        (40.0, 0.0, 1.127_476),
        (40.0, 0.9, 1.099_674),
    ];
    #[test]
    fn density_is_near_real_moist_air() {
        for (t, rh, want) in COOLPROP {
            let got = density(t, 101_325.0, rh);
            assert!((got / want - 1.0).abs() < 1.2e-3, "{t} degC, {rh}: {got} for {want}");
        }
    }
    #[test]
    fn viscosity_is_near_coolprop() {
        // CoolProp, air at 101 325 Pa (with the small dense-gas term that is left out here), Pa s.
        for (t, want) in [(-20.0, 16.2012e-6), (0.0, 17.2184e-6), (20.0, 18.2057e-6), (40.0, 19.1652e-6)] {
            assert!((viscosity(t) / want - 1.0).abs() < 1.2e-3, "{t} degC: {}", viscosity(t));
        }
    }
    #[test]
    fn given_air_is_taken_at_the_site() {
        let given = plumeline_base::pipework::GivenAir { density: 1.2, viscosity: 1.8e-5 };
        let air = Air { temperature_c: 20.0, pressure_pa: 9e4, relative_humidity: 0.4, given: Some(given) };
        assert_eq!(fluid(&air, None), Fluid { density: 1.2, viscosity: 1.8e-5 });
        assert!(fluid(&air, Some(-20.0)).density > 1.38);
    }
}
