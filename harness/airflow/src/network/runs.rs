//! The change of momentum where air joins a straight run, within the Newton step. Not here: which nodes these are.
//!
//! With p + rho V^2 continuous along the run (that is the position's pressure x), the wall at the opening feels
//! x - M, M = k (Q_in^2 + Q_out^2) / 2: the mean of just before and just after. Q_out = Q_in + what joins.
use super::{Network, newton::Workspace};

/// Above this product of hole slope and momentum slope the term is held at its present value for the step: the hole
/// is then starved, and its linearisation says little about the momentum it feels.
const HOLD: f64 = 0.5;

impl Network {
    /// Momentum terms at the present flows.
    pub(crate) fn look_at_runs(&self, ws: &mut Workspace) {
        if self.run_at.is_empty() {
            return;
        }
        let share = ws.share;
        for run in &mut ws.runs {
            run.joined = 0.0;
        }
        for (q, hole) in ws.holes.flow.iter().zip(&self.laws.holes) {
            if let Some(run) = ws.runs.get_mut(self.run_at[hole.at as usize] as usize) {
                run.joined += q;
            }
        }
        for (run, &(at, ..)) in ws.runs.iter_mut().zip(&self.facts.runs) {
            let (out, k) = (ws.flow[at as usize], share * self.laws.momentum[at as usize]);
            let inward = out - run.joined;
            run.now = 0.5 * k * (inward * inward + out * out);
        }
    }

    /// Linearises the terms and works them into what enters each run's position:
    /// with holes q = b + g (outside - x + M) and Q_out = Q_in + q,
    /// Q_out (1 - g M_out) = Q_in (1 + g M_in) + b + g (outside + M_rest) - g x.
    pub(crate) fn weigh_runs(&self, ws: &mut Workspace) {
        let share = ws.share;
        for (run, &(at, ..)) in ws.runs.iter_mut().zip(&self.facts.runs) {
            let at = at as usize;
            let (out, k) = (ws.flow[at], share * self.laws.momentum[at]);
            let inward = out - run.joined;
            (run.g, run.a) = (ws.s[at], ws.a[at]);
            (run.on_in, run.on_out) = (k * inward, k * out);
            if !ws.exact && run.g * run.on_in.abs().max(run.on_out.abs()) > HOLD {
                (run.on_in, run.on_out) = (0.0, 0.0);
            }
            run.rest = 0.5 * k * (inward * inward + out * out) - run.on_in * inward - run.on_out * out;
            let inverse = 1.0 / (1.0 - run.g * run.on_out);
            ws.weight[at] = (1.0 + run.g * run.on_in) * inverse;
            ws.a[at] = (run.a + run.g * run.rest) * inverse;
            ws.s[at] = run.g * inverse;
        }
    }

    /// The linearised terms at the new pressures.
    pub(crate) fn settle_runs(&self, ws: &mut Workspace) {
        for (run, &(at, ..)) in ws.runs.iter_mut().zip(&self.facts.runs) {
            let at = at as usize;
            let out = ws.a[at] - ws.s[at] * ws.x[at];
            let joined = (run.a - run.g * ws.x[at] + run.g * ((run.on_in + run.on_out) * out + run.rest))
                / (1.0 + run.g * run.on_in);
            run.now = run.on_in * (out - joined) + run.on_out * out + run.rest;
        }
    }
}
