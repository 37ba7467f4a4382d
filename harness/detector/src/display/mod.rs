//! A driver without a wire: a person reads the unit's display and lamps, does at it by hand what is asked for, and types what
//! it says.
//!
//! What the model shows and what can be done at it stands in its description ([`Face`]); whatever else is asked is refused with
//! the reason, so that it ends undecided and never passes by default. What can't be right by range, step or what was typed
//! before is asked again with the reason, and ends nothing. The driver waits for a person as long as it takes. Not here:
//! whether a flow fits the prediction.
mod deeds;
mod face;
mod identify;
mod memory;
mod readings;
mod settings;
mod typed;

pub use face::{Face, FlowShown, Hands, Lamp, Scale, SheetItem, Shows, Takes};
pub use typed::{names, numbers};

use crate::{
    ask::{Reply, Request},
    driver::{About, Driver, End, LineCounters, Means, Question, Report, Ticket, Trouble, Wants},
    vocabulary::{Abilities, Identity},
};
use alloc::{
    boxed::Box,
    collections::VecDeque,
    format,
    string::{String, ToString},
    vec::Vec,
};
use memory::{Known, Memory};
use plumeline_base::{
    Instant,
    input::{Answer, LinkDown},
};

/// What a person is asked next.
struct Asked {
    about: About,
    text: String,
    wants: Wants,
}

/// What a person said.
enum Said {
    /// It is so, or it is done.
    Yes,
    /// It is not so, with the reason where one was given.
    No(String),
    /// It can't be told or done, for this reason.
    Cannot(String),
    /// Words or numbers.
    Words(String),
}

/// What follows from what was said.
#[expect(clippy::large_enum_variant, reason = "made once for a request, and taken apart at once")]
enum Step {
    /// The next question.
    Ask,
    /// The same question, for this reason.
    Again(String),
    /// The request ends.
    End(End),
}
impl Step {
    fn told(reply: Reply) -> Self {
        Self::End(Ok(reply))
    }
    fn not_told(why: &str) -> Self {
        Self::End(Err(Trouble::NotTold(if why.is_empty() { "the person said no" } else { why }.into())))
    }
}

/// A request under way, as questions to a person.
trait Task {
    /// The question that is open, or comes next.
    fn ask(&self, memory: &Memory) -> Asked;
    /// Takes what was said to it.
    fn take(&mut self, now: Instant, said: Said, memory: &mut Memory) -> Step;
    /// Before this there is nothing new to be read.
    fn not_before(&self, _: &Memory) -> Option<Instant> {
        None
    }
}

/// The request under way.
struct Open {
    ticket: Ticket,
    task: Box<dyn Task>,
    /// The question that was asked; `None`: it is still to come.
    question: Option<u32>,
}

/// A person at a unit's display.
#[derive(Default)]
pub struct Display {
    memory: Memory,
    next_ticket: u32,
    next_question: u32,
    waiting: VecDeque<(Ticket, Request)>,
    open: Option<Open>,
    questions: VecDeque<Question>,
    reports: VecDeque<Report>,
}

impl Display {
    /// A person who has not been asked anything yet, in front of a unit of one of these models.
    pub fn new(faces: Vec<Face>) -> Self {
        Self { memory: Memory::new(faces), ..Self::default() }
    }
    /// The person stands at this unit, as it said itself over a line. Gives what the person can do there.
    pub fn stands_at(&mut self, identity: &Identity, inlets: u8) -> Abilities {
        let of_model = |face: &&Face| face.model == identity.model && face.maker == identity.maker;
        let face = self.memory.faces.iter().find(of_model).or(self.memory.faces.first()).cloned().unwrap_or_default();
        // A line that tells nothing of inlets leaves it open how many there are: as many as the model may have.
        let inlets = if inlets == 0 { face.inlets.1 } else { inlets };
        let unit = Known { identity: identity.clone(), abilities: face.abilities(inlets), face };
        self.memory.stands_at(unit).abilities.clone()
    }
    /// Starts the next request, or ends it at once where a person can't give it.
    fn start(&mut self, now: Instant) {
        while self.open.is_none() {
            let Some((ticket, request)) = self.waiting.pop_front() else { return };
            match begin(&request, &self.memory) {
                Ok(Begun::Task(task)) => self.open = Some(Open { ticket, task, question: None }),
                Ok(Begun::Told(reply)) => self.reports.push_back(Report::Ended(ticket, Ok(reply))),
                Err(why) => self.reports.push_back(Report::Ended(ticket, Err(Trouble::CannotDo(why)))),
            }
        }
        self.pose(now, None);
    }
    /// Asks what is to be asked, unless there is nothing new to be read yet.
    fn pose(&mut self, now: Instant, again: Option<&str>) {
        let Some(open) = self.open.as_mut().filter(|o| o.question.is_none()) else { return };
        if again.is_none() && open.task.not_before(&self.memory).is_some_and(|at| now < at) {
            return;
        }
        let Asked { about, text, wants } = open.task.ask(&self.memory);
        let text = again.map_or_else(|| text.clone(), |why| format!("Not taken: {why}. {text}"));
        self.next_question = self.next_question.wrapping_add(1);
        open.question = Some(self.next_question);
        self.questions.push_back(Question { id: self.next_question, about, text, wants });
    }
}

/// How a request begins.
#[expect(clippy::large_enum_variant, reason = "made once for a request, and taken apart at once")]
enum Begun {
    /// A person is asked.
    Task(Box<dyn Task>),
    /// It needs nobody.
    Told(Reply),
}

/// A request as questions to a person; `Err`: why it can't be put to one.
fn begin(request: &Request, memory: &Memory) -> Result<Begun, String> {
    let task = |task: Result<Box<dyn Task>, String>| task.map(Begun::Task);
    match request {
        Request::Identify => Ok(Begun::Task(Box::new(identify::Identify::begin(memory)))),
        Request::ReadOnce { look } => task(readings::look(*look, memory)),
        Request::ReadSettings => task(settings::read(memory)),
        Request::WriteSettings { settings } => task(settings::enter(settings, memory)),
        Request::ReadBaseline => task(readings::baseline(memory)),
        // What a hand holds back has no lease: it holds until a hand gives it back.
        Request::RenewInhibit if memory.inhibited => Ok(Begun::Told(Reply::Done(()))),
        Request::TakeBaseline
        | Request::Inhibit { .. }
        | Request::ReleaseInhibit
        | Request::Drive { .. }
        | Request::ResetLatches
        | Request::Restart
        | Request::SetTime { .. }
        | Request::TellTime => task(deeds::begin(request, memory)),
        Request::Clock
        | Request::StartReadings { .. }
        | Request::StopReadings
        | Request::SettingsState
        | Request::RenewInhibit
        | Request::ReadEvents { .. }
        | Request::WriteNote { .. } => Err(format!("a person at the unit can't {}", request.words())),
    }
}

/// By which means a person answers: by reading, or by saying that it is done.
pub(crate) fn means(request: &Request) -> Means {
    match request {
        Request::Identify
        | Request::ReadOnce { .. }
        | Request::ReadSettings
        | Request::ReadBaseline
        | Request::TellTime
        | Request::SetTime { .. } => Means::Person,
        _ => Means::Attested,
    }
}

impl Driver for Display {
    fn link_up(&mut self, _: Instant) {}
    fn link_down(&mut self, _: Instant, _: LinkDown) {}
    fn receive(&mut self, _: Instant, _: &[u8]) {}
    fn answer(&mut self, now: Instant, question: u32, answer: &Answer) {
        let Some(open) = self.open.as_mut().filter(|o| o.question == Some(question)) else { return };
        open.question = None;
        let said = match answer {
            Answer::Yes => Ok(Said::Yes),
            Answer::No => Ok(Said::No(String::new())),
            Answer::NoBecause(why) => Ok(Said::No(why.clone())),
            Answer::Text(words) => Ok(Said::Words(words.trim().into())),
            Answer::Number(x) => Ok(Said::Words(x.to_string())),
            Answer::Cannot(why) => Ok(Said::Cannot(why.clone())),
            Answer::Back | Answer::Later | Answer::Again(_) | Answer::Ticked(_) => {
                Err(Step::Again("this is to be answered".into()))
            }
        };
        let step = said.map_or_else(|step| step, |said| open.task.take(now, said, &mut self.memory));
        match step {
            Step::Ask => self.pose(now, None),
            Step::Again(why) => self.pose(now, Some(&why)),
            Step::End(end) => {
                self.reports.push_back(Report::Ended(open.ticket, end));
                self.open = None;
                self.start(now);
            }
        }
    }
    fn timeout(&mut self, now: Instant) {
        self.pose(now, None);
    }
    fn next_timeout(&self) -> Option<Instant> {
        let open = self.open.as_ref().filter(|o| o.question.is_none())?;
        open.task.not_before(&self.memory)
    }
    fn request(&mut self, now: Instant, request: Request) -> Ticket {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket = self.next_ticket.wrapping_add(1);
        self.waiting.push_back((ticket, request));
        self.start(now);
        ticket
    }
    fn poll_question(&mut self) -> Option<Question> {
        self.questions.pop_front()
    }
    fn poll_report(&mut self) -> Option<Report> {
        self.reports.pop_front()
    }
    fn abilities(&self) -> Option<&Abilities> {
        self.memory.abilities()
    }
    fn means(&self, request: &Request) -> Means {
        means(request)
    }
    fn give_up(&mut self, now: Instant, ticket: Ticket) -> Option<u32> {
        self.waiting.retain(|(waits, _)| *waits != ticket);
        let open = self.open.take_if(|open| open.ticket == ticket)?;
        self.questions.retain(|q| Some(q.id) != open.question);
        self.start(now);
        open.question
    }
    fn line(&self) -> LineCounters {
        LineCounters::default()
    }
}
