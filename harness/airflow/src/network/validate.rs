//! Checks a pipework before it is laid out: every number in range, every reference there. Not here: its shape.
use crate::{
    error::{BuildError, Fault, Place},
    options::SolveOptions,
};
use plumeline_base::pipework::{Drive, Loss, Pipework, Tolerance};

/// Most inlets of one unit.
const MAX_INLETS: usize = 8;
/// Most parts of one kind; indices are 32 bits wide.
const MAX_PARTS: usize = 1 << 28;

struct Check(Place);
impl Check {
    fn range(&self, what: &'static str, value: f64, low: f64, high: f64) -> Result<(), BuildError> {
        // NaN fails both comparisons.
        if value >= low && value <= high {
            return Ok(());
        }
        Err(BuildError::new(self.0, Fault::OutOfRange { what, value, low, high }))
    }
    fn index(&self, what: &'static str, index: usize, count: usize) -> Result<(), BuildError> {
        if index < count {
            return Ok(());
        }
        Err(BuildError::new(self.0, Fault::NoSuch { what, index, count }))
    }
    fn loss(&self, loss: &Loss) -> Result<(), BuildError> {
        self.range("linear loss (Pa per m3/s)", loss.linear, 0.0, 1e12)?;
        self.range("quadratic loss (Pa per (m3/s)^2)", loss.quadratic, 0.0, 1e15)
    }
}

pub(super) fn pipework(p: &Pipework, options: &SolveOptions) -> Result<(), BuildError> {
    let whole = |fault| Err(BuildError::new(Place::Pipework, fault));
    if [p.nodes.len(), p.segments.len(), p.openings.len()].iter().any(|&n| n > MAX_PARTS) {
        return whole(Fault::TooLarge(MAX_PARTS));
    }
    if p.inlets.len() > MAX_INLETS {
        return whole(Fault::TooManyInlets(p.inlets.len()));
    }
    for (i, node) in p.nodes.iter().enumerate() {
        Check(Place::Node(i)).range("elevation (m)", node.elevation_m, -1e4, 1e4)?;
    }
    segments(p)?;
    openings(p)?;
    inlets(p)?;
    unit(p)?;
    known(p)?;
    let check = Check(Place::Options);
    check.range("tolerance", options.tolerance, 1e-13, 1e-3)?;
    check.range("momentum factor", options.momentum_factor, 0.0, 1.5)?;
    check.range("iterations", f64::from(options.max_iterations), 1.0, 1e6)
}

fn segments(p: &Pipework) -> Result<(), BuildError> {
    for (i, s) in p.segments.iter().enumerate() {
        let check = Check(Place::Segment(i));
        check.index("node", s.near as usize, p.nodes.len())?;
        check.index("node", s.far as usize, p.nodes.len())?;
        if s.near == s.far {
            return Err(BuildError::new(Place::Segment(i), Fault::SelfLoop));
        }
        check.index("tolerance", usize::from(s.known), p.known.len())?;
        check.range("length (m)", s.length_m, 1e-6, 1e5)?;
        check.range("bore (m)", s.bore_m, 1e-4, 2.0)?;
        check.range("roughness (m)", s.roughness_m, 0.0, 0.5 * s.bore_m)?;
        check.range("fittings' loss coefficient", s.minor_k, 0.0, 1e6)?;
    }
    Ok(())
}

fn openings(p: &Pipework) -> Result<(), BuildError> {
    for (i, o) in p.openings.iter().enumerate() {
        let check = Check(Place::Opening(i));
        check.index("node", o.node as usize, p.nodes.len())?;
        check.index("tolerance", usize::from(o.known), p.known.len())?;
        check.range("diameter (m)", o.diameter_m, 0.0, 2.0)?;
        if o.diameter_m > 0.0 {
            check.range("diameter (m)", o.diameter_m, 1e-5, 2.0)?;
        }
        check.range("discharge coefficient", o.discharge, 0.01, 1.0)?;
        check.range("outside pressure (Pa)", o.outside_pa, -5e4, 5e4)?;
    }
    Ok(())
}

fn inlets(p: &Pipework) -> Result<(), BuildError> {
    for (i, inlet) in p.inlets.iter().enumerate() {
        let check = Check(Place::Inlet(i));
        check.loss(&inlet.loss)?;
        check.range("volume (m3)", inlet.volume_m3, 0.0, 10.0)?;
        let earlier = &p.inlets[..i];
        if earlier.iter().any(|e| e.number == inlet.number) {
            return Err(BuildError::new(Place::Inlet(i), Fault::DuplicateNumber));
        }
        if let Some(node) = inlet.node {
            check.index("node", node as usize, p.nodes.len())?;
            if earlier.iter().any(|e| e.node == Some(node)) {
                return Err(BuildError::new(Place::Inlet(i), Fault::SharedInletNode));
            }
        }
    }
    Ok(())
}

fn unit(p: &Pipework) -> Result<(), BuildError> {
    let check = Check(Place::Unit);
    check.loss(&p.unit.loss)?;
    check.loss(&p.unit.exhaust_loss)?;
    check.range("volume (m3)", p.unit.volume_m3, 0.0, 10.0)?;
    check.range("sensor lag (s)", p.unit.sensor_lag_s, 0.0, 1e4)?;
    check.range("exhaust pressure (Pa)", p.unit.exhaust_pa, -5e4, 5e4)?;
    check.range("exhaust elevation (m)", p.unit.exhaust_elevation_m, -1e4, 1e4)?;
    let check = Check(Place::Drive);
    match &p.unit.drive {
        Drive::Fan(fan) => {
            check.range("speed (of the reference speed)", fan.speed, 1e-3, 10.0)?;
            check.range("reference density (kg/m3)", fan.reference_density, 0.1, 20.0)?;
            check.range("relative uncertainty", fan.u_pressure, 0.0, 1.0)?;
            for point in &fan.curve {
                check.range("fan flow (m3/s)", point.flow_m3_s, -100.0, 100.0)?;
                check.range("fan pressure (Pa)", point.pressure_pa, -1e5, 1e5)?;
            }
            Ok(())
        }
        Drive::InletSuction(suctions) => {
            if suctions.len() != p.inlets.len() {
                let fault = Fault::SuctionCount { given: suctions.len(), inlets: p.inlets.len() };
                return Err(BuildError::new(Place::Drive, fault));
            }
            for (inlet, &suction) in p.inlets.iter().zip(suctions) {
                if inlet.node.is_some() {
                    check.range("inlet suction (Pa)", suction, -5e4, 5e4)?;
                }
            }
            Ok(())
        }
    }
}

fn known(p: &Pipework) -> Result<(), BuildError> {
    for (i, k) in p.known.iter().enumerate() {
        let check = Check(Place::Known(i));
        for Tolerance { common, individual } in [k.diameter, k.discharge, k.bore, k.length, k.roughness, k.minor_k] {
            check.range("relative uncertainty (common)", common, 0.0, 2.0)?;
            check.range("relative uncertainty (individual)", individual, 0.0, 2.0)?;
        }
    }
    Ok(())
}
