//! Somebody at the keyboard in virtual time, for tests of what is typed when: does at a simulated site what is asked for, types
//! the answer when there was time to read the question, and whatever else a test wants typed at its own moments.
//!
//! Not here: what a line comes to ([`super::keyboard`]), which is the same as at a terminal.
use super::{
    OpenPrompts, Script, Site,
    keyboard::{Heard, Readable, Typed, hear},
};
use crate::failure::Failure;
use plumeline_base::{
    Instant,
    input::{Answer, TickState},
};
use plumeline_detector::driver::Wants;
use plumeline_procedure::Prompt;
use std::{collections::BTreeMap, time::Duration};

/// More lines that are typed once a question appears at this instant, each at its own.
pub type More = Box<dyn FnMut(Instant, &Prompt) -> Vec<(Instant, String)>>;

/// From a question to its answer, s: long enough to have read it.
const READS: Duration = Duration::from_secs(3);

/// What is typed next.
enum Line {
    /// The answer to this question.
    Answer(u32),
    /// Something else.
    More(String),
}

/// Somebody who types.
pub struct Typist {
    script: Script,
    site: Box<dyn Site>,
    more: More,
    readable: Readable,
    began: std::time::Instant,
    next: BTreeMap<(Instant, u32), Line>,
    lines: u32,
}
impl Typist {
    /// Answers as this script says.
    pub fn new(script: Script, site: impl Site + 'static, more: More) -> Self {
        let (readable, began) = (Readable::always(), std::time::Instant::now());
        Self { script, site: Box::new(site), more, readable, began, next: BTreeMap::new(), lines: 0 }
    }
    fn queue(&mut self, at: Instant, line: Line) {
        self.lines += 1;
        self.next.insert((at, self.lines), line);
    }
    /// By the wall, as if the job went on in real time.
    fn pressed(&self, at: Instant) -> std::time::Instant {
        self.began + at.since(Instant::START)
    }
    pub(super) fn decides(&self) -> bool {
        self.script.decides()
    }
    pub(super) fn asked(&mut self, now: Instant, prompt: &Prompt) {
        self.readable.stands(prompt.id, self.pressed(now));
        self.queue(now + READS, Line::Answer(prompt.id));
        for (at, line) in (self.more)(now, prompt) {
            self.queue(at, Line::More(line));
        }
    }
    pub(super) fn due(&self) -> Option<Instant> {
        self.next.keys().next().map(|(at, _)| *at)
    }
    /// The next line that is typed at `now`; what an answer stands for has been done at the site.
    pub(super) fn types(&mut self, now: Instant, open: &OpenPrompts) -> Result<Option<Typed>, Failure> {
        while let Some(entry) = self.next.first_entry().filter(|e| e.key().0 <= now) {
            let line = match entry.remove() {
                Line::More(line) => line,
                Line::Answer(id) => match open.get(id) {
                    Some(prompt) => {
                        let answer = self.script.act(now, prompt, self.site.as_mut(), None)?;
                        // A line that is not taken is typed once more.
                        self.queue(now + READS, Line::Answer(id));
                        format!("{id}: {}", words(prompt, &answer))
                    }
                    None => continue,
                },
            };
            return Ok(Some(Typed { at: now, pressed: self.pressed(now), line }));
        }
        Ok(None)
    }
    pub(super) fn at_hand(&self) -> Option<(String, Vec<u8>)> {
        self.script.at_hand()
    }
    pub(super) fn hear(&self, typed: &Typed, open: &OpenPrompts) -> Heard {
        hear(typed, open, &self.readable)
    }
}

/// An answer as a person types it.
fn words(prompt: &Prompt, answer: &Answer) -> String {
    match (answer, &prompt.wants) {
        (Answer::Yes, Wants::OneOf { words }) => words.first().map(|w| w.word.clone()).unwrap_or_default(),
        (Answer::Yes, Wants::YesNo) => "yes".into(),
        (Answer::Yes, _) => String::new(),
        (Answer::No, _) => "no".into(),
        (Answer::NoBecause(why), _) => format!("no, {why}"),
        (Answer::Cannot(why), _) => format!("can't, {why}"),
        (Answer::Number(x), _) => x.to_string(),
        (Answer::Text(text), Wants::Numbers { .. }) if text.is_empty() => "none".into(),
        (Answer::Text(text), _) => text.clone(),
        (Answer::Ticked(tick), _) if tick.state == TickState::Done => "done".into(),
        (Answer::Ticked(_), _) => "no, it was not done".into(),
        (Answer::Back, _) => "back".into(),
        (Answer::Later, _) => "later".into(),
        (Answer::Again(what), _) => format!("again: {what}"),
    }
}
