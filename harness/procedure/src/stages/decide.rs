//! What follows when a stage did not show what it was to show: where a person is there the person decides, else the plan.
//!
//! First what is unsafe to leave as it is: smoke off, outputs at rest. Not here: what is proven again when something was put
//! right ([`crate::mending`]).
use super::clear_air::stop_smoke;
use crate::{
    context::{Context, Stop},
    executor::{Either, race, wait_for},
    mending::Mending,
    outcome::{Finding, StageKind},
    plan::{Policy, StagePlan},
    prompt::Act,
};
use alloc::{collections::BTreeSet, format, string::String, vec::Vec};
use plumeline_base::{Verdict, input::Answer};
use plumeline_detector::driver::{Wants, Word};

/// How a stage ended.
pub(super) struct Ran {
    pub(super) verdict: Verdict,
    /// Why it ended early, if it did.
    pub(super) stop: Option<Stop>,
}
impl Ran {
    fn ends_job(&self) -> bool {
        self.stop.as_ref().is_some_and(Stop::ends_job)
    }
}

/// What follows a stage.
pub(super) enum Next {
    GoOn,
    /// Wind down.
    Stop,
    /// These stages are done again, for this reason.
    Again(BTreeSet<StageKind>, String),
}

const AGAIN: &str = "again";
const PUT_RIGHT: &str = "put right";
const GO_ON: &str = "go on";
const PAUSE: &str = "pause";
const END: &str = "end";

/// What follows this stage. `stopped`: the job winds down already.
pub(super) async fn next(ctx: &Context, plan: &StagePlan, ran: &Ran, stopped: bool) -> Next {
    let by_plan = if ran.ends_job() || (ran.verdict != Verdict::Pass && plan.policy == Policy::Stop) {
        Next::Stop
    } else {
        Next::GoOn
    };
    let open = ran.ends_job() || (ran.verdict != Verdict::Pass && plan.stage.judges());
    let aborted = matches!(ran.stop, Some(Stop::Aborted(_)));
    // Where the zone was never isolated there is nothing to give back, and nothing to decide about it.
    let nothing = plan.stage == StageKind::Restore && ctx.get().site.isolated_at.is_none();
    if !open || aborted || nothing || plan.stage == StageKind::Close || !ctx.get().running.attended {
        return by_plan;
    }
    let work = async {
        stop_smoke(ctx).await;
        ctx.let_outputs_go();
        decided(ctx, plan, ran, stopped).await
    };
    let told_to_stop = wait_for(|| ctx.get().running.abort.is_some().then_some(()));
    match race(told_to_stop, work).await {
        Either::First(()) => {
            let mut s = ctx.edit();
            (s.running.abort, s.outcome.aborted) = (None, true);
            Next::Stop
        }
        Either::Second(next) => next.unwrap_or(by_plan),
    }
}

/// Asks until something is decided; `None`: as the plan says.
async fn decided(ctx: &Context, plan: &StagePlan, ran: &Ran, stopped: bool) -> Option<Next> {
    let stage = plan.stage;
    loop {
        let wants = Wants::OneOf { words: choices(plan, ran, stopped) };
        let (_, answer) = ctx.ask(Act::Decide { stage }, question(ctx, stage, ran), wants).await;
        let Answer::Text(words) = answer else { return None };
        if let Some(what) = words.strip_prefix(PUT_RIGHT) {
            let what = what.trim_start_matches([':', ',', ' ']).trim();
            let open = open_findings(ctx, stage);
            let mut stages: BTreeSet<StageKind> =
                Mending::said(what, &open).iter().flat_map(|m| m.voids()).chain([stage]).collect();
            stages.extend(rests_on(ran));
            // What levels and latches did is told only where smoke was at the unit before.
            if stages.contains(&StageKind::Purge) {
                stages.insert(StageKind::ProveSmoke);
            }
            return Some(Next::Again(stages, what.into()));
        }
        match words.as_str() {
            AGAIN => return Some(Next::Again(rests_on(ran).into_iter().chain([stage]).collect(), "done again".into())),
            GO_ON if may_go_on(plan, ran) => return Some(Next::GoOn),
            // A job that winds down already goes on doing so.
            END => return (!stopped).then_some(Next::Stop),
            PAUSE => ctx.pause("asked for by the operator"),
            _ => {}
        }
    }
}

/// Going on is offered where what follows does not rest on this stage for the safety of people and plant.
fn may_go_on(plan: &StagePlan, ran: &Ran) -> bool {
    let row = plan.stage.row();
    row.traits.winds_down || plan.stage == StageKind::Bench || (row.policy == Policy::GoOn && !ran.ends_job())
}

fn choices(plan: &StagePlan, ran: &Ran, stopped: bool) -> Vec<Word> {
    let stage = plan.stage;
    let mut words = Vec::from([Word::of(AGAIN, &format!("{stage} is done again"))]);
    if !stage.row().traits.winds_down {
        let means = "what was put right is proven again, and what it voids";
        words.push(Word { more: true, ..Word::of(PUT_RIGHT, means) });
    }
    if may_go_on(plan, ran) {
        words.push(Word::of(GO_ON, &format!("{stage} stays as it is, and the job goes on")));
    }
    words.push(Word::of(PAUSE, "the job pauses in a safe state; run it again to go on"));
    if !stopped {
        words.push(Word::of(END, "the job winds down and ends"));
    }
    words
}

fn question(ctx: &Context, stage: StageKind, ran: &Ran) -> String {
    let open = open_findings(ctx, stage);
    let why = match (open.first(), &ran.stop) {
        (Some(f), _) => format!("{}: {}", f.subject, f.says),
        (None, Some(stop)) => format!("{stop}"),
        (None, None) => "nothing was shown".into(),
    };
    let more = if open.len() > 1 { format!(" (and {} more)", open.len() - 1) } else { String::new() };
    format!("{stage} came to {}: {why}{more}. What now?", ran.verdict)
}

fn open_findings(ctx: &Context, stage: StageKind) -> Vec<Finding> {
    let s = ctx.get();
    s.outcome.findings.iter().filter(|f| f.stage == stage && !f.counts_as().is_pass()).cloned().collect()
}

/// What the reason of an early end made void with it.
fn rests_on(ran: &Ran) -> Vec<StageKind> {
    match ran.stop {
        Some(Stop::StartedAnew) => StageKind::with(|t| t.bound_to_start),
        Some(Stop::OtherSettings(_)) => StageKind::with(|t| t.bound_to_settings),
        _ => Vec::new(),
    }
}
