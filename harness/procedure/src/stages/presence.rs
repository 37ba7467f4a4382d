//! A hole shown to draw by smoke: released at the hole, it shows at the unit within the time that is predicted. How much the
//! hole draws it does not show; so it stands in only where closing the hole can't, and the report says so.
use super::release::{Ran, release, why_not};
use crate::{
    context::{Context, Stop},
    job::{JobInputs, hole_words},
    outcome::{Figure, Finding, StageKind, Subject},
    plan::HoleRef,
};
use alloc::format;
use plumeline_base::Verdict;
use plumeline_measure::smoke::Outcome;

/// Smoke at the hole must show in its time.
pub(super) async fn presence(ctx: &Context, inputs: &JobInputs, hole: HoleRef) -> Result<Finding, Stop> {
    let mut f = Finding::new(StageKind::ProveFlow, Subject::Hole(hole.inlet, hole.number), Verdict::Undecided, "");
    let Some((opening, geometry)) = inputs.opening(hole) else {
        f.says = format!("the pipework has no hole {} on pipe {}", hole.number, hole.inlet);
        return Ok(f);
    };
    let words = hole_words(hole, geometry.kind);
    let Some((from, to)) = window(ctx, inputs, opening) else {
        f.says = format!("no transport time is predicted from {words}: smoke can't show that it draws");
        return Ok(f);
    };
    f.next = Some("release again, longer and close to the hole; if nothing comes, clear the hole".into());
    let rules = &inputs.plan.advanced.smoke;
    let latest = rules.waits_times * to + inputs.plan.smoke.release_s + rules.waits_more_s;
    for again in 0..=rules.most_set_aside {
        match release(ctx, inputs, hole, &words, "to show that this hole draws", latest).await? {
            Ran::NotReleased(why) => {
                f.says = format!("not shown by smoke that {words} draws: {why}");
                break;
            }
            Ran::SetAside { because, .. } => {
                f.says =
                    format!("not shown by smoke that {words} draws: set aside {} times, last: {because}", again + 1);
            }
            Ran::Shown(shown) => {
                f.window = Some((shown.released, shown.until));
                f.expected = Some(Figure::plain((from + to) / 2.0, "s"));
                let onset = match &shown.outcome {
                    Outcome::Response(r) => Some(r.onset_s),
                    Outcome::Saturated { onset_s, .. } => Some(*onset_s),
                    _ => None,
                };
                match (onset, shown.elsewhere) {
                    (None, Some(inlet)) => crossed(&mut f, &words, hole, inlet),
                    (None, None) => {
                        let why = why_not(&shown.outcome).unwrap_or_default();
                        f.says = format!("smoke at {words} did not show: {why}");
                        f.likely = Some("the hole is blocked or taped, or the release was too weak".into());
                    }
                    (Some(t), _) => {
                        f.measured = Some(Figure::with(t.value, t.u() * super::flow::coverage_factor(inputs), "s"));
                        if (from..=to).contains(&t.value) {
                            f.verdict = Verdict::Pass;
                            f.says = format!("{words} draws: smoke held to it shows within the time predicted for it");
                            f.next = None;
                        } else {
                            f.says = format!(
                                "smoke held to {words} shows after {:.1} s, not within {from:.0} to {to:.0} s as from this hole",
                                t.value
                            );
                            f.likely = Some("the smoke got in at another hole, or the pipe is open or blocked".into());
                        }
                    }
                }
                break;
            }
        }
    }
    Ok(f)
}

/// Smoke that shows at another inlet's sensor than its own.
pub(super) fn crossed(f: &mut Finding, words: &str, hole: HoleRef, inlet: u8) {
    f.verdict = Verdict::Fail;
    f.says = format!("smoke from {words} shows at inlet {inlet}, not at inlet {}", hole.inlet);
    f.likely = Some(format!("pipes {} and {inlet} are crossed", hole.inlet));
    f.next = Some("put each pipe into the inlet of its own number, then prove flow again".into());
}

/// The times at which the first rise may come: from the first smoke of the fastest way to half of the plateau, each with its
/// uncertainty, and the mark's.
fn window(ctx: &Context, inputs: &JobInputs, opening: usize) -> Option<(f64, f64)> {
    let p = inputs.predicted(opening)?;
    if !(p.first_s.is_sound() && p.half_plateau_s.is_sound()) {
        return None;
    }
    let k = super::flow::coverage_factor(inputs);
    let limits = &ctx.inputs().plan.limits;
    let slack = 2.0 * inputs.plan.smoke.mark_u_s + limits.transport_agreement_least.value;
    Some((
        (p.first_s.value - k * p.first_s.u() - slack).max(0.0),
        p.half_plateau_s.value + k * p.half_plateau_s.u() + slack,
    ))
}
