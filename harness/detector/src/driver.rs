//! The trait that every driver implements, and what comes out of it.
use crate::{
    ask::{Look, Reply, Request},
    vocabulary::{Abilities, Identity, Reading, ReadingsBy},
};
use alloc::{string::String, vec::Vec};
use core::fmt;
use plumeline_base::{
    Instant,
    input::{Answer, LinkDown},
};
use serde::{Deserialize, Serialize};

/// Names one request of one driver; never reused within a driver's life.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ticket(pub u32);

/// A pure machine between neutral words and a protocol.
///
/// The caller feeds it, then drains `poll_send`, `poll_question` and `poll_report` until all are empty, and calls
/// [`Driver::timeout`] no earlier than [`Driver::next_timeout`]. Nothing blocks and nothing panics on any input.
pub trait Driver {
    /// The link is open. The driver starts a conversation by itself only when asked something.
    fn link_up(&mut self, now: Instant);
    /// The link is gone: requests under way fail with [`Trouble::LinkDown`].
    fn link_down(&mut self, now: Instant, cause: LinkDown);
    /// Bytes came from the unit.
    fn receive(&mut self, now: Instant, bytes: &[u8]);
    /// The operator answered a question of this driver's.
    fn answer(&mut self, now: Instant, question: u32, answer: &Answer);
    /// The time asked for by `next_timeout` has come (calling early does nothing).
    fn timeout(&mut self, now: Instant);
    /// When `timeout` wants to be called next.
    fn next_timeout(&self) -> Option<Instant>;
    /// Asks the unit for something. Always ends in exactly one [`Report::Ended`] with this ticket (progress may
    /// come before). Requests are served in order, one at a time.
    fn request(&mut self, now: Instant, request: Request) -> Ticket;
    /// Bytes to send, appended to `out`; false when there are none.
    fn poll_send(&mut self, _out: &mut Vec<u8>) -> bool {
        false
    }
    /// A question for the operator.
    fn poll_question(&mut self) -> Option<Question> {
        None
    }
    /// Something the unit told, or the end of a request.
    fn poll_report(&mut self) -> Option<Report>;
    /// What the unit can do, once it was identified.
    fn abilities(&self) -> Option<&Abilities>;
    /// It has a way to answer this, as far as is known before it is asked.
    fn can(&self, request: &Request) -> bool {
        self.abilities().is_some_and(|can| can.can(request))
    }
    /// What is looked at is asked for by itself each time, as of a person at a display, and does not come in a stream.
    fn asks(&self, _: Look) -> bool {
        self.abilities().is_some_and(|can| can.readings == ReadingsBy::Asking)
    }
    /// By which means a request is answered.
    fn means(&self, _: &Request) -> Means {
        Means::Protocol
    }
    /// Nobody waits for the end of this request any more. A driver that asks a person gives the question up, and its number
    /// where it is asked already.
    fn give_up(&mut self, _: Instant, _: Ticket) -> Option<u32> {
        None
    }
    /// What the line did so far.
    fn line(&self) -> LineCounters;
}

/// Counters of the line since the driver began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineCounters {
    /// Good frames received.
    pub good: u64,
    /// Stretches of bytes that were no good frame.
    pub garbled: u64,
    /// Requests sent again for want of an answer.
    pub repeated: u64,
    /// Readings known to be missed.
    pub missed_readings: u64,
    /// Reports that came a second time byte for byte, and were dropped.
    pub twice: u64,
}

/// By which means something is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Means {
    /// The unit told it by its protocol.
    Protocol,
    /// A person read it off the unit, an instrument or a panel.
    Person,
    /// A person said so; nothing was read.
    Attested,
}

/// A question of a driver's for the operator.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Number within the driver.
    pub id: u32,
    /// What is asked, for scripts.
    pub about: About,
    /// The question in plain words.
    pub text: String,
    /// What kind of answer is wanted.
    pub wants: Wants,
}

impl About {
    /// The name in files.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Other => "other",
            Self::Label { .. } => "label",
            Self::Which { .. } => "which",
            Self::Serial => "serial",
            Self::Firmware => "firmware",
            Self::Inlets => "inlets",
            Self::Flows { .. } => "flows",
            Self::Smoke { .. } => "smoke",
            Self::Lamps { .. } => "lamps",
            Self::Baseline { .. } => "baseline",
            Self::Settings { .. } => "settings",
            Self::Enter { .. } => "enter",
            Self::Time => "time",
            Self::Offset => "offset",
            Self::SetTime => "set-time",
            Self::TakeBaseline => "take-baseline",
            Self::Reset => "reset",
            Self::Restart => "restart",
            Self::Drive { .. } => "drive",
            Self::Inhibit { .. } => "inhibit",
        }
    }
}

/// What a question of a driver's is about, for scripts and simulated people.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case", tag = "what")]
pub enum About {
    /// Anything else.
    #[default]
    Other,
    /// Whether the unit's label says this maker and model.
    Label {
        /// Maker and model; empty where the label is typed.
        label: String,
    },
    /// Which of these units it is, by serial number.
    Which {
        /// Serial numbers.
        serials: Vec<String>,
    },
    /// The serial number.
    Serial,
    /// The firmware's version.
    Firmware,
    /// How many inlets the unit has.
    Inlets,
    /// The flows of these inlets in a row; of all together where none is named.
    Flows {
        /// Inlets.
        inlets: Vec<u8>,
        /// In this unit.
        unit: String,
        /// Off this meter at the unit's exhaust, and not off the unit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        meter: Option<String>,
    },
    /// The smoke in the chamber.
    Smoke {
        /// In this unit.
        unit: String,
    },
    /// Which of these lamps are lit.
    Lamps {
        /// What is written at them.
        lamps: Vec<String>,
    },
    /// The flows that the unit holds as its baseline.
    Baseline {
        /// Inlets.
        inlets: Vec<u8>,
        /// In this unit.
        unit: String,
    },
    /// The settings with these keys, in a row.
    Settings {
        /// Keys.
        keys: Vec<String>,
    },
    /// Enter these settings at the unit.
    Enter {
        /// Keys and values.
        items: Vec<(String, String)>,
    },
    /// The unit's date and time.
    Time,
    /// How far the unit's local time is ahead of UTC.
    Offset,
    /// Set the unit's date and time.
    SetTime,
    /// Take the baseline.
    TakeBaseline,
    /// Reset what is latched.
    Reset,
    /// Start the unit anew.
    Restart,
    /// Operate an output for test, or let it go.
    Drive {
        /// Output.
        output: u8,
        /// Operate it.
        on: bool,
    },
    /// Hold the outputs back, or give them back.
    Inhibit {
        /// Hold them back.
        on: bool,
    },
}

/// What kind of answer a question wants.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Wants {
    /// Done, or it can't be done.
    Done,
    /// Yes or no.
    YesNo,
    /// The mark of a moment: answered at that moment.
    Moment,
    /// A number in this unit.
    Number {
        /// Unit, for example `L/min`.
        unit: String,
    },
    /// Words.
    Text,
    /// A time as the clock of a logger shows it: answered at that moment.
    ClockTime,
    /// A file of a logger, by its path.
    LoggerFile,
    /// Nothing: it is told, and goes by itself when its time is over or it shows otherwise. It may be objected to.
    Notice,
    /// The numbers of those of these lines that are done, typed one by one.
    Numbers {
        /// The lines.
        of: Vec<u32>,
    },
    /// An item of a checklist: done, not done or not applicable, with who, a note and a photo.
    Tick,
    /// One of these words, typed in full: what has consequences is never answered by Enter alone.
    OneOf {
        /// The words.
        words: Vec<Word>,
    },
}

/// A word that can be typed, and what it says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Word {
    /// The word.
    pub word: String,
    /// What it says, told back when it was typed.
    pub means: String,
    /// Words of the person's own must follow it.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub more: bool,
}
impl Word {
    /// A word that stands for itself.
    pub fn of(word: &str, means: &str) -> Self {
        Self { word: word.into(), means: means.into(), more: false }
    }
}

/// How a request ends.
pub type End = Result<Reply, Trouble>;

/// What a driver reports.
#[derive(Clone, Debug, PartialEq)]
pub enum Report {
    /// A request ended.
    Ended(Ticket, End),
    /// A long request goes on.
    Progress {
        /// Parts done.
        done: u32,
        /// Parts in all.
        total: u32,
    },
    /// Unasked: the unit was found to have started anew (a changed boot id).
    StartedAnew(Identity, Abilities),
    /// A set of readings of the stream.
    Reading(Reading),
    /// Unasked: nothing has come for longer than it should (a stream stopped, no answer to anything).
    Silent,
    /// Unasked: bytes come, but no good frame among them.
    Garbled,
    /// Unasked: a reading came that does not fit what the unit said that it has, and counts for nothing.
    Unfit(String),
    /// Unasked: good frames again after `Silent` or `Garbled`.
    Back,
}

/// Why a unit refuses, as far as somebody can do something about it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum RefusalKind {
    /// It has not started yet: later it may do it.
    StillStarting,
    /// Its settings were changed by somebody else meanwhile.
    SettingsChanged,
    /// What it was sent is not what it takes.
    Invalid,
    /// Something else must end first.
    Busy,
    /// Another reason.
    #[default]
    Other,
}

/// Why a request failed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Trouble {
    /// No answer, and no bytes.
    Silent,
    /// Bytes came, but no good frame among them.
    Garbled,
    /// The link went down.
    LinkDown(LinkDown),
    /// The unit refused.
    Refused {
        /// What kind of refusal it is, whatever the protocol.
        #[serde(default)]
        kind: RefusalKind,
        /// The unit's own code, as evidence.
        code: u16,
        /// The unit's reason.
        reason: String,
    },
    /// This unit, or this way of asking it, can't do that.
    CannotDo(String),
    /// The unit answered something that can't be right.
    Nonsense(String),
    /// The operator said that it can't be told.
    NotTold(String),
    /// Settings were sent item by item and not to the end: the unit holds some of the old and some of the new.
    Mixture(String),
}
impl Trouble {
    /// What to do next, in plain words.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Silent => {
                "check that the unit has power and has started, that the cable is in the right port, and the baud rate"
            }
            Self::Garbled => {
                "check the baud rate and the ground of the cable, and that the port is the unit's and not another device's"
            }
            Self::LinkDown(cause) => cause.remedy(),
            Self::Refused { .. } => "read the unit's own reason beside this message and put that right first",
            Self::CannotDo(_) => "have a person do this step by hand and record it, or leave it undecided",
            Self::Nonsense(_) => "keep the trace and report it to the maker of the unit; do not trust this answer",
            Self::NotTold(_) => "leave the item not captured, or find another way to learn it",
            Self::Mixture(_) => "load the settings again: until they were read back whole, nothing rests on them",
        }
    }
}
impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Silent => f.write_str("the unit does not answer"),
            Self::Garbled => f.write_str("what comes from the port can't be read"),
            Self::LinkDown(cause) => write!(f, "{cause}"),
            Self::Refused { code, reason, .. } => write!(f, "the unit refused: {reason} (code {code})"),
            Self::CannotDo(what) => write!(f, "not possible with this unit: {what}"),
            Self::Nonsense(what) => write!(f, "the unit's answer can't be right: {what}"),
            Self::NotTold(why) => write!(f, "not captured: {why}"),
            Self::Mixture(why) => {
                write!(
                    f,
                    "the unit takes settings item by item, and holds a mixture of old and new: load again ({why})"
                )
            }
        }
    }
}
