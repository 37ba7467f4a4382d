//! A simulator in a process of its own, and the small job to try with it.
#![allow(unreachable_pub, reason = "shared by several tests")]
#![allow(dead_code, reason = "each test file uses a part")]
use super::common::{Folder, plumeline, text};
use std::{
    io::{BufRead, BufReader},
    path::Path,
    process::{Child, Stdio},
};

/// How much faster than real time. Time-outs shrink with it, so it must leave a loaded machine some room.
pub const SPEED: &str = "30";

/// A simulator process; ended with the test.
pub struct Simulator {
    process: Child,
    pub unit: String,
    /// The outgoing unit's own address, if it has one.
    pub outgoing: Option<String>,
    pub control: String,
}
impl Simulator {
    /// With more lines in its scenario and more arguments.
    pub fn start(dir: &Folder, lines: &str, more: &[&str]) -> Self {
        Self::start_at(SPEED, dir, lines, more)
    }
    /// The same, so many times faster than real time.
    pub fn start_at(speed: &str, dir: &Folder, lines: &str, more: &[&str]) -> Self {
        let scenario = dir.join("scenario.toml");
        let words = format!("format = 1\npipework = \"job/pipework.toml\"\nseed = 1\n{lines}");
        std::fs::write(&scenario, words).unwrap();
        let mut args = vec!["simulate", text(&scenario), "--speed", speed];
        args.extend(more);
        let mut process = plumeline(&args).stdout(Stdio::piped()).spawn().unwrap();
        let mut lines = BufReader::new(process.stdout.take().unwrap()).lines();
        let mut after = |what: &str| lines.next().unwrap().unwrap().strip_prefix(what).unwrap().to_owned();
        let unit = after("unit: ");
        let outgoing = more.iter().any(|a| a.starts_with("--old-")).then(|| after("outgoing unit: "));
        let control = after("site control: ");
        assert_eq!(lines.next().unwrap().unwrap(), "ready");
        Self { process, unit, outgoing, control }
    }
    pub fn stop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
impl Drop for Simulator {
    fn drop(&mut self) {
        self.stop();
    }
}

/// The small demonstration's files as a job folder.
pub fn job(dir: &Folder) {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small");
    let to = dir.join("job");
    std::fs::create_dir_all(&to).unwrap();
    for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
        std::fs::copy(from.join(name), to.join(name)).unwrap();
    }
    for (name, model) in [("unit-outgoing.toml", "model-a"), ("unit-replacement.toml", "model-b")] {
        let (_, text) = plumeline_job::description::SHIPPED.into_iter().find(|(n, _)| *n == model).unwrap();
        std::fs::write(to.join(name), text).unwrap();
    }
}

/// The plan of the job leaves the bench out: the first question is the isolation.
pub fn without_bench(dir: &Folder) {
    let path = dir.join("job/plan.toml");
    let plan = std::fs::read_to_string(&path).unwrap();
    let skipped = plan.replacen("policy = \"go-on\"", "policy = \"skip\"", 1);
    assert_ne!(plan, skipped);
    std::fs::write(&path, skipped).unwrap();
}
