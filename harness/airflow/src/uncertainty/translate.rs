//! The same pipes on two units: by how much each inlet's flow differs, and how surely.
//!
//! What both have in common (holes, pipes, friction, air) largely drops out of the ratio; what belongs to one unit (fan,
//! filter, inlets, exhaust) does not, and is independent between the two. Linear propagation (JCGM 100:2008, clause 5.1.6 for
//! relative uncertainties). Not here: readings and their calibration.
use super::{PredictOptions, doubted, linear};
use crate::{
    AirflowError,
    sensitivity::{Gradient, Measurable, gradients},
};
use alloc::vec::Vec;
use libm::{hypot, sqrt};
use plumeline_base::{pipework::Pipework, quantity::Estimate};

/// What becomes of an inlet's flow from one unit to the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Translation {
    /// Number printed at the unit.
    pub number: u8,
    /// Flow on the new unit over flow on the old one.
    pub ratio: Estimate,
}

/// Relative change of each inlet's flow per relative change of the fan's pressure: what another fan, or another speed of the
/// same one, does to the pattern of the flows. In the order of `Pipework::inlets` that carry a pipe. Zero without a fan.
pub fn pressure_exponents(pipework: &Pipework, options: &PredictOptions) -> Result<Vec<(u8, f64)>, AirflowError> {
    let (numbers, all) = inlet_gradients(pipework, options)?;
    Ok(numbers.into_iter().zip(all.iter().map(|g| g.fan_pressure / g.value)).collect())
}

/// Flows on `new` over flows on `old`, for every inlet that carries a pipe. Both must be the same pipes: the same segments
/// and openings in the same order.
pub fn translate(old: &Pipework, new: &Pipework, options: &PredictOptions) -> Result<Vec<Translation>, AirflowError> {
    let (numbers, new_gradients) = inlet_gradients(new, options)?;
    let (_, old_gradients) = inlet_gradients(old, options)?;
    let unit_flow = |all: &[Gradient]| all.iter().map(|g| g.value).sum();
    let (old, new) = (&*doubted(old, unit_flow(&old_gradients)), &*doubted(new, unit_flow(&new_gradients)));
    let pairs = new_gradients.into_iter().zip(old_gradients);
    Ok(numbers
        .into_iter()
        .zip(pairs)
        .map(|(number, (n, o))| {
            let value = n.value / o.value;
            let (n_pipes, n_unit) = parts(n);
            let (o_pipes, o_unit) = parts(o);
            let pipes = linear::estimate(new, &options.model, &linear::difference(n_pipes, &o_pipes));
            let (n_unit, o_unit) =
                (linear::estimate(new, &options.model, &n_unit), linear::estimate(old, &options.model, &o_unit));
            let common = sqrt(pipes.u_common * pipes.u_common + n_unit.u() * n_unit.u() + o_unit.u() * o_unit.u());
            Translation { number, ratio: Estimate::new(value, value * common, value * pipes.u_individual) }
        })
        .collect())
}

fn inlet_gradients(p: &Pipework, options: &PredictOptions) -> Result<(Vec<u8>, Vec<Gradient>), AirflowError> {
    let inlets: Vec<usize> = (0..p.inlets.len()).filter(|&i| p.inlets[i].node.is_some()).collect();
    let wanted: Vec<Measurable> = inlets.iter().map(|&i| Measurable::InletFlow(i)).collect();
    Ok((inlets.iter().map(|&i| p.inlets[i].number).collect(), gradients(p, &options.solve, &wanted)?))
}

/// The gradient of `part` as a share of `whole`.
pub(crate) fn relative_to(part: Gradient, whole: &Gradient) -> Gradient {
    let share = part.value / whole.value;
    let (part, whole) = (scaled(part, 1.0 / whole.value), scaled(whole.clone(), share / whole.value));
    let mut g = linear::difference(part, &whole);
    g.value = share;
    g
}

/// The relative gradient, split into what belongs to pipes and air and what belongs to the unit.
fn parts(g: Gradient) -> (Gradient, Gradient) {
    let by = 1.0 / g.value;
    let mut g = scaled(g, by);
    let unit = Gradient {
        inlet_losses: core::mem::take(&mut g.inlet_losses),
        inlet_suctions: core::mem::take(&mut g.inlet_suctions),
        unit_loss: core::mem::take(&mut g.unit_loss),
        fan_pressure: core::mem::take(&mut g.fan_pressure),
        ..Gradient::default()
    };
    (g, unit)
}

fn scaled(mut g: Gradient, by: f64) -> Gradient {
    g.value *= by;
    for s in &mut g.segments {
        for x in [&mut s.length, &mut s.bore, &mut s.roughness, &mut s.minor_k] {
            *x *= by;
        }
    }
    for o in &mut g.openings {
        o.diameter *= by;
        o.discharge *= by;
    }
    g.inlet_losses.iter_mut().chain(&mut g.inlet_suctions).chain(&mut g.inlet_volumes).for_each(|x| *x *= by);
    for x in
        [&mut g.unit_loss, &mut g.unit_volume, &mut g.fan_pressure, &mut g.density, &mut g.viscosity, &mut g.friction]
    {
        *x *= by;
    }
    g
}

/// Root sum of squares of a translated flow's parts: the reading's and the ratio's.
pub fn translated(reading: &Estimate, ratio: &Estimate) -> Estimate {
    let relative = |u: f64, of: f64| u / of;
    let value = reading.value * ratio.value;
    Estimate::new(
        value,
        value * hypot(relative(reading.u_common, reading.value), relative(ratio.u_common, ratio.value)),
        value * hypot(relative(reading.u_individual, reading.value), relative(ratio.u_individual, ratio.value)),
    )
}
