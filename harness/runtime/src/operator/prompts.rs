//! The prompts of a job that wait for an answer, in one place: whoever shows or answers them looks here.
use plumeline_base::Instant;
use plumeline_procedure::Prompt;
use std::collections::BTreeMap;

/// Prompts that wait for an answer, by number, each with the instant it was asked at.
#[derive(Clone, Debug, Default)]
pub struct OpenPrompts(BTreeMap<u32, (Instant, Prompt)>);

impl OpenPrompts {
    /// A prompt was opened.
    pub fn asked(&mut self, now: Instant, prompt: Prompt) {
        self.0.insert(prompt.id, (now, prompt));
    }
    /// A prompt was answered, or is no longer wanted.
    pub fn closed(&mut self, id: u32) {
        self.0.remove(&id);
    }
    /// All are asked again at `now`, because the job was taken up.
    pub fn ask_again(&mut self, now: Instant) {
        self.0.values_mut().for_each(|(asked, _)| *asked = now);
    }
    /// The prompt of that number.
    pub fn get(&self, id: u32) -> Option<&Prompt> {
        self.0.get(&id).map(|(_, prompt)| prompt)
    }
    /// The one that waits longest.
    pub fn oldest(&self) -> Option<&Prompt> {
        self.iter().next().map(|(_, prompt)| prompt)
    }
    /// All, the oldest first.
    pub fn iter(&self) -> impl Iterator<Item = (Instant, &Prompt)> {
        self.0.values().map(|(asked, prompt)| (*asked, prompt))
    }
}
