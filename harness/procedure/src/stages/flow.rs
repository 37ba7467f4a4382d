//! Flow of whole pipes: settling, averaging, judging against the prediction, the baseline, the last look.
use super::together::Together;
use crate::{
    context::{Context, Stop, litres_per_minute},
    job::{JobInputs, Pipe},
    judge::judge,
    outcome::{Figure, Finding, PipeFlow, StageKind, Subject},
    readings::Item,
};
use alloc::{format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{
    Instant, Verdict,
    pipework::Air,
    quantity::{Estimate, KELVIN_AT_0_C, M3_S_PER_L_MIN},
    time::seconds,
};
use plumeline_detector::{Reading, vocabulary::FlowBasis};
use plumeline_measure::{
    Error, Sample,
    decide::{Because, Limits},
    mean::{Mean, Terms, mean_of, welch_satterthwaite},
    settle,
};

/// L/min in a m3/s.
pub(crate) const L_MIN: f64 = 1.0 / M3_S_PER_L_MIN;

/// The factor that turns a unit's flow reading into the volume that actually flows (ideal gas).
pub(crate) fn to_actual(basis: FlowBasis, air: &Air) -> f64 {
    match basis {
        FlowBasis::Actual => 1.0,
        FlowBasis::Reference { temperature_mc, pressure_pa } => {
            let t_ref = f64::from(temperature_mc) / 1000.0 + KELVIN_AT_0_C;
            (air.temperature_c + KELVIN_AT_0_C) / t_ref * f64::from(pressure_pa) / air.pressure_pa
        }
    }
}

/// A mean flow of one inlet, m3/s as it is in the pipe, with the plan's calibration terms.
#[derive(Clone, Copy, Debug)]
pub(crate) struct MeanFlow {
    pub(crate) estimate: Estimate,
    pub(crate) dof: f64,
    pub(crate) expanded: f64,
    pub(crate) window: (Instant, Instant),
    /// The scatter part of the mean's standard uncertainty: what differences of the same sensor carry.
    pub(crate) u_scatter: f64,
}
impl MeanFlow {
    fn new(mean: &Mean, scale: f64, individual: f64) -> Self {
        let value = mean.estimate.value * scale;
        let u_scatter = mean.estimate.u_individual * scale;
        let estimate = Estimate::new(value, mean.estimate.u_common * scale, libm::hypot(u_scatter, individual * value));
        let expanded = estimate.u() * mean.coverage_factor;
        Self { estimate, dof: mean.dof, expanded, window: (mean.from, mean.to), u_scatter }
    }
    pub(crate) fn figure(&self) -> Figure {
        Figure::with(self.estimate.value * L_MIN, self.expanded * L_MIN, "L/min")
    }
}

/// Averages the flow of these inlets over `span`, or longer where the readings hang together too strongly. A gap starts it
/// over; the stage's deadline ends it.
pub(crate) async fn average(ctx: &Context, pipes: &[Pipe], span: Duration, says: &str) -> Vec<Result<MeanFlow, Error>> {
    let inputs = ctx.inputs();
    let rules = &inputs.plan.advanced.average;
    let abilities = ctx.abilities();
    let scale = abilities.as_ref().map_or(1.0, |a| to_actual(a.flow_basis, &inputs.pipework.air));
    let terms = Terms {
        resolution: abilities.map_or(0.0, |a| f64::from(a.flow_step_nl_s) * 1e-12),
        calibration_relative: inputs.plan.flow.calibration_common,
        coverage: inputs.plan.rule.coverage,
        max_gap: seconds(rules.longest_gap_s),
        max_age: seconds(rules.oldest_s),
        min_samples: rules.least_readings as usize,
        ..Terms::default()
    };
    let individual = inputs.plan.flow.calibration_individual;
    let mut span = span;
    for again in 0.. {
        let samples = gather(ctx, pipes, span, says).await;
        let now = samples.iter().filter_map(|s| s.last()).map(|s| s.at).max().unwrap_or_else(|| ctx.now());
        let means: Vec<_> =
            samples.iter().map(|s| mean_of(s, now, &terms).map(|m| MeanFlow::new(&m, scale, individual))).collect();
        if again == rules.longer || !means.iter().any(|m| matches!(m, Err(Error::TooCorrelated { .. }))) {
            return means;
        }
        span *= 2;
    }
    Vec::new()
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

/// Coverage factor of the job's coverage for a normal distribution (JCGM 100, table G.2 for infinite degrees of freedom).
pub(crate) fn coverage_factor(inputs: &JobInputs) -> f64 {
    plumeline_measure::stats::normal_quantile(0.5 + inputs.plan.rule.coverage / 2.0)
}

/// Flows with the outgoing unit, for comparison only.
pub(crate) async fn as_found_flows(ctx: &Context) {
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    let span = seconds(inputs.plan.flow.average_s);
    for (pipe, mean) in pipes.iter().zip(average(ctx, &pipes, span, "reading the outgoing unit's flows").await) {
        let f = match mean {
            Ok(mean) => {
                record(ctx, &inputs, pipe, |p| p.as_found = Some(mean.figure()));
                ctx.edit().as_found.insert(pipe.inlet, mean);
                let mut f = Finding::new(StageKind::AsFound, Subject::Pipe(pipe.inlet), Verdict::Pass, "flow captured");
                f.measured = Some(mean.figure());
                f.window = Some(mean.window);
                f
            }
            Err(error) => Finding::new(
                StageKind::AsFound,
                Subject::Pipe(pipe.inlet),
                Verdict::Undecided,
                format!("flow not captured: {error}"),
            ),
        };
        ctx.found(f);
    }
}

/// Flows that were read once, without an uncertainty.
pub(crate) fn as_found_once(ctx: &Context, reading: &Reading) {
    let inputs = ctx.inputs();
    for pipe in inputs.pipes() {
        let told = usize::from(pipe.inlet).checked_sub(1).and_then(|i| *reading.flow_m3_s.get(i)?);
        let subject = Subject::Pipe(pipe.inlet);
        let f = match told {
            Some(q) => {
                let figure = Figure::plain(q * L_MIN, "L/min");
                record(ctx, &inputs, &pipe, |p| p.as_found = Some(figure.clone()));
                let mut f =
                    Finding::new(StageKind::AsFound, subject, Verdict::Pass, "flow read once, without an uncertainty");
                f.measured = Some(figure);
                f
            }
            None => Finding::new(StageKind::AsFound, subject, Verdict::Undecided, "flow not captured: it was not told"),
        };
        ctx.found(f);
    }
}

/// Every pipe's flow is steady.
pub(crate) async fn settle(ctx: Context) -> Result<(), Stop> {
    ctx.start_readings().await?;
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    let mut feed = ctx.feed();
    let mut told = ctx.now();
    let (mut settlers, mut paused) = (settlers(&ctx, &inputs, pipes.len()), ctx.paused());
    loop {
        // Woken at least every second, so that a stream that never comes still ends in a reason.
        let item = feed.next_before(ctx.within(Duration::from_secs(1))).await;
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
                ctx.found(settled(&inputs, pipe, state));
            }
            return Ok(());
        }
        if now.since(told) >= Duration::from_secs(2) {
            told = now;
            tell_waiting(&ctx, &pipes, &states);
        }
    }
}

fn settlers(ctx: &Context, inputs: &JobInputs, pipes: usize) -> Vec<settle::Settler> {
    let (now, ends) = (ctx.now(), ctx.get().stage_ends);
    let rules = &inputs.plan.advanced.settle;
    let rule = settle::Rule {
        window: seconds(inputs.plan.settle.window_s),
        slope_limit: settle::Limit::Relative(inputs.plan.settle.slope_per_min.value),
        resolution: ctx.abilities().map_or(0.0, |a| f64::from(a.flow_step_nl_s) * 1e-12),
        // A little before the stage's own, so that the reason is told and not just the time.
        deadline: ends.since(now).saturating_sub(Duration::from_secs(2)),
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
        ctx.progress(format!("pipe {inlet} is not steady yet: {}", reason_words(because)), None, wait);
    }
}

fn settled(inputs: &JobInputs, pipe: &Pipe, state: &settle::State) -> Finding {
    let stage = StageKind::Settle;
    let subject = Subject::Pipe(pipe.inlet);
    let mut f = match state {
        settle::State::Steady { mean, slopes, .. } => {
            let worst = slopes.iter().map(|s| libm::fabs(s.per_minute) + s.half_width).fold(0.0, f64::max);
            let mut f = Finding::new(stage, subject, Verdict::Pass, "flow is steady");
            f.measured = Some(Figure::plain(worst / libm::fabs(mean.estimate.value) * 100.0, "% a minute at most"));
            f.window = Some((mean.from, mean.to));
            f
        }
        settle::State::NotYet { because, .. } => Finding::new(
            stage,
            subject,
            Verdict::Undecided,
            format!("not steady when another pipe ended the wait: {}", reason_words(because)),
        ),
        settle::State::Faulty { because } => {
            let (verdict, words) = fault_words(because);
            let mut f = Finding::new(stage, subject, verdict, format!("its flow reading can't be judged: {words}"));
            f.next = Some("check the unit's flow sensor of this inlet; do not take a baseline".into());
            f
        }
        settle::State::DeadlinePassed { because } => {
            let mut f = Finding::new(
                stage,
                subject,
                Verdict::Undecided,
                format!("not steady in time: {}", reason_words(because)),
            );
            f.likely = Some("ventilation that changes, doors, a pipe that is not fixed, or a fan that hunts".into());
            f.next = Some(
                "bring the ventilation to its normal state, close doors and the unit's cover, then run the job again"
                    .into(),
            );
            f
        }
    };
    f.limit = Some(inputs.plan.settle.slope_per_min.clone());
    f
}

fn reason_words(reason: &settle::Reason) -> String {
    use settle::Reason as R;
    match reason {
        R::WindowsNotFull => "readings are still being gathered".into(),
        R::Gap { missing, .. } => format!("readings were missing for {:.1} s", missing.as_secs_f64()),
        R::Restart { .. } => "the unit restarted".into(),
        R::Stale { .. } => "no fresh readings come".into(),
        R::TooSlow { rate_hz } => format!("only {rate_hz:.2} readings a second"),
        R::Trend { slope, .. } => format!("it moves by {:+.2} L/min a minute", litres_per_minute(slope.per_minute)),
        R::Scatter { .. } => "its scatter still hides whether it moves".into(),
        R::Step { by, .. } => format!("it jumped by {:+.2} L/min", litres_per_minute(*by)),
        R::Oscillation { amplitude, period_s } => {
            format!("it swings by {:.2} L/min every {period_s:.0} s", litres_per_minute(*amplitude))
        }
        R::Spikes { count, .. } => format!("{count} single readings jumped"),
    }
}
fn fault_words(fault: &settle::Fault) -> (Verdict, &'static str) {
    match fault {
        settle::Fault::Stuck { .. } => (Verdict::Fail, "it never changes, as no live sensor does"),
        settle::Fault::NotANumber { .. } => (Verdict::Undecided, "it is not a number"),
        settle::Fault::OutOfOrder { .. } => (Verdict::Undecided, "readings came out of order"),
        settle::Fault::BadRule { what } => (Verdict::Undecided, what),
    }
}

/// What the flows of all pipes showed.
pub(crate) struct Flows {
    /// Each pipe's finding against the prediction; undecided ones are to be proven by holes.
    pub(crate) by_pipe: Vec<(Pipe, Finding)>,
    pub(super) together: Together,
    pub(super) measured: Vec<(Pipe, MeanFlow)>,
}

/// Each pipe's flow against the prediction.
pub(crate) async fn against_prediction(ctx: &Context) -> Flows {
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    let means = average(ctx, &pipes, seconds(inputs.plan.flow.average_s), "averaging the flows").await;
    let mut all = Vec::new();
    let measured: Vec<(Pipe, MeanFlow)> =
        pipes.iter().zip(&means).filter_map(|(pipe, mean)| Some((pipe.clone(), *mean.as_ref().ok()?))).collect();
    for (pipe, mean) in pipes.into_iter().zip(means) {
        let mut f =
            Finding::new(StageKind::ProveFlow, Subject::Pipe(pipe.inlet), Verdict::Undecided, "flow was not measured");
        f.limit = Some(inputs.plan.flow.material.clone());
        match (mean, inputs.prediction.inlets.iter().find(|p| p.number == pipe.inlet)) {
            (Err(error), _) => {
                f.says = format!("flow was not measured: {error}");
                f.next = Some(error.remedy().into());
            }
            (Ok(_), None) => f.says = "the pipework predicts nothing for this inlet".into(),
            (Ok(mean), Some(predicted)) => {
                record(ctx, &inputs, &pipe, |p| p.measured = Some(mean.figure()));
                hold_against(ctx, &inputs, &mut f, &mean, &predicted.flow_m3_s);
                let u = libm::hypot(mean.estimate.u(), predicted.flow_m3_s.u()) * coverage_factor(&inputs);
                record(ctx, &inputs, &pipe, |p| p.smallest_visible = Some(u / predicted.flow_m3_s.value));
            }
        }
        all.push((pipe, f));
    }
    likely_causes(&mut all);
    Flows { by_pipe: all, together: Together::new(&inputs, &measured), measured }
}

/// The difference from the predicted flow, both uncertainties combined, against the smallest material change.
fn hold_against(ctx: &Context, inputs: &JobInputs, f: &mut Finding, mean: &MeanFlow, predicted: &Estimate) {
    let k = coverage_factor(inputs);
    f.measured = Some(mean.figure());
    f.expected = Some(Figure::with(predicted.value * L_MIN, predicted.u() * k * L_MIN, "L/min"));
    f.window = Some(mean.window);
    let difference = Estimate::new(
        mean.estimate.value - predicted.value,
        libm::hypot(mean.estimate.u_common, predicted.u_common),
        libm::hypot(mean.estimate.u_individual, predicted.u_individual),
    );
    let u = libm::hypot(mean.estimate.u(), predicted.u());
    let dof = welch_satterthwaite(u, &[(mean.estimate.u(), mean.dof)]);
    let material = inputs.plan.flow.material.value * libm::fabs(predicted.value);
    let because = judge(ctx, f, &difference, dof, &Limits::between(-material, material), Some(material), L_MIN);
    let percent = difference.value / predicted.value * 100.0;
    match because {
        Some(Because::Within) => f.says = format!("flow is as predicted ({percent:+.1} %)"),
        Some(Because::Outside) => {
            let side = if percent > 0.0 { "more" } else { "less" };
            f.says = format!("flow is {:.1} % {side} than predicted", libm::fabs(percent));
        }
        Some(Because::InGuardBand) => {
            f.says = format!("flow is {percent:+.1} % off the prediction: too near the limit to tell")
        }
        Some(Because::ProveByHoles) => {
            f.says = format!(
                "flow is {percent:+.1} % off the prediction; flow alone can't show the smallest material defect: prove by holes"
            );
        }
        None => {}
    }
}

/// What deviations most likely mean, seen over all pipes.
fn likely_causes(all: &mut [(Pipe, Finding)]) {
    let sign = |f: &Finding| match (&f.measured, &f.expected, f.verdict) {
        (Some(m), Some(e), Verdict::Fail) if m.value > e.value => 1,
        (Some(_), Some(_), Verdict::Fail) => -1,
        _ => 0,
    };
    let signs: Vec<i32> = all.iter().map(|(_, f)| sign(f)).collect();
    let same_for_all = signs.len() > 1 && signs.iter().all(|s| *s == signs[0] && *s != 0);
    for ((_, f), sign) in all.iter_mut().zip(&signs) {
        let (likely, next) = match (sign, same_for_all) {
            (0, _) => continue,
            (1, true) => (
                "the fan runs faster than the pipework file says, the exhaust or filter differs, or the pipework file is wrong",
                "check the fan setting, the filter and the exhaust, then prove flow again",
            ),
            (-1, true) => (
                "a clogged filter, a fan set too slow, a covered exhaust, or a pipework file that is wrong",
                "check the filter, the fan setting and the exhaust, then prove flow again",
            ),
            (1, false) => (
                "air enters where it should not: the pipe is off or half seated in its inlet, an end cap is missing, or the pipe is broken",
                "look at the inlet and the end cap of this pipe first, then along it; then prove flow again",
            ),
            _ => (
                "holes of this pipe are blocked or taped, the pipe is crushed or full of swarf, or it is in another pipe's inlet",
                "look at the inlet's number and at the holes of this pipe, nearest first; then prove flow again",
            ),
        };
        f.likely = Some(likely.into());
        f.next = Some(next.into());
    }
}
