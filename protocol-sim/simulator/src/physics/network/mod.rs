//! The air in the pipes, marched in time: every length of pipe has inertia, every node a little compliance.
//!
//! Each branch obeys I dm/dt = p_from - p_to + e - r(m), with I = length/area, and each node C dp/dt = inflow - outflow, with
//! C = V rho/p. A step is linearly implicit (Rosenbrock's method of first order: one Newton step on backward Euler), so that
//! long steps are stable and end in the steady state. Unknowns are mass flows: cold air then expands as it should.
//!
//! Not here: what is carried along (see `smoke`), and what people do to the pipes (see [`crate::site`]).
mod build;
mod look;
mod resist;

use super::{Laws, fan::Curve, matrix::Matrix};
pub(crate) use build::{OPEN_END_DISCHARGE, USUAL_BORE_M};
use plumeline_base::pipework::NodeId;

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
    /// Cheng's rough term.
    rough: f64,
    /// dp = minor * m|m|.
    minor: f64,
    /// Weight of its air against the ambient's, Pa.
    stack_pa: f64,
    /// Momentum of the flow in it: beta * m^2 * flux, Pa.
    flux: f64,
    /// Share of the momentum gathered at its far end that is paid for here: 1 where air enters from the side, 1/2 at a
    /// change of bore (Bernoulli), 0 where nothing is counted.
    gathers: f64,
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

/// The fan; speeds as shares of its curve's reference speed.
#[derive(Clone, Debug)]
struct Fan {
    curve: Curve,
    speed: f64,
    target: f64,
    /// Time constant with which it gets there, s.
    spin_s: f64,
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
    fan: Fan,
    segments: usize,
    openings: usize,
    inlets: usize,
    unit_density: f64,
    opening_density: Vec<f64>,
    inlet_mass: Vec<f64>,
    /// Mass flow of each branch, kg/s, positive towards the unit.
    m: Vec<f64>,
    /// Pressure of each node, Pa.
    p: Vec<f64>,
    /// Next step, s.
    dt: f64,
    held: bool,
    /// Of each pipe: Re, friction factor and its derivative as last computed.
    seen: Vec<(f64, f64, f64)>,
    // Scratch of a step.
    g: Vec<f64>,
    a: Vec<f64>,
}

/// Steps, s: the first after something changed, and the longest.
const FIRST_STEP_S: f64 = 0.01;
const LONGEST_STEP_S: f64 = 2.0;
/// The longest step would change flows by less than this share of the greatest one: that is taken for rest.
const REST: f64 = 1e-5;
/// The same for the steady state itself.
const SETTLED: f64 = 1e-11;
/// Longest step on the way there, s: still longer ones lose their digits in branches that hardly resist.
const SETTLING_STEP_S: f64 = 20.0;
/// While Re moves by less than this share, friction is read off its tangent: wrong by the square of it.
const REUSE: f64 = 2e-4;

impl Network {
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
        let (nodes, old_nodes) = (self.p.len() - 1, old.p.len() - 1);
        let kept = nodes.min(old_nodes);
        self.p[..kept].copy_from_slice(&old.p[..kept]);
        self.p[nodes] = old.p[old_nodes];
        (self.fan.speed, self.fan.target, self.fan.spin_s) = (old.fan.speed, old.fan.target, old.fan.spin_s);
        self.disturb();
    }
    /// Says that something changed: steps start short again.
    pub(crate) fn disturb(&mut self) {
        self.held = false;
        self.dt = FIRST_STEP_S;
    }
    /// The speed that the fan is to run at, and the time constant with which it gets there, s.
    pub(crate) fn set_speed(&mut self, target: f64, spin_s: f64) {
        if target != self.fan.target {
            self.fan.target = target;
            self.disturb();
        }
        self.fan.spin_s = spin_s;
    }
    /// Opens or shuts opening `i`. One without a diameter stays shut.
    pub(crate) fn shut_opening(&mut self, i: usize, shut_now: bool) {
        if let Some(Branch { law: Law::Hole { quadratic, shut, .. }, .. }) = self.branches.get_mut(self.segments + i) {
            *shut = shut_now || *quadratic == 0.0;
            self.disturb();
        }
    }
    /// Pressure where the exhaust ends, Pa; a small change, followed with long steps.
    pub(crate) fn set_exhaust_pa(&mut self, pa: f64) {
        let unit = self.unit();
        if let Law::Unit { drive_pa, .. } = &mut self.branches[unit].law {
            *drive_pa = -pa;
        }
        self.held = false;
    }

    /// One step of `dt`, friction taken along its tangent while Re has moved by less than a share of `reuse`; gives the greatest change of a flow as a share of the greatest flow.
    fn step(&mut self, dt: f64, reuse: f64) -> f64 {
        if self.fan.speed != self.fan.target {
            self.fan.speed += (self.fan.target - self.fan.speed) * -libm::expm1(-dt / self.fan.spin_s);
            if (self.fan.speed - self.fan.target).abs() < 1e-6 {
                self.fan.speed = self.fan.target;
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
                    let (rise, fall) = self.fan.curve.at(m / density, self.fan.speed, *density);
                    (
                        quadratic * m * m.abs() + linear * m,
                        2.0 * quadratic * m.abs() + linear + (-fall / density).max(0.0),
                        drive_pa + rise,
                    )
                }
                Law::Pipe(pipe) => {
                    let re = pipe.reynolds(m);
                    let seen = &mut self.seen[i];
                    if (re - seen.0).abs() > reuse * seen.0 {
                        let (f, df) = self.laws.friction.at(re, pipe.roughness, pipe.rough);
                        *seen = (re, f, df);
                    }
                    let friction = (seen.1 + seen.2 * (re - seen.0), seen.2);
                    let run = pipe.run.and_then(|k| match &self.branches[k as usize].law {
                        Law::Pipe(run) => Some((run, self.m[k as usize])),
                        _ => None,
                    });
                    let (r, s) = self.laws.drop(pipe, m, friction, run);
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
        // A share of hardly any flow (1e-6 kg/s is 0.05 L/min) would be a share of nothing.
        let (mut change, mut greatest) = (0.0f64, 1e-6f64);
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
        // What rounding leaves of a span is no step.
        while left > 1e-9 && !self.held {
            let dt = self.dt.min(left);
            let change = self.step(dt, REUSE);
            left -= dt;
            // Judged by its rate, and not by a step too short to show any.
            let steady = dt >= FIRST_STEP_S && change < REST * dt / LONGEST_STEP_S;
            self.held = steady && self.fan.speed == self.fan.target;
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
        self.fan.speed = self.fan.target;
        let (mut dt, mut before, mut quiet) = (0.05, f64::INFINITY, 0);
        for _ in 0..1000 {
            let change = self.step(dt, 0.0);
            if !change.is_finite() {
                return false;
            }
            // The columns' time constants are about a second: a shorter step shows only its share of what is left.
            quiet = if change * (1.0 / dt).max(1.0) < SETTLED { quiet + 1 } else { 0 };
            if quiet >= 2 {
                self.held = true;
                return true;
            }
            // Inertia damps where long steps go to and fro (a law with a kink); shorter ones would follow every sound wave.
            dt = if change > 0.5 || change > 0.7 * before {
                (dt * 0.5).max(0.2)
            } else {
                (dt * 2.0).min(SETTLING_STEP_S)
            };
            before = change;
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{demo::straight_pipes, models::invented::air_path, scenario::Which};
    use plumeline_base::pipework::{CurveInterpolation, Drive, Fan, FanPoint, GivenAir, Loss, Pipework};

    /// 50 m of pipe, open at the end, nothing else in the way, and a fan of constant pressure.
    fn bare_pipe(pressure_pa: f64) -> (Pipework, Network) {
        let mut p = straight_pipes(&[1], 1.0, 0.02, air_path(Which::Replacement));
        p.air.given = Some(GivenAir { density: 1.2, viscosity: 1.8e-5 });
        p.segments[0].length_m = 50.0;
        p.segments[0].minor_k = 0.0;
        p.openings[0].discharge = 1.0;
        p.inlets[0].loss = Loss::default();
        p.unit.loss = Loss::default();
        p.unit.exhaust_loss = Loss::default();
        let curve = [0.0, 1.0].map(|flow_m3_s| FanPoint { flow_m3_s, pressure_pa }).to_vec();
        let interpolation = CurveInterpolation::Linear;
        p.unit.drive = Drive::Fan(Fan { curve, interpolation, speed: 1.0, reference_density: 1.2, u_pressure: 0.0 });
        let laws = Laws { momentum: super::super::Momentum::Left, viscous_holes: false, ..Laws::default() };
        let joints = [Joint { node: Some(0), ..Joint::default() }];
        let network = Network::new(&p, &joints, &[], &p.unit, laws).unwrap();
        (p, network)
    }
    #[test]
    fn laminar_column_starts_with_its_time_constant() {
        // A column of air with laminar friction, driven by a constant pressure: m = m0 (1 - exp(-t/T)), T = rho d^2/(32 mu) (momentum of
        // the column against Hagen and Poiseuille's friction; White, Fluid Mechanics, unsteady Bernoulli).
        let (_, mut n) = bare_pipe(2.0);
        n.set_speed(1.0, 1e-9);
        let time = 1.2 * 0.021 * 0.021 / (32.0 * 1.8e-5);
        let last = 1.2 * core::f64::consts::PI * 0.021f64.powi(4) * 2.0 / (128.0 * 1.8e-5 * 50.0);
        for i in 1..=40 {
            n.march(0.1);
            let want = last * (1.0 - libm::exp(-f64::from(i) * 0.1 / time));
            let got = n.inlet_kg_s(0);
            assert!((got - want).abs() < 0.03 * last, "{i}: {got} for {want}");
        }
    }
    #[test]
    fn fan_spins_up_with_its_time_constant_and_all_comes_to_rest() {
        let (_, mut n) = bare_pipe(100.0);
        n.set_speed(1.0, 3.0);
        n.march(3.0);
        assert!((n.speed() - (1.0 - libm::exp(-1.0))).abs() < 0.01, "{}", n.speed());
        n.march(120.0);
        assert!(n.held() && n.speed() == 1.0);
        let marched = n.inlet_kg_s(0);
        assert!(n.settle());
        assert!((n.inlet_kg_s(0) / marched - 1.0).abs() < 1e-4, "what the march holds is the steady state");
        // Power off: it runs down, and the draught with it.
        n.set_speed(0.0, 3.0);
        n.march(120.0);
        assert!(n.inlet_kg_s(0).abs() < 1e-3 * marched, "{}", n.inlet_kg_s(0));
    }
    #[test]
    fn starved_holes_can_blow() {
        // A far room under a lower pressure than the pipe has there: air leaves through its hole.
        let mut p = straight_pipes(&[6], 8.0, 3e-3, air_path(Which::Replacement));
        p.openings[5].outside_pa = -400.0;
        let joints = [Joint { node: Some(0), ..Joint::default() }];
        let mut n = Network::new(&p, &joints, &[], &p.unit, Laws::default()).unwrap();
        n.set_speed(1.0, 1.0);
        assert!(n.settle());
        assert!(n.opening_kg_s(5) < 0.0 && n.opening_kg_s(0) > 0.0);
    }
    #[test]
    fn nonsense_is_named() {
        let laws = Laws::default();
        let sound = straight_pipes(&[2], 1.0, 3e-3, air_path(Which::Replacement));
        let why = |change: fn(&mut Pipework)| {
            let mut p = sound.clone();
            change(&mut p);
            let joints: Vec<Joint> = p.inlets.iter().map(|i| Joint { node: i.node, ..Joint::default() }).collect();
            Network::new(&p, &joints, &[], &p.unit, laws).map(|_| ()).unwrap_err()
        };
        assert!(why(|p| p.segments[1].far = 99).contains("segment 1"));
        assert!(why(|p| p.segments[1].bore_m = f64::NAN).contains("segment 1"));
        assert!(why(|p| p.openings[0].discharge = 0.0).contains("opening 0"));
        assert!(why(|p| p.air.temperature_c = -400.0).contains("air"));
        assert!(why(|p| p.nodes[1].elevation_m = f64::NAN).contains("node 1"));
        assert!(why(|p| p.inlets[0].node = Some(77)).contains("inlet 0"));
        assert!(why(|p| p.unit.drive = Drive::InletSuction(vec![100.0])).contains("fan"));
    }
}
