//! What follows when a stage did not show what it was to show: where a person is there the person decides, else the plan.
//!
//! First what is unsafe to leave as it is: smoke off, outputs at rest. Not here: what is proven again when something was put
//! right ([`crate::mending`]).
use super::clear_air::stop_smoke;
use crate::{
    again::{self, Named, Part},
    context::{Context, Stop},
    executor::{Either, race, wait_for},
    mending::Mending,
    outcome::{Finding, StageKind, Subject},
    plan::{Policy, StagePlan},
    prompt::Act,
};
use alloc::{collections::BTreeSet, format, string::String, vec::Vec};
use plumeline_base::{Verdict, input::Answer};
use plumeline_detector::{
    Trouble,
    driver::{Wants, Word},
};

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
    /// A unit that failed on the bench, or did not get to its end there, takes no site out of service, whatever the policy says. What
    /// it has no way to do is open, as on the wall.
    fn fails_on_bench(&self, stage: StageKind) -> bool {
        let cut_short =
            self.stop.as_ref().is_some_and(|s| !matches!(s, Stop::Again | Stop::Trouble(Trouble::CannotDo(_))));
        stage == StageKind::Bench && (cut_short || self.verdict == Verdict::Fail)
    }
}

/// What follows a stage.
pub(super) enum Next {
    GoOn,
    /// Wind down.
    Stop,
    Again(Again),
}

/// These stages are done again, for this reason; of the first of them this part, if it is not the whole.
pub(super) struct Again {
    pub(super) stages: BTreeSet<StageKind>,
    pub(super) part: Option<Part>,
    pub(super) why: String,
}
impl Again {
    /// What a person named, and this stage, of which more is open or which was left for it.
    fn named(ctx: &Context, named: Named, words: &str, stage: StageKind, ran: &Ran) -> Self {
        let beside = rests_on(ran);
        // A part stands for the whole only where the rest of it was shown by this start of the unit, with these settings.
        let void = |f: &Finding| f.stage == named.stage() && f.stands() && f.void.is_some();
        let whole = !beside.is_empty() || ctx.get().outcome.findings.iter().any(void);
        let part = if whole { None } else { named.part() };
        Self { stages: named.voids().into_iter().chain(beside).chain([stage]).collect(), part, why: again::why(words) }
    }
}

const AGAIN: &str = "again";
const PUT_RIGHT: &str = "put right";
const GO_ON: &str = "go on";
const PAUSE: &str = "pause";
const END: &str = "end";

/// What follows this stage. `stopped`: the job winds down already.
pub(super) async fn next(ctx: &Context, plan: &StagePlan, ran: &Ran, stopped: bool) -> Next {
    let by_plan = if ran.ends_job()
        || ran.fails_on_bench(plan.stage)
        || (ran.verdict != Verdict::Pass && plan.policy == Policy::Stop)
    {
        Next::Stop
    } else {
        Next::GoOn
    };
    let named = ctx.edit().running.again.take();
    if let Some(named) = named {
        stop_smoke(ctx).await;
        ctx.let_outputs_go();
        return Next::Again(Again::named(ctx, named, named.words().as_str(), plan.stage, ran));
    }
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
        if let Some(what) = words.strip_prefix(AGAIN).map(|w| w.trim_start_matches([':', ',', ' ']).trim())
            && !what.is_empty()
        {
            let done = |n: &Named| ctx.get().outcome.stages.iter().any(|r| r.stage == n.stage());
            match Named::parse(&ctx.inputs(), what).filter(done) {
                Some(named) => return Some(Next::Again(Again::named(ctx, named, what, stage, ran))),
                None => ctx.remark(format!("\"{what}\" names nothing that was done here: name {}", again::NAMES)),
            }
            continue;
        }
        if let Some(what) = words.strip_prefix(PUT_RIGHT) {
            let what = what.trim_start_matches([':', ',', ' ']).trim();
            let open = open_findings(ctx, stage);
            let said = Mending::said(what, &open);
            let mut stages: BTreeSet<StageKind> = said.iter().flat_map(|m| m.voids()).chain([stage]).collect();
            let beside = rests_on(ran);
            // Where only a hole was put right, the holes of other pipes stay as they were shown.
            let part = if beside.is_empty() && said.iter().all(|m| m.word == "hole") {
                let holes =
                    open.iter().filter_map(|f| if let Subject::Hole(p, _) = f.subject { Some(p) } else { None });
                again::pipes_of(&ctx.inputs(), what, holes)
            } else {
                None
            };
            stages.extend(beside);
            // What levels and latches did is told only where smoke was at the unit before.
            if stages.contains(&StageKind::Purge) {
                stages.insert(StageKind::ProveSmoke);
            }
            return Some(Next::Again(Again { stages, part, why: what.into() }));
        }
        match words.as_str() {
            AGAIN => {
                let stages = rests_on(ran).into_iter().chain([stage]).collect();
                return Some(Next::Again(Again { stages, part: None, why: "done again".into() }));
            }
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
        words.push(Word { more: true, ..Word::of(AGAIN, "what is named is done again") });
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;

    #[test]
    fn stages_holes_and_smoke_are_named_as_people_name_them() {
        let mut inputs = sample::inputs();
        inputs.plan.smoke.at = [sample::hole(1, 2)].into();
        let named = |words: &str| Named::parse(&inputs, words);
        assert_eq!(named("prove-smoke"), Some(Named::Stage(StageKind::ProveSmoke)));
        for words in ["hole 1.2", "1.2", "Hole 2 of pipe 1", "pipe 1 hole 2", "pipe 1, hole 2"] {
            assert_eq!(named(words), Some(Named::Hole(sample::hole(1, 2))), "{words}");
        }
        for words in ["smoke 1.2", "the smoke at hole 2 of pipe 1", "release 1.2"] {
            assert_eq!(named(words), Some(Named::Smoke(sample::hole(1, 2))), "{words}");
        }
        // What is not there, what this job does not do, and what no word may start again.
        for words in ["", "hole", "hole 1.99", "pipe 1", "smoke 1.1", "isolate", "swap", "restore", "bench", "2"] {
            assert_eq!(named(words), None, "{words}");
        }
    }
    #[test]
    fn a_bench_that_did_not_get_until_it_ends_isolates_nothing() {
        let fails = |stage, verdict, stop| Ran { verdict, stop }.fails_on_bench(stage);
        let (bench, open) = (StageKind::Bench, Verdict::Undecided);
        for stop in [Stop::Deadline, Stop::Trouble(Trouble::NotTold("garbage".into())), Stop::StartedAnew, Stop::Found]
        {
            assert!(fails(bench, open, Some(stop.clone())) && !fails(StageKind::Load, open, Some(stop)));
        }
        assert!(fails(bench, Verdict::Fail, None));
        let cannot = Stop::Trouble(Trouble::CannotDo("it reads nothing".into()));
        assert!(
            !fails(bench, open, None) && !fails(bench, open, Some(cannot)) && !fails(bench, open, Some(Stop::Again))
        );
    }
    #[test]
    fn what_rests_on_it_is_done_again_too() {
        let stages = |named: Named| named.voids().into_iter().collect::<Vec<_>>();
        assert_eq!(stages(Named::Hole(sample::hole(1, 1))), [StageKind::ProveFlow]);
        assert_eq!(stages(Named::Smoke(sample::hole(1, 1))), [StageKind::ProveSmoke, StageKind::Purge]);
        assert_eq!(stages(Named::Stage(StageKind::Outputs)), [StageKind::Outputs]);
        assert!(Named::Stage(StageKind::Load).voids().contains(&StageKind::Baseline));
    }
    #[test]
    fn what_was_put_right_at_a_hole_is_proven_again_at_its_pipe() {
        let inputs = sample::inputs();
        let pipes = |words: &str, places: &[u8]| again::pipes_of(&inputs, words, places.iter().copied());
        assert_eq!(pipes("hole 1.2 cleared", &[2]), Some(Part::Pipes([1].into())));
        assert_eq!(pipes("cleared it", &[2, 2]), Some(Part::Pipes([2].into())));
        assert_eq!(pipes("cleared it", &[]), None);
    }
}
