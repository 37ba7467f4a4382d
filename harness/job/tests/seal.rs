//! Seals: every changed byte is noticed and its file named, another job's seal too, and a crash leaves a job open or sealed.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it should be")]
mod sealing;
use plumeline_base::Verdict;
use plumeline_job::{
    Kind, Problem,
    digest::Digest,
    disk::{self, fake::FakeDisk},
    folder::{self, Folder},
    key::SigningKey,
    seal::{self, Closed, Judged, Seal, Standing, State, Statement, Superseded, verify},
};
use sealing::*;
use std::{path::Path, sync::Arc};

fn key(name: &str) -> SigningKey {
    SigningKey::generate(name).unwrap()
}
fn statement(open: &[&str]) -> Statement {
    Statement {
        cautions: Vec::new(),
        words: None,
        closed: Closed::with(open.iter().map(|s| (*s).to_owned()).collect()),
        verdict: Judged { because: "everything was shown".into(), is: Verdict::Pass },
        date: "2026-01-01T10:00:00Z".into(),
        tool: "0.1.0".into(),
    }
}
fn close(folder: &Folder, open: &[&str], key: &SigningKey) -> Seal {
    seal::add(folder, &verify(folder), statement(open), key).unwrap()
}
/// The problems of a folder, as file and cause.
fn problems(standing: &Standing) -> Vec<String> {
    standing.all_problems().iter().map(|p| format!("{}: {}", p.file(), p.cause())).collect()
}
#[track_caller]
fn holds(folder: &Folder, state: State) -> Standing {
    let standing = verify(folder);
    assert_eq!(problems(&standing), [""; 0]);
    assert_eq!(standing.state, state);
    standing
}

#[test]
fn any_one_byte_changed_in_any_file_is_noticed_and_the_file_named() {
    const TRIALS: u64 = 10_000;
    let (files, key) = (recorded_job(), key("A. Technician"));
    let disk = FakeDisk::new();
    let folder = put(&disk, &files);
    close(&folder, &[], &key);
    // A second seal by somebody else, so that earlier seals are among the files too.
    close(&folder, &[], &SigningKey::demonstration());
    let sealed = all_files(&folder);
    assert!(sealed.len() >= 11, "{:?}", sealed.keys());
    holds(&open(Still::new(&sealed)), State::Sealed);
    let shared = Arc::new(sealed.clone());
    let trial = |seed: u64| {
        let change = Change::draw(&sealed, seed);
        let changed = open(Still::shared(&shared, &change.name, change.bytes(&sealed)));
        let standing = verify(&changed);
        let all = standing.all_problems();
        let named = |p: &Problem| p.file() == change.name;
        assert!(all.iter().any(named), "{change:?}: {:?}", problems(&standing));
        // And no other file is blamed, but where a seal vouches for the one that was changed.
        assert!(all.iter().all(|p| named(p) || change.name.starts_with("seal-")), "{:?}", problems(&standing));
        if change.name == folder::JOURNAL {
            let line = all.iter().find(|p| named(p)).and_then(|p| p.place()).map(|at| at.line).unwrap();
            let before = &sealed[&change.name][..change.at.min(sealed[&change.name].len())];
            let there = 1 + before.iter().filter(|b| **b == b'\n').count();
            assert!(line.abs_diff(there) <= 1, "line {line} for {there}: {change:?}");
        }
        change.name
    };
    let names: Vec<String> = std::thread::scope(|s| {
        let trial = &trial;
        let half = |half| s.spawn(move || (0..TRIALS / 2).map(|i| trial(2 * i + half)).collect::<Vec<_>>());
        let halves = [half(0), half(1)];
        halves.into_iter().flat_map(|h| h.join().unwrap()).collect()
    });
    assert_eq!(names.len() as u64, TRIALS);
    for name in sealed.keys() {
        let tried = names.iter().filter(|n| *n == name).count();
        assert!(tried > 400, "{name} was tried only {tried} times");
    }
}

#[test]
fn what_is_missing_added_or_swapped_is_named() {
    let disk = FakeDisk::new();
    let folder = put(&disk, &recorded_job());
    close(&folder, &[], &key("A"));
    let sealed = all_files(&folder);
    for name in sealed.keys().filter(|name| !name.starts_with("seal-")) {
        let mut less = sealed.clone();
        less.remove(name);
        let standing = verify(&open(Still::new(&less)));
        let all = standing.all_problems();
        assert_eq!(all.iter().map(|p| (p.kind(), p.file())).collect::<Vec<_>>(), [(Kind::Absent, name.as_str())]);
    }
    for name in ["notes.txt", "photos/another.png", "result.json.part", "seal-01.json"] {
        let standing = verify(&open(Still::with(&sealed, name, b"x".to_vec())));
        assert_eq!(standing.all_problems().iter().map(|p| p.file()).collect::<Vec<_>>(), [name]);
    }
    // The lock is no part of the record.
    holds(&open(Still::with(&sealed, folder::LOCK, b"17\n".to_vec())), State::Sealed);
    let mut swapped = sealed.clone();
    let (a, b) = (sealed["result.json"].clone(), sealed["junit.xml"].clone());
    swapped.insert("result.json".into(), b);
    swapped.insert("junit.xml".into(), a);
    assert_eq!(verify(&open(Still::new(&swapped))).all_problems().len(), 2);
    // Without its seal a job is open, and says nothing more.
    let mut unsealed = sealed.clone();
    unsealed.remove("seal-1.json");
    holds(&open(Still::new(&unsealed)), State::Open);
}

#[test]
fn the_seal_of_another_job_is_noticed() {
    let (key, disk) = (key("A"), FakeDisk::new());
    let folder = put(&disk, &recorded_job());
    close(&folder, &[], &key);
    let other = small_job(&FakeDisk::new(), "2026-01-02T08:00:00Z", true);
    close(&other, &[], &key);
    let replayed = Still::with(&all_files(&folder), "seal-1.json", all_files(&other)["seal-1.json"].clone());
    let standing = verify(&open(replayed));
    assert_eq!(
        problems(&standing),
        ["seal-1.json: it is the seal of another job than the one that journal.jsonl tells of"]
    );
    // The same files on another day are another job.
    let again = small_job(&FakeDisk::new(), "2026-01-03T08:00:00Z", true);
    close(&again, &[], &key);
    let replayed = Still::with(&all_files(&again), "seal-1.json", all_files(&other)["seal-1.json"].clone());
    assert!(verify(&open(replayed)).all_problems().iter().any(|p| p.file() == "seal-1.json"));
    // A seal of this job that was superseded does not pass for the newest.
    let grown = small_job(&FakeDisk::new(), "2026-01-04T08:00:00Z", false);
    close(&grown, &["not over"], &key);
    grow(&grown, true);
    close(&grown, &[], &key);
    let files = all_files(&grown);
    let replayed = Still::with(&files, "seal-2.json", files["seal-1.json"].clone());
    assert!(verify(&open(replayed)).all_problems().iter().any(|p| p.file() == "seal-2.json"));
    let mut gone = files.clone();
    gone.remove("seal-1.json");
    assert_eq!(verify(&open(Still::new(&gone))).all_problems()[0].file(), "seal-1.json");
}

#[test]
fn a_job_that_goes_on_gets_a_further_seal_and_the_earlier_one_still_holds() {
    let (a, b, disk) = (key("A"), key("B"), FakeDisk::new());
    let folder = small_job(&disk, "2026-01-01T08:00:00Z", false);
    let first = close(&folder, &["The job is not over."], &a);
    holds(&folder, State::Sealed);
    let before = folder.read("seal-1.json").unwrap();
    // Going on: the journal grows, and settings are kept anew.
    grow(&folder, true);
    folder.replace(folder::SETTINGS_AS_LEFT, b"other settings").unwrap();
    let standing = holds(&folder, State::OpenAgain);
    assert_eq!(standing.behind.iter().map(|(name, _)| name.as_str()).collect::<Vec<_>>(), [folder::JOURNAL]);
    let as_left = |by| vec![Superseded { name: folder::SETTINGS_AS_LEFT.into(), seal: 1, by }];
    assert_eq!(standing.superseded, as_left(None));
    let second = close(&folder, &[], &b);
    assert_eq!((second.number, second.previous, second.job), (2, Some(before.digest), first.job));
    assert!(second.journal.lines > first.journal.lines);
    assert_eq!(holds(&folder, State::Sealed).superseded, as_left(Some(2)));
    assert_eq!(folder.read("seal-1.json").unwrap(), before, "the earlier seal stays");
    // A third hand signs the same; after that there is nothing to add for it.
    close(&folder, &[], &a);
    let nothing = seal::add(&folder, &verify(&folder), statement(&[]), &a).unwrap_err();
    assert_eq!(nothing.kind(), Kind::Conflict);
    // The beginning that seal 1 covers is altered, and chained and sealed anew by someone.
    let forged = small_job(&FakeDisk::new(), "2026-01-01T08:00:00Z", false);
    grow(&forged, false);
    let mut files = all_files(&folder);
    files.insert(folder::JOURNAL.into(), all_files(&forged)[folder::JOURNAL].clone());
    assert!(verify(&open(Still::new(&files))).all_problems().iter().any(|p| p.file() == folder::JOURNAL));
}

#[test]
fn a_later_seal_does_not_bless_what_was_altered() {
    let (a, disk) = (key("A"), FakeDisk::new());
    let folder = small_job(&disk, "2026-01-01T08:00:00Z", true);
    close(&folder, &[], &a);
    let original = all_files(&folder);
    folder.replace(folder::RESULT, b"{\"verdict\":\"pass\"}").unwrap();
    let refused = seal::add(&folder, &verify(&folder), statement(&[]), &a).unwrap_err();
    assert_eq!((refused.kind(), refused.file()), (Kind::Altered, folder::RESULT));
    // Someone who seals it all the same is found out by the first seal.
    let fresh = FakeDisk::new();
    let mut files = original.clone();
    files.insert(folder::RESULT.into(), b"{\"verdict\":\"pass\"}".to_vec());
    files.remove("seal-1.json");
    let forged = put(&fresh, &files);
    close(&forged, &[], &SigningKey::demonstration());
    let body = String::from_utf8(all_files(&forged)["seal-1.json"].clone()).unwrap();
    let first = Digest::of(&original["seal-1.json"]);
    let body = body.replace("\"number\":1,", &format!("\"number\":2,\"previous\":\"{first}\","));
    files.insert("seal-1.json".into(), original["seal-1.json"].clone());
    files.insert("seal-2.json".into(), signed_again(&body, &SigningKey::demonstration()));
    assert_eq!(
        problems(&verify(&open(Still::new(&files)))),
        ["result.json: it is not the file that seal-1.json covers, and nothing that happened in the job explains that"]
    );
    // A job that was over does not go on.
    let disk = FakeDisk::new();
    let folder = put(&disk, &original);
    grow(&folder, false);
    assert!(problems(&verify(&folder))[0].contains("when the job was over"), "{:?}", problems(&verify(&folder)));
}

#[test]
fn a_crash_at_any_write_leaves_a_job_open_or_sealed() {
    let key = key("A");
    for earlier in [false, true] {
        let job = |disk: &FakeDisk| {
            let folder = small_job(disk, "2026-01-01T08:00:00Z", false);
            if earlier {
                close(&folder, &["not over"], &key);
            }
            grow(&folder, true);
            // As a crash of something before left it.
            disk::replace(folder.disk(), &folder.dir().join("report.html"), b"<p>").unwrap();
            drop(folder.disk().create(&folder.dir().join("report.html.part")).unwrap());
            folder
        };
        let count = FakeDisk::new();
        job(&count);
        let (before, open_state) = (count.steps(), if earlier { State::OpenAgain } else { State::Open });
        let mut seen = std::collections::BTreeSet::new();
        for step in 0.. {
            let mut done = false;
            for seed in 0..60_u64 {
                let disk = FakeDisk::new().crash_after(before + step);
                let folder = job(&disk);
                done = seal::add(&folder, &verify(&folder), statement(&[]), &key).is_ok();
                let mut draw = Draw(seed);
                let left = disk.after_crash(|n| draw.below(n as u64) as usize);
                let folder = Folder::open_on(Arc::new(left), Path::new(DIR)).unwrap();
                let standing = verify(&folder);
                assert_eq!(problems(&standing), [""; 0], "step {step}, seed {seed}");
                assert!(standing.state == State::Sealed || (!done && standing.state == open_state), "{standing:?}");
                seen.insert((done, standing.state == State::Sealed));
                // Whatever was left, it can be closed.
                if standing.state != State::Sealed {
                    close(&folder, &[], &key);
                    holds(&folder, State::Sealed);
                }
            }
            if done {
                assert!(step >= 5, "{step}");
                break;
            }
        }
        assert_eq!(seen.into_iter().collect::<Vec<_>>(), [(false, false), (false, true), (true, true)]);
    }
}

#[test]
fn what_can_not_be_sealed_is_refused() {
    let add = |folder: &Folder| seal::add(folder, &verify(folder), statement(&[]), &SigningKey::demonstration());
    // A job that was never begun, and one that was ended in the middle of a line.
    let disk = FakeDisk::new();
    let folder =
        put(&disk, &[("plan.toml".to_owned(), b"x".to_vec()), ("journal.jsonl".to_owned(), Vec::new())].into());
    assert_eq!(add(&folder).unwrap_err().kind(), Kind::Conflict);
    let folder = small_job(&FakeDisk::new(), "2026-01-01T08:00:00Z", true);
    let mut bytes = folder.read(folder::JOURNAL).unwrap().bytes;
    bytes.extend_from_slice(b"{\"seq\":");
    folder.replace(folder::JOURNAL, &bytes).unwrap();
    assert!(add(&folder).unwrap_err().cause().contains("unfinished"));
    for name in [".hidden", "con.txt", "a:b", "tab\there", "over\u{202e}gpj.exe", "ends.", "a\\b"] {
        let folder = small_job(&FakeDisk::new(), "2026-01-01T08:00:00Z", true);
        disk::replace(folder.disk(), &folder.dir().join(name), b"x").unwrap();
        assert_eq!(add(&folder).unwrap_err().kind(), Kind::Range, "{name}");
    }
}

#[test]
fn hostile_seals_are_refused_with_their_reason() {
    let folder = small_job(&FakeDisk::new(), "2026-01-01T08:00:00Z", true);
    close(&folder, &[], &SigningKey::demonstration());
    let sealed = all_files(&folder);
    let good = String::from_utf8(sealed["seal-1.json"].clone()).unwrap();
    let good_key = good.split("\"key\":\"").nth(1).unwrap()[..64].to_owned();
    // Even one that was signed whole: whoever signs need not mean well.
    let signed = |from: &str, to: &str| {
        assert!(good.contains(from), "{from}");
        signed_again(&good.replacen(from, to, 1), &SigningKey::demonstration())
    };
    let deep =
        format!("{{\"seal\":{}1{},\"signature\":\"{}\"}}\n", "[".repeat(100_000), "]".repeat(100_000), "0".repeat(128));
    let all: Vec<(&str, Vec<u8>)> = vec![
        ("empty", Vec::new()),
        ("not JSON", b"sealed!".to_vec()),
        ("zeros", vec![0; 5000]),
        ("too large", vec![b' '; 8 * 1024 * 1024 + 1]),
        ("deeply nested", deep.into_bytes()),
        ("a space more", good.replacen("\"files\":", "\"files\": ", 1).into_bytes()),
        ("a wrong type", signed("\"lines\":", "\"lines\":[],\"x\":")),
        ("a negative length", signed("\"length\":", "\"length\":-")),
        ("an unknown key", signed("\"format\":2", "\"format\":2,\"grade\":\"A\"")),
        ("another format", signed("\"format\":2", "\"format\":7")),
        ("a key of no use", signed(&good_key, &format!("01{}", "0".repeat(62)))),
        ("out of the folder", signed("\"name\":\"journal.jsonl\"", "\"name\":\"../journal.jsonl\"")),
        ("an absolute path", signed("\"name\":\"journal.jsonl\"", "\"name\":\"/etc/passwd\"")),
        ("a name twice", signed("\"name\":\"plan.toml\"", "\"name\":\"pipework.toml\"")),
        ("another number", signed("\"number\":1", "\"number\":2")),
        ("no verdict", signed(",\"verdict\":{\"because\":\"everything was shown\",\"is\":\"pass\"}", "")),
        (
            "keys in another order",
            signed(
                "\"closed\":{\"as\":\"complete\"},\"date\":\"2026-01-01T10:00:00Z\"",
                "\"date\":\"2026-01-01T10:00:00Z\",\"closed\":{\"as\":\"complete\"}",
            ),
        ),
    ];
    let mut said = String::new();
    for (what, bytes) in all {
        let standing = verify(&open(Still::with(&sealed, "seal-1.json", bytes)));
        let all = standing.all_problems();
        assert!(!all.is_empty() && all.iter().all(|p| p.file().ends_with("seal-1.json")), "{what}: {all:?}");
        said += &format!("{what}: {}; {}\n", all[0].cause(), all[0].remedy());
    }
    insta::assert_snapshot!(said);
}
