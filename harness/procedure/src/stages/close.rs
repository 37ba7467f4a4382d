//! Stops what still runs and sums up the time out of service. What is still isolated or inhibited makes it incomplete.
use super::anchor;
use crate::{
    context::{Context, JobState, Stop},
    judge::close::{self as judge, Out},
    plan::Limit,
    prompt::Act,
};
use alloc::{format, string::String, vec::Vec};

/// What is still isolated, locked off or inhibited.
pub(super) fn still(s: &JobState) -> Vec<String> {
    let all = [
        (s.site.zone_isolated, "the zone is isolated at the panel"),
        (s.site.locked_off, "the release circuits are locked off"),
        (!s.site.shut.is_empty(), "an inlet of a pipe is shut"),
        (s.inhibit.on, "the unit's own outputs are inhibited, until the lease lapses and raises its fault"),
    ];
    all.into_iter().filter(|(on, _)| *on).map(|(_, what)| what.into()).collect()
}

pub(crate) async fn close(ctx: Context) -> Result<(), Stop> {
    ctx.stop_readings().await;
    anchor::closed(&ctx).await;
    let still = still(&ctx.get());
    judge::still(&still).into_iter().for_each(|f| ctx.found(f));
    let limit = ctx.inputs().plan.limits.out_of_service.clone();
    let (since, until) = {
        let s = ctx.get();
        (s.site.isolated_at, s.site.restored_at)
    };
    let mut covered = Ok(());
    let took = since.and_then(|a| Some(until?.since(a).as_secs_f64()));
    if let Some(took) = took.filter(|took| *took > limit.value) {
        covered = other_measures(&ctx, took, &limit).await;
    }
    let doubt = ctx.get().record.date_doubt.clone();
    let out = match (since, took) {
        (Some(_), Some(took)) if took <= limit.value && doubt.is_some() => {
            Out::Unknown(doubt.as_deref().unwrap_or_default())
        }
        (None, _) => Out::Never,
        (_, None) => Out::NotBack,
        (_, Some(took)) if took <= limit.value => Out::InTime(took),
        (_, Some(took)) => Out::TooLong(took, covered.as_ref().copied().map_err(String::as_str)),
    };
    ctx.found(judge::out_of_service(out, limit));
    Ok(())
}

/// What the code calls for after so long was somebody's to do, and is asked for.
async fn other_measures(ctx: &Context, took: f64, limit: &Limit) -> Result<(), String> {
    let hours = |s: f64| s / 3600.0;
    let text = format!(
        "The zone was out of service for {:.1} h, over the {:.1} h of {}. Was what is called for then (a fire watch, or the area cleared of people) in place?",
        hours(took),
        hours(limit.value),
        limit.source
    );
    ctx.ask_done(Act::OtherMeasures, text).await.map(|_| ())
}
