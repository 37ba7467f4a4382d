//! Smoke off, and the air back under the lowest alarm level: waited for before smoke is released, and after.
use super::by_eye;
use crate::{
    answers::said,
    context::Context,
    executor::{Either, race},
    prompt::Act,
    readings::{Item, Timed},
};
use alloc::{format, string::String};
use plumeline_base::{
    Instant,
    obscuration::{Extinction, ObscurationUnit},
    time::seconds,
};
use plumeline_detector::driver::Wants;
use plumeline_unit::Known;

/// The lowest alarm level, as the replacement was left.
pub(crate) fn lowest_level(ctx: &Context) -> Known<Extinction> {
    ctx.replacement(|unit| unit.threshold(1))
}

/// Waits until obscuration has stayed under the plan's part of the lowest level. `Err` is the reason why that can't be shown.
pub(crate) async fn quiet(ctx: &Context, says: &str) -> Result<Instant, String> {
    if ctx.is_asked() {
        return by_eye::clear(ctx, says).await;
    }
    let plan = ctx.inputs().plan.smoke.clone();
    let level = lowest_level(ctx).map_err(|why| format!("the lowest alarm level is not known: {why}"))?;
    let under = level.0 * plan.purge_below;
    let hold = seconds(plan.purge_hold_s);
    let mut since: Option<Instant> = None;
    let mut feed = ctx.feed();
    let began = ctx.now();
    loop {
        let within = seconds(ctx.inputs().plan.advanced.readings.unusable_s);
        match feed.next_before(ctx.within(within)).await {
            // A link that is down is waited for; a stream without anything that could be used is not.
            None if !ctx.get().stream.lost => return Err("no reading could be used".into()),
            None | Some(Item::Gap(_)) => since = None,
            Some(Item::Reading(t)) => {
                let Some(highest) = t.highest_extinction() else { return Err("the unit tells no obscuration".into()) };
                // A single noisy reading must not make the wait endless: what counts is the level over the hold.
                if highest.0 < under {
                    let from = *since.get_or_insert(t.at);
                    if t.at.since(from) >= hold {
                        return Ok(t.at);
                    }
                } else {
                    since = None;
                }
                if t.at.since(began).as_secs() % 5 == 0 {
                    let unit = ObscurationUnit::PercentPerMetre;
                    ctx.progress(
                        format!(
                            "{says}: {:.4} %/m, must stay under {:.4} %/m",
                            highest.stated(unit),
                            Extinction(under).stated(unit)
                        ),
                        None,
                        None,
                    );
                }
            }
        }
    }
}

/// Smoke off, if anybody may still hold it to a hole.
pub(crate) async fn stop_smoke(ctx: &Context) {
    if ctx.get().site.smoke_out {
        // Whether it was done shows in the readings; the purge waits for them. Where no smoke shows in them, or a person reads
        // the unit, somebody must say so.
        let stopped = match gone(ctx) {
            Some(gone) => {
                let asked = ctx.ask(Act::StopSmoke, "Stop the smoke.", Wants::Notice);
                match race(asked, gone).await {
                    Either::First((_, answer)) => said(&[], answer).is_ok(),
                    Either::Second(()) => true,
                }
            }
            None => ctx.ask_done(Act::StopSmoke, "Stop the smoke. Done?").await.is_ok(),
        };
        if stopped {
            ctx.edit().site.smoke_out = false;
        }
    }
}

/// Where smoke shows at the unit, in readings that come by themselves: until it shows no more.
fn gone(ctx: &Context) -> Option<impl Future<Output = ()>> {
    if ctx.is_asked() {
        return None;
    }
    let under = lowest_level(ctx).ok()?.0 * ctx.inputs().plan.smoke.purge_below;
    let shows = |t: &Timed| t.highest_extinction().is_some_and(|k| k.0 >= under);
    ctx.latest().filter(|t| shows(t))?;
    ctx.progress("stop the smoke", None, None);
    let mut feed = ctx.feed();
    Some(async move {
        while !matches!(feed.next().await, Item::Reading(t) if t.highest_extinction().is_some_and(|k| k.0 < under)) {}
    })
}
