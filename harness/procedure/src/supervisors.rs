//! What must go on beside the stages: who the unit is after a pause, the inhibit's renewal, the clock exchange, the stream of readings, the
//! out-of-service warning, what voids a baseline.
use crate::{
    context::Context,
    digest::settings_digest,
    executor::{Task, wait_for},
    judge,
    outcome::StageKind,
    readings::Item,
};
use alloc::{boxed::Box, format, string::ToString, vec, vec::Vec};
use core::time::Duration;
use plumeline_base::time::seconds;
use plumeline_detector::{Faults, Trouble, ask, settings::Settings};

/// What a unit did not answer is asked again after this.
const AGAIN: Duration = Duration::from_secs(2);
/// Clocks are compared this often at first ...
const CLOCKS_AT_FIRST: (u32, Duration) = (4, Duration::from_secs(2));
/// ... and then after this.
const CLOCKS: Duration = Duration::from_secs(30);
/// The share of the allowed time out of service after which it is warned of.
const WARNED: f64 = 0.8;

pub(crate) fn all(ctx: &Context) -> Vec<Task> {
    vec![
        Box::pin(identify_again(ctx.clone())),
        Box::pin(renew_inhibit(ctx.clone())),
        Box::pin(exchange_clocks(ctx.clone())),
        Box::pin(keep_stream(ctx.clone())),
        Box::pin(warn_out_of_service(ctx.clone())),
        Box::pin(watch_baseline(ctx.clone())),
        Box::pin(crate::watch::outputs(ctx.clone())),
        Box::pin(crate::watch::readings(ctx.clone())),
        Box::pin(crate::stages::alarms::watch_leaving(ctx.clone())),
    ]
}

/// Once a job is taken up again: asks the unit who it is and what it is set to, so that nothing goes on with another one.
async fn identify_again(ctx: Context) {
    loop {
        wait_for(|| {
            let s = ctx.get();
            ((s.unit.unidentified || s.unit.settings_unseen) && s.lines.used().link.up).then_some(())
        })
        .await;
        let identify = ctx.get().unit.unidentified;
        let trouble = if identify {
            ctx.unit_once(ask::Identify).await.err()
        } else {
            match ctx.unit_once(ask::ReadSettings).await {
                Err(trouble @ (Trouble::Silent | Trouble::Garbled | Trouble::LinkDown(_))) => Some(trouble),
                told => {
                    settings_seen(&ctx, told);
                    None
                }
            }
        };
        if let Some(trouble) = trouble {
            ctx.note_trouble(&trouble);
            ctx.sleep(AGAIN).await;
        }
    }
}

/// Evidence is bound to the settings that it was taken under, by their digest.
fn settings_seen(ctx: &Context, told: Result<Settings, Trouble>) {
    let left = ctx.get().unit.as_left.as_ref().map(settings_digest).unwrap_or_default();
    let why = judge::held::after_pause(ctx.get().unit.as_left.as_ref(), told);
    match &why {
        None => ctx.remark(format!("the unit's settings are still those that were read back, digest {left}")),
        Some(why) => ctx.void(&StageKind::with(|t| t.bound_to_settings), &why.to_string()),
    }
    let mut s = ctx.edit();
    s.unit.settings_unseen = false;
    s.unit.other_settings = why;
    s.changed = true;
}

/// Renews the inhibit three times within each lease, so that two lost renewals do not lapse it.
async fn renew_inhibit(ctx: Context) {
    let lease = u64::from(ctx.inputs().plan.link.inhibit_lease_s);
    loop {
        wait_for(|| {
            (ctx.get().inhibit.on && ctx.get().inhibit.renewing && ctx.get().lines.used().link.up).then_some(())
        })
        .await;
        ctx.sleep(Duration::from_millis(lease * 1000 / 3)).await;
        if !ctx.get().inhibit.on || !ctx.get().inhibit.renewing {
            continue;
        }
        match ctx.unit_once(ask::RenewInhibit).await {
            Ok(_) => {}
            Err(trouble @ (Trouble::Silent | Trouble::Garbled | Trouble::LinkDown(_))) => ctx.note_trouble(&trouble),
            // Given back in the meantime: there is nothing left to renew, and least of all to inhibit anew.
            Err(_) if !ctx.get().inhibit.on || !ctx.get().inhibit.renewing => {}
            Err(trouble) => {
                // The lease has lapsed or the unit does not know of it: never taken as still holding.
                ctx.edit().inhibit.on = false;
                // Whether anything operated meanwhile is asked before the zone is restored.
                ctx.remark(format!("the inhibit of the outputs no longer holds: {trouble}; it is asked for again"));
                ctx.edit().inhibit.lapses.push(trouble);
                let lease = Duration::from_secs(lease);
                if ctx.unit_once(ask::Inhibit { lease }).await.is_ok() {
                    ctx.edit().inhibit.on = true;
                }
            }
        }
    }
}

/// Compares clocks often at first and seldom then, while readings are wanted.
async fn exchange_clocks(ctx: Context) {
    let mut made = 0u32;
    loop {
        wait_for(|| {
            (ctx.get().stream.hz.is_some() && ctx.get().lines.used().link.up && !ctx.get().stream.lost).then_some(())
        })
        .await;
        if ctx.abilities().is_none_or(|a| !a.clock) {
            ctx.sleep(CLOCKS).await;
            continue;
        }
        if ctx.get().clock.tie.is_none() {
            made = 0;
        }
        if ctx.unit_once(ask::Clock).await.is_ok() {
            made = made.saturating_add(1);
        }
        let (times, soon) = CLOCKS_AT_FIRST;
        ctx.sleep(if made < times { soon } else { CLOCKS }).await;
    }
}

/// Brings readings back after a gap: identifies the unit first, so that a changed unit is never taken for the old one.
async fn keep_stream(ctx: Context) {
    loop {
        wait_for(|| {
            (ctx.get().stream.hz.is_some() && ctx.get().stream.lost && ctx.get().lines.used().link.up).then_some(())
        })
        .await;
        let hz = ctx.get().stream.hz;
        let identified = ctx.unit_once(ask::Identify).await;
        let streaming = match (identified, hz) {
            (Ok(_), Some(hz)) => ctx.unit_once(ask::StartReadings { hz }).await,
            (Ok(_), None) => Ok(()),
            (Err(trouble), _) => Err(trouble),
        };
        match streaming {
            Ok(_) => ctx.edit().stream.lost = false,
            Err(trouble) => ctx.note_trouble(&trouble),
        }
        ctx.sleep(AGAIN).await;
    }
}

/// Once a baseline is taken: an opened cover, a flow fault that no test asked for, or a unit that gives its baseline up
/// make it void.
async fn watch_baseline(ctx: Context) {
    let signs = [
        (Faults::COVER, "the unit's cover was opened after it was taken"),
        (Faults::NO_BASELINE, "the unit gave it up"),
        (Faults::FILTER, "the unit reports its filter since it was taken"),
        (Faults::FLOW, "a flow fault stood without an inlet shut for the test: a pipe was moved, or the air changed"),
    ];
    wait_for(|| ctx.get().unit.baseline.is_some().then_some(())).await;
    let mut feed = ctx.feed();
    // What stood before the baseline counts only once it has gone and come back.
    let mut clear = Faults::default();
    loop {
        let Item::Reading(t) = feed.next().await else { continue };
        let Some(faults) = t.reading.faults else { continue };
        let expected = ctx.get().unit.flow_fault_expected;
        for (fault, because) in signs {
            if !faults.has(fault) {
                clear = Faults(clear.0 | fault.0);
            } else if clear.has(fault) && !(fault == Faults::FLOW && expected) {
                ctx.void(&[StageKind::Baseline], because);
            }
        }
    }
}

/// Warns once when the time out of service nears its limit, and once when it is over.
async fn warn_out_of_service(ctx: Context) {
    let since = wait_for(|| ctx.get().site.isolated_at).await;
    let limit = ctx.inputs().plan.limits.out_of_service.clone();
    let at = |share: f64| since + seconds(limit.value * share);
    ctx.sleep_until(at(WARNED)).await;
    if ctx.get().site.restored_at.is_none() {
        ctx.remark(format!(
            "out of service for {:.0} % of the {:.0} s that {} allows",
            WARNED * 100.0,
            limit.value,
            limit.source
        ));
    }
    ctx.sleep_until(at(1.0)).await;
    if ctx.get().site.restored_at.is_none() {
        ctx.remark(format!(
            "out of service for longer than {:.0} s ({}): other measures are called for; ask who is responsible for the site",
            limit.value, limit.source
        ));
    }
}
