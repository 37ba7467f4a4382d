//! The steady state of a pipework as designed, by the same marching as a simulation: for comparisons and benchmarks.
use super::{
    Laws,
    network::{Joint, Network},
    smoke::Smoke,
};
use plumeline_base::pipework::{AirPath, Pipework};

/// Why there is no steady state.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SteadyError {
    /// The pipework's data contradict themselves.
    #[error("the pipework can't be simulated: {0}")]
    Pipework(String),
    /// The march did not come to rest.
    #[error("the flows did not come to rest; look for a fan curve that rises with flow")]
    Restless,
    /// There is no such opening.
    #[error("the pipework has no opening number {0} (counted from 0)")]
    NoOpening(usize),
}

/// Flows and pressures at rest. Volume flows are at the density of the air where they are.
#[derive(Clone, Debug, PartialEq)]
pub struct Steady {
    /// Volume flow through each inlet into the unit, m3/s.
    pub inlet_m3_s: Vec<f64>,
    /// Volume flow into each opening, m3/s.
    pub opening_m3_s: Vec<f64>,
    /// Volume flow of each segment towards the unit, m3/s.
    pub segment_m3_s: Vec<f64>,
    /// Pressure at each node against the ambient at its height, Pa.
    pub node_pa: Vec<f64>,
    /// Pressure in the manifold, Pa.
    pub manifold_pa: f64,
}

fn settled(pipework: &Pipework, laws: Laws) -> Result<Network, SteadyError> {
    let joints: Vec<Joint> = pipework.inlets.iter().map(|i| Joint { node: i.node, ..Joint::default() }).collect();
    let mut network = Network::new(pipework, &joints, &[], &pipework.unit, laws).map_err(SteadyError::Pipework)?;
    let speed = match &pipework.unit.drive {
        plumeline_base::pipework::Drive::Fan(fan) => fan.speed,
        plumeline_base::pipework::Drive::InletSuction(_) => 1.0,
    };
    network.set_speed(speed, 1.0);
    if network.settle() { Ok(network) } else { Err(SteadyError::Restless) }
}

/// Marches `pipework` to rest under `laws`.
///
/// # Errors
/// When the pipework contradicts itself, or does not come to rest.
pub fn steady(pipework: &Pipework, laws: Laws) -> Result<Steady, SteadyError> {
    let network = settled(pipework, laws)?;
    let unit = network.unit_density();
    let segment = |i: usize| network.segment_kg_s(i) / network.conduit(i).density;
    Ok(Steady {
        inlet_m3_s: (0..pipework.inlets.len()).map(|i| network.inlet_kg_s(i) / unit).collect(),
        opening_m3_s: (0..pipework.openings.len())
            .map(|i| network.opening_kg_s(i) / network.opening_density(i))
            .collect(),
        segment_m3_s: (0..pipework.segments.len()).map(segment).collect(),
        node_pa: (0..pipework.nodes.len()).map(|i| network.node_pa(i as u32)).collect(),
        manifold_pa: network.manifold_pa(),
    })
}

/// When the sensor reaches each of `fractions` (rising, of the final value) after smoke begins to stand at an opening, s; `None` where
/// it does not within `longest_s`. At steady flow; chamber and sensor included.
///
/// # Errors
/// As [`steady`], or when there is no such opening.
pub fn arrivals(
    pipework: &Pipework,
    laws: Laws,
    opening: usize,
    fractions: &[f64],
    longest_s: f64,
) -> Result<Vec<Option<f64>>, SteadyError> {
    if opening >= pipework.openings.len() {
        return Err(SteadyError::NoOpening(opening));
    }
    let network = settled(pipework, laws)?;
    Ok(response(&network, pipework.openings.len(), &pipework.unit, laws, opening, fractions, longest_s))
}

/// The same for flows as they are now, taken as steady.
pub(crate) fn response(
    network: &Network,
    openings: usize,
    unit: &AirPath,
    laws: Laws,
    opening: usize,
    fractions: &[f64],
    longest_s: f64,
) -> Vec<Option<f64>> {
    let mut times = vec![None; fractions.len()];
    // In the end the sensor sees the hole's share of the unit's mass flow.
    let last = network.opening_kg_s(opening) / network.unit_kg_s();
    if last <= 0.0 || !last.is_finite() {
        return times;
    }
    let mut smoke = Smoke::new(network, openings, unit.volume_m3, unit.sensor_lag_s, laws.diffusivity_m2_s);
    smoke.release(opening, 1.0, 1.0);
    let dt = 0.05;
    let (mut next, mut before, mut t) = (0, 0.0, 0.0);
    while t < longest_s && next < fractions.len() {
        smoke.step(network, dt);
        let now = smoke.extinction(1.0);
        while let Some(f) = fractions.get(next).filter(|f| now >= **f * last && now > before) {
            // Within a step the response is taken as straight.
            times[next] = Some(t + dt * ((f * last - before) / (now - before)).clamp(0.0, 1.0));
            next += 1;
        }
        before = now;
        t += dt;
    }
    times
}
