//! Transport of smoke from an opening to the sensor: mean time, first arrival, spread, response.
//!
//! Not here: whether a time is good enough (the job's limits).
//!
//! `ways` finds where air goes and the mean times; `spread` says what each run does to a front.
mod spread;
pub(crate) mod ways;

use crate::{friction, network::Network, options::SolveOptions, solution::Solution};
use alloc::{rc::Rc, vec, vec::Vec};
use libm::sqrt;
use plumeline_base::pipework::Pipework;
use spread::{Arrival, Curve};
pub(crate) use spread::{lagged, passes};
use ways::{Flows, Link, Ways};

/// Choices of the transport calculation.
#[derive(Clone, Debug, PartialEq)]
pub struct TransportOptions {
    /// Molecular (Brownian) diffusivity of what is carried, m2/s. Smoke of 0.3 um in air: about 1e-10.
    pub diffusivity_m2_s: f64,
    /// Fraction of the plateau that counts as first arrival, 0.001 to 0.2.
    pub first_fraction: f64,
    /// How far streams are mixed across the bore where air enters at an opening.
    pub remixing: Remixing,
}
impl Default for TransportOptions {
    fn default() -> Self {
        Self { diffusivity_m2_s: 1e-10, first_fraction: 0.01, remixing: Remixing::AtOpenings }
    }
}

/// Mixing across the bore where air enters (in laminar runs; turbulent runs mix by themselves).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Remixing {
    /// The jet of each opening mixes the stream across the bore.
    #[default]
    AtOpenings,
    /// Streamlines keep their place across the bore all the way: the earliest first arrival.
    Never,
}

/// How smoke spreads along a run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Regime {
    /// Laminar without radial mixing: carried by the parabolic profile; the first smoke takes half the mean time.
    #[default]
    Convective,
    /// Laminar, mixed across the bore by diffusion (Taylor 1953, Aris 1956); valid where the time in the run is well
    /// over a^2 / (14.4 D).
    TaylorAris,
    /// Between Re 2000 and 4000: a mixture of the laminar and the turbulent spread.
    Transition,
    /// Turbulent (Taylor 1954), K = 10.1 a u*.
    Turbulent,
}

/// Shares of the plateau for which times of the rise are worked out.
pub const RISE: [f64; 21] = [
    0.005, 0.01, 0.02, 0.03, 0.05, 0.075, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.97, 0.98,
    0.99,
];

/// Times from one opening to the sensor. A release is a step: smoke at the opening from time 0 on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OpeningTransport {
    /// Share of the opening's air that reaches the unit (less than 1 where some leaves again, 0 where the opening draws
    /// nothing); the times are of that share.
    pub reaches_unit: f64,
    /// Mean transport time to the sensor, s: volume over flow along the way. Infinite where nothing arrives.
    pub mean_s: f64,
    /// Time at which the air at the sensor reaches [`TransportOptions::first_fraction`] of its plateau, s.
    pub first_s: f64,
    /// Time at which the sensor, its own lag included, shows half of its plateau, s.
    pub half_plateau_s: f64,
    /// Time at which the sensor, its own lag included, shows each share of [`RISE`] of its plateau, s.
    pub rise_s: [f64; RISE.len()],
    /// Half the time from 16 % to 84 % of the plateau at the sensor, lag included, s (one sigma, were it Gaussian).
    pub spread_s: f64,
    /// Regime of the run where most of the time is spent.
    pub regime: Regime,
    /// Share of the mean time spent in laminar runs.
    pub laminar_share: f64,
}

/// Response of the sensor to a step of smoke at one opening.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Response {
    /// Time from the step, s, rising.
    pub time_s: Vec<f64>,
    /// Fraction of the plateau in the air at the sensor.
    pub air: Vec<f64>,
    /// Fraction of the plateau that the sensor shows, lag included.
    pub sensor: Vec<f64>,
}

/// Times of all openings, in their order. All infinite if the solution is not one of this pipework.
///
/// Where the way to the unit splits (rings), the mean is over all ways; first arrival, half time and spread are those
/// of the way that carries most.
pub fn times(pipework: &Pipework, solution: &Solution, options: &TransportOptions) -> Vec<OpeningTransport> {
    match Laid::out(pipework, solution) {
        Some(laid) => laid.times(options),
        None => vec![NEVER; pipework.openings.len()],
    }
}

/// Mean transport times of all openings, in their order, s: those of [`times`], without the work of the spreads.
pub fn mean_times(pipework: &Pipework, solution: &Solution) -> Vec<f64> {
    match Laid::out(pipework, solution) {
        Some(laid) => laid.mean_times(),
        None => vec![f64::INFINITY; pipework.openings.len()],
    }
}

/// Response of the sensor to smoke at one opening (index); `None` where nothing arrives.
pub fn response(
    pipework: &Pipework,
    solution: &Solution,
    options: &TransportOptions,
    opening: usize,
) -> Option<Response> {
    let laid = Laid::out(pipework, solution)?;
    let at = laid.network.layout.position[pipework.openings.get(opening)?.node as usize] as usize;
    let routes = laid.routes(options);
    let (air, sensor) = laid.curves(routes[at].as_ref()?);
    let mut response = Response::default();
    for &(t, f) in sensor.iter().filter(|(t, _)| *t >= 0.0) {
        response.time_s.push(t);
        response.air.push(spread::at(&air, t));
        response.sensor.push(f);
    }
    Some(response)
}

const NEVER: OpeningTransport = OpeningTransport {
    reaches_unit: 0.0,
    mean_s: f64::INFINITY,
    first_s: f64::INFINITY,
    half_plateau_s: f64::INFINITY,
    rise_s: [f64::INFINITY; RISE.len()],
    spread_s: f64::INFINITY,
    regime: Regime::Convective,
    laminar_share: 0.0,
};

/// A solved pipework by the network's own order.
struct Laid {
    network: Network,
    ways: Ways,
    opening_flow: Vec<f64>,
    lag: f64,
}

/// The way from one position to the sensor.
#[derive(Clone)]
struct Route {
    /// Time that is not carried by a laminar profile, s.
    plug: f64,
    variance: f64,
    /// Convective time since the last point of mixing, s.
    open: f64,
    /// Arrival over the convective runs between points of mixing.
    closed: Rc<Arrival>,
    /// Time by regime, in the order of [`REGIMES`].
    by_regime: [f64; 4],
    laminar: f64,
}
const REGIMES: [Regime; 4] = [Regime::Convective, Regime::TaylorAris, Regime::Transition, Regime::Turbulent];

impl Laid {
    fn out(pipework: &Pipework, solution: &Solution) -> Option<Self> {
        let network = Network::build(pipework, &SolveOptions::default()).ok()?;
        let layout = &network.layout;
        let flow_of = |s: u32| solution.segment_flow_m3_s.get(s as usize).copied();
        let mut edges = vec![0.0; layout.parent.len()];
        for at in layout.first_pipe..edges.len() {
            edges[at] = flow_of(layout.segment[at])? * layout.drawn[at];
        }
        for (i, &inlet) in layout.inlet.iter().enumerate() {
            edges[layout.first_inlet + i] = *solution.inlet_flow_m3_s.get(inlet as usize)?;
        }
        edges[0] = solution.total_flow_m3_s;
        if layout.first_inlet == 2 {
            edges[1] = edges[0];
        }
        let chords = layout.chords.iter().map(|&(s, ..)| flow_of(s)).collect::<Option<Vec<_>>>()?;
        let opening_flow = solution.opening_flow_m3_s.clone();
        let holes = layout.open.iter().map(|&k| opening_flow.get(k as usize).copied()).collect::<Option<Vec<_>>>()?;
        if opening_flow.len() != pipework.openings.len() {
            return None;
        }
        let ways = Ways::new(layout, &network.laws, Flows { edges: &edges, chords: &chords, holes: &holes });
        Some(Self { network, ways, opening_flow, lag: pipework.unit.sensor_lag_s })
    }

    fn times(&self, options: &TransportOptions) -> Vec<OpeningTransport> {
        let layout = &self.network.layout;
        let routes = self.routes(options);
        let mut by_position: Vec<Option<OpeningTransport>> = vec![None; routes.len()];
        let one = |(&node, &flow): (&u32, &f64)| {
            let at = layout.position[node as usize] as usize;
            let Some(route) = routes[at].as_ref().filter(|_| flow > 0.0) else { return NEVER };
            *by_position[at].get_or_insert_with(|| self.time(at, route, options))
        };
        layout.opening_node.iter().zip(&self.opening_flow).map(one).collect()
    }

    fn mean_times(&self) -> Vec<f64> {
        let layout = &self.network.layout;
        let mut arrives = vec![false; layout.parent.len()];
        for &at in &self.ways.order {
            let at = at as usize;
            arrives[at] = at == 0 || self.ways.main(at).is_some_and(|link| arrives[link.to as usize]);
        }
        let one = |(&node, &flow): (&u32, &f64)| {
            let at = layout.position[node as usize] as usize;
            if flow > 0.0 && arrives[at] { self.ways.mean[at] } else { f64::INFINITY }
        };
        layout.opening_node.iter().zip(&self.opening_flow).map(one).collect()
    }

    fn time(&self, at: usize, route: &Route, options: &TransportOptions) -> OpeningTransport {
        let (air, sensor) = self.curves(route);
        let most = (1..4).fold(0, |m, i| if route.by_regime[i] > route.by_regime[m] { i } else { m });
        let all: f64 = route.by_regime.iter().sum();
        OpeningTransport {
            reaches_unit: self.ways.reach[at],
            mean_s: self.ways.mean[at],
            first_s: spread::passes(&air, options.first_fraction),
            half_plateau_s: spread::passes(&sensor, 0.5),
            rise_s: RISE.map(|share| spread::passes(&sensor, share)),
            spread_s: 0.5 * (spread::passes(&sensor, 0.841_345) - spread::passes(&sensor, 0.158_655)),
            regime: REGIMES[most],
            laminar_share: if all > 0.0 { route.laminar / all } else { 0.0 },
        }
    }

    /// Arrival at the sensor: in the air, and as it shows it.
    fn curves(&self, route: &Route) -> (Curve, Curve) {
        let mut arrival = route.closed.then_convective(route.open).then_gaussian(sqrt(route.variance));
        arrival.start += route.plug;
        let air = arrival.curve();
        let sensor = spread::lagged(&air, self.lag);
        (air, sensor)
    }

    /// Routes of all positions from which air reaches the unit, along the ways that carry most.
    fn routes(&self, options: &TransportOptions) -> Vec<Option<Route>> {
        let n = self.network.layout.parent.len();
        let mixes = self.mixing_points(options.remixing);
        let mut routes: Vec<Option<Route>> = vec![None; n];
        for &at in &self.ways.order {
            let at = at as usize;
            let route = if at == 0 {
                Some(Route {
                    plug: self.ways.mean[0],
                    variance: 0.0,
                    open: 0.0,
                    closed: Rc::new(Arrival::now()),
                    by_regime: [0.0; 4],
                    laminar: 0.0,
                })
            } else {
                self.ways.main(at).and_then(|link| {
                    let mut route = routes[link.to as usize].clone()?;
                    self.follow(&mut route, &link, options);
                    if mixes[at] && route.open > 0.0 {
                        route.closed = Rc::new(route.closed.then_convective(route.open));
                        route.open = 0.0;
                    }
                    Some(route)
                })
            };
            routes[at] = route;
        }
        routes
    }

    /// Extends a route by the link before it.
    fn follow(&self, route: &mut Route, link: &Link, options: &TransportOptions) {
        let (layout, facts, laws) = (&self.network.layout, &self.network.facts, &self.network.laws);
        let (edge, n) = (link.edge as usize, layout.parent.len());
        let (law, segment) = if edge >= n {
            (&laws.chords[edge - n], layout.chords[edge - n].0)
        } else if edge >= layout.first_pipe {
            (&laws.edges[edge - layout.first_pipe], layout.segment[edge])
        } else {
            route.plug += link.time();
            return;
        };
        let facts_of = &facts.segments[segment as usize];
        let re = law.re_per_q * link.flow;
        let f = friction::factor(facts.friction, re, law.rough);
        let time = link.time();
        let p = spread::passage(time, facts_of.bore, facts_of.length / time, re, f, options.diffusivity_m2_s);
        route.plug += p.time - p.convective;
        route.open += p.convective;
        route.variance += p.variance;
        route.laminar += if p.laminar { p.time } else { 0.0 };
        for (sum, regime) in route.by_regime.iter_mut().zip(REGIMES) {
            *sum += if regime == p.regime { p.time } else { 0.0 };
        }
    }

    /// Positions where air is mixed across the bore: an opening that draws, or streams that meet.
    fn mixing_points(&self, remixing: Remixing) -> Vec<bool> {
        let n = self.network.layout.parent.len();
        if remixing == Remixing::Never {
            return vec![false; n];
        }
        let mut streams = vec![0u8; n];
        for at in 0..n {
            for link in self.ways.out(at) {
                let count = &mut streams[link.to as usize];
                *count = count.saturating_add(1);
            }
        }
        for (&node, &flow) in self.network.layout.opening_node.iter().zip(&self.opening_flow) {
            if flow > 0.0 {
                let count = &mut streams[self.network.layout.position[node as usize] as usize];
                *count = count.saturating_add(1);
            }
        }
        streams.into_iter().map(|count| count > 1).collect()
    }
}
