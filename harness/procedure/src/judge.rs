//! From a measured value to a finding: the job's decision rule, with its error rate shared out over all its tests.
//!
//! The statistics are the measure crate's; here is only how this job uses them.
use crate::{
    context::Context,
    job::JobInputs,
    outcome::{DecisionFacts, Finding},
};
use alloc::format;
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::decide::{self, Because, Decision, Guard, Limits, Rule, Sharing};

/// How many tests of a job share its error rate: flow of each pipe twice (before the baseline and at the last look), each
/// hole that is closed, and for each smoke place the limit and the agreement.
pub(crate) fn tests(inputs: &JobInputs) -> u32 {
    let pipes = inputs.pipes().len();
    let holes = inputs.pipes().iter().map(|p| crate::stages::holes::chosen(inputs, p).0.len()).sum::<usize>();
    u32::try_from(2 * pipes + holes + 2 * inputs.plan.smoke.at.len()).unwrap_or(u32::MAX).max(1)
}

/// Decides and fills in the finding's verdict and numbers. `scale` turns SI into the unit of the figures.
pub(crate) fn judge(
    ctx: &Context,
    finding: &mut Finding,
    value: &Estimate,
    dof: f64,
    limits: &Limits,
    material: Option<f64>,
    scale: f64,
) -> Option<Because> {
    let inputs = ctx.inputs();
    let rule = Rule {
        guard: Guard::Risk(inputs.plan.rule.accept_risk),
        tests: tests(&inputs),
        sharing: Sharing::Bonferroni,
        material,
    };
    match decide::decide(value, dof, limits, &rule) {
        Ok(d) => {
            finding.verdict = d.verdict;
            finding.decision = Some(facts(&d, limits, &rule, scale));
            Some(d.because)
        }
        Err(error) => {
            finding.verdict = Verdict::Undecided;
            finding.says = format!("{}; not judged: {error}", finding.says);
            finding.next = Some(error.remedy().into());
            None
        }
    }
}

fn facts(d: &Decision, limits: &Limits, rule: &Rule, scale: f64) -> DecisionFacts {
    DecisionFacts {
        conformity: d.probability_of_conformity,
        low: limits.lower.map(|x| x * scale),
        high: limits.upper.map(|x| x * scale),
        guard: d.guard_band * scale,
        consumers_risk: d.consumers_risk,
        producers_risk: d.producers_risk,
        rule: format!(
            "JCGM 106 guard band; risk {:.3} % for this test, shared out over {} tests of the job",
            d.risk_allowed * 100.0,
            rule.tests
        ),
    }
}
