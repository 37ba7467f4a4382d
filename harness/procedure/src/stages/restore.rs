//! Outputs given back only over clear air, then the zone restored and the release circuit unlocked.
use super::held;
use crate::{
    context::{Context, Stop},
    effect::Entry,
    executor::race,
    facts::restore as fact,
    judge::{inhibit::Followed, restore as judge, states},
    outcome::{Finding, StageKind},
    prompt::Act,
};
use alloc::format;
use plumeline_base::time::seconds;
use plumeline_base::{Verdict, input::Answer};
use plumeline_detector::{Request, driver::Wants};

pub(crate) async fn restore(ctx: Context) -> Result<(), Stop> {
    held::unchanged(&ctx, StageKind::Restore).await;
    lapses(&ctx).await;
    if ctx.get().inhibit.on {
        give_back(&ctx).await;
    } else if ctx.get().outcome.replacement.is_some() && ctx.abilities().is_some_and(|a| a.inhibit) {
        // A lease that lapsed and was not regained: nobody saw the outputs given back over clear air.
        ctx.found(judge::of_unit(fact::not_inhibited()));
    }
    if ctx.get().site.zone_isolated {
        zone(&ctx).await;
    } else {
        ctx.found(judge::of_zone(fact::never_isolated()));
    }
    Ok(())
}

/// An inhibit that lapsed and was regained: what the outputs did meanwhile only the panel can tell.
async fn lapses(ctx: &Context) {
    let lapses = ctx.get().inhibit.lapses.clone();
    let (Some(why), n) = (lapses.first(), lapses.len()) else { return };
    let text = format!(
        "The inhibit of the unit's outputs did not hold all the time ({n} times; first: {why}). Did the panel stay isolated, and does it \
         show that nothing was operated meanwhile?"
    );
    let nothing = ctx.ask(Act::NothingOperated, text, Wants::YesNo).await.1 == Answer::Yes;
    judge::lapses(&lapses, nothing).into_iter().for_each(|f| ctx.found(f));
}

async fn give_back(ctx: &Context) {
    look_at_the_air(ctx).await;
    // What the tests of supplies and supervision left latched is no finding; what comes back after this is.
    let _ = ctx.unit_once(Request::ResetLatches).await;
    let latest = ctx.latest();
    if let Some(kept) = judge::kept(latest.as_ref().map(|t| t.reading.levels | t.reading.latched)) {
        ctx.found(kept);
    } else {
        // A renewal that is under way may now be refused: no sign that the inhibit lapsed.
        ctx.edit().inhibit.renewing = false;
        let released = ctx.unit(Request::ReleaseInhibit).await;
        {
            let mut s = ctx.edit();
            s.inhibit.renewing = true;
            s.inhibit.on &= released.is_err();
        }
        ctx.found(judge::given_back(released.as_ref().map(|_| ())));
    }
    let given_back = !ctx.get().inhibit.on;
    if given_back {
        let shows = seconds(ctx.inputs().plan.advanced.purge.shows_s);
        let from = ctx.now() + shows;
        let left = ctx.until_reading(shows * 3, |t| t.at > from).await;
        let outputs = ctx.replacement(Followed::of);
        states::as_left(left.as_ref().map(|t| &t.reading), outputs).into_iter().for_each(|f| ctx.found(f));
    }
    if let Some(t) = latest {
        ctx.found(judge::faults(t.reading.faults, ctx.verdict_of(StageKind::Baseline)));
    }
}

/// A job that was told to stop before it wanted readings has none: they are started, so that the outputs can be given back
/// over air that is shown to be clear. A unit that can't be reached holds nobody up.
async fn look_at_the_air(ctx: &Context) {
    if ctx.get().stream.hz.is_some() || !ctx.get().lines.used().link.up {
        return;
    }
    let rules = &ctx.inputs().plan.advanced.purge.clone();
    let look = async {
        if ctx.start_readings().await.is_ok() {
            ctx.until_reading(seconds(rules.fresh_s), |_| true).await;
        }
    };
    race(look, ctx.sleep(seconds(rules.look_s))).await;
}

/// The panel and the release circuits, in the state that the job leaves.
async fn zone(ctx: &Context) {
    let proven = |f: &Finding| !f.stage.judges() || f.counts_as() == Verdict::Pass;
    let whole = ctx.get().outcome.findings.iter().all(proven);
    let text = if whole {
        "Restore the zone at the panel. Is it restored and healthy?"
    } else {
        "Not everything was proven. Whoever is responsible for the site decides whether the zone is restored in this state. Is it \
         restored?"
    };
    let (_, restored) = ctx.ask(Act::Restore, text, Wants::YesNo).await;
    let text =
        "Unlock the release circuits, by a licensed person where the local code asks for one. Done, or is there none?";
    let (at, unlocked) = ctx.ask(Act::Unlock, text, Wants::YesNo).await;
    let (restored, unlocked) = (restored == Answer::Yes, unlocked == Answer::Yes);
    {
        let mut s = ctx.edit();
        s.site.zone_isolated &= !restored;
        s.site.locked_off &= !unlocked;
    }
    if restored && unlocked {
        ctx.edit().site.restored_at = Some(at);
        let since = ctx.get().site.isolated_at;
        ctx.note(Entry::BackInService { after_s: since.map_or(0.0, |t| at.since(t).as_secs_f64()) });
    }
    judge::put_back(restored, unlocked).into_iter().for_each(|f| ctx.found(f));
}
