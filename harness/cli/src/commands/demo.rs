//! The whole job against the bundled simulator: an invented site, invented units.
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
use plumeline_runtime::{
    clock::{Clock, DATE_OF_SIMULATIONS, date, event_loop},
    failure::{Exit, Failure},
    finish,
    job::Job,
    job_files::{DRAWS, Files},
    keep::DiskKeeper,
    line::Line,
    operator::{Operator, Script, SimulatedSite},
    port, scenario,
    session::Session,
    show,
    unit_end::UnitEnd,
};
use plumeline_simulator::Simulation;

/// The files of an invented job.
pub struct Invented {
    /// `pipework.toml`.
    pub pipework: &'static str,
    /// `plan.toml`.
    pub plan: &'static str,
    /// `decisions.toml`.
    pub decisions: &'static str,
    /// What the settings come to by these decisions: `settings-new.json`.
    pub settings: &'static str,
}
/// The site of the demonstration.
pub const WHOLE: Invented = Invented {
    pipework: include_str!("../../demo/pipework.toml"),
    plan: include_str!("../../demo/plan.toml"),
    decisions: include_str!("../../demo/decisions.toml"),
    settings: include_str!("../../demo/settings-new.json"),
};
const SMALL: Invented = Invented {
    pipework: include_str!("../../demo/small/pipework.toml"),
    plan: include_str!("../../demo/small/plan.toml"),
    decisions: include_str!("../../demo/small/decisions.toml"),
    settings: include_str!("../../demo/small/settings-new.json"),
};
/// The description of the simulated replacement.
const REPLACEMENT: &str = "model-b";
/// `plumeline demo`
pub fn demo(args: &Demo) -> Result<Exit, Failure> {
    let faults = port::faults(args.faults.as_deref())?;
    let invented = if args.small { &SMALL } else { &WHOLE };
    // The defects are understood before anything is written.
    let pipework = plumeline_job::pipework::parse(folder::PIPEWORK, invented.pipework.as_bytes())?.pipework;
    let site = scenario::site(pipework, args.seed, &args.defect, !args.dead)?;
    let (old, carried) = carried(invented, args.seed)?;
    let files = [
        (folder::PIPEWORK, invented.pipework.as_bytes()),
        (folder::PLAN, invented.plan.as_bytes()),
        (folder::DECISIONS, invented.decisions.as_bytes()),
        (folder::SETTINGS_OLD, old.as_slice()),
    ];
    let folder = Folder::create(&args.out, &files, args.force)?;
    let _lock = folder.lock()?;
    carrying::keep(&folder, &carried, true)?;
    let files = Files::read(&folder)?.with_port("sim:");
    let loaded = files.check(DRAWS)?;
    let told = |e: plumeline_simulator::simulation::ScenarioError| {
        Failure::input(e.to_string(), "choose another defect or place")
    };
    let site = SimulatedSite::new(Simulation::new(site, Instant::START).map_err(told)?);
    let keeper = DiskKeeper::create(&folder)?;
    let operator = Operator::script("script", Script::willing(), site.clone());
    let begin = |files: &Files, date: String| {
        Job::begin(files, loaded.inputs.clone(), keeper, date)
            .operator(operator)
            .observer(show::of_job(args.output.json, false))
    };
    let session = match args.over {
        Over::Pty => over_pty(&files, &site, args.speed, &faults, begin)?,
        Over::Process => {
            let line = Line::simulated(&site, None, faults, args.seed);
            begin(&files, DATE_OF_SIMULATIONS.into()).line(line).run()?
        }
    };
    finish::finished(&folder, &loaded, session, args.output.json, true)
}

/// The settings captured from the outgoing unit at an earlier visit, when it was sound, carried over to the new model by the
/// decisions of invented people.
fn carried(invented: &Invented, seed: u64) -> Result<(Vec<u8>, Carried), Failure> {
    let pipework = plumeline_job::pipework::parse(folder::PIPEWORK, invented.pipework.as_bytes())?.pipework;
    let mut earlier = scenario::simulation(scenario::site(pipework, seed, &[], true)?, Instant::START)?;
    let Captured { unit, settings } = capture::from_simulation(&mut earlier, Instant::START)?;
    let old = settings::to_json(&settings, Some(&unit), true)?;
    let carried = carrying::carry_over(&Given {
        settings: (folder::SETTINGS_OLD, &old),
        from: None,
        to: &Described::find(REPLACEMENT)?,
        decisions: Some((folder::DECISIONS, invented.decisions.as_bytes())),
        pipework: invented.pipework.as_bytes(),
        plan: invented.plan.as_bytes(),
    })?;
    Ok((old, carried))
}

/// The demonstration over a real pseudo-terminal: the simulated unit at one end, the job at the other, in scaled time.
fn over_pty<'a>(
    files: &Files,
    site: &SimulatedSite,
    speed: f64,
    faults: &FaultSpec,
    begin: impl FnOnce(&Files, String) -> Job<'a, DiskKeeper>,
) -> Result<Session<DiskKeeper>, Failure> {
    let events = event_loop()?;
    let _inside = events.enter();
    let clock = RealClock::starting_at(Instant::START, speed);
    let mut unit = UnitEnd::pty(None, site.clone(), clock)?;
    let address = unit.address().to_owned();
    let LinkSpec::Line(line) = port::parse(&address)? else {
        return Err(Failure::internal("a pseudo-terminal that is no line"));
    };
    let job = begin(&files.clone().with_port(&address), date())
        .line(Line::system(port::opener(line, faults, 1, clock)))
        .clock(Clock::System(clock));
    events.block_on(async {
        tokio::select! {
            end = job.drive() => end,
            end = unit.serve() => Err(end.err().unwrap_or_else(|| Failure::internal("the simulated unit has ended"))),
        }
    })
}
