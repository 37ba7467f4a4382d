//! Records a long job for benchmarks of replay: the demonstration's site with its four pipes, readings at 10 Hz, and hands so
//! slow that it takes about eight hours. `cargo run --release -p plumeline --example long_trace -- FOLDER [seconds a prompt]`
use plumeline::{carrying, commands::invented};
use plumeline_base::Instant;
use plumeline_job::folder::{self, Folder};
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    failure::Failure,
    job::Job,
    job_files::Files,
    keep::DiskKeeper,
    line::Line,
    operator::{Operator, Script, SimulatedSite},
    scenario,
};
use std::{path::Path, process::ExitCode};

/// Seconds from a prompt to its answer that make the job about eight hours long.
const PAUSE_S: &str = "220";

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let Some(out) = args.next() else {
        eprintln!("usage: long_trace FOLDER [seconds a prompt]");
        return ExitCode::from(3);
    };
    match record(Path::new(&out), &args.next().unwrap_or_else(|| PAUSE_S.into())) {
        Ok(end) => {
            println!("{out}: a job of {:.2} h", end.as_secs_f64() / 3600.0);
            ExitCode::SUCCESS
        }
        Err(failure) => {
            eprintln!("{}", failure.render(false));
            ExitCode::FAILURE
        }
    }
}

fn record(out: &Path, pause_s: &str) -> Result<Instant, Failure> {
    let mut plan = String::new();
    for line in invented::WHOLE.plan.lines() {
        plan += match line.split('=').next().map(str::trim) {
            Some("readings") => "readings = \"10 Hz\"",
            Some("deadline") => "deadline = \"12 h\"",
            _ => line,
        };
        plan.push('\n');
    }
    let described = carrying::Described::find("model-b")?;
    let files = [
        (folder::PIPEWORK, invented::WHOLE.pipework.as_bytes()),
        (folder::PLAN, plan.as_bytes()),
        (folder::SETTINGS_NEW, invented::WHOLE.settings.as_bytes()),
        (folder::UNIT_REPLACEMENT, described.bytes.as_slice()),
    ];
    let pipework = plumeline_job::pipework::parse(folder::PIPEWORK, files[0].1)?.pipework;
    let folder = Folder::create(out, &files, true)?;
    let files = Files::read(&folder)?.with_port("sim:");
    let loaded = files.check()?;
    let site = scenario::site(pipework, 1, &[], true)?;
    let simulation = scenario::simulation(site, Instant::START)?;
    let site = SimulatedSite::new(simulation);
    let script = Script::of(Script::read("operator.toml", format!("format = 1\npause_s = {pause_s}\n").as_bytes())?);
    let session = Job::begin(&files, loaded.inputs, DiskKeeper::create(&folder)?, DATE_OF_SIMULATIONS)
        .line(Line::simulated(&site, None, Default::default(), 1))
        .operator(Operator::script("script", script, site))
        .run()?;
    Ok(session.record().until)
}
