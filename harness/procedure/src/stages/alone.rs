//! A pipe's holes opened one at a time, its others closed: one walk along the pipe with tape, and one back.
//!
//! So are holes proven where a person reads shares in coarse steps, and what closing them one by one left open. Not here: what the
//! readings show ([`crate::judge::alone`]).
use super::{
    by_meter,
    flow::average,
    holes::{ByHoles, Flows, keep, say_coarse, stands},
    inlets,
};
use crate::{
    again::Part,
    context::Context,
    drops::{HoleShown, MeasuredDrop},
    facts::{Fact, fixed, flow, holes as fact, list},
    job::{JobInputs, Pipe, hole_words},
    judge::{
        alone::{AllClosed, Opened, OpenedAlone, both, crossed, is_near, of_another, opened_again},
        holes::of_hole,
        holes_compared::{HoleJudged, compared},
    },
    mean_flow::MeanFlow,
    outcome::{Finding, StageKind, Subject},
    plan::HoleRef,
    prompt::Act,
};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use core::time::Duration;
use libm::{fabs, hypot};
use plumeline_base::{Verdict, input::Answer, time::seconds};
use plumeline_detector::{ask::Look, driver::Wants, vocabulary::FlowBasis};
use plumeline_measure::Error;

/// Whether holes are opened alone: shares that are asked for one by one, or flows off a meter that shows none too; and every hole of
/// the pipe in reach and predicted.
pub(super) fn serves(ctx: &Context, inputs: &JobInputs, holes: &[(HoleRef, usize)], left_out: &[HoleRef]) -> bool {
    let shows_none = ctx.meter().is_some_and(|meter| meter.scale.range.0 <= 0.0);
    (tells_shares(ctx) || shows_none) && ctx.is_asked(Look::Flows) && in_reach(inputs, holes, left_out)
}
fn tells_shares(ctx: &Context) -> bool {
    ctx.abilities().is_some_and(|a| a.flow_basis == FlowBasis::Share)
}
fn in_reach(inputs: &JobInputs, holes: &[(HoleRef, usize)], left_out: &[HoleRef]) -> bool {
    let predicted = |(_, opening): &(HoleRef, usize)| inputs.alone.iter().any(|a| a.opening == *opening);
    left_out.is_empty() && holes.len() > 1 && holes.iter().all(predicted)
}

/// Holes that were closed one by one, as far as that showed them.
pub(super) struct Settled {
    pub(super) drops: Vec<MeasuredDrop>,
    pub(super) found: Vec<Finding>,
    pub(super) closed: Option<AllClosed>,
}

/// What closing one by one left open of a pipe's holes, however long they were closed: each is opened alone. In the transition to
/// turbulent flow the published laws differ most in what closing one hole among many takes away, and in that each hole's
/// longest look is worth no more than the law; what a hole draws alone hardly hangs on it.
pub(super) async fn settle(ctx: &Context, inputs: &JobInputs, pipe: &Pipe, drops: Vec<MeasuredDrop>) -> Settled {
    let open = |j: &HoleJudged| j.finding.verdict == Verdict::Undecided;
    let nothing = |drops| Settled { drops, found: Vec::new(), closed: None };
    if !compared(inputs, &drops).iter().any(open) {
        return nothing(drops);
    }
    let Some((walk, came)) = walked(ctx, inputs, pipe, true).await else { return nothing(drops) };
    let Some((open, closed)) = came else { return Settled { found: walk.found, ..nothing(drops) } };
    let drops = both(&drops, &walk.drops(&open, &closed));
    Settled { drops, found: walk.found, closed: AllClosed::new(inputs, pipe, &open, &closed) }
}

/// What a pipe that seems to draw more than the others predict still draws while all its holes are closed.
pub(super) async fn tightness(ctx: &Context, inputs: &JobInputs, pipe: &Pipe) -> Option<AllClosed> {
    let (walk, came) = walked(ctx, inputs, pipe, false).await?;
    walk.found.into_iter().for_each(|f| ctx.found(f));
    let (open, closed) = came?;
    AllClosed::new(inputs, pipe, &open, &closed)
}

/// A walk along a pipe, and what it drew with all open and with all closed, where that was seen. `None`: no walk can be made.
async fn walked<'a>(
    ctx: &'a Context,
    inputs: &'a JobInputs,
    pipe: &'a Pipe,
    each: bool,
) -> Option<(Walk<'a>, Option<(MeanFlow, MeanFlow)>)> {
    let (holes, left_out) = inputs.holes_to_close(pipe);
    if tells_shares(ctx) || !in_reach(inputs, &holes, &left_out) {
        return None;
    }
    let mut walk = Walk::new(ctx, inputs, pipe, holes);
    if ctx.get().running.ends.since(ctx.now()) < walk.takes(each) {
        ctx.remark(format!("pipe {}: no time is left in this stage to open its holes one at a time", pipe.inlet));
        return None;
    }
    let came = walk.go(None, each).await;
    // What was seen before stands.
    let came = came.map_err(|ends| ctx.remark(ends.finding.says)).ok();
    Some((walk, came))
}

/// Every hole of a pipe, alone.
pub(super) async fn each(
    ctx: &Context,
    inputs: &JobInputs,
    pipe: &Pipe,
    holes: &[(HoleRef, usize)],
    part: Option<&Part>,
) -> ByHoles {
    let mut walk = Walk::new(ctx, inputs, pipe, holes.to_vec());
    let came = walk.go(part, true).await;
    let mut by = ByHoles::default();
    match came {
        Ok((open, closed)) => {
            by.closed = AllClosed::new(inputs, pipe, &open, &closed);
            if by.closed.is_none() {
                walk.found.push(walk.of_pipe(flow::not_predicted()));
            }
            walk.compare(&open, &closed, &mut by);
        }
        Err(Ends { finding, crossed }) => {
            by.crossed = crossed;
            by.left_out = holes.iter().map(|(hole, _)| *hole).collect();
            walk.found.push(*finding);
        }
    }
    for finding in walk.found {
        by.verdicts.push(finding.verdict);
        ctx.found(finding);
    }
    by
}

/// So often is read again what does not agree (practice, no source).
pub(super) const AGAIN: usize = 4;

/// Why a walk ends before a hole was shown.
struct Ends {
    finding: Box<Finding>,
    crossed: bool,
}

struct Walk<'a> {
    ctx: &'a Context,
    inputs: &'a JobInputs,
    pipe: &'a Pipe,
    pipes: Vec<Pipe>,
    holes: Vec<(HoleRef, usize)>,
    /// The number of the hole that is open.
    open: Option<u32>,
    opened: Vec<OpenedAlone>,
    /// What stands of an earlier walk.
    stood: Vec<HoleShown>,
    found: Vec<Finding>,
}

impl<'a> Walk<'a> {
    fn new(ctx: &'a Context, inputs: &'a JobInputs, pipe: &'a Pipe, holes: Vec<(HoleRef, usize)>) -> Self {
        let (opened, stood, found) = (Vec::new(), Vec::new(), Vec::new());
        // What one meter shows is this pipe's: the others are shut.
        let pipes = if by_meter::of_several(ctx) { Vec::from([pipe.clone()]) } else { inputs.pipes() };
        Self { ctx, inputs, pipe, pipes, holes, open: None, opened, stood, found }
    }
    /// How long it takes where flows come by themselves: as long for the hands as for the readings (practice, no source).
    fn takes(&self, each: bool) -> Duration {
        let looks = if each { self.holes.len() + 3 } else { 3 };
        2 * looks as u32 * seconds(self.inputs.plan.holes.wait_s + self.inputs.plan.holes.average_s)
    }
    async fn go(&mut self, part: Option<&Part>, each: bool) -> Result<(MeanFlow, MeanFlow), Ends> {
        // A unit that supervises its flow rightly tells that a pipe draws nothing.
        let expected = core::mem::replace(&mut self.ctx.edit().unit.flow_fault_expected, true);
        let came = self.out_and_back(part, each).await;
        self.ctx.edit().unit.flow_fault_expected = expected;
        came
    }
    /// Closes all, opens one after the other on the way back, and all of them in the end. Gives the pipe's flow with all open, and
    /// with all closed.
    async fn out_and_back(&mut self, part: Option<&Part>, each: bool) -> Result<(MeanFlow, MeanFlow), Ends> {
        let inlet = self.pipe.inlet;
        let words = format!("every hole of pipe {inlet}");
        let before = self.read_twice("flow with every hole open").await;
        let open = self.own(&before).map_err(|e| self.ends(fact::not_measured(&words, e, e.remedy())))?;
        let numbers: Vec<u32> = self.holes.iter().map(|(hole, _)| hole.number).collect();
        let back = if each { " They are then opened one by one on the way back." } else { "" };
        let text = format!(
            "Walk along pipe {inlet} and close every hole with tape, and its end: {}.{back} Done?",
            list(&numbers)
        );
        if let Err(why) = self.ctx.ask_done(Act::CloseHoles { inlet, holes: numbers.clone() }, text).await {
            return Err(self.ends(fact::not_closed(&words, why)));
        }
        let most = self.inputs.plan.flow.material.value * open.estimate.value;
        let mut flows = self.read("flow with every hole closed", |m| m.estimate.value < most).await;
        self.may_stand_still(&open, &mut flows).await;
        let closed = self.all_closed(&before, &flows, &words);
        if let Ok(closed) = closed.as_ref()
            && each
        {
            self.each_alone(part, &open, closed).await;
        }
        // Whatever was shown: nothing stays closed.
        self.open_all(&open, numbers, &words).await;
        closed.map(|closed| (open, closed))
    }

    /// A sensor may stand still where nothing moves: then it is read as an inlet that carries no pipe is.
    async fn may_stand_still(&self, open: &MeanFlow, flows: &mut Flows) {
        let at = self.pipes.iter().position(|p| p.inlet == self.pipe.inlet);
        let Some(own) = at.and_then(|i| flows.get_mut(i)) else { return };
        if matches!(own, Err(Error::Stuck { .. }))
            && let Some(still) = inlets::still(self.ctx, self.pipe.inlet, open).await
        {
            *own = Ok(still);
        }
    }

    fn all_closed(&self, before: &Flows, closed: &Flows, words: &str) -> Result<MeanFlow, Ends> {
        let inlet = self.pipe.inlet;
        let pairs = self.pipes.iter().zip(before.iter().zip(closed));
        let flows: Vec<_> =
            pairs.filter_map(|(p, (a, b))| Some((p.inlet, *a.as_ref().ok()?, *b.as_ref().ok()?))).collect();
        if let Some((other, fell)) = crossed(&flows, inlet) {
            return Err(Ends { crossed: true, ..self.ends(fact::all_crossed(other, fixed(fell * 100.0, 0), inlet)) });
        }
        let own = self.own(closed).map_err(|e| self.ends(fact::not_measured(words, e, e.remedy())))?;
        if by_meter::of_several(self.ctx)
            && let Some(left) = self.own(before).ok().and_then(|before| of_another(&before, &own))
        {
            return Err(Ends { crossed: true, ..self.ends(fact::not_of_pipe(fixed(left * 100.0, 0), inlet)) });
        }
        Ok(own)
    }

    /// On the way back from the end of the pipe.
    async fn each_alone(&mut self, part: Option<&Part>, open: &MeanFlow, closed: &MeanFlow) {
        for (hole, opening) in self.holes.clone().into_iter().rev() {
            match stands(self.ctx, part, hole) {
                Some(shown) => self.stood.push(shown),
                None => self.alone(hole, opening, (open, closed)).await,
            }
        }
        // What the others say of a hole is known only now: where it decides, the hole is opened alone once more and read for longer.
        let judged = compared(self.inputs, &self.drops(open, closed));
        let near: Vec<_> = judged.iter().filter(|j| j.worth_another_look).map(|j| j.finding.subject.clone()).collect();
        for at in 0..self.opened.len() {
            let hole = self.opened[at].hole;
            if near.contains(&Subject::Hole(hole.inlet, hole.number)) {
                self.longer(at).await;
            }
        }
    }

    /// Opens a hole alone once more; what is then read, for longer, counts beside what was read before.
    async fn longer(&mut self, at: usize) {
        let Some(OpenedAlone { hole, words, .. }) = self.opened.get(at) else { return };
        let (hole, words) = (*hole, words.clone());
        if self.open_alone(hole, &words).await.is_err() {
            return;
        }
        let says = format!("{words}: flow while it alone is open, for longer");
        self.ctx.sleep(seconds(self.inputs.plan.holes.wait_s)).await;
        let flows = self.times(self.inputs.plan.advanced.holes.most_longer, &says).await;
        if let (Ok(flow), Some(opened)) = (self.own(&flows), self.opened.get_mut(at)) {
            opened.flows.push(flow);
        }
    }

    /// Has a hole opened alone. `Err`: why it was not.
    async fn open_alone(&mut self, hole: HoleRef, words: &str) -> Result<(), String> {
        let close = self.open.filter(|number| *number != hole.number);
        let place = self.inputs.place_words(hole, words);
        let text = match close {
            Some(other) => format!("Close hole {other} again and open {place}; all others stay closed. Done?"),
            None => format!("Open {place}; all others stay closed. Done?"),
        };
        let act = Act::OpenAlone { inlet: hole.inlet, close, open: hole.number };
        self.ctx.ask_done(act, text).await?;
        self.open = Some(hole.number);
        Ok(())
    }

    /// Opens one hole alone and reads what the pipe draws.
    async fn alone(&mut self, hole: HoleRef, opening: usize, (open, closed): (&MeanFlow, &MeanFlow)) {
        let words = hole_words(hole, self.inputs.pipework.openings[opening].kind);
        let inputs = self.inputs;
        let not = |fact| HoleShown::Found(Box::new(of_hole(inputs, hole, fact)));
        if let Err(why) = self.open_alone(hole, &words).await {
            self.stood.push(not(fact::alone_not_opened(words, why)));
            return;
        }
        let seen = |flow: &MeanFlow| OpenedAlone { hole, opening, words: words.clone(), flows: Vec::from([*flow]) };
        let near =
            |flow: &MeanFlow| seen(flow).drop(self.inputs, open, closed).is_some_and(|d| is_near(self.inputs, &d));
        let flows = self.read(&format!("{words}: flow while it alone is open"), near).await;
        match self.own(&flows) {
            Err(e) => self.stood.push(not(fact::not_measured(words, e, e.remedy()))),
            Ok(flow) => {
                let percent = fixed(flow.estimate.value / open.estimate.value * 100.0, 1);
                self.ctx.shown(format!(
                    "{words}: alone it takes {percent} % of the pipe's flow; it is judged with the pipe's other holes"
                ));
                let opened = seen(&flow);
                self.opened.push(opened);
            }
        }
    }

    /// Opens every hole again; the flow shows whether they are.
    async fn open_all(&mut self, open: &MeanFlow, holes: Vec<u32>, words: &str) {
        let inlet = self.pipe.inlet;
        let mut text = format!("Take all tape off pipe {inlet}: every hole is open again, its end as it was. Done?");
        for last in [false, true] {
            let act = Act::OpenHoles { inlet, holes: holes.clone() };
            if let Err(why) = self.ctx.ask_done(act, text).await {
                self.found.push(self.of_pipe(fact::left_closed(words, why)));
                return;
            }
            let shows = |m: &MeanFlow| opened_again(self.inputs, self.pipe, open, m);
            let is_back = |m: &MeanFlow| matches!(shows(m), Opened::AsBefore | Opened::More(_));
            let after = self.read("flow with every hole open again", is_back).await;
            let mut after = match self.own(&after) {
                Ok(after) => after,
                Err(e) => {
                    self.found.push(self.of_pipe(fact::opened_unseen(words, e, e.remedy())));
                    return;
                }
            };
            if shows(&after) == Opened::Unseen {
                let longer = self.inputs.plan.advanced.holes.most_longer;
                let flows = self.times(longer, "flow with every hole open again, for longer").await;
                after = self.own(&flows).unwrap_or(after);
            }
            let shown = shows(&after);
            let less = match shown {
                Opened::AsBefore | Opened::More(_) => return,
                Opened::Unseen => {
                    let counted = self.tape(&holes).await;
                    self.found.push(self.of_pipe(match counted {
                        Ok(tapes) => fact::opened_counted(tapes),
                        Err(why) => {
                            fact::opened_unseen(words, why, "look at each hole, then prove flow again in quieter air")
                        }
                    }));
                    return;
                }
                Opened::Less(less) | Opened::Part(less) => less,
            };
            let percent = fixed(less * 100.0, 1);
            if last {
                let part = matches!(shown, Opened::Part(_));
                let one = if part { fact::opened_in_part } else { fact::one_left_closed };
                self.found.push(self.of_pipe(one(percent.clone())));
            }
            text = format!(
                "Pipe {inlet} draws {percent} % less than before: look at each of its holes, and open what is still closed. Done?"
            );
        }
    }

    /// Where no flow shows whether all is open again, the tape does: one piece for each hole. `Err`: it does not.
    async fn tape(&self, holes: &[u32]) -> Result<usize, String> {
        let inlet = self.pipe.inlet;
        let hides = "what the pipe draws can't be told from one hole less";
        let mut text = format!(
            "No flow shows whether every hole of pipe {inlet} is open again: {hides}. Count the pieces of tape that came off it."
        );
        for _ in 0..AGAIN {
            let act = Act::CountTape { inlet, holes: holes.to_vec() };
            let (all, unit) = (holes.len(), "pieces".into());
            match self.ctx.ask(act, text, Wants::Number { unit }).await.1 {
                Answer::Number(n) if n == all as f64 => return Ok(all),
                Answer::Number(n) => {
                    text = format!(
                        "{n} pieces of tape came off pipe {inlet}, which has {all} holes: look at each, take off what is left, and count again."
                    );
                }
                Answer::Cannot(why) | Answer::NoBecause(why) => {
                    return Err(format!("{hides}, and the tape was not counted: {why}"));
                }
                _ => break,
            }
        }
        Err(format!("{hides}, and the pieces of tape that came off are not as many as its holes"))
    }

    /// What each hole drew alone, those of an earlier walk too, in the order of the pipe.
    fn drops(&self, open: &MeanFlow, closed: &MeanFlow) -> Vec<MeasuredDrop> {
        let stood = self.stood.iter().filter_map(|shown| match shown {
            HoleShown::Measured(drop) => Some(drop.clone()),
            HoleShown::Found(_) | HoleShown::BySmoke(_) => None,
        });
        let opened = self.opened.iter().filter_map(|o| o.drop(self.inputs, open, closed));
        let mut all: Vec<MeasuredDrop> = stood.chain(opened).collect();
        all.sort_by_key(|drop| drop.hole.number);
        all
    }

    /// Holds the holes against each other. What was opened and has nothing to be held against is said to be open.
    fn compare(&mut self, open: &MeanFlow, closed: &MeanFlow, by: &mut ByHoles) {
        let drops = self.drops(open, closed);
        let lost = self.opened.iter().filter(|o| !drops.iter().any(|drop| drop.hole == o.hole));
        self.found.extend(lost.map(|o| of_hole(self.inputs, o.hole, fact::not_predicted(&o.words))));
        let mut coarse = Vec::new();
        for (drop, judged) in drops.iter().zip(compared(self.inputs, &drops)) {
            coarse.extend(judged.coarse.then_some(drop.hole.number));
            by.deviations.extend(keep(self.ctx, drop.hole, HoleShown::Measured(drop.clone())));
            self.found.push(judged.finding);
        }
        say_coarse(self.ctx, self.inputs, self.pipe.inlet, coarse);
        by.seen = drops.iter().map(MeasuredDrop::seen).collect();
        let found = self.stood.iter().filter_map(|shown| match shown {
            HoleShown::Found(finding) | HoleShown::BySmoke(finding) => Some((**finding).clone()),
            HoleShown::Measured(_) => None,
        });
        self.found.extend(found);
    }

    /// Flows of all pipes once the air has come to rest. What is not as it is `expected` decides something: it is read a second
    /// time, and counts where two agree.
    async fn read(&self, says: &str, expected: impl Fn(&MeanFlow) -> bool) -> Flows {
        self.ctx.sleep(seconds(self.inputs.plan.holes.wait_s)).await;
        let first = self.once(says).await;
        match self.own(&first) {
            Ok(own) if expected(&own) => first,
            _ if self.streams() => first,
            _ => self.agreeing(says, Vec::from([first])).await,
        }
    }
    /// What everything is held against.
    async fn read_twice(&self, says: &str) -> Flows {
        let first = self.once(says).await;
        if self.streams() { first } else { self.agreeing(says, Vec::from([first])).await }
    }
    /// Nobody types: no figure is mistyped.
    fn streams(&self) -> bool {
        !self.ctx.is_asked(Look::Flows)
    }
    /// Reads again until two agree. Where none do, nothing was measured.
    async fn agreeing(&self, says: &str, mut read: Vec<Flows>) -> Flows {
        let noise = self.inputs.plan.advanced.holes.noise;
        let agree = |a: &Flows, b: &Flows| match (self.own(a), self.own(b)) {
            (Ok(a), Ok(b)) => fabs(a.estimate.value - b.estimate.value) <= noise * hypot(a.u_scatter, b.u_scatter),
            _ => false,
        };
        for _ in 0..AGAIN {
            let now = self.once(says).await;
            if read.iter().any(|before| agree(before, &now)) {
                return now;
            }
            read.push(now);
        }
        Vec::new()
    }
    async fn once(&self, says: &str) -> Flows {
        self.times(1.0, says).await
    }
    /// Flows by so many times as many readings as must agree.
    async fn times(&self, times: f64, says: &str) -> Flows {
        let typed = &self.inputs.plan.advanced.typed;
        let typed = typed.each_s * f64::from(typed.entries);
        let span = if self.streams() { self.inputs.plan.holes.average_s } else { typed };
        average(self.ctx, &self.pipes, seconds(span * times), says).await
    }
    fn own(&self, flows: &Flows) -> Result<MeanFlow, Error> {
        let at = self.pipes.iter().position(|p| p.inlet == self.pipe.inlet);
        at.and_then(|i| flows.get(i).cloned()).unwrap_or(Err(Error::TooFew { have: 0, need: 1 }))
    }
    fn of_pipe(&self, fact: Fact) -> Finding {
        Finding::of(StageKind::ProveFlow, Subject::Pipe(self.pipe.inlet), fact)
    }
    fn ends(&self, fact: Fact) -> Ends {
        Ends { finding: Box::new(self.of_pipe(fact)), crossed: false }
    }
}
