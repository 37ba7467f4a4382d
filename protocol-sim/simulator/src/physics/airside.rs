//! Flows and smoke of one installation, kept in step.
use super::{Laws, network::Network, smoke::Smoke};
use plumeline_base::{Instant, pipework::AirPath};

/// Longest step while smoke is on its way, s: each junction blurs by less than a tenth of it.
const SMOKE_STEP_S: f64 = 0.2;

/// The air of one installation up to an instant.
#[derive(Clone, Debug)]
pub(crate) struct AirSide {
    network: Network,
    smoke: Smoke,
    segments: usize,
    at: Instant,
}
impl AirSide {
    /// At rest at `at`.
    pub(crate) fn new(network: Network, shape: (usize, usize), unit: &AirPath, laws: Laws, at: Instant) -> Self {
        let (segments, openings) = shape;
        let smoke = Smoke::new(&network, openings, unit.volume_m3, unit.sensor_lag_s, laws.diffusivity_m2_s);
        Self { network, smoke, segments, at }
    }
    /// Goes on in the place of `old`: flows, pressures, smoke.
    pub(crate) fn carry_over(&mut self, old: Self) {
        self.network.carry_over(&old.network);
        self.smoke.carry_over(old.smoke, self.segments.min(old.segments));
    }
    /// Marches on to `to`; an instant already passed changes nothing.
    pub(crate) fn advance(&mut self, to: Instant) {
        let mut left = to.since(self.at).as_secs_f64();
        self.at = self.at.max(to);
        while left > 0.0 && (self.smoke.active() || !self.network.held()) {
            let dt = if self.smoke.active() { left.min(SMOKE_STEP_S) } else { left };
            self.network.march(dt);
            self.smoke.step(&self.network, dt);
            left -= dt;
        }
    }
    /// Goes to the steady state at once, as after a long time without smoke. False if there is none.
    pub(crate) fn settle(&mut self) -> bool {
        self.network.settle()
    }
    /// The flows.
    pub(crate) const fn network(&self) -> &Network {
        &self.network
    }
    /// The flows, to change what drives or stops them.
    pub(crate) const fn network_mut(&mut self) -> &mut Network {
        &mut self.network
    }
    /// The smoke.
    pub(crate) const fn smoke(&self) -> &Smoke {
        &self.smoke
    }
    /// The smoke, to release some.
    pub(crate) const fn smoke_mut(&mut self) -> &mut Smoke {
        &mut self.smoke
    }
    /// Extinction at a sensor of each inlet, 1/m.
    pub(crate) fn inlet_extinctions(&self) -> Vec<f64> {
        self.smoke.at_inlets(self.network.unit_density())
    }
    /// Extinction at the sensor, 1/m.
    pub(crate) fn extinction(&self) -> f64 {
        self.smoke.extinction(self.network.unit_density())
    }
}
