//! The stages of a job, run in the order of the plan, each with a deadline, a policy and an abort.
//!
//! A stage's verdict is that of its findings; one that ends early is undecided at best, and one that finds nothing
//! shows nothing. After a stop only what makes the site safe is still done: purge, restore, close.
pub(crate) mod alarms;
mod alone;
mod anchor;
mod baseline;
mod bench;
mod by_eye;
mod by_logger;
mod by_meter;
mod by_watch;
mod checklist;
mod clear_air;
mod clock;
mod close;
mod decide;
mod dilution;
mod flow;
mod held;
mod holes;
mod inlets;
mod isolate;
mod load;
mod outgoing;
mod outputs;
mod presence;
mod purge;
mod release;
mod restore;
mod smoke;
mod suction;
mod supervise;
mod supply;
mod unit;

use crate::{
    context::{Context, Stop},
    effect::{Effect, Entry},
    executor::{Either, race, wait_for},
    judge,
    outcome::{StageKind, StageResult},
    plan::{Policy, StagePlan},
};
use alloc::{
    boxed::Box,
    collections::BTreeSet,
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::{future::Future, pin::Pin, time::Duration};
use decide::{Next, Ran};
use plumeline_base::Verdict;

/// The whole job.
pub(crate) async fn job(ctx: Context) {
    let inputs = ctx.inputs();
    let mut stopped: Option<String> = None;
    // Stages that need not be done (again).
    let mut standing: BTreeSet<StageKind> = BTreeSet::new();
    // The link opens before the first stage, so that a wrong port shows before anything is isolated.
    while let Some(plan) = inputs.plan.stages.iter().find(|p| !standing.contains(&p.stage)) {
        standing.insert(plan.stage);
        let reason = match &stopped {
            Some(reason) if !plan.stage.row().traits.winds_down => Some(reason.clone()),
            _ if plan.policy == Policy::Skip => Some("left out by the plan".into()),
            _ => None,
        };
        if let Some(reason) = reason {
            ctx.edit().outcome.not_done.push((plan.stage, reason));
            continue;
        }
        let ran = run(&ctx, plan).await;
        match decide::next(&ctx, plan, &ran, stopped.is_some()).await {
            Next::GoOn => {}
            Next::Stop if stopped.is_some() => {}
            Next::Stop => stopped = Some(format!("stopped after {}: {}", plan.stage, ran.verdict)),
            Next::Again(again) => {
                let done = |stage: &StageKind| standing.contains(stage) && !ctx.is_left_out(*stage);
                let stages: Vec<StageKind> = again.stages.into_iter().filter(done).collect();
                ctx.put_right(&stages, again.part.as_ref(), &again.why);
                standing.retain(|stage| !stages.contains(stage));
            }
        }
    }
    for stage in StageKind::ALL {
        if inputs.plan.has(stage) && inputs.plan.stages.iter().all(|p| p.stage != stage) {
            ctx.edit().outcome.not_done.push((stage, "not in the plan".into()));
        }
    }
    conclude(&ctx);
}

fn body(ctx: &Context, stage: StageKind) -> Pin<Box<dyn Future<Output = Result<(), Stop>>>> {
    let ctx = ctx.clone();
    match stage {
        StageKind::Bench => Box::pin(bench::bench(ctx)),
        StageKind::Isolate => Box::pin(isolate::isolate(ctx)),
        StageKind::AsFound => Box::pin(outgoing::as_found(ctx)),
        StageKind::Swap => Box::pin(unit::swap(ctx)),
        StageKind::Boot => Box::pin(unit::boot(ctx)),
        StageKind::Load => Box::pin(load::load(ctx)),
        StageKind::Settle => Box::pin(flow::settle(ctx)),
        StageKind::ProveFlow => Box::pin(holes::prove_flow(ctx)),
        StageKind::Baseline => Box::pin(baseline::baseline(ctx)),
        StageKind::ProveSmoke => Box::pin(smoke::prove_smoke(ctx)),
        StageKind::Purge => Box::pin(purge::purge(ctx)),
        StageKind::Supervise => Box::pin(supervise::supervise(ctx)),
        StageKind::Supply => Box::pin(supply::supply(ctx)),
        StageKind::Outputs => Box::pin(outputs::outputs(ctx)),
        StageKind::LastLook => Box::pin(baseline::last_look(ctx)),
        StageKind::Restore => Box::pin(restore::restore(ctx)),
        StageKind::Close => Box::pin(close::close(ctx)),
    }
}

/// Runs one stage.
async fn run(ctx: &Context, plan: &StagePlan) -> Ran {
    let stage = plan.stage;
    let began = ctx.now();
    {
        let mut s = ctx.edit();
        s.running.stage = stage;
        s.running.ends = began + Duration::from_secs(u64::from(plan.deadline_s));
    }
    ctx.note(Entry::StageBegan { stage });
    let work = async {
        unit::inhibit_again(ctx).await?;
        // What an earlier stage that ended early left shut.
        by_meter::all_open(ctx).await;
        checklist::checklist(ctx, stage, false).await;
        body(ctx, stage).await?;
        checklist::checklist(ctx, stage, true).await;
        Ok(())
    };
    let end = match race(watch(ctx), work).await {
        Either::First(stop) => Err(stop),
        Either::Second(end) => end,
    };
    if let Err(stop) = &end {
        explain(ctx, stage, stop);
    }
    let complete = end.is_ok();
    let found = ctx.verdict_of(stage);
    let verdict = if complete { found } else { found.and(Verdict::Undecided) };
    let stop = end.err();
    let because = stop.as_ref().map(ToString::to_string);
    let result = StageResult { stage, verdict, complete, began, ended: ctx.now(), because, put_right: None };
    ctx.note(Entry::StageEnded(result.clone()));
    ctx.edit().outcome.stages.push(result);
    Ran { verdict, stop }
}

/// Ends when the stage must end early.
async fn watch(ctx: &Context) -> Stop {
    let reason = wait_for(|| {
        let mut s = ctx.edit();
        if let Some(cause) = s.running.abort.take() {
            s.outcome.aborted = true;
            return Some(Stop::Aborted(cause));
        }
        if core::mem::take(&mut s.running.unsafe_to_go_on) && !s.running.stage.row().traits.winds_down {
            return Some(Stop::Found);
        }
        if s.running.again.is_some() {
            return Some(Stop::Again);
        }
        if core::mem::take(&mut s.unit.started_anew) {
            return Some(Stop::StartedAnew);
        }
        // What rested on the settings is void already; giving the site back does not rest on them.
        let gives_back = matches!(s.running.stage, StageKind::Restore | StageKind::Close);
        if gives_back { None } else { s.unit.other_settings.take().map(Stop::OtherSettings) }
    });
    match race(reason, ctx.stage_end()).await {
        Either::First(stop) => stop,
        Either::Second(()) => Stop::Deadline,
    }
}

/// Writes down why a stage ended early, and what that makes void.
fn explain(ctx: &Context, stage: StageKind, stop: &Stop) {
    let last = ctx.get().last_trouble.clone();
    match stop {
        Stop::Deadline if last.is_some() => ctx.edit().outcome.trouble = last.clone(),
        Stop::Trouble(trouble) if stop.ends_job() => ctx.edit().outcome.trouble = Some(trouble.clone()),
        Stop::StartedAnew => ctx.void(&StageKind::with(|t| t.bound_to_start), "the unit started anew"),
        _ => {}
    }
    judge::ended::early(stage, stop, last.as_ref()).into_iter().for_each(|f| ctx.found(f));
}

/// Sums the job up.
fn conclude(ctx: &Context) {
    let inputs = ctx.inputs();
    let outcome = {
        let mut s = ctx.edit();
        let still = close::still(&s);
        let out_of_service = s.site.isolated_at.map(|t| s.site.restored_at.unwrap_or(s.now).since(t).as_secs_f64());
        let o = &mut s.outcome;
        (o.still, o.out_of_service_s) = (still, out_of_service);
        judge::conclusion::conclude(o, &inputs.plan);
        o.clone()
    };
    ctx.note(Entry::Ended { verdict: outcome.verdict, because: outcome.because.clone() });
    ctx.effect(Effect::Done(Box::new(outcome)));
}
