//! Who answers a job's prompts: people at a keyboard, scripts, each with a name. A job may have several; the first answer counts.
//!
//! Not here: which prompts are open (the session's [`OpenPrompts`]), what an act means at a simulated site (`acts`).
mod acts;
mod eyes;
pub mod keyboard;
mod logs;
mod marks;
mod pages;
mod prompts;
mod script;
mod site;
mod typist;

pub use eyes::{Eyes, MeterError, Slip};
pub use logs::{SimulatedLogger, Spoilt};
pub use pages::{FromPages, Sent, Told};
pub use prompts::OpenPrompts;
pub use script::{OperatorFile, Photos, Script, read};
pub use site::{NoSite, RemoteSite, SimulatedSite, Site};
pub use typist::{More, Typist};

use crate::failure::Failure;
use keyboard::{Heard, Readable, Typed};
use plumeline_base::{Instant, input::OperatorAct};
use plumeline_procedure::Prompt;
use std::task::{Context, Poll};
use tokio::sync::mpsc::UnboundedReceiver;

/// Somebody who answers.
pub struct Operator {
    name: String,
    who: Who,
}

enum Who {
    /// A person, line by line.
    Person(UnboundedReceiver<Typed>, Readable),
    /// A script with a way into a site.
    Script(Box<Script>, Box<dyn Site>),
    /// A simulated person who types, in virtual time.
    Types(Box<Typist>),
    /// Nobody any more.
    Gone,
}

impl Operator {
    /// A person whose lines come in here.
    pub fn person(name: impl Into<String>, lines: UnboundedReceiver<Typed>, readable: Readable) -> Self {
        Self { name: name.into(), who: Who::Person(lines, readable) }
    }
    /// A script that acts at this site.
    pub fn script(name: impl Into<String>, script: Script, site: impl Site + 'static) -> Self {
        Self { name: name.into(), who: Who::Script(Box::new(script), Box::new(site)) }
    }
    /// Somebody who types at the keyboard, in virtual time.
    pub fn typist(name: impl Into<String>, typist: Typist) -> Self {
        Self { name: name.into(), who: Who::Types(Box::new(typist)) }
    }
    /// What they are called.
    pub fn name(&self) -> &str {
        &self.name
    }
    pub(crate) fn is_person(&self) -> bool {
        matches!(self.who, Who::Person(..))
    }
    /// Decides what follows when something is not shown.
    pub(crate) fn decides(&self) -> bool {
        match &self.who {
            Who::Person(..) => true,
            Who::Script(script, _) => script.decides(),
            Who::Types(typist) => typist.decides(),
            Who::Gone => false,
        }
    }
    /// Answers nothing any more.
    pub(crate) fn leave(&mut self) {
        self.who = Who::Gone;
    }
    /// When the next answer is due by itself.
    pub(crate) fn due(&self, open: &OpenPrompts) -> Option<Instant> {
        match &self.who {
            Who::Script(script, _) => script.due(open),
            Who::Types(typist) => typist.due(),
            Who::Person(..) | Who::Gone => None,
        }
    }
    /// The next answer that is due at `now`; what it stands for has been done at the site.
    pub(crate) fn answer_due(
        &mut self,
        now: Instant,
        open: &OpenPrompts,
        photos: Option<&Photos>,
    ) -> Result<Option<OperatorAct>, Failure> {
        match &mut self.who {
            Who::Script(script, site) => script.answer_due(now, open, site.as_mut(), photos),
            Who::Person(..) | Who::Types(_) | Who::Gone => Ok(None),
        }
    }
    /// The file that this operator has at hand for the question that was just answered: its name and its bytes.
    pub(crate) fn at_hand(&mut self) -> Option<(String, Vec<u8>)> {
        match &mut self.who {
            Who::Script(script, _) => script.at_hand(),
            Who::Types(typist) => typist.at_hand(),
            Who::Person(..) | Who::Gone => None,
        }
    }
    /// The next line that a simulated person types at `now`.
    pub(crate) fn types(&mut self, now: Instant, open: &OpenPrompts) -> Result<Option<Typed>, Failure> {
        match &mut self.who {
            Who::Types(typist) => typist.types(now, open),
            Who::Person(..) | Who::Script(..) | Who::Gone => Ok(None),
        }
    }
    /// A line that was typed; `None` if nobody types any more.
    pub(crate) fn poll_typed(&mut self, cx: &mut Context<'_>) -> Poll<Option<Typed>> {
        match &mut self.who {
            Who::Person(lines, _) => lines.poll_recv(cx),
            Who::Script(..) | Who::Types(_) | Who::Gone => Poll::Pending,
        }
    }
    /// A question appears.
    pub(crate) fn asked(&mut self, now: Instant, prompt: &Prompt) {
        match &mut self.who {
            Who::Person(_, readable) => readable.asked(prompt.id),
            Who::Types(typist) => typist.asked(now, prompt),
            Who::Script(..) | Who::Gone => {}
        }
    }
    /// What a line of this person's comes to.
    pub(crate) fn hear(&self, typed: &Typed, open: &OpenPrompts) -> Heard {
        match &self.who {
            Who::Person(_, readable) => keyboard::hear(typed, open, readable),
            Who::Types(typist) => typist.hear(typed, open),
            Who::Script(..) | Who::Gone => Heard::Again("a script answers here".into()),
        }
    }
}
