//! The stages of a job, run in the order of the plan, each with a deadline, a policy and an abort.
//!
//! A stage's verdict is that of its findings; one that ends early is undecided at best, and one that finds nothing
//! shows nothing. After a stop only what makes the site safe is still done: purge, restore, close.
mod as_found;
mod band;
mod baseline;
mod bench;
mod checklist;
mod clear_air;
mod close;
mod flow;
mod holes;
mod isolate;
mod load;
mod outputs;
mod presence;
mod purge;
mod release;
mod restore;
mod smoke;
mod supervise;
mod supply;
mod unit;

pub(crate) use unit::settings_digest;

use crate::{
    context::{Context, Stop, list},
    effect::{Effect, Entry},
    executor::{Either, race, wait_for},
    outcome::{Finding, StageKind, StageResult, Subject},
    plan::{Policy, StagePlan},
};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use core::{future::Future, pin::Pin, time::Duration};
use plumeline_base::Verdict;
use plumeline_detector::Trouble;

/// The whole job.
pub(crate) async fn job(ctx: Context) {
    let inputs = ctx.inputs();
    let mut stopped: Option<String> = None;
    // The link opens before the first stage, so that a wrong port shows before anything is isolated.
    for plan in &inputs.plan.stages {
        let reason = match &stopped {
            Some(reason) if !plan.stage.row().traits.winds_down => Some(reason.clone()),
            _ if plan.policy == Policy::Skip => Some("left out by the plan".into()),
            _ => None,
        };
        if let Some(reason) = reason {
            ctx.edit().outcome.not_done.push((plan.stage, reason));
            continue;
        }
        let (verdict, must_stop) = run(&ctx, plan).await;
        if stopped.is_none() && (must_stop || (verdict != Verdict::Pass && plan.policy == Policy::Stop)) {
            stopped = Some(format!("stopped after {}: {verdict}", plan.stage));
        }
    }
    for stage in StageKind::ALL {
        if inputs.plan.stages.iter().all(|p| p.stage != stage) {
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
        StageKind::AsFound => Box::pin(unit::as_found(ctx)),
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

/// Runs one stage. Gives its verdict and whether the job must stop whatever the policy says.
async fn run(ctx: &Context, plan: &StagePlan) -> (Verdict, bool) {
    let stage = plan.stage;
    let began = ctx.now();
    {
        let mut s = ctx.edit();
        s.stage = stage;
        s.stage_ends = began + Duration::from_secs(u64::from(plan.deadline_s));
    }
    ctx.note(Entry::StageBegan { stage });
    let work = async {
        checklist::checklist(ctx, stage, false).await;
        body(ctx, stage).await?;
        checklist::checklist(ctx, stage, true).await;
        Ok(())
    };
    let end = match race(watch(ctx), work).await {
        Either::First(stop) => Err(stop),
        Either::Second(end) => end,
    };
    let must_stop = match &end {
        Ok(()) => false,
        Err(stop) => explain(ctx, stage, stop),
    };
    let complete = end.is_ok();
    let found = ctx.verdict_of(stage);
    let verdict = if complete { found } else { found.and(Verdict::Undecided) };
    let result =
        StageResult { stage, verdict, complete, began, ended: ctx.now(), because: end.err().map(|s| stop_words(&s)) };
    ctx.note(Entry::StageEnded(result.clone()));
    ctx.edit().outcome.stages.push(result);
    (verdict, must_stop)
}

/// Ends when the stage must end early.
async fn watch(ctx: &Context) -> Stop {
    let reason = wait_for(|| {
        let mut s = ctx.edit();
        if let Some(cause) = s.abort.take() {
            s.outcome.aborted = true;
            return Some(Stop::Aborted(cause));
        }
        if core::mem::take(&mut s.unsafe_to_go_on) && !s.stage.row().traits.winds_down {
            return Some(Stop::Found);
        }
        if core::mem::take(&mut s.started_anew) {
            return Some(Stop::StartedAnew);
        }
        // What rested on the settings is void already; giving the site back does not rest on them.
        let gives_back = matches!(s.stage, StageKind::Restore | StageKind::Close);
        if gives_back { None } else { s.other_settings.take().map(Stop::OtherSettings) }
    });
    match race(reason, ctx.stage_end()).await {
        Either::First(stop) => stop,
        Either::Second(()) => Stop::Deadline,
    }
}

fn stop_words(stop: &Stop) -> String {
    match stop {
        Stop::Aborted(_) => "the job was told to stop".into(),
        Stop::Deadline => "it took longer than the plan allows".into(),
        Stop::Trouble(trouble) => format!("{trouble}"),
        Stop::StartedAnew => "the unit started anew although nobody asked it to".into(),
        Stop::OtherSettings(why) => why.clone(),
        Stop::Found => "what was found makes going on pointless or unsafe".into(),
    }
}

/// Writes down why a stage ended early. True if the job can't go on.
fn explain(ctx: &Context, stage: StageKind, stop: &Stop) -> bool {
    let words = stop_words(stop);
    let undecided = |subject, next: &str| {
        let mut f = Finding::new(stage, subject, Verdict::Undecided, format!("{stage} was not finished: {words}"));
        f.next = Some(next.into());
        f
    };
    match stop {
        Stop::Found => true,
        Stop::Aborted(_) => {
            ctx.found(undecided(Subject::Job, "run the job again when the reason for stopping is gone"));
            true
        }
        Stop::Deadline => {
            let trouble = ctx.get().last_trouble.clone();
            let mut f = undecided(Subject::Job, "find out what held it up, then run the job again");
            if let Some(trouble) = trouble {
                f.subject = Subject::Link;
                f.says = format!("{stage} was not finished in time: {trouble}");
                f.next = Some(trouble.remedy().into());
                ctx.edit().outcome.trouble = Some(trouble);
            }
            ctx.found(f);
            false
        }
        Stop::Trouble(trouble) => {
            ctx.found(undecided(Subject::Link, trouble.remedy()));
            // What can't be had this way is open, and the plan says whether to go on; a lost or mad unit ends the job.
            let open = matches!(trouble, Trouble::CannotDo(_) | Trouble::NotTold(_) | Trouble::Refused { .. });
            if !open {
                ctx.edit().outcome.trouble = Some(trouble.clone());
            }
            !open
        }
        Stop::StartedAnew => {
            ctx.void(&StageKind::with(|t| t.bound_to_start), "the unit started anew");
            let mut f = undecided(
                Subject::Replacement,
                "find out why the unit restarted (supply, a person at its keys), then prove flow, baseline and smoke again",
            );
            f.likely = Some("its supply was interrupted, or somebody restarted it".into());
            ctx.found(f);
            true
        }
        Stop::OtherSettings(_) => {
            let mut f = undecided(
                Subject::Replacement,
                "find out who changed them, load the settings again, then prove flow, baseline and smoke again",
            );
            f.likely = Some("somebody changed them at the unit's keys or with another program".into());
            ctx.found(f);
            true
        }
    }
}

/// Of the holes of a pipe that are off, the one that is farthest off: one that is blocked makes the others draw more.
fn farthest_off<'a>(first: &'a Finding, all: impl Iterator<Item = &'a Finding>) -> &'a Finding {
    let Subject::Hole(inlet, _) = first.subject else { return first };
    let off = |f: &Finding| match (&f.measured, &f.expected) {
        (Some(m), Some(e)) if e.value > 0.0 => libm::fabs(m.value / e.value - 1.0),
        _ => 0.0,
    };
    let of_pipe = |f: &&Finding| f.stage == first.stage && matches!(f.subject, Subject::Hole(i, _) if i == inlet);
    all.filter(of_pipe).fold(first, |worst, f| if off(f) > off(worst) { f } else { worst })
}

/// Sums the job up.
fn conclude(ctx: &Context) {
    let outcome = {
        let mut s = ctx.edit();
        let still = close::still(&s);
        let out_of_service = s.isolated_at.map(|t| s.restored_at.unwrap_or(s.now).since(t).as_secs_f64());
        let o = &mut s.outcome;
        let missing: Vec<StageKind> =
            o.not_done.iter().map(|(stage, _)| *stage).filter(|stage| stage.is_needed()).collect();
        // Findings count as they stand at the end: a later stage may have made them void.
        let ran = o.stages.iter().filter(|r| r.stage.judges()).map(|r| r.verdict);
        let findings = o.findings.iter().filter(|f| f.stage.judges()).map(Finding::counts_as);
        let all = ran.chain(findings).chain(missing.iter().map(|_| Verdict::Undecided));
        let mut verdict = Verdict::over(all);
        if o.aborted || !still.is_empty() {
            verdict = verdict.and(Verdict::Undecided);
        }
        o.verdict = verdict;
        let hangs_on = |wanted: Verdict| {
            let such = || o.findings.iter().filter(|f| f.stage.judges() && f.counts_as() == wanted);
            such()
                .next()
                .map(|first| farthest_off(first, such()))
                .map(|f| format!("{}: {}", f.subject, f.void.as_deref().map_or(&*f.says, |v| v)))
        };
        let because = match verdict {
            Verdict::Pass => "everything that the plan asks for was shown".into(),
            Verdict::Fail => hangs_on(Verdict::Fail).unwrap_or_default(),
            Verdict::Undecided if !missing.is_empty() && hangs_on(Verdict::Undecided).is_none() => {
                format!("not done: {}", list(&missing))
            }
            Verdict::Undecided => hangs_on(Verdict::Undecided).unwrap_or_else(|| "the job was stopped".into()),
        };
        o.because = because;
        o.out_of_service_s = out_of_service;
        o.still = still;
        o.clone()
    };
    ctx.note(Entry::Ended { verdict: outcome.verdict, because: outcome.because.clone() });
    ctx.effect(Effect::Done(Box::new(outcome)));
}
