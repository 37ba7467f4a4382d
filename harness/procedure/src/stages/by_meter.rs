//! All flows off one meter at the unit's exhaust: of each pipe alone, the inlets of the others shut, and of all together.
//!
//! What is expected of a pipe alone is predicted of that state (`JobInputs::prediction` then is). Not here: how a reading is asked
//! for (the driver), and what a flow is held against (the judges).
use super::{alone::AGAIN, flow::MeanFlow};
use crate::{
    context::{Context, Stop},
    facts::{Fact, meter as fact, missed},
    job::{JobInputs, Pipe},
    judge::{baseline as judge, meter::changed},
    mean_flow::L_MIN,
    outcome::{Finding, StageKind, Statement, Subject},
    plan::Untold,
    prompt::Act,
    readings::TOGETHER,
};
use alloc::{collections::BTreeSet, format, string::String, vec::Vec};
use core::time::Duration;
use libm::{fabs, hypot};
use plumeline_base::time::seconds;
use plumeline_detector::{Request, Trouble, ask, driver::Means};
use plumeline_measure::{Error, few};

/// The meter shows several pipes together, and one of them alone only while the others are shut.
pub(super) fn of_several(ctx: &Context) -> bool {
    ctx.meter().is_some() && ctx.inputs().pipes().len() > 1
}

/// Has every pipe's inlet shut but this one's; `None`: all are open. What is open already is not asked for. `Err`: why it is not so.
async fn open(ctx: &Context, wanted: Option<u8>) -> Result<(), String> {
    let inlets: Vec<u8> = ctx.inputs().pipes().iter().map(|p| p.inlet).collect();
    let shut: BTreeSet<u8> = inlets.into_iter().filter(|n| wanted.is_some_and(|own| own != *n)).collect();
    let now = ctx.get().site.shut.clone();
    if shut == now {
        return Ok(());
    }
    // A unit that supervises its flow rightly tells that these draw nothing, and that the other draws more.
    let expected = core::mem::replace(&mut ctx.edit().unit.flow_fault_expected, true);
    let came = moved(ctx, &now, &shut, wanted).await;
    ctx.edit().unit.flow_fault_expected = expected || !ctx.get().site.shut.is_empty();
    let inputs = ctx.inputs();
    ctx.sleep(seconds(inputs.plan.advanced.readings.answers_s + inputs.plan.holes.wait_s)).await;
    came
}

async fn moved(ctx: &Context, now: &BTreeSet<u8>, shut: &BTreeSet<u8>, own: Option<u8>) -> Result<(), String> {
    for &inlet in now.difference(shut) {
        let text = format!("Put inlet {inlet} back exactly as it was: pipe pushed home and sealed. Done?");
        if let Err(why) = ctx.ask_done(Act::RefitInlet { inlet }, text).await {
            ctx.found(Finding::of(ctx.stage(), Subject::Pipe(inlet), fact::left_shut(&why)));
            return Err(format!("inlet {inlet} was not put back: {why}"));
        }
        ctx.edit().site.shut.remove(&inlet);
    }
    for &inlet in shut.difference(now) {
        let alone = own.map_or_else(String::new, |own| format!(" The meter is to show pipe {own} alone."));
        let text = format!(
            "Shut inlet {inlet} tightly at the unit, or pull its pipe and cover the inlet, so that no air enters there.{alone} Answer when it is shut."
        );
        // Whatever becomes of the question: it is asked whether it is open again.
        ctx.edit().site.shut.insert(inlet);
        if let Err(why) = ctx.ask_done(Act::ShutInlet { inlet }, text).await {
            ctx.edit().site.shut.remove(&inlet);
            return Err(format!("inlet {inlet} was not shut: {why}"));
        }
    }
    Ok(())
}

/// Every inlet is open again; what keeps one from being so is found.
pub(super) async fn all_open(ctx: &Context) {
    if !ctx.get().site.shut.is_empty() {
        // What was not put back is found where it was asked for.
        let _ = open(ctx, None).await;
        let shut = !ctx.get().site.shut.is_empty();
        ctx.edit().unit.flow_fault_expected &= shut;
    }
}

/// Only this pipe draws. `Err`: why not.
pub(super) async fn only(ctx: &Context, inlet: u8) -> Result<(), String> {
    open(ctx, Some(inlet)).await
}

/// The flow of each of these pipes, alone.
pub(super) async fn average(ctx: &Context, pipes: &[Pipe], span: Duration, says: &str) -> Vec<Result<MeanFlow, Error>> {
    let mut means = Vec::new();
    for pipe in pipes {
        means.push(match only(ctx, pipe.inlet).await {
            Ok(()) => read(ctx, pipe.inlet, span, says).await,
            Err(why) => {
                ctx.found(Finding::of(ctx.stage(), Subject::Pipe(pipe.inlet), fact::not_alone(pipe.inlet, why)));
                Err(Error::TooFew { have: 0, need: 1 })
            }
        });
    }
    means
}

/// The flow of all pipes together. Something hangs on each such number alone: it is read until two agree, so that no slip of a finger
/// fails a site.
pub(super) async fn together(ctx: &Context, says: &str) -> Result<MeanFlow, Error> {
    all_open(ctx).await;
    let inputs = ctx.inputs();
    let noise = inputs.plan.advanced.holes.noise;
    let agree = |a: &MeanFlow, b: &MeanFlow| {
        fabs(a.estimate.value - b.estimate.value) <= noise * hypot(a.u_scatter, b.u_scatter)
    };
    let mut before: Vec<MeanFlow> = Vec::new();
    for _ in 0..=AGAIN {
        let now = read(ctx, TOGETHER, seconds(inputs.plan.flow.average_s), says).await?;
        if before.iter().any(|then| agree(then, &now)) {
            return Ok(now);
        }
        before.push(now);
    }
    Err(Error::TooFew { have: 1, need: 2 })
}

async fn read(ctx: &Context, of: u8, span: Duration, says: &str) -> Result<MeanFlow, Error> {
    let Some(meter) = ctx.meter() else { return Err(Error::TooFew { have: 0, need: 1 }) };
    ctx.progress(says, None, None);
    ctx.used(&meter);
    let samples = ctx.typed_flows(&[of], span).await.unwrap_or_else(|trouble| {
        ctx.remark(format!("the meter was not read: {trouble}"));
        Vec::new()
    });
    let terms = few::Terms {
        // What its certificate leaves open is common to all readings, and added behind them.
        calibration_relative: 0.0,
        ..ctx.typed_terms(meter.scale.step.unwrap_or(0.0) * meter.si)
    };
    let scatter = ctx.get().record.typed.get(&of).copied().unwrap_or_default();
    let mean = few::mean_of(samples.first().map_or(&[], Vec::as_slice), &scatter, &terms)?;
    Ok(MeanFlow::by_meter(&mean, &meter, terms.coverage))
}

/// Once every pipe was read alone: all inlets are open again, and what the meter shows of all together is what it was before.
pub(super) async fn back(ctx: &Context, before: Option<Result<MeanFlow, Error>>) {
    all_open(ctx).await;
    let Some(before) = before else { return };
    let of = |fact: Fact| Finding::of(StageKind::ProveFlow, Subject::Job, fact);
    let after = together(ctx, "flow of all pipes with every inlet open again").await;
    let inputs = ctx.inputs();
    let finding = match (&before, &after, ctx.meter()) {
        (Ok(before), Ok(after), Some(meter)) => changed(&inputs, &meter, before, after),
        (Err(error), ..) | (_, Err(error), _) => of(fact::not_compared(error)),
        (.., None) => of(fact::not_compared("the plan names no meter at the exhaust")),
    };
    ctx.found(finding);
}

/// The baseline over flows that were read off a meter: the unit takes it by what its own sensors tell, which nobody sees.
pub(super) async fn baseline(ctx: &Context) -> Result<(), Stop> {
    let now = together(ctx, "flow of all pipes before the baseline").await;
    let taken = ctx.unit(ask::TakeBaseline).await.map_err(Stop::Trouble)?;
    let read = match ctx.unit(ask::ReadBaseline).await {
        Ok(read) => Ok(read),
        Err(trouble @ Trouble::CannotDo(_)) => Err(trouble),
        // A unit that did not answer has not said that it can't show it.
        Err(trouble) => return Err(Stop::Trouble(trouble)),
    };
    let why = match &read {
        Ok(read) => {
            let boot_id = ctx.get().unit.identity.as_ref().and_then(|i| i.boot_id);
            let by_hand = ctx.means(&Request::TakeBaseline) != Means::Protocol;
            judge::read_back(&taken, read, boot_id, by_hand).into_iter().for_each(|f| ctx.found(f));
            String::from("its flows are read off a meter, and what it shows of them is its own")
        }
        Err(trouble) => format!("{trouble}"),
    };
    let finding = match &now {
        Err(error) => judge::of_unit(crate::facts::baseline::not_measured(error)),
        Ok(_) => judge::of_unit(not_shown(&ctx.inputs(), why)),
    };
    {
        let mut s = ctx.edit();
        s.record.together = now.ok();
        s.unit.baseline = Some(read.unwrap_or(taken));
    }
    ctx.found(finding);
    Ok(())
}

/// What the unit holds as its baseline is not shown: the plan may go without it by name.
pub(super) fn not_shown(inputs: &JobInputs, why: impl core::fmt::Display) -> Fact {
    use crate::facts::baseline as fact;
    match inputs.plan.not_shown.contains(&Untold::Baseline) {
        true => fact::not_shown_allowed(why),
        false => fact::not_shown(why),
    }
}

/// The last look: what the meter shows of all pipes together, against what it showed at the baseline. Whatever changed is held
/// against each pipe as if it were all its own.
pub(super) async fn last_look(ctx: &Context, band: f64) {
    let inputs = ctx.inputs();
    let pipes = inputs.pipes();
    let now = together(ctx, "the last look at the flow of all pipes").await;
    let (at_baseline, meter) = (ctx.get().record.together, ctx.meter());
    for pipe in &pipes {
        let (mean, baseline) = match (&now, at_baseline, &meter) {
            (Ok(now), Some(then), Some(meter)) => {
                let part = then.estimate.value * part(&inputs, pipe);
                let off = meter.common().difference(now.read(), then.read());
                let u_scatter = now.u_scatter.max(then.u_scatter);
                let mut estimate = now.estimate;
                estimate.value = part + off.value;
                let expanded = now.expanded;
                (Ok(MeanFlow { estimate, expanded, u_scatter, ..*now }), Some(part * L_MIN))
            }
            (Err(error), ..) => (Err(*error), None),
            (now, ..) => (*now, None),
        };
        ctx.found(judge::last_look(&inputs, pipe.inlet, &mean, baseline, band));
    }
    if pipes.len() > 1 {
        ctx.edit().outcome.could_have_missed.push(Statement::of(Subject::Replacement, missed::together()));
    }
}

/// The part of a pipe in the flow of all together, by the prediction; 0 where nothing is predicted, so that nothing is steady or as before by it.
fn part(inputs: &JobInputs, pipe: &Pipe) -> f64 {
    let of = |pipe: &Pipe| -> f64 {
        pipe.openings.iter().filter_map(|o| inputs.predicted(*o)).map(|p| p.share_of_unit).sum()
    };
    let all: f64 = inputs.pipes().iter().map(of).sum();
    if all > 0.0 { of(pipe) / all } else { 0.0 }
}

/// The least part that a pipe has in the flow of all: what moves it alone moves that by so much less.
pub(super) fn least_part(inputs: &JobInputs) -> f64 {
    inputs.pipes().iter().map(|pipe| part(inputs, pipe)).fold(1.0, f64::min)
}
