//! Sensitivities: the derivative of every measurable by every parameter, by the adjoint of the solve.
//!
//! Not here: uncertainties (they use these) and diagnosis.
use crate::{
    AirflowError,
    adjoint::Adjoint,
    error::{BuildError, Fault, Place},
    friction,
    network::{
        Network,
        coefficients::{DriveLaw, Edge},
    },
    options::SolveOptions,
    transport::ways::{Flows, Ways},
};
use alloc::{vec, vec::Vec};
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
    /// Mean transport time of an opening, s. Where some air leaves again on a way that splits, the change of the shares
    /// that arrive is left out.
    MeanTime(usize),
}

/// Derivatives of one measurable by the logarithm of each parameter: the change of the measurable per unit relative
/// change of the parameter (zero for a parameter that is zero). Vectors follow the order of those of `Pipework`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Gradient {
    /// Value of the measurable; infinite (and all derivatives zero) for the time of an opening whose air does not arrive.
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
    let network = Network::build(pipework, options)?;
    let mut ws = network.workspace();
    network.solve(&mut ws)?;
    let mut sensitivity = Sensitivity::new(Adjoint::new(&network, ws));
    Ok(measurables.iter().map(|&m| sensitivity.of(m)).collect::<Result<Vec<_>, BuildError>>()?)
}

/// The pressure of an edge by cause, Pa, at the solution.
struct Parts {
    friction: f64,
    fittings: f64,
    /// Change of the friction per relative change of the Reynolds number.
    by_reynolds: f64,
    /// And of the relative roughness.
    by_roughness: f64,
    lift: f64,
}

/// Gradients at one solution.
pub(crate) struct Sensitivity<'a> {
    adjoint: Adjoint<'a>,
    parts: Vec<Parts>,
    chord_parts: Vec<Parts>,
    /// Worked out when a time is first asked for.
    ways: Option<Ways>,
    time_weight: Vec<f64>,
    run_weight: Vec<f64>,
}

impl<'a> Sensitivity<'a> {
    pub(crate) fn new(adjoint: Adjoint<'a>) -> Self {
        let (network, ws) = (adjoint.network(), &adjoint.ws);
        let (layout, laws) = (&network.layout, &network.laws);
        let parts = |edge: &Edge, q: f64| {
            let square = q * q.abs();
            let re = edge.re_per_q * q.abs();
            if re < friction::laminar_below(network.facts.friction) {
                let friction = edge.linear * q;
                let fittings = edge.half_k * square;
                return Parts { friction, fittings, by_reynolds: -friction, by_roughness: 0.0, lift: edge.lift };
            }
            let f = friction::evaluate(network.facts.friction, re, edge.rough);
            Parts {
                friction: edge.half_fl * square * f.value,
                fittings: edge.half_k * square,
                by_reynolds: edge.half_fl * square * f.by_reynolds * re,
                by_roughness: edge.half_fl * square * f.by_roughness * edge.rough,
                lift: edge.lift,
            }
        };
        Self {
            parts: laws.edges.iter().zip(&ws.flow[layout.first_pipe..]).map(|(e, &q)| parts(e, q)).collect(),
            chord_parts: laws.chords.iter().zip(&ws.chords.flow).map(|(e, &q)| parts(e, q)).collect(),
            ways: None,
            time_weight: vec![0.0; layout.parent.len()],
            run_weight: vec![0.0; network.facts.runs.len()],
            adjoint,
        }
    }

    /// Gradient of one measurable.
    pub(crate) fn of(&mut self, measurable: Measurable) -> Result<Gradient, BuildError> {
        let network = self.adjoint.network();
        let (layout, facts) = (&network.layout, &network.facts);
        let mut gradient = Gradient {
            segments: vec![SegmentGradient::default(); facts.segments.len()],
            openings: vec![OpeningGradient::default(); facts.openings.len()],
            inlet_losses: vec![0.0; facts.inlet_losses.len()],
            inlet_suctions: vec![0.0; facts.inlet_losses.len()],
            inlet_volumes: vec![0.0; facts.inlet_losses.len()],
            ..Gradient::default()
        };
        let exists = |what, index, count| {
            let fault = Fault::NoSuch { what, index, count };
            if index < count { Ok(()) } else { Err(BuildError::new(Place::Options, fault)) }
        };
        let inlet_at = |i: usize| layout.inlet.iter().position(|&k| k as usize == i).map(|k| layout.first_inlet + k);
        self.adjoint.clear();
        let (ws, seeds) = (&self.adjoint.ws, &mut self.adjoint.seeds);
        match measurable {
            Measurable::InletFlow(i) | Measurable::InletSuction(i) => {
                exists("inlet", i, facts.inlet_losses.len())?;
                match (inlet_at(i), measurable) {
                    (Some(at), Measurable::InletFlow(_)) => (seeds.edge[at], gradient.value) = (1.0, ws.flow[at]),
                    (Some(at), _) => (seeds.pressure[at], gradient.value) = (-1.0, -ws.x[at]),
                    (None, _) => {}
                }
            }
            Measurable::TotalFlow => {
                seeds.edge[layout.first_inlet..layout.first_pipe].fill(1.0);
                gradient.value = ws.flow[0];
            }
            Measurable::OpeningFlow(k) => {
                exists("opening", k, facts.openings.len())?;
                if let Some(i) = layout.open.iter().position(|&o| o as usize == k) {
                    (seeds.hole[i], gradient.value) = (1.0, ws.holes.flow[i]);
                }
            }
            Measurable::OpeningSuction(k) => {
                exists("opening", k, facts.openings.len())?;
                let at = layout.position[layout.opening_node[k] as usize] as usize;
                seeds.pressure[at] = -1.0;
                if let Some(run) = network.run_of(at) {
                    seeds.momentum[run] = 1.0;
                }
                gradient.value = ws.solution.opening_suction_pa[k];
            }
            Measurable::MeanTime(k) => {
                exists("opening", k, facts.openings.len())?;
                let at = layout.position[layout.opening_node[k] as usize] as usize;
                gradient.value = f64::INFINITY;
                let draws = ws.solution.opening_flow_m3_s[k] > 0.0;
                let ways = self.ways.take().unwrap_or_else(|| self.all_ways());
                if draws && ways.reach[at] > 0.0 {
                    gradient.value = ways.mean[at];
                    self.seed_time(&ways, at, &mut gradient);
                }
                self.ways = Some(ways);
            }
        }
        self.adjoint.run();
        self.gather(&mut gradient);
        Ok(gradient)
    }

    fn all_ways(&self) -> Ways {
        let (network, ws) = (self.adjoint.network(), &self.adjoint.ws);
        let flows = Flows { edges: &ws.flow, chords: &ws.chords.flow, holes: &ws.holes.flow };
        Ways::new(&network.layout, &network.laws, flows)
    }

    /// What an inlet's flow (by index) gains for each pascal added to the pull of each open hole, in the order of the layout.
    pub(crate) fn by_pulls(&mut self, inlet: usize) -> Vec<f64> {
        let layout = &self.adjoint.network().layout;
        self.adjoint.clear();
        if let Some(at) = layout.inlet.iter().position(|&i| i as usize == inlet) {
            self.adjoint.seeds.edge[layout.first_inlet + at] = 1.0;
        }
        self.adjoint.run();
        self.adjoint.out.hole.clone()
    }

    /// What an inlet's flow loses when an open hole (by its place in the layout) is closed, by the laws linearised here:
    /// the pull that stops the hole's own flow, times what the inlet's flow gains by that pull.
    pub(crate) fn closed_drop(&mut self, hole: usize, by_pulls: &[f64]) -> f64 {
        self.adjoint.clear();
        self.adjoint.seeds.hole[hole] = 1.0;
        self.adjoint.run();
        self.adjoint.ws.holes.flow[hole] * by_pulls[hole] / self.adjoint.out.hole[hole]
    }

    /// Seeds for the mean time of a position, and its direct dependence on volumes.
    fn seed_time(&mut self, ways: &Ways, from: usize, gradient: &mut Gradient) {
        let (network, flows) = (self.adjoint.network(), &self.adjoint.ws);
        let (layout, n) = (&network.layout, network.layout.parent.len());
        let (weight, seeds) = (&mut self.time_weight, &mut self.adjoint.seeds);
        let (edge_flow, chord_flow) = (&flows.flow, &flows.chords.flow);
        weight.fill(0.0);
        weight[from] = 1.0;
        for &at in ways.order.iter().rev() {
            let at = at as usize;
            let here = weight[at];
            if here == 0.0 || at == 0 {
                continue;
            }
            let arrives: f64 = ways.out(at).iter().map(|l| l.flow * ways.reach[l.to as usize]).sum();
            for link in ways.out(at) {
                let (to, edge) = (link.to as usize, link.edge as usize);
                if ways.reach[to] <= 0.0 {
                    continue;
                }
                let part = here * link.flow * ways.reach[to] / arrives;
                weight[to] += part;
                let time = link.time();
                // The time in the link, and the share that goes this way.
                let by_flow =
                    -part * time / link.flow + here * ways.reach[to] / arrives * (time + ways.mean[to] - ways.mean[at]);
                let segment = if edge >= n {
                    seeds.chord[edge - n] += by_flow * chord_flow[edge - n].signum();
                    layout.chords[edge - n].0
                } else {
                    seeds.edge[edge] += by_flow * edge_flow[edge].signum();
                    layout.segment.get(edge).copied().unwrap_or(u32::MAX)
                };
                match gradient.segments.get_mut(segment as usize) {
                    Some(s) => {
                        s.length += part * time;
                        s.bore += 2.0 * part * time;
                    }
                    None if edge >= layout.first_inlet => {
                        let inlet = layout.inlet[edge - layout.first_inlet] as usize;
                        gradient.inlet_volumes[inlet] += part * time;
                    }
                    None => {}
                }
            }
        }
        // The unit's own time, V / total flow.
        let unit = ways.mean[0] * weight[0];
        gradient.unit_volume += unit;
        for seed in &mut seeds.edge[layout.first_inlet..layout.first_pipe] {
            *seed -= unit / edge_flow[0];
        }
    }

    /// Multiplies the weights on the laws by what each parameter does to them.
    fn gather(&mut self, g: &mut Gradient) {
        let network = self.adjoint.network();
        let (layout, laws, facts) = (&network.layout, &network.laws, &network.facts);
        let (ws, weights) = (&self.adjoint.ws, &self.adjoint.out);
        for (i, parts) in self.parts.iter().enumerate() {
            let at = layout.first_pipe + i;
            add_segment(g, layout.segment[at] as usize, parts, weights.edge[at]);
        }
        for (i, parts) in self.chord_parts.iter().enumerate() {
            add_segment(g, layout.chords[i].0 as usize, parts, weights.chord[i]);
        }
        // Momentum coefficients, by the runs' bores and the density.
        for ((w, run), (weight, &(at, ..))) in
            self.run_weight.iter_mut().zip(&ws.runs).zip(weights.momentum.iter().zip(&facts.runs))
        {
            *w = weight * run.now / laws.momentum[at as usize];
        }
        let run_weight = &mut self.run_weight;
        let mut at_end = |at: usize, w: f64| {
            if let Some(run) = network.run_of(at) {
                run_weight[run] += w;
            }
        };
        for at in layout.first_pipe..layout.parent.len() {
            let w = weights.edge[at] * ws.flow[at] * ws.flow[at];
            at_end(at, w);
            at_end(layout.parent[at] as usize, -w);
        }
        for (i, &(_, far, near)) in layout.chords.iter().enumerate() {
            let w = weights.chord[i] * ws.chords.flow[i] * ws.chords.flow[i];
            at_end(far as usize, w);
            at_end(near as usize, -w);
        }
        for (w, &(at, a, b)) in self.run_weight.iter().zip(&facts.runs) {
            let whole = w * laws.momentum[at as usize];
            g.segments[a as usize].bore -= 2.0 * whole;
            g.segments[b as usize].bore -= 2.0 * whole;
            g.density += whole;
        }
        for (i, hole) in laws.holes.iter().enumerate() {
            let drop = weights.hole[i] * hole.c * ws.holes.flow[i] * ws.holes.flow[i].abs();
            let one = &mut g.openings[layout.open[i] as usize];
            one.diameter += 4.0 * drop;
            one.discharge += 2.0 * drop;
            g.density -= drop;
        }
        match &laws.drive {
            DriveLaw::Fan { loss, pressure, density, curve, .. } => {
                for (i, inlet) in laws.inlets.iter().enumerate() {
                    let (w, q) = (weights.edge[2 + i], ws.flow[2 + i]);
                    let (linear, quadratic) = (w * inlet.linear * q, w * inlet.quadratic * q * q.abs());
                    g.inlet_losses[layout.inlet[i] as usize] += linear + quadratic;
                    g.viscosity += linear;
                    g.density += quadratic;
                }
                let (w, q) = (weights.edge[1], ws.flow[1]);
                let (linear, quadratic) = (w * loss.linear * q, w * loss.quadratic * q * q.abs());
                let rise = w * pressure * curve.at(q, *density).0;
                g.unit_loss += linear + quadratic;
                g.viscosity += linear;
                g.density += quadratic - rise;
                g.fan_pressure -= rise;
            }
            DriveLaw::Suction(suctions) => {
                for (i, suction) in suctions.iter().enumerate() {
                    g.inlet_suctions[layout.inlet[i] as usize] -= weights.edge[1 + i] * suction;
                }
            }
        }
    }
}

fn add_segment(g: &mut Gradient, segment: usize, parts: &Parts, w: f64) {
    let s = &mut g.segments[segment];
    s.length += w * parts.friction;
    s.roughness += w * parts.by_roughness;
    s.minor_k += w * parts.fittings;
    // Velocity head ~ D^-4, length over bore ~ D^-1, Re ~ D^-1, relative roughness ~ D^-1.
    s.bore -= w * (4.0 * (parts.friction + parts.fittings) + parts.friction + parts.by_reynolds + parts.by_roughness);
    g.density += w * (parts.friction + parts.fittings + parts.by_reynolds + parts.lift);
    g.viscosity -= w * parts.by_reynolds;
    g.friction += w * parts.friction;
}
