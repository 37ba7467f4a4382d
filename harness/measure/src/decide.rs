//! Pass, fail or undecided by a stated rule with a guard band (JCGM 106:2012).
//!
//! Not here: where limits come from; that is the job's business.
use crate::{Error, stats};
use plumeline_base::{Verdict, quantity::Estimate};
use serde::{Deserialize, Serialize};

/// The values that conform: at least one bound.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Smallest conforming value.
    pub lower: Option<f64>,
    /// Largest conforming value.
    pub upper: Option<f64>,
}
impl Limits {
    /// Up to `upper`.
    pub const fn at_most(upper: f64) -> Self {
        Self { lower: None, upper: Some(upper) }
    }
    /// From `lower`.
    pub const fn at_least(lower: f64) -> Self {
        Self { lower: Some(lower), upper: None }
    }
    /// From `lower` to `upper`.
    pub const fn between(lower: f64, upper: f64) -> Self {
        Self { lower: Some(lower), upper: Some(upper) }
    }
}

/// How wide the guard band is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Guard {
    /// As wide as keeps the specific risk of each wrong verdict at most this (JCGM 106, 8.3.2 and 9.3).
    Risk(f64),
    /// This many expanded uncertainties `U` with k = 2 (JCGM 106, 8.3.2.2: w = r U; 1 keeps the one-sided risk under 2.3 %).
    Factor(f64),
}

/// How an error rate is shared out over the tests of a job.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sharing {
    /// alpha / k: holds however the tests depend on one another (Bonferroni).
    #[default]
    Bonferroni,
    /// 1 - (1 - alpha)^(1/k): exact for independent tests (Sidak 1967).
    Sidak,
}

/// The decision rule. Named in the job and printed in the report.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rule {
    /// The guard band.
    pub guard: Guard,
    /// How many tests of the job share the error rate; at least 1.
    pub tests: u32,
    /// How they share it.
    pub sharing: Sharing,
    /// The smallest shift of the value that a material defect causes, unit of the value: where the expanded
    /// uncertainty exceeds it, no value can pass.
    pub material: Option<f64>,
}
impl Default for Rule {
    /// 5 % risk, one test, no material shift.
    fn default() -> Self {
        Self { guard: Guard::Risk(0.05), tests: 1, sharing: Sharing::Bonferroni, material: None }
    }
}

/// Why a decision is what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Because {
    /// Within the limits by more than the guard band.
    Within,
    /// Outside the limits by more than the guard band.
    Outside,
    /// Within the guard band of a limit.
    InGuardBand,
    /// The uncertainty exceeds the smallest material shift: this value can't show the defect, prove by holes.
    ProveByHoles,
}

/// A verdict with the risks it carries.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// Pass, fail or undecided.
    pub verdict: Verdict,
    /// Why.
    pub because: Because,
    /// Probability that the true value conforms, given the estimate (JCGM 106, clause 7).
    pub probability_of_conformity: f64,
    /// Specific consumer's risk under a flat prior (nothing is known of the value but this estimate, JCGM 106, 6.2 and 7.2.2): probability that it does not conform; the risk taken if it is passed (JCGM 106, 9.3.2).
    pub consumers_risk: f64,
    /// Specific producer's risk under the same flat prior: probability that it conforms; the risk taken if it is failed.
    pub producers_risk: f64,
    /// Distance from a limit that the value needs, unit of the value.
    pub guard_band: f64,
    /// Distance to the nearest limit, unit of the value; positive within.
    pub margin: f64,
    /// Expanded uncertainty used, unit of the value (k = 2, or the t quantile for 95.45 %).
    pub expanded: f64,
    /// Error rate that this test was given, after sharing.
    pub risk_allowed: f64,
}

/// Decides on one value. `dof` are the degrees of freedom of its uncertainty; `f64::INFINITY` for a normal distribution.
///
/// # Errors
/// An unsound estimate or one without any uncertainty, no limit, limits the wrong way round, or a rule out of range;
/// whoever gets one is left undecided.
pub fn decide(value: &Estimate, dof: f64, limits: &Limits, rule: &Rule) -> Result<Decision, Error> {
    limits.check()?;
    let u = value.u();
    if !value.is_sound() || u <= 0.0 || !u.is_finite() || dof.is_nan() || dof <= 0.0 {
        return Err(Error::UnsoundEstimate);
    }
    let expanded = u * stats::t_quantile(stats::normal_cdf(2.0), dof);
    let whole_risk = match rule.guard {
        Guard::Risk(risk) => risk,
        Guard::Factor(r) if r.is_finite() && r >= 0.0 => stats::t_sf(r * expanded / u, dof),
        Guard::Factor(_) => return Err(Error::BadRule { what: "guard band factor", range: "finite and not negative" }),
    };
    let risk_allowed = share(whole_risk, rule.tests, rule.sharing)?;
    if rule.material.is_some_and(|m| !m.is_finite() || m <= 0.0) {
        return Err(Error::BadRule { what: "material shift", range: "finite and positive" });
    }
    let guard_band = (u * stats::t_quantile(1.0 - risk_allowed, dof)).max(0.0);
    // Both tails are added up, small ones without a loss of digits.
    let below = limits.lower.map_or(0.0, |l| stats::t_sf((value.value - l) / u, dof));
    let above = limits.upper.map_or(0.0, |l| stats::t_sf((l - value.value) / u, dof));
    let consumers_risk = (below + above).min(1.0);
    let producers_risk = if below.max(above) > 0.5 {
        let inside = if above > below {
            stats::t_sf((value.value - limits.upper.unwrap_or(f64::INFINITY)) / u, dof) - below
        } else {
            stats::t_sf((limits.lower.unwrap_or(f64::NEG_INFINITY) - value.value) / u, dof) - above
        };
        inside.max(0.0)
    } else {
        1.0 - consumers_risk
    };
    let margin = limits.margin(value.value);
    let (within, outside) = match rule.guard {
        Guard::Risk(_) => (consumers_risk <= risk_allowed, producers_risk <= risk_allowed),
        Guard::Factor(_) => (margin >= guard_band, margin <= -guard_band && margin < 0.0),
    };
    let cannot_show = rule.material.is_some_and(|m| expanded > m);
    let (verdict, because) = match (within, outside) {
        (_, true) => (Verdict::Fail, Because::Outside),
        _ if cannot_show => (Verdict::Undecided, Because::ProveByHoles),
        (true, _) => (Verdict::Pass, Because::Within),
        _ => (Verdict::Undecided, Because::InGuardBand),
    };
    Ok(Decision {
        verdict,
        because,
        probability_of_conformity: 1.0 - consumers_risk,
        consumers_risk,
        producers_risk,
        guard_band,
        margin,
        expanded,
        risk_allowed,
    })
}

/// The error rate of one of `tests` tests that share `whole`.
///
/// # Errors
/// A rate outside 0 to 0.5, or no test.
pub fn share(whole: f64, tests: u32, sharing: Sharing) -> Result<f64, Error> {
    if !(whole > 0.0 && whole <= 0.5) {
        return Err(Error::BadRule { what: "risk", range: "over 0 and at most 0.5" });
    }
    if tests == 0 {
        return Err(Error::BadRule { what: "tests that share the risk", range: "at least 1" });
    }
    let k = f64::from(tests);
    Ok(match sharing {
        Sharing::Bonferroni => whole / k,
        Sharing::Sidak => -libm::expm1(libm::log1p(-whole) / k),
    })
}

impl Limits {
    fn check(&self) -> Result<(), Error> {
        let sound = match (self.lower, self.upper) {
            (None, None) => false,
            (Some(l), None) | (None, Some(l)) => l.is_finite(),
            (Some(l), Some(u)) => l.is_finite() && u.is_finite() && l < u,
        };
        if sound {
            Ok(())
        } else {
            Err(Error::BadRule { what: "limits", range: "at least one, finite, lower below upper" })
        }
    }
    fn margin(&self, value: f64) -> f64 {
        let lower = self.lower.map_or(f64::INFINITY, |l| value - l);
        let upper = self.upper.map_or(f64::INFINITY, |l| l - value);
        lower.min(upper)
    }
}
