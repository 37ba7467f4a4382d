//! What comes out of the procedure.
use crate::{
    anchor::Note,
    outcome::{Finding, Outcome, StageKind, StageResult, Ticked},
    prompt::{Act, Prompt},
};
use alloc::{boxed::Box, string::String, vec::Vec};
use plumeline_base::{
    Verdict,
    input::{Answer, FromPage, LineId, LinkDown},
};
use plumeline_detector::{Identity, Reading, Trouble, settings::Settings, vocabulary::FlowBasis};
use serde::{Deserialize, Serialize};

/// What the procedure wants done, in order.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Send these bytes to the unit on this line.
    Send(LineId, Vec<u8>),
    /// Try to open the link of this line. Answered by link up or link down.
    Connect(LineId),
    /// Ask the operator.
    Ask(Prompt),
    /// The prompt is no longer wanted.
    Withdraw(u32),
    /// Write this to the journal.
    Note(Entry),
    /// Show how far things are. Not evidence, not kept.
    Progress(Progress),
    /// A set of readings came in, with its flows on this basis; for displays and charts.
    Reading(Reading, FlowBasis),
    /// Keep these settings as a file of the job.
    Keep {
        /// Which settings.
        which: KeptSettings,
        /// The settings.
        settings: Settings,
        /// Who held them.
        unit: Identity,
    },
    /// Tell the code of the journal as far as it is written by now. Answered by [`plumeline_base::input::Input::Head`] where a journal is kept.
    TellHead,
    /// The job is in a safe state: the program may be ended, and the job taken up again later.
    Paused,
    /// The job is over.
    Done(Box<Outcome>),
}

/// Settings that a job keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum KeptSettings {
    /// As found on the outgoing unit.
    AsFound,
    /// As left on the replacement, read back.
    AsLeft,
}

/// How far a stage is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Progress {
    /// The stage.
    pub stage: StageKind,
    /// What is being waited for, in plain words.
    pub says: String,
    /// From 0 to 1, where it can be told.
    pub fraction: Option<f64>,
    /// Seconds left, where it can be told.
    pub left_s: Option<f64>,
    /// It is a result, told as soon as it is known: it stays on the screen.
    #[serde(skip_serializing_if = "core::ops::Not::not")]
    pub stays: bool,
}

/// A line of the journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(tag = "entry", rename_all = "kebab-case")]
pub enum Entry {
    /// The log was opened.
    Opened {
        /// Version of the tool.
        tool: String,
        /// Version of the format.
        format: u32,
    },
    /// The wall-clock date and time at this point.
    Date {
        /// RFC 3339.
        date: String,
    },
    /// A file that the job is judged by, as it was read.
    File {
        /// Name in the job folder.
        name: String,
        /// SHA-256 of its bytes, hexadecimal.
        sha256: String,
        /// Length, bytes.
        length: u64,
    },
    /// A stage began.
    StageBegan {
        /// Which.
        stage: StageKind,
    },
    /// A stage ended.
    StageEnded(StageResult),
    /// The operator was asked.
    Asked(Prompt),
    /// The operator answered.
    Answered {
        /// The prompt.
        prompt: u32,
        /// The answer.
        answer: Answer,
        /// Who gave it and what came with it, where it came from a page.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        page: Option<Box<FromPage>>,
    },
    /// The answer to an earlier prompt was taken back before anything rested on it: it is asked again.
    TakenBack {
        /// The prompt whose answer no longer holds.
        prompt: u32,
        /// What it had asked for.
        of: Act,
    },
    /// The unit's own readings show that what was asked for is done: no answer to it is wanted any more.
    Seen {
        /// What had been asked for.
        of: Act,
    },
    /// A unit said who it is.
    Unit {
        /// `outgoing` or `replacement`.
        role: String,
        /// Who.
        identity: Identity,
    },
    /// The unit started anew: what rested on the earlier start may be void.
    StartedAnew {
        /// Boot id now.
        boot_id: Option<u64>,
    },
    /// The link opened.
    LinkUp {
        /// On which line.
        #[serde(default, skip_serializing_if = "LineId::is_main")]
        line: LineId,
        /// The link.
        link: String,
    },
    /// The link went down.
    LinkDown {
        /// On which line.
        #[serde(default, skip_serializing_if = "LineId::is_main")]
        line: LineId,
        /// Why.
        cause: LinkDown,
        /// The system's words.
        detail: String,
    },
    /// Nothing comes from the unit, or nothing that can be read.
    Line {
        /// What.
        trouble: Trouble,
    },
    /// The line is good again.
    LineBack,
    /// The zone went out of service.
    OutOfService {
        /// How long it may be, s, before other measures are called for.
        limit_s: f64,
    },
    /// The zone is back in service.
    BackInService {
        /// After how long, s.
        after_s: f64,
    },
    /// An item of the checklist was answered.
    Ticked(Box<Ticked>),
    /// Which settings a unit holds, by its own account.
    SettingsHeld {
        /// Its revision counter, where it has one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        revision: Option<u64>,
        /// SHA-256 over them, hexadecimal: its own, or that of what was read back.
        sha256: String,
    },
    /// Settings were captured or read back.
    Settings {
        /// Which.
        which: KeptSettings,
        /// Number of items.
        items: u32,
        /// SHA-256 over the items in their canonical form, hexadecimal.
        sha256: String,
    },
    /// The code of the record so far was left in a unit's event log.
    NoteLeft(Note),
    /// A code that an earlier record left in a unit's event log was met there.
    NoteMet(Note),
    /// Something was found.
    Found(Box<Finding>),
    /// Findings were made void.
    Void {
        /// The stages whose findings are void.
        stages: Vec<StageKind>,
        /// Why.
        because: String,
    },
    /// These stages are done again; what they found before no longer counts.
    PutRight {
        /// The stages.
        stages: Vec<StageKind>,
        /// What was put right, in the person's own words.
        what: String,
    },
    /// A logger's file was given, and read.
    LoggerFile {
        /// Where it is kept, from the job's folder.
        name: String,
        /// SHA-256 of its bytes, hexadecimal.
        sha256: String,
        /// Length, bytes.
        length: u64,
        /// The column that was read.
        column: String,
        /// The unit of its readings.
        unit: String,
        /// Its first time, as its clock says it.
        first: String,
        /// Readings in it, and those of them that entered the log: about the marks of its clock.
        readings: (u64, u64),
    },
    /// A remark.
    Remark {
        /// The words.
        text: String,
    },
    /// The job ended.
    Ended {
        /// The verdict.
        verdict: Verdict,
        /// What it hangs on.
        because: String,
    },
}
