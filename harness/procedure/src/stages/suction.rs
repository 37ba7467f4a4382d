//! The suction at holes, read off a manometer whose tube is held tight over each: a second source for the level of the flow, and the
//! only one before the smoke where the unit tells flows as shares.
//!
//! Not here: what a suction shows ([`crate::judge::suction`]).
use super::by_meter;
use crate::{
    context::Context,
    facts::{Fact, holes::left_closed, suction as fact},
    instrument::{Measurand, Read},
    job::hole_words,
    judge::suction::{self as judge, Expected},
    metered::Asking,
    plan::HoleRef,
    prompt::{Act, Metered},
};
use alloc::{format, string::String};
use plumeline_base::time::seconds;

/// At each hole that the plan names. It is the suction of the pipe there, and no proof that the hole draws: a tube sees it through
/// a hole that is half blocked, too.
pub(super) async fn measured(ctx: &Context) {
    let inputs = ctx.inputs();
    for hole in &inputs.as_walked(&inputs.plan.suction_at) {
        let Some((opening, of)) = inputs.opening(*hole) else { continue };
        let words = hole_words(*hole, of.kind);
        // What is predicted of a pipe whose flow is read alone is predicted of that state.
        if by_meter::of_several(ctx)
            && let Err(why) = by_meter::only(ctx, hole.inlet).await
        {
            ctx.found(judge::of_hole(*hole, fact::not_measured(words, why)));
            continue;
        }
        let Some(expected) = judge::expected(&inputs, opening) else {
            ctx.found(judge::of_hole(*hole, fact::not_predicted(words)));
            continue;
        };
        match at(ctx, *hole, &words, &expected).await {
            Ok(read) => ctx.found(judge::judge(&inputs, *hole, &words, &expected, &read)),
            Err(fact) => ctx.found(judge::of_hole(*hole, fact)),
        }
    }
}

async fn at(ctx: &Context, hole: HoleRef, words: &str, expected: &Expected) -> Result<Read, Fact> {
    let inputs = ctx.inputs();
    let Some(manometer) = inputs.plan.instrument(Measurand::Pressure, Some(expected.closed_pa.value)) else {
        return Err(fact::no_manometer(words));
    };
    let hold = format!(
        "Hold the tube of {} tight over {}, so that it closes it, and keep it there. Done?",
        manometer.label(),
        inputs.place_words(hole, words)
    );
    if let Err(why) = ctx.ask_done(Act::CloseHole(hole), hold).await {
        return Err(fact::not_measured(words, why));
    }
    ctx.sleep(seconds(inputs.plan.holes.wait_s)).await;
    let asking = Asking {
        quantity: Metered::Suction(hole),
        what: format!("the suction at {words}, once it stands"),
        about: Some(expected.closed_pa.value),
    };
    let read = ctx.read_off(asking).await;
    let off = format!("Take the tube off {words} again. Done?");
    let opened: Result<_, String> = ctx.ask_done(Act::OpenHole(hole), off).await;
    ctx.sleep(seconds(inputs.plan.holes.wait_s)).await;
    match (opened, read) {
        (Err(why), _) => Err(left_closed(words, why)),
        (_, Err(why)) => Err(fact::not_measured(words, why)),
        (Ok(_), Ok(read)) => Ok(read),
    }
}
