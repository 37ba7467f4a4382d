//! A pipework made ready to solve, and the solve. Not here: what is worked out from a solution.
use crate::{AirflowError, BuildError, SolveError, options::SolveOptions, solution::Solution};
use plumeline_base::pipework::Pipework;

/// A validated, flattened pipework.
#[derive(Clone, Debug)]
pub struct Network {}

/// Memory that solves of one network use; made once, never grown after the first solve.
#[derive(Clone, Debug)]
pub struct Workspace {
    solution: Solution,
}

impl Network {
    /// Checks a pipework and lays it out for solving.
    pub fn build(pipework: &Pipework, options: &SolveOptions) -> Result<Self, BuildError> {
        let _ = (pipework, options);
        Ok(Self {})
    }
    /// Memory for solving this network.
    pub fn workspace(&self) -> Workspace {
        Workspace { solution: Solution::default() }
    }
    /// The steady state, from a cold start. Allocates nothing after the first solve with this workspace.
    pub fn solve<'w>(&self, workspace: &'w mut Workspace) -> Result<&'w Solution, SolveError> {
        let _ = &workspace.solution;
        Err(SolveError::WrongWorkspace)
    }
}

/// Builds and solves in one call.
pub fn solve(pipework: &Pipework, options: &SolveOptions) -> Result<Solution, AirflowError> {
    let network = Network::build(pipework, options)?;
    Ok(network.solve(&mut network.workspace())?.clone())
}
