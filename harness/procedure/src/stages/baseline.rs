//! The airflow baseline: refused while any flow is unproven, taken, read back; and the last look once everything is put back.
//!
//! Not here: what the flows are compared with ([`crate::judge::baseline`]).
use super::{
    by_meter,
    flow::{average, record},
};
use crate::{
    context::{Context, Stop},
    facts::{baseline as fact, fixed, missed},
    job::Pipe,
    judge::baseline as judge,
    mean_flow::{L_MIN, to_actual},
    outcome::{StageKind, Statement, Subject},
    plan::Untold,
    prompt::{Act, name_and_reason},
};
use alloc::{format, string::String, vec::Vec};
use plumeline_base::{Verdict, input::Answer, time::seconds};
use plumeline_detector::{
    Baseline, Request, Trouble, ask,
    driver::{Means, Wants},
    vocabulary::FlowBasis,
};

/// The baseline is taken, read back and compared with what was just measured. Refused while any flow is unproven.
pub(crate) async fn baseline(ctx: Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    if inputs.plan.keeps_baseline() {
        return kept(&ctx).await;
    }
    let proven = ctx.verdict_of(StageKind::ProveFlow);
    let mut unproven: Option<String> = None;
    if proven != Verdict::Pass {
        let Some(words) = override_given(&ctx, proven).await else {
            ctx.found(judge::of_unit(fact::refused(proven)));
            return Err(Stop::Found);
        };
        unproven = Some(words);
    }
    let pipes = inputs.pipes();
    if ctx.meter().is_some() {
        by_meter::baseline(&ctx).await?;
        how_far_off(&ctx, &pipes);
        unproven.into_iter().for_each(|words| ctx.found(judge::of_unit(fact::over_unproven(words))));
        return Ok(());
    }
    let before =
        average(&ctx, &pipes, seconds(inputs.plan.flow.average_s), "averaging the flows before the baseline").await;
    let taken = ctx.unit(ask::TakeBaseline).await.map_err(Stop::Trouble)?;
    if ctx.abilities().is_some_and(|a| a.flow_basis == FlowBasis::Share) {
        return now_whole(&ctx, &pipes, taken, unproven).await;
    }
    let read = match ctx.unit(ask::ReadBaseline).await {
        Ok(read) => read,
        // It was taken, says the technician, and the unit shows to nobody what it holds.
        Err(trouble @ Trouble::CannotDo(_)) if ctx.means(&Request::TakeBaseline) != Means::Protocol => {
            ctx.edit().unit.baseline = Some(taken);
            ctx.found(judge::of_unit(by_meter::not_shown(&inputs, trouble)));
            return Ok(());
        }
        Err(trouble) => return Err(Stop::Trouble(trouble)),
    };
    let boot_id = ctx.get().unit.identity.as_ref().and_then(|i| i.boot_id);
    for finding in judge::read_back(&taken, &read, boot_id, ctx.means(&Request::TakeBaseline) != Means::Protocol) {
        ctx.found(finding);
    }
    ctx.edit().unit.baseline = Some(read.clone());
    let basis = ctx.abilities().map_or(FlowBasis::Actual, |a| a.flow_basis);
    for (pipe, before) in pipes.iter().zip(before) {
        let scale = to_actual(basis, &inputs.pipework.air, None);
        let told = usize::from(pipe.inlet).checked_sub(1).and_then(|i| *read.flow_m3_s.get(i)?).map(|q| q * scale);
        if let (Some(q), Ok(_)) = (told, &before) {
            record(&ctx, &inputs, pipe, |p| p.baseline = Some(q * L_MIN));
        }
        ctx.found(judge::taken(&inputs, pipe.inlet, told, &before, band(&ctx)));
    }
    how_far_off(&ctx, &pipes);
    if let Some(words) = unproven {
        ctx.found(judge::of_unit(fact::over_unproven(words)));
    }
    Ok(())
}

/// A service visit: the baseline that the unit holds stays, and the flows of today are held against it.
async fn kept(ctx: &Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    if ctx.meter().is_some() {
        let now = by_meter::together(ctx, "flow of all pipes beside the baseline that the unit keeps").await;
        ctx.edit().record.together = now.ok();
        ctx.found(judge::of_unit(fact::kept_not_shown(
            "flows are read off a meter, and what the unit tells of them is not",
        )));
        return Ok(());
    }
    let span = seconds(inputs.plan.flow.average_s);
    let now = average(ctx, &pipes, span, "averaging the flows against the baseline that the unit keeps").await;
    let read = match ctx.unit(ask::ReadBaseline).await {
        Ok(read) => read,
        // Not known is not none.
        Err(trouble) => {
            ctx.found(judge::of_unit(fact::kept_not_shown(trouble)));
            return Ok(());
        }
    };
    let basis = ctx.abilities().map_or(FlowBasis::Actual, |a| a.flow_basis);
    for (pipe, now) in pipes.iter().zip(now) {
        let scale = to_actual(basis, &inputs.pipework.air, None);
        let told = judge::flow_held(&read, pipe.inlet, now.as_ref().ok(), scale);
        if let Some(q) = told {
            record(ctx, &inputs, pipe, |p| p.baseline = Some(q * L_MIN));
        }
        if let Ok(mean) = &now {
            ctx.edit().unit.at_visit.insert(pipe.inlet, mean.estimate.value * L_MIN);
        }
        ctx.found(judge::kept(&inputs, pipe.inlet, told, &now, band(ctx)));
    }
    ctx.edit().unit.baseline = Some(read);
    Ok(())
}

/// How far off a baseline may be, as the report states it.
fn how_far_off(ctx: &Context, pipes: &[Pipe]) {
    let off = fixed(ctx.inputs().plan.flow.baseline_off.value * band(ctx) * 100.0, 1);
    let stated = |pipe: &Pipe| Statement::of(Subject::Pipe(pipe.inlet), missed::baseline_off(pipe.inlet, &off));
    ctx.edit().outcome.could_have_missed.extend(pipes.iter().map(stated));
}

/// A unit that tells its flows as shares of its baseline has taken it when each flow reads as the whole of it.
async fn now_whole(ctx: &Context, pipes: &[Pipe], taken: Baseline, unproven: Option<String>) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    // What the unit shows of it is for the record: not every model shows it.
    let read = ctx.unit(ask::ReadBaseline).await.unwrap_or(taken);
    let span = seconds(inputs.plan.flow.average_s);
    let now = average(ctx, pipes, span, "reading the flows as shares of the baseline that was taken").await;
    for (pipe, now) in pipes.iter().zip(now) {
        let told = usize::from(pipe.inlet).checked_sub(1).and_then(|i| *read.flow_m3_s.get(i)?);
        if let Some(q) = told {
            record(ctx, &inputs, pipe, |p| p.baseline = Some(q * L_MIN));
        }
        let whole = now.as_ref().ok().and_then(|mean| mean.share_of);
        ctx.found(judge::taken(&inputs, pipe.inlet, whole, &now, band(ctx)));
    }
    ctx.edit().unit.baseline = Some(read);
    how_far_off(ctx, pipes);
    if let Some(words) = unproven {
        ctx.found(judge::of_unit(fact::over_unproven(words)));
    }
    Ok(())
}

/// The narrower side of the band in which the unit supervises its flows, as a share; the plan's where the unit tells none.
fn band(ctx: &Context) -> f64 {
    let told = ctx.replacement(|unit| unit.flow_band()).map(|band| band.low.min(band.high));
    told.unwrap_or(ctx.inputs().plan.limits.flow_band.value)
}

/// How often name and reason are asked for.
const ASKED: u32 = 3;

/// Asks who takes the baseline over unproven airflow, and why. Both, or it is not taken.
async fn override_given(ctx: &Context, proven: Verdict) -> Option<String> {
    let mut text = format!(
        "The airflow is not proven ({proven}). A baseline taken now hides what is wrong for years. To take it all the same, answer with \
         your name and the reason, as in \"A. Name: reason\"; otherwise answer no."
    );
    for _ in 0..ASKED {
        let Answer::Text(words) = ctx.ask(Act::Override, text, Wants::Text).await.1 else {
            return None;
        };
        if name_and_reason(&words).is_some() {
            return Some(words);
        }
        text = "Name and reason are both needed, as in \"A. Name: reason\". Answer no to take no baseline.".into();
    }
    None
}

/// Nothing left taped or plugged, and flow once more against the baseline.
pub(crate) async fn last_look(ctx: Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    if ctx.get().stream.hz.is_none() {
        ctx.start_readings().await?;
    }
    let baselines: Vec<Option<f64>> = {
        let s = ctx.get();
        let of = |p: &Pipe| s.outcome.pipes.iter().find(|r| r.inlet == p.inlet)?.baseline;
        // A baseline of years ago may be off by more than a last look: then today's flow before it is what counts.
        pipes.iter().map(|p| s.unit.at_visit.get(&p.inlet).copied().or_else(|| of(p))).collect()
    };
    left_alone(&ctx).await;
    still_held(&ctx).await;
    // Air that has just been disturbed (a refitted inlet, closed holes) is given one settling window.
    ctx.sleep(seconds(inputs.plan.settle.window_s)).await;
    if ctx.meter().is_some() {
        super::inlets::unused(&ctx, StageKind::LastLook, core::iter::empty()).await;
        by_meter::last_look(&ctx, band(&ctx)).await;
        return Ok(());
    }
    let means = average(&ctx, &pipes, seconds(inputs.plan.flow.average_s), "the last look at the flows").await;
    super::inlets::unused(&ctx, StageKind::LastLook, means.iter().flatten()).await;
    let taken = ctx.get().unit.baseline.is_some();
    for ((pipe, mean), baseline) in pipes.iter().zip(means).zip(baselines) {
        // A share is told of the baseline itself.
        let whole = mean.as_ref().ok().and_then(|mean| mean.share_of).filter(|_| taken);
        let baseline = whole.map(|q| q * L_MIN).or(baseline);
        ctx.found(judge::last_look(&inputs, pipe.inlet, &mean, baseline, band(&ctx)));
    }
    Ok(())
}

/// What no reading shows: pipes, cover, filter and fan left alone since the baseline was taken.
async fn left_alone(ctx: &Context) {
    let since = if ctx.inputs().plan.keeps_baseline() {
        "the flows were held against the baseline"
    } else {
        "the baseline was taken"
    };
    let text = format!(
        "Since {since}: was every pipe left in its inlet (but for the supervision test), the cover closed, and filter and fan setting \
         untouched?"
    );
    let answer = ctx.ask(Act::LeftAlone, text, Wants::YesNo).await.1;
    let f = judge::left_alone(&answer);
    if answer.is_no() {
        ctx.void(&[StageKind::Baseline], &f.says);
    }
    ctx.found(f);
}

/// The unit still holds the baseline that was taken, and the settings that were read back.
async fn still_held(ctx: &Context) {
    let (taken, as_left) = {
        let s = ctx.get();
        (s.unit.baseline.clone(), s.unit.as_left.clone())
    };
    if let Some(taken) = taken {
        let now = ctx.unit(ask::ReadBaseline).await;
        let allowed = ctx.inputs().plan.not_shown.contains(&Untold::Baseline);
        let f = judge::still_held(&taken, &now, allowed);
        if f.verdict != Verdict::Pass {
            ctx.void(&[StageKind::Baseline], &f.says);
        }
        ctx.found(f);
    }
    if let Some(as_left) = as_left {
        let now = ctx.unit(ask::ReadSettings).await;
        let f = judge::settings_held(&as_left, &now);
        if let Some(d) = now.ok().and_then(|now| as_left.differences(&now).into_iter().next()) {
            ctx.void(&[StageKind::Baseline], &format!("the settings were changed after it was taken: {d}"));
        }
        ctx.found(f);
    }
}
