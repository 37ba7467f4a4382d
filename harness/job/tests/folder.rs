//! The job folder: locked to one process, written whole or not at all, and checked file by file and line by line.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it should be")]
use plumeline_base::{
    Instant,
    input::{Photo, TickState},
};
use plumeline_detector::{
    Identity,
    settings::{Item, Settings, Value},
};
use plumeline_job::{
    Kind,
    check::{Checked, check},
    digest::Digest,
    disk::{Disk, fake::FakeDisk},
    folder::{self, Folder},
    journal::{Citation, Writer},
    photos, pipework, plan, settings,
};
use plumeline_procedure::{Entry, StageKind, effect::KeptSettings, outcome::Ticked};
use std::{collections::BTreeSet, path::Path, sync::Arc};

const DIR: &str = "/jobs/one";

fn disk() -> Arc<FakeDisk> {
    let disk = FakeDisk::new();
    disk.create_dir(Path::new(DIR)).unwrap();
    Arc::new(disk)
}
fn files() -> [(&'static str, &'static [u8]); 2] {
    [(folder::PIPEWORK, pipework::TEMPLATE.as_bytes()), (folder::PLAN, plan::TEMPLATE.as_bytes())]
}
fn citation(n: u64) -> Citation {
    Citation { offset: n, index: n, hash: Digest::default() }
}

/// A small job that was run: inputs recorded, settings kept.
fn finished() -> Folder {
    let folder = Folder::create_on(disk(), Path::new(DIR), &files(), false).unwrap();
    let items = vec![Item { key: "fan".into(), value: Value::Int(3), unit: None }];
    let found = Settings::from_items(Some(1), items).unwrap();
    let unit =
        Identity { maker: "M".into(), model: "A".into(), serial: "17".into(), boot_id: Some(8), ..Identity::default() };
    settings::write(&folder, folder::SETTINGS_AS_FOUND, &found, Some(&unit)).unwrap();
    let mut journal = Writer::create(folder.disk(), &folder.path(folder::JOURNAL).unwrap()).unwrap();
    let mut entries: Vec<Entry> = files()
        .iter()
        .map(|(name, bytes)| Entry::File {
            name: (*name).into(),
            sha256: Digest::of(bytes).to_string(),
            length: bytes.len() as u64,
        })
        .collect();
    entries.push(Entry::File { name: "port".into(), sha256: Digest::of(b"sim:").to_string(), length: 4 });
    entries.push(Entry::Unit { role: "outgoing".into(), identity: Identity { boot_id: Some(7), ..unit } });
    entries.push(Entry::StartedAnew { boot_id: Some(8) });
    let sha256 = settings::digest(&found).to_string();
    entries.push(Entry::Settings { which: KeptSettings::AsFound, items: 1, sha256 });
    for (n, entry) in (0..).zip(&entries) {
        journal.append(Instant::from_secs(n), &citation(n), 100, entry).unwrap();
    }
    folder
}

#[test]
fn one_holder_at_a_time() {
    let folder = Folder::create_on(disk(), Path::new(DIR), &files(), false).unwrap();
    let held = folder.lock().unwrap();
    assert_eq!(folder.lock().unwrap_err().kind(), Kind::Busy);
    drop(held);
    folder.lock().unwrap();
}

#[test]
fn a_real_lock_names_its_holder_and_ends_with_it() {
    let dir = std::env::temp_dir().join(format!("plumeline-lock-{}", std::process::id()));
    let folder = Folder::create(&dir, &files(), false).unwrap();
    let held = folder.lock().unwrap();
    let busy = Folder::open(&dir).unwrap().lock().unwrap_err();
    assert_eq!(busy.kind(), Kind::Busy);
    if cfg!(unix) {
        assert!(busy.cause().contains(&std::process::id().to_string()), "{busy}");
    }
    drop(held);
    folder.lock().unwrap();
    assert_eq!(folder.read(folder::PLAN).unwrap().bytes, plan::TEMPLATE.as_bytes());
    let names: BTreeSet<_> = folder.disk().list(&dir).unwrap().into_iter().collect();
    assert!(!names.iter().any(|n| n.ends_with(".part")), "{names:?}");
    std::fs::remove_dir_all(&dir).unwrap();
}

#[test]
fn a_real_journal_is_taken_up_behind_its_torn_end() {
    let dir = std::env::temp_dir().join(format!("plumeline-torn-{}", std::process::id()));
    let folder = Folder::create(&dir, &files(), false).unwrap();
    let path = folder.path(folder::JOURNAL).unwrap();
    let remark = |n: u64| Entry::Remark { text: format!("remark {n}") };
    let mut journal = Writer::create(folder.disk(), &path).unwrap();
    for n in 0..2 {
        journal.append(Instant::from_secs(n), &citation(n), 100, &remark(n)).unwrap();
    }
    drop(journal);
    let whole = std::fs::read(&path).unwrap();
    std::fs::write(&path, [&whole[..], b"{\"seq\":2,\"at"].concat()).unwrap();
    let mut resumed = Writer::resume::<Entry>(folder.disk(), &path).unwrap();
    assert_eq!(std::fs::read(resumed.set_aside.unwrap()).unwrap(), b"{\"seq\":2,\"at");
    resumed.writer.append(Instant::from_secs(2), &citation(2), 100, &remark(2)).unwrap();
    let again = Writer::resume::<Entry>(folder.disk(), &path).unwrap();
    assert_eq!(again.journal.lines.iter().map(|l| l.entry.clone()).collect::<Vec<_>>(), [0, 1, 2].map(remark));
    std::fs::remove_dir_all(&dir).unwrap();
}

#[test]
fn nothing_is_overwritten_unasked() {
    let disk = disk();
    let folder = Folder::create_on(disk.clone(), Path::new(DIR), &files(), false).unwrap();
    folder.replace(folder::PLAN, b"mine").unwrap();
    let again = Folder::create_on(disk.clone(), Path::new(DIR), &files(), false);
    assert_eq!(again.unwrap_err().kind(), Kind::Exists);
    assert_eq!(folder.read(folder::PLAN).unwrap().bytes, b"mine");
    folder.write(folder::JOURNAL, b"old", false).unwrap();
    let held = folder.lock().unwrap();
    assert_eq!(Folder::create_on(disk.clone(), Path::new(DIR), &files(), true).unwrap_err().kind(), Kind::Busy);
    drop(held);
    Folder::create_on(disk, Path::new(DIR), &files(), true).unwrap();
    assert_eq!(folder.read(folder::PLAN).unwrap().bytes, plan::TEMPLATE.as_bytes());
    assert!(!folder.exists(folder::JOURNAL).unwrap(), "nothing of the old job is left to pass for the new one's");
}

#[test]
fn a_crash_while_writing_leaves_the_old_file_or_the_new_one() {
    let path = Path::new("/jobs/one/result.json");
    let (old, new) = (vec![b'o'; 300], vec![b'n'; 500]);
    let mut seen = BTreeSet::new();
    let steps = {
        let disk = disk();
        plumeline_job::disk::replace(&*disk, path, &old).unwrap();
        disk.steps()
    };
    for step in 0..2 * steps {
        for seed in 0..200_u64 {
            let mut state = seed * 31 + step as u64;
            let mut choose = |n: usize| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) as usize % n
            };
            let disk = disk();
            plumeline_job::disk::replace(&*disk, path, &old).unwrap();
            let disk = FakeDisk::clone(&disk).crash_after(disk.steps() + step);
            let acknowledged = plumeline_job::disk::replace(&disk, path, &new).is_ok();
            let bytes = disk.after_crash(&mut choose).read(path, 1 << 20).unwrap();
            assert!(bytes == new || (bytes == old && !acknowledged), "step {step}: {} bytes", bytes.len());
            seen.insert((bytes.len(), acknowledged));
        }
    }
    assert_eq!(seen.into_iter().collect::<Vec<_>>(), [(300, false), (500, false), (500, true)]);
}

#[test]
fn a_sound_job_checks_out() {
    let mut cited = Vec::new();
    let checked = check(&finished(), |c| {
        cited.push(c.index);
        Ok(())
    });
    assert!(checked.is_sound(), "{:?}", checked.problems);
    assert_eq!((checked.lines, cited), (6, vec![0, 1, 2, 3, 4, 5]));
    let names: Vec<_> = checked.sound.iter().map(|(n, _)| n.as_str()).collect();
    assert_eq!(names, [folder::PIPEWORK, folder::PLAN, folder::SETTINGS_AS_FOUND]);
}

#[test]
fn every_altered_byte_of_the_bound_files_is_found_and_named() {
    for name in [folder::PIPEWORK, folder::PLAN, folder::SETTINGS_AS_FOUND, folder::JOURNAL] {
        let folder = finished();
        let good = folder.read(name).unwrap().bytes;
        for at in (0..good.len()).step_by(3) {
            let mut bad = good.clone();
            bad[at] ^= 0x20;
            folder.replace(name, &bad).unwrap();
            let checked = check(&folder, |_| Ok(()));
            // The line feed that ends the journal: a torn end, which is told apart.
            let torn = name == folder::JOURNAL && checked.torn.is_some();
            assert!(torn || checked.problems.iter().any(|p| p.file() == name), "{name} byte {at}");
        }
    }
}

#[test]
fn a_photo_that_an_answer_names_is_held_against_the_journal() {
    let folder = finished();
    let from = std::env::temp_dir().join(format!("plumeline-tick-{}.png", std::process::id()));
    std::fs::write(&from, b"\x89PNG\r\n\x1a\nand so on").unwrap();
    let kept = photos::take_in(&folder, &from).unwrap();
    std::fs::remove_file(&from).unwrap();
    let tick = |name: &str| {
        Entry::Ticked(Box::new(Ticked {
            item: 1,
            stage: StageKind::Swap,
            text: "Cover on".into(),
            required: true,
            state: TickState::Done,
            by: None,
            at: Instant::from_secs(20),
            date: None,
            note: None,
            photo: Some(Photo { name: name.into(), length: kept.length, sha256: kept.digest.to_string() }),
        }))
    };
    let path = folder.path(folder::JOURNAL).unwrap();
    let add = |entry: &Entry| {
        let mut journal = Writer::resume::<Entry>(folder.disk(), &path).unwrap().writer;
        journal.append(Instant::from_secs(20), &citation(20), 100, entry).unwrap();
    };
    add(&tick(&kept.name));
    let checked = check(&folder, |_| Ok(()));
    assert!(checked.is_sound() && checked.sound.contains(&(kept.name.clone(), kept.digest)), "{checked:?}");
    let photo = folder.dir().join(&kept.name);
    plumeline_job::disk::replace(folder.disk(), &photo, b"\x89PNG\r\n\x1a\nand so oN").unwrap();
    let files = |checked: &Checked| checked.problems.iter().map(|p| p.file().to_owned()).collect::<Vec<_>>();
    assert_eq!(files(&check(&folder, |_| Ok(()))), [kept.name.as_str()]);
    add(&tick("photos/../plan.toml"));
    assert_eq!(files(&check(&folder, |_| Ok(()))), [kept.name.as_str(), "photos"]);
}

#[test]
fn what_was_added_removed_or_cited_falsely_is_named() {
    let folder = finished();
    folder.replace(folder::SETTINGS_NEW, b"{}").unwrap();
    let checked = check(&folder, |c| if c.index == 2 { Err("the log ends before that".into()) } else { Ok(()) });
    let all: Vec<String> = checked.problems.iter().map(ToString::to_string).collect();
    insta::assert_snapshot!(all.join("\n"));
}
