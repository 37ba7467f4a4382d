//! Questions by what answers them: a word in full, something done, something that the unit's own readings show.
//!
//! Not here: how a question is opened, taken up or withdrawn ([`crate::context`]).
use crate::{
    context::Context,
    effect::Entry,
    executor::{Either, race},
    prompt::Act,
};
use alloc::string::String;
use plumeline_base::{Instant, input::Answer};
use plumeline_detector::driver::{Wants, Word};

/// The question for one of these words, each with what it says.
pub(crate) fn one_of(words: &[(&str, &str)]) -> Wants {
    Wants::OneOf { words: words.iter().map(|(word, means)| Word::of(word, means)).collect() }
}
/// What an answer says: one of the words (the first, where a script says just yes), or the reason why not.
pub(crate) fn said(words: &[(&str, &str)], answer: Answer) -> Result<String, String> {
    match answer {
        Answer::Yes => Ok(words.first().map_or("", |(word, _)| word).into()),
        Answer::Text(word) if words.iter().any(|(w, _)| *w == word) => Ok(word),
        other => Err(other.words().filter(|why| !why.is_empty()).unwrap_or("no reason was given").into()),
    }
}

/// How it is known that something was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Done {
    /// A person said so at this moment.
    Said(Instant),
    /// The unit's readings show it.
    Seen,
}

impl Context {
    /// Asks for one of these words in full. `Err` gives the reason why none was typed.
    pub(crate) async fn ask_word(
        &self,
        act: Act,
        text: impl Into<String>,
        words: &[(&str, &str)],
    ) -> Result<Instant, String> {
        let (at, answer) = self.ask(act, text, one_of(words)).await;
        said(words, answer).map(|_| at)
    }
    /// Asks for something that is done or can't be done. `Err` gives the reason why not.
    pub(crate) async fn ask_done(&self, act: Act, text: impl Into<String>) -> Result<Instant, String> {
        let (at, answer) = self.ask(act, text, Wants::Done).await;
        said(&[], answer).map(|_| at)
    }
    /// Asks for something that is done or can't be done, unless the unit's own readings show it first: then it wants no answer.
    pub(crate) async fn ask_done_unless_seen(
        &self,
        act: Act,
        text: impl Into<String>,
        seen: impl Future<Output = ()>,
    ) -> Result<Done, String> {
        match race(self.ask_done(act.clone(), text), seen).await {
            Either::First(said) => said.map(Done::Said),
            Either::Second(()) => {
                self.note(Entry::Seen { of: act });
                Ok(Done::Seen)
            }
        }
    }
}
