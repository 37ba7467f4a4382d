//! A carry-over in a job folder: descriptions by name or file, the engine fed from the job's files, its account, wiring sheet
//! and settings put in place.
//!
//! Not here: the engine (the carry crate), arguments.
use plumeline_carry::{Carry, Description, carry};
use plumeline_job::{
    Kind, Problem, TEXT_LIMIT,
    account::{AccountFile, FORMAT, Model},
    decisions::{self, Decisions},
    description::{self, SHIPPED},
    digest::Digest,
    folder::{self, Folder},
    input_file, pipework, plan,
    settings::{self, Document},
};
use plumeline_runtime::{failure::Failure, job_files::solve_options};
use std::path::Path;

/// Widest line of the files for people, characters.
const WIDTH: usize = 100;

/// A description with the bytes that it was read from.
#[derive(Clone, Debug)]
pub struct Described {
    /// What it says.
    pub description: Description,
    /// Its file.
    pub bytes: Vec<u8>,
}

impl Described {
    /// The shipped description of that name, or the file at that path.
    ///
    /// # Errors
    /// Neither is there, or the file is not sound.
    pub fn find(name: &str) -> Result<Self, Failure> {
        if let Some(found) = Self::shipped(|n, _| n == name)? {
            return Ok(found);
        }
        let path = Path::new(name);
        let bytes = input_file::read(path, "read the description", TEXT_LIMIT as u64).map_err(|problem| {
            let names: Vec<&str> = SHIPPED.iter().map(|(n, _)| *n).collect();
            if problem.kind() == Kind::Absent {
                let cause = format!("`{name}` is neither a description that comes with the tool nor a file");
                return Failure::input(cause, format!("use one of {}, or the path of a file", names.join(", ")));
            }
            problem.into()
        })?;
        Self::read(name, bytes)
    }
    /// The shipped description of that model, if there is one.
    ///
    /// # Errors
    /// A shipped description is not sound, which is a fault of the tool.
    pub fn of_model(maker: &str, model: &str) -> Result<Option<Self>, Failure> {
        Self::shipped(|_, d| d.maker == maker && d.model == model)
    }
    fn shipped(wanted: impl Fn(&str, &Description) -> bool) -> Result<Option<Self>, Failure> {
        for (name, text) in SHIPPED {
            let found = Self::read(name, text.as_bytes().to_vec())?;
            if wanted(name, &found.description) {
                return Ok(Some(found));
            }
        }
        Ok(None)
    }
    pub(crate) fn read(name: &str, bytes: Vec<u8>) -> Result<Self, Failure> {
        Ok(Self { description: description::parse(name, &bytes)?, bytes })
    }
    /// The description of the unit that a settings document is of: as given, else by the model that it names.
    ///
    /// # Errors
    /// None is given and none is known, or the one given is of another model.
    pub fn of_document(name: &str, document: &Document, given: Option<&str>) -> Result<Self, Failure> {
        let unit = document.unit.as_ref();
        if let Some(given) = given {
            let found = Self::find(given)?;
            let d = &found.description;
            if let Some(u) = unit.filter(|u| u.maker != d.maker || u.model != d.model) {
                let cause = format!(
                    "{name} is of a {} {}, but `{given}` describes a {} {}",
                    u.maker, u.model, d.maker, d.model
                );
                return Err(Failure::input(cause, "name the description of the unit that was captured"));
            }
            return Ok(found);
        }
        let found = unit.map(|u| Self::of_model(&u.maker, &u.model)).transpose()?.flatten();
        found.ok_or_else(|| {
            let whose =
                unit.map_or_else(|| "it names no unit".to_owned(), |u| format!("of the {} {}", u.maker, u.model));
            Failure::input(
                format!("{name}: no description is known ({whose})"),
                "write one (docs/descriptions.md) and name its file",
            )
        })
    }
}

/// What a carry-over is made from: the bytes of the files, each with the name that messages call it.
#[derive(Clone, Copy, Debug)]
pub struct Given<'a> {
    /// The captured settings.
    pub settings: (&'a str, &'a [u8]),
    /// The description of the old model; by the captured unit if not given.
    pub from: Option<&'a str>,
    /// The description of the new model.
    pub to: &'a Described,
    /// What was decided.
    pub decisions: Option<(&'a str, &'a [u8])>,
    /// `pipework.toml`.
    pub pipework: &'a [u8],
    /// `plan.toml`.
    pub plan: &'a [u8],
}

/// What came out.
#[derive(Clone, Debug)]
pub struct Carried {
    /// The descriptions of the old and of the new model that it rests on.
    pub described: (Described, Described),
    /// The account.
    pub file: AccountFile,
    /// The new settings as a document; none while anything is open.
    pub new: Option<Vec<u8>>,
}

/// Carries settings over. The same files give the same bytes.
///
/// # Errors
/// A file that is not sound, or a decision that does not fit.
pub fn carry_over(given: &Given<'_>) -> Result<Carried, Failure> {
    let (name, bytes) = given.settings;
    let document = settings::parse(name, bytes)?;
    let from = Described::of_document(name, &document, given.from)?;
    let decided = given.decisions.map_or_else(|| Ok(Decisions::default()), |(n, b)| decisions::parse(n, b))?;
    let own = [&from.description, &given.to.description];
    let pipework = pipework::parse_with(folder::PIPEWORK, given.pipework, &own)?;
    let plan = plan::parse(folder::PLAN, given.plan, &pipework.pipework)?;
    let account = carry(&Carry {
        old: &document.settings,
        complete: document.complete,
        from: &from.description,
        to: &given.to.description,
        decisions: &decided.all,
        pipework: &pipework.pipework,
        options: &solve_options(pipework.model),
        ports: &plan.ports,
    })
    .map_err(|fault| Failure::Problem(decided.problem(&fault)))?;
    let new = account.settings();
    let file = AccountFile {
        format: FORMAT,
        unit: document.unit,
        from: Model::new(&from.description, &from.bytes),
        to: Model::new(&given.to.description, &given.to.bytes),
        old_sha256: document.digest,
        new_sha256: new.as_ref().map(settings::digest),
        pipework_sha256: Digest::of(given.pipework),
        decisions: decided.all,
        account,
    };
    let new = new.map(|s| settings::to_json(&s, None, true)).transpose()?;
    Ok(Carried { described: (from, given.to.clone()), file, new })
}

/// Puts the descriptions, account, wiring sheet and, if nothing is open, the new settings into the folder.
///
/// # Errors
/// Settings are there that no account wrote, and `force` is not said; what the system reports.
pub fn keep(folder: &Folder, carried: &Carried, force: bool) -> Result<(), Failure> {
    if let (Some(new), false) = (&carried.new, force)
        && folder.exists(folder::SETTINGS_NEW)?
    {
        let there = folder.read(folder::SETTINGS_NEW)?.bytes;
        let written =
            |f: &AccountFile| settings::parse(folder::SETTINGS_NEW, &there).ok().map(|d| d.digest) == f.new_sha256;
        if there != *new && !account(folder)?.as_ref().is_some_and(written) {
            let cause = "settings are there that no carry-over wrote";
            let remedy = "put them aside, or say `--force` to replace them";
            return Err(Problem::with_file(Kind::Exists, folder::SETTINGS_NEW, cause, remedy).into());
        }
    }
    let (from, to) = &carried.described;
    for (name, described) in [(folder::UNIT_OUTGOING, from), (folder::UNIT_REPLACEMENT, to)] {
        if !(folder.exists(name)? && folder.read(name)?.bytes == described.bytes) {
            folder.write(name, &described.bytes, force)?;
        }
    }
    // The account before the settings: such as do not match it are not loaded.
    folder.replace_json(folder::ACCOUNT, &carried.file)?;
    folder.replace(folder::ACCOUNT_TEXT, plumeline_report::account_text(&carried.file, WIDTH).as_bytes())?;
    folder.replace(folder::WIRING, plumeline_report::wiring_text(&carried.file, WIDTH).as_bytes())?;
    if let Some(new) = &carried.new {
        folder.replace(folder::SETTINGS_NEW, new)?;
    }
    Ok(())
}

/// The account that is in the folder, if there is one.
///
/// # Errors
/// It can't be read.
pub fn account(folder: &Folder) -> Result<Option<AccountFile>, Failure> {
    if !folder.exists(folder::ACCOUNT)? {
        return Ok(None);
    }
    let file = folder.read(folder::ACCOUNT)?;
    Ok(Some(plumeline_job::account::parse(folder::ACCOUNT, &file.bytes)?))
}
