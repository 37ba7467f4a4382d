//! A person at the keyboard: lines from standard input, each the answer to the oldest open prompt unless it names one.
//!
//! A thread reads, so that the moment of a line is the moment the key was pressed. Not here: what is asked.
use super::OpenPrompts;
use plumeline_base::{
    Instant,
    input::{Answer, OperatorAct, Tick, TickState},
};
use plumeline_detector::driver::Wants;
use plumeline_link::RealClock;
use std::path::PathBuf;
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

/// What a line came to.
pub enum Heard {
    /// An answer.
    Act(OperatorAct),
    /// An item ticked off with a photo, which is to be taken in first. The question stays open until then.
    Photo(u32, Tick, PathBuf),
    /// It can't be an answer; the words say why.
    Again(String),
}

/// Takes a line. `12: yes` answers prompt 12; without a number the oldest one is meant.
pub fn hear(line: &str, open: &OpenPrompts) -> Heard {
    let line = line.trim();
    let (named, words) = match line.split_once(':') {
        Some((n, rest)) if n.trim().parse::<u32>().is_ok() => (n.trim().parse::<u32>().ok(), rest.trim()),
        _ => (None, line),
    };
    let Some(prompt) = named.map_or_else(|| open.oldest(), |id| open.get(id)) else {
        return Heard::Again(match named {
            Some(id) => format!("there is no open question {id}"),
            None => "nothing is asked at the moment; wait for the next question".into(),
        });
    };
    let id = prompt.id;
    let heard = match &prompt.wants {
        Wants::Tick => tick(words).map(|(tick, photo)| (Answer::Ticked(tick), photo)),
        wants => answer(wants, words).map(|answer| (answer, None)),
    };
    match heard {
        Ok((Answer::Ticked(tick), Some(photo))) => Heard::Photo(id, tick, photo),
        Ok((answer, _)) => Heard::Act(OperatorAct { prompt: id, answer }),
        Err(why) => Heard::Again(why),
    }
}

/// An item of the checklist: what it comes to, then `by NAME`, `note WORDS`, `photo PATH`, each behind a semicolon.
pub(crate) fn tick(words: &str) -> Result<(Tick, Option<PathBuf>), String> {
    let mut parts = words.split(';').map(str::trim);
    let first = parts.next().unwrap_or_default();
    let lower = first.to_lowercase();
    // The words behind the one that says what it comes to.
    let behind = |word: &str| -> Option<Option<String>> {
        let rest = lower.strip_prefix(word)?;
        if !rest.is_empty() && !rest.starts_with([' ', ':', ',']) {
            return None;
        }
        let said = first.get(first.len() - rest.len()..).unwrap_or_default();
        let said = said.trim_start_matches([' ', ':', ',']).trim();
        Some((!said.is_empty()).then(|| said.to_owned()))
    };
    let (state, mut note) = if lower.is_empty() {
        (TickState::Done, None)
    } else if let Some(note) = ["done", "yes", "y"].into_iter().find_map(behind) {
        (TickState::Done, note)
    } else if let Some(why) = ["not done", "cannot", "no"].into_iter().find_map(behind) {
        (TickState::NotDone, Some(why.ok_or("say why it was not done, for example: no, the ladder is too short")?))
    } else if let Some(why) = ["n/a", "not applicable"].into_iter().find_map(behind) {
        let why = why.ok_or("say why it does not apply, for example: n/a every inlet carries a pipe")?;
        (TickState::NotApplicable, Some(why))
    } else {
        return Err(TICK_HELP.into());
    };
    let (mut by, mut photo) = (None, None);
    for part in parts.filter(|p| !p.is_empty()) {
        let (key, value) = part.split_once(' ').map_or((part, ""), |(k, v)| (k, v.trim()));
        match key.to_lowercase().as_str() {
            _ if value.is_empty() => return Err(TICK_HELP.into()),
            "by" => by = Some(value.to_owned()),
            "photo" => photo = Some(PathBuf::from(value)),
            "note" => note = Some(note.map_or_else(|| value.to_owned(), |n| format!("{n}; {value}"))),
            _ => return Err(TICK_HELP.into()),
        }
    }
    Ok((Tick { state, by, note, photo: None }, photo))
}

/// How an item of the checklist is answered.
pub const TICK_HELP: &str =
    "press Enter when done; or: no REASON, n/a REASON; each may go on with ; note WORDS ; photo PATH ; by NAME";

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
        Wants::Tick => Err(TICK_HELP.into()),
        Wants::Text if lower.is_empty() => Err("type some words, or: no".into()),
        Wants::Text => Ok(Answer::Text(words.into())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_procedure::{Act, Prompt};

    fn open(wants: Wants) -> OpenPrompts {
        let mut o = OpenPrompts::default();
        for id in [3, 7] {
            let prompt = Prompt { id, act: Act::Isolate, text: String::new(), wants: wants.clone() };
            o.asked(Instant::START, prompt);
        }
        o
    }
    fn heard(o: &mut OpenPrompts, line: &str) -> Option<(u32, Answer)> {
        match hear(line, o) {
            Heard::Act(a) => {
                o.closed(a.prompt);
                Some((a.prompt, a.answer))
            }
            Heard::Photo(..) | Heard::Again(_) => None,
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
    fn an_item_is_ticked_with_who_note_and_photo() {
        let of = |words| tick(words).map(|(t, p)| (t.state, t.note, t.by, p.map(|p| p.display().to_string())));
        let some = |s: &str| Some(s.to_owned());
        assert_eq!(of(""), Ok((TickState::Done, None, None, None)));
        assert_eq!(of("Done, Twice"), Ok((TickState::Done, some("Twice"), None, None)));
        assert_eq!(
            of("yes; photo my pictures/a b.jpg; by B. Example; note left side"),
            Ok((TickState::Done, some("left side"), some("B. Example"), some("my pictures/a b.jpg")))
        );
        assert_eq!(
            of("n/a every inlet is used"),
            Ok((TickState::NotApplicable, some("every inlet is used"), None, None))
        );
        assert_eq!(of("not done: too high"), Ok((TickState::NotDone, some("too high"), None, None)));
        assert_eq!(of("No ladder"), Ok((TickState::NotDone, some("ladder"), None, None)));
        for bad in
            ["no", "n/a", "not applicable ; by X", "nothing to do", "donee", "done; photo", "done; shout X", "cannot"]
        {
            assert!(of(bad).is_err(), "{bad}");
        }
    }
    #[test]
    fn a_photo_is_no_answer_until_it_is_taken_in() {
        let Heard::Photo(3, _, path) = hear("done; photo x.jpg", &open(Wants::Tick)) else { panic!("a photo") };
        assert_eq!(path, PathBuf::from("x.jpg"));
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
