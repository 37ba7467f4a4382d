//! The unit's date and time: set, and looked at again after a restart.
use crate::{
    context::{Context, Stop},
    facts::clock as fact,
    judge::clock as judge,
    outcome::{Finding, StageKind, Subject},
};
use core::time::Duration;
use plumeline_base::time::seconds;
use plumeline_detector::{Abilities, Request, Trouble, UnitTime, ask, driver::Means};

/// Sets the unit's date and time; false where it keeps none.
pub(super) async fn set(ctx: &Context, stage: StageKind, abilities: &Abilities) -> Result<bool, Stop> {
    if !abilities.wall_clock {
        ctx.remark("the unit keeps no date and time that can be set this way");
        return Ok(false);
    }
    if ctx.means(&Request::TellTime) == Means::Person {
        // Set by a watch that is right, and read off at once.
        let time = ctx.unit(ask::SetTime { utc_ms: 0 }).await.map_err(Stop::Trouble)?;
        found(ctx, stage, time);
        return Ok(true);
    }
    loop {
        // A unit that is silent is waited for here: what is set must not be of a while ago.
        ctx.unit(ask::TellTime).await.map_err(Stop::Trouble)?;
        let asked = ctx.now();
        let Some(utc_ms) = ctx.utc_ms(asked) else {
            let doubt = ctx.get().record.date_doubt.clone();
            ctx.found(Finding::of(stage, Subject::Replacement, doubt.map_or_else(fact::no_date, fact::doubtful)));
            return Ok(false);
        };
        match ctx.unit_once(ask::SetTime { utc_ms }).await {
            Ok(_) if ctx.now().since(asked) <= seconds(ctx.inputs().plan.advanced.load.at_once_s) => return Ok(true),
            Ok(_) | Err(Trouble::Silent | Trouble::Garbled | Trouble::LinkDown(_)) => {}
            Err(trouble) => return Err(Stop::Trouble(trouble)),
        }
    }
}

/// The unit's date and time against the job's, and its local time against the plan's.
pub(super) async fn check(ctx: &Context, stage: StageKind) -> Result<(), Stop> {
    let time = ctx.unit(ask::TellTime).await.map_err(Stop::Trouble)?;
    found(ctx, stage, time);
    Ok(())
}

fn found(ctx: &Context, stage: StageKind, time: UnitTime) {
    let (inputs, ours) = (ctx.inputs(), ctx.utc_ms(ctx.now()));
    let paused = ctx.get().paused > Duration::ZERO;
    let doubt = ctx.get().record.date_doubt.clone();
    if let Some(why) = doubt {
        ctx.found(Finding::of(stage, Subject::Replacement, fact::doubtful(why)));
        return ctx.found(judge::zone(stage, time, inputs.plan.replacement.zone_min));
    }
    ctx.found(judge::time(stage, time.utc_ms, ours, paused, inputs.plan.limits.clock.clone()));
    ctx.found(judge::zone(stage, time, inputs.plan.replacement.zone_min));
}
