//! A job under way: every event enters the log before the procedure sees it, and the journal follows from the log.
//!
//! Live runs, the demonstration and (through [`Keeper`]) replays go through this one place. Not here: where events come
//! from and what is done with what comes out.
use crate::failure::Failure;
use plumeline_base::{
    Instant,
    input::{Event, Input},
};
use plumeline_detector::{Identity, Reading, settings::Settings};
use plumeline_procedure::{Effect, Entry, Outcome, Procedure, Progress, Prompt, effect::KeptSettings};
use plumeline_report::Record;
use plumeline_trace::{Citation, Logged};
use std::collections::BTreeMap;

/// Where a session keeps things.
pub trait Keeper {
    /// Adds a record to the log.
    fn log(&mut self, record: plumeline_trace::Record) -> Result<Citation, Failure>;
    /// Adds lines to the journal. The log up to `citation` is on the disk before the first of them is written.
    fn journal(&mut self, at: Instant, citation: &Citation, entries: &[Entry]) -> Result<(), Failure>;
    /// Keeps settings as a file.
    fn settings(&mut self, which: KeptSettings, settings: &Settings, unit: &Identity) -> Result<(), Failure>;
}

/// What a session wants done, or shows.
#[derive(Clone, Debug, PartialEq)]
pub enum Outward {
    /// Send these bytes (they are in the log already).
    Send(Vec<u8>),
    /// Try to open the link.
    Connect,
    /// Ask the operator.
    Ask(Prompt),
    /// The prompt is no longer wanted.
    Withdraw(u32),
    /// Show how far things are.
    Progress(Progress),
    /// Show what was noted.
    Note(Entry),
    /// Show a reading.
    Reading(Reading),
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
    /// Prompts that wait for an answer.
    open: BTreeMap<u32, Prompt>,
    outcome: Option<Box<Outcome>>,
}

impl<K: Keeper> Session<K> {
    /// A session over a procedure that has seen nothing yet.
    pub fn new(procedure: Procedure, keeper: K, readings_hz: u8) -> Self {
        let record = Record::new(readings_hz);
        Self { procedure, keeper, record, charts: true, open: BTreeMap::new(), outcome: None }
    }
    /// The same session without readings for charts, which grow with the length of the job.
    pub fn without_charts(self) -> Self {
        Self { charts: false, ..self }
    }
    /// Takes one event and gives what follows from it, in order.
    pub fn feed(&mut self, at: Instant, input: Input) -> Result<Vec<Outward>, Failure> {
        if let Input::Operator(act) = &input {
            self.open.remove(&act.prompt);
        }
        let event = Event { at, input };
        let citation = self.keeper.log(event.clone().into())?;
        self.procedure.handle(&event);
        let mut out = Vec::new();
        let mut notes = Vec::new();
        while let Some(effect) = self.procedure.poll_effect() {
            match effect {
                Effect::Send(bytes) => {
                    self.keeper.log(plumeline_trace::Record { at, what: Logged::Sent(bytes.clone()) })?;
                    out.push(Outward::Send(bytes));
                }
                Effect::Connect => out.push(Outward::Connect),
                Effect::Ask(prompt) => {
                    self.open.insert(prompt.id, prompt.clone());
                    out.push(Outward::Ask(prompt));
                }
                Effect::Withdraw(id) => {
                    self.open.remove(&id);
                    out.push(Outward::Withdraw(id));
                }
                Effect::Progress(progress) => out.push(Outward::Progress(progress)),
                Effect::Reading(reading) => {
                    if self.charts {
                        self.record.reading(&reading);
                    }
                    out.push(Outward::Reading(reading));
                }
                Effect::Note(entry) => {
                    self.record.entry(at, &entry);
                    out.push(Outward::Note(entry.clone()));
                    notes.push(entry);
                }
                Effect::Keep { which, settings, unit } => self.keeper.settings(which, &settings, &unit)?,
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
    /// Prompts that wait for an answer, the oldest first.
    pub fn open_prompts(&self) -> Vec<Prompt> {
        self.open.values().cloned().collect()
    }
    /// The same session, kept by another keeper from now on.
    pub fn with_keeper<L: Keeper>(self, keeper: L) -> Session<L> {
        let Self { procedure, keeper: _, record, charts, open, outcome } = self;
        Session { procedure, keeper, record, charts, open, outcome }
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
