//! While smoke is held at one pipe, the inlet of another is shut once: how much the smoke then thickens shows whether there is air
//! that the unit does not tell.
//!
//! Not here: what that ratio shows ([`crate::judge::dilution`]).
use crate::{
    context::Context,
    facts::{fixed, missed},
    job::JobInputs,
    judge::{
        dilution::{self as judge, Held, Shutting},
        smoke::of_pipe,
    },
    outcome::{Finding, StageKind, Statement, Subject},
    plan::{HoleRef, Untold},
    prompt::Act,
    readings::Item,
};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{Verdict, time::seconds};
use plumeline_detector::{
    Abilities, Faults,
    ask::Look,
    vocabulary::{FlowBasis, ObscurationSensing},
};

/// Topic of what is found here.
const TOPIC: &str = "dilution.";
/// A reading within this share of its ceiling may stand at it: what rounding and another unit of measure leave.
const AT_CEILING: f64 = 0.001;

fn is_shown(ctx: &Context) -> bool {
    let here = |f: &Finding| f.stage == StageKind::ProveSmoke && f.code.as_str().starts_with(TOPIC) && f.stands();
    ctx.get().outcome.findings.iter().any(here)
}

/// Whether smoke at one pipe beside a shut inlet of another shows anything. Smoke of a chamber for each inlet is thinned by no other
/// pipe's air, and shares of a flow tell no proportion.
fn applies(ctx: &Context, inputs: &JobInputs) -> bool {
    let told = |able: &Abilities| {
        able.obscuration == ObscurationSensing::One && able.flow_per_inlet && able.flow_basis != FlowBasis::Share
    };
    inputs.pipes().len() > 1
        && ctx.meter().is_none()
        && ctx.abilities().is_some_and(|able| told(&able))
        && !ctx.is_asked(Look::Smoke)
}

/// The pipe that is to be shut: of all but the smoke's own the one that draws most; `None`: no reading tells which.
fn other(ctx: &Context, inputs: &JobInputs, own: u8) -> Option<u8> {
    let reading = ctx.latest()?;
    let flow = |inlet: u8| reading.flow(inlet).map_or(0.0, |q| q.value);
    let others = inputs.pipes().into_iter().map(|p| p.inlet).filter(|n| *n != own);
    others.max_by(|a, b| flow(*a).total_cmp(&flow(*b)))
}

/// Tries it once, with the smoke that is held at `hole`.
pub(super) async fn tried(ctx: &Context, inputs: &JobInputs, hole: HoleRef, words: &str) {
    // Smoke that was too strong at this pipe is so at its next release.
    if !applies(ctx, inputs) || is_shown(ctx) || ctx.get().record.too_strong.contains(&hole.inlet) {
        return;
    }
    // Without a reading it is left for the next release; none at all is told at the end.
    let Some(shut) = other(ctx, inputs, hole.inlet) else { return };
    if inputs.plan.not_shown.contains(&Untold::Air) {
        ctx.found(judge::left_out());
        return;
    }
    let seen = match shutting(ctx, hole, words, shut).await {
        Ok(seen) => seen,
        Err(Untried::Found(finding)) => {
            ctx.found(*finding);
            return;
        }
        Err(Untried::TooStrong) => {
            ctx.remark(format!("smoke from {words} ran into the reading's ceiling while inlet {shut} was shut: tried again at another pipe"));
            ctx.edit().record.too_strong.insert(hole.inlet);
            return;
        }
        Err(Untried::Later(why)) => {
            ctx.remark(format!("inlet {shut} beside smoke from {words}: {why}; tried again with the next smoke"));
            ctx.edit().record.untold = Some(Box::new(judge::not_tried(why)));
            return;
        }
    };
    if seen.is_crossed() {
        ctx.found(of_pipe(hole.inlet, crate::facts::smoke::crossed(words, shut, hole.inlet)));
        return;
    }
    let (finding, most) = judge::judged(inputs, &seen);
    let looks = ctx.get().record.untold_looks + 1;
    if finding.verdict == Verdict::Undecided && looks < inputs.plan.advanced.inlets.looks {
        ctx.remark(format!("{}; tried again with the next smoke", finding.says));
        let mut s = ctx.edit();
        (s.record.untold, s.record.untold_looks) = (Some(Box::new(finding)), looks);
        return;
    }
    ctx.found(finding);
    if let Some(most) = most {
        bounded(ctx, most, missed::untold_by_smoke(words, shut));
    }
}

/// Once all smoke was released: it was tried at one of the pipes, or that it was not is told.
pub(super) fn conclude(ctx: &Context) {
    let inputs = ctx.inputs();
    if !applies(ctx, &inputs) || is_shown(ctx) {
        return;
    }
    let (weak, so_far) = {
        let mut s = ctx.edit();
        (s.record.too_strong.is_empty(), s.record.untold.take())
    };
    ctx.found(match so_far {
        _ if inputs.plan.not_shown.contains(&Untold::Air) => judge::left_out(),
        Some(finding) => *finding,
        None if weak => {
            judge::not_tried("no smoke stood at the unit for long enough to shut another pipe's inlet meanwhile")
        }
        None => judge::not_tried("the smoke ran into the reading's ceiling: weaker smoke shows it"),
    });
}

/// Why smoke beside a shut inlet showed nothing.
enum Untried {
    /// The smoke stood at the reading's ceiling.
    TooStrong,
    /// The next smoke may show it.
    Later(&'static str),
    /// No other smoke will.
    Found(Box<Finding>),
}
impl Untried {
    fn found(finding: Finding) -> Self {
        Self::Found(Box::new(finding))
    }
}

/// States how much untold air there may be at most, in place of what was stated before.
pub(super) fn bounded(ctx: &Context, most: f64, by: String) {
    let statement = Statement::of(Subject::Replacement, missed::untold_air(fixed(most * 100.0, 0), by));
    let mut s = ctx.edit();
    let all = &mut s.outcome.could_have_missed;
    all.retain(|s| !s.code.as_str().starts_with(missed::UNTOLD));
    all.push(statement);
}

/// What was read before the inlet was shut, while it was, and after. The flow fault that this may raise is expected until it has gone.
async fn shutting(ctx: &Context, hole: HoleRef, words: &str, shut: u8) -> Result<Shutting, Untried> {
    let inputs = ctx.inputs();
    let rules = &inputs.plan.advanced;
    let settles = seconds(rules.readings.answers_s + inputs.plan.holes.wait_s);
    let span = seconds(rules.inlets.read_s);
    let before = held(ctx, span, words, None).await?;
    let expected = core::mem::replace(&mut ctx.edit().unit.flow_fault_expected, true);
    let text = format!(
        "Keep the smoke at {words} as steady as can be. Meanwhile shut inlet {shut} at the unit, or have somebody pull its pipe and cover the inlet. \
         Answer when it is shut."
    );
    let seen = match ctx.ask_done(Act::ShutInlet { inlet: shut }, text).await {
        Err(why) => Err(Untried::found(judge::not_tried(&format!("inlet {shut} was not shut: {why}")))),
        Ok(_) => {
            ctx.sleep(settles).await;
            let closed = held(ctx, span, words, Some(shut)).await;
            let text = format!(
                "Put inlet {shut} back exactly as it was: pipe pushed home and sealed. Keep the smoke at {words}. Done?"
            );
            match ctx.ask_done(Act::RefitInlet { inlet: shut }, text).await {
                Err(why) => Err(Untried::found(judge::not_put_back(shut, &why))),
                Ok(_) => {
                    ctx.sleep(settles).await;
                    let after = held(ctx, span, words, None).await;
                    fault_gone(ctx, &inputs).await;
                    let both = closed.and_then(|closed| Ok((closed, after?)));
                    both.map(|(closed, after)| Shutting { own: hole.inlet, shut, before, closed, after })
                }
            }
        }
    };
    ctx.edit().unit.flow_fault_expected = expected;
    match seen {
        Ok(seen) if !seen.is_shut() => {
            Err(Untried::Later("the inlet that was asked for drew as before: it was not the one that was shut"))
        }
        seen => seen,
    }
}

/// The flow fault that a shut inlet raised is given the time to go.
async fn fault_gone(ctx: &Context, inputs: &JobInputs) {
    if ctx.faults().is_none_or(|f| !f.has(Faults::FLOW)) {
        return;
    }
    let wait = seconds(inputs.plan.limits.flow_fault_within.value + inputs.plan.advanced.supervise.more_s);
    ctx.progress("waiting for the flow fault of the inlet that was shut to clear", None, Some(wait));
    ctx.until_reading(wait, |t| t.reading.has_fault(Faults::FLOW) == Some(false)).await;
}

/// Smoke and flows over `span`. A unit that tells more than it states as its ceiling is not held to it. `shut`: the inlet that is shut, of which it need not tell a flow.
async fn held(ctx: &Context, span: Duration, words: &str, shut: Option<u8>) -> Result<Held, Untried> {
    ctx.progress(format!("keep the smoke at {words}: smoke and flows are read"), None, Some(span));
    let inputs = ctx.inputs();
    let rules = inputs.plan.advanced.inlets.clone();
    let with_pipes: Vec<u8> = inputs.pipes().into_iter().map(|p| p.inlet).filter(|n| Some(*n) != shut).collect();
    let (mut feed, end) = (ctx.feed(), ctx.within(span));
    let mut smoke: Vec<f64> = Vec::new();
    let mut flows: Vec<f64> = Vec::new();
    while let Some(item) = feed.next_before(end).await {
        let Item::Reading(t) = item else { return Err(Untried::Later("readings were missing")) };
        let Some(now) = t.highest_extinction() else { continue };
        // A pipe whose flow is not told draws air all the same.
        if with_pipes.iter().any(|n| t.flow(*n).is_none()) {
            return Err(Untried::found(judge::not_tried("the flow of a pipe was not told all the time")));
        }
        smoke.push(now.0);
        let told = &t.reading.flow_m3_s;
        flows.resize(told.len().max(flows.len()), 0.0);
        flows.iter_mut().zip(told).for_each(|(sum, q)| *sum += q.unwrap_or(0.0));
    }
    let n = smoke.len() as f64;
    if smoke.len() < rules.least_readings as usize {
        return Err(Untried::Later("too few readings came"));
    }
    let (most, step) = ctx.abilities().map_or((0, 0), |a| (a.extinction_max_n_m, a.extinction_step_n_m));
    let (most, step) = (most as f64 * 1e-9, (step as f64 * 1e-9).max(AT_CEILING * most as f64 * 1e-9));
    if most > 0.0 && smoke.iter().any(|k| libm::fabs(*k - most) <= step) {
        return Err(Untried::TooStrong);
    }
    let mean = smoke.iter().sum::<f64>() / n;
    let variance = smoke.iter().map(|k| (k - mean) * (k - mean)).sum::<f64>() / (n - 1.0);
    let apart = (span.as_secs_f64() / rules.together_s).clamp(1.0, n);
    Ok(Held { smoke: mean, u: libm::sqrt(variance / apart), flows: flows.into_iter().map(|q| q / n).collect() })
}
