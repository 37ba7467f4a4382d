//! A small fixed campaign: it guards the matrix, its parts make the whole, and a job of it can be explained.
//!
//! Not here: how often verdicts are wrong; that takes far more jobs, see `docs/campaign.md`.
use crate::common::{Folder, exits, run, stderr, stdout, text};
use plumeline_base::Verdict;
use plumeline_lab::campaign::{
    matrix::{Matrix, Wrong, WrongKind},
    one::Job,
    record::{Head, JOBS, Record, Shard},
};
use std::fs;

const SEED: u64 = 20;
const RUNS: u64 = 60;

fn part(index: u64, of: u64, threads: usize) -> Record {
    plumeline_lab::campaign::run(Head::new(SEED, RUNS, Shard { index, of }), threads).unwrap()
}

/// The matrix of the fixed campaign, and that neither parts nor threads change it.
#[test]
fn the_matrix_holds_and_parts_make_the_whole() {
    let whole = part(0, 1, 2);
    let parts: Vec<Record> = (0..3).rev().map(|i| part(i, 3, 1)).collect();
    assert_eq!(Record::merge(parts).unwrap().text().unwrap(), whole.text().unwrap());

    let matrix = Matrix::of(&whole);
    let of = |name| &matrix.sites(name).unwrap().holes;
    let (material, sound) = (of("material"), of("sound, nothing made wrong"));
    assert!(material.passed.n >= 25 && sound.passed.n >= 8, "{material:?} {sound:?}");
    let wrong = |kind| matrix.wrong.iter().filter(|w| w.kind == kind).collect::<Vec<&Wrong>>();
    // Nearly every material defect is stopped, and before the baseline; nor is that because nothing ever passes, and no
    // sound site is failed.
    assert!(matrix.all.holes.stopped.value() >= 0.98, "{:#?}", wrong(WrongKind::Missed));
    assert!(matrix.of_air.holes.before_baseline.value() >= 0.9, "{:#?}", matrix.of_air);
    assert!(sound.passed.value() >= 0.8 && sound.failed.k == 0, "{:#?}", wrong(WrongKind::FalseStop));
    // Each interval holds the truth more often than not, and the onset is near.
    for f in &matrix.figures {
        assert!(f.covered.n >= 8 && f.covered.value() > 0.7, "{f:?}");
    }
    assert!(matrix.onset.median_s < 1.5, "{:?}", matrix.onset);
}

/// Sites at which a rule was once wrong: the reading wandered before a release; outputs were inhibited anew because a renewal met a
/// unit that had just given them back; a hole too wide, found as such, was called a failure though no other hole suffers; a hole a
/// fifth too small passed among holes that all dropped more than predicted, or behind a wide uncertainty; smoke that a shut inlet held back
/// raised a level after the purge, and the outputs stayed inhibited.
#[test]
fn what_was_once_judged_wrong_is_judged_right() {
    for (seed, verdict) in
        [(866, Verdict::Pass), (2_002_851, Verdict::Pass), (320_097, Verdict::Pass), (216, Verdict::Undecided)]
    {
        let job = plumeline_lab::campaign::one::run(seed).unwrap();
        assert!(job.is_sound() && job.holes.verdict == verdict, "{job:#?}");
    }
    for seed in [153, 195, 218, 401] {
        let job = plumeline_lab::campaign::one::run(seed).unwrap();
        assert!(!job.is_sound() && job.holes.stopped() && !job.holes.baseline, "{job:#?}");
    }
}

#[test]
fn the_command_runs_merges_and_explains() {
    let dir = Folder::new("campaign");
    let (a, b, whole, merged) = (dir.join("a"), dir.join("b"), dir.join("whole"), dir.join("merged"));
    let campaign = |more: &[&str]| run(&[&["campaign", "--runs", "6", "--seed", "7"], more].concat());
    exits(&campaign(&["--shard", "1/2", "--out", text(&a)]), &[0]);
    exits(&campaign(&["--shard", "2/2", "--threads", "1", "--out", text(&b)]), &[0]);
    let at_once = campaign(&["--out", text(&whole)]);
    exits(&at_once, &[0]);
    let together = run(&["campaign", "--merge", text(&b), text(&a), "--out", text(&merged)]);
    exits(&together, &[0]);
    assert_eq!(stdout(&together), stdout(&at_once));
    for entry in fs::read_dir(&whole).unwrap() {
        let name = entry.unwrap().file_name();
        assert_eq!(fs::read(merged.join(name.to_str().unwrap())).unwrap(), fs::read(whole.join(&name)).unwrap());
    }
    let twice = run(&["campaign", "--merge", text(&a), text(&a)]);
    exits(&twice, &[3]);
    assert!(stderr(&twice).contains("each once"), "{}", stderr(&twice));

    let jobs = fs::read_to_string(whole.join(JOBS)).unwrap();
    let jobs: Vec<Job> = jobs.lines().skip(1).map(|l| serde_json::from_str(l).unwrap()).collect();
    let out = dir.join("job");
    exits(&run(&["campaign", "--explain", "9", "--out", text(&out)]), &[0, 1, 2]);
    let truth: Job = serde_json::from_slice(&fs::read(out.join("truth.json")).unwrap()).unwrap();
    assert_eq!(jobs.iter().find(|j| j.seed == 9), Some(&truth), "the job explained is the job that was run");
    assert!(out.join("report.html").exists());
}
