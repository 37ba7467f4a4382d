//! What a pipe resists: friction, fittings, and the momentum of the air that joins it.
use super::Pipe;
use crate::physics::{Laws, Momentum, friction::laminar_share};

impl Pipe {
    /// The Reynolds number at mass flow `m`, never quite 0.
    pub(super) fn reynolds(&self, m: f64) -> f64 {
        (m.abs() * self.reynolds).max(1e-3)
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
    /// Pressure drop of a pipe at mass flow `m` and its slope, with the friction factor and its derivative by Re; `run` is
    /// the pipe that comes straight in at its far end, with its flow.
    pub(super) fn drop(&self, pipe: &Pipe, m: f64, (f, df): (f64, f64), run: Option<(&Pipe, f64)>) -> (f64, f64) {
        let size = m.abs();
        let quadratic = f * pipe.friction + pipe.minor;
        let mut drop = quadratic * m * size;
        let mut slope = 2.0 * quadratic * size + df * pipe.reynolds * pipe.friction * m * m;
        if pipe.gathers > 0.0 {
            let gathered = pipe.gathers * self.beta(pipe.reynolds(m)) * pipe.flux;
            drop += gathered * m * m;
            slope += (2.0 * gathered * m).max(0.0);
            if let Some((run, m)) = run {
                drop -= pipe.gathers * self.beta(run.reynolds(m)) * run.flux * m * m;
            }
        }
        (drop, slope.max(0.0))
    }
}
