//! The steady solve: Newton's method on flows, with elimination along the tree. Not here: the laws, nor rings.
//!
//! Each edge and hole is linearised about its flow (pressure = e + r Q; q = g (outside - inside) + b); pressures then
//! follow from one sweep up the tree (leaves to root) and one down, and flows from the holes by summation, so that
//! mass balances by construction. Where no momentum is counted, the solution is the minimum of a convex function of
//! the flows (each law rises), and the step is cut until its slope along the step is small enough: that is what makes
//! it converge from any start. docs/airflow-model.md has the derivation.
use super::{
    Network,
    coefficients::{DriveLaw, loss_law},
    layout::Layout,
};
use crate::{
    error::{Place, SolveError},
    solution::Solution,
};
use alloc::{vec, vec::Vec};

/// Memory that solves of one network use; made once by [`Network::workspace`] and never grown.
#[derive(Clone, Debug)]
pub struct Workspace {
    /// Flow of each edge, and its last step.
    pub(crate) flow: Vec<f64>,
    step: Vec<f64>,
    /// Pressure at each position.
    pub(crate) x: Vec<f64>,
    /// Linearised edges: pressure = e + r Q.
    pub(crate) e: Vec<f64>,
    pub(crate) r: Vec<f64>,
    /// What enters each position from above: Q = a - s x.
    pub(crate) a: Vec<f64>,
    pub(crate) s: Vec<f64>,
    /// Elimination: x = d (x of parent + u).
    pub(crate) d: Vec<f64>,
    pub(crate) u: Vec<f64>,
    /// Weight of what children bring to a position (1 where no momentum is counted).
    pub(crate) weight: Vec<f64>,
    pub(crate) holes: Holes,
    pub(crate) chords: Chords,
    /// Per run: linearised momentum term M = on_in Q_in + on_out Q_out + rest, and the holes' g and b + g outside.
    pub(crate) runs: Vec<Run>,
    /// Keep every slope exact, even where the step would rather hold a law (see `sweep_up`, `weigh_runs`).
    pub(crate) exact: bool,
    /// Share of the momentum that is counted.
    pub(crate) share: f64,
    pub(crate) solution: Solution,
}

/// What a workspace holds of each hole.
#[derive(Clone, Debug)]
pub(crate) struct Holes {
    pub(crate) flow: Vec<f64>,
    /// Flows of the last share of momentum that was solved (see `iterate`).
    kept: Vec<f64>,
    /// Last step.
    step: Vec<f64>,
    /// Linearised: q = g (outside - inside) + b.
    pub(crate) g: Vec<f64>,
    pub(crate) b: Vec<f64>,
}

impl Holes {
    /// Forgets a hole.
    pub(super) fn remove(&mut self, hole: usize) {
        for all in [&mut self.flow, &mut self.kept, &mut self.step, &mut self.g, &mut self.b] {
            all.remove(hole);
        }
    }
}

/// What a workspace holds of each chord.
#[derive(Clone, Debug)]
pub(crate) struct Chords {
    pub(crate) flow: Vec<f64>,
    /// Flows of the last share of momentum that was solved (see `iterate`).
    kept: Vec<f64>,
    /// Last step.
    pub(crate) step: Vec<f64>,
    /// Linearised: pressure = e + r Q.
    pub(crate) e: Vec<f64>,
    pub(crate) r: Vec<f64>,
    /// Their dense system.
    pub(crate) matrix: Vec<f64>,
}

/// See [`Workspace::runs`].
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Run {
    pub(crate) on_in: f64,
    pub(crate) on_out: f64,
    pub(crate) rest: f64,
    /// Momentum term at the present flows.
    pub(crate) now: f64,
    /// Flow of the holes there.
    pub(crate) joined: f64,
    pub(crate) g: f64,
    pub(crate) a: f64,
}

impl Workspace {
    pub(crate) fn new(layout: &Layout, holes: usize, runs: usize, solution: Solution) -> Self {
        let (n, c) = (layout.parent.len(), layout.chords.len());
        let zero = |n: usize| vec![0.0; n];
        Self {
            flow: zero(n),
            step: zero(n),
            x: zero(n),
            e: zero(n),
            r: zero(n),
            a: zero(n),
            s: zero(n),
            d: zero(n),
            u: zero(n),
            weight: vec![1.0; n],
            holes: Holes { flow: zero(holes), kept: zero(holes), step: zero(holes), g: zero(holes), b: zero(holes) },
            chords: Chords { flow: zero(c), kept: zero(c), step: zero(c), e: zero(c), r: zero(c), matrix: zero(c * c) },
            runs: vec![Run::default(); runs],
            exact: false,
            share: 1.0,
            solution,
        }
    }
}

/// Linear solves that one attempt with momentum gets.
const DIRECT: u32 = 60;
/// Linear solves for each further share of the momentum: near the solution an exact step either settles soon or never.
const NEAR: u32 = 12;
/// Misfit, relative to the greatest pressure, under which an attempt is not given up for want of solves: it gets [`NEAR`] more. Where
/// holes starve, the flows of the last of them take a step for each of a few.
const CLOSE: f64 = 1e-6;
/// Misfit, relative to the greatest pressure, under which an iteration that no longer gains is at the limit of rounding:
/// a starved hole's flow is then known no better than the pressure that drives it.
const ROUNDED: f64 = 1e-9;

/// What a look at the laws at the present flows tells.
struct Look {
    /// Every pressure misfit is within the tolerance.
    settled: bool,
    /// Slope of the content function along the last step, W.
    slope: f64,
    /// Greatest pressure misfit, Pa.
    misfit: f64,
}

impl Network {
    /// Solves from the flows in the workspace. Returns the number of linear solves, and the greatest pressure misfit (Pa)
    /// of all laws at the flows and pressures it ends with.
    ///
    /// With momentum counted there is no function to descend, and the iteration may wander where a run's momentum
    /// outweighs its friction. Then the momentum is brought in by and by, from the solution without it.
    pub(crate) fn iterate(&self, ws: &mut Workspace) -> Result<(u32, f64), SolveError> {
        let most = self.options.max_iterations;
        ws.share = 1.0;
        if self.facts.runs.is_empty() {
            return self.newton(ws, most, true);
        }
        let (mut used, mut failure) = match self.newton(ws, most.min(DIRECT), true) {
            Err(SolveError::NotConverged { iterations, worst, residual_pa }) => {
                (iterations, SolveError::NotConverged { iterations, worst, residual_pa })
            }
            other => return other,
        };
        self.guess(ws);
        let (mut share, mut rise) = (0.0, 0.25);
        while used < most && rise > 1e-3 {
            ws.share = share;
            let result = match share > 0.0 {
                true => self.newton(ws, NEAR.min(most - used), false),
                false => self.newton(ws, most - used, true),
            };
            match result {
                Ok((solves, misfit)) => {
                    used += solves;
                    if share >= 1.0 {
                        return Ok((used, misfit));
                    }
                    ws.holes.kept.copy_from_slice(&ws.holes.flow);
                    ws.chords.kept.copy_from_slice(&ws.chords.flow);
                }
                Err(e) if share == 0.0 => return Err(e),
                Err(e) => {
                    used += NEAR;
                    share -= rise;
                    rise *= 0.5;
                    failure = e;
                    ws.holes.flow.copy_from_slice(&ws.holes.kept);
                    ws.chords.flow.copy_from_slice(&ws.chords.kept);
                }
            }
            share = (share + rise).min(1.0);
        }
        if let SolveError::NotConverged { iterations, .. } = &mut failure {
            *iterations = used;
        }
        Err(failure)
    }

    /// Newton's iteration from the flows in the workspace, at its share of the momentum. `far` if the start may be far
    /// from the solution: steps are then cut to descend, and slopes held where they mislead.
    pub(super) fn newton(&self, ws: &mut Workspace, most: u32, far: bool) -> Result<(u32, f64), SolveError> {
        self.accumulate(ws);
        // Pressures of an earlier solve must not count: no comparison with these holds.
        ws.x.fill(f64::NAN);
        ws.step.fill(0.0);
        ws.holes.step.fill(0.0);
        ws.chords.step.fill(0.0);
        let (mut solves, mut t, mut slope_before, mut cuts) = (0, 1.0, 0.0, 0);
        let (mut least, mut idle) = (f64::INFINITY, 0);
        loop {
            let look = self.look(ws);
            if solves > 0 {
                if t == 1.0 && (look.settled || idle >= 3) {
                    return Ok((solves, look.misfit));
                }
                let noise = 1e-13 * self.pressure_scale * ws.flow[0].abs();
                if far && look.slope > 0.9 * -slope_before && look.slope > noise && cuts < 12 {
                    let ideal = t * slope_before / (slope_before - look.slope);
                    let cut = ideal.clamp(0.1 * t, 0.7 * t);
                    ws.shift(cut - t);
                    (t, cuts) = (cut, cuts + 1);
                    continue;
                }
                // At the limit of rounding the misfit no longer falls.
                idle = if look.misfit <= ROUNDED * self.pressure_scale && look.misfit > 0.5 * least {
                    idle + 1
                } else {
                    0
                };
                least = least.min(look.misfit);
            }
            let closing = look.misfit <= CLOSE * self.pressure_scale && solves < most + NEAR;
            if solves >= most && !closing {
                return Err(self.not_converged(ws, solves));
            }
            ws.exact = !far;
            slope_before = self.step(ws);
            ws.exact = false;
            if !slope_before.is_finite() {
                return Err(SolveError::Overflow { at: self.overflow_at(ws) });
            }
            (solves, t, cuts) = (solves + 1, 1.0, 0);
        }
    }

    /// Evaluates every law at the present flows, linearises it, and compares it with the present pressures.
    fn look(&self, ws: &mut Workspace) -> Look {
        let (layout, laws) = (&self.layout, &self.laws);
        let n = layout.parent.len();
        let mean = ws.holes.flow.iter().map(|q| q.abs()).sum::<f64>() / ws.holes.flow.len() as f64;
        let (tolerance, rounding) = (self.options.tolerance * mean, 8.0 * f64::EPSILON * self.pressure_scale);
        // However steep a law, its pressure must balance as well.
        let most = 10.0 * self.options.tolerance * self.pressure_scale + rounding;
        let (mut settled, mut slope, mut greatest) = (true, 0.0, 0.0f64);
        self.look_at_runs(ws);
        let (parent, flow, step, x) = (&layout.parent[..n], &ws.flow[..n], &ws.step[..n], &ws.x[..n]);
        let (e, r) = (&mut ws.e[..n], &mut ws.r[..n]);
        match &laws.drive {
            DriveLaw::Fan { .. } => {
                (e[1], r[1]) = laws.drive.manifold(flow[1]);
                for (i, loss) in laws.inlets.iter().enumerate() {
                    (e[2 + i], r[2 + i]) = loss_law(loss, flow[2 + i]);
                }
            }
            DriveLaw::Suction(suctions) => {
                for (i, suction) in suctions.iter().enumerate() {
                    (e[1 + i], r[1 + i]) = (-suction, 0.0);
                }
            }
        }
        let (law, share, first) = (self.facts.friction, ws.share, layout.first_pipe);
        for ((one, q), (e, r)) in laws.edges.iter().zip(&flow[first..]).zip(e[first..].iter_mut().zip(&mut r[first..]))
        {
            (*e, *r) = one.law(law, share, *q);
        }
        for at in 1..n {
            let (loss, by_q) = (e[at], r[at]);
            e[at] = loss - by_q * flow[at];
            let misfit = (x[at] - x[parent[at] as usize] - loss).abs();
            greatest = if misfit > greatest { misfit } else { greatest };
            settled &= misfit <= tolerance * by_q.abs() + rounding;
            slope += loss * step[at];
        }
        for (i, one) in laws.chords.iter().enumerate() {
            let (_, far, near) = layout.chords[i];
            let (loss, by_q) = one.law(law, share, ws.chords.flow[i]);
            ws.chords.e[i] = loss - by_q * ws.chords.flow[i];
            ws.chords.r[i] = by_q;
            let misfit = (x[far as usize] - x[near as usize] - loss).abs();
            greatest = if misfit > greatest { misfit } else { greatest };
            settled &= misfit <= tolerance * by_q.abs() + rounding;
            slope += loss * ws.chords.step[i];
        }
        // Where a starved hole's misfit is down to rounding its slope is held up, or that rounding would show in its flow.
        let floor = (1e-9 * mean).max(1e-30);
        let flow_floor = 1e-12 * mean.max(1e-30);
        let runs = (!self.run_at.is_empty()).then_some(&ws.runs);
        let state = ws.holes.flow.iter().zip(&ws.holes.step).zip(ws.holes.g.iter_mut().zip(&mut ws.holes.b));
        for (hole, ((&q, &step), (g, b))) in laws.holes.iter().zip(state) {
            let at = hole.at as usize;
            let drop = hole.c * q.abs() * q;
            let pull = hole.outside + runs.map_or(0.0, |runs| self.momentum_of(runs, at));
            let misfit = (pull - x[at] - drop).abs();
            let mut by_q = 2.0 * hole.c * q.abs().max(floor);
            let own_rounding = 4.0 * f64::EPSILON * (x[at].abs() + pull.abs());
            if misfit <= own_rounding {
                by_q = by_q.max(own_rounding / flow_floor);
            }
            *g = 1.0 / by_q;
            *b = q - *g * drop;
            greatest = if misfit > greatest { misfit } else { greatest };
            settled &= misfit <= tolerance * by_q + rounding;
            slope += (drop - pull) * step;
        }
        Look { settled: settled && greatest <= most, slope, misfit: greatest }
    }

    /// Momentum term at the present flows, Pa: the opening feels the position's pressure less this.
    pub(crate) fn momentum_at(&self, ws: &Workspace, at: usize) -> f64 {
        self.momentum_of(&ws.runs, at)
    }

    fn momentum_of(&self, runs: &[Run], at: usize) -> f64 {
        self.run_of(at).map_or(0.0, |run| runs[run].now)
    }

    /// Solves the linearised network and moves to its flows. Returns the slope of the content function at the start.
    fn step(&self, ws: &mut Workspace) -> f64 {
        let n = self.layout.parent.len();
        self.load_holes(ws);
        self.weigh_runs(ws);
        self.sweep_up(ws);
        self.sweep_down(ws);
        if !self.layout.chords.is_empty() {
            self.solve_chords(ws);
            self.load_holes(ws);
            self.weigh_runs(ws);
            self.load_chords(ws);
            self.sweep_up(ws);
            self.sweep_down(ws);
        }
        self.settle_runs(ws);
        let mut slope = 0.0;
        let runs = (!self.run_at.is_empty()).then_some(&ws.runs);
        let state = ws.holes.flow.iter_mut().zip(&mut ws.holes.step).zip(ws.holes.g.iter().zip(&ws.holes.b));
        for (hole, ((q, step), (g, b))) in self.laws.holes.iter().zip(state) {
            let pull = hole.outside + runs.map_or(0.0, |runs| self.momentum_of(runs, hole.at as usize));
            let pull = pull - ws.x[hole.at as usize];
            let new = g * pull + b;
            *step = new - *q;
            // The step is g times the misfit at the old flow.
            slope -= *step * (pull - hole.c * *q * q.abs());
            *q = new;
        }
        for i in 0..ws.chords.flow.len() {
            ws.chords.flow[i] += ws.chords.step[i];
            slope -= ws.chords.r[i] * ws.chords.step[i] * ws.chords.step[i];
        }
        core::mem::swap(&mut ws.flow, &mut ws.step);
        self.accumulate(ws);
        for ((step, flow), r) in ws.step[1..n].iter_mut().zip(&ws.flow[1..n]).zip(&ws.r[1..n]) {
            *step = flow - *step;
            slope -= r * *step * *step;
        }
        slope
    }

    /// What the holes bring to each position.
    fn load_holes(&self, ws: &mut Workspace) {
        ws.a.fill(0.0);
        ws.s.fill(0.0);
        for (hole, (g, b)) in self.laws.holes.iter().zip(ws.holes.g.iter().zip(&ws.holes.b)) {
            let at = hole.at as usize;
            ws.s[at] += g;
            ws.a[at] += b + g * hole.outside;
        }
    }

    /// Linearises and eliminates at the present flows with exact slopes, for the adjoint.
    pub(crate) fn linearise(&self, ws: &mut Workspace) {
        ws.exact = true;
        self.look(ws);
        self.load_holes(ws);
        self.weigh_runs(ws);
        self.sweep_up(ws);
        ws.exact = false;
    }

    /// Leaves to root: what enters each position as a - s x, through its edge to the parent.
    pub(crate) fn sweep_up(&self, ws: &mut Workspace) {
        let n = self.layout.parent.len();
        let parent = &self.layout.parent[..n];
        let (a, s) = (&mut ws.a[..n], &mut ws.s[..n]);
        let (e, r, d, u) = (&mut ws.e[..n], &mut ws.r[..n], &mut ws.d[..n], &mut ws.u[..n]);
        let weight = &ws.weight[..n];
        let least = if ws.exact { 1e-9 } else { 0.1 };
        for at in (1..n).rev() {
            let mut whole = 1.0 + r[at] * s[at];
            if whole < least {
                // A falling law (a rising fan curve, a run with more momentum than friction) that outweighs the rest:
                // hold its pressure for this step.
                e[at] += r[at] * ws.flow[at];
                r[at] = 0.0;
                whole = 1.0;
            }
            let inverse = 1.0 / whole;
            let to = parent[at] as usize;
            d[at] = inverse;
            u[at] = e[at] + r[at] * a[at];
            a[to] += weight[to] * ((a[at] - s[at] * e[at]) * inverse);
            s[to] += weight[to] * (s[at] * inverse);
        }
    }

    /// Root to leaves: the pressures.
    pub(crate) fn sweep_down(&self, ws: &mut Workspace) {
        let n = self.layout.parent.len();
        let (parent, x) = (&self.layout.parent[..n], &mut ws.x[..n]);
        let (d, u) = (&ws.d[..n], &ws.u[..n]);
        x[0] = 0.0;
        for at in 1..n {
            x[at] = d[at] * (x[parent[at] as usize] + u[at]);
        }
    }

    /// Edge flows from the flows of holes and chords.
    pub(crate) fn accumulate(&self, ws: &mut Workspace) {
        let n = self.layout.parent.len();
        let (parent, flow) = (&self.layout.parent[..n], &mut ws.flow[..n]);
        flow.fill(0.0);
        for (q, hole) in ws.holes.flow.iter().zip(&self.laws.holes) {
            flow[hole.at as usize] += q;
        }
        for (q, &(_, far, near)) in ws.chords.flow.iter().zip(&self.layout.chords) {
            flow[far as usize] -= q;
            flow[near as usize] += q;
        }
        for at in (1..n).rev() {
            flow[parent[at] as usize] += flow[at];
        }
    }

    fn not_converged(&self, ws: &Workspace, iterations: u32) -> SolveError {
        let (worst, residual_pa) = self.worst_misfit(ws);
        SolveError::NotConverged { iterations, worst, residual_pa }
    }

    fn overflow_at(&self, ws: &Workspace) -> Place {
        let broken = (1..ws.x.len()).find(|&at| !(ws.x[at].is_finite() && ws.flow[at].is_finite()));
        broken.map_or(Place::Pipework, |at| self.place_of(at))
    }
}

impl Workspace {
    /// Takes over the flows of another workspace of the same network.
    pub(crate) fn start_from(&mut self, other: &Self) {
        self.holes.flow.copy_from_slice(&other.holes.flow);
        self.chords.flow.copy_from_slice(&other.chords.flow);
    }

    /// Moves all flows by t times the last full step.
    fn shift(&mut self, t: f64) {
        let (holes, chords) = (&mut self.holes, &mut self.chords);
        let edges = (&mut self.flow, &self.step);
        for (flows, steps) in [edges, (&mut holes.flow, &holes.step), (&mut chords.flow, &chords.step)] {
            for (flow, step) in flows.iter_mut().zip(steps) {
                *flow += t * step;
            }
        }
    }
}
