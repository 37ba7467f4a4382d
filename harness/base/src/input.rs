//! The events of a job, in one total order. They are what the input log holds and what the procedure is driven by.
//!
//! Not here: how they are stored (the trace crate) or what they mean (the procedure).
use crate::{Instant, logger::LoggerFile};
use alloc::{boxed::Box, string::String, vec::Vec};
use core::fmt;
use serde::{Deserialize, Serialize};

/// One event of the log: something from outside, with the instant at which the procedure gets to know of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// When, in log time. Never earlier than the event before it.
    pub at: Instant,
    /// What.
    pub input: Input,
}

/// Which of a job's lines.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum LineId {
    /// The line of the replacement, which serves both units in turn where the outgoing one has none of its own.
    #[default]
    Main,
    /// The outgoing unit's own.
    Outgoing,
}
impl LineId {
    /// Both, in the order in which they are served.
    pub const ALL: [Self; 2] = [Self::Main, Self::Outgoing];

    /// Is it [`LineId::Main`]? It goes without saying in logs.
    pub const fn is_main(&self) -> bool {
        matches!(self, Self::Main)
    }
}

/// Everything that can reach the procedure from outside.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// Which tool and which format version write this log. The first event of every section of a log.
    Tool {
        /// Version of the tool, for example `0.1.0`.
        version: String,
        /// Version of the log and journal format.
        format: u32,
    },
    /// The wall-clock date and time (RFC 3339, with offset) at this instant of log time.
    Date(String),
    /// One of the job's own files as it was read: what the job is judged by.
    File {
        /// Name within the job folder, for example `pipework.toml`.
        name: String,
        /// The file's bytes.
        bytes: Vec<u8>,
    },
    /// The link to the unit is open.
    LinkUp {
        /// On which line.
        line: LineId,
        /// The link as the user wrote it, for example `serial:/dev/ttyUSB0@115200`.
        link: String,
    },
    /// The link to the unit is gone.
    LinkDown {
        /// On which line.
        line: LineId,
        /// Why.
        cause: LinkDown,
        /// What the system said, for the log; never judged by.
        detail: String,
    },
    /// Bytes from the unit on this line.
    Received(LineId, Vec<u8>),
    /// The operator did something.
    Operator(OperatorAct),
    /// A timer that the procedure asked for has run out.
    Wake,
    /// The code of the journal's last line, as the procedure asked for it: what is left in a unit's own event log.
    Head(String),
    /// Stop the job safely, now.
    Abort(AbortCause),
    /// Whether a person decides what follows when something is not shown. Where nothing says so, the plan decides.
    Attended(bool),
    /// Leave the job in a safe state, to be taken up again later. It does not end.
    Pause(AbortCause),
    /// What was read of a logger's file that a person gives: it comes before the answer that names it.
    LoggerFile(Box<LoggerFile>),
}

/// Why a link is down. Each has a remedy of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum LinkDown {
    /// No such port or address.
    Absent,
    /// The port is there, but this user may not open it.
    Denied,
    /// Another process holds the port.
    Busy,
    /// The port was open and went away.
    Unplugged,
    /// The other end closed the connection or refused it.
    Closed,
    /// Anything else the system reported.
    Other,
}
impl LinkDown {
    /// What to do next, in plain words.
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::Absent => "check the cable and the name of the port, then try again",
            Self::Denied => {
                "ask for the right to open the port (on Linux usually membership of the group that owns it)"
            }
            Self::Busy => "close the other program that uses the port",
            Self::Unplugged => "plug the cable in again; the job goes on when the port is back",
            Self::Closed => "check that the other end is running, then connect again",
            Self::Other => "see the system's own words beside this message",
        }
    }
    /// The cause in plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Absent => "the port is not there",
            Self::Denied => "no permission to open the port",
            Self::Busy => "the port is in use by another program",
            Self::Unplugged => "the port went away",
            Self::Closed => "the other end closed the connection",
            Self::Other => "the link failed",
        }
    }
}
impl fmt::Display for LinkDown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// Why a job was told to stop, or to pause.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AbortCause {
    /// The operator asked for it.
    Operator,
    /// The process is being ended by the system.
    Shutdown,
    /// The tool found a fault of its own.
    Internal,
}

/// Something the operator did: always the answer to a prompt, so that no keystroke is ambiguous.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct OperatorAct {
    /// The prompt that is answered, by its number.
    pub prompt: u32,
    /// The answer.
    pub answer: Answer,
    /// Who gave it and what came with it, where it came from a page; `None`: from the terminal or a script.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub page: Option<Box<FromPage>>,
}
impl OperatorAct {
    /// An answer from the terminal or a script.
    pub const fn new(prompt: u32, answer: Answer) -> Self {
        Self { prompt, answer, page: None }
    }
}

/// What an answer from a page says beside itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct FromPage {
    /// Who gave it.
    pub by: Author,
    /// When it was given by the page's own clock; `None`: it counts when it came.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Mark>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// A photo.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<Photo>,
}

/// A person at a page.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Author {
    /// The name that they gave.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Which page of this job, counted from 1.
    pub page: u32,
}

/// What a person at a page may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Answers what is asked at holes, inlets and of smoke.
    FarEnd,
    /// Looks on.
    Watch,
    /// Answers whatever the terminal asks.
    Lead,
}
impl Role {
    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::FarEnd => "far end",
            Self::Watch => "watch",
            Self::Lead => "lead",
        }
    }
}

/// A moment by another clock that is tied to the log's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Mark {
    /// When, log time.
    pub at: Instant,
    /// Standard uncertainty of the tie, us.
    pub u_us: u32,
}
impl Mark {
    /// Standard uncertainty of the tie, s.
    pub fn u_s(&self) -> f64 {
        f64::from(self.u_us) * 1e-6
    }
}

/// An answer to a prompt.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// Done, yes, or seen; also the mark of a moment (the event's own instant is the moment).
    Yes,
    /// No, or it is not so.
    No,
    /// It can't be done or reached here, with the reason.
    Cannot(String),
    /// A number that was read off, in the unit the prompt asked for.
    Number(f64),
    /// Words that were asked for.
    Text(String),
    /// An item of the checklist, ticked off or not.
    Ticked(Tick),
    /// No answer: the answer given before it is taken back.
    Back,
    /// No, or it is not so, with the reason.
    NoBecause(String),
    /// No answer: what is named here is to be done again first.
    Again(String),
    /// Not now: it is asked again at the end of the walk.
    Later,
}
impl Answer {
    /// It is not so, with a reason or without.
    pub const fn is_no(&self) -> bool {
        matches!(self, Self::No | Self::NoBecause(_))
    }
    /// The person's own words, where there are any.
    pub fn words(&self) -> Option<&str> {
        match self {
            Self::NoBecause(words) | Self::Cannot(words) | Self::Text(words) | Self::Again(words) => Some(words),
            Self::Yes | Self::No | Self::Number(_) | Self::Ticked(_) | Self::Back | Self::Later => None,
        }
    }
}

/// How an item of the checklist was answered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Tick {
    /// What it comes to.
    pub state: TickState,
    /// Who says so, where it is another person than before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// A remark; the reason, where it was not done or does not apply.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// A photo of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<Photo>,
}

/// What an item of the checklist comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum TickState {
    /// It was done.
    Done,
    /// It was not done.
    NotDone,
    /// It does not apply here, for the reason given.
    NotApplicable,
}
impl TickState {
    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::NotDone => "not done",
            Self::NotApplicable => "not applicable",
        }
    }
}

/// A photo kept in the job folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Photo {
    /// Its name in the folder's `photos`.
    pub name: String,
    /// Its length, bytes.
    pub length: u64,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
}
