//! Inlets that carry no pipe, read or asked for; and inlets that are shut to see whether what the unit tells is their pipe's.
//!
//! Not here: what is too much ([`crate::judge::inlets`]).
use super::flow;
use crate::{
    context::Context,
    facts::{Fact, inlets as fact},
    job::Pipe,
    judge::inlets::{self as judge, Unused},
    mean_flow::MeanFlow,
    outcome::{Finding, StageKind, Subject},
    plan::Untold,
    prompt::Act,
    readings::Item,
};
use alloc::{format, vec::Vec};
use core::time::Duration;
use plumeline_base::{Verdict, input::Answer, time::seconds};
use plumeline_detector::{ask::Look, driver::Wants, vocabulary::WHOLE_M3_S};
use plumeline_measure::Sample;

/// Every inlet of the unit that carries no pipe, against the flow of those that do.
pub(super) async fn unused<'a>(ctx: &Context, stage: StageKind, used: impl Iterator<Item = &'a MeanFlow>) {
    let inputs = ctx.inputs();
    let carry: Vec<u8> = inputs.pipes().iter().map(|p| p.inlet).collect();
    let rules = &inputs.plan.advanced.inlets;
    let most = ctx.abilities().map_or(0, |a| a.inlets);
    let empty: Vec<u8> = (1..=most).filter(|n| !carry.contains(n)).collect();
    if empty.is_empty() {
        return;
    }
    let used: Vec<&MeanFlow> = used.collect();
    let all = used.iter().map(|m| m.estimate.value).sum();
    let (scale, shares) = (whole_of_shares(&used), used.iter().any(|m| m.share_of.is_some()));
    // A meter at the exhaust shows what enters there with the pipes' own, and not by itself.
    let told = match ctx.meter() {
        Some(_) => alloc::vec![None; empty.len()],
        None => read(ctx, &empty, "reading the inlets that carry no pipe").await,
    };
    let limit = &inputs.plan.flow.unused_inlet;
    let told: Vec<Option<Unused>> = told.into_iter().map(|told| told.map(|told| told.scaled(scale))).collect();
    // Only a display hides by its step: the scatter of a stream tells how much of it is noise.
    let hidden = |told: Unused| told.hidden(all, limit, rules.widths).filter(|_| ctx.is_asked(Look::Flows));
    let by_word = |told: &Option<Unused>| told.is_none_or(|told| hidden(told).is_some());
    let asked: Vec<u8> = empty.iter().zip(&told).filter(|(_, told)| by_word(told)).map(|(inlet, _)| *inlet).collect();
    let plugged = !asked.is_empty() && plugged(ctx, &asked).await;
    let findings = empty.iter().zip(told).map(|(inlet, told)| {
        let told = match told {
            None => Unused::NotTold { plugged },
            Some(told) => hidden(told).filter(|_| plugged).map_or(told, |within| Unused::Still { within }),
        };
        judge::unused(stage, *inlet, told, (all, shares), limit, rules.widths)
    });
    findings.collect::<Vec<Finding>>().into_iter().for_each(|f| ctx.found(f));
}

/// What these inlets read; `None`: the unit tells nothing of one.
async fn read(ctx: &Context, inlets: &[u8], says: &str) -> Vec<Option<Unused>> {
    if ctx.is_asked(Look::Flows) { typed(ctx, inlets).await } else { streamed(ctx, inlets, says).await }
}

/// What a share of one stands for at an inlet without a pipe: no less than at any that has one, by its predicted flow. 1 where
/// flows are told.
fn whole_of_shares(used: &[&MeanFlow]) -> f64 {
    let whole = |m: &&MeanFlow| m.share_of.map(|of| of * of / m.estimate.value / WHOLE_M3_S);
    used.iter().filter_map(whole).fold(None, |most: Option<f64>, x| Some(most.map_or(x, |m| m.max(x)))).unwrap_or(1.0)
}

/// As many looks at a display as must agree. What a step hides ends at half of it: the interval ends there too.
async fn typed(ctx: &Context, inlets: &[u8]) -> Vec<Option<Unused>> {
    let widths = ctx.inputs().plan.advanced.inlets.widths;
    let step = ctx.abilities().map_or(0.0, |a| f64::from(a.flow_step_nl_s) * 1e-12);
    let told = |values: &Vec<Sample>| {
        let n = values.len() as f64;
        let mean = values.iter().map(|q| q.value).sum::<f64>() / n;
        let far = values.iter().map(|q| libm::fabs(q.value - mean)).fold(0.0, f64::max);
        (!values.is_empty()).then_some(Unused::Flow { mean, u: (0.5 * step / widths).max(far / libm::sqrt(n)) })
    };
    match ctx.typed_flows(inlets, Duration::ZERO).await {
        Err(_) => alloc::vec![Some(Unused::NoReading); inlets.len()],
        Ok(read) => read.iter().map(told).collect(),
    }
}

/// What a stream tells for a while.
async fn streamed(ctx: &Context, inlets: &[u8], says: &str) -> Vec<Option<Unused>> {
    let rules = ctx.inputs().plan.advanced.inlets.clone();
    let span = seconds(rules.read_s);
    let mut seen: Vec<Option<Vec<f64>>> = alloc::vec![None; inlets.len()];
    let mut feed = ctx.feed();
    let end = ctx.within(span);
    ctx.progress(says, None, Some(span));
    while let Some(item) = feed.next_before(end).await {
        let Item::Reading(t) = item else { continue };
        for (inlet, values) in inlets.iter().zip(&mut seen) {
            values.get_or_insert_default().extend(t.flow(*inlet).map(|s| s.value));
        }
    }
    let told = |values: &Option<Vec<f64>>| {
        values.as_deref().map_or(Some(Unused::NoReading), |v| mean(v, rules.least_readings))
    };
    seen.iter().map(told).collect()
}

/// Shuts the inlet of a pipe whose readings are in doubt: what the unit then still tells of it is not the pipe's, and says that
/// before anything is looked for in the pipe. `before`: its flow, m3/s as it is in the pipe.
pub(super) async fn shut(ctx: &Context, inlet: u8, before: f64) {
    let inputs = ctx.inputs();
    let (stage, rules) = (ctx.stage(), &inputs.plan.advanced);
    let of = |fact| Finding::of(stage, Subject::Pipe(inlet), fact);
    let text = format!(
        "The unit's readings of inlet {inlet} are to be tried. Shut the inlet tightly at the unit, or pull its pipe and cover the inlet, \
         so that no air enters there. Answer when it is shut."
    );
    // A unit that holds a baseline rightly tells this.
    let expected = core::mem::replace(&mut ctx.edit().unit.flow_fault_expected, true);
    match ctx.ask_done(Act::ShutInlet { inlet }, text).await {
        Err(why) => ctx.found(of(fact::not_shut(why))),
        Ok(_) => {
            ctx.sleep(seconds(rules.readings.answers_s + inputs.plan.holes.wait_s)).await;
            let told = read(ctx, &[inlet], "reading an inlet that is shut").await;
            let told =
                told.first().copied().flatten().unwrap_or(Unused::NoReading).scaled(super::flow::scale(ctx, inlet));
            ctx.found(judge::shut(stage, inlet, told, before, rules.supervise.remains, rules.inlets.widths));
            let text = format!("Put inlet {inlet} back exactly as it was: pipe pushed home and sealed. Done?");
            match ctx.ask_done(Act::RefitInlet { inlet }, text).await {
                Err(why) => ctx.found(of(fact::not_put_back(why))),
                Ok(_) => ctx.sleep(seconds(rules.readings.answers_s + inputs.plan.holes.wait_s)).await,
            }
        }
    }
    ctx.edit().unit.flow_fault_expected = expected;
}

/// The flow of an inlet that stands still, as it is in the pipe: to a step of the reading (JCGM 100, F.2.2.1), and known no better
/// than while it drew.
pub(super) async fn still(ctx: &Context, inlet: u8, drew: &MeanFlow) -> Option<MeanFlow> {
    let (began, scale) = (ctx.now(), flow::scale(ctx, inlet));
    let told = read(ctx, &[inlet], "flow while nothing enters").await.first().copied().flatten();
    let Some(Unused::Flow { mean, u }) = told else { return None };
    let step = ctx.abilities().map_or(0.0, |a| f64::from(a.flow_step_nl_s) * 1e-12);
    let u = libm::hypot(u, step / libm::sqrt(12.0)) * scale;
    Some(MeanFlow::still(mean * scale, u.max(drew.u_scatter), (began, ctx.now())))
}

/// The mean of what an inlet read; `None`: it told nothing. Too few show no scatter.
fn mean(values: &[f64], least: u32) -> Option<Unused> {
    let n = values.len() as f64;
    if values.is_empty() {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / (n - 1.0);
    Some(if n < f64::from(least) { Unused::NoReading } else { Unused::Flow { mean, u: libm::sqrt(variance / n) } })
}

/// Where the unit has one pipe, no other pipe's air tells by the smoke what else enters: its unused inlets are covered once, and the
/// pipe then draws no more than before. Gives the most untold air that this leaves open, as a share of the pipe's.
pub(super) async fn covered(ctx: &Context, measured: &[(Pipe, MeanFlow)]) -> Option<f64> {
    let inputs = ctx.inputs();
    let rules = &inputs.plan.advanced.inlets;
    let [(pipe, before)] = measured else { return None };
    let most = ctx.abilities().map_or(0, |a| a.inlets);
    let inlets: Vec<u8> = (1..=most).filter(|n| *n != pipe.inlet).collect();
    if inlets.is_empty() || inputs.pipes().len() != 1 || ctx.is_asked(Look::Flows) {
        return None;
    }
    let found = |fact| ctx.found(Finding::of(StageKind::ProveFlow, Subject::Replacement, fact));
    if inputs.plan.not_shown.contains(&Untold::Air) {
        found(crate::facts::dilution::goes_without());
        return None;
    }
    // How long is decided by how well the flow is known, and never by what comes out.
    let longer = judge::longer(&inputs, before);
    let span = seconds(inputs.plan.flow.average_s * longer);
    let mut before = (longer <= 1.0).then_some(*before);
    let mut looks = Vec::new();
    loop {
        match beside_covers(ctx, pipe, &inlets, span, before.take()).await {
            Ok(look) => looks.push(look),
            Err(why) => {
                found(why);
                return None;
            }
        }
        let (finding, most) = judge::covered(&inputs, judge::pooled(&looks));
        if finding.verdict != Verdict::Undecided || looks.len() >= rules.looks as usize {
            ctx.found(finding);
            return most;
        }
    }
}

/// By how much the flow of a pipe rises while these inlets are covered, as a share, and the standard uncertainty of that.
async fn beside_covers(
    ctx: &Context,
    pipe: &Pipe,
    inlets: &[u8],
    span: Duration,
    before: Option<MeanFlow>,
) -> Result<(f64, f64), Fact> {
    let wait = seconds(ctx.inputs().plan.holes.wait_s);
    let pipes = core::slice::from_ref(pipe);
    let read = async |says: &str| flow::average(ctx, pipes, span, says).await.pop().and_then(Result::ok);
    let named = format!("{} {}", if inlets.len() == 1 { "inlet" } else { "inlets" }, crate::facts::list(inlets));
    let before = match before {
        Some(before) => Some(before),
        None => read("flow while the unused inlets are open").await,
    };
    let text = format!(
        "Cover every inlet without a pipe tightly ({named}; tape over the plug will do). Answer when no air can enter there."
    );
    ctx.ask_done(Act::CoverInlets { inlets: inlets.to_vec() }, text).await.map_err(fact::not_covered)?;
    ctx.sleep(wait).await;
    let closed = read("flow while the unused inlets are covered").await;
    let text = format!("Take the covers off again ({named}); the plugs stay. Done?");
    ctx.ask_done(Act::UncoverInlets { inlets: inlets.to_vec() }, text).await.map_err(fact::left_covered)?;
    ctx.sleep(wait).await;
    let after = read("flow with the covers off again").await;
    let known = before.zip(closed).zip(after);
    Ok(known.map_or((f64::NAN, f64::NAN), |((before, closed), after)| judge::rise(&before, &closed, &after)))
}

async fn plugged(ctx: &Context, empty: &[u8]) -> bool {
    let inlets = crate::facts::list(empty);
    let text = format!(
        "The unit does not tell what enters at inlets {inlets}, which carry no pipe; air that enters there is missing at the holes. Is each \
         of them plugged and sealed?"
    );
    ctx.ask(Act::InletsPlugged, text, Wants::YesNo).await.1 == Answer::Yes
}
