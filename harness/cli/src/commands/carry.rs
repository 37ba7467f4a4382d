//! `plumeline carry`: captured settings expressed for the new model, with an account of every item.
use crate::{
    args,
    carrying::{self, Carried, Described, Given},
};
use plumeline_job::{
    TEXT_LIMIT, decisions,
    folder::{self, Folder},
    input_file,
};
use plumeline_runtime::{
    failure::{Exit, Failure},
    resume,
    show::{print_progress, width},
};
use std::path::Path;

/// `plumeline carry`
pub fn carry(args: &args::Carry) -> Result<Exit, Failure> {
    let folder = Folder::open(&args.job)?;
    let _lock = folder.lock()?;
    if resume::is_begun(&folder)? {
        return Err(Failure::input(
            format!("{}: the job has begun, its settings stand", folder.dir().display()),
            "make a new job with `plumeline new` for other settings",
        ));
    }
    let to = Described::find(&args.to)?;
    let settings = given(&folder, folder::SETTINGS_OLD, args.settings.as_deref())?.ok_or_else(|| {
        Failure::input(
            format!("{}: the job holds no captured settings", folder.dir().display()),
            format!("`plumeline capture PORT -o {}`", folder.dir().join(folder::SETTINGS_OLD).display()),
        )
    })?;
    let decided = given(&folder, folder::DECISIONS, args.decisions.as_deref())?;
    let (pipework, plan) = (folder.read(folder::PIPEWORK)?.bytes, folder.read(folder::PLAN)?.bytes);
    let carried = carrying::carry_over(&Given {
        settings: (&settings.0, &settings.1),
        from: args.from.as_deref(),
        to: &to,
        decisions: decided.as_ref().map(|(n, b)| (n.as_str(), b.as_slice())),
        pipework: &pipework,
        plan: &plan,
    })?;
    // Files from elsewhere become the job's own, so that the job holds all that it rests on.
    for (name, file, elsewhere) in [
        (folder::SETTINGS_OLD, Some(&settings), &args.settings),
        (folder::DECISIONS, decided.as_ref(), &args.decisions),
    ] {
        if let (Some((_, bytes)), Some(_)) = (file, elsewhere)
            && !(folder.exists(name)? && folder.read(name)?.bytes == *bytes)
        {
            folder.write(name, bytes, args.force)?;
        }
    }
    carrying::keep(&folder, &carried, args.force)?;
    let open = &carried.file.account.open;
    if args.template && !open.is_empty() {
        let before = decided.map(|(_, bytes)| String::from_utf8_lossy(&bytes).into_owned()).unwrap_or_default();
        folder.replace(folder::DECISIONS, decisions::template(&before, open).as_bytes())?;
    }
    tell(args, &folder, &carried)?;
    Ok(if open.is_empty() { Exit::Pass } else { Exit::Undecided })
}

/// A file of the job, or the one that is named in its place.
fn given(folder: &Folder, name: &str, elsewhere: Option<&Path>) -> Result<Option<(String, Vec<u8>)>, Failure> {
    if let Some(path) = elsewhere {
        let bytes = input_file::read(path, "read it", TEXT_LIMIT as u64)?;
        return Ok(Some((path.display().to_string(), bytes)));
    }
    if !folder.exists(name)? {
        return Ok(None);
    }
    Ok(Some((name.to_owned(), folder.read(name)?.bytes)))
}

fn tell(args: &args::Carry, folder: &Folder, carried: &Carried) -> Result<(), Failure> {
    if args.json {
        let text = serde_json::to_string(&carried.file).map_err(|e| Failure::internal(e.to_string()))?;
        print_progress(&text);
        return Ok(());
    }
    print_progress(plumeline_report::account_text(&carried.file, width()).trim_end());
    print_progress("");
    let dir = folder.dir().display();
    print_progress(&format!("written in {dir}: {}, {}, {}", folder::ACCOUNT, folder::ACCOUNT_TEXT, folder::WIRING));
    if carried.new.is_some() {
        print_progress(&format!("written in {dir}: {}", folder::SETTINGS_NEW));
    } else if args.template {
        print_progress(&format!(
            "to be filled in: {}; then run this again",
            folder.dir().join(folder::DECISIONS).display()
        ));
    } else {
        print_progress(&format!(
            "{} was not written; `--template` adds what is open to {}",
            folder::SETTINGS_NEW,
            folder::DECISIONS
        ));
    }
    Ok(())
}
