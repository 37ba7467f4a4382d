//! The airflow baseline: refused while any flow is unproven, read back, held against what was measured; and the last look,
//! which holds the flows against it once more.
use super::flow::{L_MIN, MeanFlow, average, record, to_actual};
use crate::{
    context::{Context, Stop},
    job::{JobInputs, Pipe},
    judge::judge,
    outcome::{Figure, Finding, StageKind, Subject},
    prompt::{Act, name_and_reason},
};
use alloc::{format, string::String, vec::Vec};
use plumeline_base::{
    Verdict,
    quantity::{Estimate, M3_S_PER_L_MIN},
    time::seconds,
};
use plumeline_detector::{Request, Told, Trouble, driver::Wants};
use plumeline_measure::{
    Error,
    decide::{Because, Limits},
};

/// The baseline is taken, read back and held against what was just measured. Refused while any flow is unproven.
pub(crate) async fn baseline(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::Baseline;
    let inputs = ctx.inputs();
    let proven = ctx.verdict_of(StageKind::ProveFlow);
    let mut unproven: Option<String> = None;
    if proven != Verdict::Pass {
        let Some(words) = override_given(&ctx, proven).await else {
            let mut f = Finding::new(
                stage,
                Subject::Replacement,
                Verdict::Undecided,
                format!("no baseline taken: the airflow is not proven ({proven})"),
            );
            f.next = Some("put right what prove-flow found, then run the job again".into());
            ctx.found(f);
            return Err(Stop::Found);
        };
        unproven = Some(words);
    }
    let pipes = inputs.pipes();
    let before =
        average(&ctx, &pipes, seconds(inputs.plan.flow.average_s), "averaging the flows before the baseline").await;
    let taken = match ctx.unit(Request::TakeBaseline).await {
        Ok(Told::Baseline(baseline)) => baseline,
        Ok(_) => {
            return Err(Stop::Trouble(Trouble::Nonsense("the unit answered something else than a baseline".into())));
        }
        Err(trouble) => return Err(Stop::Trouble(trouble)),
    };
    let read = match ctx.unit(Request::ReadBaseline).await {
        Ok(Told::Baseline(baseline)) => baseline,
        Ok(_) => {
            return Err(Stop::Trouble(Trouble::Nonsense("the unit answered something else than a baseline".into())));
        }
        Err(trouble) => return Err(Stop::Trouble(trouble)),
    };
    if read != taken {
        ctx.found(Finding::new(
            stage,
            Subject::Replacement,
            Verdict::Fail,
            "the baseline read back is not the one that was taken",
        ));
    }
    if ctx.get().identity.as_ref().and_then(|i| i.boot_id).is_some_and(|id| id != read.boot_id) {
        let says = "the baseline read back was taken before the unit's last start";
        ctx.found(Finding::new(stage, Subject::Replacement, Verdict::Fail, says));
    }
    ctx.edit().baseline = Some(read.clone());
    let scale = ctx.abilities().map_or(1.0, |a| to_actual(a.flow_basis, &inputs.pipework.air));
    for (pipe, before) in pipes.iter().zip(before) {
        let told = usize::from(pipe.inlet).checked_sub(1).and_then(|i| *read.flow_m3_s.get(i)?).map(|q| q * scale);
        ctx.found(baseline_of(&ctx, &inputs, pipe, told, before));
    }
    if let Some(words) = unproven {
        let mut f = Finding::new(
            stage,
            Subject::Replacement,
            Verdict::Undecided,
            format!("the baseline was taken over unproven airflow, by decision of: {words}"),
        );
        f.next = Some("prove the airflow and take the baseline again".into());
        ctx.found(f);
    }
    Ok(())
}

/// Asks who takes the baseline over unproven airflow, and why. Both, or it is not taken.
async fn override_given(ctx: &Context, proven: Verdict) -> Option<String> {
    let mut text = format!(
        "The airflow is not proven ({proven}). A baseline taken now hides what is wrong for years. To take it all the same, answer with \
         your name and the reason, as in \"A. Name: reason\"; otherwise answer no."
    );
    for _ in 0..3 {
        let plumeline_base::input::Answer::Text(words) = ctx.ask(Act::Override, text, Wants::Text).await.1 else {
            return None;
        };
        if name_and_reason(&words).is_some() {
            return Some(words);
        }
        text = "Name and reason are both needed, as in \"A. Name: reason\". Answer no to take no baseline.".into();
    }
    None
}

/// The same sensor read before and at the baseline: the calibration is common and drops out, only scatter counts.
fn baseline_of(
    ctx: &Context,
    inputs: &JobInputs,
    pipe: &Pipe,
    told: Option<f64>,
    before: Result<MeanFlow, Error>,
) -> Finding {
    let mut f = Finding::new(StageKind::Baseline, Subject::Pipe(pipe.inlet), Verdict::Undecided, "");
    f.limit = Some(inputs.plan.flow.material.clone());
    match (told, before) {
        (None, _) => {
            f.verdict = Verdict::Fail;
            f.says = "the unit holds no baseline for this inlet".into();
        }
        (_, Err(error)) => f.says = format!("the baseline can't be compared: {error}"),
        (Some(q), Ok(mean)) => {
            record(ctx, inputs, pipe, |p| p.baseline = Some(q * L_MIN));
            f.measured = Some(Figure::plain(q * L_MIN, "L/min"));
            f.expected = Some(mean.figure());
            f.window = Some(mean.window);
            // The unit's own average has scatter of its own, taken to be as large.
            let difference = Estimate::new(q - mean.estimate.value, 0.0, mean.u_scatter * core::f64::consts::SQRT_2);
            let material = inputs.plan.flow.material.value * mean.estimate.value;
            f.says = match judge(ctx, &mut f, &difference, mean.dof, &Limits::between(-material, material), None, L_MIN)
            {
                Some(Because::Within) => "the baseline is what was measured".into(),
                Some(Because::Outside) => "the baseline is not what was measured just before".into(),
                _ => "not shown that the baseline is what was measured".into(),
            };
        }
    }
    f
}

/// Nothing left taped or plugged, and flow once more against the baseline.
pub(crate) async fn last_look(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::LastLook;
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    if ctx.get().stream.is_none() {
        ctx.start_readings().await?;
    }
    let baselines: Vec<Option<f64>> = {
        let s = ctx.get();
        pipes.iter().map(|p| s.outcome.pipes.iter().find(|r| r.inlet == p.inlet)?.baseline).collect()
    };
    left_alone(&ctx).await;
    still_held(&ctx).await;
    // Air that has just been disturbed (a refitted inlet, closed holes) is given one settling window.
    ctx.sleep(seconds(inputs.plan.settle.window_s)).await;
    let means = average(&ctx, &pipes, seconds(inputs.plan.flow.average_s), "the last look at the flows").await;
    for ((pipe, mean), baseline) in pipes.iter().zip(means).zip(baselines) {
        let mut f = Finding::new(stage, Subject::Pipe(pipe.inlet), Verdict::Undecided, "");
        f.limit = Some(inputs.plan.flow.material.clone());
        match (mean, baseline) {
            (Err(error), _) => f.says = format!("flow was not measured: {error}"),
            (_, None) => f.says = "there is no baseline to hold it against".into(),
            (Ok(mean), Some(baseline)) => {
                f.measured = Some(mean.figure());
                f.expected = Some(Figure::plain(baseline, "L/min"));
                f.window = Some(mean.window);
                let base = baseline * M3_S_PER_L_MIN;
                let difference =
                    Estimate::new(mean.estimate.value - base, 0.0, mean.u_scatter * core::f64::consts::SQRT_2);
                let material = inputs.plan.flow.material.value * base;
                let because =
                    judge(&ctx, &mut f, &difference, mean.dof, &Limits::between(-material, material), None, L_MIN);
                f.says = match because {
                    Some(Because::Within) => "flow is as at the baseline".into(),
                    Some(Because::Outside) => "flow is no longer as at the baseline".into(),
                    _ => "not shown that flow is as at the baseline".into(),
                };
                if f.verdict != Verdict::Pass {
                    f.likely = Some("a hole left taped, an inlet not put back, or the cover open".into());
                    f.next = Some("count off tapes and plugs, look at inlets and cover, then look again".into());
                }
            }
        }
        ctx.found(f);
    }
    Ok(())
}

/// What no reading shows: pipes, cover, filter and fan left alone since the baseline was taken.
async fn left_alone(ctx: &Context) {
    let text = "Since the baseline was taken: was every pipe left in its inlet (but for the supervision test), the cover closed, and \
                filter and fan setting untouched?";
    let mut f = Finding::new(StageKind::LastLook, Subject::Replacement, Verdict::Undecided, "");
    match ctx.ask(Act::LeftAlone, text, Wants::YesNo).await.1 {
        plumeline_base::input::Answer::Yes => {
            f.verdict = Verdict::Pass;
            f.says =
                "pipes, cover, filter and fan setting were left alone since the baseline, says the technician".into();
        }
        plumeline_base::input::Answer::No => {
            f.says = "pipes, cover, filter or fan setting were touched since the baseline".into();
            f.next = Some("prove flow and take the baseline again".into());
            ctx.void(&[StageKind::Baseline], &f.says);
        }
        _ => f.says = "not told whether pipes, cover, filter and fan setting were left alone since the baseline".into(),
    }
    ctx.found(f);
}

/// The unit still holds the baseline that was taken, and the settings that were read back.
async fn still_held(ctx: &Context) {
    let stage = StageKind::LastLook;
    let (taken, as_left) = {
        let s = ctx.get();
        (s.baseline.clone(), s.as_left.clone())
    };
    let undecided = |says: String| Finding::new(stage, Subject::Replacement, Verdict::Undecided, says);
    if let Some(taken) = taken {
        let f = match ctx.unit(Request::ReadBaseline).await {
            Ok(Told::Baseline(now)) if now == taken => {
                let says = "the unit still holds the baseline that was taken";
                Finding::new(stage, Subject::Replacement, Verdict::Pass, says)
            }
            Ok(_) => {
                let mut f = undecided("the unit no longer holds the baseline that was taken".into());
                f.next = Some("find out who took another one, then prove flow and take the baseline again".into());
                f
            }
            Err(trouble) => undecided(format!("not shown that the unit still holds its baseline: {trouble}")),
        };
        if f.verdict != Verdict::Pass {
            ctx.void(&[StageKind::Baseline], &f.says);
        }
        ctx.found(f);
    }
    if let Some(as_left) = as_left {
        let f = match ctx.unit(Request::ReadSettings).await {
            Ok(Told::Settings(now)) => match as_left.differences(&now).first() {
                None => Finding::new(stage, Subject::Replacement, Verdict::Pass, "the settings are still as loaded"),
                Some(d) => {
                    ctx.void(&[StageKind::Baseline], &format!("the settings were changed after it was taken: {d}"));
                    let mut f = undecided(format!("the settings were changed since they were loaded: {d}"));
                    f.subject = Subject::Setting(d.key().into());
                    f.likely = Some("somebody changed them at the unit's keys".into());
                    f.next = Some("load the settings, prove flow and take the baseline again".into());
                    f
                }
            },
            Ok(_) => undecided("not shown that the settings are still as loaded: no settings came".into()),
            Err(trouble) => undecided(format!("not shown that the settings are still as loaded: {trouble}")),
        };
        ctx.found(f);
    }
}
