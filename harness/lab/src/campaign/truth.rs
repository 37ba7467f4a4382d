//! What is really so at a simulated site, and whether it is material. No verdict of the procedure is looked at here.
//!
//! Material (defined before any run): the obscuration needed at any hole for the lowest alarm level is worse by over 20 %;
//! smoke from a pipe's last opening takes longer than the limit; a pipe is in the wrong inlet or a wire at the wrong output;
//! a pipe's flow is outside the supervision band; a setting is lost. All against the design as the simulator itself has it,
//! without scatter.
use plumeline_base::{
    Instant,
    obscuration::{Extinction, ObscurationUnit},
};
use plumeline_runtime::{failure::Failure, job_files::Loaded};
use plumeline_simulator::{
    Defect, DefectKind, Scenario, Simulation,
    scenario::{Scatter, Which},
    simulation::ScenarioError,
};
use plumeline_unit::{UnitView, view::Unknown};

/// By how much the obscuration needed at a hole may be worse.
const WORSE: f64 = 0.20;
/// Share of its final value at which smoke counts as arrived: what is timed of a release.
pub(super) const ARRIVED: f64 = plumeline_measure::smoke::SHARE;

/// What a job's own files set as limits.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    level: Extinction,
    low: f64,
    high: f64,
    longest_s: f64,
}
impl Bounds {
    /// The lowest alarm level and the supervision band of the settings, and the plan's limit of transport time.
    pub(super) fn of(loaded: &Loaded) -> Result<Self, Failure> {
        let view = UnitView::new(loaded.inputs.replacement.as_ref(), None, loaded.inputs.to_load.as_ref());
        let told = |why: Unknown| Failure::internal(format!("the campaign's settings: {why}"));
        let band = view.flow_band().map_err(told)?;
        Ok(Self {
            level: view.threshold(1).map_err(told)?,
            low: band.low,
            high: band.high,
            longest_s: loaded.inputs.plan.limits.transport.value,
        })
    }
}

/// A place where air is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hole {
    /// Inlet number of its pipe.
    pub pipe: u8,
    /// Number along the pipe.
    pub number: u32,
    /// Flow, L/min.
    pub flow: f64,
}

/// A site at rest with the replacement on the wall.
pub(super) struct Facts {
    /// Flow of each inlet that carries a pipe by design, with its number, L/min.
    pub flows: Vec<(u8, f64)>,
    /// Openings of the design.
    pub holes: Vec<Hole>,
    /// When smoke arrives from the last opening of each pipe, and when it reaches half of its plateau, s.
    pub arrivals: Vec<(u8, [Option<f64>; 2])>,
    total: f64,
    simulation: Simulation,
}

/// A simulation of a scenario; `None`: its flows do not come to rest.
pub(super) fn simulation(scenario: Scenario) -> Result<Option<Simulation>, Failure> {
    match Simulation::new(scenario, Instant::START) {
        Ok(simulation) => Ok(Some(simulation)),
        Err(ScenarioError::Pipework(_)) => Ok(None),
        Err(e) => Err(Failure::internal(format!("the campaign drew what can't be simulated: {e}"))),
    }
}

impl Facts {
    /// The site of a scenario with these defects, built as designed or as it was; `None`: its flows do not come to rest.
    pub(super) fn of(
        scenario: &Scenario,
        bounds: &Bounds,
        defects: &[Defect],
        scatter: bool,
    ) -> Result<Option<Self>, Failure> {
        let mut scenario = Scenario { mounted: Which::Replacement, defects: defects.to_vec(), ..scenario.clone() };
        if !scatter {
            scenario.scatter = Scatter { law: scenario.scatter.law, ..Scatter::NONE };
        }
        let used: Vec<u8> = scenario.pipework.inlets.iter().filter(|i| i.node.is_some()).map(|i| i.number).collect();
        let Some(simulation) = simulation(scenario)? else { return Ok(None) };
        let truth = simulation.truth();
        let hole = |h: &plumeline_simulator::site::control::HoleTruth| Hole {
            pipe: h.pipe,
            number: h.hole,
            flow: h.flow_l_min,
        };
        let mut facts = Self {
            flows: truth.inlets.iter().filter(|i| used.contains(&i.inlet)).map(|i| (i.inlet, i.flow_l_min)).collect(),
            holes: truth.holes.iter().map(hole).collect(),
            arrivals: Vec::new(),
            total: truth.inlets.iter().map(|i| i.flow_l_min).sum(),
            simulation,
        };
        for pipe in used {
            let at = facts.times(pipe, &[ARRIVED, 0.5], 2.0 * bounds.longest_s)?;
            facts.arrivals.push((pipe, [at[0], at[1]]));
        }
        Ok(Some(facts))
    }

    /// Mean time from the last opening of each pipe to the air at the sensor, s.
    pub(super) fn mean_times(&self, sensor_lag_s: f64) -> Result<Vec<(u8, f64)>, Failure> {
        // A hundredth of the smoke at a time; of the last hundredth, whose tail is long, half of what is left at a time.
        const PARTS: u32 = 99;
        const HALVES: u32 = 8;
        let even = (0..PARTS).map(|i| ((f64::from(i) + 0.5) / 100.0, 0.01));
        let tail = (1..=HALVES).map(|i| 0.01 / f64::from(1u32 << i)).map(|part| (1.0 - 1.5 * part, part));
        let (fractions, shares): (Vec<f64>, Vec<f64>) = even.chain(tail).unzip();
        let mean = |&(pipe, _): &(u8, f64)| {
            let all = self.times(pipe, &fractions, 1000.0)?;
            let sum: f64 = all.into_iter().zip(&shares).map(|(t, share)| share * t.unwrap_or(f64::INFINITY)).sum();
            Ok((pipe, sum / shares.iter().sum::<f64>() - sensor_lag_s))
        };
        self.flows.iter().map(mean).collect()
    }

    fn times(&self, pipe: u8, fractions: &[f64], longest_s: f64) -> Result<Vec<Option<f64>>, Failure> {
        let last = self.holes.iter().filter(|h| h.pipe == pipe).map(|h| h.number).max().unwrap_or(1);
        self.simulation.arrivals(pipe, last, fractions, longest_s).map_err(|e| Failure::internal(e.cause))
    }

    /// Obscuration needed at each hole for the lowest alarm level, %/m; infinite where nothing is drawn.
    fn needed(&self, level: Extinction) -> impl Iterator<Item = f64> {
        self.holes.iter().map(move |h| {
            if h.flow > 1e-6 {
                Extinction(level.0 * self.total / h.flow).stated(ObscurationUnit::PercentPerMetre)
            } else {
                f64::INFINITY
            }
        })
    }

    /// Why this site is material against the design; empty: it is sound.
    pub(super) fn material(&self, design: &Self, bounds: &Bounds, defects: &[Defect]) -> Vec<String> {
        let mut why = Vec::new();
        let worse = design.needed(bounds.level).zip(self.needed(bounds.level)).map(|(d, s)| s / d - 1.0);
        let worst = worse.fold(0.0, f64::max);
        if worst.is_infinite() {
            why.push("a hole draws nothing".into());
        } else if worst > WORSE {
            why.push(format!("obscuration needed at a hole worse by {:.0} %", worst * 100.0));
        }
        for (pipe, [arrived, _]) in &self.arrivals {
            if arrived.is_none_or(|t| t > bounds.longest_s) {
                why.push(format!("smoke from the last opening of pipe {pipe} takes over {} s", bounds.longest_s));
            }
        }
        for ((pipe, d), (_, s)) in design.flows.iter().zip(&self.flows) {
            let change = s / d - 1.0;
            if change < -bounds.low || change > bounds.high {
                why.push(format!("flow of pipe {pipe} is {:+.0} % of the design's", change * 100.0));
            }
        }
        why.extend(defects.iter().filter_map(|d| match d.kind {
            DefectKind::PipesCrossed => Some("pipes in the wrong inlets".into()),
            DefectKind::WiresCrossed => Some("wires at the wrong outputs".into()),
            DefectKind::SettingLost => Some("a lost setting".into()),
            _ => None,
        }));
        why
    }
}
