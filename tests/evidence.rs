//! Evidence taken away or corrupted: whatever happens to any one item of a passing job, its verdict is never pass.
//!
//! A sound small job is recorded against the simulated site. Each case spoils one item of `docs/evidence.md` in the
//! recorded events and feeds them to a fresh procedure, which runs on to its own end. Seeded, so that every case
//! can be looked at again. Not here: what is done to an item ([`spoil`]).
#![allow(unreachable_pub, reason = "its parts are modules of a test")]
mod recording;
mod spoil;

use plumeline_base::{
    Instant, Verdict,
    input::{Author, Event, FromPage, Input, Mark, OperatorAct, Role},
};
use plumeline_procedure::{Act, Outcome, StageKind, outcome::SmokeRun};
use recording::Recording;
use spoil::{Dice, ITEMS};
use std::{collections::BTreeMap, time::Duration};

#[test]
fn the_job_as_recorded_passes() {
    let recording = Recording::new();
    let outcome = recording.judge(&recording.events);
    assert_eq!(outcome.verdict, Verdict::Pass, "{}", outcome.because);
}

#[test]
fn no_item_of_the_evidence_can_be_spared() {
    spared(4 * ITEMS.len() as u64);
}
#[test]
#[ignore = "takes minutes: .ci/run runs it"]
fn no_item_of_the_evidence_can_be_spared_in_1_000_cases() {
    spared(1_000);
}

/// Spoils one item in each of so many cases.
fn spared(count: u64) {
    let recording = Recording::new();
    let case = |seed: u64| {
        let item = &ITEMS[seed as usize % ITEMS.len()];
        let spoilt = (item.spoil)(&recording, &mut Dice::new(seed));
        assert!(spoilt.events != recording.events, "case {seed}, {}: nothing was spoilt ({})", item.name, spoilt.how);
        (item.name, format!("case {seed}, {}: {}", item.name, spoilt.how), recording.judge(&spoilt.events).verdict)
    };
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let share = |k| (k..count).step_by(threads as usize).map(case).collect::<Vec<_>>();
    let all: Vec<_> = std::thread::scope(|s| {
        let running: Vec<_> = (0..threads).map(|k| s.spawn(move || share(k))).collect();
        running.into_iter().flat_map(|t| t.join().unwrap()).collect()
    });
    assert_eq!(all.len() as u64, count);
    let (mut cases, mut passed) = (BTreeMap::<&str, [u32; 2]>::new(), Vec::new());
    for (item, case, verdict) in all {
        let counts = cases.entry(item).or_default();
        match verdict {
            Verdict::Pass => passed.push(case),
            Verdict::Undecided => counts[0] += 1,
            Verdict::Fail => counts[1] += 1,
        }
    }
    for (item, [undecided, fail]) in &cases {
        println!("{item}: {undecided} undecided, {fail} fail");
    }
    assert!(passed.is_empty(), "{} of {count} cases pass all the same:\n{}", passed.len(), passed.join("\n"));
}

/// `docs/evidence.md` and the items spoilt here are the same list.
#[test]
fn every_item_is_listed() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/evidence.md");
    let text = std::fs::read_to_string(path).unwrap();
    let (items, _) = text.split_once("## What the unit tells").unwrap();
    let listed: Vec<&str> =
        items.lines().filter_map(|l| l.strip_prefix("| ")?.split(" | ").next()).filter(|n| *n != "item").collect();
    let spoilt: Vec<&str> = ITEMS.iter().map(|i| i.name).collect();
    assert_eq!(listed, spoilt);
}

/// The answers at which smoke was released, as if they had come from a page with this mark: its instant from the event's, and its
/// uncertainty in us.
fn marked(r: &Recording, mark: impl Fn(Instant) -> Option<Mark>) -> Vec<Event> {
    let mut events = r.events.clone();
    for at in r.answers.iter().filter(|(_, act)| matches!(act, Act::ReleaseSmoke(_))).map(|(at, _)| *at) {
        let mark = mark(events[at].at);
        if let Input::Operator(act) = &mut events[at].input {
            act.page = Some(from_page(mark));
        }
    }
    events
}
fn from_page(mark: Option<Mark>) -> Box<FromPage> {
    let by = Author { name: "A. Example".into(), role: Role::FarEnd, page: 1 };
    Box::new(FromPage { by, mark, note: None, photo: None })
}

#[test]
fn marks_of_a_page_count_at_their_own_time_with_their_own_uncertainty() {
    let r = Recording::new();
    let ms = Duration::from_millis;
    let judged = |before: Duration, u_us| r.judge(&marked(&r, |at| Some(Mark { at: at - before, u_us })));
    let (plain, early, unsure) = (r.judge(&r.events), judged(ms(200), 20_000), judged(ms(0), 500_000));
    assert_eq!((plain.verdict, early.verdict), (Verdict::Pass, Verdict::Pass));
    assert!(!plain.smoke.is_empty());
    for (at_once, early) in plain.smoke.iter().zip(&early.smoke) {
        assert_eq!(early.released + ms(200), at_once.released);
        let onset = |run: &SmokeRun| run.onset.as_ref().unwrap().value;
        assert!((onset(early) - onset(at_once) - 0.2).abs() < 0.02, "{} {}", onset(early), onset(at_once));
    }
    // What the tie is unsure of is in the verdict's figure, once for all runs.
    let figure = |o: &Outcome| {
        let f = o.findings.iter().find(|f| f.code.as_str() == "smoke.within-limit").unwrap();
        f.measured.as_ref().unwrap().expanded.unwrap()
    };
    let (k_plain, k_unsure) = (figure(&plain), figure(&unsure));
    assert!(k_unsure > k_plain + 0.3, "{k_plain} {k_unsure}");
    assert!((figure(&early) - k_plain).abs() < 0.05);
}

#[test]
fn marks_that_can_not_be_so_are_asked_for_again() {
    let r = Recording::new();
    let s = Duration::from_secs;
    type Wrong<'a> = (&'a str, &'a dyn Fn(Instant) -> Mark);
    let wrong: [Wrong<'_>; 3] = [
        ("before its question", &|at| Mark { at: at - s(60), u_us: 20_000 }),
        ("ahead", &|at| Mark { at: at + s(5), u_us: 20_000 }),
        ("of no tie", &|at| Mark { at, u_us: 5_000_000 }),
    ];
    let first = r.answers.iter().find(|(_, act)| matches!(act, Act::ReleaseSmoke(_))).unwrap().0;
    let first = r.events[*first].at;
    for (how, mark) in wrong {
        let outcome = r.judge(&marked(&r, |at| Some(mark(at))));
        assert_ne!(outcome.verdict, Verdict::Pass, "{how}");
        // Later answers of the record may meet the question that was asked again; by the mark itself nothing was released.
        let released = outcome.smoke.iter().any(|run| run.released == first || run.released == mark(first).at);
        assert!(!released, "{how}: {:?}", outcome.smoke);
    }
    // A page without a tie counts when it comes, as the terminal does.
    assert_eq!(r.judge(&marked(&r, |_| None)).verdict, Verdict::Pass);
}

#[test]
fn marks_that_contradict_each_other_leave_no_pass() {
    let r = Recording::new();
    let first = *r.answers.iter().find(|(_, act)| matches!(act, Act::ReleaseSmoke(_))).unwrap().0;
    let Input::Operator(act) = r.events[first].input.clone() else { panic!("an answer") };
    let released = r.events[first].at;
    let again = |behind: Duration, off: Duration| {
        let mark = Mark { at: released - off, u_us: 20_000 };
        let second = OperatorAct { page: Some(from_page(Some(mark))), ..act.clone() };
        let at = released + behind;
        let mut events = r.events.clone();
        let place = events.partition_point(|e| e.at <= at);
        events.insert(place, Event { at, input: Input::Operator(second) });
        r.judge(&events)
    };
    let s = Duration::from_secs;
    // Said once more, it is the same.
    assert_eq!(again(s(1), Duration::from_millis(100)).verdict, Verdict::Pass);
    let early = again(s(1), s(3));
    assert!(early.smoke[0].set_aside.as_ref().is_some_and(|why| why.contains("another mark")), "{:?}", early.smoke);
    assert_ne!(early.verdict, Verdict::Pass);
    // Its result is known by then.
    let last = r.within(StageKind::ProveSmoke).last().map(|i| r.events[*i].at).unwrap();
    let late = again(last.since(released), s(3));
    assert_ne!(late.verdict, Verdict::Pass);
    assert!(late.findings.iter().any(|f| f.stage == StageKind::ProveSmoke && f.void.is_some()));
}
