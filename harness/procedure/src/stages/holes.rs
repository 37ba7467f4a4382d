//! Prove flow: each pipe against the prediction, then every reachable hole shown to draw by closing it in turn.
//!
//! Not here: what a drop shows ([`crate::judge::holes`]), and what the pipe's other holes add ([`crate::judge::holes_compared`]).
use super::{
    alone::{self, Settled},
    by_meter, dilution,
    flow::{self, MeanFlow, average},
    inlets,
    presence::presence,
    suction,
};
use crate::{
    again::Part,
    answers::{Done, said},
    context::{Context, Stop},
    drops::{HoleShown, MeasuredDrop},
    facts::{Fact, fixed, holes as fact, list, missed, readings, signed},
    job::{JobInputs, Pipe, hole_words},
    judge::{
        alone::{AllClosed, beside_closed, by_alone},
        as_found,
        flow::{by_holes, by_shares, left_open, more_than_expected, warned},
        holes::{self as judge, Closed, Closing, Reopened, of_hole},
        holes_compared::{compared, matters},
        lag::{self, Step},
        pipes_compared::{PipesCompared, unit_limit},
        readings::of_unit,
        untold,
    },
    mean_flow::coverage_factor,
    outcome::{Finding, StageKind, Statement, Subject},
    plan::HoleRef,
    prompt::Act,
    readings::Item,
};
use alloc::{boxed::Box, collections::VecDeque, format, rc::Rc, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{Instant, Verdict, input::Answer, time::seconds};
use plumeline_detector::{ask::Look, driver::Wants};
use plumeline_measure::{Error, Sample, joint::Seen};

/// Flow of each pipe against the prediction, then hole by hole. Where only a part is done again, the other holes stay as they
/// were shown, and are compared anew.
pub(crate) async fn prove_flow(ctx: Context) -> Result<(), Stop> {
    if ctx.get().stream.hz.is_none() {
        ctx.start_readings().await?;
    }
    let before = match by_meter::of_several(&ctx) {
        true => Some(by_meter::together(&ctx, "flow of all pipes before any inlet is shut").await),
        false => None,
    };
    let came = prove(&ctx).await;
    by_meter::back(&ctx, before).await;
    if ctx.get().unit.baseline.is_some() && ctx.verdict_of(StageKind::ProveFlow) != Verdict::Pass {
        ctx.void(&[StageKind::Baseline], "the airflow was looked at again and is not proven");
    }
    came
}

async fn prove(ctx: &Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    let part = ctx.edit().running.part.take();
    if part.is_none() {
        ctx.edit().record.holes.clear();
        warned(&inputs).into_iter().for_each(|f| ctx.found(f));
    }
    let flow::Flows { mut by_pipe, compared: mut pipes_compared, measured } = flow::against_prediction(ctx).await;
    by_pipe.sort_by_key(|(pipe, _)| pipe.turn);
    let untold_at_most = inlets::covered(ctx, &measured).await;
    suction::measured(ctx).await;
    let failed = by_pipe.iter().any(|(_, f)| f.verdict == Verdict::Fail);
    let mut doubt = Doubt { ctx, measured: &measured, tried: Vec::new() };
    if failed && let Some((pipe, _)) = by_pipe.iter().find(|(_, f)| more_than_expected(&inputs, f)) {
        doubt.tried(pipe.inlet).await;
    }
    let mut proven = Vec::new();
    let mut crossed = false;
    for (pipe, finding) in by_pipe {
        // Over a pipe that already fails, or where pipes are crossed, single holes prove nothing more: first things first.
        if failed || crossed {
            ctx.found(finding);
            continue;
        }
        let holes = hole_by_hole(ctx, &inputs, &pipe, part.as_ref()).await?;
        crossed = holes.crossed;
        if !crossed && judge::all_too_little(&holes.deviations) {
            doubt.tried(pipe.inlet).await;
        }
        pipes_compared.holes(pipe.inlet, &holes.seen);
        proven.push((pipe, finding, holes));
    }
    let mut shown = Vec::new();
    let shares = measured.iter().any(|(_, mean)| mean.share_of.is_some());
    for (pipe, mut finding, ByHoles { verdicts, left_out, seen, mut closed, .. }) in proven {
        match &mut closed {
            Some(closed) if shares => by_alone(&inputs, &mut finding, &verdicts, &seen, closed),
            None if shares => {
                by_shares(&inputs, &mut finding, &verdicts, &left_out, (&seen, inputs.holes(&pipe).len()))
            }
            closed => {
                let mut shows = pipes_compared.shows(&inputs, pipe.inlet, closed.as_ref());
                if closed.is_none() && left_open(&finding, &verdicts) && shows.draws_more() {
                    *closed = alone::tightness(ctx, &inputs, &pipe).await;
                    shows = pipes_compared.shows(&inputs, pipe.inlet, closed.as_ref());
                }
                by_holes(&inputs, &mut finding, &verdicts, &left_out, &shows);
                closed.iter().for_each(|closed| beside_closed(&inputs, &mut finding, closed, &seen));
            }
        }
        let holes_shown = left_out.is_empty() && !verdicts.is_empty() && verdicts.iter().all(|v| *v == Verdict::Pass);
        if finding.verdict == Verdict::Pass && holes_shown {
            shown.push(pipe.inlet);
        }
        if more_than_expected(&inputs, &finding) {
            doubt.tried(pipe.inlet).await;
        }
        ctx.found(finding);
    }
    // A share of one unit's normal flow is nothing to hold against another unit's flow.
    let mut captured = ctx.get().record.as_found.clone();
    // Nor is what a pipe drew beside others to what it draws alone.
    let alone = by_meter::of_several(ctx);
    captured.retain(|_, mean| !shares && mean.share_of.is_none() && !alone);
    for finding in as_found::against(&inputs, &captured, &measured, &shown) {
        ctx.found(finding);
    }
    ctx.edit().record.alike = if shares { None } else { pipes_compared.alike() };
    smallest_missed(ctx, &inputs, (!shares).then_some(&pipes_compared));
    if let Some(most) = untold_at_most {
        dilution::bounded(ctx, most, missed::untold_by_covers());
    }
    Ok(())
}

/// Pipes that seem to draw air elsewhere than at their holes: before anybody looks for that, each is shut once, to see whether what
/// the unit tells is the pipe's at all.
struct Doubt<'a> {
    ctx: &'a Context,
    measured: &'a [(Pipe, MeanFlow)],
    tried: Vec<u8>,
}
impl Doubt<'_> {
    async fn tried(&mut self, inlet: u8) {
        let Some((_, mean)) = self.measured.iter().find(|(p, _)| p.inlet == inlet) else { return };
        // A meter has no other air to tell as this pipe's.
        if self.ctx.meter().is_some() {
            return;
        }
        if !self.tried.contains(&inlet) {
            self.tried.push(inlet);
            inlets::shut(self.ctx, inlet, mean.estimate.value).await;
        }
    }
}

/// What the holes of a pipe came to.
#[derive(Default)]
pub(super) struct ByHoles {
    pub(super) verdicts: Vec<Verdict>,
    /// How far the drop at each hole was off its prediction, as a share of it.
    pub(super) deviations: Vec<f64>,
    /// Neither closed nor shown by smoke.
    pub(super) left_out: Vec<HoleRef>,
    /// How far the drops were off their predictions.
    pub(super) seen: Vec<Seen>,
    /// A hole showed that this pipe sits in another's inlet.
    pub(super) crossed: bool,
    /// What the pipe drew while all its holes were closed, where they were.
    pub(super) closed: Option<AllClosed>,
}

/// Ends the stage where readings answer late: what those of another time say of single holes would only mislead.
fn of_now(ctx: &Context, round: &HoleRound<'_>) -> Result<(), Stop> {
    let Some(late) = round.answers_late() else { return Ok(()) };
    ctx.found(late);
    Err(Stop::Found)
}

/// Every hole of a pipe that is to be closed, in turn, and those that smoke shows.
async fn hole_by_hole(ctx: &Context, inputs: &JobInputs, pipe: &Pipe, part: Option<&Part>) -> Result<ByHoles, Stop> {
    let (holes, mut left_out) = inputs.holes_to_close(pipe);
    if alone::serves(ctx, inputs, &holes, &left_out) {
        let by = alone::each(ctx, inputs, pipe, &holes, part).await;
        suction_at_last_hole(ctx, inputs, pipe);
        return Ok(by);
    }
    let mut verdicts = Vec::new();
    let mut deviations = Vec::new();
    let mut by_smoke: Vec<HoleRef> = Vec::new();
    let tell = |finding: Finding| {
        let verdict = finding.verdict;
        ctx.found(finding);
        verdict
    };
    let mut round = HoleRound::new(ctx, pipe);
    let mut drops = Vec::new();
    let mut crossed = false;
    // What can't be reached now comes at the end of the walk along this pipe, and is then closed or refused.
    let mut walk: VecDeque<(HoleRef, usize, bool)> = holes.iter().map(|(hole, at)| (*hole, *at, false)).collect();
    while let Some((hole, opening, put_off)) = walk.pop_front() {
        ctx.edit().prompts.may_wait = !put_off && walk.iter().any(|(_, _, put_off)| !put_off);
        if let Some(shown) = stands(ctx, part, hole) {
            deviations.extend(shown.deviation());
            match shown {
                HoleShown::Found(finding) => verdicts.push(tell(*finding)),
                HoleShown::BySmoke(finding) => {
                    by_smoke.push(hole);
                    verdicts.push(tell(*finding));
                }
                HoleShown::Measured(drop) => drops.push(drop),
            }
            continue;
        }
        let base = seconds(inputs.plan.holes.average_s);
        let Some(closed) = round.close(hole, opening, base).await? else {
            walk.push_back((hole, opening, true));
            continue;
        };
        ctx.edit().prompts.may_wait = false;
        match closed {
            Closed::Found(finding) => {
                of_now(ctx, &round)?;
                crossed = finding.code == fact::CROSSED;
                deviations.extend(keep(ctx, hole, HoleShown::Found(finding.clone())));
                verdicts.push(tell(*finding));
                if crossed {
                    left_out.extend(walk.iter().map(|(hole, ..)| *hole));
                    break;
                }
            }
            Closed::TooSmall => {
                by_smoke.push(hole);
                let finding = presence(ctx, inputs, hole).await;
                keep(ctx, hole, HoleShown::BySmoke(Box::new(finding.clone())));
                verdicts.push(tell(finding));
                round.interrupted();
            }
            Closed::Measured(drop) => {
                deviations.extend(keep(ctx, hole, HoleShown::Measured(drop.clone())));
                ctx.shown(format!("{}: {}; it is judged with the pipe's other holes", drop.words, drop.says()));
                drops.push(drop);
            }
        }
    }
    of_now(ctx, &round)?;
    drops.sort_by_key(|drop: &MeasuredDrop| drop.hole);
    let (failed, drops) = settle(&mut round, drops, part).await?;
    verdicts.extend(failed.into_iter().map(tell));
    // What all holes show of the pipe is what closing them showed: flows of whole pipes hang on the same causes in the same order.
    let seen = drops.iter().map(MeasuredDrop::seen).collect();
    let settled = match left_out.is_empty() && !verdicts.contains(&Verdict::Fail) {
        true => alone::settle(ctx, inputs, pipe, drops).await,
        false => Settled { drops, found: Vec::new(), closed: None },
    };
    let shown = say_of_each(ctx, inputs, pipe, &settled.drops);
    verdicts.extend(settled.found.into_iter().chain(shown).map(tell));
    let (planned, left_out): (Vec<_>, Vec<_>) =
        left_out.into_iter().partition(|h| inputs.plan.smoke.presence.contains(h));
    for hole in planned {
        by_smoke.push(hole);
        let finding = match stands(ctx, part, hole) {
            Some(HoleShown::BySmoke(finding)) => *finding,
            _ => presence(ctx, inputs, hole).await,
        };
        keep(ctx, hole, HoleShown::BySmoke(Box::new(finding.clone())));
        verdicts.push(tell(finding));
    }
    let numbers = |holes: &[HoleRef]| {
        let mut numbers: Vec<u32> = holes.iter().map(|h| h.number).collect();
        numbers.sort_unstable();
        list(numbers)
    };
    let mut missed = Vec::new();
    if !by_smoke.is_empty() {
        missed.push(stated(pipe.inlet, missed::beside_smoke(pipe.inlet, numbers(&by_smoke))));
    }
    if !left_out.is_empty() {
        missed.push(stated(pipe.inlet, missed::not_closed(pipe.inlet, numbers(&left_out))));
    }
    ctx.edit().outcome.could_have_missed.extend(missed);
    suction_at_last_hole(ctx, inputs, pipe);
    Ok(ByHoles { verdicts, deviations, left_out, seen, crossed, closed: settled.closed })
}

/// What this hole showed before, where only another part is done again.
pub(super) fn stands(ctx: &Context, part: Option<&Part>, hole: HoleRef) -> Option<HoleShown> {
    part.filter(|part| !part.has_hole(hole)).and_then(|_| ctx.get().record.holes.get(&hole).cloned())
}
/// Gives how far its drop was off the prediction.
pub(super) fn keep(ctx: &Context, hole: HoleRef, shown: HoleShown) -> Option<f64> {
    let deviation = shown.deviation();
    ctx.edit().record.holes.insert(hole, shown);
    deviation
}

/// The flows of all pipes.
pub(super) type Flows = Vec<Result<MeanFlow, Error>>;

/// One pipe's holes closed in turn. Its flow while open after one hole serves as the flow before the next, so that each drop
/// lies between two open flows: a slow drift drops out, and time is saved.
struct HoleRound<'a> {
    ctx: &'a Context,
    inputs: Rc<JobInputs>,
    pipe: &'a Pipe,
    pipes: Vec<Pipe>,
    /// Flows of all pipes with every hole open, if they are known.
    before: Option<Flows>,
    /// How the pipe's flow answered each mark.
    steps: Vec<Step>,
}

/// Readings so long before a mark, and twice as long after it, show how the flow answers.
const AROUND: Duration = Duration::from_secs(20);

impl<'a> HoleRound<'a> {
    fn new(ctx: &'a Context, pipe: &'a Pipe) -> Self {
        let inputs = ctx.inputs();
        // What one meter shows is this pipe's: the others are shut.
        let pipes = if by_meter::of_several(ctx) { Vec::from([pipe.clone()]) } else { inputs.pipes() };
        Self { ctx, pipes, inputs, pipe, before: None, steps: Vec::new() }
    }
    /// The air was disturbed: the flow while open is no longer known.
    fn interrupted(&mut self) {
        self.before = None;
    }

    /// Keeps how the flow answered a mark, where the readings around it are still kept.
    fn answered(&mut self, mark: Instant) {
        if self.ctx.is_asked(Look::Flows) {
            return;
        }
        let s = self.ctx.get();
        let seconds = |at: Instant| at.since(mark).as_secs_f64() - mark.since(at).as_secs_f64();
        let kept = s.readings.back().take_while(|t| mark.since(t.at) <= AROUND).filter(|t| t.at <= mark + AROUND * 2);
        let flows = kept.filter_map(|t| t.flow(self.pipe.inlet));
        let mut step: Step = flows.map(|q| (seconds(q.at), q.value)).collect();
        step.reverse();
        // A mark at whose time nothing is kept any more shows nothing.
        if step.first().is_some_and(|(t, _)| *t < -AROUND.as_secs_f64() / 2.0) {
            drop(s);
            self.steps.push(step);
        }
    }
    /// The unit's readings answer later than they may.
    fn answers_late(&self) -> Option<Finding> {
        let rules = &self.inputs.plan.advanced.readings;
        let late = lag::too_long(&self.steps, rules)?;
        Some(of_unit(self.ctx.stage(), readings::answers_late(fixed(late, 0), rules.answers_s)))
    }

    /// Closes one hole, averaging for at least `least`. `None`: not now.
    async fn close(&mut self, hole: HoleRef, opening: usize, least: Duration) -> Result<Option<Closed>, Stop> {
        let (ctx, inputs) = (self.ctx, self.inputs.clone());
        let words = hole_words(hole, inputs.pipework.openings[opening].kind);
        let found = |fact| Ok(Some(Closed::Found(Box::new(of_hole(&inputs, hole, fact)))));
        let wait = seconds(inputs.plan.holes.wait_s);
        let before = match self.before.take() {
            Some(before) if before.iter().all(Result::is_ok) => before,
            _ => average(ctx, &self.pipes, least, &format!("{words}: flow while open")).await,
        };
        let own = self.pipes.iter().position(|p| p.inlet == self.pipe.inlet).and_then(|i| before.get(i)?.as_ref().ok());
        let span = judge::long_enough(&inputs, opening, own).max(least);
        let place = inputs.place_words(hole, &words);
        let ask = format!("Close {place} (tape or a finger) and keep it closed. Done?");
        let (at, answer) = ctx.ask(Act::CloseHole(hole), ask, Wants::Done).await;
        if answer == Answer::Later {
            self.before = Some(before);
            return Ok(None);
        }
        if let Err(why) = said(&[], answer) {
            self.before = Some(before);
            return found(fact::not_closed(words, why));
        }
        ctx.sleep(wait).await;
        let closed = average(ctx, &self.pipes, span, &format!("{words}: flow while closed")).await;
        self.answered(at);
        let opened = match self.opened(hole, &words, &before, &closed).await {
            Ok(opened) => opened,
            Err(why) => return found(fact::left_closed(words, why)),
        };
        ctx.sleep(wait).await;
        let after = average(ctx, &self.pipes, span, &format!("{words}: flow while open again")).await;
        if let Done::Said(at) = opened {
            self.answered(at);
        }
        let (pipes, words) = (&self.pipes, words.as_str());
        let closing = Closing { hole, opening, words, pipes, before: &before, closed: &closed, after: &after };
        let judged = judge::closing(&inputs, &closing);
        self.before = Some(after);
        Ok(Some(judged))
    }
}

impl HoleRound<'_> {
    /// Has a closed hole opened again. Where its drop stands out, the flow shows that it is, and no key is wanted of a hand that
    /// holds tape.
    async fn opened(&self, hole: HoleRef, words: &str, before: &Flows, closed: &Flows) -> Result<Done, String> {
        let (ctx, act, text) = (self.ctx, Act::OpenHole(hole), format!("Open {words} again. Done?"));
        let own = self.pipes.iter().position(|p| p.inlet == self.pipe.inlet);
        let of = |flows: &Flows| own.and_then(|i| flows.get(i)?.as_ref().ok().copied());
        let Some((before, closed)) = of(before).zip(of(closed)).filter(|_| !ctx.is_asked(Look::Flows)) else {
            return ctx.ask_done(act, text).await.map(Done::Said);
        };
        // Said while the person stands at the hole: whoever forgot to close it sees it here.
        let fell = fell(&before, &closed);
        let Some(back) = Reopened::by(&before, &closed) else {
            ctx.shown(format!(
                "{words}: the flow fell by {fell}, too little to show when it is open again: press Enter then"
            ));
            return ctx.ask_done(act, text).await.map(Done::Said);
        };
        ctx.shown(format!("{words}: the flow fell by {fell}. Open it again and the flow shows it: no key is needed"));
        ctx.ask_done_unless_seen(act, text, self.is_back(back)).await
    }
    /// Ready when the pipe's flow is back.
    async fn is_back(&self, back: Reopened) {
        let scale = flow::scale(self.ctx, self.pipe.inlet);
        let mut feed = self.ctx.feed();
        let mut flows: Vec<Sample> = Vec::new();
        while !back.shows(&flows) {
            match feed.next().await {
                Item::Gap(_) => flows.clear(),
                Item::Reading(t) => {
                    flows.extend(t.flow(self.pipe.inlet).map(|q| Sample { value: q.value * scale, ..q }));
                    // Of what lies further back one is enough to tell how long it has been watched.
                    let old = flows.partition_point(|q| t.at.since(q.at) > back.over);
                    flows.drain(..old.saturating_sub(1));
                }
            }
        }
    }
}

/// By how much the flow fell, before it is known how far it comes back.
fn fell(before: &MeanFlow, closed: &MeanFlow) -> String {
    before.told().words(before.estimate.value - closed.estimate.value)
}

/// Compares the holes of a pipe; those that this leaves open are closed again for as long as can be asked for. Gives what failed on
/// the way, and what was seen of the others.
async fn settle(
    round: &mut HoleRound<'_>,
    mut drops: Vec<MeasuredDrop>,
    part: Option<&Part>,
) -> Result<(Vec<Finding>, Vec<MeasuredDrop>), Stop> {
    let inputs = round.inputs.clone();
    let mut found = Vec::new();
    for _ in 0..inputs.plan.advanced.holes.again {
        let judged = compared(&inputs, &drops);
        let again = |hole| part.is_none_or(|part| part.has_hole(hole));
        let open: Vec<HoleRef> = drops
            .iter()
            .zip(judged)
            .filter(|(d, j)| j.worth_another_look && again(d.hole))
            .map(|(d, _)| d.hole)
            .collect();
        for hole in open {
            let Some(at) = drops.iter().position(|d| d.hole == hole) else { continue };
            match round.close(hole, drops[at].opening, judge::longest(&inputs)).await? {
                // It may not wait: the question stands until it is answered.
                None => {}
                Some(Closed::Measured(again)) => {
                    drops[at].looks.push(again.pooled());
                    keep(round.ctx, hole, HoleShown::Measured(drops[at].clone()));
                }
                Some(Closed::Found(finding)) if finding.verdict == Verdict::Fail => {
                    drops.remove(at);
                    keep(round.ctx, hole, HoleShown::Found(finding.clone()));
                    found.push(*finding);
                }
                // Not closed or not measured again: what was seen stands.
                Some(Closed::Found(finding)) => round.ctx.remark(finding.says),
                Some(Closed::TooSmall) => round.ctx.remark("closed again, the noise was greater than before"),
            }
        }
    }
    Ok((found, drops))
}

/// What is said of each hole beside the others.
fn say_of_each(ctx: &Context, inputs: &JobInputs, pipe: &Pipe, drops: &[MeasuredDrop]) -> Vec<Finding> {
    let judged = compared(inputs, drops);
    let coarse = drops.iter().zip(&judged).filter(|(_, j)| j.coarse).map(|(drop, _)| drop.hole.number);
    say_coarse(ctx, inputs, pipe.inlet, coarse.collect());
    judged.into_iter().map(|j| j.finding).collect()
}

/// States of which holes only a gross shift could be told.
pub(super) fn say_coarse(ctx: &Context, inputs: &JobInputs, inlet: u8, holes: Vec<u32>) {
    if !holes.is_empty() {
        let percent = fixed(inputs.plan.holes.agreement.value * 100.0, 0);
        let fact = missed::coarse(inlet, list(holes), percent);
        ctx.edit().outcome.could_have_missed.push(stated(inlet, fact));
    }
}

/// The design's own check: enough suction at the last hole, by prediction.
fn suction_at_last_hole(ctx: &Context, inputs: &JobInputs, pipe: &Pipe) {
    let limit = &inputs.plan.limits.last_hole_suction;
    // Beside other pipes it is less than alone.
    if by_meter::of_several(ctx) {
        return;
    }
    let Some((hole, p)) = inputs.holes(pipe).last().and_then(|(h, o)| Some((*h, inputs.predicted(*o)?))) else {
        return;
    };
    if p.suction_pa.value < limit.value {
        ctx.remark(format!(
            "pipe {}: the predicted suction at its last hole ({}) is {:.0} Pa, under the {:.0} Pa of {}: this is the design's, not the work's",
            pipe.inlet, hole.number, p.suction_pa.value, limit.value, limit.source
        ));
    }
}

fn stated(inlet: u8, fact: Fact) -> Statement {
    Statement::of(Subject::Pipe(inlet), fact)
}

/// The smallest defect that each pipe's checks could have missed.
fn smallest_missed(ctx: &Context, inputs: &JobInputs, pipes: Option<&PipesCompared>) {
    let (less, more) = (matters(inputs) * 100.0, inputs.plan.holes.agreement.value * 100.0);
    let mut s = ctx.edit();
    let outcome = &mut s.outcome;
    let visible = outcome.pipes.iter().filter_map(|p| Some((p.inlet, p.smallest_visible?)));
    let smallest = |inlet, flow: f64| missed::smallest(inlet, fixed(flow * 100.0, 1), fixed(less, 0), fixed(more, 0));
    let lines: Vec<Statement> = visible.map(|(inlet, flow)| stated(inlet, smallest(inlet, flow))).collect();
    outcome.could_have_missed.extend(lines);
    let alike = all_alike(inputs, pipes).map(|fact| Statement::of(Subject::Replacement, fact));
    outcome.could_have_missed.extend(alike);
}

/// What may shift the flows of all pipes alike by what this job measured of them, and how much untold air that may be.
/// `None`: flows are told as shares, and none was held against its prediction.
fn all_alike(inputs: &JobInputs, pipes: Option<&PipesCompared>) -> [Fact; 2] {
    let Some(pipes) = pipes else {
        let limit = unit_limit(&inputs.plan.flow.material, &inputs.plan.limits.flow_band);
        return [missed::alike_by_smoke(fixed(limit * 100.0, 0)), missed::untold_unbounded()];
    };
    let Some(alike) = pipes.alike() else { return [missed::alike_unknown(), missed::untold_unbounded()] };
    let (wide, percent) = (coverage_factor(inputs) * alike.u, |share: f64| signed(share * 100.0, 1));
    let (low, high) = (alike.value - wide, alike.value + wide);
    let limit = fixed(unit_limit(&inputs.plan.flow.material, &inputs.plan.limits.flow_band) * 100.0, 0);
    let untold = untold::share(&inputs.pipework, -low).map_or_else(missed::untold_unbounded, |share| {
        missed::untold_air(fixed(share * 100.0, 0), missed::untold_by_flows(&percent(low)))
    });
    [missed::all_alike(percent(low), percent(high), percent(alike.value), limit), untold]
}
