//! A job over a real line in real (or scaled) time: one event loop on one thread.
//!
//! Everything that happens becomes an input of the session; this loop decides nothing. Not here: back-off, retries,
//! stages (the procedure), frames (the drivers).
use crate::{
    failure::Failure,
    interrupt::Interrupts,
    operator::{Photos, Script, Site},
    session::{Keeper, Outward, Session},
    show::Show,
    terminal::{Heard, Open, Typed},
};
use plumeline_base::{
    Instant,
    input::{AbortCause, Answer, Input, OperatorAct},
};
use plumeline_link::{Down, Link, LinkEvent, Opener, RealClock};
use std::{collections::VecDeque, future::pending, pin::Pin, time::Duration};
use tokio::{
    sync::mpsc::UnboundedReceiver,
    time::{Interval, MissedTickBehavior, interval},
};

/// What there is in place of a line.
pub enum Port {
    /// A line that is opened when the procedure asks for it.
    Line(Box<Opener>),
    /// None: a person reads a display.
    Display,
}

/// Who answers prompts.
pub enum Operator {
    /// A person at the keyboard.
    Person(UnboundedReceiver<Typed>, Open),
    /// A script with a way into a simulated site.
    Script(Script, Box<dyn Site>),
}

/// The clocks that are shown go on so often while nothing happens.
const TICK: Duration = Duration::from_secs(1);

type Opening = Pin<Box<dyn Future<Output = Result<Link, Down>>>>;

/// A job in real time.
pub struct Live<'a, K> {
    session: &'a mut Session<K>,
    port: Port,
    clock: RealClock,
    operator: Operator,
    show: &'a mut dyn Show,
    photos: Option<Photos>,
    link: Option<Link>,
    opening: Option<Opening>,
    inputs: VecDeque<(Instant, Input)>,
    last: Instant,
    aborts: u32,
    done: bool,
}

/// What the loop waited for.
#[expect(clippy::large_enum_variant, reason = "there is one at a time")]
enum Woke {
    Link(Option<LinkEvent>),
    Opened(Result<Link, Down>),
    Typed(Option<Typed>),
    Time,
    /// Nothing: the clocks that are shown go on.
    Tick,
    Interrupt(AbortCause),
}

impl<'a, K: Keeper> Live<'a, K> {
    /// A job through this port, answered by this operator.
    pub fn new(
        session: &'a mut Session<K>,
        port: Port,
        clock: RealClock,
        operator: Operator,
        show: &'a mut dyn Show,
    ) -> Self {
        let last = clock.now();
        Self {
            session,
            port,
            clock,
            operator,
            show,
            photos: None,
            link: None,
            opening: None,
            inputs: VecDeque::new(),
            last,
            aborts: 0,
            done: false,
        }
    }

    /// The same, with a way to take photos in.
    #[must_use]
    pub fn with_photos(mut self, photos: Photos) -> Self {
        self.photos = Some(photos);
        self
    }

    /// Runs the job to its end. `opening` are the first inputs (tool, date, files).
    pub async fn run(mut self, opening: Vec<Input>) -> Result<(), Failure> {
        let mut interrupts = Interrupts::listen()?;
        let mut ticks = interval(TICK);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let now = self.clock.now();
        if let (Some((since, limit_s)), None) =
            (self.session.record().out_of_service, self.session.record().back_in_service)
        {
            self.show.out_of_service(since, limit_s);
        }
        for prompt in self.session.open_prompts() {
            self.outward(now, Outward::Ask(prompt));
        }
        self.inputs.extend(opening.into_iter().map(|i| (now, i)));
        loop {
            while let Some((at, input)) = self.inputs.pop_front() {
                self.feed(at, input)?;
            }
            if self.done {
                break;
            }
            match self.wait(&mut interrupts, &mut ticks).await {
                Woke::Link(Some(event)) => {
                    if matches!(event, LinkEvent::Down(_)) {
                        self.link = None;
                    }
                    self.push(event.into());
                }
                Woke::Link(None) => self.link = None,
                Woke::Opened(Ok(link)) => {
                    self.push(Input::LinkUp { link: link.described().to_owned() });
                    self.link = Some(link);
                }
                Woke::Opened(Err(down)) => self.push(down.into()),
                Woke::Typed(Some(typed)) => self.typed(&typed),
                // Nobody can answer any more: safer to stop than to wait for ever.
                Woke::Typed(None) => {
                    if let Operator::Person(lines, _) = &mut self.operator {
                        lines.close();
                    }
                    self.operator = Operator::Script(Script::absent(), Box::new(crate::operator::NoSite));
                    self.push(Input::Abort(AbortCause::Shutdown));
                }
                Woke::Time => self.time_passed()?,
                Woke::Tick => {
                    let waits = match &self.operator {
                        Operator::Person(_, open) => open.oldest(),
                        Operator::Script(..) => None,
                    };
                    self.show.tick(self.clock.now(), waits);
                }
                Woke::Interrupt(cause) => {
                    self.aborts += 1;
                    if self.aborts > 1 {
                        return Err(Failure::Other {
                            exit: crate::failure::Exit::Undecided,
                            cause: "stopped at once; the site may still be isolated and outputs inhibited".into(),
                            remedy:
                                "make the site safe by hand, or run the same job again: it goes on where it stopped"
                                    .into(),
                        });
                    }
                    self.show.say(
                        "stopping safely: smoke off, purge, outputs back, record closed. Press Ctrl-C again to leave at once.",
                    );
                    self.push(Input::Abort(cause));
                }
            }
        }
        if let Some(link) = &mut self.link {
            // The last request (stop the readings) still leaves; nothing hangs on it.
            let _ = link.drain(Duration::from_millis(500)).await;
        }
        Ok(())
    }

    fn push(&mut self, input: Input) {
        self.inputs.push_back((self.clock.now(), input));
    }

    fn feed(&mut self, at: Instant, input: Input) -> Result<(), Failure> {
        self.last = self.last.max(at);
        let now = self.last;
        match &input {
            Input::Received(bytes) => tracing::trace!(%now, bytes = bytes.len(), "received"),
            Input::Wake => tracing::trace!(%now, "woken"),
            Input::LinkUp { link } => tracing::info!(%now, %link, "link up"),
            Input::LinkDown { cause, detail } => tracing::info!(%now, %cause, %detail, "link down"),
            Input::File { name, .. } => tracing::debug!(%now, %name, "file"),
            other => tracing::debug!(%now, input = ?other, "input"),
        }
        for out in self.session.feed(now, input)? {
            self.outward(now, out);
        }
        Ok(())
    }

    fn outward(&mut self, now: Instant, out: Outward) {
        self.show.show(now, &out);
        match out {
            Outward::Send(bytes) => {
                tracing::trace!(%now, bytes = bytes.len(), "sent");
                if let Some(link) = &mut self.link {
                    link.send(&bytes);
                }
            }
            Outward::Connect => match &self.port {
                Port::Display => self.push(Input::LinkUp { link: "display:".into() }),
                Port::Line(opener) if self.link.is_none() && self.opening.is_none() => {
                    tracing::debug!(%now, "opening the link");
                    let opener = opener.clone();
                    self.opening = Some(Box::pin(async move { opener.open().await }));
                }
                Port::Line(_) => {}
            },
            Outward::Ask(prompt) => match &mut self.operator {
                Operator::Person(_, open) => open.asked(&prompt),
                Operator::Script(script, _) => script.asked(now, &prompt),
            },
            Outward::Withdraw(id) => match &mut self.operator {
                Operator::Person(_, open) => open.withdrawn(id),
                Operator::Script(script, _) => script.withdrawn(id),
            },
            Outward::Done(_) => self.done = true,
            _ => {}
        }
    }

    async fn wait(&mut self, interrupts: &mut Interrupts, ticks: &mut Interval) -> Woke {
        let script = match &self.operator {
            Operator::Script(script, _) => script.due(),
            Operator::Person(..) => None,
        };
        let due = [self.session.wake_at(), script].into_iter().flatten().min();
        let clock = self.clock;
        let woke = tokio::select! {
            biased;
            cause = interrupts.next() => Woke::Interrupt(cause),
            opened = async { match &mut self.opening { Some(o) => o.await, None => pending().await } } => Woke::Opened(opened),
            event = async { match &mut self.link { Some(l) => l.next().await, None => pending().await } } => Woke::Link(event),
            typed = async { match &mut self.operator { Operator::Person(lines, _) => lines.recv().await, Operator::Script(..) => pending().await } } => Woke::Typed(typed),
            () = async { match due { Some(at) => clock.until(at).await, None => pending().await } } => Woke::Time,
            _ = ticks.tick() => Woke::Tick,
        };
        if matches!(woke, Woke::Opened(_)) {
            self.opening = None;
        }
        woke
    }

    fn typed(&mut self, typed: &Typed) {
        let at = typed.at;
        let Operator::Person(_, open) = &mut self.operator else { return };
        match open.hear(typed) {
            Heard::Act(act, understood) => {
                self.inputs.push_back((at, Input::Operator(act)));
                if let Some(understood) = understood {
                    self.show.say(&format!("        {understood}"));
                }
            }
            Heard::Again(why) => self.show.say(&format!("        {why}")),
            Heard::Photo(prompt, mut tick, path) => {
                let taken = match &self.photos {
                    Some(take_in) => take_in(&path),
                    None => Err(Failure::internal("no place to keep a photo")),
                };
                match taken {
                    Ok(photo) => {
                        tick.photo = Some(photo);
                        open.withdrawn(prompt);
                        let act = OperatorAct { prompt, answer: Answer::Ticked(tick) };
                        self.inputs.push_back((at, Input::Operator(act)));
                    }
                    Err(why) => self.show.say(&format!("        not answered yet: {why}")),
                }
            }
        }
    }

    fn time_passed(&mut self) -> Result<(), Failure> {
        let now = self.clock.now();
        if let Operator::Script(script, site) = &mut self.operator {
            while let Some(act) = script.answer_due(now, site.as_mut())? {
                self.inputs.push_back((self.clock.now(), Input::Operator(act)));
            }
        }
        if self.session.wake_at().is_some_and(|t| t <= now) {
            self.inputs.push_back((now, Input::Wake));
        }
        Ok(())
    }
}
