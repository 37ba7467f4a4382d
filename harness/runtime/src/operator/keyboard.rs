//! A person at the keyboard: lines from standard input, each the answer to the oldest open prompt unless it names one.
//!
//! A thread reads, so that the moment of a line is the moment the key was pressed. Not here: what is asked.
use super::OpenPrompts;
use plumeline_base::{
    Instant,
    input::{Answer, OperatorAct, Tick, TickState},
};
use plumeline_detector::driver::{Wants, Word};
use plumeline_link::RealClock;
use plumeline_procedure::Prompt;
use std::{
    collections::BTreeMap,
    io::{BufRead, IsTerminal, stdin},
    path::PathBuf,
    time::Duration,
};
use tokio::sync::mpsc;

/// A typed line with the moment of its Enter key.
#[derive(Clone, Debug)]
pub struct Typed {
    /// In log time.
    pub at: Instant,
    /// By the wall: people are no faster where log time is.
    pub pressed: std::time::Instant,
    /// What was typed.
    pub line: String,
}

/// Reads standard input in a thread of its own until it ends.
pub fn listen(clock: RealClock) -> mpsc::UnboundedReceiver<Typed> {
    let (send, receive) = mpsc::unbounded_channel();
    std::thread::spawn(move || {
        let (mut stdin, mut bytes) = (stdin().lock(), Vec::new());
        // A keyboard of another encoding is no end of the input.
        while stdin.read_until(b'\n', &mut bytes).is_ok_and(|n| n > 0) {
            let line = String::from_utf8_lossy(&bytes).into_owned();
            bytes.clear();
            if send.send(Typed { at: clock.now(), pressed: std::time::Instant::now(), line }).is_err() {
                return;
            }
        }
    });
    receive
}

/// Nobody has read a question and answered it sooner (practice, no source).
const SOONEST: Duration = Duration::from_millis(500);

/// From when on questions can have been read. At a terminal, what was typed before that is no answer.
#[derive(Default)]
pub struct Readable {
    from: BTreeMap<u32, std::time::Instant>,
    at_terminal: bool,
}
impl Readable {
    /// Of what is shown here and answered at standard input.
    pub fn here() -> Self {
        Self { from: BTreeMap::new(), at_terminal: stdin().is_terminal() }
    }
    /// A question appears; what was typed and not read yet is thrown away.
    pub(crate) fn asked(&mut self, id: u32) {
        if self.at_terminal {
            plumeline_link::forget_typed();
            self.stands(id, std::time::Instant::now());
        }
    }
    /// As at a terminal, wherever that is.
    pub(crate) fn always() -> Self {
        Self { from: BTreeMap::new(), at_terminal: true }
    }
    /// A question stands since then.
    pub(crate) fn stands(&mut self, id: u32, since: std::time::Instant) {
        self.from.insert(id, since + SOONEST);
    }
    fn too_soon(&self, typed: &Typed, id: u32) -> bool {
        self.from.get(&id).is_some_and(|from| typed.pressed < *from)
    }
}

/// What a line came to.
pub enum Heard {
    /// An answer, and what was understood where that is worth saying.
    Act(OperatorAct, Option<String>),
    /// An item ticked off with a photo, which is to be taken in first. The question stays open until then.
    Photo(u32, Tick, PathBuf),
    /// It can't be an answer; the words say why.
    Again(String),
}

/// Takes a line. `12: yes` answers prompt 12; without a number the oldest one is meant.
pub fn hear(typed: &Typed, open: &OpenPrompts, readable: &Readable) -> Heard {
    let line = typed.line.trim();
    let (named, words) = match line.split_once(':') {
        // `14:05:30` is a time of a clock, where one is asked for.
        Some((_, rest)) if rest.starts_with(|c: char| c.is_ascii_digit()) && wants_clock(open) => (None, line),
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
    if readable.too_soon(typed, id) {
        return Heard::Again(format!("typed before the question stood: not taken; [{id}] still waits"));
    }
    let heard = match &prompt.wants {
        _ if words.eq_ignore_ascii_case("back") => match prompt.back {
            Some(_) => Ok((Answer::Back, None)),
            None => Err("nothing can be taken back here: what follows rests on the answer before".into()),
        },
        wants if !has_word(wants, AGAIN) && behind(words, AGAIN).is_some_and(|what| !what.is_empty()) => {
            Ok((Answer::Again(behind(words, AGAIN).unwrap_or_default().into()), None))
        }
        _ if words.eq_ignore_ascii_case("later") => match prompt.act.may_wait() {
            true => Ok((Answer::Later, None)),
            false => Err("this can't wait: answer it now".into()),
        },
        Wants::Tick => tick(words).map(|(tick, photo)| (Answer::Ticked(tick), photo)),
        wants => answer(wants, words).map(|answer| (answer, None)),
    };
    match heard {
        Ok((Answer::Ticked(tick), Some(photo))) => Heard::Photo(id, tick, photo),
        Ok((answer, _)) => {
            let understood = understood(prompt, &answer);
            Heard::Act(OperatorAct::new(id, answer), understood)
        }
        Err(why) => Heard::Again(why),
    }
}

fn wants_clock(open: &OpenPrompts) -> bool {
    open.oldest().is_some_and(|prompt| prompt.wants == Wants::ClockTime)
}

/// What is done again is named behind this word, at any question.
const AGAIN: &str = "again";

/// One of the words that are asked for, with words of the person's own behind it.
fn has_word(wants: &Wants, word: &str) -> bool {
    matches!(wants, Wants::OneOf { words } if words.iter().any(|w| w.more && w.word == word))
}
/// What follows this word, if it stands first.
fn behind<'a>(typed: &'a str, word: &str) -> Option<&'a str> {
    let (head, rest) = typed.split_at_checked(word.len())?;
    let ends = rest.is_empty() || rest.starts_with([' ', ',', ':', ';', '.']);
    (ends && head.eq_ignore_ascii_case(word)).then(|| rest.trim_start_matches([' ', ',', ':', ';', '.']).trim())
}

/// What was understood, where a word stands for more than itself.
fn understood(prompt: &Prompt, answer: &Answer) -> Option<String> {
    let typed = match answer {
        Answer::Back => return Some("understood: the answer before is taken back".into()),
        Answer::Later => return Some("understood: later, at the end of the walk".into()),
        Answer::Again(what) => return Some(format!("understood: done again first: {what}")),
        Answer::Cannot(why) | Answer::NoBecause(why) => return Some(format!("understood: not so: {why}")),
        Answer::Yes => "yes",
        Answer::No => "no",
        Answer::Text(text) => text,
        Answer::Number(_) | Answer::Ticked(_) => return None,
    };
    if let Wants::Numbers { of } = &prompt.wants {
        let left: Vec<String> =
            of.iter().map(u32::to_string).filter(|n| !typed.split(' ').any(|typed| typed == n)).collect();
        let said = |numbers: &str| if numbers.is_empty() { "none".to_owned() } else { numbers.to_owned() };
        return Some(format!("understood: done: {}; not yet: {}", said(typed), said(&left.join(" "))));
    }
    let Wants::OneOf { words } = &prompt.wants else { return None };
    let means =
        words.iter().find(|w| typed == w.word || w.more && typed.starts_with(&w.word)).map(|w| w.means.as_str());
    Some(format!("understood: {}", means.unwrap_or("not so")))
}

/// An item of the checklist: what it comes to, then `by NAME`, `note WORDS`, `photo PATH`, each behind a semicolon.
pub(crate) fn tick(words: &str) -> Result<(Tick, Option<PathBuf>), String> {
    let mut parts = words.split(';').map(str::trim);
    let first = parts.next().unwrap_or_default();
    // Of ASCII letters alone: what follows is cut out of the words as typed.
    let lower = first.to_ascii_lowercase();
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
    } else if let Some(why) = ["not done", "cannot", "can not", "can't", "cant", "no"].into_iter().find_map(behind) {
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

/// What says that something is not so or can't be done; the reason follows.
const REFUSALS: [&str; 6] = ["cannot", "can not", "can't", "can\u{2019}t", "cant", "no"];

/// The reason behind a refusal, empty where none was given; `None`: it is no refusal.
fn refusal(words: &str) -> Option<&str> {
    REFUSALS.iter().find_map(|refusal| behind(words, refusal))
}

fn answer(wants: &Wants, words: &str) -> Result<Answer, String> {
    let lower = words.to_lowercase();
    let (yes, no) = (matches!(lower.as_str(), "y" | "yes" | "done"), matches!(lower.as_str(), "n" | "no"));
    match (wants, refusal(words)) {
        (Wants::OneOf { words: wanted }, refusal) => one_of(wanted, words, refusal),
        (Wants::YesNo, _) if yes => Ok(Answer::Yes),
        (Wants::YesNo, Some(why)) if lower.starts_with("no") => Ok(no_because(why)),
        (Wants::Number { .. }, _) if no => {
            Err("say why there is no number, for example: no, the meter is broken".into())
        }
        (Wants::Tick, _) => Err(TICK_HELP.into()),
        (Wants::Numbers { of }, refusal) => numbers(of, &lower, refusal == Some("")),
        _ if no => Ok(Answer::No),
        (_, Some("")) => Err("say why, for example: cannot behind the racking".into()),
        (_, Some(reason)) => Ok(Answer::Cannot(reason.into())),
        (Wants::Done | Wants::Moment | Wants::Notice, None) if lower.is_empty() || yes => Ok(Answer::Yes),
        (Wants::Done | Wants::Moment | Wants::Notice, None) => {
            Err("press Enter when done, or type: cannot REASON".into())
        }
        (Wants::YesNo, None) => Err("type yes or no".into()),
        (Wants::Number { unit }, None) => number(&lower, unit).map(Answer::Number),
        (Wants::ClockTime, None) if lower.is_empty() => {
            Err("type the time that the clock shows, and then press Enter".into())
        }
        (Wants::LoggerFile, None) if lower.is_empty() => Err("type the path of the file, or: can't, REASON".into()),
        (Wants::Text, None) if lower.is_empty() => Err("type some words, or: no".into()),
        (Wants::Text | Wants::ClockTime | Wants::LoggerFile, None) => Ok(Answer::Text(words.into())),
    }
}

/// Numbers of a list, each typed by itself: neither Enter nor a word says that all of it is done.
fn numbers(of: &[u32], typed: &str, none: bool) -> Result<Answer, String> {
    if none || typed == NONE_DONE {
        return Ok(Answer::Text(String::new()));
    }
    let named = typed
        .split([' ', '\t', ',', ';', '.'])
        .filter(|n| !n.is_empty())
        .map(|n| n.parse().ok().filter(|n| of.contains(n)));
    let named: Option<Vec<u32>> = named.collect();
    match named.filter(|named| !named.is_empty()) {
        Some(named) => Ok(Answer::Text(named.iter().map(u32::to_string).collect::<Vec<_>>().join(" "))),
        None => Err(numbers_to_type(of)),
    }
}
const NONE_DONE: &str = "none";

/// How a list is answered.
pub fn numbers_to_type(of: &[u32]) -> String {
    let two: Vec<String> = of.iter().take(2).map(u32::to_string).collect();
    format!("type the number of each line that is done, as in: {}; or: {NONE_DONE}", two.join(" "))
}

fn no_because(why: &str) -> Answer {
    if why.is_empty() { Answer::No } else { Answer::NoBecause(why.into()) }
}

/// A number with a comma or a point, with or without its unit.
fn number(typed: &str, unit: &str) -> Result<f64, String> {
    let figure = typed.trim_end_matches(|c: char| !c.is_ascii_digit() && c != '.' && c != ',');
    let behind: String = typed[figure.len()..].split_whitespace().collect();
    let value = figure.trim().replace(',', ".").parse::<f64>().ok().filter(|x| x.is_finite());
    let fits = behind.is_empty() || behind == unit.to_lowercase().split_whitespace().collect::<String>();
    value.filter(|_| fits).ok_or_else(|| format!("type a number in {unit}, or: no, REASON"))
}

/// One of the words in full; `no` refuses where it is none of them.
fn one_of(wanted: &[Word], typed: &str, refusal: Option<&str>) -> Result<Answer, String> {
    let lower = typed.to_ascii_lowercase();
    for w in wanted {
        let Some(rest) = lower.strip_prefix(&w.word.to_ascii_lowercase()) else { continue };
        if !w.more && rest.is_empty() {
            return Ok(match w.word.as_str() {
                "yes" => Answer::Yes,
                "no" => Answer::No,
                word => Answer::Text(word.into()),
            });
        }
        let said = typed.get(typed.len() - rest.len()..).unwrap_or_default().trim_start_matches([' ', ':', ',']).trim();
        if w.more && !said.is_empty() {
            return Ok(Answer::Text(format!("{}: {said}", w.word)));
        }
    }
    match refusal {
        // Where something is to be chosen, no is no choice.
        _ if is_choice(wanted) => Err(format!("type {}", words_to_type(wanted))),
        Some("") if typed.eq_ignore_ascii_case("no") => Ok(Answer::No),
        Some(why) if !why.is_empty() && wanted.iter().any(|w| w.word == "no") && lower.starts_with("no") => {
            Ok(no_because(why))
        }
        Some(why) if !why.is_empty() => Ok(Answer::Cannot(why.into())),
        _ => Err(format!("type {}", words_to_type(wanted))),
    }
}

/// One of several ways to go on, none of which is a refusal.
fn is_choice(words: &[Word]) -> bool {
    words.iter().any(|w| w.word == "pause")
}

/// The words that can be typed.
pub fn words_to_type(words: &[Word]) -> String {
    let all: Vec<String> =
        words.iter().map(|w| if w.more { format!("{}: WHAT", w.word) } else { w.word.clone() }).collect();
    let refuses = if is_choice(words) || words.iter().any(|w| w.word == "no") { "" } else { ", or: no, REASON" };
    format!("{}{refuses}", all.join(" or "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_procedure::Act;

    fn open(wants: Wants) -> OpenPrompts {
        let mut o = OpenPrompts::default();
        for id in [3, 7] {
            let prompt = Prompt { id, act: Act::Isolate, text: String::new(), wants: wants.clone(), back: None };
            o.asked(Instant::START, prompt);
        }
        o
    }
    fn now(line: &str) -> Typed {
        Typed { at: Instant::START, pressed: std::time::Instant::now(), line: line.into() }
    }
    fn heard(o: &mut OpenPrompts, line: &str) -> Option<(u32, Answer)> {
        match hear(&now(line), o, &Readable::default()) {
            Heard::Act(a, _) => {
                o.closed(a.prompt);
                Some((a.prompt, a.answer))
            }
            Heard::Photo(..) | Heard::Again(_) => None,
        }
    }
    fn consequence() -> Wants {
        let word = |word: &str| Word::of(word, &format!("it is {word}"));
        Wants::OneOf { words: vec![word("locked"), word("none")] }
    }

    #[test]
    fn a_consequence_wants_its_word_in_full() {
        for slip in ["", "y", "yes", "done", "ok", "lock", "lockedd", "cannot", "can't"] {
            assert_eq!(heard(&mut open(consequence()), slip), None, "{slip}");
        }
        let said = |line: &str| match hear(&now(line), &open(consequence()), &Readable::default()) {
            Heard::Act(a, understood) => Some((a.answer, understood.unwrap_or_default())),
            _ => None,
        };
        assert_eq!(said("Locked"), Some((Answer::Text("locked".into()), "understood: it is locked".into())));
        assert_eq!(said("no"), Some((Answer::No, "understood: not so".into())));
        for refused in ["no, the key is lost", "can't the key is lost", "can not: the key is lost"] {
            assert_eq!(said(refused).map(|s| s.0), Some(Answer::Cannot("the key is lost".into())), "{refused}");
        }
    }
    #[test]
    fn what_was_typed_before_the_question_stood_is_not_taken() {
        let mut readable = Readable { at_terminal: true, ..Readable::default() };
        let (early, open) = (now(""), open(Wants::Done));
        readable.asked(3);
        assert!(matches!(hear(&early, &open, &readable), Heard::Again(_)));
        let why = "before the question stood";
        assert!(matches!(hear(&now(""), &open, &readable), Heard::Again(said) if said.contains(why)));
        let later = Typed { pressed: std::time::Instant::now() + SOONEST * 2, ..now("") };
        assert!(matches!(hear(&later, &open, &readable), Heard::Act(..)));
    }
    #[test]
    fn an_answer_is_taken_back_only_where_nothing_rests_on_it() {
        let mut o = open(Wants::Done);
        assert_eq!(heard(&mut o, "back"), None);
        let prompt = Prompt { id: 1, act: Act::Tell, text: String::new(), wants: consequence(), back: Some(0) };
        o.asked(Instant::START, prompt);
        assert_eq!(heard(&mut o, "Back"), Some((1, Answer::Back)));
    }
    #[test]
    fn what_is_done_again_is_named_at_any_question() {
        let again = || Some((3, Answer::Again("hole 1.4".into())));
        for wants in [Wants::Done, Wants::YesNo, Wants::Moment, Wants::Tick, consequence()] {
            assert_eq!(heard(&mut open(wants.clone()), "again: hole 1.4"), again());
            assert_eq!(heard(&mut open(wants.clone()), "Again hole 1.4"), again());
            assert_eq!(heard(&mut open(wants), "again"), None);
        }
        // Where the word is one of the answers, it is that answer.
        let more = Word { more: true, ..Word::of("again", "named") };
        let decide = || Wants::OneOf { words: vec![Word::of("again", "this"), more.clone()] };
        assert_eq!(heard(&mut open(decide()), "again"), Some((3, Answer::Text("again".into()))));
        assert_eq!(heard(&mut open(decide()), "again: smoke 1.4"), Some((3, Answer::Text("again: smoke 1.4".into()))));
    }
    #[test]
    fn letters_that_grow_when_they_are_made_small_cut_nothing_short() {
        // U+0130 is longer in small letters.
        let dotted = "\u{130}".repeat(40);
        let (ticked, _) = tick(&format!("No, {dotted}")).unwrap();
        assert_eq!((ticked.state, ticked.note), (TickState::NotDone, Some(dotted.clone())));
        let words = vec![Word { more: true, ..Word::of("put right", "") }];
        let said = answer(&Wants::OneOf { words: words.clone() }, &format!("Put right: {dotted}"));
        assert_eq!(said, Ok(Answer::Text(format!("put right: {dotted}"))));
        for odd in [&*dotted, "\u{130}", "ja", "\u{0434}\u{0430}", "no\u{130}", "\u{fffd}"] {
            let all = [Wants::Done, Wants::YesNo, Wants::Moment, Wants::Tick, consequence()];
            assert!(all.iter().all(|wants| heard(&mut open(wants.clone()), odd).is_none()), "{odd}");
        }
    }
    #[test]
    fn reasons_and_numbers_are_taken_as_people_write_them() {
        for refused in ["no, too high", "cannot too high", "Can't, too high", "no: too high"] {
            assert_eq!(answer(&Wants::Done, refused), Ok(Answer::Cannot("too high".into())), "{refused}");
            assert_eq!(answer(&Wants::Moment, refused), Ok(Answer::Cannot("too high".into())));
        }
        assert!(answer(&Wants::Done, "nothing").is_err());
        let because = || Answer::NoBecause("it shows input 3".into());
        assert_eq!(answer(&Wants::YesNo, "no, it shows input 3"), Ok(because()));
        assert_eq!(answer(&Wants::YesNo, "No"), Ok(Answer::No));
        let words = ["yes", "no", "again"].map(|w| Word::of(w, w)).to_vec();
        assert_eq!(answer(&Wants::OneOf { words }, "no: it shows input 3"), Ok(because()));
        let volts = Wants::Number { unit: "V".into() };
        for v in ["26.9", "26,9", "26,9 V", "26.9v", " 26.9 v"] {
            assert_eq!(answer(&volts, v.trim()), Ok(Answer::Number(26.9)), "{v}");
        }
        assert_eq!(answer(&Wants::Number { unit: "L/min".into() }, "32 l/min"), Ok(Answer::Number(32.0)));
        assert_eq!(answer(&volts, "can't, no meter"), Ok(Answer::Cannot("no meter".into())));
        for bad in ["26.9 A", "V", "", "1 2", "twelve", "no", "1.2.3"] {
            assert!(answer(&volts, bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_time_of_a_clock_is_no_number_of_a_prompt() {
        let text = |id, words: &str| Some((id, Answer::Text(words.into())));
        for time in ["14:05:30", "7:05:30", "31.01.2026 14:05:30"] {
            assert_eq!(heard(&mut open(Wants::ClockTime), time), text(3, time));
        }
        assert_eq!(heard(&mut open(Wants::ClockTime), "7: 14:05:30"), text(7, "14:05:30"));
        assert_eq!(heard(&mut open(Wants::ClockTime), ""), None);
        assert_eq!(
            heard(&mut open(Wants::ClockTime), "can't, no logger"),
            Some((3, Answer::Cannot("no logger".into())))
        );
        let path = "logs/3.csv; column smoke";
        assert_eq!(heard(&mut open(Wants::LoggerFile), path), text(3, path));
        assert_eq!(heard(&mut open(Wants::LoggerFile), ""), None);
        assert_eq!(heard(&mut open(Wants::Done), "14:05:30"), None, "elsewhere it names a prompt that is not there");
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
        let heard = hear(&now("done; photo x.jpg"), &open(Wants::Tick), &Readable::default());
        let Heard::Photo(3, _, path) = heard else { panic!("a photo") };
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
