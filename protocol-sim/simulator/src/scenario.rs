//! What a simulation starts from: the pipework as designed, what is wrong with it, and the laws that scatter is drawn from.
//!
//! Not here: files. The caller reads those and builds a [`Scenario`].
use crate::{defect::Defect, device::settings::Setting, lie::Lie, models::Model, physics::Laws, sensors::SensorLaws};
use plumeline_base::pipework::{AirPath, Pipework};
use std::sync::Arc;

/// Which of the two units is meant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Which {
    /// The unit that is to be replaced.
    #[default]
    Outgoing,
    /// The unit that replaces it.
    Replacement,
}

/// A relative scatter: a factor exp(N(0, common) + N(0, individual)), the first drawn once, the second for each thing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spread {
    /// Relative standard deviation shared by all things of the kind.
    pub common: f64,
    /// Relative standard deviation of each thing alone.
    pub individual: f64,
}

/// The shape of the scatter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Law {
    /// Gaussian.
    #[default]
    Normal,
    /// Even between -sqrt(3) and +sqrt(3) standard deviations.
    Uniform,
    /// Student's t with 4 degrees of freedom, scaled to the same standard deviation: heavy tails.
    HeavyTails,
    /// One-sided, exponential less its mean: a few large, most a little small.
    Skewed,
}

/// How what was built differs from what was designed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Shape of every draw.
    pub law: Law,
    /// Drilled diameters of holes and end caps.
    pub diameter: Spread,
    /// Discharge coefficients.
    pub discharge: Spread,
    /// Lengths of segments.
    pub length: Spread,
    /// Bores of segments.
    pub bore: Spread,
    /// Wall roughness.
    pub roughness: Spread,
    /// Loss coefficients of fittings.
    pub minor_k: Spread,
    /// Fan pressure, each unit for itself (common part only).
    pub fan: Spread,
    /// Losses within the unit, each unit for itself.
    pub unit_loss: Spread,
    /// Volume within the unit, each unit for itself (common part only).
    pub unit_volume: Spread,
}
impl Scatter {
    /// No scatter: built as designed.
    pub const NONE: Self = {
        let n = Spread { common: 0.0, individual: 0.0 };
        Self {
            law: Law::Normal,
            diameter: n,
            discharge: n,
            length: n,
            bore: n,
            roughness: n,
            minor_k: n,
            fan: n,
            unit_loss: n,
            unit_volume: n,
        }
    };
}
impl Default for Scatter {
    /// What careful work leaves (common practice, no source).
    fn default() -> Self {
        let s = |common, individual| Spread { common, individual };
        Self {
            law: Law::Normal,
            diameter: s(0.01, 0.015),
            discharge: s(0.03, 0.015),
            length: s(0.002, 0.01),
            bore: s(0.003, 0.002),
            roughness: s(0.3, 0.1),
            minor_k: s(0.05, 0.05),
            fan: s(0.02, 0.0),
            unit_loss: s(0.03, 0.01),
            unit_volume: s(0.0, 0.0),
        }
    }
}

/// Slow change of the pressures of rooms and voids, of the air, and what the ventilation does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ventilation {
    /// Standard deviation of the pressure common to all openings against the exhaust's, Pa.
    pub swing_pa: f64,
    /// Time over which it forgets, s, > 0.
    pub time_s: f64,
}
impl Default for Ventilation {
    fn default() -> Self {
        Self { swing_pa: 0.5, time_s: 300.0 }
    }
}

/// Everything a simulation starts from.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// The pipework as designed, with the replacement's air path (as designed).
    pub pipework: Pipework,
    /// Seed of every draw: same scenario, same calls, same bytes.
    pub seed: u64,
    /// Model of the outgoing unit.
    pub outgoing: Arc<Model>,
    /// Model of the replacement.
    pub replacement: Arc<Model>,
    /// Output of the replacement that the panel's fault input is wired to.
    pub fault_wire: u8,
    /// What is wrong.
    pub defects: Vec<Defect>,
    /// How the replacement lies.
    pub lies: Vec<Lie>,
    /// How what was built differs from the design.
    pub scatter: Scatter,
    /// Slow change of pressures.
    pub ventilation: Ventilation,
    /// How sensors err.
    pub sensors: SensorLaws,
    /// The replacement has an obscuration sensor at each inlet and not one for all.
    pub sensor_per_inlet: bool,
    /// Which physical laws hold.
    pub laws: Laws,
    /// True if the outgoing unit still works. A dead one draws no air and says nothing.
    pub outgoing_alive: bool,
    /// The outgoing unit's air path; `None`: its model's own.
    pub outgoing_air_path: Option<AirPath>,
    /// Which unit is on the wall, with the pipes in it and powered, at the start.
    pub mounted: Which,
    /// The replacement is in service with these settings and has a baseline of its own; `None`: it is as delivered. For a site that is
    /// visited, with [`Self::mounted`].
    pub in_service: Option<Vec<Setting>>,
    /// What [`crate::Simulation::store`] gave in an earlier life of the process; `None`: units as delivered (the
    /// outgoing one with its site's settings).
    pub store: Option<Vec<u8>>,
}
impl Scenario {
    /// The model of that unit.
    pub fn model(&self, which: Which) -> &Arc<Model> {
        match which {
            Which::Outgoing => &self.outgoing,
            Which::Replacement => &self.replacement,
        }
    }
    /// The pipework as it was built: the design with this scenario's scatter, without its defects.
    pub fn as_built(&self) -> Pipework {
        crate::site::as_built(&self.pipework, &self.scatter, self.seed)
    }
    /// A sound site with the outgoing unit alive on the wall, usual scatter and ventilation.
    pub fn new(pipework: Pipework, seed: u64) -> Self {
        Self {
            pipework,
            seed,
            outgoing: Arc::new(Model::of(Which::Outgoing)),
            replacement: Arc::new(Model::of(Which::Replacement)),
            fault_wire: 1,
            defects: Vec::new(),
            lies: Vec::new(),
            scatter: Scatter::default(),
            ventilation: Ventilation::default(),
            sensors: SensorLaws::default(),
            sensor_per_inlet: false,
            laws: Laws::default(),
            outgoing_alive: true,
            outgoing_air_path: None,
            mounted: Which::Outgoing,
            in_service: None,
            store: None,
        }
    }
}
