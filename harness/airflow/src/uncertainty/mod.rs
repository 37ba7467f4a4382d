//! Prediction with its uncertainty: what flows, suctions and times this pipework should show, and how surely.
//!
//! Monte Carlo propagation (JCGM 101:2008) of the tolerances in `Pipework::known` and [`ModelTolerance`], with the
//! linear propagation of JCGM 100:2008 beside it, which splits each uncertainty into its common and individual part: an
//! `Estimate` has the value of the nominal solve and the linear parts, both raised to the draws' standard deviation
//! where that is more than 5 % above the linear one. Intervals and covariance are the draws' own. Not here: default tolerances and decision rules (they live in the job).
mod draws;
pub(crate) mod linear;
pub mod translate;

pub use linear::OF_THE_UNIT;

use crate::{
    AirflowError,
    adjoint::Adjoint,
    defects::{Defect, damage},
    dilution::shares,
    error::{BuildError, Fault, Place},
    network::{Network, Workspace},
    options::SolveOptions,
    sensitivity::{Gradient, Measurable, Sensitivity},
    solution::Solution,
    transport::{Remixing, TransportOptions, times},
};
use alloc::{vec, vec::Vec};
use draws::{Draws, Tolerances};
use libm::{hypot, sqrt};
use plumeline_base::{pipework::Pipework, quantity::Estimate};
use serde::{Deserialize, Serialize};

/// Standard uncertainties (common to the whole pipework, relative) of what `Pipework::known` does not cover.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ModelTolerance {
    /// Density of the air.
    pub density: f64,
    /// Viscosity of the air.
    pub viscosity: f64,
    /// The friction law itself, as a factor on all of it.
    pub friction: f64,
    /// The form of the friction law, as a part of how far another published law puts a flow or a drop (1: all of it).
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
    /// Flow, m3/s. Its common part includes the form of the friction law: how far another published law puts it.
    pub flow_m3_s: Estimate,
    /// What one standard uncertainty of each common cause does to `flow_m3_s`, in the order of
    /// [`OpeningPrediction::closed_common`].
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
    /// By how much its inlet's flow drops when this opening alone is closed, m3/s (linear propagation).
    pub closed_drop_m3_s: Estimate,
    /// The same as a share of its inlet's flow with everything open: the calibration of a reading drops out of it (linear
    /// propagation). Its common part includes the form of the friction law: how far another published law puts it.
    pub closed_share: Estimate,
    /// What one standard uncertainty of each common cause does to `closed_share`, in one order for all openings: two
    /// openings' shares covary by the sum of the products. What holes of a pipe show alike is told from one hole's own by it.
    pub closed_common: Vec<f64>,
    /// By how much its inlet's flow rises when this opening alone is widened to the bore of its pipe (a cap lost), m3/s
    /// (linear propagation).
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

/// What a pipework should show.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prediction {
    /// Inlets that carry a pipe, in the order of `Pipework::inlets`.
    pub inlets: Vec<InletPrediction>,
    /// Covariance of the flows of [`Self::inlets`], (m3/s)^2, from the draws and the form of the friction law; row by row.
    pub inlet_covariance: Vec<Vec<f64>>,
    /// Unblocked openings, in the order of `Pipework::openings`.
    pub openings: Vec<OpeningPrediction>,
    /// Flow through the unit, m3/s; the form of the friction law counts as for a pipe.
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
    let openings: Vec<usize> = (0..pipework.openings.len())
        .filter(|&k| !pipework.openings[k].blocked && pipework.openings[k].diameter_m > 0.0)
        .collect();
    let inlets: Vec<usize> = network.layout.inlet.iter().map(|&i| i as usize).collect();
    check(options, inlets.len() + 2 * openings.len() + 1)?;

    let tolerances = Tolerances::new(pipework, &options.model, options.seed);
    let draws = draws::make(&network, &nominal, &tolerances, &openings, options.draws as usize)?;
    let Statistics { deviation, mut inlet_covariance, worst_residual } = Statistics::of(&draws, inlets.len());
    let other = Other::new(pipework, options)?;
    let parts = Parts { pipework, options, solution: &solution, inlets, openings, draws, deviation, other };
    for (line, &i) in inlet_covariance.iter_mut().zip(&parts.inlets) {
        for (c, &j) in line.iter_mut().zip(&parts.inlets) {
            *c += parts.by_law(i) * parts.by_law(j);
        }
    }

    let mut linear = Linear { pipework, options, worst: 0.0 };
    let mut sensitivity = Sensitivity::new(Adjoint::new(&network, &mut nominal));
    let inlet_gradients =
        parts.inlets.iter().map(|&i| sensitivity.of(Measurable::InletFlow(i))).collect::<Result<Vec<_>, _>>()?;
    let inlets = inlet_gradients.iter().enumerate();
    let inlets = inlets.map(|(column, gradient)| parts.inlet(column, gradient, &mut linear, &mut sensitivity));
    let inlets = inlets.collect::<Result<_, _>>()?;
    let openings = parts.openings(&inlet_gradients, &mut linear, &mut sensitivity)?;
    let mut total = linear.of(&sensitivity.of(Measurable::TotalFlow)?);
    total.u_common = hypot(total.u_common, parts.inlets.iter().map(|&i| parts.by_law(i)).sum());
    Ok(Prediction {
        inlets,
        inlet_covariance,
        openings,
        total_flow_m3_s: total,
        report: PredictReport {
            iterations: solution.iterations,
            residual_mass: solution.residual.mass,
            residual_energy: solution.residual.energy,
            worst_residual_energy: worst_residual,
            draws: options.draws,
            linear_against_monte_carlo: linear.worst,
        },
    })
}

/// What the parts of a prediction are made from.
struct Parts<'a> {
    pipework: &'a Pipework,
    options: &'a PredictOptions,
    solution: &'a Solution,
    /// Inlets that carry a pipe.
    inlets: Vec<usize>,
    /// Openings that air passes.
    openings: Vec<usize>,
    /// Columns: flows of the inlets, then of the openings, then the openings' times.
    draws: Draws,
    /// Standard deviation of each column.
    deviation: Vec<f64>,
    other: Other,
}
impl Parts<'_> {
    /// What the form of the friction law makes of an inlet's flow, m3/s.
    fn by_law(&self, inlet: usize) -> f64 {
        self.other.flow_by(inlet, self.solution.inlet_flow_m3_s[inlet])
    }

    fn inlet(
        &self,
        column: usize,
        gradient: &Gradient,
        linear: &mut Linear<'_>,
        sensitivity: &mut Sensitivity<'_>,
    ) -> Result<InletPrediction, BuildError> {
        let i = self.inlets[column];
        let mut flow = linear.against_draws(gradient, self.deviation[column]);
        let (mut common, _) = linear::parts(self.pipework, &self.options.model, gradient);
        let raised = if flow.u_common > 0.0 { flow.u_common / norm(&common) } else { 1.0 };
        common.iter_mut().for_each(|c| *c *= raised);
        let flow_common: Vec<f64> = common.into_iter().chain([self.by_law(i)]).collect();
        flow.u_common = norm(&flow_common);
        Ok(InletPrediction {
            number: self.pipework.inlets[i].number,
            inlet: i,
            flow_m3_s: flow,
            flow_common,
            flow_interval95: self.draws.interval95(column),
            suction_pa: linear.of(&sensitivity.of(Measurable::InletSuction(i))?),
        })
    }

    fn openings(
        &self,
        inlet_gradients: &[Gradient],
        linear: &mut Linear<'_>,
        sensitivity: &mut Sensitivity<'_>,
    ) -> Result<Vec<OpeningPrediction>, AirflowError> {
        let (pipework, options, inlets) = (self.pipework, self.options, &self.inlets);
        let mixed = times(pipework, self.solution, &options.transport);
        let remixing = match options.transport.remixing {
            Remixing::AtOpenings => Remixing::Never,
            Remixing::Never => Remixing::AtOpenings,
        };
        let unmixed = times(pipework, self.solution, &TransportOptions { remixing, ..options.transport.clone() });
        let shares = shares(pipework, self.solution);
        let owner = owners(pipework);
        let mut predictions = Vec::with_capacity(self.openings.len());
        for (i, &k) in self.openings.iter().enumerate() {
            let (flow_column, time_column) = (inlets.len() + i, inlets.len() + self.openings.len() + i);
            let own = inlets.iter().position(|&i| i == owner[k]).unwrap_or(0);
            let (inlet, gradient) = (inlets[own], &inlet_gradients[own]);
            let flow = sensitivity.of(Measurable::OpeningFlow(k))?;
            let time = sensitivity.of(Measurable::MeanTime(k))?;
            let (mean_s, mean_interval95) = if time.value.is_finite() {
                let estimate = linear.against_draws(&time, self.deviation[time_column]);
                (estimate, self.draws.interval95(time_column))
            } else {
                (Estimate::new(f64::INFINITY, 0.0, 0.0), (f64::INFINITY, f64::INFINITY))
            };
            let closed = linear.change(k, Defect::Closed, inlet, gradient)?;
            let share = translate::relative_to(closed.clone(), gradient);
            let (common, individual) = linear::parts(pipework, &options.model, &share);
            let by_law = self.other.closed_share_by(pipework, k, inlet, share.value)?;
            let closed_common: Vec<f64> = common.into_iter().chain([by_law]).collect();
            predictions.push(OpeningPrediction {
                opening: k,
                inlet: pipework.inlets[inlet].number,
                number: pipework.openings[k].number,
                flow_m3_s: linear.against_draws(&flow, self.deviation[flow_column]),
                suction_pa: linear.of(&sensitivity.of(Measurable::OpeningSuction(k))?),
                share_of_pipe: shares[k].of_pipe,
                share_of_unit: shares[k].of_unit,
                mean_s,
                mean_interval95,
                first_s: shaped(mean_s, mixed[k].first_s, unmixed[k].first_s),
                half_plateau_s: shaped(mean_s, mixed[k].half_plateau_s, unmixed[k].half_plateau_s),
                closed_drop_m3_s: linear.of(&closed),
                closed_share: Estimate::new(share.value, norm(&closed_common), individual),
                closed_common,
                open_rise_m3_s: linear.of(&linear.change(k, Defect::Opened, inlet, gradient)?),
            });
        }
        Ok(predictions)
    }
}

fn norm(x: &[f64]) -> f64 {
    sqrt(x.iter().map(|x| x * x).sum())
}

/// Flow of each inlet, m3/s.
fn flows(pipework: &Pipework, options: &SolveOptions) -> Result<Vec<f64>, AirflowError> {
    let network = Network::build(pipework, options)?;
    let mut ws = network.workspace();
    Ok(network.solve(&mut ws)?.inlet_flow_m3_s.clone())
}

/// The same pipework by another friction law.
struct Other {
    weight: f64,
    solve: SolveOptions,
    /// Flow of each inlet, m3/s; none where the form of the law does not count.
    open: Option<Vec<f64>>,
}
impl Other {
    fn new(pipework: &Pipework, options: &PredictOptions) -> Result<Self, AirflowError> {
        let solve = SolveOptions { friction: options.solve.friction.another(), ..options.solve.clone() };
        let weight = options.model.friction_form;
        let open = if weight > 0.0 { Some(flows(pipework, &solve)?) } else { None };
        Ok(Self { weight, solve, open })
    }
    /// What it makes of an inlet's flow that is `here` by this law, m3/s.
    fn flow_by(&self, inlet: usize, here: f64) -> f64 {
        self.open.as_ref().map_or(0.0, |open| self.weight * (open[inlet] - here))
    }
    /// What it makes of the share of an inlet's flow by which closing an opening lowers it.
    fn closed_share_by(&self, pipework: &Pipework, k: usize, inlet: usize, here: f64) -> Result<f64, AirflowError> {
        let Some(open) = &self.open else { return Ok(0.0) };
        let (damaged, _) = damage(pipework, k, Defect::Closed);
        let there = if nothing_open(&damaged) { 1.0 } else { 1.0 - flows(&damaged, &self.solve)?[inlet] / open[inlet] };
        Ok(self.weight * (there - here))
    }
}

fn nothing_open(pipework: &Pipework) -> bool {
    pipework.openings.iter().all(|o| o.blocked || o.diameter_m == 0.0)
}

fn check(options: &PredictOptions, columns: usize) -> Result<(), BuildError> {
    let most = (MAX_HELD / columns).min(10_000_000) as f64;
    let m = &options.model;
    let relative = [m.density, m.viscosity, m.friction, m.friction_form, m.unit_loss, m.suction, m.unit_volume];
    let ranges = [("Monte Carlo draws", options.draws as f64, 100.0, most.max(100.0))]
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

/// A point of the response: it scales with the mean time, and may lie as far off as the other assumption on mixing puts it,
/// the less likely the farther (triangular with its mode here, JCGM 100 clause 4.3.9; about the mode: 1/6 of the square).
fn shaped(mean: Estimate, here: f64, elsewhere: f64) -> Estimate {
    if !(here.is_finite() && mean.value.is_finite() && mean.value > 0.0) {
        return Estimate::new(f64::INFINITY, 0.0, 0.0);
    }
    let scale = here / mean.value;
    let mixing = if elsewhere.is_finite() { (here - elsewhere).abs() / sqrt(6.0) } else { 0.0 };
    Estimate::new(here, hypot(mean.u_common * scale, mixing), mean.u_individual * scale)
}

/// Linear propagation, keeping count of how far the draws differ from it.
struct Linear<'a> {
    pipework: &'a Pipework,
    options: &'a PredictOptions,
    worst: f64,
}

/// Above this ratio of the draws' deviation to the linear one the estimate takes the draws'.
const NONLINEAR: f64 = 1.05;

impl Linear<'_> {
    fn of(&self, gradient: &Gradient) -> Estimate {
        linear::estimate(self.pipework, &self.options.model, gradient)
    }

    fn against_draws(&mut self, gradient: &Gradient, deviation: f64) -> Estimate {
        let mut e = self.of(gradient);
        let u = e.u();
        if u > 0.0 && deviation.is_finite() {
            let ratio = deviation / u;
            self.worst = self.worst.max((ratio - 1.0).abs());
            if ratio > NONLINEAR {
                (e.u_common, e.u_individual) = (e.u_common * ratio, e.u_individual * ratio);
            }
        }
        e
    }

    /// How much an inlet's flow changes with a defect, as a positive number for what that defect normally does.
    fn change(&self, k: usize, defect: Defect, inlet: usize, before: &Gradient) -> Result<Gradient, AirflowError> {
        let damaged = damage(self.pipework, k, defect).0;
        if defect == Defect::Closed && nothing_open(&damaged) {
            // The only opening: all of the flow goes.
            return Ok(before.clone());
        }
        let network = Network::build(&damaged, &self.options.solve)?;
        let mut ws: Workspace = network.workspace();
        network.solve(&mut ws)?;
        let after = Sensitivity::new(Adjoint::new(&network, &mut ws)).of(Measurable::InletFlow(inlet))?;
        Ok(match defect {
            Defect::Closed => linear::difference(before.clone(), &after),
            Defect::Opened | Defect::Parted => linear::difference(after, before),
        })
    }
}

/// What the draws amount to; sums run in the order of the draws.
struct Statistics {
    deviation: Vec<f64>,
    inlet_covariance: Vec<Vec<f64>>,
    worst_residual: f64,
}

impl Statistics {
    /// Draws in which an opening's air does not arrive are left out of its time's deviation.
    fn of(draws: &Draws, inlets: usize) -> Self {
        let columns = draws.columns;
        let (mut count, mut mean) = (vec![0.0; columns], vec![0.0; columns]);
        for row in draws.rows.chunks_exact(columns) {
            for ((n, sum), x) in count.iter_mut().zip(&mut mean).zip(row).filter(|(_, x)| x.is_finite()) {
                *n += 1.0;
                *sum += x;
            }
        }
        for (sum, n) in mean.iter_mut().zip(&count) {
            *sum /= n;
        }
        let mut variance = vec![0.0; columns];
        let mut covariance = vec![vec![0.0; inlets]; inlets];
        let mut worst_residual = 0.0f64;
        for row in draws.rows.chunks_exact(columns) {
            for ((v, m), x) in variance.iter_mut().zip(&mean).zip(row).filter(|(_, x)| x.is_finite()) {
                *v += (x - m) * (x - m);
            }
            for (i, line) in covariance.iter_mut().enumerate() {
                for (j, c) in line.iter_mut().enumerate() {
                    *c += (row[i] - mean[i]) * (row[j] - mean[j]);
                }
            }
            worst_residual = worst_residual.max(row[columns - 1]);
        }
        let free = (draws.rows.len() / columns) as f64 - 1.0;
        covariance.iter_mut().flatten().for_each(|c| *c /= free);
        let deviation = variance.iter().zip(&count).map(|(v, n)| sqrt(v / (n - 1.0))).collect();
        Self { deviation, inlet_covariance: covariance, worst_residual }
    }
}

impl Draws {
    /// Shortest interval that holds 95 % of a column (JCGM 101, clause 5.3.4 and 7.7).
    fn interval95(&self, column: usize) -> (f64, f64) {
        let mut all: Vec<f64> = self.rows.iter().skip(column).step_by(self.columns).copied().collect();
        all.sort_unstable_by(f64::total_cmp);
        let within = (95 * all.len()).div_ceil(100).max(1);
        let widths = all[within - 1..].iter().zip(&all).map(|(high, low)| (*low, *high));
        // An endless interval is the shortest only if there is no other.
        widths.fold(
            (f64::NEG_INFINITY, f64::INFINITY),
            |best, new| {
                if new.1 - new.0 < best.1 - best.0 { new } else { best }
            },
        )
    }
}
