//! Derivatives by the adjoint against differences of solves. Not here: what is made of the derivatives.
#![allow(clippy::unwrap_used)]
mod common;
use common::*;
use plumeline_airflow::{
    SolveOptions,
    sensitivity::{Gradient, Measurable, gradients},
    solve,
};
use plumeline_base::pipework::*;

fn options(momentum: bool) -> SolveOptions {
    SolveOptions { momentum, tolerance: 1e-13, ..SolveOptions::default() }
}

/// By a solve; the mean time, which is a plain sum over the solved flows, as the engine gives it.
fn value(p: &Pipework, o: &SolveOptions, m: Measurable) -> f64 {
    let s = solve(p, o).unwrap();
    match m {
        Measurable::InletFlow(i) => s.inlet_flow_m3_s[i],
        Measurable::InletSuction(i) => s.inlet_suction_pa[i],
        Measurable::TotalFlow => s.total_flow_m3_s,
        Measurable::OpeningFlow(k) => s.opening_flow_m3_s[k],
        Measurable::OpeningSuction(k) => s.opening_suction_pa[k],
        Measurable::MeanTime(_) => gradients(p, o, &[m]).unwrap()[0].value,
    }
}

type Change = Box<dyn Fn(&mut Pipework, f64)>;
type Read = Box<dyn Fn(&Gradient) -> f64>;

/// Every kind of parameter: how to multiply it by 1 + h, and where the gradient holds it.
fn parameters(p: &Pipework) -> Vec<(String, Change, Read)> {
    let mut all: Vec<(String, Change, Read)> = Vec::new();
    let mut add = |name: String, change: Change, read: Read| all.push((name, change, read));
    for i in (0..p.segments.len()).step_by(3) {
        add(
            format!("length {i}"),
            Box::new(move |p, f| p.segments[i].length_m *= f),
            Box::new(move |g| g.segments[i].length),
        );
        add(
            format!("bore {i}"),
            Box::new(move |p, f| p.segments[i].bore_m *= f),
            Box::new(move |g| g.segments[i].bore),
        );
        add(
            format!("rough {i}"),
            Box::new(move |p, f| p.segments[i].roughness_m *= f),
            Box::new(move |g| g.segments[i].roughness),
        );
        add(
            format!("k {i}"),
            Box::new(move |p, f| p.segments[i].minor_k *= f),
            Box::new(move |g| g.segments[i].minor_k),
        );
    }
    for i in (0..p.openings.len()).step_by(2) {
        add(
            format!("hole {i}"),
            Box::new(move |p, f| p.openings[i].diameter_m *= f),
            Box::new(move |g| g.openings[i].diameter),
        );
        add(
            format!("cd {i}"),
            Box::new(move |p, f| p.openings[i].discharge *= f),
            Box::new(move |g| g.openings[i].discharge),
        );
    }
    let by = |l: &mut Loss, f: f64| *l = Loss { linear: l.linear * f, quadratic: l.quadratic * f };
    for i in 0..p.inlets.len() {
        add(
            format!("inlet loss {i}"),
            Box::new(move |p, f| by(&mut p.inlets[i].loss, f)),
            Box::new(move |g| g.inlet_losses[i]),
        );
        add(
            format!("volume {i}"),
            Box::new(move |p, f| p.inlets[i].volume_m3 *= f),
            Box::new(move |g| g.inlet_volumes[i]),
        );
        if matches!(p.unit.drive, Drive::InletSuction(_)) {
            add(
                format!("suction {i}"),
                Box::new(move |p, f| {
                    if let Drive::InletSuction(s) = &mut p.unit.drive {
                        s[i] *= f;
                    }
                }),
                Box::new(move |g| g.inlet_suctions[i]),
            );
        }
    }
    add(
        "unit loss".into(),
        Box::new(move |p, f| {
            by(&mut p.unit.loss, f);
            by(&mut p.unit.exhaust_loss, f);
        }),
        Box::new(|g| g.unit_loss),
    );
    add("unit volume".into(), Box::new(|p, f| p.unit.volume_m3 *= f), Box::new(|g| g.unit_volume));
    add(
        "fan".into(),
        Box::new(|p, f| {
            if let Drive::Fan(fan) = &mut p.unit.drive {
                fan.curve.iter_mut().for_each(|p| p.pressure_pa *= f);
            }
        }),
        Box::new(|g| g.fan_pressure),
    );
    let given = |p: &mut Pipework, density: f64, viscosity: f64| {
        let air = p.air.given.as_mut().unwrap();
        air.density *= density;
        air.viscosity *= viscosity;
    };
    add("density".into(), Box::new(move |p, f| given(p, f, 1.0)), Box::new(|g| g.density));
    add("viscosity".into(), Box::new(move |p, f| given(p, 1.0, f)), Box::new(|g| g.viscosity));
    all
}

fn agrees(p: &Pipework, momentum: bool) {
    let o = options(momentum);
    let measurables = [
        Measurable::InletFlow(0),
        Measurable::InletFlow(1),
        Measurable::InletSuction(0),
        Measurable::TotalFlow,
        Measurable::OpeningFlow(1),
        Measurable::OpeningFlow(9),
        Measurable::OpeningSuction(5),
        Measurable::OpeningSuction(2),
        Measurable::MeanTime(5),
        Measurable::MeanTime(9),
    ];
    let all = gradients(p, &o, &measurables).unwrap();
    let h = 1e-5;
    let mut moved = 0;
    for (&m, g) in measurables.iter().zip(&all) {
        let at = value(p, &o, m);
        assert!((g.value - at).abs() <= 1e-9 * at.abs(), "{m:?} {} {at}", g.value);
        for (name, change, read) in parameters(p) {
            let by = |f: f64| {
                let mut q = p.clone();
                change(&mut q, f);
                value(&q, &o, m)
            };
            let numeric = (by(1.0 + h) - by(1.0 - h)) / (2.0 * h);
            assert!(
                (read(g) - numeric).abs() <= 1e-7 * at.abs() + 1e-5 * numeric.abs(),
                "{m:?} by {name}: {} and {numeric}",
                read(g)
            );
            moved += usize::from(numeric.abs() > 1e-6 * at.abs());
        }
    }
    assert!(moved > 200, "only {moved} derivatives say anything");
}

fn given(mut p: Pipework) -> Pipework {
    p.air.given = Some(GivenAir { density: 1.19, viscosity: 1.82e-5 });
    p
}

#[test]
fn tree_with_a_fan() {
    agrees(&given(four_by_25()), false);
    agrees(&given(four_by_25()), true);
}

#[test]
fn rings_and_branches_with_a_fan() {
    agrees(&given(mixed()), false);
    agrees(&given(mixed()), true);
}

#[test]
fn rings_with_measured_suctions() {
    let mut p = given(mixed());
    p.unit.drive = Drive::InletSuction(vec![120.0, 135.0]);
    agrees(&p, true);
}
