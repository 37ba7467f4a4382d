//! Answers from pages become inputs like any other. Not here: what the words mean ([`crate::operator::keyboard`]).
use super::Job;
use crate::{
    operator::{
        FromPages, Sent, Told,
        keyboard::{self, Heard, Readable, Typed},
    },
    session::Keeper,
};
use plumeline_base::input::{Answer, FromPage, Input, OperatorAct, Role};
use plumeline_procedure::Act;

impl<K: Keeper> Job<'_, K> {
    pub(super) fn heard_of_pages(&mut self, what: FromPages) {
        match what {
            FromPages::Say(words) => self.say(&format!("    page       {words}")),
            FromPages::Answer(sent) => self.sent(*sent),
        }
    }
    fn sent(&mut self, sent: Sent) {
        let Sent { prompt, words, from, id, told } = sent;
        // Nobody listens any more where the page has gone: the answer counts all the same.
        let tell = |taken: bool, words: String| drop(told.send(Told { id: id.clone(), taken, words }));
        let at = self.time();
        let open = self.session.open().get(prompt);
        if open.is_none() && from.mark.is_some() && from.by.role != Role::Watch && is_mark(&words) {
            // The moment was marked by somebody else meanwhile: the procedure holds one against the other.
            let act = OperatorAct { page: Some(Box::new(from)), ..OperatorAct::new(prompt, Answer::Yes) };
            self.inputs.push_back((at, Input::Operator(act)));
            return tell(true, "it was answered already; your mark is kept beside that answer".into());
        }
        if open.is_some_and(|prompt| !prompt.may_be_answered_by(from.by.role)) {
            return tell(false, format!("{} may not answer this", from.by.role.words()));
        }
        let typed = Typed { at, pressed: std::time::Instant::now(), line: format!("{prompt}: {words}") };
        let (answer, understood) = match keyboard::hear(&typed, self.session.open(), &Readable::default()) {
            Heard::Act(act, understood) => (act.answer, understood),
            Heard::Photo(..) => return tell(false, "send the photo itself, not its path".into()),
            Heard::Again(why) => return tell(false, why),
        };
        // Whoever has a page has no say over which file of this computer is read.
        let gives = self.session.open().get(prompt).is_some_and(|p| matches!(p.act, Act::GiveFile { .. }));
        if gives && matches!(answer, Answer::Text(_)) {
            return tell(false, "type the file's path at the computer that runs the job".into());
        }
        let act = with_what_came(prompt, answer, from);
        let said = understood.unwrap_or_else(|| "taken".into());
        if let Some(page) = &act.page {
            let (name, role) = (page.by.name.clone(), page.by.role.words());
            self.say(&format!(
                "        {name} ({role}) answers [{prompt}]: {}",
                if words.is_empty() { "done" } else { &words }
            ));
        }
        self.inputs.push_back((at, Input::Operator(act)));
        tell(true, said);
    }
}

/// A plain yes: what a mark of a moment says.
fn is_mark(words: &str) -> bool {
    matches!(words.trim(), "" | "yes" | "done")
}

/// The answer with note and photo where they belong: in an item's tick, else beside the answer.
fn with_what_came(prompt: u32, answer: Answer, mut from: FromPage) -> OperatorAct {
    let answer = match answer {
        Answer::Ticked(mut tick) => {
            tick.by.get_or_insert_with(|| from.by.name.clone());
            tick.photo = from.photo.take();
            tick.note = match (tick.note, from.note.take()) {
                (Some(a), Some(b)) => Some(format!("{a}; {b}")),
                (a, b) => a.or(b),
            };
            Answer::Ticked(tick)
        }
        answer => answer,
    };
    OperatorAct { page: Some(Box::new(from)), ..OperatorAct::new(prompt, answer) }
}
