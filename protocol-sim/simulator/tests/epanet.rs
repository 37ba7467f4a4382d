//! Steady flows against EPANET's, with EPANET's own friction law put in: then only the solution is compared.
//!
//! Reference: tests/data/epanet.json, made by scripts/make_simulator_reference.py.
use plumeline_base::pipework::*;
use plumeline_simulator::{
    demo::straight_pipes,
    models::invented::air_path,
    physics::{Laws, Momentum, friction::Friction, steady},
    scenario::Which,
};
use serde::Deserialize;

#[derive(Deserialize)]
struct Reference {
    density: f64,
    viscosity: f64,
    bore_m: f64,
    roughness_m: f64,
    discharge: f64,
    networks: Vec<Net>,
}
#[derive(Deserialize)]
struct Net {
    suction_pa: f64,
    pipes: Vec<Pipe>,
    hole_m3_s: Vec<Vec<f64>>,
}
#[derive(Deserialize)]
struct Pipe {
    length_m: Vec<f64>,
    hole_m: Vec<f64>,
}

/// EPANET's friction (src/hydcoeffs.c; EPANET 2.2 user manual, table 3.1): Hagen-Poiseuille below Re 2000, Swamee and Jain above 4000,
/// Dunlop's cubic between.
fn epanet_friction(re: f64, e: f64) -> f64 {
    let ab = 5.74 / 4000f64.powf(0.9);
    if re <= 2000.0 {
        64.0 / re
    } else if re >= 4000.0 {
        0.25 / (e / 3.7 + 5.74 / re.powf(0.9)).log10().powi(2)
    } else {
        let y2 = e / 3.7 + ab;
        let y3 = -2.0 / std::f64::consts::LN_10 * y2.ln();
        let fa = 1.0 / (y3 * y3);
        let ac = -2.0 * 0.9 * 2.0 / std::f64::consts::LN_10 * ab;
        let fb = (2.0 + ac / (y2 * y3)) * fa;
        let r = re / 2000.0;
        let (x1, x2) = (7.0 * fa - fb, 0.128 - 17.0 * fa + 2.5 * fb);
        let (x3, x4) = (-0.128 + 13.0 * fa - 2.0 * fb, 0.032 - 3.0 * fa + 0.5 * fb);
        x1 + r * (x2 + r * (x3 + r * x4))
    }
}

#[test]
fn flows_are_those_of_epanet() {
    let reference: Reference = serde_json::from_str(include_str!("data/epanet.json")).unwrap();
    let laws = Laws {
        friction: Friction::Other(epanet_friction),
        momentum: Momentum::Left,
        viscous_holes: false,
        ..Laws::default()
    };
    let (mut worst, mut holes, mut res) = (0.0f64, 0, Vec::new());
    for net in &reference.networks {
        let counts: Vec<u32> = net.pipes.iter().map(|p| p.hole_m.len() as u32).collect();
        let mut p = straight_pipes(&counts, 1.0, 1e-3, air_path(Which::Replacement));
        p.air.given = Some(GivenAir { density: reference.density, viscosity: reference.viscosity });
        let sizes = net.pipes.iter().flat_map(|pipe| pipe.length_m.iter().zip(&pipe.hole_m));
        for ((s, o), (length, hole)) in p.segments.iter_mut().zip(&mut p.openings).zip(sizes) {
            (s.length_m, s.bore_m, s.roughness_m, s.minor_k) = (*length, reference.bore_m, reference.roughness_m, 0.0);
            (o.diameter_m, o.discharge) = (*hole, reference.discharge);
        }
        p.inlets.iter_mut().for_each(|i| i.loss = Loss::default());
        p.unit.loss = Loss::default();
        p.unit.exhaust_loss = Loss::default();
        let curve = [0.0, 1.0].map(|flow_m3_s| FanPoint { flow_m3_s, pressure_pa: net.suction_pa }).to_vec();
        p.unit.drive = Drive::Fan(Fan {
            curve,
            interpolation: CurveInterpolation::Linear,
            speed: 1.0,
            reference_density: reference.density,
            u_pressure: 0.0,
        });
        let s = steady(&p, laws).unwrap();
        for (got, want) in s.opening_m3_s.iter().zip(net.hole_m3_s.iter().flatten()) {
            worst = worst.max((got / want - 1.0).abs());
            holes += 1;
        }
        let re =
            |q: &f64| q * 4.0 * reference.density / (std::f64::consts::PI * reference.bore_m * reference.viscosity);
        res.extend(s.segment_m3_s.iter().map(re));
    }
    let between = res.iter().filter(|re| (2000.0..4000.0).contains(*re)).count();
    assert!(holes > 500 && between > 50, "the reference covers laminar, transition and turbulent: {holes}, {between}");
    assert!(worst < 2e-4, "worst hole differs by {worst:.2e}");
    println!("{holes} holes, {between} segments in transition, worst hole differs by {worst:.2e}");
}
