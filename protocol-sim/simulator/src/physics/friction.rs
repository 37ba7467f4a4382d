//! Pipe friction: the law of Cheng, continuous from laminar to turbulent, smooth to rough.
//!
//! N.-S. Cheng, "Formulas for friction factor in transitional regimes", J. Hydraul. Eng. 134 (2008) 1357-1362:
//! an interpolation through Nikuradse's data, and so another law than the predicting engine's.

/// A law for the Darcy friction factor as a function of the Reynolds number (> 0) and the relative roughness.
pub type FrictionLaw = fn(reynolds: f64, relative_roughness: f64) -> f64;

/// Which law holds.
#[derive(Clone, Copy, Debug, Default)]
pub enum Friction {
    /// Cheng 2008.
    #[default]
    Cheng,
    /// Another law, for comparisons on equal terms.
    Other(FrictionLaw),
}

/// Share of the laminar law in the blend: Cheng's alpha.
pub(crate) fn laminar_share(re: f64) -> f64 {
    let x = re / 2720.0;
    let x3 = x * x * x;
    1.0 / (1.0 + x3 * x3 * x3)
}

/// Below this Reynolds number Cheng's blend differs from 64/Re by less than 1e-7, and its smooth-pipe term nears its
/// pole at Re 6.8: the laminar law is taken.
const PURELY_LAMINAR_RE: f64 = 300.0;

/// Cheng's term for the fully rough pipe, ln(2 lg(3.7 D/k)); 0 for a smooth one, where it has no weight.
pub(crate) fn rough_term(roughness: f64) -> f64 {
    if roughness > 0.0 { libm::log(2.0 * libm::log10(3.7 / roughness)) } else { 0.0 }
}
/// The friction factor of Cheng and its derivative by Re; `rough` is [`rough_term`] of the roughness.
pub(crate) fn cheng(re: f64, roughness: f64, rough: f64) -> (f64, f64) {
    /// ln(6.8/64).
    const LAMINAR_FROM_SMOOTH: f64 = -2.241_960_471_177_611;
    if re < PURELY_LAMINAR_RE {
        return (64.0 / re, -64.0 / (re * re));
    }
    let alpha = laminar_share(re);
    let d_alpha = -9.0 * alpha * (1.0 - alpha) / re;
    let smooth_log = libm::log(re / 6.8);
    // ln(1.8 lg(Re/6.8)).
    let smooth = libm::log(1.8 / core::f64::consts::LN_10 * smooth_log);
    let d_smooth = 1.0 / (re * smooth_log);
    let laminar = smooth_log + LAMINAR_FROM_SMOOTH;
    let y = re * roughness / 160.0;
    let beta = 1.0 / (1.0 + y * y);
    let d_beta = -2.0 * beta * (1.0 - beta) / re;
    let turbulent = 2.0 * (beta * smooth + (1.0 - beta) * rough);
    let d_turbulent = 2.0 * (d_beta * (smooth - rough) + beta * d_smooth);
    let f = libm::exp(-(alpha * laminar + (1.0 - alpha) * turbulent));
    let d_exponent = d_alpha * (laminar - turbulent) + alpha / re + (1.0 - alpha) * d_turbulent;
    (f, -f * d_exponent)
}

/// Hagen-Poiseuille below Re 2000, Haaland above 2600, a cubic step between: a pipe that is disturbed.
pub fn turns_early(re: f64, roughness: f64) -> f64 {
    turning(re, roughness, 2000.0, 2600.0)
}
/// Hagen-Poiseuille below Re 2300, Haaland above 4000, a cubic step between: a smooth run of pipe.
pub fn turns_late(re: f64, roughness: f64) -> f64 {
    turning(re, roughness, 2300.0, 4000.0)
}
/// The turbulent law is S. E. Haaland's, J. Fluids Eng. 105 (1983) 89-90; where a pipe turns lies within 2000 and 4000 in handbooks
/// (the step is ours; no source).
fn turning(re: f64, roughness: f64, from: f64, to: f64) -> f64 {
    let laminar = 64.0 / re;
    if re <= from {
        return laminar;
    }
    let root = -1.8 * libm::log10(libm::pow(roughness / 3.7, 1.11) + 6.9 / re);
    let turbulent = 1.0 / (root * root);
    let x = ((re - from) / (to - from)).min(1.0);
    laminar + (turbulent - laminar) * x * x * (3.0 - 2.0 * x)
}

impl Friction {
    /// The friction factor and its derivative by Re; `rough` is [`rough_term`] of the roughness.
    pub(crate) fn at(self, re: f64, roughness: f64, rough: f64) -> (f64, f64) {
        match self {
            Self::Cheng => cheng(re, roughness, rough),
            Self::Other(law) => {
                let f = law(re, roughness);
                let h = 1e-4 * re;
                (f, (law(re + h, roughness) - law(re - h, roughness)) / (2.0 * h))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    fn cheng(re: f64, roughness: f64) -> (f64, f64) {
        super::cheng(re, roughness, rough_term(roughness))
    }
    #[test]
    fn laminar_pipe_is_hagen_poiseuille() {
        for re in [1.0, 10.0, 299.0, 301.0, 700.0] {
            assert!((cheng(re, 1e-4).0 * re / 64.0 - 1.0).abs() < 1e-4, "Re {re}");
        }
    }
    #[test]
    fn turbulent_pipe_is_near_the_standard_law() {
        // Colebrook 1939 solved by the Python package fluids 1.3.1, relative roughness 7e-5. Cheng fits Nikuradse's
        // data, and so lies a little lower.
        for (re, want) in [(6e3, 0.03559), (1e4, 0.03099), (1e5, 0.01836)] {
            let got = cheng(re, 7e-5).0;
            assert!((got / want - 1.0).abs() < 0.035, "Re {re}: {got} for {want}");
        }
        // Fully rough: von Karman, 1/sqrt(f) = 2 lg(3.7 D/k).
        let rough = 1.0 / (2.0 * libm::log10(370.0) * 2.0 * libm::log10(370.0));
        assert!((cheng(1e8, 0.01).0 / rough - 1.0).abs() < 1e-3);
    }
    #[test]
    fn the_laws_that_turn_are_the_textbooks_own_on_both_sides() {
        for law in [turns_early, turns_late] {
            assert_eq!(law(1900.0, 1e-4), 64.0 / 1900.0);
            // Colebrook 1939 by the Python package fluids 1.3.1, relative roughness 7e-5: Haaland's lies within 2 % (his paper).
            for (re, want) in [(6e3, 0.03559), (1e4, 0.03099), (1e5, 0.01836)] {
                assert!((law(re, 7e-5) / want - 1.0).abs() < 0.02, "Re {re}: {} for {want}", law(re, 7e-5));
            }
        }
        assert!(turns_early(2600.0, 1e-4) > 1.5 * turns_late(2600.0, 1e-4), "they differ where pipes turn");
    }
    #[test]
    fn derivative_is_that_of_the_law() {
        for re in [320.0, 1500.0, 2500.0, 2720.0, 3200.0, 5e3, 4e4] {
            for k in [0.0, 7e-5, 5e-3] {
                let h = 1e-4 * re;
                let numeric = (cheng(re + h, k).0 - cheng(re - h, k).0) / (2.0 * h);
                let (f, d) = cheng(re, k);
                assert!((d - numeric).abs() < 1e-5 * f / re * 1e2, "Re {re}, k {k}: {d} for {numeric}");
            }
        }
    }
}
