//! A person at the keyboard: lines from standard input, each the answer to the oldest open prompt unless it names one.
//!
//! A thread reads, so that the moment of a line is the moment the key was pressed. Not here: what is asked.
use plumeline_base::{
    Instant,
    input::{Answer, OperatorAct},
};
use plumeline_detector::driver::Wants;
use plumeline_link::RealClock;
use plumeline_procedure::Prompt;
use std::collections::BTreeMap;
use tokio::sync::mpsc;

/// A typed line with the moment of its Enter key.
pub type Typed = (Instant, String);

/// Reads standard input in a thread of its own until it ends.
pub fn listen(clock: RealClock) -> mpsc::UnboundedReceiver<Typed> {
    let (send, receive) = mpsc::unbounded_channel();
    std::thread::spawn(move || {
        for text in std::io::stdin().lines().map_while(Result::ok) {
            if send.send((clock.now(), text)).is_err() {
                return;
            }
        }
    });
    receive
}

/// The prompts that wait for a person.
#[derive(Default)]
pub struct Open {
    prompts: BTreeMap<u32, Prompt>,
}

/// What a line came to.
pub enum Heard {
    /// An answer.
    Act(OperatorAct),
    /// It can't be an answer; the words say why.
    Again(String),
}

impl Open {
    /// A prompt was opened.
    pub fn asked(&mut self, prompt: &Prompt) {
        self.prompts.insert(prompt.id, prompt.clone());
    }
    /// A prompt is no longer wanted.
    pub fn withdrawn(&mut self, id: u32) {
        self.prompts.remove(&id);
    }
    /// Takes a line. `12: yes` answers prompt 12; without a number the oldest one is meant.
    pub fn hear(&mut self, line: &str) -> Heard {
        let line = line.trim();
        let (named, words) = match line.split_once(':') {
            Some((n, rest)) if n.trim().parse::<u32>().is_ok() => (n.trim().parse::<u32>().ok(), rest.trim()),
            _ => (None, line),
        };
        let Some(prompt) = named.map_or_else(|| self.prompts.values().next(), |id| self.prompts.get(&id)) else {
            return Heard::Again(match named {
                Some(id) => format!("there is no open question {id}"),
                None => "nothing is asked at the moment; wait for the next question".into(),
            });
        };
        match answer(&prompt.wants, words) {
            Ok(answer) => {
                let id = prompt.id;
                self.prompts.remove(&id);
                Heard::Act(OperatorAct { prompt: id, answer })
            }
            Err(why) => Heard::Again(why),
        }
    }
}

fn answer(wants: &Wants, words: &str) -> Result<Answer, String> {
    let lower = words.to_lowercase();
    if let Some(reason) = lower.strip_prefix("cannot") {
        let reason = words.get(words.len() - reason.len()..).unwrap_or_default().trim();
        return if reason.is_empty() {
            Err("say why, for example: cannot behind the racking".into())
        } else {
            Ok(Answer::Cannot(reason.into()))
        };
    }
    let yes = matches!(lower.as_str(), "y" | "yes" | "done");
    let no = matches!(lower.as_str(), "n" | "no");
    match wants {
        Wants::Done if lower.is_empty() || yes => Ok(Answer::Yes),
        Wants::Moment if lower.is_empty() || yes => Ok(Answer::Yes),
        Wants::YesNo if yes => Ok(Answer::Yes),
        Wants::Done | Wants::Moment | Wants::YesNo | Wants::Text if no => Ok(Answer::No),
        Wants::Done | Wants::Moment => Err("press Enter when done, or type: cannot REASON".into()),
        Wants::YesNo => Err("type yes or no".into()),
        Wants::Number { unit } => match lower.replace(',', ".").parse::<f64>() {
            Ok(x) if x.is_finite() => Ok(Answer::Number(x)),
            _ => Err(format!("type a number in {unit}, or: cannot REASON")),
        },
        Wants::Text if lower.is_empty() => Err("type some words, or: no".into()),
        Wants::Text => Ok(Answer::Text(words.into())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_procedure::Act;

    fn open(wants: Wants) -> Open {
        let mut o = Open::default();
        for id in [3, 7] {
            o.asked(&Prompt { id, act: Act::Isolate, text: String::new(), wants: wants.clone() });
        }
        o
    }
    fn heard(o: &mut Open, line: &str) -> Option<(u32, Answer)> {
        match o.hear(line) {
            Heard::Act(a) => Some((a.prompt, a.answer)),
            Heard::Again(_) => None,
        }
    }

    #[test]
    fn lines_answer_the_oldest_prompt_or_the_one_named() {
        let mut o = open(Wants::Done);
        assert_eq!(heard(&mut o, "7: done"), Some((7, Answer::Yes)));
        assert_eq!(heard(&mut o, ""), Some((3, Answer::Yes)));
        assert_eq!(heard(&mut o, ""), None);
        assert_eq!(heard(&mut o, "7: done"), None);
    }
    #[test]
    fn what_is_no_answer_leaves_the_prompt_open() {
        let mut o = open(Wants::YesNo);
        assert_eq!(heard(&mut o, "perhaps"), None);
        assert_eq!(heard(&mut o, ""), None);
        assert_eq!(heard(&mut o, "Cannot"), None);
        assert_eq!(heard(&mut o, "Cannot Reach It"), Some((3, Answer::Cannot("Reach It".into()))));
        let mut o = open(Wants::Number { unit: "L/min".into() });
        assert_eq!(heard(&mut o, "nan"), None);
        assert_eq!(heard(&mut o, "31,5"), Some((3, Answer::Number(31.5))));
    }
}
