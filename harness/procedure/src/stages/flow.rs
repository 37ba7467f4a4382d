//! Flow of whole pipes: averaging, and waiting until it is steady.
//!
//! Not here: what it is compared with ([`crate::judge::flow`]).
pub(crate) use crate::mean_flow::{L_MIN, MeanFlow, coverage_factor};

use super::{by_meter, inlets};
use crate::{
    context::{Context, Stop},
    facts::flow as fact,
    instrument::Measurand,
    job::{JobInputs, Pipe},
    judge::{flow as judge, pipes_compared::PipesCompared, states},
    mean_flow::to_actual,
    metered::{Asking, not_read},
    outcome::{Figure, Finding, PipeFlow, StageKind},
    prompt::Metered,
    readings::{Item, TOGETHER},
};
use alloc::{format, vec::Vec};
use core::time::Duration;
use plumeline_base::{Instant, quantity::Estimate, time::seconds};
use plumeline_detector::{Reading, ask::Look, vocabulary::FlowBasis};
use plumeline_measure::{
    Error, Sample, few,
    mean::{Mean, Terms, mean_of},
    settle,
};

/// A flow that settles is looked at this often where no reading comes.
const LOOKED: Duration = Duration::from_secs(1);
/// How it settles is told this often.
const TOLD: Duration = Duration::from_secs(2);
/// What is left of the stage's time when settling is given up: the reason is told, and not just the time.
const LEFT_OVER: Duration = Duration::from_secs(2);

/// The factor that turns this inlet's readings into the volume that actually flows.
pub(crate) fn scale(ctx: &Context, inlet: u8) -> f64 {
    let inputs = ctx.inputs();
    let basis = ctx.abilities().map_or(FlowBasis::Actual, |a| a.flow_basis);
    to_actual(basis, &inputs.pipework.air, inputs.predicted_flow(inlet))
}

/// Averages the flow of these inlets over `span`, or longer where the readings hang together too strongly. A gap starts it
/// over; the stage's deadline ends it.
pub(crate) async fn average(ctx: &Context, pipes: &[Pipe], span: Duration, says: &str) -> Vec<Result<MeanFlow, Error>> {
    if ctx.meter().is_some() {
        return by_meter::average(ctx, pipes, span, says).await;
    }
    let inputs = ctx.inputs();
    let rules = &inputs.plan.advanced.average;
    let abilities = ctx.abilities();
    let basis = abilities.as_ref().map_or(FlowBasis::Actual, |a| a.flow_basis);
    let of_pipe = |pipe: &Pipe, mean: Mean| {
        let share_of = inputs.predicted_flow(pipe.inlet).filter(|_| basis == FlowBasis::Share).map(|p| p.value);
        MeanFlow::new(&mean, scale(ctx, pipe.inlet), inputs.plan.flow.calibration_individual, share_of)
    };
    let terms = Terms {
        resolution: abilities.map_or(0.0, |a| f64::from(a.flow_step_nl_s) * 1e-12),
        calibration_relative: inputs.plan.flow.calibration_common,
        coverage: inputs.plan.rule.coverage,
        max_gap: seconds(rules.longest_gap_s),
        max_age: seconds(rules.oldest_s),
        min_samples: rules.least_readings as usize,
        ..Terms::default()
    };
    if ctx.is_asked(Look::Flows) {
        let means = typed(ctx, pipes, span, says, &terms).await;
        return pipes.iter().zip(means).map(|(pipe, m)| m.map(|m| of_pipe(pipe, m))).collect();
    }
    let mut span = span;
    for again in 0.. {
        let samples = gather(ctx, pipes, span, says).await;
        let now = samples.iter().filter_map(|s| s.last()).map(|s| s.at).max().unwrap_or_else(|| ctx.now());
        let means = pipes.iter().zip(&samples);
        let means: Vec<_> = means.map(|(pipe, s)| mean_of(s, now, &terms).map(|m| of_pipe(pipe, m))).collect();
        if again == rules.longer || !means.iter().any(|m| matches!(m, Err(Error::TooCorrelated { .. }))) {
            return means;
        }
        span *= 2;
    }
    Vec::new()
}

/// The means of flows that a person types, as many times as stand for `span`.
async fn typed(
    ctx: &Context,
    pipes: &[Pipe],
    span: Duration,
    says: &str,
    terms: &Terms,
) -> impl Iterator<Item = Result<Mean, Error>> {
    let inlets: Vec<u8> = pipes.iter().map(|p| p.inlet).collect();
    ctx.progress(says, None, None);
    let samples = ctx.typed_flows(&inlets, span).await.unwrap_or_else(|trouble| {
        ctx.remark(format!("the flows were not read: {trouble}"));
        alloc::vec![Vec::new(); inlets.len()]
    });
    let terms = ctx.typed_terms(terms.resolution);
    let scatter = ctx.get().record.typed.clone();
    inlets
        .into_iter()
        .zip(samples)
        .map(move |(inlet, s)| few::mean_of(&s, &scatter.get(&inlet).copied().unwrap_or_default(), &terms))
}

/// The flow readings of these inlets over `span` without a gap.
async fn gather(ctx: &Context, pipes: &[Pipe], span: Duration, says: &str) -> Vec<Vec<Sample>> {
    let mut feed = ctx.feed();
    let mut samples: Vec<Vec<Sample>> = alloc::vec![Vec::new(); pipes.len()];
    let mut began: Option<Instant> = None;
    let mut told = 0;
    loop {
        match feed.next().await {
            Item::Gap(_) => {
                samples.iter_mut().for_each(Vec::clear);
                began = None;
            }
            Item::Reading(t) => {
                let from = *began.get_or_insert(t.at);
                for (pipe, series) in pipes.iter().zip(&mut samples) {
                    series.extend(t.flow(pipe.inlet));
                }
                let done = t.at.since(from);
                if done.as_secs() >= told {
                    told = done.as_secs() + 5;
                    let fraction = done.as_secs_f64() / span.as_secs_f64().max(1e-3);
                    ctx.progress(says, Some(fraction.min(1.0)), Some(span.saturating_sub(done)));
                }
                if done >= span {
                    return samples;
                }
            }
        }
    }
}

/// The record of one pipe, made when first asked for.
pub(crate) fn record(ctx: &Context, inputs: &JobInputs, pipe: &Pipe, edit: impl FnOnce(&mut PipeFlow)) {
    let mut s = ctx.edit();
    let pipes = &mut s.outcome.pipes;
    let at = pipes.iter().position(|p| p.inlet == pipe.inlet).unwrap_or_else(|| {
        let k = coverage_factor(inputs);
        let predicted = inputs.prediction.inlets.iter().find(|p| p.number == pipe.inlet);
        let far = inputs.holes(pipe).last().and_then(|(_, o)| inputs.predicted(*o)).map(|p| p.mean_s);
        pipes.push(PipeFlow {
            inlet: pipe.inlet,
            predicted: predicted.map_or(Figure::plain(0.0, "L/min"), |p| {
                Figure::with(p.flow_m3_s.value * L_MIN, p.flow_m3_s.u() * k * L_MIN, "L/min")
            }),
            measured: None,
            as_found: None,
            baseline: None,
            predicted_transport: far.filter(Estimate::is_sound).map(|t| Figure::with(t.value, t.u() * k, "s")),
            smallest_visible: None,
        });
        pipes.len() - 1
    });
    edit(&mut pipes[at]);
}

/// Flows with the outgoing unit, for comparison only.
pub(crate) async fn as_found_flows(ctx: &Context) {
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    let span = seconds(inputs.plan.flow.average_s);
    for (pipe, mean) in pipes.iter().zip(average(ctx, &pipes, span, "reading the outgoing unit's flows").await) {
        if let Ok(mean) = &mean {
            record(ctx, &inputs, pipe, |p| p.as_found = Some(mean.figure()));
            ctx.edit().record.as_found.insert(pipe.inlet, *mean);
        }
        ctx.found(judge::captured(pipe.inlet, &mean));
    }
}

/// Flows that were read once, without an uncertainty.
pub(crate) fn as_found_once(ctx: &Context, reading: &Reading) {
    let inputs = ctx.inputs();
    for pipe in inputs.pipes() {
        let told = usize::from(pipe.inlet).checked_sub(1).and_then(|i| *reading.flow_m3_s.get(i)?);
        let figure = told.map(|q| Figure::plain(q * L_MIN, "L/min"));
        if figure.is_some() {
            record(ctx, &inputs, &pipe, |p| p.as_found.clone_from(&figure));
        }
        ctx.found(judge::read_once(pipe.inlet, figure.as_ref()));
    }
}

/// Every pipe's flow is steady.
pub(crate) async fn settle(ctx: Context) -> Result<(), Stop> {
    ctx.start_readings().await?;
    if ctx.is_asked(Look::Flows) {
        return settle_typed(&ctx).await;
    }
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    let mut feed = ctx.feed();
    let mut told = ctx.now();
    let (mut settlers, mut paused) = (settlers(&ctx, &inputs, pipes.len()), ctx.paused());
    loop {
        // Woken now and then, so that a stream that never comes still ends in a reason.
        let item = feed.next_before(ctx.within(LOOKED)).await;
        if ctx.paused() != paused {
            // Nobody watched for a time: begun anew, with the time that the stage has left.
            (settlers, paused) = (self::settlers(&ctx, &inputs, pipes.len()), ctx.paused());
        }
        match item {
            Some(Item::Reading(t)) => {
                for (pipe, s) in pipes.iter().zip(&mut settlers) {
                    if let Some(sample) = t.flow(pipe.inlet) {
                        s.push(sample);
                    }
                }
            }
            Some(Item::Gap(at)) => settlers.iter_mut().for_each(|s| s.gap(at)),
            None => {}
        }
        let now = ctx.now();
        let states: Vec<settle::State> = settlers.iter().map(|s| s.state(now)).collect();
        let over =
            states.iter().any(|s| matches!(s, settle::State::Faulty { .. } | settle::State::DeadlinePassed { .. }));
        if over || states.iter().all(|s| matches!(s, settle::State::Steady { .. })) {
            for (pipe, state) in pipes.iter().zip(&states) {
                ctx.found(judge::settled(&inputs, pipe.inlet, state));
            }
            let latest = match ctx.is_asked(Look::State) {
                true => ctx.look(Look::State).await.ok(),
                false => ctx.latest(),
            };
            let state = states::before_measuring(StageKind::Settle, latest.as_ref().map(|t| &t.reading));
            state.into_iter().for_each(|f| ctx.found(f));
            return Ok(());
        }
        if now.since(told) >= TOLD {
            told = now;
            tell_waiting(&ctx, &pipes, &states);
        }
    }
}

/// The same by typed readings: they are asked for until a line through them shows how little they move.
async fn settle_typed(ctx: &Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    let together = by_meter::of_several(ctx);
    let of = |pipe: &Pipe| if together { TOGETHER } else { pipe.inlet };
    if let Some(meter) = ctx.meter() {
        ctx.used(&meter);
    }
    let rules = &inputs.plan.advanced.typed;
    let terms = ctx.typed_terms(ctx.abilities().map_or(0.0, |a| f64::from(a.flow_step_nl_s) * 1e-12));
    let rule = few::Rule {
        window: seconds(inputs.plan.settle.window_s),
        least: rules.least_steady as usize,
        // One pipe that drifts moves the flow of all together by its part alone.
        slope_per_min: inputs.plan.settle.slope_per_min.value
            * if together { by_meter::least_part(&inputs) } else { 1.0 },
        confidence: inputs.plan.advanced.settle.confidence,
    };
    let mut read: Vec<Vec<Sample>> = alloc::vec![Vec::new(); pipes.len()];
    loop {
        let t = ctx.look(Look::Flows).await.map_err(Stop::Trouble)?;
        pipes.iter().zip(&mut read).for_each(|(pipe, series)| series.extend(t.flow(of(pipe))));
        let mut states: Vec<settle::State> = read.iter().map(|series| few::state(series, &terms, &rule)).collect();
        let late = ctx.get().running.ends.since(ctx.now()) <= seconds(rules.each_s) + LEFT_OVER;
        for state in states.iter_mut().filter(|_| late) {
            if let settle::State::NotYet { because, .. } = state {
                *state = settle::State::DeadlinePassed { because: *because };
            }
        }
        if late || states.iter().all(|s| matches!(s, settle::State::Steady { .. })) {
            pipes.iter().zip(&states).for_each(|(pipe, state)| ctx.found(judge::settled(&inputs, pipe.inlet, state)));
            let state = match ctx.look(Look::State).await {
                Ok(t) => states::before_measuring(StageKind::Settle, Some(&t.reading)),
                Err(_) => states::before_measuring(StageKind::Settle, None),
            };
            state.into_iter().for_each(|f| ctx.found(f));
            return Ok(());
        }
        tell_waiting(ctx, &pipes, &states);
        ctx.sleep(seconds(rules.each_s)).await;
    }
}

fn settlers(ctx: &Context, inputs: &JobInputs, pipes: usize) -> Vec<settle::Settler> {
    let (now, ends) = (ctx.now(), ctx.get().running.ends);
    let rules = &inputs.plan.advanced.settle;
    let rule = settle::Rule {
        window: seconds(inputs.plan.settle.window_s),
        slope_limit: settle::Limit::Relative(inputs.plan.settle.slope_per_min.value),
        resolution: ctx.abilities().map_or(0.0, |a| f64::from(a.flow_step_nl_s) * 1e-12),
        deadline: ends.since(now).saturating_sub(LEFT_OVER),
        oscillation_limit: settle::Limit::Relative(rules.oscillation),
        step_limit: settle::Limit::Relative(rules.step),
        spike_limit: settle::Limit::Relative(rules.spike),
        spikes_allowed: rules.spikes_allowed as usize,
        max_gap: seconds(rules.longest_gap_s),
        min_rate_hz: rules.least_rate_hz,
        confidence: rules.confidence,
    };
    (0..pipes).map(|_| settle::Settler::new(rule, now)).collect()
}

fn tell_waiting(ctx: &Context, pipes: &[Pipe], states: &[settle::State]) {
    let waiting = pipes.iter().zip(states).find_map(|(pipe, s)| match s {
        settle::State::NotYet { because, wait_estimate } => Some((pipe.inlet, because, *wait_estimate)),
        _ => None,
    });
    if let Some((inlet, because, wait)) = waiting {
        ctx.progress(format!("pipe {inlet} is not steady yet: {}", fact::reason(because)), None, wait);
    }
}

/// What the flows of all pipes showed.
pub(crate) struct Flows {
    /// Each pipe's finding against the prediction; undecided ones are to be proven by holes.
    pub(crate) by_pipe: Vec<(Pipe, Finding)>,
    pub(super) compared: PipesCompared,
    pub(super) measured: Vec<(Pipe, MeanFlow)>,
}

/// The level of each pipe's flow where the unit tells shares alone: by a flow meter, if the plan names one.
async fn level(ctx: &Context, inputs: &JobInputs, flows: &[(Pipe, Result<MeanFlow, Error>)]) -> Vec<Finding> {
    let mut read = Vec::new();
    for (pipe, _) in flows {
        let about = inputs.predicted_flow(pipe.inlet).map(|p| p.value);
        if inputs.plan.instrument(Measurand::Flow, about).is_none() {
            continue;
        }
        let what = format!("flow of pipe {} where it enters the unit", pipe.inlet);
        let asking = Asking { quantity: Metered::Flow(pipe.inlet), what: format!("the {what}"), about };
        match ctx.read_off(asking).await {
            Ok(told) => read.push((pipe, told)),
            Err(why) => ctx.remark(not_read(&what, &why)),
        }
    }
    let (k, now) = (coverage_factor(inputs), ctx.now());
    let means: Vec<_> =
        read.iter().map(|(pipe, told)| ((*pipe).clone(), Ok(MeanFlow::metered(told.estimate, k, now)))).collect();
    let mut metered = judge::against_prediction(inputs, &means);
    for (finding, (_, told)) in metered.iter_mut().zip(&read) {
        finding.measured.iter_mut().for_each(|m| m.by.clone_from(&told.by));
    }
    let of = |pipe: &Pipe| read.iter().position(|(p, _)| p.inlet == pipe.inlet).and_then(|i| metered.get(i).cloned());
    let each =
        flows.iter().map(|(pipe, mean)| of(pipe).unwrap_or_else(|| judge::level_not_told(inputs, pipe.inlet, mean)));
    each.collect()
}

/// Each pipe's flow against the prediction.
pub(crate) async fn against_prediction(ctx: &Context) -> Flows {
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    let means = average(ctx, &pipes, seconds(inputs.plan.flow.average_s), "averaging the flows").await;
    let flows: Vec<_> = pipes.into_iter().zip(means).collect();
    let shares = flows.iter().any(|(_, mean)| mean.as_ref().is_ok_and(|m| m.share_of.is_some()));
    let findings = if shares { level(ctx, &inputs, &flows).await } else { judge::against_prediction(&inputs, &flows) };
    let measured: Vec<(Pipe, MeanFlow)> =
        flows.iter().filter_map(|(pipe, mean)| Some((pipe.clone(), *mean.as_ref().ok()?))).collect();
    for (pipe, mean) in &measured {
        let Some(predicted) = inputs.predicted_flow(pipe.inlet) else { continue };
        let u = libm::hypot(mean.estimate.u(), predicted.u()) * coverage_factor(&inputs);
        record(ctx, &inputs, pipe, |p| {
            p.measured = Some(mean.figure());
            p.smallest_visible = mean.share_of.is_none().then_some(u / predicted.value);
        });
    }
    inlets::unused(ctx, StageKind::ProveFlow, measured.iter().map(|(_, mean)| mean)).await;
    let compared = PipesCompared::new(&inputs, &measured);
    Flows { by_pipe: flows.into_iter().map(|(pipe, _)| pipe).zip(findings).collect(), compared, measured }
}
