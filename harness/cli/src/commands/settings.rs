//! `plumeline capture`, `show`, `diff`: settings of a unit read whole, listed, and compared by what they mean.
use crate::{
    args::{Capture, Diff, Show},
    capture::{self, Captured},
    carrying::Described,
    unit_log,
};
use plumeline_base::Instant;
use plumeline_carry::{Side, compare, listing};
use plumeline_job::{
    Problem, TEXT_LIMIT, disk,
    folder::{self, Folder},
    input_file,
    settings::{self, Document},
};
use plumeline_link::LinkSpec;
use plumeline_runtime::{
    clock,
    failure::{Exit, Failure},
    port, scenario,
    show::{print_progress, width},
};
use std::path::Path;

/// `plumeline capture`
pub fn capture(args: &Capture) -> Result<Exit, Failure> {
    if args.out.exists() && !args.force {
        let there = std::io::ErrorKind::AlreadyExists.into();
        return Err(Problem::from_io(&args.out, "write the settings", &there).into());
    }
    if args.event_log {
        return event_log(args);
    }
    let bytes = if Path::new(&args.port).is_dir() {
        // What a job captured, as it stands there.
        Folder::open(Path::new(&args.port))?.read(folder::SETTINGS_AS_FOUND)?.bytes
    } else {
        let Captured { unit, settings } = from_port(args)?;
        settings::to_json(&settings, Some(&unit), true)?
    };
    let document = settings::parse(&args.out.display().to_string(), &bytes)?;
    disk::replace(&disk::OsDisk, &args.out, &bytes)
        .map_err(|e| Problem::from_io(&args.out, "write the settings", &e))?;
    print_progress(&headline(&document));
    print_progress(&format!("written: {}", args.out.display()));
    Ok(Exit::Pass)
}

/// A unit's own event log.
fn event_log(args: &Capture) -> Result<Exit, Failure> {
    let LinkSpec::Line(line) = port::parse(&args.port)? else {
        let remedy = "name a serial port or tcp:HOST:PORT; a job folder holds its own in journal.jsonl";
        return Err(Failure::input("an event log is read over a line", remedy));
    };
    let saved = clock::event_loop()?.block_on(unit_log::read_off(line))?;
    unit_log::write(&args.out, &saved)?;
    print_progress(&format!("event log of unit {}: {} lines", saved.unit.serial, saved.events.len()));
    print_progress(&format!("written: {}", args.out.display()));
    Ok(Exit::Pass)
}

fn from_port(args: &Capture) -> Result<Captured, Failure> {
    match port::parse(&args.port)? {
        LinkSpec::Line(spec) => clock::event_loop()?.block_on(capture::over_line(spec)),
        LinkSpec::Sim(_) => {
            let Some(path) = &args.scenario else {
                return Err(Failure::input("sim: needs a scenario here", "add --scenario FILE (docs/file-formats.md)"));
            };
            let mut simulation = scenario::simulation(scenario::read(path)?, Instant::START)?;
            capture::from_simulation(&mut simulation, Instant::START)
        }
        LinkSpec::Display => Err(Failure::input(
            "a display does not tell its settings whole",
            "type what it shows into a settings document with `complete` left out (docs/file-formats.md)",
        )),
    }
}

/// Whose settings, how many, whether whole.
fn headline(d: &Document) -> String {
    let whose = d.unit.as_ref().map_or_else(
        || "settings of no unit yet".to_owned(),
        |u| format!("{} {}, serial {}, firmware {}", u.maker, u.model, u.serial, u.firmware),
    );
    let whole = if d.complete { "whole" } else { "NOT whole" };
    format!("{whose}: {} items, {whole}, SHA-256 {}", d.settings.items.len(), d.digest)
}

fn read(path: &Path) -> Result<(String, Document), Failure> {
    let bytes = input_file::read(path, "read the settings", TEXT_LIMIT as u64)?;
    let name = path.display().to_string();
    let document = settings::parse(&name, &bytes)?;
    Ok((name, document))
}

/// `plumeline show`
pub fn show(args: &Show) -> Result<Exit, Failure> {
    let (name, document) = read(&args.file)?;
    let described = Described::of_document(&name, &document, args.description.as_deref())?;
    let lines = listing(&Side { settings: &document.settings, description: &described.description });
    if args.json {
        print_progress(
            &serde_json::json!({ "sha256": document.digest, "complete": document.complete, "items": lines })
                .to_string(),
        );
    } else {
        print_progress(plumeline_report::listing_text(&headline(&document), &lines, width()).trim_end());
    }
    Ok(Exit::Pass)
}

/// `plumeline diff`
pub fn diff(args: &Diff) -> Result<Exit, Failure> {
    let (a, b) = (read(&args.a)?, read(&args.b)?);
    let of = |(name, d): &(String, Document), given: &Option<String>| Described::of_document(name, d, given.as_deref());
    let (of_a, of_b) = (of(&a, &args.a_is)?, of(&b, &args.b_is)?);
    let lines = compare(
        &Side { settings: &a.1.settings, description: &of_a.description },
        &Side { settings: &b.1.settings, description: &of_b.description },
    );
    if args.json {
        print_progress(&serde_json::json!({ "a": a.1.digest, "b": b.1.digest, "items": lines }).to_string());
    } else {
        let text = plumeline_report::comparison_text(&headline(&a.1), &headline(&b.1), &lines, args.all, width());
        print_progress(text.trim_end());
    }
    Ok(if lines.iter().all(|l| l.same) { Exit::Pass } else { Exit::Fail })
}
