//! `pipework.toml`: the sampling pipework of a unit as a person writes it, read into the geometry that the airflow
//! engine works on. Read in two layers: raw (what is written where) and checked (what it means, in SI).
//!
//! Not here: physics. Fitting losses and tolerances come from the tables beside this module, each with its source.
use crate::error::Problem;
use plumeline_base::pipework::Pipework;

/// What a `pipework.toml` says.
#[derive(Clone, Debug, PartialEq)]
pub struct PipeworkFile {
    /// The geometry, the unit's air path, the air and how well they are known.
    pub pipework: Pipework,
    /// How the airflow is to be computed.
    pub model: ModelChoice,
    /// Everything that was not written and was filled in, with the source of each value, for the report.
    pub notes: Vec<String>,
}

/// How the airflow is to be computed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ModelChoice {
    /// The pipe friction law.
    pub friction: FrictionChoice,
    /// Whether the change of momentum at holes counts.
    pub momentum: bool,
}

/// A pipe friction law.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FrictionChoice {
    /// Churchill 1977: one formula from laminar to turbulent.
    #[default]
    Churchill,
    /// Hagen-Poiseuille below Re 2000, Dunlop's cubic to 4000, Swamee-Jain above; for comparison with general
    /// network solvers.
    HagenDunlopSwamee,
    /// Colebrook-White with a smooth transition from laminar flow.
    ColebrookWhite,
}

/// Reads a `pipework.toml`. `name` is what messages call it.
///
/// # Errors
/// The first thing that is wrong, with its line, column and remedy.
pub fn parse(name: &str, bytes: &[u8]) -> Result<PipeworkFile, Problem> {
    let _ = bytes;
    Err(Problem::with_file(crate::Kind::Internal, name, "pipework files are not read yet", "use a later version"))
}
