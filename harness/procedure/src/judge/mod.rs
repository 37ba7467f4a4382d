//! What was measured in, facts out: pure, one file for each stage, and here the job's decision rule, with its error rate
//! shared out over all its tests.
//!
//! The statistics are the measure crate's; here is only how this job uses them. Not here: asking, reading and waiting
//! ([`crate::stages`]), and sentences ([`crate::facts`]).
pub(crate) mod alarms;
pub(crate) mod alone;
pub(crate) mod as_found;
pub(crate) mod band;
pub(crate) mod baseline;
pub(crate) mod checklist;
pub(crate) mod clock;
pub(crate) mod close;
pub(crate) mod conclusion;
pub(crate) mod dilution;
pub(crate) mod ended;
pub(crate) mod flow;
pub(crate) mod held;
pub(crate) mod holes;
pub(crate) mod holes_compared;
pub(crate) mod inhibit;
pub(crate) mod inlets;
pub(crate) mod instrument;
pub(crate) mod isolate;
pub(crate) mod lag;
pub(crate) mod load;
pub(crate) mod log;
pub(crate) mod logger;
pub(crate) mod meter;
pub(crate) mod outputs;
pub(crate) mod pipes_compared;
pub(crate) mod presence;
pub(crate) mod purge;
pub(crate) mod readings;
pub(crate) mod restore;
#[cfg(test)]
pub(crate) mod sample;
pub(crate) mod smoke;
pub(crate) mod states;
pub(crate) mod still;
pub(crate) mod suction;
pub(crate) mod supervise;
pub(crate) mod supply;
pub(crate) mod unit;
pub(crate) mod untold;

use crate::{
    facts::Fact,
    job::JobInputs,
    outcome::{DecisionFacts, Finding, StageKind},
    plan::Policy,
};
use alloc::format;
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::{
    Error,
    decide::{self, Because, Decision, Guard, Limits, Rule, Sharing},
};

/// How many tests of a job share its error rate: flow of each pipe twice (before the baseline and at the last look), each
/// hole that is closed or whose suction is read, for each smoke place the limit and the agreement, and the supply's two voltages
/// and its battery.
pub(crate) fn tests(inputs: &JobInputs) -> u32 {
    let pipes = inputs.pipes().len();
    let holes = inputs.pipes().iter().map(|p| inputs.holes_to_close(p).0.len()).sum::<usize>();
    let supply = inputs.plan.stages.iter().any(|s| s.stage == StageKind::Supply && s.policy != Policy::Skip);
    u32::try_from(
        2 * pipes + holes + inputs.plan.suction_at.len() + 2 * inputs.plan.smoke.at.len() + if supply { 3 } else { 0 },
    )
    .unwrap_or(u32::MAX)
    .max(1)
}

/// What the job's decision rule makes of a value.
#[derive(Clone, Debug)]
pub(crate) struct Ruling {
    pub(crate) verdict: Verdict,
    pub(crate) because: Because,
    pub(crate) numbers: DecisionFacts,
}
impl Ruling {
    /// States this fact with the ruling's numbers. The fact may be stricter than the ruling, never milder.
    pub(crate) fn state(self, finding: &mut Finding, fact: Fact) {
        finding.state(fact);
        finding.verdict = finding.verdict.and(self.verdict);
        finding.decision = Some(self.numbers);
    }
}

/// Decides on a value by the job's rule. `scale` turns SI into the unit of the finding's figures.
///
/// Two guard bands: to pass, each test by itself keeps the risk of passing what does not conform; to fail, all tests of the
/// job together keep the risk of failing what conforms, so that four sound pipes are not four chances to be stopped.
pub(crate) fn decide(
    inputs: &JobInputs,
    value: &Estimate,
    dof: f64,
    limits: &Limits,
    material: Option<f64>,
    scale: f64,
) -> Result<Ruling, Error> {
    decide_in_looks(inputs, value, dof, limits, material, (scale, 1))
}

/// The same where each of so many looks at most may pass by itself: they share the risk of a wrong pass.
pub(crate) fn decide_in_looks(
    inputs: &JobInputs,
    value: &Estimate,
    dof: f64,
    limits: &Limits,
    material: Option<f64>,
    (scale, looks): (f64, u32),
) -> Result<Ruling, Error> {
    let plan = &inputs.plan.rule;
    let rule = |risk: f64, tests: u32| Rule { guard: Guard::Risk(risk), tests, sharing: Sharing::Bonferroni, material };
    let all = tests(inputs);
    let pass = decide::decide(value, dof, limits, &rule(plan.accept_risk, looks))?;
    let fail = decide::decide(value, dof, limits, &rule(plan.reject_risk, all))?;
    // What only the narrower band calls a failure is not shown to be one.
    let (verdict, because) = match (pass.verdict, fail.verdict) {
        (_, Verdict::Fail) => (Verdict::Fail, fail.because),
        (Verdict::Fail, _) => (Verdict::Undecided, Because::InGuardBand),
        (verdict, _) => (verdict, pass.because),
    };
    let used = if fail.verdict == Verdict::Fail { fail } else { pass };
    Ok(Ruling { verdict, because, numbers: numbers(&used, limits, all, scale) })
}

/// The verdict on a value by the job's risk of a wrong pass, where it is one piece of a judgement and no finding of its own.
pub(crate) fn conforms(inputs: &JobInputs, value: &Estimate, limits: &Limits) -> Option<Verdict> {
    let rule = Rule { guard: Guard::Risk(inputs.plan.rule.accept_risk), ..Rule::default() };
    decide::decide(value, f64::INFINITY, limits, &rule).ok().map(|d| d.verdict)
}

fn numbers(d: &Decision, limits: &Limits, tests: u32, scale: f64) -> DecisionFacts {
    DecisionFacts {
        conformity: d.probability_of_conformity,
        low: limits.lower.map(|x| x * scale),
        high: limits.upper.map(|x| x * scale),
        guard: d.guard_band * scale,
        consumers_risk: d.consumers_risk,
        producers_risk: d.producers_risk,
        rule: format!(
            "JCGM 106 guard bands: risk of a wrong pass {}for this test; risk of a wrong fail shared out over {tests} tests of the job",
            if d.verdict == Verdict::Fail { "as planned ".into() } else { format!("{:.2} % ", d.risk_allowed * 100.0) },
        ),
    }
}
