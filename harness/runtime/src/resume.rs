//! Takes a job up again where its log ends: whatever ended the program, nothing that reached the log or the journal is lost.
//!
//! The log is replayed into a procedure that stands where the old one stood; lines of the journal that were not written any
//! more are written now; then a new section of the log begins. Not here: what the procedure makes of the pause (it takes the
//! link for lost and has the unit identify itself), and the event loops.
use crate::{
    clock,
    failure::Failure,
    job_files::{Files, Loaded, OLD_PORT, PORT},
    keep::DiskKeeper,
    port,
    replay::{Against, Keeps, replay},
    session::{Keeper, Session},
};
use plumeline_base::{Instant, input::Input, time::seconds};
use plumeline_job::{
    folder::{self, Folder},
    journal,
};
use plumeline_procedure::{Entry, Procedure};
use plumeline_trace::{Citation, Disk, LogReader, LogWriter, TRACE_FILE, disk::Reading};

/// A pause of the log is at least this long, s: no clock tells how long the program took to start.
const LEAST_PAUSE_S: f64 = 1.0;

/// A job ready to go on.
pub struct TakenUp<D> {
    /// The session, where it stood.
    pub session: Session<DiskKeeper<D>>,
    /// What the job is judged by.
    pub loaded: Loaded,
    /// The inputs that come next.
    pub opening: Vec<Input>,
    /// The instant that they come at.
    pub at: Instant,
    /// What the operator should know.
    pub told: Vec<String>,
    /// The journal said already that the job is over.
    pub was_over: bool,
}

/// Has this job left anything to take up?
pub fn is_begun(folder: &Folder) -> Result<bool, Failure> {
    Ok(folder.exists(folder::TRACE)? || folder.exists(folder::JOURNAL)?)
}

/// A new job, or one that goes on where its log ends. The arguments are those of [`take_up`].
pub fn begin<D: Disk>(
    folder: &Folder,
    disk: impl Fn() -> D,
    files: &Files,
    now: impl Fn() -> String,
    speed: f64,
) -> Result<TakenUp<D>, Failure> {
    let logged = disk().len(TRACE_FILE).map_err(plumeline_trace::LogError::from)?.is_some();
    if logged || is_begun(folder)? {
        return take_up(folder, disk, files, now, speed);
    }
    // Nothing is begun with files that can't be used.
    let loaded = files.check()?;
    let keeper = DiskKeeper::create_on(folder, disk())?;
    Ok(new(files, loaded, keeper, now))
}

/// A job that nothing is known of yet but its files.
fn new<D: Disk>(files: &Files, loaded: Loaded, keeper: DiskKeeper<D>, now: impl Fn() -> String) -> TakenUp<D> {
    let procedure = Procedure::new(loaded.inputs.clone(), port::drivers(files));
    let session = Session::new(procedure, keeper, loaded.inputs.plan.link.readings_hz);
    let (opening, at) = (files.opening(now()), Instant::START);
    TakenUp { session, loaded, opening, at, told: Vec::new(), was_over: false }
}

/// Takes the job in `folder` up again. `disk` gives the disk that the log is on, `files` are the job's files and port as they
/// are now, `now` tells the date, and log time runs `speed` times as fast as the wall clock.
pub fn take_up<D: Disk>(
    folder: &Folder,
    disk: impl Fn() -> D,
    files: &Files,
    now: impl Fn() -> String,
    speed: f64,
) -> Result<TakenUp<D>, Failure> {
    let mut told = Vec::new();
    let path = folder.path(folder::JOURNAL)?;
    let (journal, lines) = if folder.exists(folder::JOURNAL)? {
        let resumed = journal::Writer::resume::<Entry>(folder.disk(), &path)?;
        if let Some(aside) = &resumed.set_aside {
            told.push(format!("the journal's unfinished last line was set aside in {}", aside.display()));
        }
        (resumed.writer, resumed.journal.lines)
    } else {
        (journal::Writer::create(folder.disk(), &path)?, Vec::new())
    };
    let was_over = lines.iter().any(|l| matches!(l.entry, Entry::Ended { .. }));
    let cited = lines.last().map(|l| {
        let hash = plumeline_trace::Hash(l.log.hash.0);
        Citation { offset: l.log.offset, index: l.log.index, hash }
    });
    let (log, resumed) = LogWriter::resume(disk(), TRACE_FILE, cited)?;
    told.extend(resumed.set_aside.map(|aside| aside.to_string()));
    let mut keeper = DiskKeeper::resumed(folder, log, journal);
    if resumed.end.is_none() {
        return Ok(TakenUp { told, was_over, ..new(files, files.check()?, keeper, now) });
    }
    let kept = folder.read_up_to(folder::JOURNAL, journal::JOURNAL_LIMIT)?.bytes;
    let mut again = disk();
    let reader = LogReader::new(Reading::new(&mut again, TRACE_FILE));
    let mut done = replay(reader, Against::SoFar(kept), Keeps::Charts, Some(files))?;
    if done.begun {
        same_files(&done.files, files)?;
    }
    // Everything that follows from the log is put in place as if the program had lived a little longer.
    for (which, settings, unit) in std::mem::take(&mut done.session.keeper().kept) {
        keeper.settings(which, &settings, &unit)?;
    }
    for (at, citation, entry) in std::mem::take(&mut done.session.keeper().further) {
        keeper.journal(at, &citation, &[entry])?;
    }
    let real_time = speed == 1.0;
    let noted = if real_time { done.date.as_ref() } else { done.session.record().dates.first() };
    // Not before: a long log takes its time to be replayed, and the clock goes on from here.
    let date = now();
    let at = done.last_at + seconds(pause(done.last_at, noted, &date, speed));
    // The dates of a log whose time is scaled go with that time: by the wall clock they would fall back at each take-up.
    let scaled =
        noted.filter(|_| !real_time).and_then(|(then_at, then)| clock::later(then, at.since(*then_at).as_secs_f64()));
    let mut opening = files.opening(scaled.unwrap_or(date));
    if done.begun {
        opening.retain(|i| !matches!(i, Input::File { .. }));
    }
    Ok(TakenUp { session: done.session.with_keeper(keeper), loaded: done.loaded, opening, at, told, was_over })
}

/// How long nobody watched, in log time, s.
fn pause(last_at: Instant, date: Option<&(Instant, String)>, now: &str, speed: f64) -> f64 {
    let passed =
        date.and_then(|(at, then)| Some(clock::between(then, now)? * speed - last_at.since(*at).as_secs_f64()));
    // A wall clock that was set back tells nothing.
    passed.unwrap_or(0.0).max(LEAST_PAUSE_S)
}

/// The files that the job was begun with are still the same, and so is the kind of port.
fn same_files(then: &Files, now: &Files) -> Result<(), Failure> {
    let judged_by =
        |f: &Files| f.0.iter().filter(|(name, _)| name != PORT && name != OLD_PORT).cloned().collect::<Vec<_>>();
    let (old, new) = (judged_by(then), judged_by(now));
    let changed = old.iter().find(|f| !new.contains(f)).or_else(|| new.iter().find(|f| !old.contains(f)));
    if let Some((name, _)) = changed {
        return Err(Failure::input(
            format!("{name} is not what it was when this job began"),
            "put the file back as it was, or make a new job with `plumeline new`: one job is judged by one set of files",
        ));
    }
    if port::driver_names(then) != port::driver_names(now) {
        let old = then.old_port().map(|port| format!(" --old-port {port}")).unwrap_or_default();
        return Err(Failure::input(
            format!("this job was begun with --port {}{old}", then.port()),
            "go on through a port of the same kind: a line stays a line, a display stays a display",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pause_is_what_the_dates_say_and_never_less_than_a_second() {
        let began = (Instant::from_secs(10), "2026-01-01T08:00:00Z".to_owned());
        let last = Instant::from_secs(40);
        assert!((pause(last, Some(&began), "2026-01-01T09:00:00Z", 1.0) - 3570.0).abs() < 1e-9);
        assert!((pause(last, Some(&began), "2026-01-01T08:00:01Z", 60.0) - 30.0).abs() < 1e-9);
        for useless in ["2026-01-01T07:00:00Z", "yesterday"] {
            assert!((pause(last, Some(&began), useless, 1.0) - LEAST_PAUSE_S).abs() < 1e-9);
        }
        assert!((pause(last, None, "2026-01-01T09:00:00Z", 1.0) - LEAST_PAUSE_S).abs() < 1e-9);
    }
    #[test]
    fn changed_files_and_another_kind_of_port_are_refused() {
        let files = |plan: &str, port: &str| Files(vec![("plan.toml".into(), plan.into())]).with_port(port);
        let then = files("a", "serial:/dev/ttyUSB0");
        assert!(same_files(&then, &files("a", "serial:/dev/ttyUSB1")).is_ok());
        assert!(same_files(&then, &files("b", "serial:/dev/ttyUSB0")).is_err());
        assert!(same_files(&then, &files("a", "display:")).is_err());
    }
}
