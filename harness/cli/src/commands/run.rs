//! Jobs over a real line, and over a pseudo-terminal with the simulator behind it.
use crate::{
    args::Run,
    commands::ports,
    failure::{Exit, Failure},
    finish,
    keep::DiskKeeper,
    live::{Live, Operator, Port},
    load::{DRAWS, Files, Loaded},
    operator::{self, NoSite, Photos, RemoteSite, Script, Site},
    port, resume, scenario,
    session::Session,
    show::{self, Show},
    terminal,
    virtual_time::VirtualJob,
};
use plumeline_base::{Instant, input::Photo};
use plumeline_job::folder::{self, Folder};
use plumeline_link::{Injected, LineSpec, LinkSpec, Opener, RealClock, faults::FaultSpec};
use plumeline_procedure::Procedure;
use plumeline_simulator::{Scenario, Simulation};
use std::{cell::RefCell, rc::Rc};

/// `plumeline run`
pub fn run(args: &Run) -> Result<Exit, Failure> {
    let spec = port::parse(&args.port)?;
    let faults = super::demo::faults(args.faults.as_deref())?;
    let folder = Folder::open(&args.job)?;
    let _lock = folder.lock()?;
    let script = args.operator.as_deref().map(read_operator).transpose()?;
    let simulated = matches!(spec, LinkSpec::Sim(_));
    let mut show = show::of_job(args.output.json, script.is_none() && !simulated);
    let files = Files::read(&folder)?.with_port(&args.port);
    let date = match &args.date {
        Some(date) if simulated => date.clone(),
        Some(_) => {
            return Err(Failure::input(
                "--date goes with --port sim: alone",
                "leave it out: a real job has a real date",
            ));
        }
        None => date(),
    };
    let resume::TakenUp { mut session, loaded, opening, at, told, was_over } =
        begin(&folder, &files, &date, args.speed)?;
    for words in told {
        show::line(&words);
    }
    if session.outcome().is_some() {
        // Over: what is written when a job is over may still be missing if the program was ended just then.
        if was_over && folder.exists(folder::RESULT)? && folder.exists(folder::REPORT)? {
            return Err(Failure::input(
                format!("{}: this job is over", folder.dir().display()),
                "make a new job with `plumeline new`, or look at this one with `plumeline report`",
            ));
        }
        return finish::finished(&folder, &loaded, session, &args.output, false);
    }
    let seed = args.seed.unwrap_or(1);
    match spec {
        LinkSpec::Sim(_) => {
            let mut site = match &args.scenario {
                Some(path) => scenario::read(path)?,
                None => Scenario::new(loaded.inputs.pipework.clone(), 1),
            };
            site.seed = args.seed.unwrap_or(site.seed);
            site.defects.extend(scenario::defects(&args.defect)?);
            let mut simulation = simulation(site, at)?;
            let mut script = script.map_or_else(Script::willing, |(s, _)| s).with_photos(photos(&folder));
            VirtualJob::new(&mut session, &mut simulation, &mut script, show.as_mut(), faults, seed, at)
                .run(opening)?;
        }
        LinkSpec::Line(_) | LinkSpec::Display => {
            let runtime = runtime()?;
            let _inside = runtime.enter();
            let clock = RealClock::starting_at(at, args.speed);
            let port = match spec {
                LinkSpec::Line(line) => {
                    Port::Line(Box::new(opener(line, &faults, seed, clock).in_root(ports::root(args.root.as_deref()))))
                }
                _ => Port::Display,
            };
            let operator = match script {
                Some((script, site)) => Operator::Script(script.with_photos(photos(&folder)), site),
                None => Operator::Person(terminal::listen(clock), terminal::Open::default()),
            };
            let live = Live::new(&mut session, port, clock, operator, show.as_mut()).with_photos(photos(&folder));
            runtime.block_on(live.run(opening))?;
        }
    }
    finish::finished(&folder, &loaded, session, &args.output, false)
}

/// Takes photos into the job's folder.
fn photos(folder: &Folder) -> Photos {
    let dir = folder.dir().to_owned();
    Box::new(move |from| {
        let photo = plumeline_job::photos::take_in(&Folder::open(&dir)?, from)?;
        Ok(Photo { name: photo.name, length: photo.length, sha256: photo.digest.to_string() })
    })
}

fn opener(line: LineSpec, faults: &FaultSpec, seed: u64, clock: RealClock) -> Opener {
    let opener = Opener::new(line);
    if *faults == FaultSpec::default() {
        opener
    } else {
        opener.with_faults(Injected::new(faults.clone(), seed, clock))
    }
}

/// A current-thread runtime: one event loop, one thread.
pub fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    Ok(tokio::runtime::Builder::new_current_thread().enable_all().build()?)
}

/// Now, as RFC 3339 in UTC. The one place that reads the wall clock of a job.
pub fn date() -> String {
    let now = time::OffsetDateTime::now_utc();
    now.format(&time::format_description::well_known::Rfc3339).unwrap_or_else(|_| "unknown".into())
}

fn read_operator(path: &std::path::Path) -> Result<(Script, Box<dyn Site>), Failure> {
    let file = operator::read(path)?;
    let site: Box<dyn Site> = match &file.control {
        Some(address) => Box::new(RemoteSite::connect(address)?),
        None => Box::new(NoSite),
    };
    Ok((Script::of(file), site))
}

/// A simulation, or why it can't be made.
pub fn simulation(site: Scenario, at: Instant) -> Result<Simulation, Failure> {
    Simulation::new(site, at).map_err(|e| Failure::input(e.to_string(), "correct the scenario"))
}

/// A new job, or one that goes on where its log ends.
fn begin(
    folder: &Folder,
    files: &Files,
    date: &str,
    speed: f64,
) -> Result<resume::TakenUp<plumeline_trace::Folder>, Failure> {
    if resume::is_begun(folder)? {
        return resume::take_up(folder, || plumeline_trace::Folder::new(folder.dir()), files, date, speed);
    }
    let loaded = files.check(DRAWS)?;
    let procedure = Procedure::new(loaded.inputs.clone(), port::driver(files));
    let session = Session::new(procedure, DiskKeeper::create(folder)?, loaded.inputs.plan.readings_hz);
    let opening = files.opening(date.into());
    Ok(resume::TakenUp { session, loaded, opening, at: Instant::START, told: Vec::new(), was_over: false })
}

/// A simulation that the event loop of the unit's end and the operator's script share.
struct Shared(Rc<RefCell<Simulation>>);
impl Site for Shared {
    fn command(&mut self, now: Instant, line: &str) -> Result<String, Failure> {
        Ok(self.0.borrow_mut().handle_control(now, line))
    }
}

/// The demonstration over a real pseudo-terminal: the simulated unit at one end, the job at the other, in scaled time.
pub fn over_pty(
    folder: &Folder,
    files: &Files,
    loaded: &Loaded,
    site: Scenario,
    speed: f64,
    faults: &FaultSpec,
    show: &mut dyn Show,
) -> Result<Exit, Failure> {
    let simulation = Rc::new(RefCell::new(simulation(site, Instant::START)?));
    let runtime = runtime()?;
    let _inside = runtime.enter();
    let clock = RealClock::starting_at(Instant::START, speed);
    let mut unit = super::simulate::UnitEnd::pty(None, simulation.clone(), clock)?;
    let address = unit.address().to_owned();
    let LinkSpec::Line(line) = port::parse(&address)? else {
        return Err(Failure::internal("a pseudo-terminal that is no line"));
    };
    let files = files.clone().with_port(&address);
    let procedure = Procedure::new(loaded.inputs.clone(), port::driver(&files));
    let mut session = Session::new(procedure, DiskKeeper::create(folder)?, loaded.inputs.plan.readings_hz);
    let operator = Operator::Script(Script::willing(), Box::new(Shared(simulation)));
    let port = Port::Line(Box::new(opener(line, faults, 1, clock)));
    let live = Live::new(&mut session, port, clock, operator, show);
    runtime.block_on(async {
        tokio::select! {
            end = live.run(files.opening(date())) => end,
            end = unit.serve() => end,
        }
    })?;
    finish::finished(folder, loaded, session, &crate::args::Output::default(), true)
}
