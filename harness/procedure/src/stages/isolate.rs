//! The zone is isolated at the panel, release circuits are locked off, people are told. Without all three nothing else is
//! done.
use crate::{
    context::{Context, Stop},
    effect::Entry,
    judge::isolate::{Safeguard, answered},
    prompt::Act,
};
use plumeline_base::Instant;

pub(crate) async fn isolate(ctx: Context) -> Result<(), Stop> {
    let steps = [
        (
            Act::Isolate,
            Safeguard::Zone,
            "Isolate this zone at the panel. Testing may operate outputs that release agent, stop plant or call the fire \
             service; the unit's own inhibit is never the only isolation. Is the zone isolated?",
        ),
        (
            Act::LockOff,
            Safeguard::Lock,
            "Lock off every release circuit physically, by a licensed person where the local code asks for one. Are all locked \
             off, or is there none?",
        ),
        (
            Act::Tell,
            Safeguard::People,
            "Tell whoever must be told (the responsible person, the monitoring station, people in the area). Done?",
        ),
    ];
    for (act, safeguard, text) in steps {
        let done = ctx.ask_done(act, text).await;
        if let Ok(at) = done {
            match safeguard {
                Safeguard::Zone => out_of_service(&ctx, at),
                Safeguard::Lock => ctx.edit().site.locked_off = true,
                Safeguard::People => {}
            }
        }
        ctx.found(answered(safeguard, done.as_ref().map(|_| ()).map_err(|why| why.as_str())));
        if done.is_err() {
            return Err(Stop::Found);
        }
    }
    Ok(())
}

/// From here the clock runs until the zone is back in service.
fn out_of_service(ctx: &Context, at: Instant) {
    {
        let mut s = ctx.edit();
        (s.site.isolated_at, s.site.zone_isolated) = (Some(at), true);
    }
    ctx.note(Entry::OutOfService { limit_s: ctx.inputs().plan.limits.out_of_service.value });
}
