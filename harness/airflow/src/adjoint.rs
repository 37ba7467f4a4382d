//! The adjoint of the solve: from weights on flows and pressures to weights on every law, in one sweep each way.
//!
//! Written as the reverse of the elimination in `network::newton`, operation by operation, so that it holds for the
//! unsymmetric momentum terms too. Not here: which parameter moves which law (see `sensitivity`).
use crate::network::{Network, Workspace, rings::eliminate};
use alloc::{vec, vec::Vec};

/// A network linearised at its solution.
pub(crate) struct Adjoint<'a> {
    network: &'a Network,
    pub(crate) ws: Workspace,
    /// Transposed system of the chords.
    matrix: Vec<f64>,
    scratch: Vec<f64>,
    chord_weight: Vec<f64>,
    x: Vec<f64>,
    a: Vec<f64>,
    pub(crate) seeds: Seeds,
    pub(crate) out: Weights,
}

/// Weights of a measurable on the state: how it changes per unit of each.
#[derive(Clone, Debug, Default)]
pub(crate) struct Seeds {
    /// Pressure at each position.
    pub(crate) pressure: Vec<f64>,
    /// Flow of each edge.
    pub(crate) edge: Vec<f64>,
    pub(crate) chord: Vec<f64>,
    pub(crate) hole: Vec<f64>,
    /// Momentum term of each run.
    pub(crate) momentum: Vec<f64>,
}

/// Weights of a measurable on the laws: how it changes per pascal added to each.
#[derive(Clone, Debug, Default)]
pub(crate) struct Weights {
    /// Loss of each edge.
    pub(crate) edge: Vec<f64>,
    pub(crate) chord: Vec<f64>,
    /// Pull of each hole (outside pressure less its loss).
    pub(crate) hole: Vec<f64>,
    /// Momentum term of each run.
    pub(crate) momentum: Vec<f64>,
}

impl<'a> Adjoint<'a> {
    /// Linearises at the solution that the workspace holds.
    pub(crate) fn new(network: &'a Network, mut ws: Workspace) -> Self {
        network.linearise(&mut ws);
        let matrix = network.chord_system(&mut ws);
        let (n, c) = (network.layout.parent.len(), network.layout.chords.len());
        let (holes, runs) = (network.laws.holes.len(), network.facts.runs.len());
        let seeds = Seeds {
            pressure: vec![0.0; n],
            edge: vec![0.0; n],
            chord: vec![0.0; c],
            hole: vec![0.0; holes],
            momentum: vec![0.0; runs],
        };
        let out =
            Weights { edge: vec![0.0; n], chord: vec![0.0; c], hole: vec![0.0; holes], momentum: vec![0.0; runs] };
        Self {
            network,
            ws,
            scratch: vec![0.0; matrix.len()],
            matrix,
            chord_weight: vec![0.0; c],
            x: vec![0.0; n],
            a: vec![0.0; n],
            seeds,
            out,
        }
    }

    pub(crate) fn network(&self) -> &'a Network {
        self.network
    }

    /// Sets all seeds to zero.
    pub(crate) fn clear(&mut self) {
        let s = &mut self.seeds;
        for part in [&mut s.pressure, &mut s.edge, &mut s.chord, &mut s.hole, &mut s.momentum] {
            part.fill(0.0);
        }
    }

    /// Turns the seeds into weights on the laws. The seeds are used up.
    pub(crate) fn run(&mut self) {
        let layout = &self.network.layout;
        // An edge carries what its holes and chords bring: its seed goes to all of them.
        for at in 1..layout.parent.len() {
            self.seeds.edge[at] += self.seeds.edge[layout.parent[at] as usize];
        }
        for (seed, hole) in self.seeds.hole.iter_mut().zip(&self.network.laws.holes) {
            *seed += self.seeds.edge[hole.at as usize];
        }
        for (seed, &(_, far, near)) in self.seeds.chord.iter_mut().zip(&layout.chords) {
            *seed += self.seeds.edge[near as usize] - self.seeds.edge[far as usize];
        }
        for part in [&mut self.out.edge, &mut self.out.chord, &mut self.out.hole, &mut self.out.momentum] {
            part.fill(0.0);
        }
        self.reverse();
        if layout.chords.is_empty() {
            return;
        }
        for (i, &(_, far, near)) in layout.chords.iter().enumerate() {
            let (far, near) = (far as usize, near as usize);
            self.chord_weight[i] =
                self.seeds.chord[i] + self.ws.weight[near] * self.a[near] - self.ws.weight[far] * self.a[far];
        }
        self.scratch.copy_from_slice(&self.matrix);
        eliminate(&mut self.scratch, &mut self.chord_weight);
        self.seeds.hole.fill(0.0);
        self.seeds.momentum.fill(0.0);
        self.seeds.pressure.fill(0.0);
        for (i, &(_, far, near)) in layout.chords.iter().enumerate() {
            self.out.chord[i] -= self.chord_weight[i];
            self.seeds.pressure[far as usize] += self.chord_weight[i];
            self.seeds.pressure[near as usize] -= self.chord_weight[i];
        }
        self.reverse();
    }

    /// The reverse of one elimination, added to the weights.
    fn reverse(&mut self) {
        let (network, ws) = (self.network, &self.ws);
        let (parent, n) = (&network.layout.parent, network.layout.parent.len());
        let (x, a, out, seeds) = (&mut self.x, &mut self.a, &mut self.out, &mut self.seeds);
        x.copy_from_slice(&seeds.pressure);
        a.fill(0.0);
        // Hole: q = b + g (outside + M - x).
        for (k, hole) in network.laws.holes.iter().enumerate() {
            let w = ws.holes.g[k] * seeds.hole[k];
            out.hole[k] += w;
            x[hole.at as usize] -= w;
            if let Some(run) = network.run_of(hole.at as usize) {
                seeds.momentum[run] += w;
            }
        }
        // Run: M and what joins as functions of x, of what leaves, a - s x, and of its holes' pulls.
        for ((run, &(at, ..)), (m, rest)) in
            ws.runs.iter().zip(&network.facts.runs).zip(seeds.momentum.iter_mut().zip(&mut out.momentum))
        {
            let at = at as usize;
            let part = *m / (1.0 + run.g * run.on_in);
            let leaves = part * (run.on_in + run.on_out);
            x[at] += part * run.on_in * run.g - leaves * ws.s[at];
            a[at] += leaves;
            *rest += part;
            // Kept for the holes' pulls below.
            *m = -run.on_in * part;
        }
        // Down: x = d (x of parent + u).
        for at in (1..n).rev() {
            x[at] *= ws.d[at];
            x[parent[at] as usize] += x[at];
        }
        // Up: u = e + r a; what the parent gets = (a - s e) d.
        for at in 1..n {
            let to = parent[at] as usize;
            let passed = if to == 0 { 0.0 } else { ws.weight[to] * a[to] } * ws.d[at];
            out.edge[at] += x[at] - ws.s[at] * passed;
            a[at] += ws.r[at] * x[at] + passed;
        }
        for ((run, &(at, ..)), (m, rest)) in
            ws.runs.iter().zip(&network.facts.runs).zip(seeds.momentum.iter_mut().zip(&mut out.momentum))
        {
            let entered = a[at as usize] / (1.0 - run.g * run.on_out);
            *rest += run.g * entered;
            *m += entered;
        }
        for (k, hole) in network.laws.holes.iter().enumerate() {
            let at = hole.at as usize;
            let entered = network.run_of(at).map_or(a[at], |run| seeds.momentum[run]);
            out.hole[k] += ws.holes.g[k] * entered;
        }
    }
}
