//! A job survives being ended at any instant: real kills against a simulator in a process of its own, a unit that started
//! anew meanwhile, Ctrl-C, and a crash at every write of a whole job on disks that lose what was not synced.
#![cfg(unix)]
use crate::common::{Folder, exits, plumeline, run, stderr, stdout, text};
use crate::simulator::{SPEED, Simulator, job};
use std::{
    collections::BTreeSet,
    path::{Path, PathBuf},
    process::{Child, Stdio},
    sync::atomic::{AtomicU32, Ordering},
    time::{Duration, Instant},
};

/// Steele, Lea, Flood: Fast splittable pseudorandom number generators (OOPSLA 2014).
struct Draw(u64);
impl Draw {
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % n
    }
}

/// An unattended job against a simulator, started as often as need be.
struct Job {
    dir: Folder,
    simulator: Simulator,
}
impl Job {
    fn new(name: &str) -> Self {
        let dir = Folder::new(name);
        job(&dir);
        let store = dir.join("store");
        let simulator = Simulator::start(&dir, "", &["--tcp", "127.0.0.1:0", "--store", text(&store)]);
        Self { dir, simulator }
    }
    fn path(&self) -> PathBuf {
        self.dir.join("job")
    }
    fn start(&self, answers: &str) -> Child {
        let operator = self.dir.join("operator.toml");
        let words = format!("format = 1\ncontrol = \"{}\"\n{answers}", self.simulator.control);
        std::fs::write(&operator, words).unwrap();
        let (path, unit) = (self.path(), &self.simulator.unit);
        plumeline(&["run", text(&path), "--port", unit, "--operator", text(&operator), "--speed", SPEED])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    }
    /// The whole lines of the journal.
    fn journal(&self) -> Vec<u8> {
        let bytes = std::fs::read(self.path().join("journal.jsonl")).unwrap_or_default();
        let end = bytes.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
        bytes[..end].to_vec()
    }
    fn says(&self, words: &str) -> bool {
        String::from_utf8_lossy(&self.journal()).contains(words)
    }
    /// Waits for the journal to say something.
    fn until(&self, child: &mut Child, words: &str) {
        let began = Instant::now();
        while !self.says(words) {
            assert!(child.try_wait().unwrap().is_none(), "ended before `{words}`");
            assert!(began.elapsed() < Duration::from_secs(240), "no `{words}`");
            std::thread::sleep(Duration::from_millis(20));
        }
    }
    fn result(&self) -> serde_json::Value {
        serde_json::from_slice(&std::fs::read(self.path().join("result.json")).unwrap()).unwrap()
    }
    fn sound(&self) {
        exits(&run(&["check", text(&self.path())]), &[0]);
    }
}

fn kill(mut child: Child) {
    child.kill().unwrap();
    child.wait().unwrap();
}
fn signal(child: &Child, name: &str) {
    assert!(std::process::Command::new("kill").args([name, &child.id().to_string()]).status().unwrap().success());
}

/// Kills a job again and again, then lets it end; its verdict.
fn killed_job(seed: u64, kills: &AtomicU32) -> String {
    let job = Job::new("killed");
    let mut draw = Draw(seed);
    let mut flushed = Vec::new();
    for _ in 0..6 {
        let mut child = job.start("");
        std::thread::sleep(Duration::from_millis(200 + draw.below(11_000)));
        if child.try_wait().unwrap().is_some() {
            break;
        }
        kill(child);
        kills.fetch_add(1, Ordering::Relaxed);
        let now = job.journal();
        assert!(now.starts_with(&flushed), "a line of the journal was lost or changed");
        flushed = now;
        if job.path().join("journal.jsonl").exists() {
            job.sound();
        }
    }
    if !job.says(r#""entry":"ended""#) {
        let o = job.start("").wait_with_output().unwrap();
        // Never a fail over a sound site, and undecided only with a reason.
        exits(&o, &[0, 2, 4]);
    }
    assert!(job.journal().starts_with(&flushed));
    job.sound();
    let outcome = &job.result()["outcome"];
    eprintln!("seed {seed}: {}, {}", outcome["verdict"], outcome["because"]);
    assert_ne!(outcome["verdict"], "fail", "{outcome:#}");
    assert!(!outcome["because"].as_str().unwrap().is_empty());
    if outcome["verdict"] == "pass" {
        for stage in outcome["stages"].as_array().unwrap() {
            assert_eq!(stage["complete"], true, "{stage}");
        }
    }
    let verdict = outcome["verdict"].as_str().unwrap();
    exits(&run(&["replay", text(&job.path()), "--expect", verdict]), &[0]);
    // An ended job is not taken up any more.
    let o = job.start("").wait_with_output().unwrap();
    exits(&o, &[3]);
    assert!(stderr(&o).contains("this job is over"), "{}", stderr(&o));
    verdict.to_owned()
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn jobs_killed_at_random_instants_go_on() {
    let kills = AtomicU32::new(0);
    std::thread::scope(|s| {
        for seed in 1..=6 {
            let kills = &kills;
            s.spawn(move || killed_job(seed, kills));
        }
    });
    let kills = kills.into_inner();
    eprintln!("{kills} kills");
    assert!(kills >= 30, "only {kills} kills");
}

/// As before, until 200 kills: no false verdict, and of the sound jobs at most one in twenty ends undecided.
#[test]
#[ignore = "takes a quarter of an hour in real time: run by hand (docs/resume.md)"]
fn two_hundred_kills_leave_no_false_verdict_and_hardly_one_open() {
    let kills = AtomicU32::new(0);
    let mut verdicts: Vec<String> = Vec::new();
    for batch in 0.. {
        if kills.load(Ordering::Relaxed) >= 200 {
            break;
        }
        let together = std::thread::scope(|s| {
            let all: Vec<_> = (0..6)
                .map(|n| {
                    let kills = &kills;
                    s.spawn(move || killed_job(100 + 6 * batch + n, kills))
                })
                .collect();
            all.into_iter().map(|job| job.join().unwrap()).collect::<Vec<_>>()
        });
        verdicts.extend(together);
    }
    let open = verdicts.iter().filter(|v| *v != "pass").count();
    eprintln!("{} kills, {} jobs, {open} undecided", kills.into_inner(), verdicts.len());
    assert!(open * 20 <= verdicts.len(), "{open} of {}", verdicts.len());
}

/// Kills a job so long after the new unit told who it is that its settings are being loaded; what the unit then holds.
fn killed_in_the_load(delay_ms: u64, goes_on: bool) -> String {
    let job = Job::new("killed-load");
    let mut child = job.start("");
    job.until(&mut child, "Model B");
    std::thread::sleep(Duration::from_millis(delay_ms));
    kill(child);
    job.sound();
    let file = job.dir.join("held.json");
    let capture = || run(&["capture", &job.simulator.unit, "-o", text(&file)]);
    let mut captured = capture();
    // A unit that was just restarted by the load says so until it has started.
    for _ in 0..50 {
        if !stderr(&captured).contains("still starting") {
            break;
        }
        std::thread::sleep(Duration::from_millis(100));
        captured = capture();
    }
    exits(&captured, &[0]);
    if goes_on {
        let o = job.start("").wait_with_output().unwrap();
        exits(&o, &[0, 2, 4]);
        job.sound();
        assert_ne!(job.result()["outcome"]["verdict"], "fail", "{:#}", job.result()["outcome"]["because"]);
    }
    let document: serde_json::Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
    assert_eq!((&document["unit"]["model"], &document["complete"]), (&"Model B".into(), &true.into()));
    document["items"].to_string()
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn a_job_killed_while_it_loads_leaves_no_mixture() {
    let held: BTreeSet<String> = std::thread::scope(|s| {
        let jobs: Vec<_> = (0..12).map(|n| s.spawn(move || killed_in_the_load(15 * n, n % 6 == 1))).collect();
        jobs.into_iter().map(|j| j.join().unwrap()).collect()
    });
    // As it came, or with all that was sent.
    assert!((1..=2).contains(&held.len()), "{held:#?}");
    eprintln!("{} kinds of settings", held.len());
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn a_unit_that_started_anew_meanwhile_voids_what_rested_on_it() {
    let mut job = Job::new("anew");
    let mut child = job.start("");
    job.until(&mut child, r#""entry":"stage-began","stage":"supervise""#);
    kill(child);
    // The same unit with the same settings, started anew.
    let address = job.simulator.unit.strip_prefix("tcp:").unwrap().to_owned();
    let store = job.dir.join("store");
    job.simulator.stop();
    job.simulator =
        Simulator::start(&job.dir, "mounted = \"replacement\"\n", &["--tcp", &address, "--store", text(&store)]);
    let o = job.start("").wait_with_output().unwrap();
    exits(&o, &[2, 4]);
    assert!(stdout(&o).contains("started anew"), "{}", stdout(&o));
    assert!(job.says(r#""entry":"void""#));
    job.sound();
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn another_unit_after_the_pause_voids_what_rested_on_the_first() {
    let mut job = Job::new("other");
    let mut child = job.start("");
    job.until(&mut child, r#""entry":"stage-began","stage":"supervise""#);
    kill(child);
    // The outgoing unit hangs there again.
    let address = job.simulator.unit.strip_prefix("tcp:").unwrap().to_owned();
    job.simulator.stop();
    job.simulator = Simulator::start(&job.dir, "", &["--tcp", &address]);
    let o = job.start("").wait_with_output().unwrap();
    exits(&o, &[2, 4]);
    let void = String::from_utf8(job.journal()).unwrap();
    let void = void.lines().find(|l| l.contains(r#""entry":"void""#)).unwrap();
    for stage in ["prove-flow", "baseline", "prove-smoke"] {
        assert!(void.contains(&format!("\"{stage}\"")), "{stage}: {void}");
    }
    job.sound();
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn an_interrupt_pauses_the_job_which_is_then_taken_up() {
    let job = Job::new("interrupt");
    let mut child = job.start("");
    job.until(&mut child, r#""entry":"stage-began","stage":"settle""#);
    signal(&child, "-INT");
    let o = child.wait_with_output().unwrap();
    exits(&o, &[6]);
    assert!(!job.says(r#""entry":"ended""#), "only who says so ends a job");
    job.sound();
    let o = job.start("").wait_with_output().unwrap();
    exits(&o, &[0, 2]);
    assert!(job.says(r#""entry":"ended""#));
    assert_eq!(job.result()["outcome"]["aborted"], false);
    job.sound();
}

#[test]
fn a_changed_plan_is_refused() {
    let job = Job::new("changed");
    let mut child = job.start("");
    // Before that it begins anew with the files as they are now.
    job.until(&mut child, r#""entry":"answered""#);
    kill(child);
    let plan = job.path().join("plan.toml");
    let words = std::fs::read_to_string(&plan).unwrap();
    std::fs::write(&plan, format!("{words}# easier\n")).unwrap();
    let o = job.start("").wait_with_output().unwrap();
    exits(&o, &[3]);
    assert!(stderr(&o).contains("plan.toml is not what it was"), "{}", stderr(&o));
    std::fs::write(&plan, words).unwrap();
    job.sound();
}

#[test]
fn a_job_held_by_another_process_is_not_taken() {
    let job = Job::new("held");
    let mut child = job.start("");
    job.until(&mut child, r#""entry":"stage-began""#);
    let o = job.start("").wait_with_output().unwrap();
    exits(&o, &[3]);
    assert!(stderr(&o).contains(&format!("the process with id {}", child.id())), "{}", stderr(&o));
    // Whoever takes the lock file away takes no job with it: the log itself is held.
    std::fs::remove_file(job.path().join("lock")).unwrap();
    let o = job.start("").wait_with_output().unwrap();
    if cfg!(unix) {
        exits(&o, &[3]);
        let before = job.journal();
        assert!(child.try_wait().unwrap().is_none(), "the first goes on");
        job.sound();
        assert!(job.journal().starts_with(&before));
    }
    kill(child);
}

mod every_write {
    //! The same over disks in memory that stop at a chosen write and lose or keep what was not synced.
    use super::*;
    use plumeline_base::{Instant, Verdict, input::Input};
    use plumeline_detector::{Ask, Driver, Report, ask, plumewire::Plumewire, settings::Value};
    use plumeline_job::{
        disk::fake::FakeDisk as JobDisk,
        folder::{self, Folder},
    };
    use plumeline_link::faults::FaultSpec;
    use plumeline_runtime::{
        clock::{self, DATE_OF_SIMULATIONS},
        job::Job,
        job_files::Files,
        line::Line,
        operator::{Operator, Script, SimulatedSite},
        replay, resume,
    };
    use plumeline_simulator::{Scenario, Simulation};
    use plumeline_trace::{LogReader, TRACE_FILE, fake::FakeDisk as LogDisk};
    use std::sync::Arc;

    /// Later than any job here takes, so that time does not run backward at the site.
    const LATER: &str = "2026-01-01T09:30:00Z";
    const LONG_STAGES: [&str; 9] =
        ["as-found", "settle", "prove-flow", "baseline", "prove-smoke", "purge", "supervise", "outputs", "last-look"];

    fn files(short: bool) -> Vec<(&'static str, Vec<u8>)> {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small");
        ["pipework.toml", "plan.toml", "settings-new.json"]
            .into_iter()
            .map(|name| {
                let mut words = std::fs::read_to_string(from.join(name)).unwrap();
                for stage in LONG_STAGES.iter().filter(|_| short && name == "plan.toml") {
                    for policy in ["stop", "go-on"] {
                        let block = format!("stage = \"{stage}\"\npolicy = \"{policy}\"");
                        words = words.replace(&block, &format!("stage = \"{stage}\"\npolicy = \"skip\""));
                    }
                }
                (name, words.into_bytes())
            })
            .chain(std::iter::once((folder::UNIT_REPLACEMENT, description("model-b"))))
            .collect()
    }
    fn description(name: &str) -> Vec<u8> {
        let (_, text) = plumeline_job::description::SHIPPED.into_iter().find(|(n, _)| *n == name).unwrap();
        text.as_bytes().to_vec()
    }
    fn put(disk: &JobDisk, short: bool) -> Folder {
        let files = files(short);
        let refs: Vec<(&str, &[u8])> = files.iter().map(|(n, b)| (*n, b.as_slice())).collect();
        Folder::create_on(Arc::new(disk.clone()), Path::new("/job"), &refs, true).unwrap()
    }
    fn site(folder: &Folder) -> SimulatedSite {
        let loaded = Files::read(folder).unwrap().check_with(|plan| plan.advanced.model.draws = 100).unwrap();
        SimulatedSite::new(Simulation::new(Scenario::new(loaded.inputs.pipework, 1), Instant::START).unwrap())
    }
    /// Does the job, or goes on with it, as far as the disks let it.
    fn go(
        folder: &Folder,
        log: &LogDisk,
        site: &SimulatedSite,
    ) -> Result<Verdict, plumeline_runtime::failure::Failure> {
        let files = Files::read(folder)?.with_port("sim:");
        let begun = resume::is_begun(folder)? || log.contents(TRACE_FILE).is_some();
        let date = if begun { LATER } else { DATE_OF_SIMULATIONS };
        let up = resume::begin(folder, || log.clone(), &files, || date.to_owned(), 1.0)?;
        let mut session = up.session;
        if session.outcome().is_none() {
            session = Job::going_on(session, up.opening, up.at)
                .line(Line::simulated(site, None, FaultSpec::default(), 1))
                .operator(Operator::script("script", Script::willing(), site.clone()))
                .run()?;
        }
        session.keeper().sync()?;
        Ok(session.outcome().unwrap().verdict)
    }
    fn whole_lines(folder: &Folder) -> Vec<u8> {
        let bytes = folder.read_up_to("journal.jsonl", 1 << 28).map(|f| f.bytes).unwrap_or_default();
        let end = bytes.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
        bytes[..end].to_vec()
    }

    /// Stops one of the disks at its `n`th write, looks at what is left, and goes on. Gives the verdict, or nothing if the
    /// job was over before that write.
    fn crash(short: bool, log_at: Option<u64>, job_at: Option<usize>, seed: u64) -> Option<Verdict> {
        let setup = JobDisk::new();
        put(&setup, short);
        let steps = setup.steps();
        let disk = JobDisk::new();
        let disk = job_at.map_or(disk.clone(), |n| disk.crash_after(steps + n));
        let folder = put(&disk, short);
        let log = log_at.map_or_else(LogDisk::new, LogDisk::crashing_at);
        let sim = site(&folder);
        if go(&folder, &log, &sim).is_ok() {
            return None;
        }
        let at = |d: &JobDisk| Folder::open_on(Arc::new(d.clone()), Path::new("/job")).unwrap();
        let flushed = whole_lines(&at(&disk.after_crash(|_| 0)));
        let mut draw = Draw(seed);
        let (disk, log) = (disk.after_crash(|n| draw.below(n as u64) as usize), log.after_power_loss(seed));
        let folder = at(&disk);
        let verdict = go(&folder, &log, &sim).unwrap_or_else(|e| panic!("{log_at:?} {job_at:?} {seed}: {e}"));
        let journal = whole_lines(&folder);
        assert!(journal.starts_with(&flushed), "a flushed line was lost: {log_at:?} {job_at:?} {seed}");
        let bytes = log.contents(TRACE_FILE).unwrap();
        let again =
            replay::replay(LogReader::new(&bytes[..]), replay::Against::Journal(journal), replay::Keeps::Charts, None)
                .unwrap_or_else(|e| panic!("{log_at:?} {job_at:?} {seed}: {e}"));
        let outcome = again.session.outcome().unwrap();
        assert_eq!(outcome.verdict, verdict);
        // Clocks tied anew put no reading before one that counted already.
        for f in &outcome.findings {
            assert!(!f.says.contains("out of order") && !f.says.contains("not later than the one before"), "{f:?}");
        }
        if !short && verdict != Verdict::Pass {
            eprintln!("log {log_at:?}, job {job_at:?}: {}", outcome.because);
        }
        Some(verdict)
    }
    /// Writes of a whole job: to the log's disk, and to the job's.
    fn writes(short: bool) -> (u64, usize, Verdict) {
        let disk = JobDisk::new();
        let folder = put(&disk, short);
        let (before, log) = (disk.steps(), LogDisk::new());
        let verdict = go(&folder, &log, &site(&folder)).unwrap();
        (log.operations(), disk.steps() - before, verdict)
    }
    /// Tries these crashes on two threads.
    fn all(short: bool, points: &[(Option<u64>, Option<usize>)]) -> Vec<Verdict> {
        std::thread::scope(|s| {
            let halves: Vec<_> = points
                .chunks(points.len().div_ceil(2))
                .enumerate()
                .map(|(i, part)| {
                    s.spawn(move || {
                        let seed = |k: usize| (i * 100_000 + k) as u64;
                        part.iter()
                            .enumerate()
                            .map(|(k, p)| crash(short, p.0, p.1, seed(k)).unwrap())
                            .collect::<Vec<_>>()
                    })
                })
                .collect();
            halves.into_iter().flat_map(|h| h.join().unwrap()).collect()
        })
    }

    #[test]
    #[ignore = "takes a minute: .ci/run runs it"]
    fn a_short_job_goes_on_from_a_crash_at_every_write() {
        let (log, job, verdict) = writes(true);
        assert_eq!(verdict, Verdict::Undecided, "most of its stages are left out");
        let points: Vec<_> = (0..log).map(|n| (Some(n), None)).chain((0..job).map(|n| (None, Some(n)))).collect();
        eprintln!("{log} writes to the log's disk, {job} to the job's");
        assert!(points.len() > 200);
        for v in all(true, &points) {
            assert_eq!(v, Verdict::Undecided);
        }
    }
    #[test]
    fn a_sound_job_never_fails_by_a_crash() {
        let (log, job, verdict) = writes(false);
        assert_eq!(verdict, Verdict::Pass);
        let points: Vec<_> = (0..12)
            .map(|i| (Some(log * i / 12 + i), None))
            .chain((0..12).map(|i| (None, Some(job * i / 12 + i))))
            .collect();
        let verdicts = all(false, &points);
        let passed = verdicts.iter().filter(|v| v.is_pass()).count();
        eprintln!("{passed} of {} pass after a pause of an hour, the others are undecided", verdicts.len());
        assert!(verdicts.iter().all(|v| *v != Verdict::Fail), "{verdicts:?}");
        // Nothing here is lost that could not be measured again.
        assert!(passed * 4 >= verdicts.len() * 3, "{verdicts:?}");
    }

    /// Asks the unit over the line, as another program would, and gives the answer.
    fn ask<A: Ask>(sim: &mut Simulation, driver: &mut Plumewire, now: &mut Instant, ask: A) -> A::Reply {
        let ticket = driver.request(*now, ask.request());
        loop {
            let mut out = Vec::new();
            while driver.poll_send(&mut out) {
                sim.handle_bytes(*now, &std::mem::take(&mut out));
            }
            while let Some(bytes) = sim.poll_transmit() {
                driver.receive(*now, &bytes);
            }
            while let Some(report) = driver.poll_report() {
                if let Report::Ended(ended, end) = report
                    && ended == ticket
                {
                    return A::told(end.unwrap()).unwrap();
                }
            }
            let due = [sim.poll_timeout(), driver.next_timeout()].into_iter().flatten().min();
            *now = due.expect("the request ends").max(*now);
            sim.handle_timeout(*now);
            driver.timeout(*now);
        }
    }
    /// Ends a job within its smoke tests, does something to the unit, and goes on. Gives the verdict and the journal.
    fn paused(meanwhile: impl FnOnce(&mut Simulation)) -> (Verdict, String) {
        let disk = JobDisk::new();
        let folder = put(&disk, false);
        let log = LogDisk::crashing_at(writes(false).0 * 6 / 10);
        let sim = site(&folder);
        assert!(go(&folder, &log, &sim).is_err(), "the job was to be ended");
        meanwhile(&mut sim.simulation().borrow_mut());
        let log = log.after_power_loss(1);
        let verdict = go(&folder, &log, &sim).unwrap();
        (verdict, String::from_utf8(whole_lines(&folder)).unwrap())
    }

    /// The date of a job in scaled time goes on with that time: by the wall clock it would fall back at each take-up.
    #[test]
    fn a_date_in_scaled_time_goes_with_the_log() {
        let folder = put(&JobDisk::new(), false);
        let log = LogDisk::crashing_at(writes(false).0 * 6 / 10);
        assert!(go(&folder, &log, &site(&folder)).is_err(), "the job was to be ended");
        let log = log.after_power_loss(1);
        let files = Files::read(&folder).unwrap().with_port("sim:");
        let date = || "2026-01-01T08:10:00Z".to_owned();
        let up = resume::begin(&folder, || log.clone(), &files, date, 30.0).unwrap();
        let noted = up.opening.iter().find_map(|i| if let Input::Date(date) = i { Some(date.clone()) } else { None });
        // Ten minutes by the wall are five hours of the log.
        assert!((up.at.as_secs_f64() - 18_000.0).abs() < 2.0, "{}", up.at);
        assert_eq!(noted, clock::later(DATE_OF_SIMULATIONS, up.at.as_secs_f64()));
    }

    #[test]
    fn settings_that_were_changed_meanwhile_void_what_rested_on_them() {
        let (verdict, journal) = paused(|sim| {
            let mut driver = Plumewire::new();
            let mut now = Instant::from_secs(5000);
            sim.handle_timeout(now);
            driver.link_up(now);
            ask(sim, &mut driver, &mut now, ask::Identify);
            let mut settings = ask(sim, &mut driver, &mut now, ask::ReadSettings);
            settings.items.iter_mut().find(|i| i.key == "alarm.1.delay").unwrap().value = Value::Int(25);
            ask(sim, &mut driver, &mut now, ask::WriteSettings { settings });
        });
        // That the unit is handed back with other settings than were loaded was shown.
        assert_eq!(verdict, Verdict::Fail);
        // Two starts after the first: the ones that the loads on the bench and on the wall ask for.
        assert_eq!(journal.matches(r#""entry":"started-anew""#).count(), 2, "the same unit, the same start");
        let why = "the unit's settings were changed while nobody watched";
        let void = journal.lines().find(|l| l.contains(r#""entry":"void""#)).unwrap();
        assert!(void.contains(why) && void.contains("alarm.1.delay"), "{void}");
        for stage in ["load", "prove-flow", "baseline", "prove-smoke"] {
            assert!(void.contains(&format!("\"{stage}\"")), "{stage}: {void}");
        }
        let (verdict, journal) = paused(|_| {});
        assert!(journal.contains("the unit's settings are still those that were read back"));
        assert!(!journal.contains(r#""entry":"void""#) && verdict != Verdict::Fail);
    }
}

mod over_registers {
    //! A job that stops while it loads over registers, where nothing is whole or not at all, and is taken up again.
    use super::*;
    use plumeline_base::Instant;
    use plumeline_job::{
        disk::fake::FakeDisk as JobDisk,
        folder::{self, Folder as JobFolder},
    };
    use plumeline_link::faults::FaultSpec;
    use plumeline_runtime::{
        clock::DATE_OF_SIMULATIONS,
        job::Job,
        job_files::Files,
        line::Line,
        operator::{Operator, Script, SimulatedSite},
        resume, simulated_model,
    };
    use plumeline_simulator::{Scenario, Simulation, scenario::Which};
    use plumeline_trace::{TRACE_FILE, fake::FakeDisk as LogDisk};
    use std::{collections::BTreeMap, sync::Arc};

    const LATER: &str = "2026-01-01T09:30:00Z";

    /// The files of the demonstration with a unit that is read by registers, cut down to the load.
    fn files() -> Vec<(&'static str, Vec<u8>)> {
        let dir = Folder::new("load-registers");
        let job = dir.join("job");
        exits(&run(&["demo", "--small", "--unit", "registers", "--quiet", "--out", text(&job)]), &[0]);
        let wanted =
            [folder::PIPEWORK, folder::PLAN, "settings-new.json", folder::UNIT_OUTGOING, folder::UNIT_REPLACEMENT];
        let skipped =
            ["as-found", "settle", "prove-flow", "baseline", "prove-smoke", "purge", "supervise", "supply", "outputs"];
        wanted
            .into_iter()
            .map(|name| {
                let mut words = std::fs::read_to_string(job.join(name)).unwrap();
                for stage in skipped.iter().filter(|_| name == folder::PLAN) {
                    for policy in ["stop", "go-on"] {
                        let block = format!("stage = \"{stage}\"\npolicy = \"{policy}\"");
                        words = words.replace(&block, &format!("stage = \"{stage}\"\npolicy = \"skip\""));
                    }
                }
                (name, words.into_bytes())
            })
            .collect()
    }
    fn put(disk: &JobDisk, files: &[(&str, Vec<u8>)]) -> JobFolder {
        let refs: Vec<(&str, &[u8])> = files.iter().map(|(n, b)| (*n, b.as_slice())).collect();
        JobFolder::create_on(Arc::new(disk.clone()), Path::new("/job"), &refs, true).unwrap()
    }
    fn site(folder: &JobFolder) -> SimulatedSite {
        let loaded = Files::read(folder).unwrap().check_with(|plan| plan.advanced.model.draws = 100).unwrap();
        let mut scenario = Scenario::new(loaded.inputs.pipework, 1);
        scenario.replacement = simulated_model::find("model-g").unwrap().into();
        SimulatedSite::new(Simulation::new(scenario, Instant::START).unwrap())
    }
    fn go(
        folder: &JobFolder,
        log: &LogDisk,
        site: &SimulatedSite,
    ) -> Result<plumeline_procedure::Outcome, plumeline_runtime::failure::Failure> {
        let files = Files::read(folder)?.with_port("sim:").with_old_port(Some("sim:"));
        let begun = resume::is_begun(folder)? || log.contents(TRACE_FILE).is_some();
        let date = if begun { LATER } else { DATE_OF_SIMULATIONS };
        let up = resume::begin(folder, || log.clone(), &files, || date.to_owned(), 1.0)?;
        let mut session = up.session;
        if session.outcome().is_none() {
            let line = |unit, seed| Line::simulated(site, Some(unit), FaultSpec::default(), seed);
            session = Job::going_on(session, up.opening, up.at)
                .line(line(Which::Replacement, 1))
                .outgoing_line(Some(line(Which::Outgoing, 2)))
                .operator(Operator::script("script", Script::willing(), site.clone()))
                .run()?;
        }
        session.keeper().sync()?;
        Ok(session.outcome().unwrap().clone())
    }
    /// What the replacement would start with.
    fn held(site: &SimulatedSite) -> Vec<u8> {
        site.simulation().borrow().settings_image(Which::Replacement).unwrap()
    }

    #[test]
    fn a_job_killed_while_it_loads_over_registers_loads_again_and_holds_no_mixture() {
        let files = files();
        let whole = LogDisk::new();
        let (disk, mut kinds) = (JobDisk::new(), BTreeMap::new());
        let folder = put(&disk, &files);
        let sim = site(&folder);
        let delivered = held(&sim);
        let sound = go(&folder, &whole, &sim).unwrap();
        let wanted = held(&sim);
        assert_ne!(delivered, wanted);
        assert_eq!(sound.verdict, plumeline_base::Verdict::Undecided, "most of its stages are left out");
        for n in (0..whole.operations()).step_by(9) {
            // Six stops after the first load has ended are enough of those.
            if kinds.get("as wanted").is_some_and(|n| *n > 6) {
                break;
            }
            let disk = JobDisk::new();
            let folder = put(&disk, &files);
            let sim = site(&folder);
            let log = LogDisk::crashing_at(n);
            if go(&folder, &log, &sim).is_ok() {
                break;
            }
            let now = held(&sim);
            let kind = if now == delivered {
                "as delivered"
            } else if now == wanted {
                "as wanted"
            } else {
                "a mixture"
            };
            *kinds.entry(kind).or_insert(0) += 1;
            let folder = JobFolder::open_on(Arc::new(disk.after_crash(|_| 0)), Path::new("/job")).unwrap();
            let outcome = go(&folder, &log.after_power_loss(n), &sim).unwrap();
            // On the bench or on the wall: whichever load the stop was in is done again to its end, and read back item by item.
            let shown = outcome.findings.iter().any(|f| f.code == "load.read-back" && f.counts_as().is_pass());
            assert!(shown && held(&sim) == wanted, "{n}, {kind}, {}: {:#?}", outcome.because, outcome.findings);
            assert_ne!(outcome.verdict, plumeline_base::Verdict::Fail, "{n}: {}", outcome.because);
        }
        eprintln!("{kinds:?}");
        assert!(kinds.get("a mixture").is_some_and(|n| *n > 3), "{kinds:?}: the load itself was never cut");
    }
}
