//! Every reading is looked at. While the unit's outputs are inhibited, an output that is operated all the same can release
//! agent or stop plant; and readings that can't be relied upon as such show nothing, whatever they say. Then the job stops at
//! once and winds down.
//!
//! Not here: the renewal of the lease ([`crate::supervisors`]), and what an output does when it is driven for test.
use crate::{
    context::Context,
    executor::wait_for,
    facts::readings as fact,
    judge::{
        inhibit::{self, Followed, Held},
        readings::{Stamps, lacks, of_unit},
        still::Moves,
    },
    readings::Item,
};
use alloc::{string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::time::seconds;
use plumeline_detector::{ask::Look, bit};

/// That no reading comes is looked at this often.
const LOOKED: Duration = Duration::from_secs(1);

/// Going on is not safe, or shows nothing: the stage ends.
fn stop(ctx: &Context) {
    let mut s = ctx.edit();
    s.running.unsafe_to_go_on = true;
    s.changed = true;
}

/// Watches whether the replacement's readings can be relied upon as such, for as long as the job runs.
pub(crate) async fn readings(ctx: Context) {
    let inputs = ctx.inputs();
    let rules = &inputs.plan.advanced.readings;
    // Flows that are read off a meter are not asked of the stream.
    let metered = inputs.plan.exhaust_meter().is_some();
    let inlets: Vec<u8> = inputs.pipes().iter().map(|p| p.inlet).filter(|_| !metered).collect();
    let mut told = Vec::new();
    loop {
        let hz = wait_for(|| wanted(&ctx)).await;
        let mut feed = ctx.feed();
        let (mut stamps, mut moves) = (Stamps::default(), Moves::default());
        // Since when nothing could be used.
        let mut useless = ctx.within(seconds(rules.unusable_s));
        let mut lacking: Option<String> = None;
        let smoke = !ctx.is_asked(Look::Smoke);
        while wanted(&ctx) == Some(hz) {
            let item = feed.next_before(ctx.within(LOOKED)).await;
            let mut found = None;
            match &item {
                Some(Item::Reading(t)) if metered && t.reading.flow_all_m3_s.is_some() => continue,
                Some(Item::Reading(t)) => {
                    found = stamps.take(&t.reading, hz, rules).or_else(|| moves.take(t.at, &t.reading, rules));
                    lacking = lacks(&t.reading, &inlets, smoke).map(Into::into);
                }
                Some(Item::Gap(_)) => (stamps, moves) = (Stamps::default(), Moves::default()),
                None => {}
            }
            if matches!(&item, Some(Item::Reading(_)) if lacking.is_none()) {
                useless = ctx.within(seconds(rules.unusable_s));
            } else if ctx.left(useless).is_zero() {
                let unfit = ctx.get().stream.unfit.clone();
                let what = lacking.take().or(unfit).unwrap_or_else(|| "none came".into());
                found = Some(fact::unusable(rules.unusable_s, what));
            } else if ctx.get().clock.jumps >= rules.clock_jumps {
                found = Some(fact::clock_drifts());
            }
            // Each is said once.
            let Some(fact) = found.filter(|fact| !told.contains(&fact.code)) else { continue };
            told.push(fact.code.clone());
            let stops = fact.code != "readings.lost-untold";
            ctx.found(of_unit(ctx.stage(), fact));
            if stops {
                stop(&ctx);
            }
        }
    }
}

/// The rate of the replacement's readings, while they should be coming.
fn wanted(ctx: &Context) -> Option<u8> {
    let s = ctx.get();
    let of_replacement = s.outcome.replacement.is_some() && !s.unit.start_expected;
    s.stream.hz.filter(|_| of_replacement && !s.stream.lost && s.lines.used().link.up)
}

/// Watches the outputs for as long as the job runs.
pub(crate) async fn outputs(ctx: Context) {
    let rules = &ctx.inputs().plan.advanced.inhibit.clone();
    let mut feed = ctx.feed();
    let mut in_a_row = 0;
    let mut said_not_told = false;
    loop {
        let Item::Reading(t) = feed.next().await else { continue };
        // Whoever looked at the flows alone was not asked what the outputs do.
        if ctx.is_asked(Look::State) && t.reading.outputs.is_none() && t.reading.conditions.is_none() {
            continue;
        }
        // That a lease lapsed is found where it is renewed.
        if !ctx.get().inhibit.promises(t.at, seconds(rules.takes_hold_s)) {
            in_a_row = 0;
            continue;
        }
        let held = {
            let s = ctx.get();
            let driven =
                s.inhibit.driven.iter().filter(|(_, until)| **until >= t.at).fold(0, |bits, (n, _)| bits | bit(*n));
            drop(s);
            inhibit::look(&t.reading, driven, ctx.replacement(Followed::of))
        };
        in_a_row = if held == Held::Yes { 0 } else { in_a_row + 1 };
        if in_a_row < rules.in_a_row {
            continue;
        }
        // Readings that never tell it show nothing against it either: said once, and watched on.
        let not_told = held == Held::NotTold;
        if let Some(finding) = inhibit::finding(ctx.stage(), held).filter(|_| !(not_told && said_not_told)) {
            ctx.found(finding);
        }
        if not_told {
            said_not_told = true;
            continue;
        }
        stop(&ctx);
        // Said once: the outputs are what they are until somebody has looked at the panel.
        wait_for(|| (!ctx.get().inhibit.on).then_some(())).await;
    }
}
