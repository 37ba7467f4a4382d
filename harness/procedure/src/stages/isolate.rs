//! The zone is isolated at the panel, release circuits are locked off, people are told. Without all three nothing else is
//! done.
use crate::{
    answers::{one_of, said},
    context::{Context, Stop},
    effect::{Effect, Entry},
    judge::isolate::{Safeguard, answered},
    prompt::Act,
};
use alloc::vec::Vec;
use plumeline_base::{Instant, input::Answer};

/// What keeps people and the site safe, in order: what is asked for, and the words that say that it is done.
struct Step {
    act: Act,
    safeguard: Safeguard,
    text: &'static str,
    words: &'static [(&'static str, &'static str)],
}
const STEPS: [Step; 3] = [
    Step {
        act: Act::Isolate,
        safeguard: Safeguard::Zone,
        text: "Isolate this zone at the panel. Testing may operate outputs that release agent, stop plant or call the fire \
               service; the unit's own inhibit is never the only isolation. Is the zone isolated?",
        words: &[("isolated", "the zone is isolated at the panel")],
    },
    Step {
        act: Act::LockOff,
        safeguard: Safeguard::Lock,
        text: "Lock off every release circuit physically, by a licensed person where the local code asks for one. Are all locked \
               off, or is there none?",
        words: &[("locked", "every release circuit is physically locked off"), (NONE, "there is no release circuit")],
    },
    Step {
        act: Act::Tell,
        safeguard: Safeguard::People,
        text: "Tell whoever must be told (the responsible person, the monitoring station, people in the area). Done?",
        words: &[("told", "those who must be told have been told")],
    },
];
/// There is no release circuit.
pub(super) const NONE: &str = "none";

pub(crate) async fn isolate(ctx: Context) -> Result<(), Stop> {
    let mut given: Vec<u32> = Vec::new();
    while let Some(step) = STEPS.get(given.len()) {
        let (id, at, answer) =
            ctx.ask_after(given.last().copied(), step.act.clone(), step.text, one_of(step.words)).await;
        if answer == Answer::Back {
            take_back(&ctx, &mut given);
            continue;
        }
        match said(step.words, answer) {
            Ok(word) => hold(&ctx, step.safeguard, at, &word),
            Err(why) => {
                STEPS.iter().take(given.len()).for_each(|done| ctx.found(answered(done.safeguard, Ok(()))));
                ctx.found(answered(step.safeguard, Err(&why)));
                return Err(Stop::Found);
            }
        }
        given.push(id);
    }
    STEPS.iter().for_each(|step| ctx.found(answered(step.safeguard, Ok(()))));
    Ok(())
}

fn hold(ctx: &Context, safeguard: Safeguard, at: Instant, word: &str) {
    match safeguard {
        Safeguard::Zone => out_of_service(ctx, at),
        Safeguard::Lock => ctx.edit().site.locked_off = word != NONE,
        Safeguard::People => {}
    }
}
/// Nothing was done since the latest answer: it no longer holds.
fn take_back(ctx: &Context, given: &mut Vec<u32>) {
    let Some((prompt, step)) = given.pop().and_then(|id| Some((id, STEPS.get(given.len())?))) else { return };
    match step.safeguard {
        Safeguard::Zone => {
            let mut s = ctx.edit();
            (s.site.isolated_at, s.site.zone_isolated) = (None, false);
        }
        Safeguard::Lock => ctx.edit().site.locked_off = false,
        Safeguard::People => {}
    }
    ctx.taken_back(prompt, step.act.clone());
}

/// From here the clock runs until the zone is back in service. Where this is done again it runs already.
fn out_of_service(ctx: &Context, at: Instant) {
    {
        let mut s = ctx.edit();
        if s.site.zone_isolated {
            return;
        }
        (s.site.isolated_at, s.site.zone_isolated) = (Some(at), true);
    }
    ctx.note(Entry::OutOfService { limit_s: ctx.inputs().plan.limits.out_of_service.value });
    // What others hold from here on binds the attempt: it is left in the units' logs once they are met.
    ctx.effect(Effect::TellHead);
}
