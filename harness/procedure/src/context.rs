//! What stage code works with: the time, the unit, the operator, the readings, the record. All waiting is here.
//!
//! A [`Context`] is a handle on the state that the machine and its tasks share. No borrow of that state is ever held
//! across a wait. Not here: what a stage does ([`crate::stages`]), how events get in ([`crate::machine`]).
use crate::{
    again::{self, Named, Part},
    effect::{Effect, Entry, Progress},
    executor::wait_for,
    instrument::Instrument,
    job::JobInputs,
    lines::Drivers,
    means,
    outcome::{Finding, StageKind, Subject},
    prompt::{Act, Prompt},
    readings::Timed,
    state::{Given, OpenAs},
};
pub(crate) use crate::{
    state::{Deadline, JobState},
    stop::Stop,
};
use alloc::{boxed::Box, format, rc::Rc, string::String};
use core::{
    cell::{Ref, RefCell, RefMut},
    future::poll_fn,
    task::Poll,
    time::Duration,
};
use plumeline_base::{
    Instant, Verdict,
    input::{Answer, LineId, OperatorAct},
};
use plumeline_detector::{
    Abilities, Ask, Faults, ReadingsBy, Request, Ticket, Trouble, ask,
    driver::{About, End, Wants},
    vocabulary::FlowBasis,
};

/// How long is waited before a unit that did not answer is asked again: at first, and at most.
const BACK_OFF: (Duration, Duration) = (Duration::from_millis(500), Duration::from_secs(8));

/// A handle on the shared state.
#[derive(Clone)]
pub(crate) struct Context(Rc<RefCell<JobState>>);

impl Context {
    pub(crate) fn new(drivers: Drivers, inputs: Rc<JobInputs>) -> Self {
        Self(Rc::new(RefCell::new(JobState::new(drivers, inputs))))
    }
    pub(crate) fn get(&self) -> Ref<'_, JobState> {
        self.0.borrow()
    }
    pub(crate) fn edit(&self) -> RefMut<'_, JobState> {
        self.0.borrow_mut()
    }
    pub(crate) fn now(&self) -> Instant {
        self.get().now
    }
    pub(crate) fn inputs(&self) -> Rc<JobInputs> {
        self.get().inputs.clone()
    }
    pub(crate) fn stage(&self) -> StageKind {
        self.get().running.stage
    }
    /// The meter at the replacement's exhaust, if the flows of this stage are read off one.
    pub(crate) fn meter(&self) -> Option<Instrument> {
        let s = self.get();
        let of_replacement = !matches!(s.running.stage, StageKind::Bench | StageKind::Isolate | StageKind::AsFound);
        s.inputs.plan.exhaust_meter().filter(|_| of_replacement).cloned()
    }
    pub(crate) fn abilities(&self) -> Option<Abilities> {
        self.get().lines.used().driver.abilities().cloned()
    }

    // ---- the record ----

    pub(crate) fn effect(&self, effect: Effect) {
        let mut s = self.edit();
        s.effects.push_back(effect);
        s.changed = true;
    }
    pub(crate) fn note(&self, entry: Entry) {
        self.effect(Effect::Note(entry));
    }
    pub(crate) fn remark(&self, text: impl Into<String>) {
        self.note(Entry::Remark { text: text.into() });
    }
    pub(crate) fn found(&self, mut finding: Finding) {
        // Where flows are read off a meter, whatever is a flow was read off it.
        if let (Some(meter), Some(measured)) = (self.meter(), finding.measured.as_mut())
            && measured.unit == FlowBasis::Actual.unit().0
        {
            measured.by.get_or_insert_with(|| meter.label());
        }
        self.note(Entry::Found(Box::new(finding.clone())));
        // A baseline is only as good as what is tested on it.
        let voids = (finding.verdict == Verdict::Fail && finding.stage.row().traits.tests_baseline)
            .then(|| format!("a later test failed: {}: {}", finding.subject, finding.says));
        let means = means::means(&finding, |request| self.means(request));
        self.edit().outcome.findings.push(Finding { means: Some(means), ..finding });
        if let Some(because) = voids {
            self.void(&[StageKind::Baseline], &because);
        }
    }
    pub(crate) fn progress(&self, says: impl Into<String>, fraction: Option<f64>, left: Option<Duration>) {
        let progress = Progress {
            stage: self.stage(),
            says: says.into(),
            fraction,
            left_s: left.map(|d| d.as_secs_f64()),
            stays: false,
        };
        self.effect(Effect::Progress(progress));
    }
    /// Shows at once what was just found out, before it is judged.
    pub(crate) fn shown(&self, says: impl Into<String>) {
        let progress = Progress { stage: self.stage(), says: says.into(), fraction: None, left_s: None, stays: true };
        self.effect(Effect::Progress(progress));
    }
    /// The verdict of the findings of a stage so far.
    pub(crate) fn verdict_of(&self, stage: StageKind) -> Verdict {
        let s = self.get();
        Verdict::over(s.outcome.findings.iter().filter(|f| f.stage == stage && f.stands()).map(Finding::counts_as))
    }
    /// The stage was not run.
    pub(crate) fn is_left_out(&self, stage: StageKind) -> bool {
        self.get().outcome.not_done.iter().any(|(s, _)| *s == stage)
    }
    /// These stages are done again: what they found stays in the record and no longer counts. What was ticked off stands.
    /// Of the smoke at one pipe only what is about that pipe, or about no pipe.
    pub(crate) fn put_right(&self, stages: &[StageKind], part: Option<&Part>, why: &str) {
        {
            let mut s = self.edit();
            let s: &mut JobState = &mut s;
            let o = &mut s.outcome;
            let ticked = |f: &Finding| matches!(f.subject, Subject::Check(_)) && f.counts_as().is_pass();
            let elsewhere = |inlet: u8| matches!(part, Some(Part::Smoke(pipe)) if *pipe != inlet);
            let other_pipe =
                |f: &Finding| f.stage == StageKind::ProveSmoke && matches!(f.subject, Subject::Pipe(n) if elsewhere(n));
            let stays = |f: &Finding| ticked(f) || other_pipe(f);
            let again = o.findings.iter_mut().filter(|f| stages.contains(&f.stage) && f.stands() && !stays(f));
            again.for_each(|f| f.put_right = Some(why.into()));
            let again = o.stages.iter_mut().filter(|r| stages.contains(&r.stage) && r.put_right.is_none());
            again.for_each(|r| r.put_right = Some(why.into()));
            if stages.contains(&StageKind::ProveSmoke) {
                let runs = o.smoke.iter_mut().filter(|r| r.set_aside.is_none() && !elsewhere(r.inlet));
                runs.for_each(|r| r.set_aside = Some(why.into()));
                s.record.too_strong.clear();
                (s.record.untold, s.record.untold_looks) = (None, 0);
                if part.is_none() {
                    s.record.alarms.clear();
                    s.record.leaving.clear();
                }
            }
            o.trouble = None;
            s.running.part = part.cloned();
            if stages.contains(&StageKind::Baseline) {
                s.unit.baseline = None;
            }
        }
        self.note(Entry::PutRight { stages: stages.to_vec(), what: why.into() });
    }
    /// Makes findings of these stages void.
    pub(crate) fn void(&self, stages: &[StageKind], because: &str) {
        let mut any = false;
        for f in self.edit().outcome.findings.iter_mut().filter(|f| stages.contains(&f.stage) && f.void.is_none()) {
            f.void = Some(because.into());
            any = true;
        }
        if any {
            self.note(Entry::Void { stages: stages.to_vec(), because: because.into() });
        }
    }

    // ---- time ----

    pub(crate) async fn sleep_until(&self, at: Instant) {
        poll_fn(|_| {
            let mut s = self.edit();
            if s.now >= at {
                return Poll::Ready(());
            }
            s.wakes.insert(at);
            Poll::Pending
        })
        .await;
    }
    /// Waits for the end of the stage's time, which moves when the job is taken up again.
    pub(crate) async fn stage_end(&self) {
        poll_fn(|_| {
            let mut s = self.edit();
            let ends = s.running.ends;
            if s.now >= ends {
                return Poll::Ready(());
            }
            s.wakes.insert(ends);
            Poll::Pending
        })
        .await;
    }
    /// So long from now, pauses in which nobody watches not counted.
    pub(crate) fn within(&self, d: Duration) -> Deadline {
        let s = self.get();
        Deadline { at: s.now + d, paused: s.paused }
    }
    /// Time left until then.
    pub(crate) fn left(&self, deadline: Deadline) -> Duration {
        let s = self.get();
        s.end(deadline).since(s.now)
    }
    pub(crate) async fn reached(&self, deadline: Deadline) {
        poll_fn(|_| {
            let mut s = self.edit();
            let end = s.end(deadline);
            if s.now >= end {
                return Poll::Ready(());
            }
            s.wakes.insert(end);
            Poll::Pending
        })
        .await;
    }
    pub(crate) async fn sleep(&self, d: Duration) {
        self.reached(self.within(d)).await;
    }
    /// Time in which nobody watched, so far: where it grows over a measurement, what happened meanwhile is not known.
    pub(crate) fn paused(&self) -> Duration {
        self.get().paused
    }

    // ---- the operator ----

    /// Asks, and waits for the answer with the instant at which it was given. If the wait is given up, the prompt is withdrawn.
    pub(crate) async fn ask(&self, act: Act, text: impl Into<String>, wants: Wants) -> (Instant, Answer) {
        let (_, at, answer) = self.ask_after(None, act, text, wants).await;
        (at, answer)
    }
    /// The same, with the number of the prompt. `back` is an earlier prompt on whose answer nothing rests yet: the answer to
    /// this one may be [`Answer::Back`], and the caller then asks that one again.
    pub(crate) async fn ask_after(
        &self,
        back: Option<u32>,
        act: Act,
        text: impl Into<String>,
        wants: Wants,
    ) -> (u32, Instant, Answer) {
        if matches!(act, Act::ReleaseSmoke(_)) {
            let mut s = self.edit();
            (s.site.smoke_used, s.site.smoke_out) = (true, true);
            s.record.latched = 0;
        }
        let text = text.into();
        loop {
            let id = self.open_prompt(None, back, act.clone(), text.clone(), wants.clone());
            let prompt = OpenPrompt { ctx: self.clone(), id };
            let given = wait_for(|| prompt.ctx.edit().prompts.answers.remove(&id)).await;
            let (at, answer) = match given {
                Given::Answer(at, answer) => (at, answer),
                Given::AskAgain => continue,
            };
            match answer {
                Answer::Later if !(act.may_wait() && self.get().prompts.may_wait) => {
                    self.remark("nothing else is left of this walk: it is asked now, and can be refused with a reason");
                }
                // Where something rests on the answer before, there is no way back: the question stands.
                Answer::Back if back.is_none() => {}
                Answer::Again(what) => {
                    if self.take_up(&act, &what) {
                        // The stage ends here.
                        core::future::pending::<()>().await;
                    }
                }
                answer => return (id, at, answer),
            }
        }
    }
    /// Something is to be done again before this is answered. Where it can't be, that is said and the question stands.
    fn take_up(&self, act: &Act, what: &str) -> bool {
        let stage = self.stage();
        let (attended, done) = {
            let s = self.get();
            let done = |n: &Named| s.outcome.stages.iter().any(|r| r.stage == n.stage()) || n.stage() == stage;
            (s.running.attended, Named::parse(&s.inputs, what).filter(done))
        };
        match done {
            _ if !attended => self.remark("nothing is done again here: the plan decides what follows"),
            _ if act.ends_something() => self.remark("first answer what is asked: it ends what was begun at the site"),
            _ if !stage.row().traits.bound_to_settings => self.remark(format!("at {stage} nothing is done again")),
            None => self.remark(format!("\"{what}\" names nothing that was done here: name {}", again::NAMES)),
            Some(named) => {
                let mut s = self.edit();
                (s.running.again, s.changed) = (Some(named), true);
                return true;
            }
        }
        false
    }
    /// The answer to an earlier prompt no longer holds; what was said stays in the journal.
    pub(crate) fn taken_back(&self, prompt: u32, act: Act) {
        self.note(Entry::TakenBack { prompt, of: act });
    }
    fn open_prompt(
        &self,
        question: Option<(LineId, u32)>,
        back: Option<u32>,
        act: Act,
        text: String,
        wants: Wants,
    ) -> u32 {
        let prompt = {
            let mut s = self.edit();
            let id = s.prompts.asked.saturating_add(1);
            s.prompts.asked = id;
            let open = OpenAs { since: s.now, of: question };
            s.prompts.open.insert(id, open);
            Prompt { id, act, text, wants, back }
        };
        let id = prompt.id;
        self.note(Entry::Asked(prompt.clone()));
        self.effect(Effect::Ask(prompt));
        id
    }
    /// A question of the driver's becomes a prompt.
    pub(crate) fn open_question(&self, line: LineId, q: plumeline_detector::Question) {
        self.open_prompt(Some((line, q.id)), None, Act::ReadDisplay { about: q.about }, q.text, q.wants);
    }
    /// An answer arrived. Answers to prompts that are not open are noted and otherwise ignored.
    pub(crate) fn answered(&self, act: &OperatorAct) {
        let (id, answer) = (act.prompt, act.answer.clone());
        self.note(Entry::Answered { prompt: id, answer: answer.clone(), page: act.page.clone() });
        let open = self.edit().prompts.open.remove(&id);
        let moment = self.moment_of(act, open);
        let open = open.map(|open| open.of);
        let of_driver = Act::ReadDisplay { about: About::Other };
        if let (Some(Some(_)), Answer::Again(what)) = (open, &answer) {
            // Where nothing can be done again the driver asks once more.
            self.take_up(&of_driver, what);
        }
        let mut s = self.edit();
        let now = s.now;
        match open {
            Some(Some((line, question))) => {
                if let Some(line) = s.lines.get_mut(line) {
                    line.driver.answer(now, question, &answer);
                }
            }
            Some(None) => {
                let given = moment.map_or(Given::AskAgain, |at| Given::Answer(at, answer));
                s.prompts.answers.insert(id, given);
            }
            None => {}
        }
        s.changed = true;
    }

    // ---- the unit ----

    /// Asks the unit once and waits for how it ends.
    pub(crate) async fn unit_once<A: Ask>(&self, ask: A) -> Result<A::Reply, Trouble> {
        let request = ask.request();
        let asked = self.now();
        let lease = match request {
            Request::Inhibit { lease } => Some((lease, false)),
            Request::RenewInhibit => Some((Duration::from_secs(self.inputs().plan.link.inhibit_lease_s.into()), true)),
            _ => None,
        };
        let released = match request {
            Request::Drive { output, on: false } => Some(output),
            _ => None,
        };
        let ticket = {
            let mut s = self.edit();
            let now = s.now;
            if let Request::Drive { output, on: true } = request {
                let until = now + plumeline_base::time::seconds(s.inputs.plan.advanced.inhibit.driven_most_s);
                s.inhibit.driven.insert(output, until);
            }
            let ticket = (s.lines.in_use(), s.lines.used_mut().driver.request(now, request));
            s.requests.wanted.insert(ticket);
            s.changed = true;
            ticket
        };
        let wanted = WantedTicket { ctx: self.clone(), ticket };
        let reply = wait_for(|| wanted.ctx.edit().requests.ended.remove(&ticket)).await?;
        let mut s = self.edit();
        let now = s.now;
        // Whoever asked: it answers, and the next silence is another one, to be told again.
        s.last_trouble = None;
        if let Some((lease, renewed)) = lease {
            s.inhibit.granted(asked, now, lease, renewed);
        }
        // Only an answer says that it goes back; readings of before are under way yet.
        if let Some(output) = released {
            let until = now + plumeline_base::time::seconds(s.inputs.plan.advanced.inhibit.driven_after_s);
            s.inhibit.driven.insert(output, until);
        }
        drop(s);
        A::told(reply).ok_or_else(|| Trouble::Nonsense("it is the answer to another question".into()))
    }
    /// Asks the unit until it answers, with back-off while it is silent, garbled or off the line; the stage's deadline ends
    /// it. What the unit refuses, can't do or gets wrong comes back at once.
    pub(crate) async fn unit<A: Ask>(&self, ask: A) -> Result<A::Reply, Trouble> {
        let (mut pause, longest) = BACK_OFF;
        loop {
            let ready = || {
                let s = self.get();
                (s.lines.used().link.up && !s.unit.unidentified && !s.unit.settings_unseen).then_some(())
            };
            if ready().is_none() {
                self.progress("waiting for the link to the unit", None, None);
                wait_for(ready).await;
            }
            match self.unit_once(ask.clone()).await {
                Err(trouble @ (Trouble::Silent | Trouble::Garbled | Trouble::LinkDown(_))) => {
                    self.note_trouble(&trouble);
                    self.sleep(pause).await;
                    pause = (pause * 2).min(longest);
                }
                end => return end,
            }
        }
    }
    pub(crate) fn note_trouble(&self, trouble: &Trouble) {
        if self.get().last_trouble.as_ref() != Some(trouble) {
            self.note(Entry::Line { trouble: trouble.clone() });
            self.edit().last_trouble = Some(trouble.clone());
        }
    }
    /// A request ended: kept if somebody waits for it.
    pub(crate) fn ended(&self, ticket: (LineId, Ticket), end: End) {
        let mut s = self.edit();
        if s.requests.wanted.contains(&ticket) {
            s.requests.ended.insert(ticket, end);
        }
        s.changed = true;
    }
    /// Wants readings from now on; a supervisor brings them back when they stop. Where each is asked for there is nothing to want.
    pub(crate) async fn start_readings(&self) -> Result<(), Stop> {
        let hz = self.inputs().plan.link.readings_hz;
        match self.abilities().map(|a| a.readings) {
            Some(ReadingsBy::Asking) => return Ok(()),
            Some(ReadingsBy::None) => {
                return Err(Stop::Trouble(Trouble::CannotDo(
                    "it gives no readings, by the line or by its display".into(),
                )));
            }
            Some(ReadingsBy::Stream { .. }) | None => {}
        }
        self.unit(ask::StartReadings { hz }).await.map_err(Stop::Trouble)?;
        let mut s = self.edit();
        s.stream.hz = Some(hz);
        s.stream.lost = false;
        Ok(())
    }
    pub(crate) async fn stop_readings(&self) {
        let was = self.edit().stream.hz.take();
        if was.is_some() && self.get().lines.used().link.up {
            // A unit that can't be asked to stop streams on; that harms nothing.
            let _ = self.unit_once(ask::StopReadings).await;
        }
    }
    /// The latest reading, while it tells how things stand now.
    pub(crate) fn latest(&self) -> Option<Rc<Timed>> {
        let s = self.get();
        let present = plumeline_base::time::seconds(s.inputs.plan.advanced.readings.present_s);
        s.readings.latest().filter(|t| s.now.since(t.reading.received) <= present).cloned()
    }
    /// The faults that stand now, where they are told.
    pub(crate) fn faults(&self) -> Option<Faults> {
        self.latest().and_then(|t| t.reading.faults)
    }

    /// No output is driven any more.
    pub(crate) fn let_outputs_go(&self) {
        let mut s = self.edit();
        let s: &mut JobState = &mut s;
        let rest = s.now + plumeline_base::time::seconds(s.inputs.plan.advanced.inhibit.driven_after_s);
        for (output, until) in s.inhibit.driven.iter_mut().filter(|(_, until)| **until > rest) {
            *until = rest;
            s.lines.used_mut().driver.request(s.now, Request::Drive { output: *output, on: false });
        }
        s.changed = true;
    }
    /// The job is left in a safe state, to be taken up again: no output is driven, and the inhibit is not given back but lapses
    /// with its fault, as it does when a program ends.
    pub(crate) fn pause(&self, why: &str) {
        self.remark(format!("paused: {why}"));
        self.let_outputs_go();
        self.effect(Effect::Paused);
    }

    // ---- the link ----

    /// The job was taken up again after `pause`, in which nobody watched: neither a stage nor a wait runs out of time by it, clocks
    /// are tied anew, and the unit says who it is and shows its settings before anything is asked of it.
    pub(crate) fn taken_up(&self, pause: Duration) {
        let mut s = self.edit();
        s.running.ends += pause;
        s.paused += pause;
        s.untie();
        s.unit.unidentified = s.unit.identity.is_some();
        s.unit.settings_unseen = s.unit.unidentified && s.unit.as_left.is_some();
        s.changed = true;
    }

    pub(crate) fn connect(&self, line: LineId) {
        if let Some(line) = self.edit().lines.get_mut(line) {
            line.link.next_try = None;
        }
        self.effect(Effect::Connect(line));
    }
    pub(crate) fn link_is(&self, id: LineId, up: bool) {
        let mut s = self.edit();
        let (now, used) = (s.now, s.lines.in_use() == id);
        let Some(line) = s.lines.get_mut(id) else { return };
        if up {
            line.link.is_up();
        } else {
            line.link.is_down(now, used);
            s.stream.lost |= used;
        }
        s.changed = true;
    }
    /// Talks to the unit on this line from now on, where each has one of its own.
    pub(crate) fn turn_to(&self, line: LineId) {
        let turned = self.edit().lines.turn_to(line);
        if turned && !self.get().lines.used().link.up {
            self.connect(line);
        }
    }
}

/// Withdraws the prompt if nobody waits for it any more.
struct OpenPrompt {
    ctx: Context,
    id: u32,
}
impl Drop for OpenPrompt {
    fn drop(&mut self) {
        let open = self.ctx.edit().prompts.open.remove(&self.id).is_some();
        if open {
            self.ctx.effect(Effect::Withdraw(self.id));
        }
    }
}

/// Forgets the end of a request that nobody waits for any more.
struct WantedTicket {
    ctx: Context,
    ticket: (LineId, Ticket),
}
impl Drop for WantedTicket {
    fn drop(&mut self) {
        let asked = {
            let mut s = self.ctx.edit();
            let s: &mut JobState = &mut s;
            s.requests.ended.remove(&self.ticket);
            let (line, ticket) = self.ticket;
            let waits = s.requests.wanted.remove(&self.ticket);
            s.changed |= waits;
            let question = s.lines.get_mut(line).filter(|_| waits).and_then(|l| l.driver.give_up(s.now, ticket));
            question.and_then(|q| s.prompts.open.iter().find(|(_, open)| open.of == Some((line, q))).map(|(id, _)| *id))
        };
        if let Some(id) = asked {
            self.ctx.edit().prompts.open.remove(&id);
            self.ctx.effect(Effect::Withdraw(id));
        }
    }
}
