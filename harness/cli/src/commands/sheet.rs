//! `plumeline settings sheet`: the settings of a model on a sheet, and a sheet that was filled in as a settings document.
use crate::{args::Sheet, carrying::Described, output};
use plumeline_job::{Problem, TEXT_LIMIT, input_file, settings, sheet as of};
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::print_progress,
};
use std::path::{Path, PathBuf};

/// `plumeline settings sheet`
pub fn sheet(args: &Sheet) -> Result<Exit, Failure> {
    let model = Described::find(&args.description)?.description;
    let inlets = args.inlets.unwrap_or(model.inlets.1);
    if !(model.inlets.0..=model.inlets.1).contains(&inlets) {
        let (fewest, most) = model.inlets;
        let cause = format!("a unit of {} {} has {fewest} to {most} inlets, not {inlets}", model.maker, model.model);
        return Err(Failure::input(cause, "correct --inlets"));
    }
    let text = match (&args.from, &args.settings) {
        (Some(filled), _) => {
            let read = of::parse(&filled.display().to_string(), &bytes(filled)?, &model, inlets)?;
            settings::to_json(&read, None, true)?
        }
        (None, given) => {
            let given = given
                .as_deref()
                .map(|path| settings::parse(&path.display().to_string(), &bytes(path)?).map_err(Failure::from));
            let given = given.transpose()?.map(|document| document.settings);
            let write = if args.csv { of::csv } else { of::text };
            write(&model, inlets, given.as_ref()).into_bytes()
        }
    };
    let Some(out) = &args.out else {
        print_progress(String::from_utf8_lossy(&text).trim_end());
        return Ok(Exit::Pass);
    };
    if out.exists() && !args.force {
        return Err(Problem::from_io(out, "write the sheet", &std::io::ErrorKind::AlreadyExists.into()).into());
    }
    let inputs: Vec<&Path> = args.from.iter().chain(&args.settings).map(PathBuf::as_path).collect();
    output::put(out, &text, "write the sheet", &inputs)?;
    print_progress(&format!("written: {}", out.display()));
    Ok(Exit::Pass)
}

fn bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    Ok(input_file::read(path, "read the sheet", TEXT_LIMIT as u64)?)
}
