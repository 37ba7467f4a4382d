//! What a pipe resists: friction, fittings, and the momentum of the air that joins it.
use super::Pipe;
use crate::physics::{Laws, Momentum, friction::laminar_share};

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
    pub(super) fn pipe<'a>(
        &self,
        pipe: &Pipe,
        m: f64,
        run_m: f64,
        branch: impl Fn(u32) -> Option<&'a Pipe>,
    ) -> (f64, f64) {
        let size = m.abs();
        let re = (size * pipe.reynolds).max(1e-3);
        let (f, df) = self.friction.at(re, pipe.roughness);
        let quadratic = f * pipe.friction + pipe.minor;
        let mut drop = quadratic * m * size;
        let mut slope = 2.0 * quadratic * size + df * pipe.reynolds * pipe.friction * m * m;
        if pipe.gathers > 0.0 {
            let gathered = pipe.gathers * self.beta(re) * pipe.flux;
            drop += gathered * m * m;
            slope += (2.0 * gathered * m).max(0.0);
            if let Some(run) = pipe.run.and_then(branch) {
                drop -= pipe.gathers * self.beta((run_m.abs() * run.reynolds).max(1e-3)) * run.flux * run_m * run_m;
            }
        }
        (drop, slope.max(0.0))
    }
}
