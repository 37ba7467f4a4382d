//! The marched flows against handbook laws: what they come to at rest, and how they get there.
use plumeline_base::pipework::*;
use plumeline_simulator::{
    demo::straight_pipes,
    models::invented::air_path,
    physics::{Laws, Momentum, arrivals, friction::Friction, steady},
    scenario::Which,
};

const PI: f64 = std::f64::consts::PI;

/// One pipe of 50 m with an end cap's hole only.
fn one_pipe() -> Pipework {
    let mut p = straight_pipes(&[1], 1.0, 3e-3, air_path(Which::Replacement));
    p.segments[0].length_m = 50.0;
    p.segments[0].minor_k = 0.0;
    p.air.given = Some(GivenAir { density: 1.2, viscosity: 1.8e-5 });
    p
}

#[test]
fn laminar_pipe_and_hole_obey_the_textbook() {
    let p = one_pipe();
    let laws = Laws { momentum: Momentum::Left, viscous_holes: false, ..Laws::default() };
    let s = steady(&p, laws).unwrap();
    let q = s.segment_m3_s[0];
    // Hagen-Poiseuille: dp = 128 mu L q / (pi d^4). Orifice: q = Cd A sqrt(2 dp / rho).
    let pipe_pa = 128.0 * 1.8e-5 * 50.0 * q / (PI * 0.021f64.powi(4));
    let (hole, inlet) = (-s.node_pa[1], -s.node_pa[0]);
    let area = PI / 4.0 * 0.0039f64.powi(2);
    assert!((q / (0.65 * area * (2.0 * hole / 1.2).sqrt()) - 1.0).abs() < 1e-8);
    assert!(((inlet - hole) / pipe_pa - 1.0).abs() < 1e-3, "Re is low: {} for {pipe_pa}", inlet - hole);
    // The flow sensor's own loss, to the letter.
    assert!((-s.manifold_pa - inlet - (2e3 * q + 1e7 * q * q)).abs() < 1e-6);
}

#[test]
fn mass_is_kept_everywhere() {
    let p = straight_pipes(&[12, 20, 7], 4.0, 3e-3, air_path(Which::Replacement));
    let s = steady(&p, Laws::default()).unwrap();
    for (i, openings) in p.openings_by_inlet().iter().enumerate() {
        let sum: f64 = openings.iter().map(|&k| s.opening_m3_s[k]).sum();
        assert!((sum / s.inlet_m3_s[i] - 1.0).abs() < 1e-9, "inlet {i}");
    }
    assert!(s.inlet_m3_s.iter().all(|q| (20e-3..80e-3).contains(&(q * 60.0))), "{:?}", s.inlet_m3_s);
}

#[test]
fn turbulent_friction_is_darcy_and_weisbach() {
    // Another law put in: f = 0.02 everywhere.
    let p = one_pipe();
    let laws = Laws {
        friction: Friction::Other(|_, _| 0.02),
        momentum: Momentum::Left,
        viscous_holes: false,
        ..Laws::default()
    };
    let s = steady(&p, laws).unwrap();
    let v = s.segment_m3_s[0] / (PI / 4.0 * 0.021f64.powi(2));
    let want = 0.02 * 50.0 / 0.021 * 1.2 * v * v / 2.0;
    assert!(((s.node_pa[1] - s.node_pa[0]) / want - 1.0).abs() < 1e-8);
}

#[test]
fn momentum_of_gathered_air_costs_rho_v_squared() {
    // No friction: what is left of the drop along the pipe is rho (V1^2 - V2^2) at each hole.
    let mut p = straight_pipes(&[5], 1.0, 4e-3, air_path(Which::Replacement));
    p.air.given = Some(GivenAir { density: 1.2, viscosity: 1.8e-5 });
    p.segments.iter_mut().for_each(|s| s.minor_k = 0.0);
    p.nodes.iter_mut().for_each(|n| n.elevation_m = 0.0);
    let laws = Laws { friction: Friction::Other(|_, _| 1e-12), momentum: Momentum::Flat, ..Laws::default() };
    let s = steady(&p, laws).unwrap();
    let area = PI / 4.0 * 0.021f64.powi(2);
    let v = s.segment_m3_s[0] / area;
    let drop = s.node_pa[5] - s.node_pa[0];
    assert!((drop / (1.2 * v * v) - 1.0).abs() < 1e-6, "{drop}");
    // And it starves the far holes: the first draws more than the last but one.
    assert!(s.opening_m3_s[0] > s.opening_m3_s[3]);
}

#[test]
fn warm_riser_makes_a_draught() {
    // 10 m of height and 20 K: about 7.5 Pa (hydrostatics, rho g h dT/T), with the fan at rest.
    let mut p = one_pipe();
    p.air.given = None;
    p.nodes[1].elevation_m = 10.0;
    p.segments[0].air_temperature_c = Some(40.0);
    p.openings[0].diameter_m = 0.0;
    let Drive::Fan(fan) = &mut p.unit.drive else { panic!("a fan") };
    fan.speed = 1e-9;
    let s = steady(&p, Laws::default()).unwrap();
    let difference = s.node_pa[1] - s.node_pa[0];
    assert!((difference - 7.5).abs() < 0.15, "{difference}");
}

#[test]
fn cold_air_expands_on_its_way() {
    let mut p = one_pipe();
    p.air.given = None;
    p.nodes[1].elevation_m = 0.0;
    p.segments[0].air_temperature_c = Some(-20.0);
    let s = steady(&p, Laws::default()).unwrap();
    assert!((s.inlet_m3_s[0] / s.segment_m3_s[0] - 293.15 / 253.15).abs() < 1e-9);
}

#[test]
fn far_hole_answers_after_volume_over_flow() {
    let p = straight_pipes(&[10], 5.0, 3e-3, air_path(Which::Replacement));
    let s = steady(&p, Laws::default()).unwrap();
    let area = PI / 4.0 * 0.021f64.powi(2);
    let pipe_s: f64 = p.segments.iter().zip(&s.segment_m3_s).map(|(seg, q)| seg.length_m * area / q).sum();
    let inlet_s = 5e-5 / s.inlet_m3_s[0];
    let mean = pipe_s + inlet_s + 3e-4 / s.inlet_m3_s[0] + 1.5;
    let t = arrivals(&p, Laws::default(), 9, &[0.001, 0.1, 0.5, 0.9], 600.0).unwrap();
    let t: Vec<f64> = t.into_iter().flatten().collect();
    assert!(t.len() == 4 && t.is_sorted(), "{t:?}");
    // The first of it is ahead of the mean (last segments are laminar), the half is near it.
    assert!(t[0] > 0.4 * mean && t[0] < 0.95 * mean, "{t:?}, mean {mean}");
    assert!((t[2] / mean - 1.0).abs() < 0.15, "{t:?}, mean {mean}");
}

#[test]
fn rings_are_solved_too() {
    // Two ways from one hole to the inlet, one twice as long: the shorter carries more, and pressures agree.
    let mut p = one_pipe();
    p.nodes.push(Node::default());
    let base = p.segments[0].clone();
    p.segments[0].length_m = 20.0;
    p.segments.push(Segment { near: 0, far: 2, length_m: 20.0, ..base.clone() });
    p.segments.push(Segment { near: 2, far: 1, length_m: 20.0, ..base });
    let s = steady(&p, Laws { momentum: Momentum::Left, ..Laws::default() }).unwrap();
    assert!((s.segment_m3_s[0] / s.segment_m3_s[1] - 2.0).abs() < 0.01, "{:?}", s.segment_m3_s);
}
