//! The physics of the site, marched in time. Written apart from the engine that predicts, and from other sources.
//!
//! Not here: what people and units do (see [`crate::site`] and [`crate::device`]).
pub(crate) mod air;
pub(crate) mod airside;
pub(crate) mod fan;
pub mod friction;
pub(crate) mod matrix;
pub(crate) mod network;
pub(crate) mod smoke;
pub(crate) mod spread;
pub mod steady;
pub use steady::{Steady, SteadyError, arrivals, steady};

/// How momentum is counted where air joins a run of pipe.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Momentum {
    /// Left out.
    Left,
    /// A flat profile: drop rho (V1^2 - V2^2).
    Flat,
    /// That of the profile in the pipe: up to 4/3 of it where the flow is laminar.
    #[default]
    Profile,
}

/// Which laws hold. The default is the simulator's own; the others are for comparisons on equal terms.
#[derive(Clone, Copy, Debug)]
pub struct Laws {
    /// Friction in pipes.
    pub friction: friction::Friction,
    /// Momentum where air joins.
    pub momentum: Momentum,
    /// Do holes resist by viscosity too?
    pub viscous_holes: bool,
    /// Diffusivity of what is carried, m2/s.
    pub diffusivity_m2_s: f64,
}
/// Diffusivity of smoke particles of 0.3 um in air at 20 degC, m2/s: Stokes, Einstein and Cunningham
/// (Hinds, Aerosol Technology, table of diffusion coefficients; from memory).
pub const SMOKE_DIFFUSIVITY_M2_S: f64 = 1.2e-10;
impl Default for Laws {
    fn default() -> Self {
        Self {
            friction: friction::Friction::default(),
            momentum: Momentum::default(),
            viscous_holes: true,
            diffusivity_m2_s: SMOKE_DIFFUSIVITY_M2_S,
        }
    }
}
