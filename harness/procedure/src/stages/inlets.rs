//! Inlets that carry no pipe, read or asked for.
//!
//! Not here: what is too much ([`crate::judge::inlets`]).
use crate::{
    context::Context,
    judge::inlets::{self as judge, Unused},
    mean_flow::MeanFlow,
    outcome::{Finding, StageKind},
    plan::{Limit, Mark},
    prompt::Act,
    readings::Item,
};
use alloc::{format, vec::Vec};
use core::time::Duration;
use plumeline_base::input::Answer;
use plumeline_detector::driver::Wants;

/// How long they are read.
const READ: Duration = Duration::from_secs(20);

/// What they may draw at most of the flow of all pipes (common practice, no source).
const MOST: f64 = 0.02;

/// Every inlet of the unit that carries no pipe, against the flow of those that do.
pub(super) async fn unused<'a>(ctx: &Context, stage: StageKind, used: impl Iterator<Item = &'a MeanFlow>) {
    let inputs = ctx.inputs();
    let carry: Vec<u8> = inputs.pipes().iter().map(|p| p.inlet).collect();
    let most = ctx.abilities().map_or(0, |a| a.inlets);
    let empty: Vec<u8> = (1..=most).filter(|n| !carry.contains(n)).collect();
    if empty.is_empty() {
        return;
    }
    let all = used.map(|m| m.estimate.value).sum();
    let mut seen: Vec<Option<Vec<f64>>> = alloc::vec![None; empty.len()];
    let mut feed = ctx.feed();
    let end = ctx.within(READ);
    ctx.progress("reading the inlets that carry no pipe", None, Some(READ));
    while let Some(item) = feed.next_before(end).await {
        let Item::Reading(t) = item else { continue };
        for (inlet, values) in empty.iter().zip(&mut seen) {
            values.get_or_insert_default().extend(t.flow(*inlet).map(|s| s.value));
        }
    }
    let told: Vec<Option<Unused>> =
        seen.iter().map(|values| values.as_deref().map_or(Some(Unused::NoReading), mean)).collect();
    let limit = Limit {
        value: MOST,
        unit: "1".into(),
        source: "flow of an inlet without a pipe, as a part of the flow of all pipes".into(),
        mark: Mark::CommonPractice,
    };
    let plugged = if told.contains(&None) { plugged(ctx, &empty).await } else { false };
    let findings = empty.iter().zip(told).map(|(inlet, told)| {
        let told = told.unwrap_or(Unused::NotTold { plugged });
        judge::unused(stage, *inlet, told, all, &limit)
    });
    findings.collect::<Vec<Finding>>().into_iter().for_each(|f| ctx.found(f));
}

/// The mean of what an inlet read; `None`: it told nothing. One or two readings have no scatter.
fn mean(values: &[f64]) -> Option<Unused> {
    let n = values.len() as f64;
    if values.is_empty() {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / (n - 1.0);
    Some(if values.len() < 3 { Unused::NoReading } else { Unused::Flow { mean, u: libm::sqrt(variance / n) } })
}

async fn plugged(ctx: &Context, empty: &[u8]) -> bool {
    let inlets = crate::facts::list(empty);
    let text = format!(
        "The unit has no flow sensor at inlets {inlets}, which carry no pipe; air that enters there is missing at the holes. Is each of them \
         plugged and sealed?"
    );
    ctx.ask(Act::InletsPlugged, text, Wants::YesNo).await.1 == Answer::Yes
}
