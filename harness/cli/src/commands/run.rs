//! `plumeline run`: a job through real lines, at a display, or against the bundled simulator.
use crate::{
    args::Run,
    commands::ports,
    live,
    page::{checked, page},
};
use plumeline_base::{Instant, input::Photo};
use plumeline_job::folder::{self, Folder};
use plumeline_link::{LinkSpec, RealClock};
use plumeline_runtime::{
    anew,
    clock::{self, Clock},
    failure::{Exit, Failure},
    finish, interrupt,
    job::{Job, given::Loggers},
    job_files::{Files, Loaded},
    line::Line,
    operator::{self, NoSite, Operator, Photos, RemoteSite, Script, SimulatedLogger, SimulatedSite, Site, keyboard},
    plan_check::{self, Reminding},
    port,
    resume::{self, TakenUp},
    scenario, show, simulated_model,
};
use plumeline_simulator::{Scenario, scenario::Which};

/// What answers where nobody is at the terminal.
const UNATTENDED: &str = "script";

/// `plumeline run`
pub fn run(args: &Run) -> Result<Exit, Failure> {
    checked(&args.page)?;
    let folder = Folder::open(&args.job)?;
    let port = match &args.port {
        Some(port) => port.clone(),
        None => port_of_plan(&folder)?,
    };
    let ports = Ports::read(&port, args)?;
    if args.page.page.is_some() && ports.simulated() {
        let remedy =
            "leave --page out; or `plumeline demo --page`, or `plumeline simulate` and its address as the port";
        return Err(Failure::input("in virtual time nobody could follow on a page", remedy));
    }
    if args.while_stdin && (args.operator.is_some() || ports.simulated()) {
        interrupt::end_with_stdin();
    }
    let _lock = folder.lock()?;
    let script = args.operator.as_deref().map(read_operator).transpose()?;
    let date = match &args.date {
        Some(date) if ports.simulated() => Some(date.clone()),
        Some(_) => {
            return Err(Failure::input(
                "--date goes with --port sim: alone",
                "leave it out: a real job has a real date",
            ));
        }
        None => None,
    };
    if let Some(told) = anew::put_aside(&folder, &Files::read(&folder)?)? {
        show::print_progress(&told);
    }
    let (files, described) =
        if resume::is_begun(&folder)? { (Files::read(&folder)?, None) } else { Files::read_described(&folder)? };
    if let Some(model) = described.filter(|_| !args.output.json) {
        show::print_progress(&format!(
            "{} is the description of {model} that comes with the tool",
            folder::UNIT_REPLACEMENT
        ));
    }
    let files = files.with_port(&port).with_old_port(args.old_port.as_deref());
    let open = plan_checked(&folder, &files, args.output.json)?;
    let disk = || plumeline_trace::Folder::new(folder.dir());
    let TakenUp { session, loaded, opening, at, told, was_over } =
        resume::begin(&folder, disk, &files, || date.clone().unwrap_or_else(clock::date), args.speed)?;
    told.iter().for_each(|words| show::print_progress(words));
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
    let asks = script.is_none() && !ports.simulated();
    let job = Job::going_on(session, opening, at)
        .photos(photos(&folder))
        .loggers(Loggers::of(&loaded.inputs.plan, Some(&folder)));
    let mut served = None;
    let job = if ports.simulated() {
        let site = simulated_site(args, &loaded, at)?;
        let script = script.map_or_else(Script::willing, |(script, _)| script).with_eyes(port::eyes(&files));
        let script = script.with_logger(SimulatedLogger::default());
        let show = show::of_job(args.output.json, asks);
        job.observer(Reminding { show, open })
            .line(ports.simulated_line(&site, args)?)
            .outgoing_line(ports.old.as_ref().map(|_| ports.simulated_old_line(&site, args)).transpose()?)
            .operator(Operator::script(UNATTENDED, script, site))
    } else {
        let real = RealClock::starting_at(at, args.speed);
        let operator = match script {
            Some((script, site)) => Operator::script(UNATTENDED, script.with_eyes(port::eyes(&files)), site),
            None => Operator::person("terminal", keyboard::listen(real), keyboard::Readable::here()),
        };
        served = page(&args.page, Some(&folder), &loaded.inputs, real)?;
        // The links are told before a part of the terminal is taken.
        let show = live::of_job(args.output, asks, &loaded.inputs);
        let job = job.observer(Reminding { show, open });
        let job = match &mut served {
            Some(page) => job.observer(page.shown()).pages(page.from()),
            None => job,
        };
        job.line(line(&ports.main, args, real)?)
            .outgoing_line(ports.old.as_ref().map(|old| line(old, args, real)).transpose()?)
            .operator(operator)
            .clock(Clock::System(real))
    };
    let ended = job.run();
    drop(served);
    finish::finished(&folder, &loaded, ended?, args.output.json, false)
}

/// The port that the job's own plan names.
fn port_of_plan(folder: &Folder) -> Result<String, Failure> {
    let port = Files::read(folder)?.plan()?.port;
    port.ok_or_else(|| {
        Failure::input("no port is given, and the plan names none", "say --port; `plumeline ports` lists what there is")
    })
}

/// The ports of a job: one for both units in turn, or one for each.
struct Ports {
    main: LinkSpec,
    old: Option<LinkSpec>,
}
impl Ports {
    fn read(port: &str, args: &Run) -> Result<Self, Failure> {
        let (main, old) = (port::parse(port)?, args.old_port.as_deref().map(port::parse).transpose()?);
        let this = Self { main, old };
        if this.old.as_ref().is_some_and(|old| matches!(old, LinkSpec::Sim(_)) != this.simulated()) {
            return Err(Failure::input(
                "one unit is in the bundled simulator and the other is not",
                "give sim: for both, or start `plumeline simulate` and give its addresses",
            ));
        }
        Ok(this)
    }
    fn simulated(&self) -> bool {
        matches!(self.main, LinkSpec::Sim(_))
    }
    fn simulated_line(&self, site: &SimulatedSite, args: &Run) -> Result<Line, Failure> {
        let unit = self.old.as_ref().map(|_| Which::Replacement);
        Ok(Line::simulated(site, unit, port::faults(args.faults.as_deref())?, args.seed.unwrap_or(1)))
    }
    fn simulated_old_line(&self, site: &SimulatedSite, args: &Run) -> Result<Line, Failure> {
        let faults = port::faults(args.faults.as_deref())?;
        Ok(Line::simulated(site, Some(Which::Outgoing), faults, args.seed.unwrap_or(1).wrapping_add(1)))
    }
}

/// A way to a unit outside this process.
fn line(spec: &LinkSpec, args: &Run, clock: RealClock) -> Result<Line, Failure> {
    Ok(match spec {
        LinkSpec::Line(line) => {
            let faults = port::faults(args.faults.as_deref())?;
            let opener = port::opener(line.clone(), &faults, args.seed.unwrap_or(1), clock);
            Line::system(opener.in_root(ports::root(args.root.as_deref())))
        }
        LinkSpec::Display | LinkSpec::Sim(_) => Line::Display,
    })
}

fn simulated_site(args: &Run, loaded: &Loaded, at: Instant) -> Result<SimulatedSite, Failure> {
    let mut site = match &args.scenario {
        Some(path) => scenario::read(path)?,
        None => Scenario::new(loaded.inputs.pipework.clone(), 1),
    };
    if let Some(described) = loaded.inputs.replacement.as_ref().filter(|_| args.scenario.is_none()) {
        site.replacement = simulated_model::of(described)?.into();
    }
    if let (Some(_), Some(settings)) = (loaded.inputs.plan.visit, &loaded.inputs.to_load) {
        scenario::visited(&mut site, settings);
    }
    site.seed = args.seed.unwrap_or(site.seed);
    site.defects.extend(scenario::defects(&args.defect)?);
    Ok(SimulatedSite::new(scenario::simulation(site, at)?))
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
            show::print_trouble(&text)
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
