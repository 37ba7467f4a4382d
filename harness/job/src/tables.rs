//! Values that a file may leave out or pick by name: losses of fittings, tolerances, smooth-pipe roughness. Each
//! with its source.
//!
//! Not here: limits that a verdict hangs on; they belong to the plan.
use plumeline_base::pipework::{Basis, Known, Tolerance};

/// A fitting and its loss coefficient on the velocity head of its pipe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitting {
    /// Name, as `fitting = "…"` picks it.
    pub name: &'static str,
    /// Loss coefficient, fully turbulent flow.
    pub k: f64,
    /// Where it comes from.
    pub source: &'static str,
}

/// Crane's coefficients are multiples of the friction factor of fully turbulent flow in commercial pipe; 0.025 is
/// the one for 3/4 in., the size of sampling pipe.
const CRANE: &str = "Crane TP-410, fully turbulent, 3/4 in. (from memory)";
const PERRY: &str = "Perry's Chemical Engineers' Handbook, table of losses of fittings (from memory)";

/// The fittings that are known by name. All are for fully turbulent flow, which is seldom reached in these pipes;
/// the tolerance on fittings covers that. A "bend" is swept with a radius of three bores, an "elbow" is not.
pub const FITTINGS: &[Fitting] = &[
    Fitting { name: "elbow 90", k: 0.75, source: CRANE },
    Fitting { name: "elbow 45", k: 0.40, source: CRANE },
    Fitting { name: "bend 90", k: 0.30, source: CRANE },
    Fitting { name: "return bend", k: 1.25, source: CRANE },
    Fitting { name: "tee through", k: 0.50, source: CRANE },
    Fitting { name: "tee branch", k: 1.50, source: CRANE },
    Fitting { name: "ball valve", k: 0.08, source: CRANE },
    Fitting { name: "coupling", k: 0.04, source: PERRY },
    Fitting { name: "union", k: 0.04, source: PERRY },
];

/// The fitting of this name.
pub fn fitting(name: &str) -> Option<&'static Fitting> {
    FITTINGS.iter().find(|f| f.name == name)
}

/// Loss coefficients of a sudden change of bore, on the velocity head of the smaller bore, for `beta` = smaller /
/// larger: (1 - beta^2)^2 where air goes into the larger (Borda-Carnot, from the momentum theorem), 0.5 (1 - beta^2)
/// where it goes into the smaller (Crane TP-410, from memory).
pub fn change_of_bore(near_bore: f64, far_bore: f64) -> f64 {
    let beta2 = if near_bore > far_bore { far_bore / near_bore } else { near_bore / far_bore };
    let rest = 1.0 - beta2 * beta2;
    // Air comes from the far end.
    if near_bore > far_bore { rest * rest } else { 0.5 * rest }
}

/// Loss of a stream that enters a wider space: all its velocity head (Borda-Carnot with beta = 0).
pub const EXIT_K: f64 = 1.0;

/// Discharge coefficient of a pipe's open end: 1 / sqrt(1 + 0.5), the entry loss 0.5 of a flush, sharp inlet (Crane
/// TP-410, from memory) behind the velocity head itself.
pub const OPEN_END_DISCHARGE: f64 = 0.816_496_580_927_726;

/// Bore of sampling pipe where none is stated, m (common practice, no source).
pub const BORE_M: f64 = 0.021;
/// Roughness of smooth drawn plastic pipe, m: 0.0015 mm, as Moody 1944 gives for drawn tubing (from memory).
pub const ROUGHNESS_M: f64 = 1.5e-6;
/// Discharge coefficient of a drilled hole (common practice 0.6 to 0.8, no source).
pub const DISCHARGE: f64 = 0.65;

/// A nominal size of pipe with its inside diameters in inches: schedule 40, schedule 80, CPVC in copper tube sizes.
///
/// ASME B36.10M and ASTM D1785 (outside diameter less two walls; plastic pipe of these schedules has the same), ASTM
/// D2846 SDR 11 (least wall); from memory.
const NOMINAL: &[(&str, f64, [f64; 3])] = &[
    ("1/2", 0.5, [0.622, 0.546, 0.489]),
    ("3/4", 0.75, [0.824, 0.742, 0.715]),
    ("1", 1.0, [1.049, 0.957, 0.921]),
    ("1 1/4", 1.25, [1.380, 1.278, 1.125]),
    ("1 1/2", 1.5, [1.610, 1.500, 1.329]),
    ("2", 2.0, [2.067, 1.939, 1.739]),
];

/// Why a bore that is written as a nominal size of pipe is none, and what to write; `None` where it is none of these.
pub(crate) fn nominal(text: &str) -> Option<(String, String)> {
    let number = text.trim().strip_suffix("in")?.trim();
    let inches = crate::units::parse(crate::units::Dimension::Length, text).ok()? / plumeline_base::quantity::M_PER_IN;
    let known = NOMINAL.iter().find(|(_, size, _)| (size - inches).abs() < 1e-9);
    if known.is_none() && !number.contains('/') {
        return None;
    }
    let cause = format!("\"{number} in\" is a nominal size of pipe, which is not its bore");
    let remedy = match known {
        Some((name, _, [schedule_40, schedule_80, cpvc])) => format!(
            "measure the inside diameter, or take that of the pipe's standard: {name} in is {schedule_40} in (schedule 40), \
             {schedule_80} in (schedule 80) or {cpvc} in (CPVC, copper tube size, SDR 11) inside; a bore of just {:.2} mm is \
             written in mm",
            inches * plumeline_base::quantity::M_PER_IN * 1e3
        ),
        None => "measure the inside diameter and write it as a decimal, in mm or in".to_owned(),
    };
    Some((cause, remedy))
}

/// The name of the only preset of tolerances.
pub const TOLERANCE_PRESET: &str = "common practice";

const fn of(common: f64, individual: f64) -> Tolerance {
    Tolerance { common, individual }
}

/// Relative standard uncertainties by where a fact comes from (common practice, no source). The common part is what
/// one drill, one batch of pipe or one drawing shares.
pub const fn tolerances(basis: Basis) -> Known {
    let (diameter, bore, length, minor_k) = match basis {
        Basis::Surveyed => (of(0.015, 0.02), of(0.01, 0.005), of(0.005, 0.02), of(0.20, 0.10)),
        Basis::Drawing => (of(0.025, 0.03), of(0.015, 0.005), of(0.02, 0.05), of(0.25, 0.15)),
        Basis::Assumed => (of(0.05, 0.05), of(0.03, 0.01), of(0.05, 0.10), of(0.40, 0.20)),
    };
    Known { basis, diameter, discharge: of(0.05, 0.02), bore, length, roughness: of(0.5, 0.0), minor_k }
}

/// The name of a basis as files write it.
pub const fn basis_name(basis: Basis) -> &'static str {
    match basis {
        Basis::Surveyed => "surveyed",
        Basis::Drawing => "drawing",
        Basis::Assumed => "assumed",
    }
}

/// All bases, in the order in which a checked pipework lists them.
pub const BASES: [Basis; 3] = [Basis::Surveyed, Basis::Drawing, Basis::Assumed];

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn nominal_sizes_are_no_bores() {
        assert!(nominal("3/4 in").unwrap().1.contains("0.824 in (schedule 40)"));
        assert!(nominal("0.75 in").is_some() && nominal("1 in").is_some() && nominal("3/8 in").is_some());
        for bore in ["0.824 in", "19.05 mm", "21 mm", "0.3 ft", "0.622in"] {
            assert_eq!(nominal(bore), None, "{bore}");
        }
        // Outside diameter less two walls.
        for (outside, wall, inside) in
            [(0.840, 0.109, 0.622), (1.050, 0.113, 0.824), (1.315, 0.133, 1.049), (2.375, 0.154, 2.067)]
        {
            assert!(f64::abs(outside - 2.0 * wall - inside) < 1e-9);
            assert!(NOMINAL.iter().any(|(.., all)| all[0] == inside));
        }
    }
    #[test]
    fn changes_of_bore_by_hand() {
        // Half the bore: beta^2 = 1/4, so (3/4)^2 and 0.5 (3/4).
        assert!((change_of_bore(0.02, 0.01) - 0.5625).abs() < 1e-15);
        assert!((change_of_bore(0.01, 0.02) - 0.375).abs() < 1e-15);
        assert_eq!(change_of_bore(0.021, 0.021), 0.0);
        assert!((OPEN_END_DISCHARGE - 1.0 / 1.5f64.sqrt()).abs() < 1e-15);
    }
}
