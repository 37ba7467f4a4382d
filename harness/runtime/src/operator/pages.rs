//! What comes from people at pages, and what they are told of it. Their words are understood as if they had been typed.
//!
//! Not here: who may say what, and the pages themselves (the page crate).
use plumeline_base::input::FromPage;
use tokio::sync::mpsc::UnboundedSender;

/// Something from the pages.
#[derive(Clone, Debug)]
pub enum FromPages {
    /// An answer.
    Answer(Box<Sent>),
    /// Words about the pages themselves, for whoever sits at the terminal.
    Say(String),
}

/// An answer from a page.
#[derive(Clone, Debug)]
pub struct Sent {
    /// The prompt that it is an answer to.
    pub prompt: u32,
    /// As it would be typed at the terminal.
    pub words: String,
    /// Who, when by their own clock, and what came with it.
    pub from: FromPage,
    /// Its name by the page that made it.
    pub id: String,
    /// Where its sender is told what became of it.
    pub told: UnboundedSender<Told>,
}

/// What became of an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// The answer, by its page's name.
    pub id: String,
    /// It is in the log.
    pub taken: bool,
    /// What was understood, or why it is no answer.
    pub words: String,
}
