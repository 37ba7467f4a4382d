//! Before the unit is given back: does it still hold what was loaded?
use crate::{
    context::Context,
    executor::{Either, race},
    judge::held as judge,
    outcome::StageKind,
    prompt::Act,
};
use alloc::string::{String, ToString};
use plumeline_base::time::seconds;
use plumeline_detector::{
    Ask, Identity, Request, Trouble, ask,
    driver::{Means, Wants},
};

pub(super) async fn unchanged(ctx: &Context, stage: StageKind) {
    let (loaded, left, another) = {
        let s = ctx.get();
        let serial = |i: &Option<Identity>| i.as_ref().map(|i| i.serial.clone());
        (s.unit.loaded.clone(), s.unit.as_left.clone(), serial(&s.unit.identity) != serial(&s.outcome.replacement))
    };
    // Where nothing was read back, the load has said so.
    let Some(left) = left else { return };
    if another {
        return ctx.found(judge::another_unit(stage));
    }
    let Some(loaded) = loaded else {
        if ctx.means(&Request::ReadSettings) != Means::Person {
            return ctx.found(judge::not_told(stage));
        }
        let text = "Were the unit's settings left alone since they were last read back?";
        let answer = ctx.ask(Act::LeftAlone, text, Wants::YesNo).await.1;
        return ctx.found(judge::said(stage, &answer));
    };
    let now = soon(ctx, ask::SettingsState).await.map_err(|trouble| trouble.to_string());
    let now = now.as_ref().cloned().map_err(String::as_str);
    let read = match judge::differs(&loaded, &now) {
        true => soon(ctx, ask::ReadSettings).await.ok(),
        false => None,
    };
    let items = read.as_ref().map(|read| (&left, read));
    judge::against(stage, &loaded, now, items).into_iter().for_each(|f| ctx.found(f));
}

/// Asks the unit, but gives it up after a time: nothing may hold up making the site safe.
pub(super) async fn soon<A: Ask>(ctx: &Context, ask: A) -> Result<A::Reply, Trouble> {
    match race(ctx.unit(ask), ctx.sleep(seconds(ctx.inputs().plan.advanced.load.soon_s))).await {
        Either::First(end) => end,
        Either::Second(()) => Err(ctx.get().last_trouble.clone().unwrap_or(Trouble::Silent)),
    }
}
