//! The numbers of a network's laws: what pipework and air amount to per edge and hole. Not here: how they are solved.
//!
//! Flows are Q = mass flow / site density. In a segment of density rho (site: rho0) and area A the velocity head is
//! rho0^2 Q^2 / (2 rho A^2), and Re = 4 rho0 Q / (pi D mu).
use super::{
    fan::FanCurve,
    layout::{Layout, NONE},
};
use crate::{
    air::{AirState, REFERENCE_DENSITY, REFERENCE_VISCOSITY, air_at, site_air},
    error::BuildError,
    friction::{self, FrictionLaw},
    options::SolveOptions,
};
use alloc::{vec, vec::Vec};
use core::f64::consts::PI;
use plumeline_base::pipework::{Drive, Loss, Pipework};

/// Standard gravity, m/s2 (exact by convention).
pub(crate) const GRAVITY: f64 = 9.806_65;

/// What a segment is made of.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SegmentFacts {
    pub(crate) length: f64,
    pub(crate) bore: f64,
    pub(crate) roughness: f64,
    pub(crate) minor_k: f64,
    /// Height of the far end over the near end, m.
    pub(crate) rise: f64,
    /// Density of its air over the site's.
    pub(crate) density_ratio: f64,
    pub(crate) viscosity: f64,
}

/// What an opening is made of.
#[derive(Clone, Copy, Debug)]
pub(crate) struct OpeningFacts {
    pub(crate) diameter: f64,
    pub(crate) discharge: f64,
    pub(crate) outside: f64,
    pub(crate) density_ratio: f64,
}

/// All facts of a pipework that a tolerance can act on, in the order of its vectors.
#[derive(Clone, Debug)]
pub(crate) struct Facts {
    pub(crate) air: AirState,
    pub(crate) segments: Vec<SegmentFacts>,
    pub(crate) openings: Vec<OpeningFacts>,
    pub(crate) inlet_losses: Vec<Loss>,
    pub(crate) inlet_volumes: Vec<f64>,
    /// Unit and exhaust together.
    pub(crate) unit_loss: Loss,
    pub(crate) unit_volume: f64,
    pub(crate) exhaust_pa: f64,
    /// Measured suctions (no fan); empty otherwise.
    pub(crate) suctions: Vec<f64>,
    pub(crate) reference_density: f64,
    pub(crate) friction: FrictionLaw,
    pub(crate) momentum_factor: f64,
    /// Holes in a straight run: position, and the two segments of the run.
    pub(crate) runs: Vec<(u32, u32, u32)>,
}

/// Factors on the facts, 1 for all in the nominal state.
#[derive(Clone, Debug)]
pub(crate) struct Factors {
    /// Length, bore, roughness, fittings of each segment.
    pub(crate) segments: Vec<[f64; 4]>,
    /// Diameter, discharge coefficient of each opening.
    pub(crate) openings: Vec<[f64; 2]>,
    pub(crate) density: f64,
    pub(crate) viscosity: f64,
    pub(crate) friction: f64,
    pub(crate) unit_loss: f64,
    pub(crate) unit_volume: f64,
    pub(crate) suction: f64,
    pub(crate) fan_pressure: f64,
}
impl Factors {
    pub(crate) fn ones(segments: usize, openings: usize) -> Self {
        Self {
            segments: vec![[1.0; 4]; segments],
            openings: vec![[1.0; 2]; openings],
            density: 1.0,
            viscosity: 1.0,
            friction: 1.0,
            unit_loss: 1.0,
            unit_volume: 1.0,
            suction: 1.0,
            fan_pressure: 1.0,
        }
    }
}

impl Facts {
    pub(crate) fn build(p: &Pipework, layout: &Layout, options: &SolveOptions) -> Result<Self, BuildError> {
        let air = site_air(&p.air)?;
        let segments = p
            .segments
            .iter()
            .map(|s| {
                let inside = match s.air_temperature_c {
                    Some(t) => air_at(&p.air, t)?,
                    None => air,
                };
                Ok(SegmentFacts {
                    length: s.length_m,
                    bore: s.bore_m,
                    roughness: s.roughness_m,
                    minor_k: s.minor_k,
                    rise: p.nodes[s.far as usize].elevation_m - p.nodes[s.near as usize].elevation_m,
                    density_ratio: inside.density / air.density,
                    viscosity: inside.viscosity,
                })
            })
            .collect::<Result<Vec<_>, BuildError>>()?;
        let openings = p
            .openings
            .iter()
            .map(|o| {
                // The air drawn in has the temperature of the segment that carries it towards the unit.
                let out = layout.segment[layout.position[o.node as usize] as usize];
                let density_ratio = segments.get(out as usize).map_or(1.0, |s| s.density_ratio);
                OpeningFacts { diameter: o.diameter_m, discharge: o.discharge, outside: o.outside_pa, density_ratio }
            })
            .collect();
        let (suctions, reference_density) = match &p.unit.drive {
            Drive::Fan(fan) => (Vec::new(), fan.reference_density),
            Drive::InletSuction(suctions) => (suctions.clone(), REFERENCE_DENSITY),
        };
        let runs = if options.momentum { runs(p, layout) } else { Vec::new() };
        let add = |a: Loss, b: Loss| Loss { linear: a.linear + b.linear, quadratic: a.quadratic + b.quadratic };
        Ok(Self {
            air,
            segments,
            openings,
            inlet_losses: p.inlets.iter().map(|i| i.loss).collect(),
            inlet_volumes: p.inlets.iter().map(|i| i.volume_m3).collect(),
            unit_loss: add(p.unit.loss, p.unit.exhaust_loss),
            unit_volume: p.unit.volume_m3,
            exhaust_pa: p.unit.exhaust_pa,
            suctions,
            reference_density,
            friction: options.friction,
            momentum_factor: options.momentum_factor,
            runs,
        })
    }
}

/// Nodes where air joins a straight run: exactly two segments of one bore (within 5 %) and an opening. At tees and
/// reducers the fittings' coefficient covers the change of momentum.
fn runs(p: &Pipework, layout: &Layout) -> Vec<(u32, u32, u32)> {
    let mut ends = vec![[NONE; 2]; layout.parent.len()];
    let mut degree = vec![0u32; layout.parent.len()];
    for (i, s) in p.segments.iter().enumerate() {
        for end in [s.near, s.far] {
            let at = layout.position[end as usize] as usize;
            if let Some(slot) = ends[at].get_mut(degree[at] as usize) {
                *slot = i as u32;
            }
            degree[at] += 1;
        }
    }
    let mut at: Vec<u32> = layout.open.iter().map(|&k| layout.position[p.openings[k as usize].node as usize]).collect();
    at.dedup();
    at.retain(|&at| {
        let [a, b] = ends[at as usize];
        let drains_through_run = at as usize >= layout.first_pipe;
        degree[at as usize] == 2 && drains_through_run && {
            let (a, b) = (p.segments[a as usize].bore_m, p.segments[b as usize].bore_m);
            (a - b).abs() <= 0.05 * a.min(b)
        }
    });
    at.into_iter().map(|at| (at, ends[at as usize][0], ends[at as usize][1])).collect()
}

/// The law of a segment: pressure from far to near end as a function of Q.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Edge {
    /// Velocity head per Q^2, times the fittings' coefficient.
    pub(crate) half_k: f64,
    /// Velocity head per Q^2, times length over bore.
    pub(crate) half_fl: f64,
    /// Laminar friction per Q.
    pub(crate) linear: f64,
    pub(crate) re_per_q: f64,
    pub(crate) rough: f64,
    /// Pressure by the weight of its air against the ambient air, Pa.
    pub(crate) lift: f64,
    /// Difference of the momentum coefficients of its ends, per Q^2.
    pub(crate) kinetic: f64,
}
impl Edge {
    /// Pressure difference (Pa) and its slope, with a share of the momentum terms.
    #[inline(always)]
    pub(crate) fn law(&self, law: FrictionLaw, share: f64, q: f64) -> (f64, f64) {
        let size = q.abs();
        let re = self.re_per_q * size;
        let (mut loss, mut slope) = (self.half_k * size * q, 2.0 * self.half_k * size);
        if re < friction::laminar_below(law) {
            loss += self.linear * q;
            slope += self.linear;
        } else {
            let f = friction::evaluate(law, re, self.rough);
            loss += self.half_fl * f.value * size * q;
            slope += self.half_fl * size * (2.0 * f.value + f.by_reynolds * re);
        }
        let kinetic = self.kinetic * share * q;
        (loss + kinetic * q + self.lift, slope + 2.0 * kinetic)
    }
}

/// The law of an open opening: outside less inside pressure = c q|q|.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Hole {
    pub(crate) at: u32,
    pub(crate) c: f64,
    pub(crate) outside: f64,
}
impl Hole {
    pub(crate) fn new(at: u32, facts: &OpeningFacts, by: &[f64; 2], density: f64) -> Self {
        let effective = facts.discharge * by[1] * area(facts.diameter * by[0]);
        Self { at, c: density / (2.0 * facts.density_ratio * effective * effective), outside: facts.outside }
    }
}

/// What drives the flow.
#[derive(Clone, Debug)]
pub(crate) enum DriveLaw {
    Fan { loss: Loss, pressure: f64, density: f64, exhaust_pa: f64, curve: FanCurve },
    Suction(Vec<f64>),
}
impl DriveLaw {
    /// Pressure at the manifold as a function of the unit's flow, and its slope.
    pub(crate) fn manifold(&self, q: f64) -> (f64, f64) {
        match self {
            Self::Fan { loss, pressure, density, exhaust_pa, curve } => {
                let (rise, slope) = curve.at(q, *density);
                let (dp, dp_slope) = loss_law(loss, q);
                (dp - pressure * rise + exhaust_pa, dp_slope - pressure * slope)
            }
            Self::Suction(_) => (0.0, 0.0),
        }
    }
}

pub(crate) fn loss_law(loss: &Loss, q: f64) -> (f64, f64) {
    let size = q.abs();
    ((loss.linear + loss.quadratic * size) * q, loss.linear + 2.0 * loss.quadratic * size)
}

/// The laws of a whole network.
#[derive(Clone, Debug)]
pub(crate) struct Coefficients {
    /// Of positions from `Layout::first_pipe` on.
    pub(crate) edges: Vec<Edge>,
    pub(crate) chords: Vec<Edge>,
    pub(crate) holes: Vec<Hole>,
    /// Momentum coefficient of each position, per Q^2; empty where momentum is left out.
    pub(crate) momentum: Vec<f64>,
    /// Of positions from `Layout::first_inlet` on.
    pub(crate) inlets: Vec<Loss>,
    pub(crate) drive: DriveLaw,
    /// Volume from the manifold to the sensor, m3.
    pub(crate) unit_volume: f64,
    /// Volume of the edge at each position (inlets, segments) at site density, m3.
    pub(crate) volume: Vec<f64>,
    pub(crate) chord_volume: Vec<f64>,
}

impl Coefficients {
    pub(crate) fn new(layout: &Layout, facts: &Facts, fan: Option<FanCurve>) -> Self {
        let n = layout.parent.len();
        let blank = Factors::ones(facts.segments.len(), facts.openings.len());
        let drive = match fan {
            Some(curve) => DriveLaw::Fan { loss: Loss::default(), pressure: 1.0, density: 1.0, exhaust_pa: 0.0, curve },
            None => DriveLaw::Suction(vec![0.0; layout.inlet.len()]),
        };
        let mut all = Self {
            edges: vec![Edge::default(); n - layout.first_pipe],
            chords: vec![Edge::default(); layout.chords.len()],
            holes: vec![Hole::default(); layout.open.len()],
            momentum: if facts.runs.is_empty() { Vec::new() } else { vec![0.0; n] },
            inlets: vec![Loss::default(); layout.inlet.len()],
            drive,
            unit_volume: 0.0,
            volume: vec![0.0; n],
            chord_volume: vec![0.0; layout.chords.len()],
        };
        all.set(layout, facts, &blank);
        all
    }

    /// Works out all numbers from the facts times the factors. Allocates nothing.
    pub(crate) fn set(&mut self, layout: &Layout, facts: &Facts, by: &Factors) {
        let density = facts.air.density * by.density;
        for &(at, a, b) in &facts.runs {
            let area = |s: u32| area(facts.segments[s as usize].bore * by.segments[s as usize][1]);
            let inside = density * facts.segments[a as usize].density_ratio;
            self.momentum[at as usize] = facts.momentum_factor * density * density / (inside * area(a) * area(b));
        }
        let kinetic = |from: usize, to: usize| match self.momentum.as_slice() {
            [] => 0.0,
            k => k[from] - k[to],
        };
        for (i, edge) in self.edges.iter_mut().enumerate() {
            let at = layout.first_pipe + i;
            let s = layout.segment[at] as usize;
            *edge = segment_law(&facts.segments[s], &by.segments[s], density, by);
            // The edge runs from this position to its parent, whichever way the segment was drawn.
            edge.lift *= layout.drawn[at];
            edge.kinetic = kinetic(at, layout.parent[at] as usize);
            self.volume[at] = volume(&facts.segments[s], &by.segments[s]);
        }
        for (i, &(s, far, near)) in layout.chords.iter().enumerate() {
            let s = s as usize;
            self.chords[i] = segment_law(&facts.segments[s], &by.segments[s], density, by);
            self.chords[i].kinetic = kinetic(far as usize, near as usize);
            self.chord_volume[i] = volume(&facts.segments[s], &by.segments[s]);
        }
        for (hole, (&k, &at)) in self.holes.iter_mut().zip(layout.open.iter().zip(&layout.open_at)) {
            *hole = Hole::new(at, &facts.openings[k as usize], &by.openings[k as usize], density);
        }
        let (quadratic, linear) =
            (density / facts.reference_density, facts.air.viscosity * by.viscosity / REFERENCE_VISCOSITY);
        let at_site = |loss: &Loss| Loss {
            linear: loss.linear * linear * by.unit_loss,
            quadratic: loss.quadratic * quadratic * by.unit_loss,
        };
        for (i, &inlet) in layout.inlet.iter().enumerate() {
            self.inlets[i] = at_site(&facts.inlet_losses[inlet as usize]);
            self.volume[layout.first_inlet + i] = facts.inlet_volumes[inlet as usize] * by.unit_volume;
        }
        self.unit_volume = facts.unit_volume * by.unit_volume;
        match &mut self.drive {
            DriveLaw::Fan { loss, pressure, density: fan_density, exhaust_pa, .. } => {
                (*loss, *pressure) = (at_site(&facts.unit_loss), by.fan_pressure);
                (*fan_density, *exhaust_pa) = (density, facts.exhaust_pa);
            }
            DriveLaw::Suction(suctions) => {
                for (suction, &inlet) in suctions.iter_mut().zip(&layout.inlet) {
                    *suction = facts.suctions[inlet as usize] * by.suction;
                }
            }
        }
    }
}

/// Law of a segment, from its far to its near end, without the momentum terms of its ends.
fn segment_law(facts: &SegmentFacts, by: &[f64; 4], density: f64, all: &Factors) -> Edge {
    let (length, bore) = (facts.length * by[0], facts.bore * by[1]);
    let (inside, viscosity) = (density * facts.density_ratio, facts.viscosity * all.viscosity);
    let area = area(bore);
    let half = density * density / (2.0 * inside * area * area);
    let re_per_q = 4.0 * density / (PI * bore * viscosity);
    let half_fl = half * all.friction * length / bore;
    Edge {
        half_k: half * facts.minor_k * by[3],
        half_fl,
        linear: 64.0 * half_fl / re_per_q,
        re_per_q,
        rough: facts.roughness * by[2] / bore,
        lift: (density - inside) * GRAVITY * facts.rise,
        kinetic: 0.0,
    }
}

/// Volume of a segment at the site's density.
fn volume(facts: &SegmentFacts, by: &[f64; 4]) -> f64 {
    area(facts.bore * by[1]) * facts.length * by[0] * facts.density_ratio
}

fn area(bore: f64) -> f64 {
    0.25 * PI * bore * bore
}
