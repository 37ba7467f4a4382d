//! The replacement on the bench: who it is, its settings loaded and kept over a restart, while the site is still in service.
//!
//! Nothing is wired to it there, so nothing is inhibited. What was shown here is shown again on the wall; what fails here
//! ends the job before anything is isolated.
use super::{load, unit};
use crate::{
    context::{Context, Stop},
    effect::Entry,
    facts::unit as fact,
    judge::unit as judge,
    outcome::StageKind,
    prompt::Act,
};
use plumeline_base::{Verdict, input::LineId};

pub(crate) async fn bench(ctx: Context) -> Result<(), Stop> {
    // Where this is done again, another unit may have answered before.
    unit::forget(&ctx);
    let text = "Put the replacement on the bench, not on the wall: supply on, the cable to it, nothing wired to its outputs and \
                inputs. The site stays in service with the outgoing unit. Done?";
    if let Err(why) = ctx.ask_done(Act::Bench, text).await {
        ctx.found(judge::replacement(StageKind::Bench, fact::not_tried(why)));
        return Ok(());
    }
    ctx.turn_to(LineId::Main);
    let end = on_the_bench(&ctx).await;
    if end == Err(Stop::Found) || ctx.verdict_of(StageKind::Bench) == Verdict::Fail {
        return Err(Stop::Found);
    }
    let text = if ctx.get().lines.are_two() {
        "Take the replacement's power off. Done?"
    } else {
        "Take the replacement's power off and connect the cable to the outgoing unit. Done?"
    };
    if let Err(why) = ctx.ask_done(Act::BenchDone, text).await {
        ctx.found(judge::replacement(StageKind::Bench, fact::cable_not_moved(why)));
    }
    unit::forget(&ctx);
    ctx.turn_to(LineId::Outgoing);
    end
}

async fn on_the_bench(ctx: &Context) -> Result<(), Stop> {
    let stage = StageKind::Bench;
    let (identity, abilities) = unit::wait_for_start(ctx, None).await?;
    ctx.note(Entry::Unit { role: "replacement on the bench".into(), identity: identity.clone() });
    let f = unit::is_expected(ctx, stage, &identity, &abilities)?;
    ctx.found(f);
    ctx.edit().unit.bench = Some((identity, None));
    let held = load::load_settings(ctx, stage, false).await?;
    if let Some((_, of_bench)) = &mut ctx.edit().unit.bench {
        *of_bench = held;
    }
    Ok(())
}
