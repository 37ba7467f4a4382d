//! What keeps people and the site safe: isolate before anything else, purge, give back, close.
use super::load;
use crate::{
    context::{Context, Shared, Stop},
    effect::Entry,
    executor::race,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
    prompt::Act,
};
use alloc::{format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{
    Instant, Verdict,
    obscuration::{Extinction, ObscurationUnit},
    time::seconds,
};
use plumeline_detector::{Faults, Request, Trouble, driver::Wants, settings::Value};

/// The zone is isolated at the panel, release circuits are locked off, people are told. Without all three nothing else is done.
pub(crate) async fn isolate(ctx: Context) -> Result<(), Stop> {
    let steps = [
        (
            Act::Isolate,
            "Isolate this zone at the panel. Testing may operate outputs that release agent, stop plant or call the fire \
             service; the unit's own inhibit is never the only isolation. Is the zone isolated?",
            "the zone is isolated at the panel",
        ),
        (
            Act::LockOff,
            "Lock off every release circuit physically, by a licensed person where the local code asks for one. Are all locked \
             off, or is there none?",
            "release circuits are locked off, or there is none",
        ),
        (
            Act::Tell,
            "Tell whoever must be told (the responsible person, the monitoring station, people in the area). Done?",
            "those who must be told have been told",
        ),
    ];
    for (act, text, done) in steps {
        match ctx.ask_done(act.clone(), text).await {
            Ok(at) => {
                match act {
                    Act::Isolate => out_of_service(&ctx, at),
                    Act::LockOff => ctx.edit().locked_off = true,
                    _ => {}
                }
                ctx.found(Finding::new(StageKind::Isolate, Subject::Zone, Verdict::Pass, done));
            }
            Err(why) => {
                let mut f = Finding::new(
                    StageKind::Isolate,
                    Subject::Zone,
                    Verdict::Undecided,
                    format!("not shown that {done}: {why}"),
                );
                f.next = Some("do not start before this is done; then run the job again".into());
                ctx.found(f);
                return Err(Stop::Found);
            }
        }
    }
    Ok(())
}

/// From here the clock runs until the zone is back in service.
fn out_of_service(ctx: &Context, at: Instant) {
    {
        let mut s = ctx.edit();
        (s.isolated_at, s.zone_isolated) = (Some(at), true);
    }
    ctx.note(Entry::OutOfService { limit_s: ctx.inputs().plan.limits.out_of_service.value });
}

/// What is still isolated, locked off or inhibited.
pub(super) fn still(s: &Shared) -> Vec<String> {
    let all = [
        (s.zone_isolated, "the zone is isolated at the panel"),
        (s.locked_off, "the release circuits are locked off"),
        (s.inhibited, "the unit's own outputs are inhibited, until the lease lapses and raises its fault"),
    ];
    all.into_iter().filter(|(on, _)| *on).map(|(_, what)| what.into()).collect()
}

/// The lowest alarm level in the settings as left, as an extinction.
pub(crate) fn lowest_level(ctx: &Context) -> Option<Extinction> {
    let s = ctx.get();
    let item = s.as_left.as_ref()?.get("alarm.1.threshold")?;
    let value = match item.value {
        Value::Int(n) => n as f64,
        Value::Number(x) => x,
        _ => return None,
    };
    Extinction::from_stated(value, ObscurationUnit::parse(item.unit.as_deref()?)?)
}

/// Waits until obscuration has stayed under the plan's part of the lowest level. `Err` is the reason why that can't be shown.
pub(crate) async fn quiet(ctx: &Context, says: &str) -> Result<Instant, &'static str> {
    let plan = ctx.inputs().plan.smoke.clone();
    let level = lowest_level(ctx).ok_or("the lowest alarm level is not known from the settings read back")?;
    let under = level.0 * plan.purge_below;
    let hold = seconds(plan.purge_hold_s);
    let mut since: Option<Instant> = None;
    let mut feed = ctx.feed();
    let began = ctx.now();
    loop {
        match feed.next().await {
            crate::readings::Item::Gap(_) => since = None,
            crate::readings::Item::Reading(t) => {
                let Some(highest) = t.highest_extinction() else { return Err("the unit tells no obscuration") };
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
    if ctx.get().smoke_out {
        // Whether it was done shows in the readings; the purge waits for them.
        if ctx.ask_done(Act::StopSmoke, "Stop the smoke. Done?").await.is_ok() {
            ctx.edit().smoke_out = false;
        }
    }
}

/// Obscuration back under the lowest level, latches reset.
pub(crate) async fn purge(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::Purge;
    if !ctx.get().smoke_used {
        let says = "no smoke was released in this job: there is nothing to purge";
        ctx.found(Finding::new(stage, Subject::Replacement, Verdict::Pass, says));
        return Ok(());
    }
    stop_smoke(&ctx).await;
    if ctx.get().stream.is_none() {
        ctx.start_readings().await?;
    }
    let began = ctx.now();
    match quiet(&ctx, "waiting for the smoke to clear").await {
        Ok(at) => {
            let took = at.since(began).as_secs_f64();
            let mut f =
                Finding::new(stage, Subject::Replacement, Verdict::Pass, "obscuration is back under the lowest level");
            f.measured = Some(Figure::plain(took, "s"));
            f.window = Some((began, at));
            ctx.found(f);
        }
        Err(why) => {
            ctx.found(Finding::new(
                stage,
                Subject::Replacement,
                Verdict::Undecided,
                format!("not shown that the smoke has cleared: {why}"),
            ));
        }
    }
    reset_latches(&ctx).await
}

async fn reset_latches(ctx: &Context) -> Result<(), Stop> {
    let stage = StageKind::Purge;
    match ctx.unit(Request::ResetLatches).await {
        Ok(_) => {}
        Err(Trouble::CannotDo(_)) => {
            ctx.found(Finding::new(
                stage,
                Subject::Replacement,
                Verdict::Undecided,
                "latched alarms can't be reset this way",
            ));
            return Ok(());
        }
        Err(trouble) => return Err(Stop::Trouble(trouble)),
    }
    let clear = ctx.until_reading(Duration::from_secs(30), |t| t.reading.latched == 0 && t.reading.levels == 0).await;
    let (verdict, says) = match clear {
        Some(_) => (Verdict::Pass, "no alarm level is active or latched"),
        None if ctx.latest().is_none() => {
            (Verdict::Undecided, "no fresh reading shows whether an alarm level is active or latched")
        }
        None => (Verdict::Fail, "an alarm level is still active or latched after the reset"),
    };
    let mut f = Finding::new(stage, Subject::Replacement, verdict, says);
    if verdict == Verdict::Fail {
        f.next = Some("wait for the air to clear, reset again, and look for another source of smoke or dust".into());
    }
    ctx.found(f);
    Ok(())
}

/// An inhibit that lapsed and was regained: what the outputs did meanwhile only the panel can tell.
async fn lapses(ctx: &Context) {
    let lapses = ctx.get().lapses.clone();
    let (Some(why), n) = (lapses.first(), lapses.len()) else { return };
    let text = format!(
        "The inhibit of the unit's outputs did not hold all the time ({n} times; first: {why}). Did the panel stay isolated, and does it \
         show that nothing was operated meanwhile?"
    );
    let yes = ctx.ask(Act::NothingOperated, text, Wants::YesNo).await.1 == plumeline_base::input::Answer::Yes;
    let what = format!("the inhibit of the unit's outputs did not hold all the time ({n} times; first: {why})");
    let mut f = Finding::new(
        StageKind::Restore,
        Subject::Replacement,
        if yes { Verdict::Pass } else { Verdict::Undecided },
        if yes { format!("{what}; nothing was operated meanwhile, says the technician") } else { what },
    );
    if !yes {
        f.likely = Some("the link was down, or the program ended, for longer than the lease".into());
        f.next = Some("look at the panel and at what the outputs operate: nobody knows what they did meanwhile".into());
    }
    ctx.found(f);
}

/// Outputs given back only over clear air, then the zone restored and the release circuit unlocked.
pub(crate) async fn restore(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::Restore;
    load::unchanged(&ctx, stage).await;
    lapses(&ctx).await;
    let inhibited = ctx.get().inhibited;
    if inhibited {
        look_at_the_air(&ctx).await;
        let (levels, faults) = match ctx.latest() {
            Some(t) => (t.reading.levels | t.reading.latched, Some(t.reading.faults)),
            None => (0, ctx.faults()),
        };
        let fresh = faults.is_some();
        if !fresh || levels != 0 {
            let why = if fresh {
                "an alarm level is active or latched"
            } else {
                "no fresh reading shows that the air is clear"
            };
            let mut f =
                Finding::new(stage, Subject::Replacement, Verdict::Undecided, format!("outputs stay inhibited: {why}"));
            f.next = Some("clear the air, reset the latched alarms, then give the outputs back by hand; the inhibit lapses by itself with a fault".into());
            ctx.found(f);
        } else {
            // A renewal that is under way may now be refused: no sign that the inhibit lapsed.
            ctx.edit().renewing = false;
            let released = ctx.unit(Request::ReleaseInhibit).await;
            ctx.edit().renewing = true;
            match released {
                Ok(_) => {
                    ctx.edit().inhibited = false;
                    ctx.found(Finding::new(
                        stage,
                        Subject::Replacement,
                        Verdict::Pass,
                        "the unit's outputs are given back",
                    ));
                }
                Err(trouble) => {
                    let mut f = Finding::new(
                        stage,
                        Subject::Replacement,
                        Verdict::Undecided,
                        format!("outputs not given back: {trouble}"),
                    );
                    f.next = Some(trouble.remedy().into());
                    ctx.found(f);
                }
            }
        }
        if let Some(faults) = faults {
            standing_faults(&ctx, faults);
        }
    } else if ctx.get().outcome.replacement.is_some() && ctx.abilities().is_some_and(|a| a.inhibit) {
        // A lease that lapsed and was not regained: nobody saw the outputs given back over clear air.
        let says = "the unit's outputs were not inhibited any more: not shown that they were given back over clear air";
        let mut f = Finding::new(stage, Subject::Replacement, Verdict::Undecided, says);
        f.next = Some("look at the unit and the panel: clear air, no latched alarm, no fault, outputs at rest".into());
        ctx.found(f);
    }
    if !ctx.get().zone_isolated {
        ctx.found(Finding::new(
            stage,
            Subject::Zone,
            Verdict::Undecided,
            "the zone was never isolated in this job: nothing to restore",
        ));
        return Ok(());
    }
    let whole = ctx.get().outcome.findings.iter().all(|f| !f.stage.judges() || f.counts_as() == Verdict::Pass);
    let text = if whole {
        "Restore the zone at the panel. Is it restored and healthy?"
    } else {
        "Not everything was proven. Whoever is responsible for the site decides whether the zone is restored in this state. Is it \
         restored?"
    };
    let restored = ctx.ask(Act::Restore, text, Wants::YesNo).await;
    let unlocked = ctx
        .ask(Act::Unlock, "Unlock the release circuits, by a licensed person where the local code asks for one. Done, or is there none?", Wants::YesNo)
        .await;
    let yes = |a: &plumeline_base::input::Answer| *a == plumeline_base::input::Answer::Yes;
    {
        let mut s = ctx.edit();
        s.zone_isolated &= !yes(&restored.1);
        s.locked_off &= !yes(&unlocked.1);
    }
    if yes(&restored.1) && yes(&unlocked.1) {
        ctx.edit().restored_at = Some(unlocked.0);
        let since = ctx.get().isolated_at;
        ctx.note(Entry::BackInService { after_s: since.map_or(0.0, |t| unlocked.0.since(t).as_secs_f64()) });
    }
    for (answer, good, bad) in [
        (&restored.1, "the zone is restored at the panel", "the zone is still isolated at the panel"),
        (&unlocked.1, "release circuits are unlocked, or there is none", "release circuits are still locked off"),
    ] {
        let (verdict, says) = if yes(answer) { (Verdict::Pass, good) } else { (Verdict::Undecided, bad) };
        let mut f = Finding::new(stage, Subject::Zone, verdict, says);
        if verdict != Verdict::Pass {
            f.next = Some("hand this over in writing to whoever is responsible for the site before leaving".into());
        }
        ctx.found(f);
    }
    Ok(())
}

/// A job that was told to stop before it wanted readings has none: they are started, so that the outputs can be given back
/// over air that is shown to be clear. A unit that can't be reached holds nobody up.
async fn look_at_the_air(ctx: &Context) {
    if ctx.get().stream.is_some() || !ctx.get().link.up {
        return;
    }
    let look = async {
        if ctx.start_readings().await.is_ok() {
            ctx.until_reading(Duration::from_secs(5), |_| true).await;
        }
    };
    race(look, ctx.sleep(Duration::from_secs(10))).await;
}

fn standing_faults(ctx: &Context, faults: Faults) {
    let named = [
        (Faults::FLOW, "airflow"),
        (Faults::FAN, "fan"),
        (Faults::SENSOR, "sensor"),
        (Faults::SUPPLY, "supply"),
        (Faults::BATTERY, "battery"),
        (Faults::SETTINGS, "settings"),
        (Faults::INHIBIT_LAPSED, "inhibit lapsed"),
        (Faults::NO_BASELINE, "no airflow baseline"),
        (Faults::COVER, "cover open"),
        (Faults::FILTER, "filter due"),
        (Faults::OTHER, "other"),
    ];
    let standing = crate::context::list(named.iter().filter(|(f, _)| faults.has(*f)).map(|(_, n)| *n));
    if standing.is_empty() {
        ctx.found(Finding::new(StageKind::Restore, Subject::Replacement, Verdict::Pass, "the unit reports no fault"));
    } else {
        // Without a baseline of this job the fault is its consequence, not a new finding against the unit.
        let expected = faults == Faults::NO_BASELINE && ctx.verdict_of(StageKind::Baseline) != Verdict::Pass;
        let mut f = Finding::new(
            StageKind::Restore,
            Subject::Replacement,
            if expected { Verdict::Undecided } else { Verdict::Fail },
            format!("the unit still reports a fault: {standing}"),
        );
        f.next = Some("clear the fault before the zone is relied upon".into());
        ctx.found(f);
    }
}

/// Stops what still runs and sums up the time out of service. What is still isolated or inhibited makes it incomplete.
pub(crate) async fn close(ctx: Context) -> Result<(), Stop> {
    ctx.stop_readings().await;
    let still = still(&ctx.get());
    if !still.is_empty() {
        let mut f = Finding::new(
            StageKind::Close,
            Subject::Zone,
            Verdict::Undecided,
            format!("closed incomplete: {}", still.join("; ")),
        );
        f.next = Some("put it back, then hand over in writing what was done after this record".into());
        ctx.found(f);
    }
    let limit = ctx.inputs().plan.limits.out_of_service.clone();
    let (since, until) = {
        let s = ctx.get();
        (s.isolated_at, s.restored_at)
    };
    let took = since.and_then(|a| Some(until?.since(a).as_secs_f64()));
    let (verdict, says) = match (since, took) {
        (None, _) => (Verdict::Undecided, "the zone was never taken out of service in this job".into()),
        (_, None) => (Verdict::Undecided, "the zone is not shown to be back in service".into()),
        (_, Some(took)) if took <= limit.value => (Verdict::Pass, "out of service for no longer than the limit".into()),
        (_, Some(took)) => other_measures(&ctx, took, &limit).await,
    };
    let mut f = Finding::new(StageKind::Close, Subject::Zone, verdict, says);
    f.measured = took.map(|t| Figure::plain(t, "s"));
    f.limit = Some(limit);
    ctx.found(f);
    Ok(())
}

/// Out of service for too long is no defect of the installation: what the code then calls for was somebody's to do, and is
/// asked for.
async fn other_measures(ctx: &Context, took: f64, limit: &Limit) -> (Verdict, String) {
    let hours = |s: f64| s / 3600.0;
    let text = format!(
        "The zone was out of service for {:.1} h, over the {:.1} h of {}. Was what is called for then (a fire watch, or the area cleared of people) in place?",
        hours(took),
        hours(limit.value),
        limit.source
    );
    match ctx.ask_done(Act::OtherMeasures, text).await {
        Ok(_) => {
            (Verdict::Pass, "out of service for longer than the limit; what is then called for was in place".into())
        }
        Err(why) => (
            Verdict::Undecided,
            format!(
                "out of service for longer than the limit, and what is then called for is not shown to have been in place: {why}"
            ),
        ),
    }
}
