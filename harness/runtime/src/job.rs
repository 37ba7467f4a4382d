//! A job on its way: one loop over the clock, the lines, the operators and whoever watches.
//!
//! Everything that happens becomes an input of the session; this loop decides nothing. Time is the system's (or a scaled one), or
//! virtual: then it jumps from one due instant to the next, with no sleeps and no threads, on any platform. Not here: back-off,
//! retries, stages (the procedure), frames (the drivers).
pub mod given;
mod remote;

use crate::{
    clock::{self, Clock, DateWatch, event_loop},
    failure::{Exit, Failure},
    interrupt::{Interrupts, Stops},
    job_files::Files,
    line::Line,
    operator::{
        FromPages, Operator, Photos,
        keyboard::{Heard, Typed},
    },
    port,
    session::{Keeper, Outward, Session},
    show::Show,
};
use given::Loggers;
use plumeline_base::{
    Instant,
    input::{AbortCause, Answer, Input, LineId, OperatorAct},
};
use plumeline_job::code;
use plumeline_link::RealClock;
use plumeline_procedure::{JobInputs, Procedure};
use std::{
    collections::VecDeque,
    future::{pending, poll_fn},
    pin::pin,
    task::{Context, Poll, Waker},
    time::{Duration, SystemTime},
};
use tokio::{
    sync::mpsc::UnboundedReceiver,
    time::{Interval, MissedTickBehavior, interval},
};

/// The clocks that are shown go on so often while nothing happens.
const TICK: Duration = Duration::from_secs(1);

/// A job and all that takes part in it. Made by [`Job::begin`] or [`Job::going_on`], completed by the calls that follow, done by
/// [`Job::run`].
pub struct Job<'a, K> {
    session: Session<K>,
    clock: Clock,
    lines: Lines,
    operators: Vec<Operator>,
    observers: Vec<Box<dyn Show + 'a>>,
    photos: Option<Photos>,
    loggers: Loggers,
    pages: Option<UnboundedReceiver<FromPages>>,
    inputs: VecDeque<(Instant, Input)>,
    /// The latest instant that the session knows of.
    now: Instant,
    aborts: u32,
    /// Since when the job is in a safe state to be left.
    paused: Option<std::time::Instant>,
    done: bool,
}

/// The lines of a job by name.
struct Lines {
    main: Line,
    outgoing: Option<Line>,
}
impl Lines {
    fn each(&mut self) -> impl Iterator<Item = (LineId, &mut Line)> {
        [(LineId::Main, Some(&mut self.main)), (LineId::Outgoing, self.outgoing.as_mut())]
            .into_iter()
            .filter_map(|(id, line)| Some((id, line?)))
    }
    fn get_mut(&mut self, id: LineId) -> Option<&mut Line> {
        self.each().find(|(i, _)| *i == id).map(|(_, line)| line)
    }
    /// The next that comes from outside on any line.
    async fn next(&mut self) -> Option<Input> {
        let Self { main, outgoing } = self;
        let own = async {
            match outgoing {
                Some(line) => line.next(LineId::Outgoing).await,
                None => pending().await,
            }
        };
        tokio::select! {
            biased;
            input = main.next(LineId::Main) => input,
            input = own => input,
        }
    }
}

/// What comes from outside the job in real time.
struct Outside {
    interrupts: Interrupts,
    ticks: Interval,
    /// Of a terminal that is given back first.
    stops: Option<Stops>,
    date: DateWatch,
}
impl Outside {
    fn listen(clock: RealClock, holds_terminal: bool) -> Result<Self, Failure> {
        let mut ticks = interval(TICK);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let date = DateWatch::begin(clock.now(), clock.speed(), SystemTime::now());
        let stops = holds_terminal.then(Stops::listen).transpose()?;
        Ok(Self { interrupts: Interrupts::listen()?, ticks, stops, date })
    }
}

/// What the loop waited for.
enum Woke {
    Line(Option<Input>),
    Typed(usize, Option<Typed>),
    Page(Option<FromPages>),
    Time,
    /// Nothing: the clocks that are shown go on.
    Tick,
    Interrupt(AbortCause),
    /// The program is to stop until it is told to go on (Ctrl-Z).
    Stop,
}

impl<'a, K: Keeper> Job<'a, K> {
    /// A job that begins: these files, what they come to, and the date.
    pub fn begin(files: &Files, inputs: JobInputs, keeper: K, date: impl Into<String>) -> Self {
        let (hz, loggers) = (inputs.plan.link.readings_hz, Loggers::of(&inputs.plan, None));
        let session = Session::new(Procedure::new(inputs, port::drivers(files)), keeper, hz);
        Self::going_on(session, files.opening(date.into()), Instant::START).loggers(loggers)
    }
    /// A job whose session is there already, with the inputs that come next and the instant that they come at.
    pub fn going_on(session: Session<K>, opening: Vec<Input>, at: Instant) -> Self {
        Self {
            session,
            clock: Clock::Virtual,
            lines: Lines { main: Line::Display, outgoing: None },
            operators: Vec::new(),
            observers: Vec::new(),
            photos: None,
            loggers: Loggers::default(),
            pages: None,
            inputs: opening.into_iter().map(|input| (at, input)).collect(),
            now: at,
            aborts: 0,
            paused: None,
            done: false,
        }
    }
    /// The way to the replacement, and to the outgoing unit unless it has one of its own.
    #[must_use]
    pub fn line(mut self, line: Line) -> Self {
        self.lines.main = line;
        self
    }
    /// The outgoing unit's own way, if it has one.
    #[must_use]
    pub fn outgoing_line(mut self, line: Option<Line>) -> Self {
        self.lines.outgoing = line;
        self
    }
    /// Somebody who answers; there may be several.
    #[must_use]
    pub fn operator(mut self, operator: Operator) -> Self {
        let attended = operator.decides() || self.operators.iter().any(Operator::decides);
        self.operators.push(operator);
        self.attended(attended)
    }
    /// Whether somebody is there to decide what follows when something is not shown: part of the log, so that a replay does the
    /// same. An older log, and one that only scripts answer, says nothing of it: the plan decides.
    fn attended(mut self, attended: bool) -> Self {
        self.inputs.retain(|(_, input)| !matches!(input, Input::Attended(_)));
        if attended || self.session.was_attended() {
            self.inputs.push_back((self.now, Input::Attended(attended)));
        }
        self
    }
    /// Somebody who watches; there may be several.
    #[must_use]
    pub fn observer(mut self, observer: impl Show + 'a) -> Self {
        self.observers.push(Box::new(observer));
        self
    }
    /// Takes photos in.
    #[must_use]
    pub fn photos(mut self, photos: Photos) -> Self {
        self.photos = Some(photos);
        self
    }
    /// Takes files of a logger in.
    #[must_use]
    pub fn loggers(mut self, loggers: Loggers) -> Self {
        self.loggers = loggers;
        self
    }
    /// People at pages, whose answers come in here.
    #[must_use]
    pub fn pages(mut self, pages: Option<UnboundedReceiver<FromPages>>) -> Self {
        self.pages = pages;
        self
    }
    /// The clock; virtual if none is given.
    #[must_use]
    pub fn clock(mut self, clock: Clock) -> Self {
        self.clock = clock;
        self
    }

    /// Does the job to its end, and gives its session.
    ///
    /// # Errors
    /// What ends it early: nothing can be kept any more, a site can't be reached, or a second interrupt.
    pub fn run(self) -> Result<Session<K>, Failure> {
        if matches!(self.clock, Clock::System(_)) {
            return event_loop()?.block_on(self.drive());
        }
        // Nothing in virtual time waits for anything outside.
        match pin!(self.drive()).poll(&mut Context::from_waker(Waker::noop())) {
            Poll::Ready(end) => end,
            Poll::Pending => Err(Failure::internal("a job in virtual time waits for the system")),
        }
    }

    /// As [`Job::run`], within an event loop that has more to do.
    ///
    /// # Errors
    /// As [`Job::run`].
    pub async fn drive(mut self) -> Result<Session<K>, Failure> {
        match self.until_it_ends().await {
            Ok(()) => Ok(self.session),
            Err(failure) => {
                let record = self.session.record();
                let out = record.out_of_service.is_some() && record.back_in_service.is_none();
                Err(if out { failure.while_out_of_service() } else { failure })
            }
        }
    }

    async fn until_it_ends(&mut self) -> Result<(), Failure> {
        let mut outside = match self.clock {
            Clock::System(clock) => {
                let holds = self.observers.iter().any(|o| o.holds_terminal());
                Some(Outside::listen(clock, holds)?)
            }
            Clock::Virtual => None,
        };
        self.ask_again()?;
        loop {
            self.exchange()?;
            if self.done {
                break;
            }
            let due = self.due();
            match (&mut outside, due) {
                (None, None) => return Err(Failure::internal("the job waits for nothing and is not over")),
                (None, Some(due)) => {
                    self.now = self.now.max(due);
                    self.what_is_due()?;
                }
                (Some(outside), due) => {
                    let woke = self.wait(outside, due).await;
                    self.woken(outside, woke)?;
                }
            }
        }
        for (_, line) in self.lines.each() {
            line.drain().await;
        }
        Ok(())
    }

    fn time(&self) -> Instant {
        match &self.clock {
            Clock::System(clock) => clock.now(),
            Clock::Virtual => self.now,
        }
    }

    /// A job that was taken up shows its clock and its open questions again.
    fn ask_again(&mut self) -> Result<(), Failure> {
        let now = self.time();
        let record = self.session.record();
        if let (Some((since, limit_s)), None) = (record.out_of_service, record.back_in_service) {
            self.observers.iter_mut().for_each(|o| o.out_of_service(since, limit_s));
        }
        self.session.ask_again(now);
        let open: Vec<_> = self.session.open().iter().map(|(_, prompt)| prompt.clone()).collect();
        open.into_iter().for_each(|prompt| self.outward(now, Outward::Ask(prompt)));
        Ok(())
    }

    /// Moves bytes and inputs until nothing moves any more at this instant.
    fn exchange(&mut self) -> Result<(), Failure> {
        loop {
            let (now, inputs) = (self.time(), &mut self.inputs);
            let mut moved = false;
            for (id, line) in self.lines.each() {
                moved |= line.exchange(now, |bytes| inputs.push_back((now, Input::Received(id, bytes))));
            }
            while let Some((at, input)) = self.inputs.pop_front() {
                moved = true;
                self.feed(at, input)?;
            }
            if !moved || self.done {
                return Ok(());
            }
        }
    }

    /// When something comes due by itself.
    fn due(&mut self) -> Option<Instant> {
        let now = self.now;
        let lines = self.lines.each().filter_map(|(_, line)| line.due(now)).min();
        let operators = self.operators.iter().filter_map(|o| o.due(self.session.open())).min();
        [lines, operators, self.session.wake_at()].into_iter().flatten().min()
    }

    fn what_is_due(&mut self) -> Result<(), Failure> {
        let now = self.time();
        let woken = self.session.wake_at().is_some_and(|t| t <= now);
        let inputs = &mut self.inputs;
        for (id, line) in self.lines.each() {
            inputs.extend(line.what_is_due(id, now).map(|input| (now, input)));
        }
        while let Some((at, input)) = self.inputs.pop_front() {
            self.feed(at, input)?;
        }
        for i in 0..self.operators.len() {
            while let Some(typed) = self.operators[i].types(now, self.session.open())? {
                self.typed(i, &typed);
                while let Some((at, input)) = self.inputs.pop_front() {
                    self.feed(at, input)?;
                }
            }
            while let Some(act) = self.operators[i].answer_due(now, self.session.open(), self.photos.as_ref())? {
                tracing::debug!(operator = self.operators[i].name(), prompt = act.prompt, "answers");
                let at_hand = self.operators[i].at_hand();
                for input in self.with_file_of_script(act, at_hand) {
                    self.feed(self.time(), input)?;
                }
            }
        }
        if woken {
            self.inputs.push_back((now, Input::Wake));
        }
        Ok(())
    }

    async fn wait(&mut self, outside: &mut Outside, due: Option<Instant>) -> Woke {
        let Self { lines, operators, clock, pages, .. } = self;
        let until = async {
            match (clock, due) {
                (Clock::System(clock), Some(at)) => clock.until(at).await,
                _ => pending().await,
            }
        };
        let page = async {
            match pages {
                Some(pages) => pages.recv().await,
                None => pending().await,
            }
        };
        let typed = poll_fn(|cx| {
            for (i, operator) in operators.iter_mut().enumerate() {
                if let Poll::Ready(typed) = operator.poll_typed(cx) {
                    return Poll::Ready((i, typed));
                }
            }
            Poll::Pending
        });
        tokio::select! {
            biased;
            cause = outside.interrupts.next() => Woke::Interrupt(cause),
            () = Stops::next(&mut outside.stops) => Woke::Stop,
            input = lines.next() => Woke::Line(input),
            (i, line) = typed => Woke::Typed(i, line),
            sent = page => Woke::Page(sent),
            () = until => Woke::Time,
            _ = outside.ticks.tick() => Woke::Tick,
        }
    }

    fn woken(&mut self, outside: &mut Outside, woke: Woke) -> Result<(), Failure> {
        match woke {
            Woke::Line(input) => self.inputs.extend(input.map(|input| (self.time(), input))),
            Woke::Typed(i, Some(typed)) => self.typed(i, &typed),
            Woke::Typed(i, None) => {
                self.operators[i].leave();
                // Nobody can answer any more: the job waits in a safe state until somebody runs it again.
                if !self.operators.iter().any(Operator::is_person) {
                    self.inputs.push_back((self.time(), Input::Pause(AbortCause::Shutdown)));
                }
            }
            Woke::Page(Some(sent)) => self.heard_of_pages(sent),
            Woke::Page(None) => self.pages = None,
            Woke::Stop => {
                self.observers.iter_mut().for_each(|o| o.set_aside(true));
                plumeline_link::stop_here();
                self.observers.iter_mut().for_each(|o| o.set_aside(false));
            }
            Woke::Time => self.what_is_due()?,
            Woke::Tick => {
                let now = self.time();
                self.date_looked_at(outside, now);
                // What was asked of the unit for its safe state has been sent by now.
                self.done |= self.paused.is_some_and(|since| since.elapsed() >= TICK);
                let person = self.operators.iter().any(Operator::is_person);
                let waits = self.session.open().oldest().filter(|_| person);
                self.observers.iter_mut().for_each(|o| o.tick(now, waits));
            }
            Woke::Interrupt(cause) => {
                self.aborts += 1;
                if self.aborts > 1 {
                    let cause = "stopped at once; the site may still be isolated and outputs inhibited".into();
                    let remedy = "make the site safe by hand, or run the same job again: it goes on where it stopped";
                    return Err(Failure::Other { exit: Exit::Undecided, cause, remedy: remedy.into() });
                }
                self.say("pausing: no output is driven; if smoke is held to a hole, stop it. Press Ctrl-C again to leave at once.");
                self.inputs.push_back((self.time(), Input::Pause(cause)));
            }
        }
        Ok(())
    }

    /// A date that is set while the job runs is noted in its log.
    fn date_looked_at(&mut self, outside: &mut Outside, now: Instant) {
        let Some(by_s) = outside.date.set_by(now, SystemTime::now()) else { return };
        if let Some((at, then)) = self.session.record().dates.last()
            && let Some(date) = clock::later(then, now.since(*at).as_secs_f64() + by_s)
        {
            self.inputs.push_back((now, Input::Date(date)));
        }
    }

    fn say(&mut self, text: &str) {
        self.observers.iter_mut().for_each(|o| o.say(text));
    }

    fn typed(&mut self, who: usize, typed: &Typed) {
        self.observers.iter_mut().for_each(|o| o.typed(&typed.line));
        let act = match self.operators[who].hear(typed, self.session.open()) {
            Heard::Act(act, understood) => {
                if let Some(words) = understood {
                    self.say(&format!("        {words}"));
                }
                act
            }
            Heard::Again(why) => return self.say(&format!("        {why}")),
            Heard::Photo(prompt, mut tick, path) => {
                let taken = match &self.photos {
                    Some(take_in) => take_in(&path),
                    None => Err(Failure::internal("no place to keep a photo")),
                };
                match taken {
                    Ok(photo) => tick.photo = Some(photo),
                    Err(why) => return self.say(&format!("        not answered yet: {why}")),
                }
                OperatorAct::new(prompt, Answer::Ticked(tick))
            }
        };
        tracing::debug!(operator = self.operators[who].name(), prompt = act.prompt, "answers");
        let at_hand = self.operators[who].at_hand();
        match self.with_file(act, at_hand) {
            Ok(inputs) => self.inputs.extend(inputs.into_iter().map(|input| (typed.at, input))),
            Err(why) => self.say(&format!("        not answered yet: {why}")),
        }
    }

    fn feed(&mut self, at: Instant, input: Input) -> Result<(), Failure> {
        self.now = self.now.max(at);
        let now = self.now;
        match &input {
            Input::Received(line, bytes) => tracing::trace!(%now, ?line, bytes = bytes.len(), "received"),
            Input::Wake => tracing::trace!(%now, "woken"),
            Input::LinkUp { line, link } => tracing::info!(%now, ?line, %link, "link up"),
            Input::LinkDown { line, cause, detail } => tracing::info!(%now, ?line, %cause, %detail, "link down"),
            Input::File { name, .. } => tracing::debug!(%now, %name, "file"),
            other => tracing::debug!(%now, input = ?other, "input"),
        }
        let was_out = self.session.record().out_of_service.is_some();
        for out in self.session.feed(now, input)? {
            self.outward(now, out);
        }
        // What stands on paper from here on binds the folder: the earlier, the less can be made up afterwards.
        if !was_out
            && self.session.record().out_of_service.is_some()
            && let Some(head) = self.session.keeper().head()
        {
            self.say(&format!("code of the record so far, for the site's log book: {}", code::of(&head)));
        }
        Ok(())
    }

    fn outward(&mut self, now: Instant, out: Outward) {
        self.observers.iter_mut().for_each(|o| o.show(now, &out));
        match out {
            Outward::Send(id, bytes) => {
                tracing::trace!(%now, line = ?id, bytes = bytes.len(), "sent");
                if let Some(line) = self.lines.get_mut(id) {
                    line.send(now, &bytes);
                }
            }
            Outward::Connect(id) => {
                let input = self.lines.get_mut(id).and_then(|line| line.connect(id, now));
                self.inputs.extend(input.map(|input| (now, input)));
            }
            Outward::TellHead => {
                let head = self.session.keeper().head();
                self.inputs.extend(head.map(|head| (now, Input::Head(code::of(&head)))));
            }
            Outward::Ask(prompt) => self.operators.iter_mut().for_each(|o| o.asked(now, &prompt)),
            Outward::Paused if matches!(self.clock, Clock::Virtual) => self.done = true,
            Outward::Paused => self.paused = Some(std::time::Instant::now()),
            Outward::Done(_) => self.done = true,
            _ => {}
        }
    }
}
