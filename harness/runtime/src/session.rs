//! A job under way: every event enters the log before the procedure sees it, and the journal follows from the log.
//!
//! Live runs, the demonstration and (through [`Keeper`]) replays go through this one place. Not here: where events come
//! from and what is done with what comes out.
use crate::{failure::Failure, operator::OpenPrompts};
use plumeline_base::{
    Instant,
    input::{Event, Input, LineId},
};
use plumeline_detector::{Identity, Reading, settings::Settings, vocabulary::FlowBasis};
use plumeline_job::digest::Digest;
use plumeline_procedure::{Effect, Entry, Outcome, Procedure, Progress, Prompt, effect::KeptSettings};
use plumeline_report::Record;
use plumeline_trace::{Citation, LogRecord, Logged};

/// Where a session keeps things.
pub trait Keeper {
    /// Adds a record to the log.
    fn log(&mut self, record: LogRecord) -> Result<Citation, Failure>;
    /// Adds lines to the journal. The log up to `citation` is on the disk before the first of them is written.
    fn journal(&mut self, at: Instant, citation: &Citation, entries: &[Entry]) -> Result<(), Failure>;
    /// The hash of the journal's last line, where there is one that stays.
    fn head(&self) -> Option<Digest> {
        None
    }
    /// Keeps settings as a file.
    fn settings(&mut self, which: KeptSettings, settings: &Settings, unit: &Identity) -> Result<(), Failure>;
}

/// What a session wants done, or shows.
#[derive(Clone, Debug, PartialEq)]
pub enum Outward {
    /// Send these bytes on this line (they are in the log already).
    Send(LineId, Vec<u8>),
    /// Try to open the link of this line.
    Connect(LineId),
    /// Ask the operator.
    Ask(Prompt),
    /// The prompt is no longer wanted.
    Withdraw(u32),
    /// Show how far things are.
    Progress(Progress),
    /// Show what was noted.
    Note(Entry),
    /// Show a reading, its flows on this basis.
    Reading(Reading, FlowBasis),
    /// Tell the code of the journal's last line.
    TellHead,
    /// The job is in a safe state and can be left, to be taken up again.
    Paused,
    /// The job is over.
    Done(Box<Outcome>),
}

/// A job under way.
pub struct Session<K> {
    procedure: Procedure,
    keeper: K,
    record: Record,
    /// Readings are kept for charts.
    charts: bool,
    open: OpenPrompts,
    outcome: Option<Box<Outcome>>,
    attended: bool,
}

impl<K: Keeper> Session<K> {
    /// A session over a procedure that has seen nothing yet.
    pub fn new(procedure: Procedure, keeper: K, readings_hz: u8) -> Self {
        let record = Record::new(readings_hz);
        Self { procedure, keeper, record, charts: true, open: OpenPrompts::default(), outcome: None, attended: false }
    }
    /// The same session without readings for charts, which grow with the length of the job.
    pub fn without_charts(self) -> Self {
        Self { charts: false, ..self }
    }
    /// Takes one event and gives what follows from it, in order.
    pub fn feed(&mut self, at: Instant, input: Input) -> Result<Vec<Outward>, Failure> {
        if let Input::Operator(act) = &input {
            self.open.closed(act.prompt);
        }
        if let Input::Attended(by_a_person) = &input {
            self.attended = *by_a_person;
        }
        let event = Event { at, input };
        let citation = self.keeper.log(event.clone().into())?;
        self.procedure.handle(&event);
        let mut out = Vec::new();
        let mut notes = Vec::new();
        while let Some(effect) = self.procedure.poll_effect() {
            match effect {
                Effect::Send(line, bytes) => {
                    self.keeper.log(LogRecord { at, what: Logged::Sent(line, bytes.clone()) })?;
                    out.push(Outward::Send(line, bytes));
                }
                Effect::Connect(line) => out.push(Outward::Connect(line)),
                Effect::Ask(prompt) => {
                    self.open.asked(at, prompt.clone());
                    out.push(Outward::Ask(prompt));
                }
                Effect::Withdraw(id) => {
                    self.open.closed(id);
                    out.push(Outward::Withdraw(id));
                }
                Effect::Progress(progress) => out.push(Outward::Progress(progress)),
                Effect::Reading(reading, basis) => {
                    if self.charts {
                        self.record.reading(&reading, basis);
                    }
                    out.push(Outward::Reading(reading, basis));
                }
                Effect::Note(entry) => {
                    self.record.entry(at, &entry);
                    out.push(Outward::Note(entry.clone()));
                    notes.push(entry);
                }
                Effect::Keep { which, settings, unit } => self.keeper.settings(which, &settings, &unit)?,
                Effect::TellHead => out.push(Outward::TellHead),
                Effect::Paused => out.push(Outward::Paused),
                Effect::Done(outcome) => {
                    self.outcome = Some(outcome.clone());
                    out.push(Outward::Done(outcome));
                }
            }
        }
        if !notes.is_empty() {
            self.keeper.journal(at, &citation, &notes)?;
        }
        Ok(out)
    }
    /// When it wants to be woken next.
    pub fn wake_at(&self) -> Option<Instant> {
        self.procedure.poll_timeout()
    }
    /// What is shown of the job beyond its outcome.
    pub fn record(&self) -> &Record {
        &self.record
    }
    /// The outcome, once the job is over.
    pub fn outcome(&self) -> Option<&Outcome> {
        self.outcome.as_deref()
    }
    /// A person decided so far what follows when something was not shown.
    pub(crate) fn was_attended(&self) -> bool {
        self.attended
    }
    /// Prompts that wait for an answer.
    pub fn open(&self) -> &OpenPrompts {
        &self.open
    }
    /// The open prompts count as asked at `now`, because the job was taken up.
    pub(crate) fn ask_again(&mut self, now: Instant) {
        self.open.ask_again(now);
    }
    /// The same session, kept by another keeper from now on.
    pub fn with_keeper<L: Keeper>(self, keeper: L) -> Session<L> {
        let Self { procedure, keeper: _, record, charts, open, outcome, attended } = self;
        Session { procedure, keeper, record, charts, open, outcome, attended }
    }
    /// The keeper.
    pub fn keeper(&mut self) -> &mut K {
        &mut self.keeper
    }
    /// Gives the keeper back.
    pub fn into_parts(self) -> (K, Record, Option<Box<Outcome>>) {
        (self.keeper, self.record, self.outcome)
    }
}
