//! The whole job against the bundled simulator: an invented site, invented units.
use super::invented::Job;
use crate::{
    args::{Demo, Over},
    capture::{self, Captured},
    carrying::{self, Carried, Described, Given},
};
use plumeline_base::Instant;
use plumeline_job::{
    folder::{self, Folder},
    settings,
};
use plumeline_link::{LinkSpec, RealClock, faults::FaultSpec};
use plumeline_procedure::Procedure;
use plumeline_runtime::{
    clock::{DATE_OF_SIMULATIONS, date, event_loop},
    failure::{Exit, Failure},
    finish,
    job_files::{Files, Loaded},
    keep::DiskKeeper,
    live::{Live, Operator, Port},
    operator::{Script, Site},
    port, scenario,
    session::Session,
    show::{self, Show},
    unit_end::UnitEnd,
    virtual_time::VirtualJob,
};
use plumeline_simulator::{Scenario, Simulation};
use std::{cell::RefCell, rc::Rc};

/// `plumeline demo`
pub fn demo(args: &Demo) -> Result<Exit, Failure> {
    let faults = port::faults(args.faults.as_deref())?;
    let job = Job::find(args.small, &args.replacement)?;
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
    let loaded = files.check()?;
    let mut show = show::of_job(args.output.json, false);
    if args.over == Over::Pty {
        return over_pty(&folder, &files, &loaded, site, args.speed, &faults, show.as_mut());
    }
    let told = |e: plumeline_simulator::simulation::ScenarioError| {
        Failure::input(e.to_string(), "choose another defect or place")
    };
    let mut simulation = Simulation::new(site, Instant::START).map_err(told)?;
    let mut script = Script::willing();
    let procedure = Procedure::new(loaded.inputs.clone(), port::driver(&files));
    let mut session = Session::new(procedure, DiskKeeper::create(&folder)?, loaded.inputs.plan.link.readings_hz);
    VirtualJob::new(&mut session, &mut simulation, &mut script, show.as_mut(), faults, args.seed, Instant::START)
        .run(files.opening(DATE_OF_SIMULATIONS.into()))?;
    finish::finished(&folder, &loaded, session, args.output.json, true)
}

/// The settings captured from the outgoing unit at an earlier visit, when it was sound, carried over to the new model by the
/// decisions of invented people.
fn carried(job: &Job, args: &Demo) -> Result<(Vec<u8>, Carried), Failure> {
    let pipework = plumeline_job::pipework::parse(folder::PIPEWORK, job.pipework.as_bytes())?.pipework;
    let mut earlier = scenario::simulation(scenario::site(pipework, args.seed, &[], true)?, Instant::START)?;
    let Captured { unit, settings } = capture::from_simulation(&mut earlier, Instant::START)?;
    let old = settings::to_json(&settings, Some(&unit), true)?;
    let carried = carrying::carry_over(&Given {
        settings: (folder::SETTINGS_OLD, &old),
        from: None,
        to: &Described::find(&args.replacement)?,
        decisions: Some((folder::DECISIONS, job.decisions.as_bytes())),
        pipework: job.pipework.as_bytes(),
        plan: job.plan.as_bytes(),
    })?;
    Ok((old, carried))
}

/// A simulation that the event loop of the unit's end and the operator's script share.
struct Shared(Rc<RefCell<Simulation>>);
impl Site for Shared {
    fn command(&mut self, now: Instant, line: &str) -> Result<String, Failure> {
        Ok(self.0.borrow_mut().handle_control(now, line))
    }
}

/// The demonstration over a real pseudo-terminal: the simulated unit at one end, the job at the other, in scaled time.
fn over_pty(
    folder: &Folder,
    files: &Files,
    loaded: &Loaded,
    site: Scenario,
    speed: f64,
    faults: &FaultSpec,
    show: &mut dyn Show,
) -> Result<Exit, Failure> {
    let simulation = Rc::new(RefCell::new(scenario::simulation(site, Instant::START)?));
    let runtime = event_loop()?;
    let _inside = runtime.enter();
    let clock = RealClock::starting_at(Instant::START, speed);
    let mut unit = UnitEnd::pty(None, simulation.clone(), clock)?;
    let address = unit.address().to_owned();
    let LinkSpec::Line(line) = port::parse(&address)? else {
        return Err(Failure::internal("a pseudo-terminal that is no line"));
    };
    let files = files.clone().with_port(&address);
    let procedure = Procedure::new(loaded.inputs.clone(), port::driver(&files));
    let mut session = Session::new(procedure, DiskKeeper::create(folder)?, loaded.inputs.plan.link.readings_hz);
    let operator = Operator::Script(Script::willing(), Box::new(Shared(simulation)));
    let port = Port::Line(Box::new(port::opener(line, faults, 1, clock)));
    let live = Live::new(&mut session, port, clock, operator, show);
    runtime.block_on(async {
        tokio::select! {
            end = live.run(files.opening(date())) => end,
            end = unit.serve() => end,
        }
    })?;
    finish::finished(folder, loaded, session, false, true)
}
