//! Darcy friction factors of round pipes, with their exact derivatives. Not here: losses of fittings and holes.
//!
//! All are functions of the Reynolds number (> 0) and the relative roughness (roughness / bore, 0 to 0.5). Below
//! Re 800 Churchill's law equals 64/Re to the last bit of a double, and is evaluated so.
use crate::math::{ln, minus_nine_tenths_power, twelfth_root};
use libm::sqrt;

/// The friction laws on offer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum FrictionLaw {
    /// Churchill, Chem. Eng. 84 (24), 1977, 91-92: one smooth expression for all Reynolds numbers.
    #[default]
    Churchill,
    /// Hagen-Poiseuille below Re 2000, Dunlop's cubic (1991) to 4000, Swamee and Jain (1976) above: what general
    /// network solvers use; for comparison with them.
    HagenDunlopSwameeJain,
    /// Hagen-Poiseuille below Re 2000, Colebrook and White (1939) above 4000, blended between by a cubic step of
    /// the logarithm of Re (the blend is ours; no source).
    Colebrook,
    /// The same with Colebrook and White from Re 2300 on, the critical number of textbooks: flow that turns turbulent as
    /// early as it can. The others let it turn late; what disturbs a real pipe decides.
    ColebrookFrom2300,
}

impl FrictionLaw {
    /// Every law. They differ most in the transition, by up to half of the factor.
    pub const ALL: [Self; 4] = [Self::Churchill, Self::HagenDunlopSwameeJain, Self::Colebrook, Self::ColebrookFrom2300];
}

/// A friction factor and its slopes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Factor {
    /// Darcy friction factor.
    pub value: f64,
    /// Derivative by the Reynolds number.
    pub by_reynolds: f64,
    /// Derivative by the relative roughness.
    pub by_roughness: f64,
}

/// Darcy friction factor; `re` > 0, `rel_rough` 0 to 0.5.
pub fn factor(law: FrictionLaw, re: f64, rel_rough: f64) -> f64 {
    evaluate(law, re, rel_rough).value
}

/// Derivative of [`factor`] by the Reynolds number.
pub fn derivative(law: FrictionLaw, re: f64, rel_rough: f64) -> f64 {
    evaluate(law, re, rel_rough).by_reynolds
}

/// Factor and derivatives; `re` > 0, `rel_rough` 0 to 0.5.
#[inline]
pub fn evaluate(law: FrictionLaw, re: f64, rel_rough: f64) -> Factor {
    match law {
        FrictionLaw::Churchill => churchill(re, rel_rough),
        FrictionLaw::HagenDunlopSwameeJain => dunlop_set(re, rel_rough),
        FrictionLaw::Colebrook => colebrook_set(re, rel_rough, 4000.0),
        FrictionLaw::ColebrookFrom2300 => colebrook_set(re, rel_rough, 2300.0),
    }
}

/// Below this Reynolds number the turbulent term of Churchill's sum, (A + B)^-1.5 <= (Re/37530)^24, is less than
/// 12 x 2^-54 of the laminar one, (8/Re)^12, so that the factor is 64/Re to rounding.
const CHURCHILL_LAMINAR: f64 = 800.0;

/// Below this Reynolds number the law is 64/Re.
#[inline]
pub(crate) fn laminar_below(law: FrictionLaw) -> f64 {
    match law {
        FrictionLaw::Churchill => CHURCHILL_LAMINAR,
        FrictionLaw::HagenDunlopSwameeJain | FrictionLaw::Colebrook | FrictionLaw::ColebrookFrom2300 => 2000.0,
    }
}

#[inline]
fn laminar(re: f64) -> Factor {
    let value = 64.0 / re;
    Factor { value, by_reynolds: -value / re, by_roughness: 0.0 }
}

/// f = 8 (x^12 + t^12)^(1/12), x = 8/Re, t^12 = (A + B)^-1.5, A = h^16, h = 2.457 ln(1/y), B = (37530/Re)^16,
/// y = (7/Re)^0.9 + 0.27 e/D. With w = B/A, t^12 = h^-24 (1 + w)^-1.5, which keeps all powers within range.
#[inline]
fn churchill(re: f64, rel_rough: f64) -> Factor {
    if re < CHURCHILL_LAMINAR {
        return laminar(re);
    }
    /// 7^0.9.
    const SEVEN: f64 = 5.762_198_777_951_31;
    let inv = 1.0 / re;
    let smooth = SEVEN * minus_nine_tenths_power(re);
    let y = smooth + 0.27 * rel_rough;
    let inv_h = 1.0 / (-2.457 * ln(y));
    let w = pow16(37_530.0 * inv * inv_h);
    let v = 1.0 / (1.0 + w);
    let ih4 = (inv_h * inv_h) * (inv_h * inv_h);
    let ih12 = ih4 * ih4 * ih4;
    let x12 = pow12(8.0 * inv);
    let t12 = ih12 * ih12 * (v * sqrt(v));
    let whole = x12 + t12;
    let value = 8.0 * twelfth_root(whole);
    // d ln t^12 = -1.5 d ln(A + B) = -1.5 (16 d ln h + w x 16 d ln(1/Re)) / (1 + w), and d ln h = d y / (y ln y). One
    // division serves 1/whole and 1/y.
    let both = 1.0 / (whole * y);
    let slope = value * (both * y);
    let part = -2.0 * t12 * v;
    let by_y = part * (both * whole) * (-2.457 * inv_h);
    let by_log_re = -x12 + by_y * -0.9 * smooth - part * w;
    Factor { value, by_reynolds: slope * by_log_re * inv, by_roughness: slope * by_y * 0.27 }
}

#[inline]
fn pow12(x: f64) -> f64 {
    let x4 = (x * x) * (x * x);
    x4 * x4 * x4
}
#[inline]
fn pow16(x: f64) -> f64 {
    let x4 = (x * x) * (x * x);
    (x4 * x4) * (x4 * x4)
}

/// 2 / ln 10.
const TWO_PER_LN10: f64 = 0.868_588_963_806_503_7;

/// Swamee and Jain, J. Hydraul. Div. ASCE 102, 1976, 657-664: f = 0.25 / log10(e/3.7D + 5.74/Re^0.9)^2.
fn swamee_jain(re: f64, rel_rough: f64) -> Factor {
    let smooth = 5.74 * minus_nine_tenths_power(re);
    let y = rel_rough / 3.7 + smooth;
    let root = -TWO_PER_LN10 * ln(y);
    let value = 1.0 / (root * root);
    // d value / d y = -2 value / root * d root / d y.
    let by_y = 2.0 * value / root * TWO_PER_LN10 / y;
    Factor { value, by_reynolds: by_y * -0.9 * smooth / re, by_roughness: by_y / 3.7 }
}

/// Dunlop 1991, as given in the EPANET 2.2 manual (EPA/600/R-20/133, section 12.1): the cubic that joins
/// 64/2000 to Swamee and Jain at 4000 in value and slope.
fn dunlop_set(re: f64, rel_rough: f64) -> Factor {
    if re <= 2000.0 {
        return laminar(re);
    }
    if re >= 4000.0 {
        return swamee_jain(re, rel_rough);
    }
    let smooth = 5.74 * minus_nine_tenths_power(4000.0);
    let y = rel_rough / 3.7 + smooth;
    let root = -TWO_PER_LN10 * ln(y);
    let fa = 1.0 / (root * root);
    // c = -2 x 0.9 x (2/ln 10) x 5.74/4000^0.9.
    let c = -1.8 * TWO_PER_LN10 * smooth;
    let fb = (2.0 + c / (y * root)) * fa;
    let r = re / 2000.0;
    let cubic = |fa: f64, fb: f64, one: f64| {
        let x1 = 7.0 * fa - fb;
        let x2 = 0.128 * one - 17.0 * fa + 2.5 * fb;
        let x3 = -0.128 * one + 13.0 * fa - 2.0 * fb;
        let x4 = 0.032 * one - 3.0 * fa + 0.5 * fb;
        (x1 + r * (x2 + r * (x3 + r * x4)), x2 + r * (2.0 * x3 + r * 3.0 * x4))
    };
    let (value, by_r) = cubic(fa, fb, 1.0);
    let root_by_y = -TWO_PER_LN10 / y;
    let fa_by_y = -2.0 * fa / root * root_by_y;
    let product = y * root;
    let fb_by_y = (2.0 + c / product) * fa_by_y - c * (root + y * root_by_y) / (product * product) * fa;
    Factor { value, by_reynolds: by_r / 2000.0, by_roughness: cubic(fa_by_y, fb_by_y, 0.0).0 / 3.7 }
}

/// Colebrook, J. Inst. Civ. Eng. 11, 1939, 133-156: g = 1/sqrt(f) = -2 log10(e/3.7D + 2.51 g/Re), by Newton from
/// Swamee and Jain's value until it no longer moves.
fn colebrook(re: f64, rel_rough: f64) -> Factor {
    let (rough, slope) = (rel_rough / 3.7, 2.51 / re);
    let mut g = 1.0 / sqrt(swamee_jain(re, rel_rough).value);
    let mut y = rough + slope * g;
    for _ in 0..8 {
        let step = (g + TWO_PER_LN10 * ln(y)) / (1.0 + TWO_PER_LN10 * slope / y);
        g -= step;
        y = rough + slope * g;
        if step.abs() <= 4e-16 * g {
            break;
        }
    }
    // Implicit: g + k ln(rough + slope g) = 0.
    let whole = y + TWO_PER_LN10 * slope;
    let (g_by_rough, g_by_slope) = (-TWO_PER_LN10 / whole, -TWO_PER_LN10 * g / whole);
    let value = 1.0 / (g * g);
    let by_g = -2.0 * value / g;
    Factor { value, by_reynolds: by_g * g_by_slope * -slope / re, by_roughness: by_g * g_by_rough / 3.7 }
}

/// Colebrook and White from the Reynolds number `whole` on.
fn colebrook_set(re: f64, rel_rough: f64, whole: f64) -> Factor {
    if re <= 2000.0 {
        return laminar(re);
    }
    let turbulent = colebrook(re, rel_rough);
    if re >= whole {
        return turbulent;
    }
    let by_log = 1.0 / ln(whole / 2000.0);
    let s = ln(re / 2000.0) * by_log;
    let step = s * s * (3.0 - 2.0 * s);
    let step_by_re = 6.0 * s * (1.0 - s) * by_log / re;
    let low = laminar(re);
    let rise = turbulent.value - low.value;
    Factor {
        value: low.value + step * rise,
        by_reynolds: low.by_reynolds + step * (turbulent.by_reynolds - low.by_reynolds) + step_by_re * rise,
        by_roughness: step * turbulent.by_roughness,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Churchill's law as printed, by libm.
    fn as_printed(re: f64, rough: f64) -> f64 {
        let a = libm::pow(2.457 * libm::log(1.0 / (libm::pow(7.0 / re, 0.9) + 0.27 * rough)), 16.0);
        let b = libm::pow(37_530.0 / re, 16.0);
        8.0 * libm::pow(libm::pow(8.0 / re, 12.0) + libm::pow(a + b, -1.5), 1.0 / 12.0)
    }

    #[test]
    fn churchill_as_printed() {
        let mut worst = 0.0f64;
        for i in 0..200_000u32 {
            let re = libm::exp(f64::from(i) * 1e-4 * 1.2 + 1.0);
            for rough in [0.0, 1e-6, 7e-5, 1e-3, 0.05, 0.5] {
                worst = worst.max((factor(FrictionLaw::Churchill, re, rough) / as_printed(re, rough) - 1.0).abs());
            }
        }
        assert!(worst < 1e-14, "{worst:e}");
    }

    #[test]
    fn slopes_are_the_derivatives() {
        for law in FrictionLaw::ALL {
            for i in 0..400u32 {
                let re = libm::exp(f64::from(i) * 0.03 + 4.0);
                for rough in [0.0, 1e-4, 0.02] {
                    let f = evaluate(law, re, rough);
                    let (h, k) = (1e-6 * re, 1e-6 * (rough + libm::pow(7.0 / re, 0.9)));
                    let by_re = (factor(law, re + h, rough) - factor(law, re - h, rough)) / (2.0 * h);
                    let by_rough = (factor(law, re, rough + k) - factor(law, re, rough)) / k;
                    assert!((f.by_reynolds - by_re).abs() < 1e-5 * f.value / re, "{law:?} {re} {rough}: {f:?} {by_re}");
                    assert!(
                        (f.by_roughness - by_rough).abs() < 1e-4 * (f.value + f.by_roughness),
                        "{law:?} {re} {rough}"
                    );
                }
            }
        }
    }
}
