//! Jobs over a real line, and over a pseudo-terminal with the simulator behind it.
use crate::{args::Run, commands::ports};
use plumeline_base::{Instant, input::Photo};
use plumeline_job::folder::{self, Folder};
use plumeline_link::{LinkSpec, RealClock};
use plumeline_procedure::Procedure;
use plumeline_runtime::{
    clock,
    failure::{Exit, Failure},
    finish,
    job_files::Files,
    keep::DiskKeeper,
    live::{Live, Operator, Port},
    operator::{self, NoSite, Photos, RemoteSite, Script, Site},
    plan_check::{self, Reminding},
    port, resume, scenario,
    session::Session,
    show, terminal,
    virtual_time::VirtualJob,
};
use plumeline_simulator::Scenario;

/// `plumeline run`
pub fn run(args: &Run) -> Result<Exit, Failure> {
    let spec = port::parse(&args.port)?;
    let faults = port::faults(args.faults.as_deref())?;
    let folder = Folder::open(&args.job)?;
    let _lock = folder.lock()?;
    let script = args.operator.as_deref().map(read_operator).transpose()?;
    let simulated = matches!(spec, LinkSpec::Sim(_));
    let mut shown = show::of_job(args.output.json, script.is_none() && !simulated);
    let files = Files::read(&folder)?.with_port(&args.port);
    let date = match &args.date {
        Some(date) if simulated => date.clone(),
        Some(_) => {
            return Err(Failure::input(
                "--date goes with --port sim: alone",
                "leave it out: a real job has a real date",
            ));
        }
        None => clock::date(),
    };
    let open = plan_checked(&folder, &files, args.output.json)?;
    let resume::TakenUp { mut session, loaded, opening, at, told, was_over } =
        begin(&folder, &files, &date, args.speed)?;
    for words in told {
        show::print_progress(&words);
    }
    if session.outcome().is_some() {
        // Over: what is written when a job is over may still be missing if the program was ended just then.
        if was_over && folder.exists(folder::RESULT)? && folder.exists(folder::REPORT)? {
            return Err(Failure::input(
                format!("{}: this job is over", folder.dir().display()),
                "make a new job with `plumeline new`, or look at this one with `plumeline report`",
            ));
        }
        return finish::finished(&folder, &loaded, session, args.output.json, false);
    }
    let seed = args.seed.unwrap_or(1);
    let mut show = Reminding { show: shown.as_mut(), open: &open };
    match spec {
        LinkSpec::Sim(_) => {
            let mut site = match &args.scenario {
                Some(path) => scenario::read(path)?,
                None => Scenario::new(loaded.inputs.pipework.clone(), 1),
            };
            site.seed = args.seed.unwrap_or(site.seed);
            site.defects.extend(scenario::defects(&args.defect)?);
            let mut simulation = scenario::simulation(site, at)?;
            let mut script = script.map_or_else(Script::willing, |(s, _)| s).with_photos(photos(&folder));
            VirtualJob::new(&mut session, &mut simulation, &mut script, &mut show, faults, seed, at).run(opening)?;
        }
        LinkSpec::Line(_) | LinkSpec::Display => {
            let runtime = clock::event_loop()?;
            let _inside = runtime.enter();
            let real = RealClock::starting_at(at, args.speed);
            let port = match spec {
                LinkSpec::Line(line) => Port::Line(Box::new(
                    port::opener(line, &faults, seed, real).in_root(ports::root(args.root.as_deref())),
                )),
                _ => Port::Display,
            };
            let operator = match script {
                Some((script, site)) => Operator::Script(script.with_photos(photos(&folder)), site),
                None => Operator::Person(terminal::listen(real), terminal::Open::default()),
            };
            let live = Live::new(&mut session, port, real, operator, &mut show).with_photos(photos(&folder));
            runtime.block_on(live.run(opening))?;
        }
    }
    finish::finished(&folder, &loaded, session, args.output.json, false)
}

/// What is wrong or open in a job that is yet to begin, told and given back to be told again before the site goes out of
/// service. What can't be so ends it here.
fn plan_checked(folder: &Folder, files: &Files, json: bool) -> Result<String, Failure> {
    if resume::is_begun(folder)? {
        return Ok(String::new());
    }
    let found = plan_check::check(files);
    let text = found.text();
    if found.loaded.is_ok() && !text.is_empty() {
        // Standard output is for what programs read.
        if json {
            eprintln!("{text}")
        } else {
            show::print_progress(&text)
        }
        found.allows_to_begin()?;
    }
    Ok(if json { String::new() } else { text })
}

/// Takes photos into the job's folder.
fn photos(folder: &Folder) -> Photos {
    let dir = folder.dir().to_owned();
    Box::new(move |from| {
        let photo = plumeline_job::photos::take_in(&Folder::open(&dir)?, from)?;
        Ok(Photo { name: photo.name, length: photo.length, sha256: photo.digest.to_string() })
    })
}

fn read_operator(path: &std::path::Path) -> Result<(Script, Box<dyn Site>), Failure> {
    let file = operator::read(path)?;
    let site: Box<dyn Site> = match &file.control {
        Some(address) => Box::new(RemoteSite::connect(address)?),
        None => Box::new(NoSite),
    };
    Ok((Script::of(file), site))
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
    let loaded = files.check()?;
    let procedure = Procedure::new(loaded.inputs.clone(), port::driver(files));
    let session = Session::new(procedure, DiskKeeper::create(folder)?, loaded.inputs.plan.link.readings_hz);
    let opening = files.opening(date.into());
    Ok(resume::TakenUp { session, loaded, opening, at: Instant::START, told: Vec::new(), was_over: false })
}
