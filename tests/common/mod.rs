//! What whole-job tests share: a folder that goes away, and the binary.
#![allow(dead_code, unreachable_pub, reason = "each test file uses a part of this")]
use std::{
    path::{Path, PathBuf},
    process::{Command, Output},
    sync::atomic::{AtomicU32, Ordering},
};

/// A folder of its own, removed at the end.
pub struct Folder(PathBuf);
impl Folder {
    pub fn new(name: &str) -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let n = NEXT.fetch_add(1, Ordering::Relaxed);
        let dir = std::env::temp_dir().join(format!("plumeline-{name}-{}-{n}", std::process::id()));
        std::fs::create_dir_all(&dir).unwrap();
        Self(dir)
    }
    pub fn join(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
    pub fn path(&self) -> &Path {
        &self.0
    }
}
impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The binary with these arguments.
pub fn plumeline(args: &[&str]) -> Command {
    let mut c = Command::new(env!("CARGO_BIN_EXE_plumeline"));
    c.args(args).env("NO_COLOR", "1").env_remove("RUST_LOG");
    c
}
/// Runs it to its end.
pub fn run(args: &[&str]) -> Output {
    plumeline(args).output().unwrap()
}
pub fn stdout(o: &Output) -> String {
    String::from_utf8_lossy(&o.stdout).into_owned()
}
pub fn stderr(o: &Output) -> String {
    String::from_utf8_lossy(&o.stderr).into_owned()
}
/// Exit code, with everything that was printed in the message if it is another.
#[track_caller]
pub fn exits(o: &Output, codes: &[i32]) {
    let code = o.status.code().unwrap_or(-1);
    assert!(codes.contains(&code), "exit {code}, not {codes:?}\n{}\n{}", stdout(o), stderr(o));
}
/// A path as text.
pub fn text(p: &Path) -> &str {
    p.to_str().unwrap()
}

/// The word that a person types who has done what this question asks for, where Enter or "yes" is not enough.
pub fn word_for(question: &str) -> Option<&'static str> {
    let words = [
        // Each line of the list is then asked for by itself.
        ("Which of these are done", "none"),
        ("Isolate this zone", "isolated"),
        ("Lock off every release", "locked"),
        ("Tell whoever must be told", "told"),
        ("the zone is restored in this state", "restored"),
        ("Restore the zone", "restored"),
        ("are they unlocked", "unlocked"),
        ("unlock the release circuits", "unlocked"),
        ("Is it off?", "off"),
    ];
    let lower = question.to_lowercase();
    words.iter().find(|(part, _)| lower.contains(&part.to_lowercase())).map(|(_, word)| *word)
}
