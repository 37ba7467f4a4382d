//! Smoke released at the far end of each pipe, timed to the first significant rise at the sensor.
//!
//! All runs count. The transport time is judged against the limit by the onset; the agreement with the prediction by
//! half of each run's plateau, because the onset depends on how strong the smoke was.
use super::{
    flow::coverage_factor,
    presence,
    release::{self, Ran, release},
};
use crate::{
    context::{Context, Stop},
    job::{JobInputs, hole_words},
    judge::judge,
    outcome::{Figure, Finding, SmokeRun, StageKind, Subject},
    plan::HoleRef,
};
use alloc::{format, string::String, vec::Vec};
use plumeline_base::{Instant, Verdict, quantity::Estimate};
use plumeline_measure::{
    decide::{Because, Limits},
    mean::welch_satterthwaite,
    pool::{Pooled, Run, Series, pool},
    smoke::Outcome,
};

const STAGE: StageKind = StageKind::ProveSmoke;

/// Smoke at every place of the plan.
pub(crate) async fn prove_smoke(ctx: Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    if ctx.get().stream.is_none() {
        ctx.start_readings().await?;
    }
    for pipe in inputs.pipes() {
        if !inputs.plan.smoke.at.iter().any(|h| h.inlet == pipe.inlet) {
            let mut f = Finding::new(
                STAGE,
                Subject::Pipe(pipe.inlet),
                Verdict::Undecided,
                "no smoke test is planned for this pipe",
            );
            f.next = Some("add its farthest hole to the plan's smoke tests".into());
            ctx.found(f);
        }
    }
    for hole in &inputs.plan.smoke.at {
        at_hole(&ctx, &inputs, *hole).await?;
    }
    Ok(())
}

async fn at_hole(ctx: &Context, inputs: &JobInputs, hole: HoleRef) -> Result<(), Stop> {
    let Some((opening, geometry)) = inputs.opening(hole) else {
        let says = format!("the pipework has no hole {} on pipe {}", hole.number, hole.inlet);
        ctx.found(Finding::new(STAGE, Subject::Hole(hole.inlet, hole.number), Verdict::Undecided, says));
        return Ok(());
    };
    let words = hole_words(hole, geometry.kind);
    let (plan, rules) = (&inputs.plan.smoke, &inputs.plan.advanced.smoke);
    let predicted = inputs.predicted(opening).map(|p| p.half_plateau_s).filter(Estimate::is_sound);
    // Long enough for the limit and the prediction, whichever is later, and for the plateau.
    let latest = inputs.plan.limits.transport.value.max(predicted.map_or(0.0, |p| rules.waits_times * p.value))
        + plan.release_s
        + rules.waits_more_s;
    let mut place = Place { hole, words, predicted, window: None, set_aside: Vec::new() };
    // The order is kept: a run is set aside before its result is known, or it counts.
    let (mut series, mut halves) = (Series::new(), Vec::new());
    let mut why_not: Option<String> = None;
    let mut run = 0u8;
    let mut counted = 0u8;
    while counted < plan.runs && place.set_aside.len() <= usize::from(rules.most_set_aside) {
        run = run.saturating_add(1);
        let kept = series.open();
        let what = format!("run {} of {}", counted + 1, plan.runs);
        match release(ctx, inputs, hole, &place.words, &what, latest).await? {
            Ran::NotReleased(why) => {
                let _ = series.no_result();
                why_not = Some(why);
                break;
            }
            Ran::SetAside { because, released, until } => {
                if kept.and_then(|()| series.set_aside(&because)).is_err() {
                    why_not = Some("a run was set aside without a reason".into());
                    break;
                }
                ctx.remark(format!("run {run} at {} is set aside: {because}", place.words));
                ctx.edit()
                    .outcome
                    .smoke
                    .push(SmokeRun { set_aside: Some(because.clone()), ..record(hole, run, released, until) });
                place.set_aside.push(because);
            }
            Ran::Shown(shown) => {
                counted += 1;
                place.window = Some((place.window.map_or(shown.released, |w| w.0), shown.until));
                let onset = match &shown.outcome {
                    Outcome::Response(r) => {
                        halves.push(r.half_plateau_s);
                        Some(r.onset_s)
                    }
                    Outcome::Saturated { onset_s, .. } => Some(*onset_s),
                    _ => None,
                };
                let _ = match onset {
                    Some(t) => series.result(t),
                    None => series.no_result(),
                };
                let k = coverage_factor(inputs);
                let figure = |e: Estimate| Figure::with(e.value, e.u() * k, "s");
                ctx.edit().outcome.smoke.push(SmokeRun {
                    onset: onset.map(figure),
                    half_plateau: match &shown.outcome {
                        Outcome::Response(r) => Some(figure(r.half_plateau_s)),
                        _ => None,
                    },
                    alarm_after_s: shown.alarm_after_s,
                    why_not: release::why_not(&shown.outcome),
                    ..record(hole, run, shown.released, shown.until)
                });
                if onset.is_none() {
                    why_not = release::why_not(&shown.outcome);
                }
                if let (None, Some(inlet)) = (onset, shown.elsewhere) {
                    let mut f = place.finding(String::new());
                    presence::crossed(&mut f, &place.words, hole, inlet);
                    ctx.found(f);
                    return Ok(());
                }
            }
        }
    }
    let onsets: Vec<Estimate> = series
        .runs()
        .iter()
        .filter_map(|r| match r {
            Run::Result(t) => Some(*t),
            _ => None,
        })
        .collect();
    // A run without a time is missing evidence: it can't be left out of the mean.
    let complete = onsets.len() == usize::from(plan.runs) && !onsets.is_empty();
    if !complete {
        let too_many = || format!("{} runs were set aside", place.set_aside.len());
        let why =
            why_not.unwrap_or_else(|| if place.set_aside.is_empty() { "runs are missing".into() } else { too_many() });
        ctx.found(no_time(&place, &why));
        return Ok(());
    }
    ctx.found(within_limit(ctx, inputs, &place, &series));
    ctx.found(as_predicted(ctx, inputs, &place, &halves));
    Ok(())
}

/// A run that has shown nothing yet.
fn record(hole: HoleRef, run: u8, released: Instant, until: Instant) -> SmokeRun {
    SmokeRun {
        inlet: hole.inlet,
        hole: hole.number,
        run,
        released,
        onset: None,
        half_plateau: None,
        alarm_after_s: None,
        until,
        why_not: None,
        set_aside: None,
    }
}

/// A place where smoke was released, for findings.
struct Place {
    hole: HoleRef,
    words: String,
    predicted: Option<Estimate>,
    window: Option<(Instant, Instant)>,
    /// Reasons for which runs were set aside.
    set_aside: Vec<String>,
}
impl Place {
    /// What a finding adds about runs that do not count.
    fn aside(&self) -> String {
        if self.set_aside.is_empty() {
            return String::new();
        }
        format!(" ({} set aside before the result was known: {})", self.set_aside.len(), self.set_aside.join("; "))
    }
    fn finding(&self, says: String) -> Finding {
        let mut f = Finding::new(STAGE, Subject::Pipe(self.hole.inlet), Verdict::Undecided, says);
        f.window = self.window;
        f
    }
}

fn no_time(place: &Place, why: &str) -> Finding {
    let mut f = place.finding(format!("smoke from {} was not timed: {why}", place.words));
    f.likely = Some(
        "the release was too weak or too short, the hole does not draw, or the pipe is broken or not in its inlet"
            .into(),
    );
    f.next = Some("release again, longer and close to the hole; if nothing comes, look along the pipe".into());
    f
}

/// Runs of one person with one habit: the mark's own uncertainty is common to them, and no number of runs averages it away.
fn pool_runs(inputs: &JobInputs, runs: &[Estimate]) -> Result<Pooled, plumeline_measure::Error> {
    pool(runs, Some(inputs.plan.smoke.mark_u_s)).map(|p| marked(inputs, p))
}
fn marked(inputs: &JobInputs, mut pooled: Pooled) -> Pooled {
    pooled.estimate.u_common = libm::hypot(pooled.estimate.u_common, inputs.plan.smoke.mark_u_s);
    pooled
}

/// All onsets together against the time limit.
fn within_limit(ctx: &Context, inputs: &JobInputs, place: &Place, onsets: &Series) -> Finding {
    let limit = &inputs.plan.limits.transport;
    let mut f = place.finding(String::new());
    f.limit = Some(limit.clone());
    match onsets.pooled(Some(inputs.plan.smoke.mark_u_s)).map(|p| marked(inputs, p)) {
        Err(error) => f.says = format!("transport time from {} can't be judged: {error}", place.words),
        Ok(pooled) => {
            let expanded = pooled.estimate.u() * coverage_factor(inputs);
            f.measured = Some(Figure::with(pooled.estimate.value, expanded, "s"));
            let dof = welch_satterthwaite(pooled.estimate.u(), &[(pooled.estimate.u_individual, pooled.dof)]);
            let because = judge(ctx, &mut f, &pooled.estimate, dof, &Limits::at_most(limit.value), None, 1.0);
            let time = pooled.estimate.value;
            f.says = match because {
                Some(Because::Within) => format!("smoke from {} arrives in {time:.1} s, within the limit", place.words),
                Some(Because::Outside) => {
                    f.likely = Some(
                        "too little flow, a leak or break nearer to the unit, or a pipe that is too long for this fan"
                            .into(),
                    );
                    f.next = Some(
                        "compare with the predicted time; put the pipe right or change the design, then test again"
                            .into(),
                    );
                    format!("smoke from {} takes {time:.1} s, longer than the limit", place.words)
                }
                _ => format!("smoke from {} takes {time:.1} s: too near the limit to tell", place.words),
            };
            f.says.push_str(&place.aside());
        }
    }
    f
}

/// Half-plateau times against the prediction. Earlier is as suspicious as later.
fn as_predicted(ctx: &Context, inputs: &JobInputs, place: &Place, halves: &[Estimate]) -> Finding {
    let limits = &inputs.plan.limits;
    let mut f = place.finding(String::new());
    f.limit = Some(limits.transport_agreement.clone());
    let Some(predicted) = place.predicted else {
        f.says = format!("no transport time is predicted from {}", place.words);
        return f;
    };
    f.expected = Some(Figure::with(predicted.value, predicted.u() * coverage_factor(inputs), "s"));
    if halves.len() != usize::from(inputs.plan.smoke.runs) {
        f.says = format!("a run from {} showed no plateau: its time can't be held against the prediction", place.words);
        f.next = Some("release less or weaker smoke so that the reading does not run into its ceiling".into());
        return f;
    }
    match pool_runs(inputs, halves) {
        Err(error) => {
            f.says = format!("transport time from {} can't be held against the prediction: {error}", place.words)
        }
        Ok(pooled) => {
            let expanded = pooled.estimate.u() * coverage_factor(inputs);
            f.measured = Some(Figure::with(pooled.estimate.value, expanded, "s"));
            let allowed =
                (limits.transport_agreement.value * predicted.value).max(limits.transport_agreement_least.value);
            let dof = welch_satterthwaite(
                libm::hypot(pooled.estimate.u(), predicted.u()),
                &[(pooled.estimate.u_individual, pooled.dof)],
            );
            let difference = Estimate::new(
                pooled.estimate.value - predicted.value,
                libm::hypot(pooled.estimate.u_common, predicted.u_common),
                libm::hypot(pooled.estimate.u_individual, predicted.u_individual),
            );
            let because = judge(ctx, &mut f, &difference, dof, &Limits::between(-allowed, allowed), None, 1.0);
            let by = difference.value;
            f.says = match because {
                Some(Because::Within) => format!("smoke from {} arrives when it should ({by:+.1} s)", place.words),
                Some(Because::Outside) => {
                    let (early, likely) = if by < 0.0 {
                        (
                            "earlier",
                            "smoke got in at another hole, the pipe is broken or open nearer to the unit, or it is another pipe",
                        )
                    } else {
                        ("later", "too little flow in this pipe, a leak near the unit, or a partly blocked pipe")
                    };
                    f.likely = Some(likely.into());
                    f.next = Some("look along the pipe between the unit and the hole, then test again".into());
                    format!("smoke from {} arrives {:.1} s {early} than predicted", place.words, libm::fabs(by))
                }
                _ => format!("smoke from {} is {by:+.1} s off the prediction: too near the limit to tell", place.words),
            };
        }
    }
    f
}
