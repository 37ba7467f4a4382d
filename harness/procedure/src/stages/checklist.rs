//! Hand-work: a person says, item by item, what was done, by whom and when, with a note and a photo where wanted.
//!
//! Not here: whether it is true; the tool can't see it.
use crate::{
    context::Context,
    date,
    effect::Entry,
    judge::checklist as judge,
    outcome::{Finding, StageKind, Subject, Ticked},
    plan::ChecklistItem,
    prompt::Act,
};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use plumeline_base::{
    Instant,
    input::{Answer, Tick, TickState},
};
use plumeline_detector::driver::Wants;

/// The items of a stage that come before its own work, or after it.
pub(super) async fn checklist(ctx: &Context, stage: StageKind, after: bool) {
    if stage == StageKind::Restore && ctx.get().site.isolated_at.is_none() {
        return;
    }
    if stage == StageKind::Restore && after && ctx.get().site.zone_isolated {
        ctx.remark("the zone is not back: nobody is told that it is, and what belongs to that is not asked");
        return;
    }
    let inputs = ctx.inputs();
    let all = inputs.plan.checklist.iter().zip(1..);
    // What was ticked off before a stage was done again is not asked twice.
    let open = |number: u32| {
        let passed = |f: &Finding| f.subject == Subject::Check(number) && f.stands() && f.counts_as().is_pass();
        !ctx.get().outcome.findings.iter().any(passed)
    };
    let items: Vec<_> = all.filter(|(c, n)| c.stage == stage && c.after == after && open(*n)).collect();
    // What was answered: the prompt, what it asked for, the items that it ticked off.
    let mut given: Vec<(u32, Act, Vec<u32>)> = Vec::new();
    loop {
        let open = |number: &u32| !given.iter().any(|(_, _, ticked)| ticked.contains(number));
        let left: Vec<_> = items.iter().copied().filter(|(_, n)| open(n)).collect();
        let Some((item, number)) = left.first() else { return };
        if ctx.get().record.who.is_none() {
            who(ctx).await;
        }
        // Those that are done at once, by their numbers; then each of the others by itself, with its reason.
        let together = given.is_empty() && left.len() > 1;
        let (act, text, wants) = if together { list(&left) } else { one(item, *number) };
        let back = given.last().map(|(prompt, ..)| *prompt);
        let (prompt, at, answer) = ctx.ask_after(back, act.clone(), text, wants).await;
        if answer == Answer::Back {
            if let Some((prompt, act, numbers)) = given.pop() {
                numbers.iter().rev().for_each(|n| untick(ctx, *n));
                ctx.taken_back(prompt, act);
            }
        } else if together {
            let named = done(&answer);
            let ticks = left.iter().filter(|(_, n)| named.contains(n));
            let numbers = ticks.map(|(item, n)| {
                ticked(ctx, item, *n, at, Answer::Yes);
                *n
            });
            let numbers = numbers.collect();
            given.push((prompt, act, numbers));
        } else {
            ticked(ctx, item, *number, at, answer);
            given.push((prompt, act, Vec::from([*number])));
        }
    }
}

type Question = (Act, String, Wants);

fn one(item: &ChecklistItem, number: u32) -> Question {
    (Act::Check { item: number }, item.text.clone(), Wants::Tick)
}
fn list(left: &[(&ChecklistItem, u32)]) -> Question {
    let items: Vec<u32> = left.iter().map(|(_, n)| *n).collect();
    let lines = left.iter().map(|(item, n)| format!("\n{n:>2}  {}", item.text));
    let text = ["Which of these are done? The others are then asked for one by one.".into()].into_iter().chain(lines);
    (Act::Checks { items: items.clone() }, text.collect(), Wants::Numbers { of: items })
}
/// The numbers in an answer to a list. Any other answer ticks nothing off.
fn done(answer: &Answer) -> Vec<u32> {
    let Answer::Text(words) = answer else { return Vec::new() };
    words.split_whitespace().filter_map(|n| n.parse().ok()).collect()
}

/// What was said of a line a moment ago no longer holds; it is asked again.
fn untick(ctx: &Context, number: u32) {
    let mut s = ctx.edit();
    if s.outcome.checklist.last().is_some_and(|t| t.item == number) {
        s.outcome.checklist.pop();
    }
    if s.outcome.findings.last().is_some_and(|f| f.subject == Subject::Check(number)) {
        s.outcome.findings.pop();
    }
}

/// How often a name is asked for before the line itself is asked without one.
const NAME_ASKED: u32 = 3;

/// Asked once; each answer may name another. Who says "yes" where a name is wanted is asked again.
async fn who(ctx: &Context) {
    let technician = ctx.inputs().plan.technician.clone();
    let mut text = format!(
        "Who does the work by hand here and ticks it off? The plan names {technician}. Type the name; it is kept until an \
         answer says \"by NAME\"."
    );
    for _ in 0..NAME_ASKED {
        match ctx.ask(Act::Who, text, Wants::Text).await.1 {
            Answer::Text(name) if is_name(&name) => {
                ctx.edit().record.who = Some(name.trim().into());
                return;
            }
            Answer::Yes | Answer::Text(_) => {
                text = format!("That is no name. Who ticks the work off? The plan names {technician}. Type the name.");
            }
            _ => return,
        }
    }
}

/// Two letters at least, and none of the words that people answer questions with, in whichever language comes first to them.
fn is_name(words: &str) -> bool {
    const ANSWERS: [&str; 28] = [
        "yes",
        "yep",
        "yeah",
        "no",
        "ok",
        "okay",
        "done",
        "ready",
        "sure",
        "fine",
        "me",
        "myself",
        "confirmed",
        "ja",
        "jo",
        "nein",
        "nee",
        "oui",
        "non",
        "si",
        "s\u{ed}",
        "sim",
        "tak",
        "ano",
        "evet",
        "hai",
        "da",
        "\u{434}\u{430}",
    ];
    let words = words.trim().to_lowercase();
    words.chars().filter(|c| c.is_alphabetic()).count() >= 2 && !ANSWERS.contains(&words.as_str())
}

fn ticked(ctx: &Context, item: &ChecklistItem, number: u32, at: Instant, answer: Answer) {
    let plain = |state, note| Tick { state, by: None, note, photo: None };
    let mut tick = match answer {
        Answer::Ticked(tick) => tick,
        Answer::Yes => plain(TickState::Done, None),
        other => plain(TickState::NotDone, other.words().map(String::from)),
    };
    let said = |words: Option<String>| words.map(|w| String::from(w.trim())).filter(|w| !w.is_empty());
    (tick.by, tick.note) = (said(tick.by).filter(|by| is_name(by)), said(tick.note));
    if tick.by.is_some() {
        ctx.edit().record.who = tick.by;
    }
    let by = ctx.get().record.who.clone();
    let entry = Ticked {
        item: number,
        stage: item.stage,
        text: item.text.clone(),
        required: item.required,
        state: tick.state,
        by,
        at,
        date: ctx.utc_ms(at).map(date::format),
        note: tick.note,
        photo: tick.photo,
    };
    ctx.note(Entry::Ticked(Box::new(entry.clone())));
    let found = judge::ticked(&entry);
    ctx.edit().outcome.checklist.push(entry);
    found.into_iter().for_each(|f| ctx.found(f));
}

#[cfg(test)]
mod tests {
    use super::is_name;

    #[test]
    fn a_word_that_answers_a_question_is_no_name() {
        for word in ["ok", "Oui", " ja ", "S\u{cd}", "\u{414}\u{430}", "x", "12", ""] {
            assert!(!is_name(word), "{word}");
        }
        for name in ["A. Name", "Ng", "Jo Nee", "M\u{fc}ller", "\u{738b}\u{82b3}"] {
            assert!(is_name(name), "{name}");
        }
    }
}
