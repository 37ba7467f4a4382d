//! A pulled cable at every stage, a unit whose process dies, an adapter that comes back under another name.
use crate::{
    common::{Folder, exits, plumeline, run, stdout, text},
    devices::Tree,
    field::cable::Cable,
    simulator::{SPEED, Simulator, job},
};
use plumeline_base::{Instant, input::Input};
use plumeline_procedure::StageKind;
use plumeline_trace::{LogReader, Logged};
use serde_json::Value;
use std::{
    path::PathBuf,
    process::{Child, Stdio},
    sync::atomic::{AtomicUsize, Ordering},
    time::Duration,
};

/// A small job over a port, run by a script.
struct Job {
    dir: Folder,
}
impl Job {
    fn new(name: &str) -> Self {
        let dir = Folder::new(name);
        job(&dir);
        Self { dir }
    }
    fn path(&self) -> PathBuf {
        self.dir.join("job")
    }
    /// Changes the plan's text.
    fn plan(&self, change: impl Fn(String) -> String) {
        let path = self.path().join("plan.toml");
        let text = std::fs::read_to_string(&path).unwrap();
        let changed = change(text.clone());
        assert_ne!(changed, text);
        std::fs::write(path, changed).unwrap();
    }
    fn start(&self, port: &str, operator: &str, more: &[&str]) -> Child {
        let file = self.dir.join("operator.toml");
        std::fs::write(&file, format!("format = 1\n{operator}")).unwrap();
        let path = self.path();
        let args = ["run", text(&path), "--port", port, "--operator", text(&file), "--speed", SPEED];
        plumeline(&args).args(more).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
    }
    /// The whole lines of the journal: instant and entry.
    fn journal(&self) -> Vec<(u64, Value)> {
        let text = std::fs::read_to_string(self.path().join("journal.jsonl")).unwrap_or_default();
        let whole = text.rfind('\n').map_or("", |end| &text[..end]);
        whole
            .lines()
            .map(|l| serde_json::from_str::<Value>(l).unwrap())
            .map(|l| (l["at_us"].as_u64().unwrap(), l["entry"].clone()))
            .collect()
    }
    /// Waits until the journal has a line of which this holds.
    fn until(&self, child: &mut Child, what: impl Fn(&Value) -> bool) {
        let began = std::time::Instant::now();
        while !self.journal().iter().any(|(_, e)| what(e)) {
            assert!(child.try_wait().unwrap().is_none(), "ended too early\n{:#?}", self.journal().last());
            assert!(began.elapsed() < Duration::from_secs(400), "it never came");
            std::thread::sleep(Duration::from_millis(10));
        }
    }
    fn verdict(&self) -> (String, String) {
        let bytes = std::fs::read(self.path().join("result.json")).unwrap();
        let outcome = &serde_json::from_slice::<Value>(&bytes).unwrap()["outcome"];
        (outcome["verdict"].as_str().unwrap().into(), outcome["because"].as_str().unwrap().into())
    }
}
fn is(entry: &Value, kind: &str) -> bool {
    entry["entry"] == kind
}
fn began(stage: &str) -> impl Fn(&Value) -> bool {
    move |e| is(e, "stage-began") && e["stage"] == stage
}
fn down(cause: &str) -> impl Fn(&Value) -> bool {
    move |e| is(e, "link-down") && e["cause"] == cause
}

/// Pulls the cable in this stage and plugs it in again. Gives the verdict; `None`: a short stage was over before the cable was out,
/// which shows nothing.
fn pulled_at(stage: StageKind) -> Option<String> {
    let job = Job::new("pulled");
    // Some stages have nothing to wait for by themselves; a person's tick holds them open.
    job.plan(|t| {
        let items = t.matches("[[checklist]]").count();
        assert_eq!(items, 16, "the items added here are the next ones");
        let item = |stage: &str, text: &str| format!("[[checklist]]\nstage = \"{stage}\"\ntext = \"{text}\"\n");
        t + &item("close", "Van loaded") + &item("boot", "Lamp of the supply lit")
    });
    let simulator = Simulator::start(&job.dir, "", &["--tcp", "127.0.0.1:0"]);
    let port = job.dir.join("port");
    let mut cable = Cable::plug(&port, &simulator.unit);
    let operator = ["17", "18"].iter().fold(format!("control = \"{}\"\n", simulator.control), |all, number| {
        format!("{all}[[answer]]\nact = \"check\"\nnumber = {number}\npause_s = 90\n")
    });
    let mut child = job.start(&format!("serial:{}", port.display()), &operator, &[]);
    job.until(&mut child, began(stage.name()));
    cable.pull();
    job.until(&mut child, down("unplugged"));
    // It stays out until the tool has looked for it at least twice.
    job.until(&mut child, down("absent"));
    std::thread::sleep(Duration::from_millis(150));
    let _cable = Cable::plug(&port, &simulator.unit);
    let o = child.wait_with_output().unwrap();
    exits(&o, &[0, 2, 4]);
    for words in ["the port went away", "plug the cable in again; the job goes on when the port is back"] {
        assert!(stdout(&o).contains(words), "{stage}: no `{words}` in\n{}", stdout(&o));
    }

    // The journal: down within the stage, tried again with growing pauses on the log's own clock, up again.
    let journal = job.journal();
    let place = |what: &dyn Fn(&Value) -> bool| journal.iter().position(|(_, e)| what(e));
    let lost = place(&down("unplugged")).unwrap();
    let ended = place(&|e| is(e, "stage-ended") && e["stage"] == stage.name()).unwrap_or(journal.len());
    assert!(place(&began(stage.name())).unwrap() < lost);
    if lost > ended {
        return None;
    }
    let back = lost + journal[lost..].iter().position(|(_, e)| is(e, "link-up")).expect("it comes back");
    let tries: Vec<u64> = journal[lost..=back]
        .iter()
        .filter(|(_, e)| is(e, "link-down") || is(e, "link-up"))
        .map(|(at, _)| *at)
        .collect();
    for (k, pair) in tries.windows(2).enumerate() {
        let least = (1_000_000u64 << k.min(6)).min(15_000_000);
        assert!(pair[1] - pair[0] >= least, "{stage}: tried again after {} us", pair[1] - pair[0]);
    }
    // The log: nothing goes over the line in the gap, and something does after it.
    let (gap, after) = (journal[lost].0, journal[back].0);
    let mut came = 0;
    let mut told = false;
    for entry in LogReader::open(&job.path().join("trace.pcapng")).unwrap() {
        let record = entry.unwrap().record;
        let line = matches!(record.what, Logged::Sent(..) | Logged::Input(Input::Received(..)));
        told |= record.at == Instant::from_micros(gap) && matches!(record.what, Logged::Input(Input::LinkDown { .. }));
        if line && record.at > Instant::from_micros(gap) {
            assert!(record.at >= Instant::from_micros(after), "{stage}: bytes at {} in the gap", record.at);
            came += usize::from(matches!(record.what, Logged::Input(_)));
        }
    }
    assert!(told, "{stage}: the gap is not in the log");
    assert!(came > 0, "{stage}: nothing comes from the unit after the gap");
    exits(&run(&["check", text(&job.path())]), &[0]);
    let (verdict, because) = job.verdict();
    eprintln!("{stage}: {:.1} s without a cable, {verdict}: {because}", (after - gap) as f64 / 1e6);
    assert_ne!(verdict, "fail", "{stage}: a pulled cable is no defect of the site: {because}");
    Some(verdict)
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn a_cable_pulled_at_any_stage_is_told_and_the_job_goes_on() {
    let next = AtomicUsize::new(0);
    let passed = AtomicUsize::new(0);
    std::thread::scope(|s| {
        for _ in 0..5 {
            s.spawn(|| {
                while let Some(stage) = StageKind::ALL.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let verdict = (0..5).find_map(|_| pulled_at(*stage));
                    let verdict = verdict.unwrap_or_else(|| panic!("{stage}: pulled too late each time"));
                    passed.fetch_add(usize::from(verdict == "pass"), Ordering::Relaxed);
                }
            });
        }
    });
    eprintln!("{} of {} jobs pass", passed.into_inner(), StageKind::ALL.len());
}

#[test]
fn a_unit_whose_process_dies_and_comes_back_has_started_anew() {
    let job = Job::new("died");
    // The replacement hangs there from the beginning, and nobody but the unit itself is asked.
    let as_found = "stage = \"as-found\"\npolicy = \"";
    job.plan(|t| {
        let (before, after) = t.split_once(as_found).unwrap();
        let (_, after) = after.split_once('"').unwrap();
        format!("{before}{as_found}skip\"{after}")
    });
    let (link, store) = (job.dir.join("unit"), job.dir.join("store"));
    let start = || {
        let more = ["--pty", text(&link), "--store", text(&store)];
        Simulator::start(&job.dir, "mounted = \"replacement\"\n", &more)
    };
    let mut simulator = start();
    let mut child = job.start(&simulator.unit, "", &[]);
    job.until(&mut child, began("settle"));
    std::fs::remove_file(&link).unwrap();
    simulator.stop();
    job.until(&mut child, down("unplugged"));
    let _simulator = start();
    let o = child.wait_with_output().unwrap();
    exits(&o, &[2, 4]);
    let said = stdout(&o);
    for words in ["the port went away", "started anew", "although nobody asked it to"] {
        assert!(said.contains(words), "no `{words}` in\n{said}");
    }
    exits(&run(&["check", text(&job.path())]), &[0]);
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn an_adapter_that_comes_back_under_another_name_is_found_again() {
    let job = Job::new("replug");
    let tree = Tree::new(job.dir.join("devices"));
    let simulator = Simulator::start(&job.dir, "", &["--tcp", "127.0.0.1:0"]);
    let (first, second) = (job.dir.join("first"), job.dir.join("second"));
    let mut cable = Cable::plug(&first, &simulator.unit);
    tree.plug("1-2", "1209:00a1", Some("A7"), &["ttyUSB0"]);
    tree.lead("ttyUSB0", &first);
    let operator = format!("control = \"{}\"\n", simulator.control);
    let mut child = job.start("usb:1209:00a1:A7", &operator, &["--root", text(tree.path())]);
    job.until(&mut child, began("settle"));
    tree.unplug("1-2", &["ttyUSB0"]);
    cable.pull();
    job.until(&mut child, down("absent"));
    // Another adapter of the same make takes the old name; ours comes back under a new one.
    tree.plug("1-3", "1209:00a1", Some("B8"), &["ttyUSB0"]);
    let _cable = Cable::plug(&second, &simulator.unit);
    tree.plug("1-2", "1209:00a1", Some("A7"), &["ttyUSB1"]);
    tree.lead("ttyUSB1", &second);
    let o = child.wait_with_output().unwrap();
    exits(&o, &[0]);
    let ups: Vec<String> = job
        .journal()
        .iter()
        .filter(|(_, e)| is(e, "link-up"))
        .map(|(_, e)| e["link"].as_str().unwrap().to_owned())
        .collect();
    assert!(ups.len() >= 2, "{ups:?}");
    assert!(ups[0].starts_with("usb:1209:00a1:A7@115200 at ") && ups[0].contains("dev/ttyUSB0"), "{ups:?}");
    assert!(ups[1..].iter().all(|up| up.contains("dev/ttyUSB1 (no DTR here, no RTS here)")), "{ups:?}");
    assert_eq!(job.verdict().0, "pass");
    exits(&run(&["check", text(&job.path())]), &[0]);
}
