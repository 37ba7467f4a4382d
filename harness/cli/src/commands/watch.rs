//! `plumeline watch`: a recorded job on a page, as a film. The trace is replayed strictly; nothing is taken from the page.
use crate::{
    args::{Page, Watch},
    page::page,
};
use plumeline_base::Instant;
use plumeline_job::folder::{self, Folder};
use plumeline_link::RealClock;
use plumeline_runtime::{
    failure::{Exit, Failure},
    job_files::Files,
    replay::{Against, Keeps, replay_seen},
    show::{Show, print_progress},
};
use plumeline_trace::LogReader;
use std::time::Duration;

/// The clocks on the page go on so often while nothing happens.
const TICK: Duration = Duration::from_millis(500);

/// `plumeline watch`
pub fn watch(args: &Watch) -> Result<Exit, Failure> {
    if !(args.speed.is_finite() && args.speed > 0.0) {
        return Err(Failure::input(format!("{} is no speed", args.speed), "say --speed 1, or more to see it faster"));
    }
    let folder = Folder::open(&args.job)?;
    let loaded = Files::read(&folder)?.check()?;
    let log = LogReader::open(&folder.dir().join(folder::TRACE))?;
    let clock = RealClock::starting_at(Instant::START, args.speed);
    let wanted = Page { page: Some(args.page.page.clone().flatten()), ..args.page.clone() };
    let Some(served) = page(&wanted, None, &loaded.inputs, clock)? else {
        return Err(Failure::internal("no page is served"));
    };
    let mut shown = served.shown();
    let replayed = replay_seen(log, Against::Sent, Keeps::Nothing, None, &mut |at, outward| {
        while clock.now() < at {
            shown.tick(clock.now(), None);
            let ahead = at.since(clock.now()).as_secs_f64() / args.speed;
            std::thread::sleep(Duration::try_from_secs_f64(ahead).unwrap_or(TICK).min(TICK));
        }
        outward.iter().for_each(|what| shown.show(at, what));
    })?;
    print_progress(&format!("the recording ends at {}; Ctrl-C ends the page", replayed.last_at));
    loop {
        std::thread::sleep(TICK);
    }
}
