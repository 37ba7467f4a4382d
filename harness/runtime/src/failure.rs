//! What ends a command early: words for people, and the exit code for scripts.
//!
//! The codes: 0 pass, 1 fail, 2 undecided, 3 wrong usage or input, 4 link or device trouble, 5 internal error,
//! 6 paused: the job is in a safe state and goes on when it is run again.
use plumeline_base::{Verdict, text::visible};
use plumeline_job::{Kind, Problem};
use plumeline_link::Down;
use plumeline_procedure::Outcome;
use plumeline_trace::{LogError, ReadError};
use std::{fmt, process::ExitCode};

/// An exit code with its meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Everything asked for was shown.
    Pass = 0,
    /// Something was shown not to hold.
    Fail = 1,
    /// Not shown either way.
    Undecided = 2,
    /// Wrong usage or input.
    Input = 3,
    /// Link or device trouble.
    Trouble = 4,
    /// A fault of the tool itself.
    Internal = 5,
    /// The job pauses in a safe state, and goes on when it is run again.
    Paused = 6,
}
impl Exit {
    /// The code of a finished job. Undecided because of the link or the device is told apart, so that a script can try again.
    pub fn of(outcome: &Outcome) -> Self {
        match outcome.verdict {
            Verdict::Pass => Self::Pass,
            Verdict::Fail => Self::Fail,
            Verdict::Undecided if outcome.trouble.is_some() => Self::Trouble,
            Verdict::Undecided => Self::Undecided,
        }
    }
}
impl From<Exit> for ExitCode {
    fn from(e: Exit) -> Self {
        Self::from(e as u8)
    }
}

/// Why a command ended early.
#[derive(Debug)]
pub enum Failure {
    /// A file or folder.
    Problem(Problem),
    /// Anything else: the code, the cause, the remedy.
    Other {
        /// Exit code.
        exit: Exit,
        /// What is wrong, and where.
        cause: String,
        /// What to do about it.
        remedy: String,
    },
}
impl Failure {
    /// Wrong usage or input.
    pub fn input(cause: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::Other { exit: Exit::Input, cause: cause.into(), remedy: remedy.into() }
    }
    /// Link or device trouble.
    pub fn trouble(cause: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::Other { exit: Exit::Trouble, cause: cause.into(), remedy: remedy.into() }
    }
    /// A fault of the tool itself.
    pub fn internal(cause: impl Into<String>) -> Self {
        let remedy = "this is a fault of plumeline: keep the job folder and report it".into();
        Self::Other { exit: Exit::Internal, cause: cause.into(), remedy }
    }
    /// The same for a job that it ends while the zone is out of service: nobody may overlook that.
    pub(crate) fn while_out_of_service(self) -> Self {
        let exit = self.exit();
        let (cause, remedy) = match &self {
            Self::Problem(p) => (format!("{}: {}", p.file(), p.cause()), p.remedy()),
            Self::Other { cause, remedy, .. } => (cause.clone(), remedy.as_str()),
        };
        let cause = format!(
            "{cause}\nTHE ZONE IS STILL ISOLATED: releases may be locked off, and the unit's outputs inhibited until their lease lapses \
             with its fault"
        );
        let remedy = format!(
            "make the site safe by hand, or: {remedy}; then run the same job again, which goes on where it stopped"
        );
        Self::Other { exit, cause, remedy }
    }
    /// The exit code.
    pub fn exit(&self) -> Exit {
        match self {
            Self::Problem(p) if p.kind() == Kind::Internal => Exit::Internal,
            Self::Problem(_) => Exit::Input,
            Self::Other { exit, .. } => *exit,
        }
    }
    /// The whole message; coloured only if asked for.
    pub fn render(&self, colour: bool) -> String {
        match self {
            Self::Problem(p) => p.render(colour),
            Self::Other { cause, remedy, .. } => format!("error: {}\n  = help: {}", visible(cause), visible(remedy)),
        }
    }
}
impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(false))
    }
}
impl From<Problem> for Failure {
    fn from(p: Problem) -> Self {
        Self::Problem(p)
    }
}
impl From<Down> for Failure {
    fn from(d: Down) -> Self {
        Self::trouble(d.to_string(), d.remedy())
    }
}
impl From<LogError> for Failure {
    fn from(e: LogError) -> Self {
        Self::input(format!("trace.pcapng: {e}"), e.remedy())
    }
}
impl From<ReadError> for Failure {
    fn from(e: ReadError) -> Self {
        Self::input(format!("trace.pcapng: {e}"), e.remedy())
    }
}
impl From<std::io::Error> for Failure {
    fn from(e: std::io::Error) -> Self {
        Self::input(e.to_string(), "see the system's own words above")
    }
}
