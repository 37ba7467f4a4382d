//! Prediction with its uncertainty: what flows, suctions and times this pipework should show, and how surely.
//!
//! Monte Carlo propagation (JCGM 101:2008) of the tolerances in `Pipework::known` and [`ModelTolerance`], with the
//! linear propagation of JCGM 100:2008 beside it, which splits each uncertainty into its common and individual part: an
//! `Estimate` has the value of the nominal solve and the linear parts, both raised to the draws' standard deviation
//! where that is more than 5 % above the linear one. Intervals and covariance are the draws' own. The form of the friction
//! law counts in all of them (`form`). Not here: default tolerances and decision rules (they live in the job).
pub mod alone;
mod draws;
mod form;
pub(crate) mod linear;
mod parts;
mod statistics;
mod threads;
pub mod translate;

pub use linear::OF_THE_UNIT;

use crate::{
    AirflowError,
    error::{BuildError, Fault, Place},
    network::{Network, fan::FanCurve},
    options::SolveOptions,
    transport::{RISE, TransportOptions, lagged, passes},
};
use alloc::{borrow::Cow, vec, vec::Vec};
use draws::Tolerances;
use form::Form;
use libm::{hypot, sqrt};
use parts::Parts;
use plumeline_base::{
    pipework::{Drive, Pipework},
    quantity::Estimate,
};
use serde::{Deserialize, Serialize};
use statistics::Statistics;

/// Standard uncertainties (common to the whole pipework, relative) of what `Pipework::known` does not cover.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ModelTolerance {
    /// Density of the air.
    pub density: f64,
    /// Viscosity of the air.
    pub viscosity: f64,
    /// The friction factor, as a factor on all of it, whatever the law.
    pub friction: f64,
    /// The form of the friction law: how much counts of what the laws of [`crate::friction::FrictionLaw::ALL`] differ by, as if
    /// each were as likely as the others (1: all of it).
    pub friction_form: f64,
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
    /// What one standard uncertainty of each common cause does to `flow_m3_s`, in the order of
    /// [`OpeningPrediction::closed_common`]; the friction laws come last, one by one.
    pub flow_common: Vec<f64>,
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
    /// Mean transport time to the sensor, s. Infinite, with no uncertainty, where nothing arrives; where nothing arrives in
    /// some draws, the interval's upper end is infinite.
    pub mean_s: Estimate,
    /// Shortest interval that the draws cover with 95 %, s.
    pub mean_interval95: (f64, f64),
    /// First arrival, s. Its common part includes how far the answer depends on [`TransportOptions::remixing`].
    pub first_s: Estimate,
    /// Time from release to half of the plateau at the sensor, s; uncertainty as for `first_s`.
    pub half_plateau_s: Estimate,
    /// How the sensor's reading rises to its plateau.
    pub rise: Rise,
    /// By how much its inlet's flow drops when this opening alone is closed, m3/s (linear propagation).
    pub closed_drop_m3_s: Estimate,
    /// The same as a share of its inlet's flow with everything open: the calibration of a reading drops out of it (linear
    /// propagation).
    pub closed_share: Estimate,
    /// What one standard uncertainty of each common cause does to `closed_share`, in one order for all openings: two
    /// openings' shares covary by the sum of the products. What holes of a pipe show alike is told from one hole's own by it.
    pub closed_common: Vec<f64>,
    /// By how much its inlet's flow rises when this opening alone is widened to the bore of its pipe (a cap lost), m3/s
    /// (linear propagation).
    pub open_rise_m3_s: Estimate,
}

/// How a sensor's reading rises after a release: the times at which it shows each share of [`RISE`] of its plateau, s, by either
/// assumption on mixing.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Rise {
    /// As [`TransportOptions::remixing`] has it.
    pub here_s: Vec<f64>,
    /// By the other assumption.
    pub other_s: Vec<f64>,
}
impl Rise {
    /// The time of a share of the plateau, s, by one assumption and by the other; along straight lines between those of [`RISE`],
    /// beyond them that of the nearest. `None`: nothing arrives.
    pub fn reached_s(&self, share: f64) -> Option<(f64, f64)> {
        let share = share.clamp(RISE[0], RISE[RISE.len() - 1]);
        let after = RISE.iter().position(|s| *s >= share)?;
        let before = after.saturating_sub(1);
        let part = if after > before { (share - RISE[before]) / (RISE[after] - RISE[before]) } else { 1.0 };
        let of = |times: &[f64]| {
            let (low, high) = (*times.get(before)?, *times.get(after)?);
            Some(low + (high - low) * part).filter(|t| t.is_finite())
        };
        of(&self.here_s).zip(of(&self.other_s))
    }
    /// The same rise seen through one more lag of first order, as that of a display which averages.
    pub fn behind(&self, lag_s: f64) -> Self {
        let of = |times: &[f64]| {
            let start = times.first().map(|t| (*t, 0.0));
            let curve: Vec<(f64, f64)> = start.into_iter().chain(times.iter().copied().zip(RISE)).collect();
            let behind = lagged(&finer(&curve), lag_s);
            // The last share of the table is the plateau as far as the table goes.
            let top = behind.last().map_or(1.0, |(_, share)| *share);
            RISE.iter().take(times.len()).map(|share| passes(&behind, share.min(top))).collect()
        };
        if lag_s > 0.0 { Self { here_s: of(&self.here_s), other_s: of(&self.other_s) } } else { self.clone() }
    }
    /// The share of the plateau that shows at a time, s, as [`TransportOptions::remixing`] has it.
    pub fn shows(&self, time_s: f64) -> Option<f64> {
        let mut before = (0.0, 0.0);
        for (share, &at) in RISE.into_iter().zip(&self.here_s) {
            if !at.is_finite() {
                return None;
            }
            if at >= time_s {
                let part = if at > before.0 { (time_s - before.0) / (at - before.0) } else { 1.0 };
                return Some((before.1 + (share - before.1) * part).max(0.0));
            }
            before = (at, share);
        }
        (!self.here_s.is_empty()).then_some(1.0)
    }
}

/// Straight pieces of a curve that are cut so often: behind a lag they are no longer straight.
const PIECES: u32 = 16;
fn finer(curve: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let between = |pair: &[(f64, f64)]| {
        let (a, b) = (pair[0], pair[1]);
        (1..=PIECES).map(move |i| {
            let part = f64::from(i) / f64::from(PIECES);
            (a.0 + (b.0 - a.0) * part, a.1 + (b.1 - a.1) * part)
        })
    };
    curve.first().copied().into_iter().chain(curve.windows(2).flat_map(between)).collect()
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
    /// Friction laws that the uncertainties hold; 0 where the form of the law does not count.
    pub friction_laws: u32,
    /// Largest relative difference between the linear and the Monte Carlo standard uncertainty of any inlet flow, any
    /// opening's flow or any mean time (JCGM 101 clause 8 compares the two).
    pub linear_against_monte_carlo: f64,
}

/// What a pipework should show.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prediction {
    /// Inlets that carry a pipe, in the order of `Pipework::inlets`.
    pub inlets: Vec<InletPrediction>,
    /// Covariance of the flows of [`Self::inlets`], (m3/s)^2, from the draws and the form of the friction law, row by row.
    pub inlet_covariance: Vec<Vec<f64>>,
    /// Unblocked openings, in the order of `Pipework::openings`.
    pub openings: Vec<OpeningPrediction>,
    /// Flow through the unit, m3/s.
    pub total_flow_m3_s: Estimate,
    /// How it was reached.
    pub report: PredictReport,
}

/// Most numbers that the draws may hold in memory (2 GB).
const MAX_HELD: usize = 250_000_000;

/// Predicts what a pipework should show, with uncertainty. The result depends on the arguments alone: not on the
/// number of threads, nor on the platform.
pub fn predict(pipework: &Pipework, options: &PredictOptions) -> Result<Prediction, AirflowError> {
    let network = Network::build(pipework, &options.solve)?;
    let mut nominal = network.workspace();
    let solution = network.solve(&mut nominal)?.clone();
    let pipework = &*doubted(pipework, solution.total_flow_m3_s);
    let openings: Vec<usize> = (0..pipework.openings.len())
        .filter(|&k| !pipework.openings[k].blocked && pipework.openings[k].diameter_m > 0.0)
        .collect();
    let inlets: Vec<usize> = network.layout.inlet.iter().map(|&i| i as usize).collect();
    check(options, inlets.len() + 2 * openings.len() + 1)?;

    let tolerances = Tolerances::new(pipework, &options.model, options.seed);
    let draws = draws::make(&network, &nominal, &tolerances, &openings, options.draws as usize)?;
    let statistics = Statistics::of(&draws, inlets.len());
    let owner = owners(pipework);
    let form = Form::new(pipework, options, &owner)?;
    let parts =
        Parts { pipework, options, network: &network, nominal, inlets, openings, owner, draws, statistics, form };
    let (inlets, openings, total_flow_m3_s, worst) = parts.all()?;
    Ok(Prediction {
        inlet_covariance: parts.inlet_covariance(),
        inlets,
        openings,
        total_flow_m3_s,
        report: PredictReport {
            iterations: solution.iterations,
            residual_mass: solution.residual.mass,
            residual_energy: solution.residual.energy,
            worst_residual_energy: parts.statistics.worst_residual,
            draws: options.draws,
            friction_laws: parts.form.laws(),
            linear_against_monte_carlo: worst,
        },
    })
}

/// The pipework with what is not known of its fan's pressure at this flow of the unit, m3/s: more beyond the points of the curve.
fn doubted(pipework: &Pipework, flow: f64) -> Cow<'_, Pipework> {
    let doubt = match &pipework.unit.drive {
        Drive::Fan(fan) => FanCurve::build(fan).map_or(0.0, |curve| curve.doubt(flow)),
        Drive::InletSuction(_) => 0.0,
    };
    if doubt == 0.0 {
        return Cow::Borrowed(pipework);
    }
    let mut widened = pipework.clone();
    if let Drive::Fan(fan) = &mut widened.unit.drive {
        fan.u_pressure = hypot(fan.u_pressure, doubt).min(1.0);
    }
    Cow::Owned(widened)
}

fn norm(x: &[f64]) -> f64 {
    sqrt(x.iter().map(|x| x * x).sum())
}

fn check(options: &PredictOptions, columns: usize) -> Result<(), BuildError> {
    let most = (MAX_HELD / columns).min(10_000_000) as f64;
    let m = &options.model;
    let relative = [m.density, m.viscosity, m.friction, m.friction_form, m.unit_loss, m.suction, m.unit_volume];
    let draws = if most < 10_000_000.0 {
        "Monte Carlo draws, of which so many openings leave room for fewer,"
    } else {
        "Monte Carlo draws"
    };
    let ranges = [(draws, options.draws as f64, 100.0, most.max(100.0))]
        .into_iter()
        .chain(relative.map(|u| ("relative uncertainty of the model", u, 0.0, 2.0)))
        .chain([("first-arrival fraction", options.transport.first_fraction, 1e-3, 0.2)])
        .chain([("diffusivity (m2/s)", options.transport.diffusivity_m2_s, 0.0, 1.0)]);
    for (what, value, low, high) in ranges {
        if !(value >= low && value <= high) {
            return Err(BuildError::new(Place::Options, Fault::OutOfRange { what, value, low, high }));
        }
    }
    Ok(())
}

/// Inlet (index) of each opening.
fn owners(pipework: &Pipework) -> Vec<usize> {
    let mut owner = vec![0; pipework.openings.len()];
    for (inlet, openings) in pipework.openings_by_inlet().into_iter().enumerate() {
        for k in openings {
            owner[k] = inlet;
        }
    }
    owner
}
