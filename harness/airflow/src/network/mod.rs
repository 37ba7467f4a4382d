//! A pipework made ready to solve, and the solve. Not here: what is worked out from a solution.
//!
//! `validate` checks the numbers, `layout` the shape; `coefficients` turns facts into laws; `newton` solves, helped by
//! `start` (first guess), `runs` (momentum) and `rings`.
pub(crate) mod coefficients;
pub(crate) mod fan;
pub(crate) mod layout;
mod newton;
pub(crate) mod rings;
mod runs;
mod start;
mod validate;

pub use newton::Workspace;

use crate::{
    error::{AirflowError, BuildError, Place, SolveError},
    options::SolveOptions,
    solution::{Residual, Solution},
};
use alloc::{vec, vec::Vec};
use coefficients::{Coefficients, DriveLaw, Factors, Facts, Hole, loss_law};
use fan::FanCurve;
use layout::{Layout, NONE};
use plumeline_base::pipework::{Drive, Pipework};

/// Linear solves that flows of a similar network get as a start. A network like it is settled after a few; holes that starve are better
/// found from nothing: a flow near zero says next to nothing of one that is ten times as much.
const RESUMED: u32 = 14;

/// A validated, flattened pipework. Solving it changes nothing in it.
#[derive(Clone, Debug)]
pub struct Network {
    pub(crate) layout: Layout,
    pub(crate) facts: Facts,
    pub(crate) laws: Coefficients,
    options: SolveOptions,
    /// Number of the run (see `Facts::runs`) at each position, or `NONE`; empty where there are none.
    run_at: Vec<u32>,
    /// Greatest pressure that drives anything, Pa.
    pressure_scale: f64,
}

impl Network {
    /// Checks a pipework and lays it out for solving. All memory is taken here and in [`Network::workspace`].
    pub fn build(pipework: &Pipework, options: &SolveOptions) -> Result<Self, BuildError> {
        validate::pipework(pipework, options)?;
        let layout = Layout::build(pipework)?;
        let facts = Facts::build(pipework, &layout, options)?;
        let fan = match &pipework.unit.drive {
            Drive::Fan(fan) => Some(FanCurve::build(fan)?),
            Drive::InletSuction(_) => None,
        };
        let laws = Coefficients::new(&layout, &facts, fan);
        let mut run_at = Vec::new();
        if !facts.runs.is_empty() {
            run_at = vec![NONE; layout.parent.len()];
            for (i, &(at, ..)) in facts.runs.iter().enumerate() {
                run_at[at as usize] = i as u32;
            }
        }
        let mut network = Self { layout, facts, laws, options: options.clone(), run_at, pressure_scale: 0.0 };
        network.pressure_scale = network.greatest_pressure();
        Ok(network)
    }

    /// Memory for solving this network.
    pub fn workspace(&self) -> Workspace {
        let (segments, openings) = (self.facts.segments.len(), self.facts.openings.len());
        let inlets = self.facts.inlet_losses.len();
        let solution = Solution {
            inlet_flow_m3_s: vec![0.0; inlets],
            inlet_suction_pa: vec![0.0; inlets],
            opening_flow_m3_s: vec![0.0; openings],
            opening_suction_pa: vec![0.0; openings],
            segment_flow_m3_s: vec![0.0; segments],
            segment_reynolds: vec![0.0; segments],
            node_pressure_pa: vec![0.0; self.layout.position.len()],
            ..Solution::default()
        };
        Workspace::new(&self.layout, self.laws.holes.len(), self.facts.runs.len(), solution)
    }

    /// The steady state, from a cold start. Allocates nothing.
    pub fn solve<'w>(&self, workspace: &'w mut Workspace) -> Result<&'w Solution, SolveError> {
        self.own(workspace)?;
        self.guess(workspace);
        let (iterations, misfit) = self.iterate(workspace)?;
        self.finish(workspace, iterations, misfit)
    }

    /// The steady state, from the flows that the workspace's last solve ended with; from nothing where these lead nowhere soon.
    pub(crate) fn resume<'w>(&self, workspace: &'w mut Workspace) -> Result<&'w Solution, SolveError> {
        self.own(workspace)?;
        workspace.share = 1.0;
        match self.newton(workspace, RESUMED.min(self.options.max_iterations), true) {
            Ok((iterations, misfit)) => self.finish(workspace, iterations, misfit),
            Err(_) => self.solve(workspace),
        }
    }

    /// Takes other values for what tolerances act on. Allocates nothing.
    pub(crate) fn apply(&mut self, factors: &Factors) {
        self.laws.set(&self.layout, &self.facts, factors);
        self.pressure_scale = self.greatest_pressure();
    }

    /// Takes an open hole (by its place in the layout) out, here and of a workspace, whose flows stay as a start.
    pub(crate) fn close(&mut self, ws: &mut Workspace, hole: usize) {
        self.layout.open.remove(hole);
        self.layout.open_at.remove(hole);
        self.laws.holes.remove(hole);
        ws.holes.remove(hole);
        self.pressure_scale = self.greatest_pressure();
    }

    /// Gives an open hole (by its place in the layout) another size.
    pub(crate) fn resize(&mut self, hole: usize, diameter: f64, discharge: f64) {
        let facts = &mut self.facts.openings[self.layout.open[hole] as usize];
        (facts.diameter, facts.discharge) = (diameter, discharge);
        self.laws.holes[hole] = Hole::new(self.layout.open_at[hole], facts, &[1.0; 2], self.facts.air.density);
    }

    /// Number of the run (see `Facts::runs`) at a position.
    pub(crate) fn run_of(&self, at: usize) -> Option<usize> {
        self.run_at.get(at).filter(|&&run| run != NONE).map(|&run| run as usize)
    }

    fn own(&self, ws: &Workspace) -> Result<(), SolveError> {
        let fits = ws.flow.len() == self.layout.parent.len()
            && ws.holes.flow.len() == self.laws.holes.len()
            && ws.runs.len() == self.facts.runs.len()
            && ws.chords.flow.len() == self.layout.chords.len()
            && ws.solution.segment_flow_m3_s.len() == self.facts.segments.len()
            && ws.solution.opening_flow_m3_s.len() == self.facts.openings.len()
            && ws.solution.inlet_flow_m3_s.len() == self.facts.inlet_losses.len();
        if fits { Ok(()) } else { Err(SolveError::WrongWorkspace) }
    }

    fn finish<'w>(&self, ws: &'w mut Workspace, iterations: u32, misfit: f64) -> Result<&'w Solution, SolveError> {
        self.report(ws, iterations, misfit);
        let residual = ws.solution.residual;
        if !(residual.mass.is_finite() && residual.energy.is_finite()) {
            return Err(SolveError::Overflow { at: Place::Pipework });
        }
        Ok(&ws.solution)
    }

    fn greatest_pressure(&self) -> f64 {
        let laws = &self.laws;
        let drive = match &laws.drive {
            DriveLaw::Fan { exhaust_pa, .. } => laws.drive.manifold(0.0).0.abs().max(exhaust_pa.abs()),
            DriveLaw::Suction(suctions) => suctions.iter().fold(0.0, |m: f64, s| m.max(s.abs())),
        };
        let outside = laws.holes.iter().fold(drive, |m, h| m.max(h.outside.abs()));
        laws.edges.iter().chain(&laws.chords).fold(outside, |m, e| m.max(e.lift.abs()))
    }

    /// Largest pressure misfit at the present flows and pressures, and where it is.
    fn worst_misfit(&self, ws: &Workspace) -> (Place, f64) {
        let (layout, laws) = (&self.layout, &self.laws);
        let mut worst = (Place::Pipework, 0.0);
        let mut take = |place: Place, misfit: f64| {
            // A misfit that is no number counts as the worst.
            if misfit.abs() > worst.1 || misfit.is_nan() {
                worst = (place, misfit.abs());
            }
        };
        for at in 1..layout.parent.len() {
            let loss = self.edge_loss(at, ws.share, ws.flow[at]);
            take(self.place_of(at), ws.x[at] - ws.x[layout.parent[at] as usize] - loss);
        }
        for (i, &(s, far, near)) in layout.chords.iter().enumerate() {
            let loss = laws.chords[i].law(self.facts.friction, ws.share, ws.chords.flow[i]).0;
            take(Place::Segment(s as usize), ws.x[far as usize] - ws.x[near as usize] - loss);
        }
        for (hole, (&q, &k)) in laws.holes.iter().zip(ws.holes.flow.iter().zip(&layout.open)) {
            let at = hole.at as usize;
            let inside = ws.x[at] - self.momentum_at(ws, at);
            take(Place::Opening(k as usize), hole.outside - inside - hole.c * q * q.abs());
        }
        worst
    }

    /// Pressure over the edge at a position.
    fn edge_loss(&self, at: usize, share: f64, q: f64) -> f64 {
        let layout = &self.layout;
        if at >= layout.first_pipe {
            return self.laws.edges[at - layout.first_pipe].law(self.facts.friction, share, q).0;
        }
        match &self.laws.drive {
            DriveLaw::Suction(suctions) => -suctions[at - layout.first_inlet],
            DriveLaw::Fan { .. } if at >= layout.first_inlet => {
                loss_law(&self.laws.inlets[at - layout.first_inlet], q).0
            }
            DriveLaw::Fan { .. } => self.laws.drive.manifold(q).0,
        }
    }

    fn place_of(&self, at: usize) -> Place {
        let layout = &self.layout;
        if at >= layout.first_pipe {
            Place::Segment(layout.segment[at] as usize)
        } else if at >= layout.first_inlet {
            Place::Inlet(layout.inlet[at - layout.first_inlet] as usize)
        } else {
            Place::Drive
        }
    }

    /// Writes the solution in the order of the pipework, with its distance from the equations.
    fn report(&self, ws: &mut Workspace, iterations: u32, misfit: f64) {
        let (layout, laws) = (&self.layout, &self.laws);
        let mut out = core::mem::take(&mut ws.solution);
        out.opening_flow_m3_s.fill(0.0);
        for (&q, &k) in ws.holes.flow.iter().zip(&layout.open) {
            out.opening_flow_m3_s[k as usize] = q;
        }
        for (pressure, &at) in out.node_pressure_pa.iter_mut().zip(&layout.position) {
            *pressure = ws.x[at as usize] - self.momentum_at(ws, at as usize);
        }
        for ((suction, facts), &node) in
            out.opening_suction_pa.iter_mut().zip(&self.facts.openings).zip(&self.layout.opening_node)
        {
            *suction = facts.outside - out.node_pressure_pa[node as usize];
        }
        for at in layout.first_pipe..layout.parent.len() {
            let s = layout.segment[at] as usize;
            out.segment_flow_m3_s[s] = ws.flow[at] * layout.drawn[at];
            out.segment_reynolds[s] = laws.edges[at - layout.first_pipe].re_per_q * ws.flow[at].abs();
        }
        for (i, &(s, ..)) in layout.chords.iter().enumerate() {
            out.segment_flow_m3_s[s as usize] = ws.chords.flow[i];
            out.segment_reynolds[s as usize] = laws.chords[i].re_per_q * ws.chords.flow[i].abs();
        }
        for (i, &inlet) in layout.inlet.iter().enumerate() {
            let at = layout.first_inlet + i;
            out.inlet_flow_m3_s[inlet as usize] = ws.flow[at];
            out.inlet_suction_pa[inlet as usize] = -ws.x[at];
        }
        out.total_flow_m3_s = ws.flow[0];
        out.manifold_pressure_pa = matches!(laws.drive, DriveLaw::Fan { .. }).then(|| ws.x[1]);
        (out.air, out.iterations) = (self.facts.air, iterations);
        out.residual = Residual { mass: self.mass_misfit(ws), energy: self.relative(ws, misfit) };
        ws.solution = out;
    }

    /// A misfit relative to the greatest pressure.
    fn relative(&self, ws: &Workspace, misfit: f64) -> f64 {
        let greatest = ws.x.iter().fold(self.pressure_scale, |m, x| m.max(x.abs()));
        if misfit == 0.0 { 0.0 } else { misfit / greatest }
    }

    /// Sums every node afresh from the flows that are reported.
    fn mass_misfit(&self, ws: &mut Workspace) -> f64 {
        let layout = &self.layout;
        let sum = &mut ws.u;
        sum.fill(0.0);
        let mut total = 0.0;
        for (&q, &at) in ws.holes.flow.iter().zip(&layout.open_at) {
            sum[at as usize] += q;
            total += q.abs();
        }
        for at in 1..layout.parent.len() {
            sum[at] -= ws.flow[at];
            sum[layout.parent[at] as usize] += ws.flow[at];
        }
        for (&q, &(_, far, near)) in ws.chords.flow.iter().zip(&layout.chords) {
            sum[far as usize] -= q;
            sum[near as usize] += q;
        }
        sum[0] -= ws.flow[0];
        let worst = sum.iter().fold(0.0, |m: f64, x| m.max(x.abs()));
        if worst == 0.0 { 0.0 } else { worst / total }
    }
}

/// Builds and solves in one call.
pub fn solve(pipework: &Pipework, options: &SolveOptions) -> Result<Solution, AirflowError> {
    let network = Network::build(pipework, options)?;
    Ok(network.solve(&mut network.workspace())?.clone())
}
