//! Obscuration back under the lowest level, latches reset.
use super::{
    alarms, by_eye,
    clear_air::{quiet, stop_smoke},
};
use crate::{
    context::{Context, Stop},
    judge::{
        inhibit,
        purge::{self as judge, Reset},
    },
    outcome::StageKind,
    prompt::Act,
    readings::Timed,
};
use alloc::string::String;
use plumeline_base::time::seconds;
use plumeline_detector::{Trouble, ask, ask::Look, driver::Wants};

pub(crate) async fn purge(ctx: Context) -> Result<(), Stop> {
    if !ctx.get().site.smoke_used {
        ctx.found(judge::unused());
        return Ok(());
    }
    stop_smoke(&ctx).await;
    if ctx.get().stream.hz.is_none() {
        ctx.start_readings().await?;
    }
    let began = ctx.now();
    let clear = quiet(&ctx, "waiting for the smoke to clear").await;
    if clear.is_ok() {
        alarms::after_smoke(&ctx).await;
    }
    if ctx.abilities().is_some_and(|a| a.inhibit) {
        let text = "The unit's outputs were inhibited while smoke was at it. Did the panel, its memory included, show nothing of the \
                    unit meanwhile but a fault?";
        let nothing = ctx.ask(Act::NothingOperated, text, Wants::YesNo).await.1;
        ctx.found(inhibit::at_panel(&nothing));
    }
    ctx.found(judge::air(began, clear.as_ref().map(|at| *at).map_err(String::as_str)));
    reset_latches(&ctx).await
}

/// Smoke that an inlet's shutting held back in its pipe, or that others thinned until theirs were shut, raises a level once more after the
/// purge. That is no finding: the air is waited for, and latches are reset anew. A level over which no smoke was read stays for whoever
/// asked.
pub(crate) async fn smoke_left(ctx: &Context) {
    let stands = |t: &Timed| t.reading.levels_standing().is_some_and(|levels| levels > 0);
    if ctx.is_asked(Look::State) || !ctx.latest().is_some_and(|t| stands(&t)) {
        return;
    }
    let rose = {
        let s = ctx.get();
        let purged = s.outcome.stages.iter().rev().find(|r| r.stage == StageKind::Purge).map(|r| r.ended);
        s.record.smoke_at.zip(purged).is_some_and(|(smoke, purged)| smoke > purged)
    };
    if !rose {
        return;
    }
    ctx.remark("smoke that was left in the pipes raised an alarm level once more: it is cleared and reset again");
    if quiet(ctx, "waiting for the smoke that was left in the pipes to clear").await.is_ok()
        && ctx.unit_once(ask::ResetLatches).await.is_ok()
    {
        let within = seconds(ctx.inputs().plan.advanced.purge.latches_reset_s);
        ctx.until_reading(within, |t| t.reading.levels_standing() == Some(0)).await;
    }
}

async fn reset_latches(ctx: &Context) -> Result<(), Stop> {
    let within = seconds(ctx.inputs().plan.advanced.purge.latches_reset_s);
    let asked = ctx.is_asked(Look::State);
    let seen = match ctx.unit(ask::ResetLatches).await {
        Ok(_) if asked => match by_eye::state(ctx, false).await.and_then(|t| t.reading.levels_standing()) {
            Some(0) => Reset::NoLevel,
            Some(_) => Reset::Stands,
            None => Reset::NoReading,
        },
        Ok(_) if ctx.until_reading(within, |t| t.reading.levels_standing() == Some(0)).await.is_some() => {
            Reset::NoLevel
        }
        Ok(_) if ctx.latest().and_then(|t| t.reading.levels_standing()).is_none() => Reset::NoReading,
        Ok(_) => Reset::Stands,
        Err(Trouble::CannotDo(_)) => Reset::CannotDo,
        Err(trouble) => return Err(Stop::Trouble(trouble)),
    };
    ctx.found(judge::reset(seen));
    Ok(())
}
