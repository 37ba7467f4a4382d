//! Where a result leaves the ground the model was checked on, and what looks poor in a design.
//!
//! Not here: errors (a result that does not exist), and verdicts.
use crate::{error::Place, network::fan::FanCurve, solution::Solution};
use alloc::vec::Vec;
use core::f64::consts::PI;
use plumeline_base::pipework::{Drive, Fan, OpeningKind, Pipework};

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

impl core::fmt::Display for Remark {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let l_min = |q: &f64| q * 60_000.0;
        match self {
            Self::Transition(re) => {
                write!(f, "Reynolds number {re:.0}, between laminar and turbulent: friction is uncertain there")
            }
            Self::Backflow(q) => write!(f, "air leaves here, {:.2} L/min", l_min(q)),
            Self::Starved(p) => write!(f, "suction only {p:.1} Pa"),
            Self::Slow(t) => write!(f, "mean transport time {t:.0} s"),
            Self::Unbalanced(r) => write!(f, "the weakest hole draws {:.0} % of what the strongest draws", r * 100.0),
            Self::OutsideFanCurve(q) => write!(f, "{:.1} L/min lies beyond the points of the fan curve", l_min(q)),
            Self::RisingFanCurve(q) => {
                write!(f, "at {:.1} L/min the fan curve rises: the flow may hunt, or settle at another value", l_min(q))
            }
            Self::VeryRough(r) => write!(f, "roughness is {r:.3} of the bore; friction laws are known up to 0.05"),
            Self::SlowHole(re) => {
                write!(f, "hole Reynolds number {re:.0}: the discharge coefficient is doubtful under 200")
            }
            Self::AirBeyondCipm => {
                f.write_str("air beyond 15 to 27 degC or 600 to 1100 hPa, for which its density formula is stated")
            }
            Self::Fast(mach) => write!(f, "Mach number {mach:.2}: compressibility is left out"),
        }
    }
}

/// Mach number from which compressibility is no longer small (density changes by Ma^2 / 2, 0.5 %).
const FAST: f64 = 0.1;
/// Speed of sound in air at 20 degC, m/s; it varies by 5 % over -10 to 40 degC.
const SOUND: f64 = 343.0;
/// Hole Reynolds number under which a constant discharge coefficient is doubtful (common practice, no source).
const SLOW_HOLE: f64 = 200.0;

/// All remarks on a solved pipework, place by place. `mean_s` is that of [`crate::transport::mean_times`].
pub fn review(pipework: &Pipework, solution: &Solution, mean_s: &[f64], limits: &ReviewLimits) -> Vec<Warning> {
    let mut all = Vec::new();
    let mut say = |place, what| all.push(Warning { place, what });
    air(pipework, &mut say);
    drive(pipework, solution, &mut say);
    for (i, s) in pipework.segments.iter().enumerate() {
        let re = solution.segment_reynolds.get(i).copied().unwrap_or_default();
        if re > 2000.0 && re < 4000.0 {
            say(Place::Segment(i), Remark::Transition(re));
        }
        if s.roughness_m > 0.05 * s.bore_m {
            say(Place::Segment(i), Remark::VeryRough(s.roughness_m / s.bore_m));
        }
        let flow = solution.segment_flow_m3_s.get(i).copied().unwrap_or_default();
        fast(Place::Segment(i), flow, s.bore_m, 1.0, &mut say);
    }
    // A starved hole's flow goes with the root of a pressure that is known to 1e-15 of the greatest; its sign says nothing.
    let rounding = 1e-7 * solution.opening_flow_m3_s.iter().fold(0.0f64, |m, q| m.max(q.abs()));
    for (k, o) in pipework.openings.iter().enumerate() {
        let flow = solution.opening_flow_m3_s.get(k).copied().unwrap_or_default();
        if o.blocked || o.diameter_m == 0.0 {
            continue;
        }
        if flow < -rounding {
            say(Place::Opening(k), Remark::Backflow(-flow));
        }
        match solution.opening_suction_pa.get(k) {
            Some(&suction) if suction < limits.min_suction_pa => say(Place::Opening(k), Remark::Starved(suction)),
            _ => {}
        }
        let re = 4.0 * solution.air.density * flow.abs() / (PI * o.diameter_m * solution.air.viscosity);
        if re < SLOW_HOLE {
            say(Place::Opening(k), Remark::SlowHole(re));
        }
        fast(Place::Opening(k), flow, o.diameter_m, o.discharge, &mut say);
        match mean_s.get(k) {
            Some(&mean_s) if flow > 0.0 && mean_s > limits.max_transport_s => {
                say(Place::Opening(k), Remark::Slow(mean_s))
            }
            _ => {}
        }
    }
    for (i, openings) in pipework.openings_by_inlet().into_iter().enumerate() {
        let flows = openings
            .into_iter()
            .filter(|&k| pipework.openings[k].kind == OpeningKind::Hole && !pipework.openings[k].blocked)
            .filter_map(|k| solution.opening_flow_m3_s.get(k).copied());
        let (least, most) = flows.fold((f64::INFINITY, 0.0f64), |(l, m), q| (l.min(q), m.max(q)));
        if most > 0.0 && least < limits.min_balance * most {
            say(Place::Inlet(i), Remark::Unbalanced(least / most));
        }
    }
    all
}

fn air(pipework: &Pipework, say: &mut impl FnMut(Place, Remark)) {
    let air = &pipework.air;
    let stated = (15.0..=27.0).contains(&air.temperature_c) && (6e4..=1.1e5).contains(&air.pressure_pa);
    if air.given.is_none() && !stated {
        say(Place::Air, Remark::AirBeyondCipm);
    }
}

fn drive(pipework: &Pipework, solution: &Solution, say: &mut impl FnMut(Place, Remark)) {
    let Drive::Fan(fan) = &pipework.unit.drive else { return };
    let Ok(curve) = FanCurve::build(fan) else { return };
    let flow = solution.total_flow_m3_s;
    if !curve.covers(flow) {
        say(Place::Drive, Remark::OutsideFanCurve(flow));
    }
    if curve.at(flow, fan.reference_density).1 > 0.0 {
        say(Place::Drive, Remark::RisingFanCurve(flow));
    }
}

/// How far beyond the points of its curve a fan works at this flow of the unit, m3/s, as a share of the flows that the points
/// span; 0 within them.
pub fn beyond_curve(fan: &Fan, flow: f64) -> f64 {
    FanCurve::build(fan).map_or(0.0, |curve| curve.beyond(flow))
}

/// `fill` is the part of the bore that the jet fills (about the discharge coefficient).
fn fast(place: Place, flow: f64, bore: f64, fill: f64, say: &mut impl FnMut(Place, Remark)) {
    let mach = flow.abs() / (0.25 * PI * bore * bore * fill) / SOUND;
    if mach > FAST {
        say(place, Remark::Fast(mach));
    }
}
