//! What a solve gives. Not here: times, shares and uncertainties, which are worked out from it.
use crate::air::AirState;
use alloc::vec::Vec;

/// How far a solution is from the equations, evaluated anew at the flows and pressures it reports.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Residual {
    /// Largest imbalance of any node, relative to the total of all flows into openings.
    pub mass: f64,
    /// Largest pressure misfit of any segment, opening or loss, relative to the greatest pressure in the network.
    pub energy: f64,
}

/// The steady state of a network. Vectors follow the order of the vectors of `Pipework`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Solution {
    /// Flow through each inlet, m3/s; 0 for a plugged inlet.
    pub inlet_flow_m3_s: Vec<f64>,
    /// Suction below ambient at each inlet's pipe end, Pa; 0 for a plugged inlet.
    pub inlet_suction_pa: Vec<f64>,
    /// Flow into each opening, m3/s; negative where air leaves; 0 when blocked.
    pub opening_flow_m3_s: Vec<f64>,
    /// Pressure outside less pressure inside at each opening, Pa (given for blocked openings as well).
    pub opening_suction_pa: Vec<f64>,
    /// Flow through each segment from `far` to `near`, m3/s at the site's density.
    pub segment_flow_m3_s: Vec<f64>,
    /// Reynolds number of each segment.
    pub segment_reynolds: Vec<f64>,
    /// Pressure at each node as its openings feel it, Pa gauge.
    pub node_pressure_pa: Vec<f64>,
    /// Pressure at the manifold, Pa gauge; `None` where inlet suctions stand in for a fan.
    pub manifold_pressure_pa: Option<f64>,
    /// Flow through the unit, m3/s.
    pub total_flow_m3_s: f64,
    /// The site's air.
    pub air: AirState,
    /// Distance from the equations.
    pub residual: Residual,
    /// Newton steps taken.
    pub iterations: u32,
}
