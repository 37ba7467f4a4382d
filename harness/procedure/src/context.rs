//! What stage code works with: the time, the unit, the operator, the readings, the record. All waiting is here.
//!
//! A [`Context`] is a handle on the state that the machine and its tasks share. No borrow of that state is ever held
//! across a wait. Not here: what a stage does ([`crate::stages`]), how events get in ([`crate::machine`]).
use crate::{
    effect::{Effect, Entry, Progress},
    executor::wait_for,
    job::JobInputs,
    lines::{Drivers, Lines},
    mean_flow::MeanFlow,
    outcome::{Finding, Outcome, StageKind},
    prompt::{Act, Prompt},
    readings::{Feed, Log, Timed},
};
pub(crate) use crate::{facts::list, stop::Stop};
use alloc::{
    boxed::Box,
    collections::{BTreeMap, BTreeSet, VecDeque},
    format,
    rc::Rc,
    string::String,
    vec::Vec,
};
use core::{
    cell::{Ref, RefCell, RefMut},
    future::poll_fn,
    task::Poll,
    time::Duration,
};
use plumeline_base::{
    Instant, Verdict,
    input::{AbortCause, Answer, LineId},
};
use plumeline_detector::{
    Abilities, Baseline, Faults, Identity, Request, SettingsState, Ticket, Told, Trouble, driver::Wants,
    settings::Settings,
};
use plumeline_measure::clock;

/// An output that is driven here goes back by itself within this time (a drive runs 30 s), ...
const DRIVEN_MOST: Duration = Duration::from_secs(40);
/// ... and within this one after it was let go.
const DRIVEN_AFTER: Duration = Duration::from_secs(5);

/// When a reading counted, and by which clock.
#[derive(Clone, Copy)]
pub(crate) struct Counted {
    pub(crate) at: Instant,
    /// As its clock told it.
    pub(crate) told: Instant,
    /// The tie that mapped it; `None`: its arrival.
    pub(crate) tie: Option<u32>,
}

/// How late the readings of one tie come at the least: on an honest line some come at once.
#[derive(Clone, Copy, Default)]
pub(crate) struct Lateness {
    tie: u32,
    readings: u32,
    least_s: f64,
}
impl Lateness {
    /// Readings looked at before they are judged.
    const ENOUGH: u32 = 20;
    /// No reading on an honest line takes longer than this every time, s.
    const MOST_S: f64 = 1.0;
    /// Takes in how late a reading mapped by a tie came; true if all of them come too late.
    pub(crate) fn contradicts(&mut self, tie: u32, late_s: f64) -> bool {
        if self.readings == 0 || self.tie != tie {
            *self = Self { tie, readings: 0, least_s: late_s };
        }
        self.readings = self.readings.saturating_add(1);
        self.least_s = self.least_s.min(late_s);
        self.readings >= Self::ENOUGH && self.least_s > Self::MOST_S
    }
}

/// The end of a wait, which moves by every pause in which nobody watched.
#[derive(Clone, Copy)]
pub(crate) struct Deadline {
    at: Instant,
    paused: Duration,
}

/// State shared by the machine and its tasks.
pub(crate) struct Shared {
    pub(crate) now: Instant,
    pub(crate) lines: Lines,
    pub(crate) inputs: Rc<JobInputs>,
    pub(crate) effects: VecDeque<Effect>,
    pub(crate) changed: bool,
    pub(crate) wakes: BTreeSet<Instant>,
    pub(crate) readings: Log,
    pub(crate) tie: Option<clock::Tie>,
    /// Counts the ties that were begun: what was mapped by one is not to be compared with what another maps.
    pub(crate) tie_number: u32,
    /// The latest reading that was counted.
    pub(crate) counted: Option<Counted>,
    pub(crate) lateness: Lateness,
    /// Time in which nobody watched, all together: what waits for a time waits so much longer.
    pub(crate) paused: Duration,
    pub(crate) abort: Option<AbortCause>,
    pub(crate) identity: Option<Identity>,
    /// A start of the unit is expected: a new boot id voids nothing.
    pub(crate) start_expected: bool,
    pub(crate) started_anew: bool,
    /// Readings a second that should be coming, and whether they stopped.
    pub(crate) stream: Option<u8>,
    pub(crate) stream_lost: bool,
    pub(crate) inhibited: bool,
    /// Until when each output may be operated because it is driven here.
    pub(crate) driven: BTreeMap<u8, Instant>,
    /// Going on is not safe: what was found says why.
    pub(crate) unsafe_to_go_on: bool,
    /// Why the inhibit of the replacement did not hold, each time.
    pub(crate) lapses: Vec<Trouble>,
    /// Leases are renewed; false only while a lapse is waited for.
    pub(crate) renewing: bool,
    /// The zone is isolated, the release circuits are locked off.
    pub(crate) zone_isolated: bool,
    pub(crate) locked_off: bool,
    pub(crate) isolated_at: Option<Instant>,
    pub(crate) restored_at: Option<Instant>,
    pub(crate) stage: StageKind,
    pub(crate) stage_ends: Instant,
    pub(crate) outcome: Outcome,
    pub(crate) as_left: Option<Settings>,
    /// What the replacement held after its load: on the bench, and on the wall.
    pub(crate) bench: Option<(Identity, Option<SettingsState>)>,
    pub(crate) loaded: Option<SettingsState>,
    /// Who does the work by hand.
    pub(crate) who: Option<String>,
    /// A date that the log noted, ms since 1970 UTC.
    pub(crate) date: Option<(Instant, u64)>,
    pub(crate) last_trouble: Option<Trouble>,
    /// Smoke was asked for at some time in this job.
    pub(crate) smoke_used: bool,
    /// Smoke was asked for and nobody has said yet that it has stopped.
    pub(crate) smoke_out: bool,
    /// The log has been opened: what opens it again takes the job up.
    pub(crate) opened: bool,
    /// The job was taken up again and the unit has not yet said who it is.
    pub(crate) unidentified: bool,
    /// The flow fault is expected: an inlet is shut for the test, or was just put back.
    pub(crate) flow_fault_expected: bool,
    /// Flows with the outgoing unit, by inlet.
    pub(crate) as_found: BTreeMap<u8, MeanFlow>,
    /// The baseline that was taken in this job.
    pub(crate) baseline: Option<Baseline>,
    /// The job was taken up again and it is not yet known whether the unit's settings are still those that it was left with.
    pub(crate) settings_unseen: bool,
    /// Why the unit's settings no longer count as those that it was left with.
    pub(crate) other_settings: Option<String>,
    next_prompt: u32,
    /// Open prompts; those that are a driver's question, with its line and number.
    prompts: BTreeMap<u32, Option<(LineId, u32)>>,
    answers: BTreeMap<u32, (Instant, Answer)>,
    wanted: BTreeSet<(LineId, Ticket)>,
    told: BTreeMap<(LineId, Ticket), Told>,
}

impl Shared {
    /// The tie of the clocks no longer holds.
    pub(crate) fn untie(&mut self) {
        self.tie = None;
        self.tie_number = self.tie_number.wrapping_add(1);
    }
    fn end(&self, deadline: Deadline) -> Instant {
        deadline.at + self.paused.saturating_sub(deadline.paused)
    }
}

/// A handle on the shared state.
#[derive(Clone)]
pub(crate) struct Context(Rc<RefCell<Shared>>);

impl Context {
    pub(crate) fn new(drivers: Drivers, inputs: Rc<JobInputs>) -> Self {
        Self(Rc::new(RefCell::new(Shared {
            now: Instant::START,
            lines: Lines::new(drivers),
            inputs,
            effects: VecDeque::new(),
            changed: false,
            wakes: BTreeSet::new(),
            readings: Log::default(),
            tie: None,
            tie_number: 0,
            counted: None,
            lateness: Lateness::default(),
            paused: Duration::ZERO,
            abort: None,
            identity: None,
            start_expected: true,
            started_anew: false,
            stream: None,
            stream_lost: false,
            inhibited: false,
            driven: BTreeMap::new(),
            unsafe_to_go_on: false,
            lapses: Vec::new(),
            renewing: true,
            zone_isolated: false,
            locked_off: false,
            isolated_at: None,
            restored_at: None,
            stage: StageKind::Isolate,
            stage_ends: Instant::FAR_FUTURE,
            outcome: Outcome::default(),
            as_left: None,
            bench: None,
            loaded: None,
            who: None,
            date: None,
            last_trouble: None,
            smoke_used: false,
            smoke_out: false,
            opened: false,
            unidentified: false,
            flow_fault_expected: false,
            as_found: BTreeMap::new(),
            baseline: None,
            settings_unseen: false,
            other_settings: None,
            next_prompt: 1,
            prompts: BTreeMap::new(),
            answers: BTreeMap::new(),
            wanted: BTreeSet::new(),
            told: BTreeMap::new(),
        })))
    }
    pub(crate) fn get(&self) -> Ref<'_, Shared> {
        self.0.borrow()
    }
    pub(crate) fn edit(&self) -> RefMut<'_, Shared> {
        self.0.borrow_mut()
    }
    pub(crate) fn now(&self) -> Instant {
        self.get().now
    }
    pub(crate) fn inputs(&self) -> Rc<JobInputs> {
        self.get().inputs.clone()
    }
    pub(crate) fn stage(&self) -> StageKind {
        self.get().stage
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
    pub(crate) fn found(&self, finding: Finding) {
        self.note(Entry::Found(Box::new(finding.clone())));
        // A baseline is only as good as what is tested on it.
        let voids = (finding.verdict == Verdict::Fail && finding.stage.row().traits.tests_baseline)
            .then(|| format!("a later test failed: {}: {}", finding.subject, finding.says));
        self.edit().outcome.findings.push(finding);
        if let Some(because) = voids {
            self.void(&[StageKind::Baseline], &because);
        }
    }
    pub(crate) fn progress(&self, says: impl Into<String>, fraction: Option<f64>, left: Option<Duration>) {
        let progress =
            Progress { stage: self.stage(), says: says.into(), fraction, left_s: left.map(|d| d.as_secs_f64()) };
        self.effect(Effect::Progress(progress));
    }
    /// The verdict of the findings of a stage so far.
    pub(crate) fn verdict_of(&self, stage: StageKind) -> Verdict {
        Verdict::over(self.get().outcome.findings.iter().filter(|f| f.stage == stage).map(Finding::counts_as))
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
            let ends = s.stage_ends;
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
        if matches!(act, Act::ReleaseSmoke(_)) {
            let mut s = self.edit();
            (s.smoke_used, s.smoke_out) = (true, true);
        }
        let id = self.open_prompt(None, act, text.into(), wants);
        let prompt = OpenPrompt { ctx: self.clone(), id };
        wait_for(|| prompt.ctx.edit().answers.remove(&id)).await
    }
    /// Asks for something that is done or can't be done. `Err` gives the reason why not.
    pub(crate) async fn ask_done(&self, act: Act, text: impl Into<String>) -> Result<Instant, String> {
        match self.ask(act, text, Wants::Done).await {
            (at, Answer::Yes) => Ok(at),
            (_, Answer::Cannot(why)) => Err(why),
            (_, Answer::Text(why)) if !why.is_empty() => Err(why),
            (_, Answer::No | Answer::Number(_) | Answer::Text(_) | Answer::Ticked(_)) => {
                Err("no reason was given".into())
            }
        }
    }
    fn open_prompt(&self, question: Option<(LineId, u32)>, act: Act, text: String, wants: Wants) -> u32 {
        let prompt = {
            let mut s = self.edit();
            let id = s.next_prompt;
            s.next_prompt = s.next_prompt.saturating_add(1);
            s.prompts.insert(id, question);
            Prompt { id, act, text, wants }
        };
        let id = prompt.id;
        self.note(Entry::Asked(prompt.clone()));
        self.effect(Effect::Ask(prompt));
        id
    }
    /// A question of the driver's becomes a prompt.
    pub(crate) fn open_question(&self, line: LineId, q: plumeline_detector::Question) {
        self.open_prompt(Some((line, q.id)), Act::ReadDisplay, q.text, q.wants);
    }
    /// An answer arrived. Answers to prompts that are not open are noted and otherwise ignored.
    pub(crate) fn answered(&self, id: u32, answer: Answer) {
        self.note(Entry::Answered { prompt: id, answer: answer.clone() });
        let mut s = self.edit();
        let now = s.now;
        match s.prompts.remove(&id) {
            Some(Some((line, question))) => {
                if let Some(line) = s.lines.get_mut(line) {
                    line.driver.answer(now, question, &answer);
                }
            }
            Some(None) => {
                s.answers.insert(id, (now, answer));
            }
            None => {}
        }
        s.changed = true;
    }

    // ---- the unit ----

    /// Asks the unit once and waits for how it ends.
    pub(crate) async fn unit_once(&self, request: Request) -> Result<Told, Trouble> {
        let ticket = {
            let mut s = self.edit();
            let now = s.now;
            if let Request::Drive { output, on } = request {
                // Readings of before the end are still under way when it is over.
                s.driven.insert(output, now + if on { DRIVEN_MOST } else { DRIVEN_AFTER });
            }
            let ticket = (s.lines.in_use(), s.lines.used_mut().driver.request(now, request));
            s.wanted.insert(ticket);
            s.changed = true;
            ticket
        };
        let wanted = WantedTicket { ctx: self.clone(), ticket };
        match wait_for(|| wanted.ctx.edit().told.remove(&ticket)).await {
            Told::Failed(trouble) => Err(trouble),
            told => Ok(told),
        }
    }
    /// Asks the unit until it answers, with back-off while it is silent, garbled or off the line; the stage's deadline ends
    /// it. What the unit refuses, can't do or gets wrong comes back at once.
    pub(crate) async fn unit(&self, request: Request) -> Result<Told, Trouble> {
        let mut pause = Duration::from_millis(500);
        loop {
            let ready = || {
                let s = self.get();
                (s.lines.used().link.up && !s.unidentified && !s.settings_unseen).then_some(())
            };
            if ready().is_none() {
                self.progress("waiting for the link to the unit", None, None);
                wait_for(ready).await;
            }
            match self.unit_once(request.clone()).await {
                Err(trouble @ (Trouble::Silent | Trouble::Garbled | Trouble::LinkDown(_))) => {
                    self.note_trouble(&trouble);
                    self.sleep(pause).await;
                    pause = (pause * 2).min(Duration::from_secs(8));
                }
                end => {
                    if end.is_ok() {
                        self.edit().last_trouble = None;
                    }
                    return end;
                }
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
    pub(crate) fn ended(&self, ticket: (LineId, Ticket), told: Told) {
        let mut s = self.edit();
        if s.wanted.contains(&ticket) {
            s.told.insert(ticket, told);
        }
    }
    /// Wants readings from now on; a supervisor brings them back when they stop.
    pub(crate) async fn start_readings(&self) -> Result<(), Stop> {
        let hz = self.inputs().plan.readings_hz;
        if self.abilities().is_some_and(|a| a.stream_hz.is_none()) {
            return Err(Stop::Trouble(Trouble::CannotDo("readings can't be streamed from it".into())));
        }
        self.unit(Request::StartReadings { hz }).await.map_err(Stop::Trouble)?;
        let mut s = self.edit();
        s.stream = Some(hz);
        s.stream_lost = false;
        Ok(())
    }
    pub(crate) async fn stop_readings(&self) {
        let was = self.edit().stream.take();
        if was.is_some() && self.get().lines.used().link.up {
            // A unit that can't be asked to stop streams on; that harms nothing.
            let _ = self.unit_once(Request::StopReadings).await;
        }
    }
    /// Readings from now on.
    pub(crate) fn feed(&self) -> Feed {
        Feed::new(self.clone())
    }
    /// The faults of the latest reading, if it is not older than 3 s.
    pub(crate) fn latest(&self) -> Option<Rc<Timed>> {
        let s = self.get();
        s.readings.latest().filter(|t| s.now.since(t.reading.received) <= Duration::from_secs(3)).cloned()
    }
    /// Waits until `f` holds for a fresh reading, at most `within`; the reading's instant, or `None` when time is up.
    pub(crate) async fn until_reading(&self, within: Duration, mut f: impl FnMut(&Timed) -> bool) -> Option<Rc<Timed>> {
        let mut feed = self.feed();
        let end = self.within(within);
        loop {
            match feed.next_before(end).await {
                None => return None,
                Some(crate::readings::Item::Reading(t)) if f(&t) => return Some(t),
                Some(_) => {}
            }
        }
    }
    pub(crate) fn faults(&self) -> Option<Faults> {
        self.latest().map(|t| t.reading.faults)
    }

    // ---- the link ----

    /// The job was taken up again after `pause`, in which nobody watched: neither a stage nor a wait runs out of time by it, clocks
    /// are tied anew, and the unit says who it is and shows its settings before anything is asked of it.
    pub(crate) fn taken_up(&self, pause: Duration) {
        let mut s = self.edit();
        s.stage_ends += pause;
        s.paused += pause;
        s.untie();
        s.unidentified = s.identity.is_some();
        s.settings_unseen = s.unidentified && s.as_left.is_some();
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
            s.stream_lost |= used;
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
        let open = self.ctx.edit().prompts.remove(&self.id).is_some();
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
        let mut s = self.ctx.edit();
        s.wanted.remove(&self.ticket);
        s.told.remove(&self.ticket);
    }
}
