//! Evidence taken away or corrupted: whatever happens to any one item of a passing job, its verdict is never pass.
//!
//! A sound small job is recorded against the simulated site. Each case spoils one item of `docs/evidence.md` in the
//! recorded events and feeds them to a fresh procedure, which runs on to its own end. Seeded, so that every case
//! can be looked at again. Not here: what is done to an item ([`spoil`]).
#![allow(unreachable_pub, reason = "its parts are modules of a test")]
mod recording;
mod spoil;

use plumeline_base::Verdict;
use recording::Recording;
use spoil::{Dice, ITEMS};
use std::collections::BTreeMap;

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
