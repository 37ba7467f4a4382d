//! The network of a pipework: each segment, opening, inlet and the unit as a branch.
use super::{Branch, FIRST_STEP_S, Fan, Joint, Law, Network, OUTSIDE, Pipe};
use crate::physics::{
    Laws, Momentum,
    air::{self, GRAVITY_M_S2},
    fan::Curve,
    friction::rough_term,
    matrix::Matrix,
};
use plumeline_base::pipework::{AirPath, Drive, Loss, NodeId, Pipework, Segment, SegmentKind};

/// Loss coefficient of air drawn into a plain pipe end, its own velocity head included (Idelchik, diagram 3-1, thin edge: about
/// 1; from memory), as a discharge coefficient 1/sqrt(1 + 0.5).
pub(crate) const OPEN_END_DISCHARGE: f64 = 0.816;
/// Bore of a sampling pipe (25 mm outside; common practice), for an end that no segment tells it of, m.
pub(crate) const USUAL_BORE_M: f64 = 0.021;
/// Discharge coefficient of a leaking joint (common practice, no source).
const LEAK_DISCHARGE: f64 = 0.6;
/// Thickness of a sampling pipe's wall, m (25 mm outside, 21 mm inside): length of a hole.
const WALL_M: f64 = 0.002;
/// Length over area of the unit's own air path, 1/m (a hand's breadth of a square inch; only the first tenths of a second feel it).
const UNIT_INERTIA: f64 = 200.0;

pub(super) fn area(bore_m: f64) -> f64 {
    core::f64::consts::PI / 4.0 * bore_m * bore_m
}
/// A hole's law: turbulent term by its discharge coefficient, viscous term after Sampson (Phil. Trans. R. Soc. A 1891):
/// dp = 3 mu q / r^3. The second gives a starved hole a finite slope.
fn hole(diameter_m: f64, discharge: f64, fluid: air::Fluid, viscous: bool, outside_pa: f64, shut: bool) -> Law {
    let cda = discharge * area(diameter_m);
    if cda <= 0.0 {
        return Law::Hole { quadratic: 0.0, linear: 0.0, outside_pa, shut: true };
    }
    let r = diameter_m / 2.0;
    let sampson = 3.0 * fluid.viscosity / (fluid.density * r * r * r);
    let quadratic = 1.0 / (2.0 * fluid.density * cda * cda);
    Law::Hole { quadratic, linear: if viscous { sampson } else { 0.0 }, outside_pa, shut }
}
fn hole_inertia(diameter_m: f64) -> f64 {
    // End correction of Rayleigh, 8/(3 pi) of a radius on each side.
    if diameter_m > 0.0 { (WALL_M + 0.85 * diameter_m) / area(diameter_m) } else { 1.0 }
}
/// A loss in kg/s terms at `density`.
fn by_mass(loss: Loss, density: f64, reference: f64) -> (f64, f64) {
    (loss.linear / density, loss.quadratic * (density / reference) / (density * density))
}

/// A segment whose ends exist, as a branch's law.
fn pipe(pipework: &Pipework, s: &Segment, fluid: air::Fluid, site: air::Fluid, momentum: Momentum) -> Pipe {
    let a = area(s.bore_m);
    let elevation = |id: NodeId| pipework.nodes[id as usize].elevation_m;
    let mut runs = pipework.segments.iter().enumerate().filter(|(_, t)| t.near == s.far && t.kind == s.kind);
    let (first, second) = (runs.next(), runs.next());
    let run = first.filter(|(_, t)| second.is_none() && t.kind == SegmentKind::Pipe);
    let joined = pipework.openings.iter().any(|o| o.node == s.far)
        || pipework.segments.iter().any(|t| t.near == s.far && t.kind != s.kind);
    let gathers = match (momentum, second, run) {
        // Where pipes branch, the tee's loss coefficient has the momentum in it.
        (Momentum::Left, ..) | (_, Some(_), _) => 0.0,
        (_, None, Some((_, t))) if t.bore_m != s.bore_m && !joined => 0.5,
        _ => 1.0,
    };
    Pipe {
        friction: s.length_m / (s.bore_m * 2.0 * fluid.density * a * a),
        reynolds: s.bore_m / (a * fluid.viscosity),
        roughness: s.roughness_m / s.bore_m,
        rough: rough_term(s.roughness_m / s.bore_m),
        minor: s.minor_k / (2.0 * fluid.density * a * a),
        stack_pa: (fluid.density - site.density) * GRAVITY_M_S2 * (elevation(s.far) - elevation(s.near)),
        flux: 1.0 / (fluid.density * a * a),
        gathers,
        run: run.map(|(k, _)| k as u32),
        bore_m: s.bore_m,
        length_m: s.length_m,
        density: fluid.density,
        viscosity: fluid.viscosity,
    }
}

/// A network's branches as they are found.
struct Parts<'a> {
    pipework: &'a Pipework,
    laws: Laws,
    /// Air of the site.
    site: air::Fluid,
    /// Density that losses are stated at.
    reference: f64,
    branches: Vec<Branch>,
    /// Compliance of every node; the last is the manifold.
    capacity: Vec<f64>,
    /// Air of the pipe at each node, for the holes there.
    fluid_at: Vec<air::Fluid>,
}
impl Parts<'_> {
    fn manifold(&self) -> u32 {
        self.pipework.nodes.len() as u32
    }
    fn node(&self, id: NodeId, what: &str, i: usize) -> Result<NodeId, String> {
        let there = (id as usize) < self.pipework.nodes.len();
        if there { Ok(id) } else { Err(format!("{what} {i} names node {id}, which does not exist")) }
    }
    fn compliance(&self, volume: f64, density: f64) -> f64 {
        volume * density / self.pipework.air.pressure_pa
    }
    fn segments(&mut self) -> Result<(), String> {
        let pipework = self.pipework;
        for (i, s) in pipework.segments.iter().enumerate() {
            let (far, near) = (self.node(s.far, "segment", i)?, self.node(s.near, "segment", i)?);
            if !(s.length_m > 0.0 && s.bore_m > 0.0 && s.roughness_m >= 0.0 && s.minor_k >= 0.0) || far == near {
                return Err(format!("segment {i} needs a length and a bore above 0 and two different ends"));
            }
            let fluid = air::fluid(&pipework.air, s.air_temperature_c);
            self.fluid_at[far as usize] = fluid;
            let a = area(s.bore_m);
            let half = self.compliance(a * s.length_m / 2.0, fluid.density);
            self.capacity[far as usize] += half;
            self.capacity[near as usize] += half;
            let pipe = pipe(pipework, s, fluid, self.site, self.laws.momentum);
            self.branches.push(Branch { from: far, to: near, inertia: s.length_m / a, law: Law::Pipe(pipe) });
        }
        Ok(())
    }
    fn openings(&mut self) -> Result<(), String> {
        for (i, o) in self.pipework.openings.iter().enumerate() {
            let at = self.node(o.node, "opening", i)?;
            if !(o.diameter_m >= 0.0 && o.discharge > 0.0 && o.outside_pa.is_finite()) {
                return Err(format!("opening {i} needs a diameter of at least 0 and a discharge coefficient above 0"));
            }
            let (fluid, viscous) = (self.fluid_at[at as usize], self.laws.viscous_holes);
            let law = hole(o.diameter_m, o.discharge, fluid, viscous, o.outside_pa, o.blocked);
            self.branches.push(Branch { from: OUTSIDE, to: at, inertia: hole_inertia(o.diameter_m), law });
        }
        Ok(())
    }
    /// The inlets, then what leaks at them; gives the mass of air in each.
    fn inlets(&mut self, joints: &[Joint]) -> Result<Vec<f64>, String> {
        let (pipework, site, manifold) = (self.pipework, self.site, self.manifold());
        let joint = |i: usize| joints.get(i).copied().unwrap_or_default();
        let mut inlet_mass = Vec::new();
        for (i, inlet) in pipework.inlets.iter().enumerate() {
            let joint = joint(i);
            let (linear, quadratic) = by_mass(inlet.loss, site.density, self.reference);
            let shut = joint.shut || (joint.node.is_none() && !joint.open);
            let from = joint.node.map_or(Ok(OUTSIDE), |id| self.node(id, "inlet", i))?;
            let a = area(inlet.bore_m).max(1e-6);
            // An open inlet draws from the room through its own mouth, or through the hole that its plug leaves.
            let mouth = match (joint.node, area(joint.leak_m) * LEAK_DISCHARGE) {
                (Some(_), _) => 0.0,
                (None, leak) if leak > 0.0 => 1.0 / (2.0 * site.density * leak * leak),
                (None, _) => 1.5 / (2.0 * site.density * a * a),
            };
            let law = Law::Fitting { linear, quadratic: quadratic + mouth, shut };
            self.branches.push(Branch { from, to: manifold, inertia: 0.05 / a, law });
            inlet_mass.push(inlet.volume_m3.max(0.0) * site.density);
            self.capacity[manifold as usize] += self.compliance(inlet.volume_m3.max(0.0), site.density);
        }
        for i in 0..pipework.inlets.len() {
            let joint = joint(i);
            let at = joint.node.unwrap_or(manifold);
            let viscous = self.laws.viscous_holes;
            let law = hole(joint.leak_m, LEAK_DISCHARGE, site, viscous, 0.0, joint.node.is_none());
            self.branches.push(Branch { from: OUTSIDE, to: at, inertia: hole_inertia(joint.leak_m), law });
        }
        Ok(inlet_mass)
    }
    /// The unit's own path, and pipe ends that are open to the room.
    fn unit(&mut self, unit: &AirPath, loose: &[NodeId]) -> Result<(), String> {
        let (site, manifold) = (self.site, self.manifold());
        let (linear, quadratic) = [unit.loss, unit.exhaust_loss]
            .iter()
            .map(|l| by_mass(*l, site.density, self.reference))
            .fold((0.0, 0.0), |sum, l| (sum.0 + l.0, sum.1 + l.1));
        let law = Law::Unit { linear, quadratic, drive_pa: -unit.exhaust_pa, density: site.density };
        self.branches.push(Branch { from: manifold, to: OUTSIDE, inertia: UNIT_INERTIA, law });
        for &at in loose {
            let at = self.node(at, "pipe end", 0)?;
            let mut ends = self.pipework.segments.iter().filter(|s| s.near == at || s.far == at);
            let bore = ends.next().map_or(USUAL_BORE_M, |s| s.bore_m);
            let law = hole(bore, OPEN_END_DISCHARGE, site, false, 0.0, false);
            self.branches.push(Branch { from: OUTSIDE, to: at, inertia: hole_inertia(bore), law });
        }
        self.capacity[manifold as usize] += self.compliance(unit.volume_m3.max(1e-5), site.density);
        // A node with nothing at it still needs a number.
        self.capacity.iter_mut().for_each(|c| *c = c.max(1e-12));
        Ok(())
    }
}

impl Network {
    /// Builds the network of `pipework` with its inlets joined up as `joints` says (in the order of the inlets) and with
    /// `loose` pipe ends open to the room. All at rest; the fan stands still.
    ///
    /// # Errors
    /// Says what in the pipework contradicts itself.
    pub(crate) fn new(
        pipework: &Pipework,
        joints: &[Joint],
        loose: &[NodeId],
        unit: &AirPath,
        laws: Laws,
    ) -> Result<Self, String> {
        let Drive::Fan(fan) = &unit.drive else {
            return Err("the unit needs a fan curve: a suction at the inlets drives nothing".into());
        };
        let curve = Curve::new(fan).ok_or("the fan curve needs at least two points by rising flow")?;
        let n = pipework.nodes.len();
        let site = air::fluid(&pipework.air, None);
        if !(site.density > 0.0 && site.viscosity > 0.0 && site.density.is_finite() && pipework.air.pressure_pa > 0.0) {
            return Err("the air's temperature, pressure or humidity makes no air".into());
        }
        if let Some(i) = pipework.nodes.iter().position(|n| !n.elevation_m.is_finite()) {
            return Err(format!("node {i} needs a height"));
        }
        let mut parts = Parts {
            pipework,
            laws,
            site,
            reference: fan.reference_density,
            branches: Vec::new(),
            capacity: vec![0.0; n + 1],
            fluid_at: vec![site; n],
        };
        parts.segments()?;
        parts.openings()?;
        let inlet_mass = parts.inlets(joints)?;
        parts.unit(unit, loose)?;
        let Parts { branches, capacity, fluid_at, .. } = parts;

        let mut edges = Vec::new();
        let edge = branches
            .iter()
            .map(|b| {
                if b.from == OUTSIDE || b.to == OUTSIDE {
                    return u32::MAX;
                }
                edges.push((b.from, b.to));
                edges.len() as u32 - 1
            })
            .collect();
        let k = branches.len();
        Ok(Self {
            laws,
            edge,
            matrix: Matrix::new(n + 1, &edges),
            capacity,
            fan: Fan { curve, speed: 0.0, target: 0.0, spin_s: 1.0 },
            segments: pipework.segments.len(),
            openings: pipework.openings.len(),
            inlets: pipework.inlets.len(),
            unit_density: site.density,
            opening_density: pipework.openings.iter().map(|o| fluid_at[o.node as usize].density).collect(),
            inlet_mass,
            m: vec![0.0; k],
            p: vec![0.0; n + 1],
            dt: FIRST_STEP_S,
            held: true,
            seen: vec![(0.0, 0.0, 0.0); k],
            g: vec![0.0; k],
            a: vec![0.0; k],
            branches,
        })
    }
}
