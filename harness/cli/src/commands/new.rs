//! `plumeline new`: the files of a new job, from what is asked or given, or from those of another job.
//!
//! Not here: what the files look like (the job crate).
use super::{check, compare};
use crate::{args::New, beside, carrying::Described};
use plumeline_job::{
    Problem, TEXT_LIMIT,
    begin::Begin,
    description::SHIPPED,
    folder::{self, Folder},
    history::{self, History, Past},
    input_file, pipework, seal, settings, visit,
};
use plumeline_report::standing;
use plumeline_runtime::{
    failure::{Exit, Failure},
    job_files::Files,
    plan_check, port,
    show::print_progress,
};
use std::{
    io::{IsTerminal, Write, stdin, stdout},
    path::Path,
};

/// What is taken over from another job: what a person wrote or decided. Never what a job found.
const TAKEN_OVER: [&str; 10] = [
    folder::PIPEWORK,
    folder::PLAN,
    folder::UNIT_OUTGOING,
    folder::UNIT_REPLACEMENT,
    folder::SETTINGS_OLD,
    folder::DECISIONS,
    folder::ACCOUNT,
    folder::ACCOUNT_TEXT,
    folder::WIRING,
    folder::SETTINGS_NEW,
];

/// `plumeline new`
pub fn new(args: &New) -> Result<Exit, Failure> {
    if args.force {
        refuse_begun(&args.job)?;
    }
    let files = match &args.from {
        Some(from) if args.visit => visit_after(from, &args.job)?,
        Some(from) => taken_over(from)?,
        None => asked_for(args)?,
    };
    let given: Vec<(&str, &[u8])> = files.iter().map(|(name, bytes)| (*name, bytes.as_slice())).collect();
    let folder = Folder::create(&args.job, &given, args.force)?;
    let job = folder.dir().display();
    print_progress(&format!("a new job is in {job}"));
    let open = plan_check::check(&Files::read(&folder)?);
    if !open.remarks.is_empty() {
        print_progress(&format!(
            "this is still open in it; `plumeline plan-check {job}` says so again:\n{}",
            open.text()
        ));
    }
    print_progress(&format!("next: plumeline predict {}", folder.dir().join(folder::PIPEWORK).display()));
    Ok(Exit::Pass)
}

/// The files of another job that are no evidence.
fn taken_over(from: &Path) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let from = Folder::open(from)?;
    let mut files = Vec::new();
    for name in TAKEN_OVER {
        if from.exists(name)? {
            files.push((name, from.read(name)?.bytes));
        }
    }
    let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
    print_progress(&format!("taken over from {}: {}; no evidence", from.dir().display(), names.join(", ")));
    Ok(files)
}

/// The files of a service visit to the unit that another job left: what it left is what it should still hold, and what the jobs before
/// it measured is the history.
fn visit_after(from: &Path, to: &Path) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let old = Folder::open(from)?;
    let record = compare::open(from, 1, true)?;
    let unit = record.outcome.replacement.as_ref().filter(|unit| !unit.serial.is_empty()).ok_or_else(|| {
        let remedy = "name a job that came so far that its unit said who it is";
        Failure::input(format!("{}: its record names no unit that a visit could be made to", from.display()), remedy)
    })?;
    let left = record.left.as_ref().ok_or_else(|| {
        let remedy = "name a job whose settings were read back";
        Failure::input(format!("{}: it does not hold what its unit was left with", from.display()), remedy)
    })?;
    let mut files: Vec<(&'static str, Vec<u8>)> = Vec::new();
    for name in [folder::PIPEWORK, folder::UNIT_REPLACEMENT] {
        if old.exists(name)? {
            files.push((name, old.read(name)?.bytes));
        }
    }
    let read = Files::read(&old)?;
    let wires = read.check()?.inputs.plan.outputs.wires;
    let text = String::from_utf8(old.read(folder::PLAN)?.bytes)
        .map_err(|e| Failure::input(e.to_string(), "write the plan in UTF-8"))?;
    files.push((folder::PLAN, visit::plan(&text, Some(&unit.serial), &wires)?.into_bytes()));
    files.push((folder::SETTINGS_NEW, settings::to_json(left, None, true)?));
    let history = past_jobs(&old, &unit.serial, to)?;
    print_progress(&format!("unit {}: {} earlier jobs at it in {}", unit.serial, history.jobs.len(), folder::HISTORY));
    files.push((folder::HISTORY, history.to_json()?));
    Ok(files)
}

/// This job and those beside it at the same unit, as far as their records hold.
fn past_jobs(last: &Folder, serial: &str, to: &Path) -> Result<History, Failure> {
    let beside = beside::jobs(last, &[serial]).into_iter().map(|(dir, ..)| dir);
    let mut jobs = Vec::new();
    for dir in [last.dir().to_owned()].into_iter().chain(beside.filter(|dir| dir != to)) {
        match past(&dir, serial) {
            Ok(Some(past)) => jobs.push(past),
            Ok(None) => {}
            Err(why) => print_progress(&format!("{}: left out of the history: {why}", dir.display())),
        }
    }
    Ok(History::new(serial.to_owned(), jobs))
}

/// What a job measured with this unit; nothing where it was the one that was taken off.
fn past(dir: &Path, serial: &str) -> Result<Option<Past>, Failure> {
    let examined = check::examine(&Folder::open(dir)?)?;
    if let Some(problem) = examined.problems.into_iter().next() {
        return Err(problem);
    }
    let Some(replayed) = examined.replayed else {
        return Err(Failure::input("it is of another version", "compare it by hand"));
    };
    let session = replayed.session;
    let Some(outcome) = session.outcome() else { return Ok(None) };
    if outcome.replacement.as_ref().is_none_or(|unit| unit.serial != serial) {
        return Ok(None);
    }
    Ok(Some(Past {
        job: dir.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        date: session.record().dates.first().map(|(_, date)| date.clone()),
        head: examined.checked.head,
        verdict: standing::shown_verdict(outcome),
        simulated: outcome.origin.simulated_link || outcome.origin.simulated_unit,
        measured: history::measured(outcome),
    }))
}

/// The templates with what is known, by flags or (at a terminal) by questions.
fn asked_for(args: &New) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let ask = Ask { on: stdin().is_terminal() && stdout().is_terminal() };
    let site = ask.or(&args.site, "Site and zone, as the record is to name them")?;
    let technician = ask.or(&args.technician, "Who does the work")?;
    let names: Vec<&str> = SHIPPED.iter().map(|(name, _)| *name).collect();
    let models = format!("{}, or the path of a description", names.join(", "));
    let replacement = ask.or(&args.replacement, &format!("Model of the new unit ({models})"))?;
    let stays = args.visit.then(|| "dead".to_owned());
    let outgoing = ask.or(
        if args.visit { &stays } else { &args.outgoing },
        &format!("Model of the old unit ({models}; \"dead\" if it can't be asked)"),
    )?;
    let inlets = ask.or(&args.inlets, "Inlets that carry a pipe (such as 1,2)")?;
    let port = ask.or(&args.port, "Port of the unit (`plumeline ports` lists them)")?;
    let outgoing_dead = outgoing.as_deref() == Some("dead");
    let find = |model: Option<String>| model.as_deref().map(Described::find).transpose();
    let (outgoing, replacement) = (find(outgoing.filter(|_| !outgoing_dead))?, find(replacement)?);
    if let Some(port) = &port {
        port::parse(port)?;
    }
    let begin = Begin {
        site,
        technician,
        outgoing: outgoing.as_ref().map(|d| d.description.clone()),
        outgoing_dead,
        replacement: replacement.as_ref().map(|d| d.description.clone()),
        inlets: inlets.as_deref().map_or(Ok(Vec::new()), numbers)?,
        port,
    };
    let sheet = match (&args.from_csv, &args.from_inp) {
        (Some(path), _) => {
            let bytes = input_file::read(path, "read the sheet", TEXT_LIMIT as u64)?;
            pipework::import_csv(&path.display().to_string(), &bytes)?
        }
        (None, Some(path)) => {
            let bytes = input_file::read(path, "read the network", TEXT_LIMIT as u64)?;
            pipework::import_inp(&path.display().to_string(), &bytes)?
        }
        (None, None) => begin.pipework(),
    };
    let plan = if args.visit { visit::plan(&begin.plan(), None, &[])? } else { begin.plan() };
    let mut files = vec![(folder::PIPEWORK, sheet.into_bytes()), (folder::PLAN, plan.into_bytes())];
    files.extend(outgoing.map(|d| (folder::UNIT_OUTGOING, d.bytes)));
    files.extend(replacement.map(|d| (folder::UNIT_REPLACEMENT, d.bytes)));
    Ok(files)
}

/// Numbers of inlets.
fn numbers(text: &str) -> Result<Vec<u8>, Failure> {
    let wrong = || Failure::input(format!("`{text}` are no inlets"), "write their numbers, 1 to 8, such as 1,2");
    let parts = text.split(|c: char| c == ',' || c.is_whitespace()).filter(|p| !p.is_empty());
    let mut inlets = parts.map(|p| p.parse::<u8>().map_err(|_| wrong())).collect::<Result<Vec<u8>, _>>()?;
    inlets.sort_unstable();
    inlets.dedup();
    let sound = inlets.iter().all(|n| (1..=pipework::MAX_INLETS).contains(&usize::from(*n)));
    if sound && !inlets.is_empty() { Ok(inlets) } else { Err(wrong()) }
}

/// Asks for what no flag says, where somebody is at the terminal.
struct Ask {
    on: bool,
}
impl Ask {
    /// What the flag says, else what is typed; nothing typed stays open.
    fn or(&self, flag: &Option<String>, question: &str) -> Result<Option<String>, Failure> {
        if flag.is_some() || !self.on {
            return Ok(flag.clone());
        }
        print!("{question} (Enter: not known yet): ");
        let told = |e| Problem::from_io(Path::new("the terminal"), "read the answer", &e);
        stdout().flush().map_err(told)?;
        let mut line = String::new();
        stdin().read_line(&mut line).map_err(told)?;
        Ok(Some(line.trim().to_owned()).filter(|line| !line.is_empty()))
    }
}

/// A record is evidence: no new job is written over one that has a log, a journal or a seal.
fn refuse_begun(job: &Path) -> Result<(), Failure> {
    let told = |e| Problem::from_io(job, "look into the folder", &e);
    for entry in std::fs::read_dir(job).into_iter().flatten() {
        let name = entry.map_err(told)?.file_name().to_string_lossy().into_owned();
        if [folder::TRACE, folder::JOURNAL].contains(&name.as_str()) || seal::number_of(&name).is_some() {
            return Err(Failure::input(
                format!("{}: there is a job that has begun ({name})", job.display()),
                "choose another folder; a record that is to go is taken away by hand",
            ));
        }
    }
    Ok(())
}
