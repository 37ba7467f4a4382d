//! Runs the jobs of a batch, each in a process of its own, and keeps what is known after each of them.
use super::{
    file::Entry,
    result::{BatchResult, CameTo, How},
};
use plumeline_job::{
    Problem,
    folder::{self, Folder},
};
use plumeline_procedure::Outcome;
use plumeline_report::standing::shown_verdict;
use plumeline_runtime::{
    clock,
    failure::{Exit, Failure},
    interrupt::Interrupts,
    job_files::Files,
    resume,
    show::print_progress,
};
use serde::Deserialize;
use std::{
    fs::File,
    path::Path,
    process::{Command, Stdio},
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, AtomicUsize, Ordering},
    },
    time::{Duration, Instant},
};

/// What a job said while it ran, within its folder.
pub const SAID: &str = "output.txt";
/// A job whose time is over is ended from outside if it has not come to rest by then.
const COMES_TO_REST: Duration = Duration::from_secs(15);
/// How often it is looked whether a job with a deadline has ended.
const LOOKED: Duration = Duration::from_millis(50);

/// How jobs of a batch are run.
pub struct Work<'a> {
    /// The jobs.
    pub jobs: &'a [Entry],
    /// Folder for their folders.
    pub out: &'a Path,
    /// At most so many at once.
    pub at_once: usize,
    /// Go on with what an earlier run began.
    pub go_on: bool,
    /// Keeps what is known so far.
    pub keep: &'a (dyn Fn(&BatchResult) -> Result<(), Failure> + Sync),
}

/// What is known so far, and why it can't be kept.
type Known = Mutex<(BatchResult, Option<Failure>)>;

impl Work<'_> {
    /// Runs every job that `result` does not know yet: those over a line one after the other, then those against the bundled
    /// simulator. A job that can't be run is a result too; what ends all is that results can't be kept, or an interrupt.
    pub fn run(&self, result: BatchResult) -> Result<BatchResult, Failure> {
        let stop = stop_on_interrupt();
        let waiting = |simulated: bool| -> Vec<usize> {
            let open = |i: &usize| self.jobs[*i].simulated == simulated && result.jobs[*i].came_to.how == How::NotRun;
            (0..self.jobs.len()).filter(open).collect()
        };
        let rounds = [(waiting(false), 1), (waiting(true), self.at_once)];
        let known: Known = Mutex::new((result, None));
        for (waiting, at_once) in rounds {
            let next = AtomicUsize::new(0);
            let work = || {
                while !stop.load(Ordering::Relaxed)
                    && let Some(&i) = waiting.get(next.fetch_add(1, Ordering::Relaxed))
                {
                    let (came_to, before) = self.with_retries(&self.jobs[i], &stop);
                    if !self.note(i, came_to, before, &known) {
                        stop.store(true, Ordering::Relaxed);
                    }
                }
            };
            std::thread::scope(|scope| {
                for _ in 0..at_once.min(waiting.len()) {
                    scope.spawn(work);
                }
            });
        }
        match known.into_inner().unwrap_or_else(PoisonError::into_inner) {
            (_, Some(failure)) => Err(failure),
            (result, None) => Ok(result),
        }
    }

    /// Adds a result. False if it can't be kept.
    fn note(&self, i: usize, came_to: CameTo, before: Vec<CameTo>, known: &Known) -> bool {
        let (result, failed) = &mut *known.lock().unwrap_or_else(PoisonError::into_inner);
        let job = &mut result.jobs[i];
        job.missed = self.missed(&self.jobs[i], &came_to);
        job.attempts_before = before;
        job.as_expected = job.missed.is_empty();
        job.came_to = came_to;
        let words = if job.as_expected { "as expected" } else { "NOT AS EXPECTED" };
        let attempt = match job.attempts_before.len() {
            0 => String::new(),
            n => format!(" at attempt {}", n + 1),
        };
        print_progress(&format!("{}: {}, {words}{attempt}", job.name, job.came_to.words()));
        if let Err(failure) = (self.keep)(result) {
            failed.get_or_insert(failure);
        }
        failed.is_none()
    }

    /// In which ways a job did not come to what is expected of it.
    fn missed(&self, job: &Entry, came_to: &CameTo) -> Vec<String> {
        let outcome = if came_to.how == How::Over { outcome(&self.out.join(&job.name)).ok() } else { None };
        outcome.map_or_else(|| vec![came_to.because.clone()], |outcome| job.expected.missed_by(&outcome))
    }

    /// What a job came to, and what its attempts before that did: their records are kept beside it.
    fn with_retries(&self, job: &Entry, stop: &AtomicBool) -> (CameTo, Vec<CameTo>) {
        let mut before = Vec::new();
        loop {
            let came_to = self.one(job);
            let more = before.len() < usize::from(job.retries) && !stop.load(Ordering::Relaxed);
            if !more || self.missed(job, &came_to).is_empty() {
                return (came_to, before);
            }
            let aside = (1..).map(|n| self.out.join(format!("{}.attempt-{n}", job.name))).find(|path| !path.exists());
            if aside.is_none_or(|aside| std::fs::rename(self.out.join(&job.name), aside).is_err()) {
                return (came_to, before);
            }
            before.push(came_to);
        }
    }

    fn one(&self, job: &Entry) -> CameTo {
        let dir = self.out.join(&job.name);
        let ran = self.prepare(job, &dir).and_then(|()| run(job, &dir));
        let (status, code) = match ran {
            Ok(status) => (status.to_string(), status.code()),
            Err(failure) => return CameTo::nothing(first_line(&failure.render(false)), None),
        };
        match outcome(&dir) {
            Ok(o) if code == Some(Exit::of(&o) as i32) => {
                CameTo { how: How::Over, verdict: Some(shown_verdict(&o)), because: o.because, exit_code: code }
            }
            Ok(_) => CameTo::nothing(format!("{status}, which does not fit its result"), code),
            Err(_) => CameTo::nothing(format!("{status}: {}", last_words(&dir)), code),
        }
    }

    /// Puts the job's files into its folder. A job over a line that was begun goes on; one against the bundled simulator, whose
    /// units end with it, begins anew.
    fn prepare(&self, job: &Entry, dir: &Path) -> Result<(), Failure> {
        if dir.canonicalize().is_ok_and(|dir| job.files.canonicalize().is_ok_and(|files| files == dir)) {
            return Err(Failure::input("its own folder would be written over", "choose another folder with --out"));
        }
        let mut files = Files::read(&Folder::open(&job.files)?)?;
        // What can't be read is told by the job itself.
        let _ = files.described_since();
        if self.go_on && !job.simulated && dir.exists() {
            let there = Folder::open(dir)?;
            if resume::is_begun(&there)? {
                return if Files::read(&there)?.0 == files.0 {
                    Ok(())
                } else {
                    Err(Failure::input(
                        "its files were changed since it was begun",
                        "put them back, or start with --force",
                    ))
                };
            }
        }
        let refs: Vec<(&str, &[u8])> = files.0.iter().map(|(n, b)| (n.as_str(), b.as_slice())).collect();
        Folder::create(dir, &refs, true)?;
        Ok(())
    }
}

fn run(job: &Entry, dir: &Path) -> Result<std::process::ExitStatus, Failure> {
    let path = dir.join(SAID);
    let told = |e: std::io::Error| Problem::from_io(&path, "keep what the job says", &e);
    let said = File::create(&path).map_err(told)?;
    let mut command = Command::new(std::env::current_exe()?);
    command.arg("run").arg(dir).args(["--port", &job.port]).args(&job.arguments);
    if job.simulated {
        command.args(["--date", clock::DATE_OF_SIMULATIONS]);
    }
    command.arg("--while-stdin").stdin(Stdio::piped()).stdout(said.try_clone().map_err(told)?).stderr(said);
    let mut child = command.spawn()?;
    // Held until it has ended: where this process is killed, or the job's time is over, the job ends too.
    let mut held = child.stdin.take();
    let Some(deadline) = job.deadline else {
        let status = child.wait()?;
        drop(held);
        return Ok(status);
    };
    let ends = Instant::now() + deadline;
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(status);
        }
        if Instant::now() >= ends {
            held.take();
        }
        if Instant::now() >= ends + COMES_TO_REST {
            child.kill()?;
        }
        std::thread::sleep(LOOKED);
    }
}

/// The outcome that a job left.
pub fn outcome(dir: &Path) -> Result<Outcome, Failure> {
    #[derive(Deserialize)]
    struct ResultFile {
        outcome: Outcome,
    }
    let bytes = Folder::open(dir)?.read(folder::RESULT)?.bytes;
    let file: ResultFile = serde_json::from_slice(&bytes)
        .map_err(|e| Failure::input(format!("{}: {e}", dir.join(folder::RESULT).display()), "run the job again"))?;
    Ok(file.outcome)
}

fn first_line(text: &str) -> String {
    text.lines().next().unwrap_or_default().to_owned()
}

/// What a job said last that explains why it ended: its error, or whatever it said.
fn last_words(dir: &Path) -> String {
    let said = std::fs::read(dir.join(SAID)).unwrap_or_default();
    let said = String::from_utf8_lossy(&said);
    let mut lines = said.lines().rev().filter(|l| !l.trim().is_empty());
    let error = lines.clone().find(|l| l.starts_with("error"));
    error.or_else(|| lines.next()).unwrap_or("it said nothing").trim().to_owned()
}

/// Set by the first interrupt: no more jobs are begun, and those that run get the interrupt from the terminal as well. The
/// second leaves at once; what is known is kept already.
fn stop_on_interrupt() -> Arc<AtomicBool> {
    let stop = Arc::new(AtomicBool::new(false));
    let flag = stop.clone();
    std::thread::spawn(move || {
        let Ok(runtime) = clock::event_loop() else { return };
        runtime.block_on(async {
            let Ok(mut interrupts) = Interrupts::listen() else { return };
            interrupts.next().await;
            flag.store(true, Ordering::Relaxed);
            print_progress("no more jobs are begun; press Ctrl-C again to leave at once, and go on later with --go-on");
            interrupts.next().await;
            std::process::exit(Exit::Undecided as i32);
        });
    });
    stop
}
