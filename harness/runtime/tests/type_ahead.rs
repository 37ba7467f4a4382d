//! Random keys before a question stood: nothing of consequence is on record that was not asked and typed in full after it stood.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
use plumeline_base::{
    Instant,
    input::{Answer, OperatorAct},
};
use plumeline_job::folder;
use plumeline_link::faults::FaultSpec;
use plumeline_procedure::{Act, Entry, Prompt};
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    job::Job,
    job_files::Files,
    keep::MemoryKeeper,
    line::Line,
    operator::{More, Operator, Script, SimulatedSite, Typist},
    scenario,
    session::Outward,
    show::Show,
};
use plumeline_simulator::Scenario;
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use std::{cell::RefCell, collections::BTreeMap, rc::Rc, time::Duration};

/// A question can't have been read sooner.
const STANDS: Duration = Duration::from_millis(500);
/// What people type, and what slips from their fingers.
const KEYS: [&str; 20] = [
    "",
    "",
    "",
    "y",
    "yes",
    "no",
    "done",
    "ok",
    "isolated",
    "locked",
    "none",
    "told",
    "off",
    "restored",
    "unlocked",
    "back",
    "can't, no",
    "no, not now",
    "again: hole 1",
    "put right: all of it",
];

/// Everything that was asked, typed and answered.
#[derive(Default)]
struct Seen {
    asked: BTreeMap<u32, (Instant, Prompt)>,
    typed: Vec<(Instant, String)>,
    answered: Vec<(Instant, OperatorAct)>,
    early: usize,
}
struct Watch(Rc<RefCell<Seen>>);
impl Show for Watch {
    fn show(&mut self, now: Instant, what: &Outward) {
        let mut seen = self.0.borrow_mut();
        match what {
            Outward::Ask(prompt) => {
                seen.asked.insert(prompt.id, (now, prompt.clone()));
            }
            Outward::Note(Entry::Answered { prompt, answer, .. }) => {
                seen.answered.push((now, OperatorAct::new(*prompt, answer.clone())));
            }
            _ => {}
        }
    }
    fn say(&mut self, _: &str) {}
}

/// Whether the word for this consequence is this answer.
fn of_consequence(act: &Act) -> bool {
    matches!(act, Act::Isolate | Act::LockOff | Act::Tell | Act::Restore | Act::Unlock)
        || matches!(act, Act::SwitchSupply { on: false, .. })
}

/// One job with random early keys; how many of them there were.
fn job(files: &Files, seed: u64) -> usize {
    let loaded = files.check().unwrap();
    let site = Scenario::new(loaded.inputs.pipework.clone(), 1);
    let site = SimulatedSite::new(scenario::simulation(site, Instant::START).unwrap());
    let seen = Rc::new(RefCell::new(Seen::default()));
    let (typed, mut dice) = (seen.clone(), ChaCha8Rng::seed_from_u64(seed));
    let more: More = Box::new(move |now, _| {
        let mut below = |n: u32| dice.next_u32() % n;
        let lines: Vec<(Instant, String)> = (0..below(4))
            .map(|_| {
                // While the question has just come up, or just behind its answer: the next one may be on its way.
                let behind = if below(2) == 0 { Duration::ZERO } else { Duration::from_secs(3) };
                let at = now + behind + Duration::from_micros(u64::from(1 + below(498_000)));
                (at, KEYS[below(KEYS.len() as u32) as usize].to_owned())
            })
            .collect();
        let mut typed = typed.borrow_mut();
        typed.typed.extend(lines.iter().cloned());
        typed.early += lines.len();
        lines
    });
    let script = Script::of(
        Script::read("operator.toml", b"format = 1\n[[answer]]\nact = \"decide\"\ntext = \"end\"\n").unwrap(),
    );
    let session = Job::begin(files, loaded.inputs.clone(), MemoryKeeper::default(), DATE_OF_SIMULATIONS)
        .line(Line::simulated(&site, None, FaultSpec::default(), seed))
        .operator(Operator::typist("typist", Typist::new(script, site.clone(), more)))
        .observer(Watch(seen.clone()))
        .run()
        .unwrap();
    assert!(session.outcome().is_some(), "seed {seed}: it did not come to its end");
    let seen = seen.borrow();
    let mut consequences = 0;
    for (at, OperatorAct { prompt, answer, .. }) in &seen.answered {
        let (asked, prompt) = &seen.asked[prompt];
        assert!(at.since(*asked) >= STANDS, "seed {seed}: {prompt:?} was answered by a key pressed before it stood");
        let early = seen.typed.iter().any(|(t, _)| t == at);
        assert!(!early, "seed {seed}: a key of before its question was taken: {prompt:?} {answer:?}");
        if of_consequence(&prompt.act) {
            assert!(matches!(answer, Answer::Text(_) | Answer::Cannot(_) | Answer::No), "seed {seed}: {answer:?}");
            consequences += 1;
        }
    }
    assert!(consequences >= 5, "seed {seed}: {consequences}");
    assert_eq!(session.outcome().unwrap().verdict, plumeline_base::Verdict::Pass, "seed {seed}");
    seen.early
}

fn files() -> Files {
    let own = |name: &str, bytes: &[u8]| (name.to_owned(), bytes.to_vec());
    let files = Files(vec![
        own(folder::PIPEWORK, include_bytes!("../../cli/demo/small/pipework.toml")),
        own(folder::PLAN, include_bytes!("../../cli/demo/small/plan.toml")),
        own(folder::SETTINGS_NEW, include_bytes!("../../cli/demo/small/settings-new.json")),
    ]);
    files.with_port("sim:").with_shipped("model-a", "model-b").unwrap()
}

fn jobs(seeds: std::ops::Range<u64>) {
    let files = files();
    let early: usize = seeds.map(|seed| job(&files, seed)).sum();
    assert!(early > 100, "{early}");
}

#[test]
fn no_key_of_before_its_question_counts() {
    jobs(0..6);
}

#[test]
#[ignore = "a thousand jobs: run by name in .ci/run"]
fn no_key_of_before_its_question_counts_in_a_thousand_jobs() {
    let files = files();
    std::thread::scope(|scope| {
        for part in 0..4 {
            let files = &files;
            scope.spawn(move || {
                (part * 250..(part + 1) * 250).for_each(|seed| {
                    job(files, seed);
                })
            });
        }
    });
}
