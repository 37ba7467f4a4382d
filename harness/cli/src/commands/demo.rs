//! The whole job against the bundled simulator: an invented site, invented units.
use super::invented::{Job, without_flow};
use crate::{
    args::{AskedThrough, Demo, Over},
    capture::{self, Captured},
    carrying::{self, Carried, Described, Given},
    live,
    page::{checked, page},
};
use plumeline_base::Instant;
use plumeline_job::{
    folder::{self, Folder},
    settings,
};
use plumeline_link::{LinkSpec, RealClock, faults::FaultSpec};
use plumeline_procedure::JobInputs;
use plumeline_runtime::{
    clock::{Clock, DATE_OF_SIMULATIONS, date, event_loop},
    failure::{Exit, Failure},
    finish, job,
    job::given::Loggers,
    job_files::Files,
    keep::DiskKeeper,
    line::Line,
    operator::{Operator, Script, SimulatedLogger, SimulatedSite},
    port, scenario,
    session::Session,
    show,
    unit_end::UnitEnd,
};
use plumeline_simulator::{Simulation, models::Spoken, scenario::Which};

/// `plumeline demo`
pub fn demo(args: &Demo) -> Result<Exit, Failure> {
    checked(&args.page)?;
    let faults = port::faults(args.faults.as_deref())?;
    let mut job = Job::find(args.small, &args.replacement)?;
    if args.unit == AskedThrough::Meter {
        job = job.by_meter();
    }
    if args.unit == AskedThrough::Logger {
        job = job.by_logger();
    }
    if !(0.0..=1.0).contains(&args.slips) {
        return Err(Failure::input(format!("{} is no share", args.slips), "say --slips 0 to 1, such as 0.05"));
    }
    // Defects and lies are understood before anything is written.
    let pipework = plumeline_job::pipework::parse(folder::PIPEWORK, job.pipework.as_bytes())?.pipework;
    let mut site = scenario::site(pipework, args.seed, &args.defect, !args.dead)?;
    site.lies = scenario::lies(&args.lie)?;
    (site.replacement, site.fault_wire) = (job.model.clone().into(), job.fault_wire);
    let (old, carried) = carried(&job, args)?;
    let files = [
        (folder::PIPEWORK, job.pipework.as_bytes()),
        (folder::PLAN, job.plan.as_bytes()),
        (folder::DECISIONS, job.decisions.as_bytes()),
        (folder::SETTINGS_OLD, old.as_slice()),
    ];
    let folder = Folder::create(&args.out, &files, args.force)?;
    let _lock = folder.lock()?;
    carrying::keep(&folder, &carried, true)?;
    let files = Files::read(&folder)?.with_port("sim:");
    // A replacement that is asked in another way than the outgoing unit: each has its line for itself.
    let apart = port::is_by_hand(&files) || job.model.spoken != Spoken::Plumewire;
    let files = files.with_old_port(apart.then_some("sim:"));
    let loaded = files.check()?;
    let told = |e: plumeline_simulator::simulation::ScenarioError| {
        Failure::input(e.to_string(), "choose another defect or place")
    };
    let site = SimulatedSite::new(Simulation::new(site, Instant::START).map_err(told)?);
    let keeper = DiskKeeper::create(&folder)?;
    let eyes = port::eyes(&files).slipping(args.slips, args.seed);
    let script = Script::willing().with_eyes(eyes).with_logger(SimulatedLogger::default());
    let operator = Operator::script("script", script, site.clone());
    let loggers = Loggers::of(&loaded.inputs.plan, Some(&folder));
    let begin = |files: &Files, date: String| {
        job::Job::begin(files, loaded.inputs.clone(), keeper, date).loggers(loggers).operator(operator)
    };
    let over = if args.page.page.is_some() { Over::Pty } else { args.over };
    let session = match over {
        Over::Pty => over_pty(&files, &site, args, &faults, (&folder, &loaded.inputs), begin)?,
        Over::Process => {
            let line = |unit, seed| Line::simulated(&site, unit, faults.clone(), seed);
            let (main, outgoing) = match apart {
                true => (Some(Which::Replacement), Some(line(Some(Which::Outgoing), args.seed.wrapping_add(1)))),
                false => (None, None),
            };
            let main = line(main, args.seed);
            let show = show::of_job(args.output.json, false);
            begin(&files, DATE_OF_SIMULATIONS.into()).observer(show).line(main).outgoing_line(outgoing).run()?
        }
    };
    finish::finished(&folder, &loaded, session, args.output.json, true)
}

/// The settings captured from the outgoing unit at an earlier visit, when it was sound, carried over to the new model by the
/// decisions of invented people.
fn carried(job: &Job, args: &Demo) -> Result<(Vec<u8>, Carried), Failure> {
    let pipework = plumeline_job::pipework::parse(folder::PIPEWORK, job.pipework.as_bytes())?.pipework;
    let mut earlier = scenario::simulation(scenario::site(pipework, args.seed, &[], true)?, Instant::START)?;
    let Captured { unit, settings } = capture::from_simulation(&mut earlier, Instant::START)?;
    let old = settings::to_json(&settings, Some(&unit), true)?;
    let mut to = Described::find(&args.replacement)?;
    if args.unit == AskedThrough::Meter {
        to = without_flow(&to)?;
    }
    let carried = carrying::carry_over(&Given {
        settings: (folder::SETTINGS_OLD, &old),
        from: None,
        to: &to,
        decisions: Some((folder::DECISIONS, job.decisions.as_bytes())),
        pipework: job.pipework.as_bytes(),
        plan: job.plan.as_bytes(),
    })?;
    Ok((old, carried))
}

/// The demonstration over a real pseudo-terminal: the simulated unit at one end, the job at the other, in scaled time.
fn over_pty<'a>(
    files: &Files,
    site: &SimulatedSite,
    args: &Demo,
    faults: &FaultSpec,
    (folder, inputs): (&Folder, &JobInputs),
    begin: impl FnOnce(&Files, String) -> job::Job<'a, DiskKeeper>,
) -> Result<Session<DiskKeeper>, Failure> {
    let events = event_loop()?;
    let _inside = events.enter();
    let clock = RealClock::starting_at(Instant::START, args.speed);
    let apart = files.old_port().is_some();
    let end_of = |which: Option<Which>| -> Result<_, Failure> {
        let end = UnitEnd::pty(None, site.clone(), clock)?.of(which);
        let LinkSpec::Line(line) = port::parse(end.address())? else {
            return Err(Failure::internal("a pseudo-terminal that is no line"));
        };
        let address = end.address().to_owned();
        Ok((end, address, Line::system(port::opener(line, faults, 1, clock))))
    };
    let (mut unit, address, line) = end_of(apart.then_some(Which::Replacement))?;
    let mut own = apart.then(|| end_of(Some(Which::Outgoing))).transpose()?;
    let old_line = own.as_mut().map(|(_, _, line)| std::mem::replace(line, Line::Display));
    let old_port = own.as_ref().map(|(_, address, _)| address.as_str());
    let running = begin(&files.clone().with_ports(&address, old_port), date())
        .line(line)
        .outgoing_line(old_line)
        .clock(Clock::System(clock));
    let mut served = page(&args.page, Some(folder), inputs, clock)?;
    let running = running.observer(live::of_job(args.output, false, inputs));
    let running = match &mut served {
        Some(page) => running.observer(page.shown()).pages(page.from()),
        None => running,
    };
    let own_end = async {
        match &mut own {
            Some((end, ..)) => end.serve().await,
            None => std::future::pending().await,
        }
    };
    let ended =
        |end: Result<(), Failure>| Err(end.err().unwrap_or_else(|| Failure::internal("the simulated unit has ended")));
    events.block_on(async {
        tokio::select! {
            end = running.drive() => end,
            end = unit.serve() => ended(end),
            end = own_end => ended(end),
        }
    })
}
