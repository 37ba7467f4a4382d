//! The geometry of sampling pipework and what is bolted to its ends. Data only: no physics, no files.
//!
//! A pipework is a graph of nodes joined by segments. Usually it is a forest, one tree per inlet; rings are
//! allowed. Openings (sampling holes, end caps, open ends) sit at nodes. Everything is SI; pressures are gauge
//! against [`Air::pressure_pa`] unless they say otherwise.
use crate::text::visible_line;
use alloc::{string::String, vec::Vec};

/// Index of a node in [`Pipework::nodes`].
pub type NodeId = u32;

/// The sampling pipework of one unit, with the unit's own air path.
#[derive(Clone, Debug, PartialEq)]
pub struct Pipework {
    /// Site or drawing name, for people.
    pub name: String,
    /// Junctions, hole positions and pipe ends.
    pub nodes: Vec<Node>,
    /// What joins the nodes.
    pub segments: Vec<Segment>,
    /// Where air can enter: sampling holes, end caps, open ends.
    pub openings: Vec<Opening>,
    /// The unit's inlets that exist, in any order.
    pub inlets: Vec<Inlet>,
    /// The unit's own air path.
    pub unit: AirPath,
    /// The air at the site.
    pub air: Air,
    /// How well the facts are known; indexed by the `known` fields. Entry 0 must exist.
    pub known: Vec<Known>,
    /// The order in which a person walks, where it is stated ([`Pipework::walking_order`]).
    pub walk: Vec<Walked>,
}

/// A pipe of a stated walk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Walked {
    /// Number of its inlet.
    pub inlet: u8,
    /// Numbers of its holes, in the order in which they are reached; those that are not named come after them.
    pub holes: Vec<u32>,
}

/// What people at the site know an opening by.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Whereabouts {
    /// What is written beside it; empty: nothing.
    pub label: String,
    /// Where it is, in words; empty: not stated.
    pub place: String,
}
impl Whereabouts {
    /// Behind the words for the hole, fit to be shown; empty where nothing is stated.
    pub fn words(&self) -> String {
        let mut words = String::new();
        if !self.label.is_empty() {
            words.push_str(", labelled ");
            words.push_str(&visible_line(&self.label));
        }
        if !self.place.is_empty() {
            words.push_str(", \"");
            words.push_str(&visible_line(&self.place));
            words.push('"');
        }
        words
    }
}

/// A point of the pipework.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Node {
    /// Height above the unit's inlet, m.
    pub elevation_m: f64,
}

/// What a segment is, for drawings and checks; the physics is the same.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SegmentKind {
    /// Sampling pipe.
    #[default]
    Pipe,
    /// Capillary (drop tube) from a pipe to a sampling point.
    Capillary,
}

/// A length of round pipe between two nodes.
#[derive(Clone, Debug, PartialEq)]
pub struct Segment {
    /// The end nearer to the unit along the drawing (in a ring: either).
    pub near: NodeId,
    /// The end farther from the unit.
    pub far: NodeId,
    /// What it is.
    pub kind: SegmentKind,
    /// Length, m, > 0.
    pub length_m: f64,
    /// Inside diameter, m, > 0.
    pub bore_m: f64,
    /// Equivalent sand roughness of the wall, m, >= 0.
    pub roughness_m: f64,
    /// Sum of the loss coefficients of bends, tees, couplings, reducers, on this bore's velocity head; >= 0.
    pub minor_k: f64,
    /// Temperature of the air inside, degC, where it differs from the site's ([`Air::temperature_c`]).
    pub air_temperature_c: Option<f64>,
    /// How well this is known: index into [`Pipework::known`].
    pub known: u16,
}

/// What an opening is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum OpeningKind {
    /// A sampling hole.
    #[default]
    Hole,
    /// The hole in an end cap.
    EndCap,
    /// A pipe end without a cap (by design, or a defect).
    OpenEnd,
}

/// A place where air can enter.
#[derive(Clone, Debug, PartialEq)]
pub struct Opening {
    /// The node it sits at.
    pub node: NodeId,
    /// Number along its pipe, from 1 nearest to the unit; the end cap is the last.
    pub number: u32,
    /// What it is.
    pub kind: OpeningKind,
    /// Diameter, m, >= 0 (0: closed by design, such as a blind end cap).
    pub diameter_m: f64,
    /// Discharge coefficient, 0 < Cd <= 1.
    pub discharge: f64,
    /// True while it is taken to be closed.
    pub blocked: bool,
    /// Pressure of the room or void outside, at this height, against the site's ambient air at the same height, Pa.
    pub outside_pa: f64,
    /// Can the technician reach it to close it or release smoke at it?
    pub reachable: bool,
    /// How well this is known: index into [`Pipework::known`].
    pub known: u16,
    /// What people at the site know it by.
    pub whereabouts: Whereabouts,
}

/// One of the unit's inlets.
#[derive(Clone, Debug, PartialEq)]
pub struct Inlet {
    /// Number printed at the unit, from 1.
    pub number: u8,
    /// The pipework's node at the inlet; `None` for an inlet that carries no pipe and is plugged.
    pub node: Option<NodeId>,
    /// Loss from the inlet to the manifold (inlet fitting, flow sensor, filter of this inlet).
    pub loss: Loss,
    /// Bore that `loss` and the flow sensor refer to, m.
    pub bore_m: f64,
    /// Volume from the inlet to the manifold, m3, >= 0.
    pub volume_m3: f64,
}

/// A pressure loss dp = linear q + quadratic q|q|, with q in m3/s at the density `reference_density`.
///
/// The quadratic term scales with density, the linear one with viscosity.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Loss {
    /// Pa per m3/s, >= 0.
    pub linear: f64,
    /// Pa per (m3/s)^2, >= 0.
    pub quadratic: f64,
}

/// The unit's air path from the manifold to the exhaust.
#[derive(Clone, Debug, PartialEq)]
pub struct AirPath {
    /// Loss from the manifold to the fan (main filter, chamber).
    pub loss: Loss,
    /// Volume from the manifold to the sensor, m3, >= 0.
    pub volume_m3: f64,
    /// Time constant of the sensor's own first-order response, s, >= 0.
    pub sensor_lag_s: f64,
    /// What moves the air.
    pub drive: Drive,
    /// Loss of the exhaust (pipe, grille).
    pub exhaust_loss: Loss,
    /// Pressure where the exhaust ends, against the site's ambient air at the same height, Pa.
    pub exhaust_pa: f64,
    /// Height of the exhaust's end above the unit's inlets, m.
    pub exhaust_elevation_m: f64,
}

/// What moves the air.
#[derive(Clone, Debug, PartialEq)]
pub enum Drive {
    /// A fan with a known curve, at a speed.
    Fan(Fan),
    /// No fan curve: the suction below ambient, Pa, measured at each inlet in the order of [`Pipework::inlets`]
    /// (an entry for a plugged inlet is ignored). Each inlet is then solved on its own.
    InletSuction(Vec<f64>),
}

/// A fan's pressure-flow curve and the speed it runs at.
#[derive(Clone, Debug, PartialEq)]
pub struct Fan {
    /// Points of the curve at the reference speed and density, by rising flow. At least two.
    pub curve: Vec<FanPoint>,
    /// How the curve runs between its points.
    pub interpolation: CurveInterpolation,
    /// Speed as a fraction of the curve's reference speed, > 0 (affinity laws: flow ~ n, pressure ~ n^2).
    pub speed: f64,
    /// Density that the curve was taken at, kg/m3, > 0; the pressure scales with density.
    pub reference_density: f64,
    /// Standard uncertainty of the pressure, relative (common to the whole curve).
    pub u_pressure: f64,
}

/// How a curve runs between its points.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum CurveInterpolation {
    /// Straight lines, as general network solvers do.
    Linear,
    /// Monotone cubic (Fritsch and Carlson 1980): smooth, and falling wherever the points fall.
    #[default]
    MonotoneCubic,
}

/// A point of a fan curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FanPoint {
    /// Flow, m3/s.
    pub flow_m3_s: f64,
    /// Pressure rise, Pa.
    pub pressure_pa: f64,
}

/// The air at the site.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Temperature, degC.
    pub temperature_c: f64,
    /// Absolute pressure, Pa.
    pub pressure_pa: f64,
    /// Relative humidity, 0 to 1.
    pub relative_humidity: f64,
    /// Density (kg/m3) and dynamic viscosity (Pa s) given directly in place of the three above.
    pub given: Option<GivenAir>,
}

/// Air properties that were given, not computed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GivenAir {
    /// Density, kg/m3, > 0.
    pub density: f64,
    /// Dynamic viscosity, Pa s, > 0.
    pub viscosity: f64,
}

/// Where a fact of the pipework comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Basis {
    /// Measured or seen on site.
    Surveyed,
    /// Read from a drawing.
    Drawing,
    /// Neither.
    #[default]
    Assumed,
}

/// Relative standard uncertainty (1 sigma; dimensionless) of a kind of fact.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tolerance {
    /// Shared by all facts of this kind in the pipework.
    pub common: f64,
    /// Independent from one to the next.
    pub individual: f64,
}

/// How well the facts of a segment or an opening are known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// Where they come from.
    pub basis: Basis,
    /// Drilled diameter of holes and end caps.
    pub diameter: Tolerance,
    /// Discharge coefficient.
    pub discharge: Tolerance,
    /// Bore of pipes.
    pub bore: Tolerance,
    /// Length of segments.
    pub length: Tolerance,
    /// Wall roughness.
    pub roughness: Tolerance,
    /// Loss coefficients of fittings.
    pub minor_k: Tolerance,
}

impl Pipework {
    /// The openings of each inlet's own tree, by index into [`Pipework::openings`], in the order of
    /// [`Pipework::inlets`]. An opening that several inlets reach (rings) is listed under the first of them.
    pub fn openings_by_inlet(&self) -> Vec<Vec<usize>> {
        let owner = self.owners();
        let mut all = alloc::vec![Vec::new(); self.inlets.len()];
        for (k, o) in self.openings.iter().enumerate() {
            if let Some(i) = owner.get(o.node as usize).copied().flatten() {
                all[i].push(k);
            }
        }
        all
    }

    /// The first inlet (index) that each inlet is joined to by pipes; itself where it is joined to none before it.
    pub fn joined_inlets(&self) -> Vec<usize> {
        let owner = self.owners();
        let of = |node: Option<NodeId>| owner.get(node? as usize).copied().flatten();
        self.inlets.iter().enumerate().map(|(i, inlet)| of(inlet.node).unwrap_or(i)).collect()
    }

    /// The first inlet (index) that reaches each node.
    fn owners(&self) -> Vec<Option<usize>> {
        let n = self.nodes.len();
        let mut adjacent: Vec<Vec<usize>> = alloc::vec![Vec::new(); n];
        for s in &self.segments {
            let (a, b) = (s.near as usize, s.far as usize);
            if a < n && b < n {
                adjacent[a].push(b);
                adjacent[b].push(a);
            }
        }
        let mut owner: Vec<Option<usize>> = alloc::vec![None; n];
        for (i, inlet) in self.inlets.iter().enumerate() {
            let mut stack: Vec<usize> = inlet.node.map(|id| id as usize).into_iter().filter(|&id| id < n).collect();
            while let Some(at) = stack.pop() {
                if owner[at].is_none() {
                    owner[at] = Some(i);
                    stack.extend(adjacent[at].iter().copied());
                }
            }
        }
        owner
    }
}
