//! Smoke held to a hole that closing can't show to draw. Not here: what it shows ([`crate::judge::presence`]).
use super::release::{Ran, release};
use crate::{
    context::Context,
    facts::presence as fact,
    job::{JobInputs, hole_words},
    judge::presence as judge,
    outcome::Finding,
    plan::HoleRef,
};

/// Smoke at the hole must show in its time.
pub(super) async fn presence(ctx: &Context, inputs: &JobInputs, hole: HoleRef) -> Finding {
    let open = |fact| judge::of_hole(hole, fact);
    let Some((opening, geometry)) = inputs.opening(hole) else {
        return open(fact::no_hole(hole.number, hole.inlet));
    };
    let words = hole_words(hole, geometry.kind);
    let Some(window) = judge::window(inputs, opening) else { return open(fact::not_predicted(words)) };
    let rules = &inputs.plan.advanced.smoke;
    let latest = rules.waits_times * window.1 + inputs.plan.smoke.release_s + rules.waits_more_s;
    let mut times = 0;
    loop {
        times += 1;
        match release(ctx, inputs, hole, &words, "to show that this hole draws", latest, None).await {
            Ran::Later => {
                ctx.edit().prompts.may_wait = false;
                times -= 1;
            }
            Ran::NotReleased(why) => return open(fact::not_released(words, why)),
            Ran::SetAside { because, .. } if times > rules.most_set_aside => {
                return open(fact::set_aside(words, times, because));
            }
            Ran::SetAside { .. } => {}
            Ran::Seen(seen) => return judge::seen(inputs, hole, &words, window, &seen),
        }
    }
}
