//! How a network is solved. Not here: what the network is (the pipework) and how uncertain it is.
use crate::friction::FrictionLaw;

/// Choices of the steady solve.
#[derive(Clone, Debug, PartialEq)]
pub struct SolveOptions {
    /// Friction law of the pipes.
    pub friction: FrictionLaw,
    /// Count the momentum change where air joins a straight run at a hole (rho dV2)?
    pub momentum: bool,
    /// Part of the theoretical momentum change that shows as pressure, 0 to 1.5; 1 is the momentum theorem for air
    /// that enters square to the pipe.
    pub momentum_factor: f64,
    /// Largest Newton correction still outstanding in any flow, relative to the mean flow of an opening, at which
    /// the solve stops; 1e-13 to 1e-3.
    pub tolerance: f64,
    /// Newton steps after which the solve gives up.
    pub max_iterations: u32,
}
impl Default for SolveOptions {
    /// Churchill's friction, momentum counted in full, 1e-10.
    fn default() -> Self {
        Self {
            friction: FrictionLaw::Churchill,
            momentum: true,
            momentum_factor: 1.0,
            tolerance: 1e-10,
            max_iterations: 200,
        }
    }
}
