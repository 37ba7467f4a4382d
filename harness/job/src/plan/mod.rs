//! `plan.toml`: what a job does and what it is judged by, read into the procedure's typed plan. Limits are picked by
//! the name of a preset, or set by the job itself; each keeps its source and how well that is known.
//!
//! Not here: what the stages do, and how a limit is judged.
mod check;
pub(crate) mod farthest;
mod instruments;
mod numbers;
mod ports;
mod raw;
mod stages;
mod supply;

use crate::{
    TEXT_LIMIT,
    error::{Problem, Source},
    written,
};
use plumeline_base::pipework::Pipework;
use plumeline_carry::PortLimit;
use plumeline_procedure::plan::Plan;
use serde::Deserialize;
use toml::de::DeTable;

/// The version of the format that is read and written.
pub const FORMAT: i64 = 1;
/// Most holes, stages or lines of a checklist in one plan.
pub const MAX_ENTRIES: usize = 10_000;

/// The plan that a new job begins with, commented for people.
pub const TEMPLATE: &str = include_str!("../templates/plan.toml");

/// What a `plan.toml` says.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanFile {
    /// The typed plan.
    pub plan: Plan,
    /// The port that the job is run through where the command is given none.
    pub port: Option<String>,
    /// What a port may need for each level of the new unit, where the plan says.
    pub ports: Vec<PortLimit>,
    /// What was filled in or deserves a second look, for the report.
    pub notes: Vec<String>,
}

/// The format's JSON Schema, as text.
#[cfg(feature = "schema")]
pub(crate) fn schema() -> String {
    crate::schema::of_toml_with::<raw::File>(crate::schema::with_rules)
}

/// Reads a `plan.toml`. `name` is what messages call it; the pipework is the job's own, so that holes can be named
/// and the farthest ones found.
///
/// # Errors
/// The first thing that is wrong, with its line, column and remedy.
pub fn parse(name: &str, bytes: &[u8], pipework: &Pipework) -> Result<PlanFile, Problem> {
    let source = Source::new(name, bytes, TEXT_LIMIT)?;
    let told = |e: toml::de::Error| written::toml_problem(&source, &e);
    let mut tree = DeTable::parse(source.text()).map_err(told)?;
    let mut plan = Plan::default();
    let stated = numbers::take(&source, tree.get_mut(), &mut plan)?;
    let file = raw::File::deserialize(toml::Deserializer::from(tree)).map_err(told)?;
    written::version(&source, &file.format, FORMAT)?;
    check::check(&source, file, plan, &stated, pipework)
}
