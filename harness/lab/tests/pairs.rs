//! Two visits to one site: a partly blocked hole is named, and nothing that did not change.
#![allow(clippy::unwrap_used, reason = "a failed step fails the test")]
use plumeline_lab::campaign::pairs::{Friction, Pair, run};

/// Named, of how many that had one blocked; and those with something named that did not change.
fn count(seeds: std::ops::Range<u64>, friction: Friction) -> (usize, usize, Vec<Pair>) {
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let shares: Vec<_> = (0..threads)
        .map(|at| {
            let seeds: Vec<u64> = seeds.clone().filter(|s| s % threads == at).collect();
            std::thread::spawn(move || seeds.into_iter().map(|seed| run(seed, friction).unwrap()).collect::<Vec<_>>())
        })
        .collect();
    let all: Vec<Pair> = shares.into_iter().flat_map(|share| share.join().unwrap()).collect();
    let blocked = all.iter().filter(|p| p.blocked.is_some());
    let (named, of) = (blocked.clone().filter(|p| p.named).count(), blocked.count());
    for pair in all.iter().filter(|p| !p.wrong.is_empty() || p.blocked.is_some() && !p.named) {
        println!("{pair:?}");
    }
    (named, of, all.into_iter().filter(|p| !p.wrong.is_empty()).collect())
}

#[test]
fn what_changed_within_a_year_is_named_and_nothing_else() {
    let (named, of, wrong) = count(0..24, Friction::Gentle);
    assert_eq!((named, of), (12, 12));
    // Seed 12 is one of those, five in a thousand, where something else is named too (docs/compare.md).
    assert!(wrong.iter().all(|p| p.seed == 12), "{wrong:?}");
}

#[test]
#[ignore = "a thousand pairs take minutes: run by hand, results in docs/compare.md"]
fn a_thousand_pairs() {
    let (named, of, wrong) = count(20_000..21_000, Friction::Gentle);
    println!("named {named} of {of}; something else named in {} of 1000", wrong.len());
    assert!(named * 100 >= of * 95 && wrong.len() <= 20);
}

/// What is counted here stands in docs/compare.md; fewer named, or more named wrongly, is a step back.
#[test]
#[ignore = "two hundred pairs take minutes: run by hand, results in docs/compare.md"]
fn two_hundred_pairs_whose_pipes_turn_turbulent_in_between() {
    let (named, of, wrong) = count(40_000..40_200, Friction::Drawn);
    println!("named {named} of {of}; something else named in {} of 200", wrong.len());
    assert!(named >= 93 && wrong.len() <= 5);
}
