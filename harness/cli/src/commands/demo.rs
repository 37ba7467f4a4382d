//! The whole job against the bundled simulator: an invented site, invented units.
use crate::{
    args::{Demo, Over},
    failure::{Exit, Failure},
    finish,
    keep::DiskKeeper,
    load::{DRAWS, Files},
    operator::Script,
    scenario,
    session::Session,
    show,
    virtual_time::VirtualJob,
};
use plumeline_base::Instant;
use plumeline_job::folder::{self, Folder};
use plumeline_link::faults::FaultSpec;
use plumeline_procedure::Procedure;
use plumeline_simulator::Simulation;

/// The files of an invented job.
pub struct Invented {
    /// `pipework.toml`.
    pub pipework: &'static str,
    /// `plan.toml`.
    pub plan: &'static str,
    /// `settings-new.json`.
    pub settings: &'static str,
}
/// The site of the demonstration.
pub const WHOLE: Invented = Invented {
    pipework: include_str!("../../demo/pipework.toml"),
    plan: include_str!("../../demo/plan.toml"),
    settings: include_str!("../../demo/settings-new.json"),
};
const SMALL: Invented = Invented {
    pipework: include_str!("../../demo/small/pipework.toml"),
    plan: include_str!("../../demo/small/plan.toml"),
    settings: include_str!("../../demo/small/settings-new.json"),
};
/// The date of every demonstration, so that two runs with one seed are the same byte for byte.
pub const DATE: &str = "2026-01-01T08:00:00Z";

/// `plumeline demo`
pub fn demo(args: &Demo) -> Result<Exit, Failure> {
    let faults = faults(args.faults.as_deref())?;
    let invented = if args.small { &SMALL } else { &WHOLE };
    let files = [
        (folder::PIPEWORK, invented.pipework.as_bytes()),
        (folder::PLAN, invented.plan.as_bytes()),
        (folder::SETTINGS_NEW, invented.settings.as_bytes()),
    ];
    // The defects are understood before anything is written.
    let pipework = plumeline_job::pipework::parse(folder::PIPEWORK, invented.pipework.as_bytes())?.pipework;
    let site = scenario::site(pipework, args.seed, &args.defect, !args.dead)?;
    let folder = Folder::create(&args.out, &files, args.force)?;
    let _lock = folder.lock()?;
    let files = Files::read(&folder)?.with_port("sim:");
    let loaded = files.check(DRAWS)?;
    let mut show = show::of_job(args.output.json, false);
    if args.over == Over::Pty {
        return super::run::over_pty(&folder, &files, &loaded, site, args.speed, &faults, show.as_mut());
    }
    let told = |e: plumeline_simulator::simulation::ScenarioError| {
        Failure::input(e.to_string(), "choose another defect or place")
    };
    let mut simulation = Simulation::new(site, Instant::START).map_err(told)?;
    let mut script = Script::willing();
    let procedure = Procedure::new(loaded.inputs.clone(), crate::port::driver(&files));
    let mut session = Session::new(procedure, DiskKeeper::create(&folder)?, loaded.inputs.plan.readings_hz);
    VirtualJob::new(&mut session, &mut simulation, &mut script, show.as_mut(), faults, args.seed, Instant::START)
        .run(files.opening(DATE.into()))?;
    finish::finished(&folder, &loaded, session, &args.output, true)
}

/// Reads the faults of the line.
pub fn faults(text: Option<&str>) -> Result<FaultSpec, Failure> {
    FaultSpec::parse(text.unwrap_or_default()).map_err(|e| Failure::input(e.to_string(), e.remedy()))
}
