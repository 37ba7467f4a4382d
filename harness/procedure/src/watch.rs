//! While the unit's outputs are inhibited every reading is looked at: an output that is operated all the same can release
//! agent or stop plant, so the job stops at once and winds down.
//!
//! Not here: the renewal of the lease ([`crate::supervisors`]), and what an output does when it is driven for test.
use crate::{
    context::Context,
    executor::wait_for,
    judge::inhibit::{self, Followed, Held},
    readings::Item,
};
use plumeline_base::{Instant, time::seconds};
use plumeline_detector::bit;

/// Watches the outputs for as long as the job runs.
pub(crate) async fn outputs(ctx: Context) {
    let rules = &ctx.inputs().plan.advanced.inhibit.clone();
    let mut feed = ctx.feed();
    let mut since: Option<Instant> = None;
    let mut in_a_row = 0;
    loop {
        let item = feed.next().await;
        if !(ctx.get().inhibit.on && ctx.get().inhibit.renewing) {
            (since, in_a_row) = (None, 0);
            continue;
        }
        let from = *since.get_or_insert(ctx.now());
        let Item::Reading(t) = item else { continue };
        // A lease that may have run out in the meantime promises nothing; that it lapsed is found where it is renewed.
        let leased = ctx.get().inhibit.leased_until.is_some_and(|until| t.at < until);
        if t.at < from + seconds(rules.takes_hold_s) || !leased {
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
        if let Some(finding) = inhibit::finding(ctx.stage(), held) {
            ctx.found(finding);
        }
        {
            let mut s = ctx.edit();
            s.running.unsafe_to_go_on = true;
            s.changed = true;
        }
        // Said once: the outputs are what they are until somebody has looked at the panel.
        wait_for(|| (!ctx.get().inhibit.on).then_some(())).await;
    }
}
