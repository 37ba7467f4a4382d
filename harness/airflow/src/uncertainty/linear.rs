//! Linear propagation (JCGM 100:2008, clause 5.2), common and individual parts apart. Not here: the draws.
use super::ModelTolerance;
use crate::sensitivity::Gradient;
use libm::sqrt;
use plumeline_base::{
    pipework::{Drive, Known, Pipework},
    quantity::Estimate,
};

/// What moves all parts of a pipework alike: length, bore, roughness, fittings, diameter, discharge, then density, viscosity,
/// friction, losses and volumes of the unit, measured suctions, the fan.
pub(crate) const COMMON: usize = 13;
/// Which of the common causes are the unit's: its losses (filter, exhaust), and its fan or the suctions that stand in for it.
pub const OF_THE_UNIT: [usize; 3] = [9, 11, 12];

/// The value of a measurable with its uncertainty by its gradient.
pub(crate) fn estimate(p: &Pipework, model: &ModelTolerance, g: &Gradient) -> Estimate {
    let (common, individual) = parts(p, model, g);
    Estimate::new(g.value, sqrt(common.iter().map(|u| u * u).sum()), individual)
}

/// What one standard uncertainty of each common cause does to a measurable, and its individual standard uncertainty.
pub(crate) fn parts(p: &Pipework, model: &ModelTolerance, g: &Gradient) -> ([f64; COMMON], f64) {
    let unknown = Known::default();
    let known = |i: u16| p.known.get(usize::from(i)).unwrap_or(&unknown);
    let (mut common, mut individual) = ([0.0; COMMON], 0.0);
    let mut add = |kind: usize, by: f64, t: plumeline_base::pipework::Tolerance| {
        common[kind] += by * t.common;
        individual += (by * t.individual) * (by * t.individual);
    };
    for (s, g) in p.segments.iter().zip(&g.segments) {
        let k = known(s.known);
        add(0, g.length, k.length);
        add(1, g.bore, k.bore);
        add(2, g.roughness, k.roughness);
        add(3, g.minor_k, k.minor_k);
    }
    for (o, g) in p.openings.iter().zip(&g.openings) {
        let k = known(o.known);
        add(4, g.diameter, k.diameter);
        add(5, g.discharge, k.discharge);
    }
    let fan = match &p.unit.drive {
        Drive::Fan(fan) => fan.u_pressure,
        Drive::InletSuction(_) => 0.0,
    };
    common[6..].copy_from_slice(&[
        g.density * model.density,
        g.viscosity * model.viscosity,
        g.friction * model.friction,
        (g.unit_loss + g.inlet_losses.iter().sum::<f64>()) * model.unit_loss,
        (g.unit_volume + g.inlet_volumes.iter().sum::<f64>()) * model.unit_volume,
        g.inlet_suctions.iter().sum::<f64>() * model.suction,
        g.fan_pressure * fan,
    ]);
    (common, sqrt(individual))
}

/// `a` less `b`, as values and by every parameter.
pub(crate) fn difference(mut a: Gradient, b: &Gradient) -> Gradient {
    a.value -= b.value;
    for (a, b) in a.segments.iter_mut().zip(&b.segments) {
        a.length -= b.length;
        a.bore -= b.bore;
        a.roughness -= b.roughness;
        a.minor_k -= b.minor_k;
    }
    for (a, b) in a.openings.iter_mut().zip(&b.openings) {
        a.diameter -= b.diameter;
        a.discharge -= b.discharge;
    }
    let lists = [
        (&mut a.inlet_losses, &b.inlet_losses),
        (&mut a.inlet_suctions, &b.inlet_suctions),
        (&mut a.inlet_volumes, &b.inlet_volumes),
    ];
    for (a, b) in lists.into_iter().flat_map(|(a, b)| a.iter_mut().zip(b)) {
        *a -= b;
    }
    for (a, b) in [
        (&mut a.unit_loss, b.unit_loss),
        (&mut a.unit_volume, b.unit_volume),
        (&mut a.fan_pressure, b.fan_pressure),
        (&mut a.density, b.density),
        (&mut a.viscosity, b.viscosity),
        (&mut a.friction, b.friction),
    ] {
        *a -= b;
    }
    a
}
