//! Pipework for tests and benchmarks, and an evaluation of the equations that shares no code with the engine.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
pub mod equations;
pub mod random;

use plumeline_base::pipework::*;

/// A unit with a fan, moderate losses and nothing connected. Invented.
pub fn unit() -> AirPath {
    let point = |(flow_m3_s, pressure_pa)| FanPoint { flow_m3_s, pressure_pa };
    AirPath {
        loss: Loss { linear: 2e4, quadratic: 8e6 },
        volume_m3: 0.4e-3,
        sensor_lag_s: 2.0,
        drive: Drive::Fan(Fan {
            curve: [(0.0, 420.0), (1.0e-3, 400.0), (2.0e-3, 350.0), (3.5e-3, 220.0), (5.0e-3, 0.0)].map(point).to_vec(),
            interpolation: CurveInterpolation::MonotoneCubic,
            speed: 1.0,
            reference_density: 1.2,
            u_pressure: 0.03,
        }),
        exhaust_loss: Loss { linear: 0.0, quadratic: 3e6 },
        exhaust_pa: 0.0,
        exhaust_elevation_m: 0.0,
    }
}

pub fn site() -> Air {
    Air { temperature_c: 20.0, pressure_pa: 101_325.0, relative_humidity: 0.5, given: None }
}

pub fn tolerances() -> Known {
    let both = |common, individual| Tolerance { common, individual };
    Known {
        basis: Basis::Drawing,
        diameter: both(0.01, 0.02),
        discharge: both(0.03, 0.02),
        bore: both(0.005, 0.002),
        length: both(0.005, 0.02),
        roughness: both(0.3, 0.0),
        minor_k: both(0.1, 0.2),
    }
}

pub fn empty() -> Pipework {
    Pipework {
        name: "test".into(),
        nodes: Vec::new(),
        segments: Vec::new(),
        openings: Vec::new(),
        inlets: Vec::new(),
        unit: unit(),
        air: site(),
        known: vec![tolerances()],
        walk: Vec::new(),
    }
}

/// Adds a node and returns its id.
pub fn node(p: &mut Pipework) -> u32 {
    p.nodes.push(Node::default());
    (p.nodes.len() - 1) as u32
}

pub fn segment(near: u32, far: u32, length_m: f64) -> Segment {
    Segment {
        near,
        far,
        kind: SegmentKind::Pipe,
        length_m,
        bore_m: 0.021,
        roughness_m: 1.5e-6,
        minor_k: 0.0,
        air_temperature_c: None,
        known: 0,
    }
}

pub fn hole(node: u32, number: u32, diameter_m: f64) -> Opening {
    Opening {
        node,
        number,
        kind: OpeningKind::Hole,
        diameter_m,
        discharge: 0.62,
        blocked: false,
        outside_pa: 0.0,
        reachable: true,
        known: 0,
        whereabouts: Default::default(),
    }
}

pub fn inlet(number: u8, node: Option<u32>) -> Inlet {
    Inlet { number, node, loss: Loss { linear: 0.0, quadratic: 2e7 }, bore_m: 0.021, volume_m3: 0.1e-3 }
}

/// Adds a pipe with `holes` openings (the last an end cap), spaced evenly; its inlet is the next number.
pub fn pipe(p: &mut Pipework, lead_m: f64, spacing_m: f64, holes: u32, diameter_m: f64, cap_m: f64) {
    let start = node(p);
    let number = p.inlets.len() as u8 + 1;
    p.inlets.push(inlet(number, Some(start)));
    let mut at = start;
    for i in 1..=holes {
        let next = node(p);
        let length = if i == 1 { lead_m } else { spacing_m };
        let mut s = segment(at, next, length);
        s.minor_k = if i == 1 { 2.0 } else { 0.1 };
        p.segments.push(s);
        let mut o = hole(next, i, if i == holes { cap_m } else { diameter_m });
        o.kind = if i == holes { OpeningKind::EndCap } else { OpeningKind::Hole };
        p.openings.push(o);
        at = next;
    }
}

/// Four pipes of 25 openings each: the usual largest job.
pub fn four_by_25() -> Pipework {
    let mut p = empty();
    for i in 0..4 {
        pipe(&mut p, 5.0 + 3.0 * f64::from(i), 3.0, 25, 0.0025, 0.004);
    }
    p
}

/// Two inlets, a branch, a drop tube, a ring between the pipes and inside one, heights, a warm run, rooms that differ.
pub fn mixed() -> Pipework {
    let mut p = empty();
    pipe(&mut p, 4.0, 4.0, 6, 0.003, 0.005);
    pipe(&mut p, 6.0, 3.0, 8, 0.0028, 0.004);
    // Nodes: 0..=6 and 7..=15. A branch off node 3.
    let branch = node(&mut p);
    p.segments.push(Segment { minor_k: 1.2, ..segment(3, branch, 7.0) });
    p.openings.push(hole(branch, 7, 0.003));
    // A drop tube under the branch.
    let tip = node(&mut p);
    p.segments.push(Segment { kind: SegmentKind::Capillary, bore_m: 0.008, ..segment(branch, tip, 2.0) });
    p.openings.push(hole(tip, 8, 0.004));
    p.nodes[tip as usize].elevation_m = -2.0;
    // Rings.
    p.segments.push(segment(6, 15, 9.0));
    p.segments.push(segment(10, 13, 11.0));
    p.nodes[12].elevation_m = 4.0;
    p.segments[8].air_temperature_c = Some(35.0);
    p.openings[4].outside_pa = 3.0;
    p.openings[9].outside_pa = -2.0;
    p.openings[2].blocked = true;
    p
}
