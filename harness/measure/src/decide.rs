//! Pass, fail or undecided by a stated rule with a guard band (JCGM 106:2012).
//!
//! Not here: where limits come from; that is the job's business.
use crate::Error;
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
    /// Specific consumer's risk: probability that it does not conform; the risk taken if it is passed (JCGM 106, 9.3.2).
    pub consumers_risk: f64,
    /// Specific producer's risk: probability that it conforms; the risk taken if it is failed.
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
/// An unsound estimate, no limit, limits the wrong way round, or a rule out of range; whoever gets one is left undecided.
pub fn decide(value: &Estimate, dof: f64, limits: &Limits, rule: &Rule) -> Result<Decision, Error> {
    let _ = (value, dof, limits, rule);
    Err(Error::UnsoundEstimate)
}

/// What is known of the values before any measurement, by name: needed for a global risk.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Prior<'a> {
    /// Where it comes from; printed with every global risk.
    pub name: &'a str,
    /// Mean of the values that come to be tested.
    pub mean: f64,
    /// Their standard deviation, > 0.
    pub sd: f64,
}

/// Global risks of a binary rule (JCGM 106, 9.5): over all values that come to be tested.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GlobalRisk {
    /// Probability that a value is accepted and does not conform.
    pub consumers: f64,
    /// Probability that a value is not accepted and does conform.
    pub producers: f64,
}

/// Global risks of accepting values measured with standard uncertainty `u` when they lie in `accept`.
///
/// # Errors
/// No limit, limits the wrong way round, or a spread or uncertainty that is not positive.
pub fn global_risk(prior: &Prior<'_>, u: f64, limits: &Limits, accept: &Limits) -> Result<GlobalRisk, Error> {
    let _ = (prior, u, limits, accept);
    Err(Error::UnsoundEstimate)
}
