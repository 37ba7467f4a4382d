//! The air in the pipes, marched in time: every length of pipe has inertia, every node a little compliance.
//!
//! Each branch obeys I dm/dt = p_from - p_to + e - r(m), with I = length/area, and each node C dp/dt = inflow - outflow, with
//! C = V rho/p. A step is linearly implicit (Rosenbrock's method of first order: one Newton step on backward Euler), so that
//! long steps are stable and end in the steady state. Unknowns are mass flows: cold air then expands as it should.
//!
//! Not here: what is carried along (see `smoke`), and what people do to the pipes (see [`crate::site`]).
use super::{
    Laws, Momentum,
    air::{self, GRAVITY_M_S2},
    fan::Curve,
    friction::laminar_share,
    matrix::Matrix,
};
use plumeline_base::pipework::{AirPath, Drive, Loss, NodeId, Pipework, SegmentKind};

/// How one inlet of the unit is joined up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Joint {
    /// The pipe's node; `None`: no pipe.
    pub(crate) node: Option<NodeId>,
    /// Without a pipe: open to the room (else plugged).
    pub(crate) open: bool,
    /// Shut by hand.
    pub(crate) shut: bool,
    /// Diameter of a hole that leaks as much as the joint, m.
    pub(crate) leak_m: f64,
}

const OUTSIDE: u32 = u32::MAX;

/// What resists and drives a branch.
#[derive(Clone, Debug)]
enum Law {
    Pipe(Pipe),
    Hole { quadratic: f64, linear: f64, outside_pa: f64, shut: bool },
    Fitting { linear: f64, quadratic: f64, shut: bool },
    Unit { linear: f64, quadratic: f64, drive_pa: f64, density: f64 },
}
#[derive(Clone, Debug)]
struct Pipe {
    /// dp = f * friction * m|m|.
    friction: f64,
    /// Re = |m| * reynolds.
    reynolds: f64,
    roughness: f64,
    /// dp = minor * m|m|.
    minor: f64,
    /// Weight of its air against the ambient's, Pa.
    stack_pa: f64,
    /// Momentum of the flow in it: beta * m^2 * flux, Pa.
    flux: f64,
    /// Does the flow gather momentum at its far end, from openings or capillaries there?
    gathers: bool,
    /// The pipe that comes straight in at its far end.
    run: Option<u32>,
    bore_m: f64,
    length_m: f64,
    density: f64,
    viscosity: f64,
}

#[derive(Clone, Debug)]
struct Branch {
    from: u32,
    to: u32,
    /// Length over area, 1/m.
    inertia: f64,
    law: Law,
}

/// A carrier of smoke, as the smoke sees a branch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Conduit {
    /// Air in it, kg.
    pub(crate) mass: f64,
    /// Bore, m (0: no pipe).
    pub(crate) bore_m: f64,
    /// Length, m.
    pub(crate) length_m: f64,
    /// Re per kg/s.
    pub(crate) reynolds: f64,
    /// Density, kg/m3.
    pub(crate) density: f64,
    /// Dynamic viscosity, Pa s.
    pub(crate) viscosity: f64,
}

/// The flows and pressures of one installation.
#[derive(Clone, Debug)]
pub(crate) struct Network {
    laws: Laws,
    branches: Vec<Branch>,
    /// For each branch between two nodes its number among the matrix's edges.
    edge: Vec<u32>,
    matrix: Matrix,
    capacity: Vec<f64>,
    curve: Curve,
    segments: usize,
    openings: usize,
    inlets: usize,
    unit_density: f64,
    inlet_mass: Vec<f64>,
    /// Mass flow of each branch, kg/s, positive towards the unit.
    m: Vec<f64>,
    /// Pressure of each node, Pa.
    p: Vec<f64>,
    /// Fan speed as a share of its curve's reference speed.
    speed: f64,
    target_speed: f64,
    spin_s: f64,
    /// Next step, s.
    dt: f64,
    held: bool,
    // Scratch of a step.
    g: Vec<f64>,
    a: Vec<f64>,
}

/// Loss coefficient of air drawn into a plain pipe end, its own velocity head included (Idelchik, diagram 3-1, thin edge: about
/// 1; from memory), as a discharge coefficient 1/sqrt(1 + 0.5).
pub(crate) const OPEN_END_DISCHARGE: f64 = 0.816;
/// Discharge coefficient of a leaking joint (common practice, no source).
const LEAK_DISCHARGE: f64 = 0.6;
/// Thickness of a sampling pipe's wall, m (25 mm outside, 21 mm inside): length of a hole.
const WALL_M: f64 = 0.002;
/// Length over area of the unit's own air path, 1/m (a hand's breadth of a square inch; only the first tenths of a second feel it).
const UNIT_INERTIA: f64 = 200.0;

fn area(bore_m: f64) -> f64 {
    core::f64::consts::PI / 4.0 * bore_m * bore_m
}
/// A hole's law: turbulent term by its discharge coefficient, viscous term after Sampson (Phil. Trans. R. Soc. A 1891):
/// dp = 3 mu q / r^3. The second gives a starved hole a finite slope.
fn hole(diameter_m: f64, discharge: f64, fluid: air::Fluid, viscous: bool, outside_pa: f64, shut: bool) -> Law {
    let cda = discharge * area(diameter_m);
    let r = diameter_m / 2.0;
    let sampson = 3.0 * fluid.viscosity / (fluid.density * r * r * r);
    let shut = shut || cda <= 0.0;
    let quadratic = if shut { 0.0 } else { 1.0 / (2.0 * fluid.density * cda * cda) };
    Law::Hole { quadratic, linear: if viscous && !shut { sampson } else { 0.0 }, outside_pa, shut }
}
fn hole_inertia(diameter_m: f64) -> f64 {
    // End correction of Rayleigh, 8/(3 pi) of a radius on each side.
    if diameter_m > 0.0 { (WALL_M + 0.85 * diameter_m) / area(diameter_m) } else { 1.0 }
}
/// A loss in kg/s terms at `density`.
fn by_mass(loss: Loss, density: f64, reference: f64) -> (f64, f64) {
    (loss.linear / density, loss.quadratic * (density / reference) / (density * density))
}

/// Steps, s: the first after something changed, and the longest.
const FIRST_STEP_S: f64 = 0.01;
const LONGEST_STEP_S: f64 = 2.0;
/// A step that changes flows by less than this share of the greatest one is taken for rest.
const REST: f64 = 1e-7;

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
        let reference = fan.reference_density;
        let manifold = n as u32;
        let mut capacity = vec![0.0; n + 1];
        let compliance = |volume: f64, density: f64| volume * density / pipework.air.pressure_pa;
        let node = |id: NodeId, what: &str, i: usize| {
            if (id as usize) < n { Ok(id) } else { Err(format!("{what} {i} names node {id}, which does not exist")) }
        };
        let elevation = |id: NodeId| pipework.nodes[id as usize].elevation_m;

        let mut branches = Vec::new();
        // Air of the pipe at each node, for the holes there.
        let mut fluid_at = vec![site; n];
        for (i, s) in pipework.segments.iter().enumerate() {
            let (far, near) = (node(s.far, "segment", i)?, node(s.near, "segment", i)?);
            if !(s.length_m > 0.0 && s.bore_m > 0.0 && s.roughness_m >= 0.0 && s.minor_k >= 0.0) || far == near {
                return Err(format!("segment {i} needs a length and a bore above 0 and two different ends"));
            }
            let fluid = air::fluid(&pipework.air, s.air_temperature_c);
            let a = area(s.bore_m);
            fluid_at[far as usize] = fluid;
            let half = compliance(a * s.length_m / 2.0, fluid.density);
            capacity[far as usize] += half;
            capacity[near as usize] += half;
            let runs: Vec<usize> = pipework
                .segments
                .iter()
                .enumerate()
                .filter(|(_, t)| t.near == far && t.kind == s.kind)
                .map(|(k, _)| k)
                .collect();
            let is_run = |k: &usize| pipework.segments[*k].kind == SegmentKind::Pipe;
            let run = (runs.len() == 1).then(|| runs[0]).filter(is_run);
            branches.push(Branch {
                from: far,
                to: near,
                inertia: s.length_m / a,
                law: Law::Pipe(Pipe {
                    friction: s.length_m / (s.bore_m * 2.0 * fluid.density * a * a),
                    reynolds: s.bore_m / (a * fluid.viscosity),
                    roughness: s.roughness_m / s.bore_m,
                    minor: s.minor_k / (2.0 * fluid.density * a * a),
                    stack_pa: (fluid.density - site.density) * GRAVITY_M_S2 * (elevation(far) - elevation(near)),
                    flux: 1.0 / (fluid.density * a * a),
                    // Where pipes branch, the tee's loss coefficient has the momentum in it.
                    gathers: laws.momentum != Momentum::Left && runs.len() <= 1,
                    run: run.map(|k| k as u32),
                    bore_m: s.bore_m,
                    length_m: s.length_m,
                    density: fluid.density,
                    viscosity: fluid.viscosity,
                }),
            });
        }
        for (i, o) in pipework.openings.iter().enumerate() {
            let at = node(o.node, "opening", i)?;
            if !(o.diameter_m >= 0.0 && o.discharge > 0.0 && o.outside_pa.is_finite()) {
                return Err(format!("opening {i} needs a diameter of at least 0 and a discharge coefficient above 0"));
            }
            let law =
                hole(o.diameter_m, o.discharge, fluid_at[at as usize], laws.viscous_holes, o.outside_pa, o.blocked);
            branches.push(Branch { from: OUTSIDE, to: at, inertia: hole_inertia(o.diameter_m), law });
        }
        let mut inlet_mass = Vec::new();
        for (i, inlet) in pipework.inlets.iter().enumerate() {
            let joint = joints.get(i).copied().unwrap_or_default();
            let (linear, quadratic) = by_mass(inlet.loss, site.density, reference);
            let shut = joint.shut || (joint.node.is_none() && !joint.open);
            let from = joint.node.map_or(Ok(OUTSIDE), |id| node(id, "inlet", i))?;
            let a = area(inlet.bore_m).max(1e-6);
            // An open inlet draws from the room through its own mouth.
            let mouth = if joint.node.is_none() { 1.5 / (2.0 * site.density * a * a) } else { 0.0 };
            branches.push(Branch {
                from,
                to: manifold,
                inertia: 0.05 / a,
                law: Law::Fitting { linear, quadratic: quadratic + mouth, shut },
            });
            inlet_mass.push(inlet.volume_m3.max(0.0) * site.density);
            capacity[n] += compliance(inlet.volume_m3.max(0.0), site.density);
        }
        for i in 0..pipework.inlets.len() {
            let joint = joints.get(i).copied().unwrap_or_default();
            let at = joint.node.unwrap_or(manifold);
            let law = hole(joint.leak_m, LEAK_DISCHARGE, site, laws.viscous_holes, 0.0, joint.node.is_none());
            branches.push(Branch { from: OUTSIDE, to: at, inertia: hole_inertia(joint.leak_m), law });
        }
        let (linear, quadratic) = [unit.loss, unit.exhaust_loss]
            .iter()
            .map(|l| by_mass(*l, site.density, reference))
            .fold((0.0, 0.0), |sum, l| (sum.0 + l.0, sum.1 + l.1));
        branches.push(Branch {
            from: manifold,
            to: OUTSIDE,
            inertia: UNIT_INERTIA,
            law: Law::Unit { linear, quadratic, drive_pa: -unit.exhaust_pa, density: site.density },
        });
        for &at in loose {
            let at = node(at, "pipe end", 0)?;
            let bore = pipework.segments.iter().find(|s| s.near == at || s.far == at).map_or(0.021, |s| s.bore_m);
            let law = hole(bore, OPEN_END_DISCHARGE, site, false, 0.0, false);
            branches.push(Branch { from: OUTSIDE, to: at, inertia: hole_inertia(bore), law });
        }
        capacity[n] += compliance(unit.volume_m3.max(1e-5), site.density);
        // A node with nothing at it still needs a number.
        capacity.iter_mut().for_each(|c| *c = c.max(1e-12));

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
            curve,
            segments: pipework.segments.len(),
            openings: pipework.openings.len(),
            inlets: pipework.inlets.len(),
            unit_density: site.density,
            inlet_mass,
            m: vec![0.0; k],
            p: vec![0.0; n + 1],
            speed: 0.0,
            target_speed: 0.0,
            spin_s: 1.0,
            dt: FIRST_STEP_S,
            held: true,
            g: vec![0.0; k],
            a: vec![0.0; k],
            branches,
        })
    }

    /// Takes over flows, pressures and fan speed of the network that this one replaces.
    pub(crate) fn carry_over(&mut self, old: &Self) {
        let parts = |n: &Self| [n.segments, n.openings, n.inlets, n.inlets, 1];
        let (mut to, mut from) = (0, 0);
        for (new, old_n) in parts(self).into_iter().zip(parts(old)) {
            for i in 0..new.min(old_n) {
                self.m[to + i] = old.m[from + i];
            }
            to += new;
            from += old_n;
        }
        for (p, old) in self.p.iter_mut().zip(&old.p) {
            *p = *old;
        }
        (self.speed, self.target_speed, self.spin_s) = (old.speed, old.target_speed, old.spin_s);
        self.disturb();
    }
    /// Says that something changed: steps start short again.
    pub(crate) fn disturb(&mut self) {
        self.held = false;
        self.dt = FIRST_STEP_S;
    }
    /// The speed that the fan is to run at, and the time constant with which it gets there, s.
    pub(crate) fn set_speed(&mut self, target: f64, spin_s: f64) {
        if target != self.target_speed {
            self.target_speed = target;
            self.disturb();
        }
        self.spin_s = spin_s;
    }
    /// Opens or shuts opening `i`.
    pub(crate) fn shut_opening(&mut self, i: usize, shut_now: bool, pipework: &Pipework) {
        let Some(o) = pipework.openings.get(i) else { return };
        let site = air::fluid(&pipework.air, None);
        let near = pipework.segments.iter().rev().find(|s| s.far == o.node);
        let fluid = near.map_or(site, |s| air::fluid(&pipework.air, s.air_temperature_c));
        let law = hole(o.diameter_m, o.discharge, fluid, self.laws.viscous_holes, o.outside_pa, shut_now || o.blocked);
        self.branches[self.segments + i].law = law;
        self.disturb();
    }
    /// Pressure where the exhaust ends, Pa; a small change, followed with long steps.
    pub(crate) fn set_exhaust_pa(&mut self, pa: f64) {
        let unit = self.unit();
        if let Law::Unit { drive_pa, .. } = &mut self.branches[unit].law {
            *drive_pa = -pa;
        }
        self.held = false;
    }

    /// One step of `dt`; gives the greatest change of a flow as a share of the greatest flow.
    fn step(&mut self, dt: f64) -> f64 {
        if self.speed != self.target_speed {
            self.speed += (self.target_speed - self.speed) * -libm::expm1(-dt / self.spin_s);
            if (self.speed - self.target_speed).abs() < 1e-6 {
                self.speed = self.target_speed;
            }
        }
        self.matrix.clear();
        let p = &mut self.p;
        for (i, c) in self.capacity.iter().enumerate() {
            self.matrix.diagonal[i] = c / dt;
            p[i] *= c / dt;
        }
        for (i, b) in self.branches.iter().enumerate() {
            let m = self.m[i];
            let (resist, slope, drive) = match &b.law {
                Law::Hole { shut: true, .. } | Law::Fitting { shut: true, .. } => {
                    (self.g[i], self.a[i]) = (0.0, 0.0);
                    continue;
                }
                Law::Hole { quadratic, linear, outside_pa, .. } => {
                    (quadratic * m * m.abs() + linear * m, 2.0 * quadratic * m.abs() + linear, *outside_pa)
                }
                Law::Fitting { quadratic, linear, .. } => {
                    (quadratic * m * m.abs() + linear * m, 2.0 * quadratic * m.abs() + linear, 0.0)
                }
                Law::Unit { quadratic, linear, drive_pa, density } => {
                    let (rise, fall) = self.curve.at(m / density, self.speed, *density);
                    (
                        quadratic * m * m.abs() + linear * m,
                        2.0 * quadratic * m.abs() + linear + (-fall / density).max(0.0),
                        drive_pa + rise,
                    )
                }
                Law::Pipe(pipe) => {
                    let (r, s) = self.laws.pipe(pipe, m, pipe.run.map_or(0.0, |k| self.m[k as usize]), |k| match &self
                        .branches[k as usize]
                        .law
                    {
                        Law::Pipe(p) => Some(p),
                        _ => None,
                    });
                    (r, s, pipe.stack_pa)
                }
            };
            let g = 1.0 / (b.inertia / dt + slope);
            let a = m + g * (drive - resist);
            (self.g[i], self.a[i]) = (g, a);
            let (from, to) = (b.from as usize, b.to as usize);
            if b.from != OUTSIDE && b.to != OUTSIDE {
                self.matrix.add_edge(self.edge[i] as usize, from, to, g);
            } else if b.to != OUTSIDE {
                self.matrix.diagonal[to] += g;
            } else {
                self.matrix.diagonal[from] += g;
            }
            if b.from != OUTSIDE {
                p[from] -= a;
            }
            if b.to != OUTSIDE {
                p[to] += a;
            }
        }
        self.matrix.solve(p);
        let (mut change, mut greatest) = (0.0f64, 1e-9f64);
        for (i, b) in self.branches.iter().enumerate() {
            let at = |id: u32| if id == OUTSIDE { 0.0 } else { p[id as usize] };
            let m = self.a[i] + self.g[i] * (at(b.from) - at(b.to));
            change = change.max((m - self.m[i]).abs());
            greatest = greatest.max(m.abs());
            self.m[i] = m;
        }
        change / greatest
    }
    /// Marches on by `span` seconds, or less if all comes to rest before.
    pub(crate) fn march(&mut self, span: f64) {
        let mut left = span;
        while left > 0.0 && !self.held {
            let dt = self.dt.min(left);
            let change = self.step(dt);
            left -= dt;
            // A step of a dozen milliseconds changes little just because it is short.
            self.held = change < REST * (dt / LONGEST_STEP_S).min(1.0) && self.speed == self.target_speed;
            let grown = if change > 0.05 {
                self.dt * 0.7
            } else if change < 0.02 {
                self.dt * 1.5
            } else {
                self.dt
            };
            self.dt = grown.clamp(FIRST_STEP_S, LONGEST_STEP_S);
        }
    }
    /// Goes straight to the steady state at the target speed; false if none is found.
    pub(crate) fn settle(&mut self) -> bool {
        self.speed = self.target_speed;
        let mut dt = 0.05;
        let mut quiet = 0;
        for _ in 0..500 {
            let change = self.step(dt);
            if !change.is_finite() {
                return false;
            }
            quiet = if change < 1e-11 && dt >= 1e3 { quiet + 1 } else { 0 };
            if quiet >= 2 {
                self.held = true;
                return true;
            }
            dt = if change > 0.5 { (dt * 0.5).max(0.01) } else { (dt * 1.6).min(1e3) };
        }
        false
    }

    const fn unit(&self) -> usize {
        self.segments + self.openings + 2 * self.inlets
    }
    /// True while nothing moves but steadily.
    pub(crate) const fn held(&self) -> bool {
        self.held
    }
    /// Fan speed as a share of the curve's reference speed.
    pub(crate) const fn speed(&self) -> f64 {
        self.speed
    }
    /// Mass flow of segment `i` towards the unit, kg/s.
    pub(crate) fn segment_kg_s(&self, i: usize) -> f64 {
        self.m[i]
    }
    /// Mass flow into opening `i`, kg/s.
    pub(crate) fn opening_kg_s(&self, i: usize) -> f64 {
        self.m[self.segments + i]
    }
    /// Mass flow through inlet `i` (in the order of the inlets), kg/s.
    pub(crate) fn inlet_kg_s(&self, i: usize) -> f64 {
        self.m[self.segments + self.openings + i]
    }
    /// Mass flow through the unit, kg/s.
    pub(crate) fn unit_kg_s(&self) -> f64 {
        self.m[self.unit()]
    }
    /// Pressure of a node against the ambient at its height, Pa.
    pub(crate) fn node_pa(&self, id: NodeId) -> f64 {
        self.p.get(id as usize).copied().unwrap_or(0.0)
    }
    /// Pressure of the manifold, Pa.
    pub(crate) fn manifold_pa(&self) -> f64 {
        self.p[self.p.len() - 1]
    }
    /// Density of the air in the unit, kg/m3.
    pub(crate) const fn unit_density(&self) -> f64 {
        self.unit_density
    }
    /// Number of branches up to the unit's own; the first are the segments, then openings, inlets, leaks.
    pub(crate) fn len(&self) -> usize {
        self.branches.len()
    }
    /// Number of nodes, the manifold (the last) included.
    pub(crate) fn nodes(&self) -> usize {
        self.p.len()
    }
    /// The branch's ends in the direction of its flow: (where it comes from, where it goes), `None` outside.
    pub(crate) fn ends(&self, branch: usize) -> (Option<usize>, Option<usize>) {
        let b = &self.branches[branch];
        let id = |n: u32| (n != OUTSIDE).then_some(n as usize);
        if self.m[branch] >= 0.0 { (id(b.from), id(b.to)) } else { (id(b.to), id(b.from)) }
    }
    /// Mass flow of any branch, kg/s.
    pub(crate) fn flow(&self, branch: usize) -> f64 {
        self.m[branch]
    }
    /// Which branch opening `i` is.
    pub(crate) const fn opening_branch(&self, i: usize) -> usize {
        self.segments + i
    }
    /// The branch as a carrier of smoke.
    pub(crate) fn conduit(&self, branch: usize) -> Conduit {
        let none = Conduit {
            mass: 0.0,
            bore_m: 0.0,
            length_m: 0.0,
            reynolds: 0.0,
            density: self.unit_density,
            viscosity: 1.8e-5,
        };
        let first_inlet = self.segments + self.openings;
        match &self.branches[branch].law {
            Law::Pipe(p) => Conduit {
                mass: p.density * area(p.bore_m) * p.length_m,
                bore_m: p.bore_m,
                length_m: p.length_m,
                reynolds: p.reynolds,
                density: p.density,
                viscosity: p.viscosity,
            },
            Law::Fitting { .. } => Conduit { mass: self.inlet_mass[branch - first_inlet], ..none },
            _ => none,
        }
    }
}

impl Laws {
    /// Share of a pipe's momentum flux over that of a flat profile: 4/3 laminar, about 1.02 turbulent (White, Fluid
    /// Mechanics, momentum-flux correction).
    fn beta(&self, re: f64) -> f64 {
        match self.momentum {
            Momentum::Left => 0.0,
            Momentum::Flat => 1.0,
            Momentum::Profile => 1.02 + (4.0 / 3.0 - 1.02) * laminar_share(re),
        }
    }
    /// Pressure drop of a pipe at mass flow `m` and its slope; `run_m` is the flow that comes straight in at its far end.
    fn pipe<'a>(&self, pipe: &Pipe, m: f64, run_m: f64, branch: impl Fn(u32) -> Option<&'a Pipe>) -> (f64, f64) {
        let size = m.abs();
        let re = (size * pipe.reynolds).max(1e-3);
        let (f, df) = self.friction.at(re, pipe.roughness);
        let quadratic = f * pipe.friction + pipe.minor;
        let mut drop = quadratic * m * size;
        let mut slope = 2.0 * quadratic * size + df * pipe.reynolds * pipe.friction * m * m;
        if pipe.gathers {
            let gathered = self.beta(re) * pipe.flux;
            drop += gathered * m * m;
            slope += (2.0 * gathered * m).max(0.0);
            if let Some(run) = pipe.run.and_then(branch) {
                drop -= self.beta((run_m.abs() * run.reynolds).max(1e-3)) * run.flux * run_m * run_m;
            }
        }
        (drop, slope.max(0.0))
    }
}
