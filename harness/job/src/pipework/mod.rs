//! `pipework.toml`: the sampling pipework of a unit as a person writes it, read into the geometry that the airflow
//! engine works on. Read in two layers: raw (what is written where) and checked (what it means, in SI).
//!
//! Not here: physics. Fitting losses, tolerances and other values that a file may leave out are in
//! [`crate::tables`], each with its source.
pub(crate) mod bounds;
mod build;
mod import;
mod inp;
mod named;
mod network;
pub(crate) mod raw;
mod run;
pub(crate) mod step;
pub(crate) mod unit;

pub use import::import_csv;
pub use inp::import_inp;

use crate::{
    TEXT_LIMIT, description,
    error::{Kind, Problem, Source},
    folder, input_file, written,
};
use plumeline_base::pipework::Pipework;
use plumeline_unit::Description;
use std::path::Path;

/// The version of the format that is read and written.
pub const FORMAT: i64 = 1;
/// Most openings (holes, caps, open ends) of one pipework.
pub const MAX_OPENINGS: usize = 100_000;
/// Most segments of one pipework.
pub const MAX_SEGMENTS: usize = 500_000;
/// Most inlets of one unit.
pub const MAX_INLETS: usize = 8;

/// The pipework that a new job begins with, commented for people.
pub const TEMPLATE: &str = include_str!("../templates/pipework.toml");

/// What a `pipework.toml` says.
#[derive(Clone, Debug, PartialEq)]
pub struct PipeworkFile {
    /// The geometry, the unit's air path, the air and how well they are known.
    pub pipework: Pipework,
    /// The same pipes on the outgoing unit, where its air path is stated.
    pub outgoing: Option<Pipework>,
    /// How the airflow is to be computed.
    pub model: ModelChoice,
    /// Everything that was not written and was filled in, with the source of each value, for the report.
    pub notes: Vec<String>,
}

/// How the airflow is to be computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ModelChoice {
    /// The pipe friction law.
    pub friction: FrictionChoice,
    /// Whether the change of momentum at holes counts.
    pub momentum: bool,
}
impl Default for ModelChoice {
    fn default() -> Self {
        Self { friction: FrictionChoice::default(), momentum: true }
    }
}

/// A pipe friction law.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FrictionChoice {
    /// Churchill 1977: one formula from laminar to turbulent.
    #[default]
    Churchill,
    /// Hagen-Poiseuille below Re 2000, Dunlop's cubic to 4000, Swamee-Jain above; for comparison with general
    /// network solvers.
    HagenDunlopSwameeJain,
    /// Colebrook-White with a smooth transition from laminar flow.
    Colebrook,
}

/// The format's JSON Schema, as text.
#[cfg(feature = "schema")]
pub(crate) fn schema() -> String {
    crate::schema::of_toml::<raw::File>()
}

/// Reads a `pipework.toml`. `name` is what messages call it.
///
/// # Errors
/// The first thing that is wrong, with its line, column and remedy.
pub fn parse(name: &str, bytes: &[u8]) -> Result<PipeworkFile, Problem> {
    parse_with(name, bytes, &[])
}

/// Reads a `pipework.toml` from the disk; the descriptions in its folder go before those that come with the tool.
///
/// # Errors
/// As [`parse`]; a file that can't be read.
pub fn read(path: &Path) -> Result<PipeworkFile, Problem> {
    let bytes = input_file::read(path, "read the pipework", TEXT_LIMIT as u64)?;
    let mut own = Vec::new();
    for name in [folder::UNIT_REPLACEMENT, folder::UNIT_OUTGOING] {
        match input_file::read(&path.with_file_name(name), "read the description", TEXT_LIMIT as u64) {
            Ok(bytes) => own.push(description::parse(name, &bytes)?),
            Err(problem) if problem.kind() == Kind::Absent => {}
            Err(problem) => return Err(problem),
        }
    }
    parse_with(&path.display().to_string(), &bytes, &own.iter().collect::<Vec<_>>())
}

/// The same with descriptions of the job's own, which go before those that come with the tool.
///
/// # Errors
/// As [`parse`].
pub fn parse_with(name: &str, bytes: &[u8], own: &[&Description]) -> Result<PipeworkFile, Problem> {
    let source = Source::new(name, bytes, TEXT_LIMIT)?;
    let file: raw::File = written::from_toml(&source)?;
    written::version(&source, &file.format, FORMAT)?;
    let names_a_model = file.unit.model.is_some() || file.outgoing.as_ref().is_some_and(|o| o.model.is_some());
    let mut models: Vec<Description> = Vec::new();
    if names_a_model {
        models.extend(own.iter().map(|d| (*d).clone()));
        for (name, text) in description::SHIPPED {
            models.push(description::parse(name, text.as_bytes())?);
        }
    }
    build::build(&source, &file, &models)
}
