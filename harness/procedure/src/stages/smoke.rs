//! Smoke released at the far end of each pipe, timed to the first significant rise at the sensor.
//!
//! All runs count. The transport time is judged against the limit by the onset; the agreement with the prediction by
//! half of each run's plateau, because the onset depends on how strong the smoke was.
use super::{flow::coverage_factor, safety};
use crate::{
    context::{Context, Stop},
    job::{JobInputs, hole_words},
    judge::judge,
    outcome::{Figure, Finding, SmokeRun, StageKind, Subject},
    plan::{HoleRef, ReleaseMark},
    prompt::Act,
    readings::Item,
};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{Instant, Verdict, input::Answer, quantity::Estimate, time::seconds};
use plumeline_detector::driver::Wants;
use plumeline_measure::{
    Sample,
    decide::{Because, Limits},
    mean::welch_satterthwaite,
    pool::{Pooled, pool},
    smoke::{self, Outcome, Release, Rule},
};

const STAGE: StageKind = StageKind::ProveSmoke;
/// Readings gathered before a release, s.
const BEFORE_S: u64 = 30;
/// A run is looked at this often, s.
const LOOK_S: u64 = 5;

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
    let predicted = inputs.predicted(opening).map(|p| p.half_plateau_s).filter(Estimate::is_sound);
    let (mut onsets, mut halves) = (Vec::new(), Vec::new());
    let mut why_not: Option<String> = None;
    let mut window: Option<(Instant, Instant)> = None;
    for run in 1..=inputs.plan.smoke.runs {
        match one_run(ctx, inputs, hole, &words, run, predicted).await? {
            Ran::NotReleased(why) => {
                why_not = Some(why);
                break;
            }
            Ran::Shown(shown) => {
                let (outcome, record) = *shown;
                window = Some((window.map_or(record.released, |w| w.0), record.until));
                match &outcome {
                    Outcome::Response(r) => {
                        onsets.push(r.onset_s);
                        halves.push(r.half_plateau_s);
                    }
                    Outcome::Saturated { onset_s, .. } => onsets.push(*onset_s),
                    _ => why_not = record.why_not.clone(),
                }
                ctx.edit().outcome.smoke.push(record);
            }
        }
    }
    let place = Place { hole, words, predicted, window };
    // A run without a time is missing evidence: it can't be left out of the mean.
    let complete = onsets.len() == usize::from(inputs.plan.smoke.runs) && !onsets.is_empty();
    if !complete {
        let why = why_not.unwrap_or_else(|| "runs are missing".into());
        ctx.found(no_time(&place, &why));
        return Ok(());
    }
    ctx.found(within_limit(ctx, inputs, &place, &onsets));
    ctx.found(as_predicted(ctx, inputs, &place, &halves));
    Ok(())
}

/// A place where smoke was released, for findings.
struct Place {
    hole: HoleRef,
    words: String,
    predicted: Option<Estimate>,
    window: Option<(Instant, Instant)>,
}
impl Place {
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
    let mark = inputs.plan.smoke.mark_u_s;
    let mut pooled = pool(runs, Some(mark))?;
    pooled.estimate.u_common = libm::hypot(pooled.estimate.u_common, mark);
    Ok(pooled)
}

/// All onsets together against the time limit.
fn within_limit(ctx: &Context, inputs: &JobInputs, place: &Place, onsets: &[Estimate]) -> Finding {
    let limit = &inputs.plan.limits.transport;
    let mut f = place.finding(String::new());
    f.limit = Some(limit.clone());
    match pool_runs(inputs, onsets) {
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

enum Ran {
    NotReleased(String),
    Shown(Box<(Outcome, SmokeRun)>),
}

async fn one_run(
    ctx: &Context,
    inputs: &JobInputs,
    hole: HoleRef,
    words: &str,
    run: u8,
    predicted: Option<Estimate>,
) -> Result<Ran, Stop> {
    let plan = &inputs.plan.smoke;
    if let Err(why) = safety::quiet(ctx, "waiting for clear air before the next release").await {
        return Ok(Ran::NotReleased(why.into()));
    }
    let mut gather = Gather::new(ctx, hole.inlet);
    gather.until(ctx.now() + Duration::from_secs(BEFORE_S)).await;
    let text = format!(
        "Release smoke at {words} for {:.0} s, run {run} of {}. Answer at the very moment it starts. Test smoke can alarm people: see \
         that they know.",
        plan.release_s, plan.runs
    );
    let asked = ctx.ask(Act::ReleaseSmoke(hole), text, Wants::Moment);
    let (at, answer) = gather.during(asked).await;
    match answer {
        Answer::Yes => {}
        Answer::Cannot(why) => return Ok(Ran::NotReleased(why)),
        _ => return Ok(Ran::NotReleased("the release was not confirmed".into())),
    }
    let release = match plan.mark {
        ReleaseMark::ByHand => Release { u_s: plan.mark_u_s, ..Release::by_hand(at) },
        ReleaseMark::ByRadio => Release { u_s: plan.mark_u_s, ..Release::by_radio(at) },
        ReleaseMark::Device => Release::by_device(at, plan.mark_u_s),
    };
    // Long enough for the limit and the prediction, whichever is later, and for the plateau and its end.
    let latest =
        inputs.plan.limits.transport.value.max(predicted.map_or(0.0, |p| 1.5 * p.value)) + plan.release_s + 30.0;
    let end = at + seconds(latest);
    let rule = rule(ctx, inputs, latest);
    let outcome = loop {
        gather.until((ctx.now() + Duration::from_secs(LOOK_S)).min(end)).await;
        let outcome = gather.analyse(at, &release, &rule);
        let done = match &outcome {
            // The plateau's end was seen, or nothing more can come.
            Outcome::Response(r) => r.decay_s.is_some(),
            _ => false,
        };
        if done || ctx.now() >= end {
            break outcome;
        }
        let waited = ctx.now().since(at);
        ctx.progress(
            format!("smoke released at {words} {:.0} s ago", waited.as_secs_f64()),
            Some((waited.as_secs_f64() / latest).min(1.0)),
            Some(end.since(ctx.now())),
        );
    };
    // The release has ended by itself by now; a person may still hold the smoke there.
    safety::stop_smoke(ctx).await;
    let record = record(inputs, hole, run, at, &gather, &outcome);
    Ok(Ran::Shown(Box::new((outcome, record))))
}

/// What counts as a response here: the resolution is unknown, the rest is the measure crate's practice. The risk of taking noise
/// for smoke is shared out over the looks of a run.
fn rule(ctx: &Context, inputs: &JobInputs, latest_s: f64) -> Rule {
    let least = safety::lowest_level(ctx).map_or(0.0, |level| level.0 * inputs.plan.smoke.purge_below);
    let looks = (latest_s / LOOK_S as f64).max(1.0);
    let usual = Rule::default();
    Rule { min_rise: least, false_alarm: usual.false_alarm / looks, ..usual }
}

fn record(inputs: &JobInputs, hole: HoleRef, run: u8, at: Instant, gather: &Gather, outcome: &Outcome) -> SmokeRun {
    let k = coverage_factor(inputs);
    let figure = |e: &Estimate| Figure::with(e.value, e.u() * k, "s");
    let (onset, half, why_not) = match outcome {
        Outcome::Response(r) => (Some(figure(&r.onset_s)), Some(figure(&r.half_plateau_s)), None),
        Outcome::Saturated { onset_s, .. } => {
            (Some(figure(onset_s)), None, Some("the reading ran into its ceiling".into()))
        }
        Outcome::TooWeak { .. } => (None, None, Some("something rose, but too little to be timed".into())),
        Outcome::NoRise { .. } => (None, None, Some("nothing rose".into())),
        Outcome::Undecided { because } => (None, None, Some(unclear_words(because))),
    };
    SmokeRun {
        inlet: hole.inlet,
        hole: hole.number,
        run,
        released: at,
        onset,
        half_plateau: half,
        alarm_after_s: gather.alarm.filter(|t| *t >= at).map(|t| t.since(at).as_secs_f64()),
        until: gather.last,
        why_not,
    }
}

fn unclear_words(why: &smoke::Unclear) -> String {
    use smoke::Unclear as U;
    match why {
        U::Evidence(error) => format!("{error}"),
        U::BeforeRelease { .. } => "it rose before the release".into(),
        U::TooShort { lasted_s } => format!("it rose for {lasted_s:.1} s only"),
        U::RestlessBaseline { .. } => "the reading was restless before the release".into(),
        U::EndsTooSoon => "the record ends before the plateau".into(),
        U::TooSlow => "it rose too slowly to tell a start".into(),
    }
}

/// Gathers the extinction that concerns one inlet, and the first alarm level.
struct Gather {
    feed: crate::readings::Feed,
    inlet: u8,
    samples: Vec<Sample>,
    alarm: Option<Instant>,
    last: Instant,
}
impl Gather {
    fn new(ctx: &Context, inlet: u8) -> Self {
        Self { feed: ctx.feed(), inlet, samples: Vec::new(), alarm: None, last: ctx.now() }
    }
    fn take(&mut self, item: &Item) {
        // A gap shows in the samples' own times, and the analysis refuses it.
        if let Item::Reading(t) = item {
            self.samples.extend(t.extinction(self.inlet));
            if t.reading.levels != 0 {
                self.alarm.get_or_insert(t.at);
            }
            self.last = t.at;
        }
    }
    async fn until(&mut self, end: Instant) {
        while let Some(item) = self.feed.next_before(end).await {
            self.take(&item);
        }
    }
    /// Gathers while something else is waited for.
    async fn during<T>(&mut self, other: impl Future<Output = T>) -> T {
        let mut other = core::pin::pin!(other);
        loop {
            match crate::executor::race(other.as_mut(), self.feed.next()).await {
                crate::executor::Either::First(done) => return done,
                crate::executor::Either::Second(item) => self.take(&item),
            }
        }
    }
    fn analyse(&self, at: Instant, release: &Release, rule: &Rule) -> Outcome {
        let split = self.samples.partition_point(|s| s.at < at);
        smoke::analyse(&self.samples[..split], &self.samples[split..], release, rule)
    }
}
