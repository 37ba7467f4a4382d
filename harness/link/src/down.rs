//! Why a link is down, with the system's own words and a remedy.
use plumeline_base::input::{Input, LineId, LinkDown};
use std::fmt;

/// A link that is down, or could not be opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Down {
    /// The cause.
    pub cause: LinkDown,
    /// What exactly was seen: the port and the system's words.
    pub detail: String,
    /// A remedy that fits better than the cause's own, where the system gave enough to know one.
    pub hint: Option<String>,
}

impl Down {
    pub(crate) fn new(cause: LinkDown, detail: impl Into<String>) -> Self {
        Self { cause, detail: detail.into(), hint: None }
    }
    /// As an input of a job, on this line of it. A remedy that fits better than the cause's own goes with what was seen.
    pub fn on(self, line: LineId) -> Input {
        let hint = self.hint.map(|hint| format!("; {hint}")).unwrap_or_default();
        Input::LinkDown { line, cause: self.cause, detail: self.detail + &hint }
    }
    /// What to do about it.
    pub fn remedy(&self) -> &str {
        self.hint.as_deref().unwrap_or_else(|| self.cause.remedy())
    }
}

impl fmt::Display for Down {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.cause, self.detail)
    }
}
impl std::error::Error for Down {}
