//! Monte Carlo draws of the tolerances (JCGM 101:2008): one seeded ChaCha stream per draw, so that a draw does not depend
//! on which thread makes it, nor on how many there are. Not here: what is made of them.
//!
//! Each fact is multiplied by a factor of mean 1 with the relative standard uncertainty given. The factors are
//! log-normal, since none of these facts can be negative; for small uncertainties that is the normal distribution.
use super::{ModelTolerance, threads::each};
use crate::{
    AirflowError, SolveError,
    math::{exp, ln},
    network::{Network, Workspace, coefficients::Factors},
    transport::ways::{Flows, Ways, tree_means},
};
use alloc::{vec, vec::Vec};
use libm::{log1p, sqrt};
use plumeline_base::pipework::{Drive, Pipework, Tolerance};
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};

/// Draws that one piece of work makes; fixed, so that threads share out the same pieces.
const CHUNK: usize = 64;

/// Standard deviations of the logarithms.
#[derive(Clone, Copy, Debug, Default)]
struct Sigma {
    common: f64,
    individual: f64,
}
impl Sigma {
    /// A log-normal factor of mean 1 has the relative standard deviation sqrt(exp(s^2) - 1).
    fn of(t: Tolerance) -> Self {
        Self { common: sigma(t.common), individual: sigma(t.individual) }
    }
    fn factor(self, common: f64, individual: f64) -> f64 {
        let (c, i) = (self.common, self.individual);
        exp(c * common + i * individual - 0.5 * (c * c + i * i))
    }
}
fn sigma(relative: f64) -> f64 {
    sqrt(log1p(relative * relative))
}

/// All tolerances of a pipework, by its segments and openings.
pub(crate) struct Tolerances {
    /// Length, bore, roughness, fittings.
    segments: Vec<[Sigma; 4]>,
    /// Diameter, discharge coefficient.
    openings: Vec<[Sigma; 2]>,
    model: [f64; 7],
    seed: u64,
}

impl Tolerances {
    pub(crate) fn new(p: &Pipework, model: &ModelTolerance, seed: u64) -> Self {
        let known = |i: u16| p.known.get(usize::from(i)).copied().unwrap_or_default();
        let fan = match &p.unit.drive {
            Drive::Fan(fan) => fan.u_pressure,
            Drive::InletSuction(_) => 0.0,
        };
        let m = model;
        Self {
            segments: p
                .segments
                .iter()
                .map(|s| known(s.known))
                .map(|k| [k.length, k.bore, k.roughness, k.minor_k].map(Sigma::of))
                .collect(),
            openings: p
                .openings
                .iter()
                .map(|o| known(o.known))
                .map(|k| [k.diameter, k.discharge].map(Sigma::of))
                .collect(),
            model: [m.density, m.viscosity, m.friction, m.unit_loss, m.unit_volume, m.suction, fan].map(sigma),
            seed,
        }
    }

    /// The factors of one draw.
    fn draw(&self, number: u64, out: &mut Factors) {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        rng.set_stream(number);
        let mut normal = || standard_normal(rng.next_u32());
        let common: [f64; 6] = core::array::from_fn(|_| normal());
        let model = self.model.map(|common| Sigma { common, individual: 0.0 }.factor(normal(), 0.0));
        [out.density, out.viscosity, out.friction, out.unit_loss, out.unit_volume, out.suction, out.fan_pressure] =
            model;
        let mut factor = |sigma: &Sigma, common: f64| {
            // What does not vary by itself takes no number from the stream.
            let own = if sigma.individual > 0.0 { normal() } else { 0.0 };
            sigma.factor(common, own)
        };
        for (factors, sigmas) in out.segments.iter_mut().zip(&self.segments) {
            *factors = core::array::from_fn(|i| factor(&sigmas[i], common[i]));
        }
        for (factors, sigmas) in out.openings.iter_mut().zip(&self.openings) {
            *factors = core::array::from_fn(|i| factor(&sigmas[i], common[4 + i]));
        }
    }
}

/// What each draw gave, row by row.
pub(crate) struct Draws {
    pub(crate) columns: usize,
    /// Flows of the inlets that carry a pipe, flows of the open openings, mean times of the same; then the residual.
    pub(crate) rows: Vec<f64>,
}

/// One thread's own copies.
struct Hand<'a> {
    network: Network,
    ws: Workspace,
    factors: Factors,
    mean: Vec<f64>,
    nominal: &'a Workspace,
}

/// Makes all draws. `nominal` holds the solution of `network` as built; each draw starts from it. `openings` are the
/// open openings (index into `Pipework::openings`) in the order wanted.
pub(crate) fn make(
    network: &Network,
    nominal: &Workspace,
    tolerances: &Tolerances,
    openings: &[usize],
    draws: usize,
) -> Result<Draws, AirflowError> {
    let columns = network.layout.inlet.len() + 2 * openings.len() + 1;
    let hand = || Hand {
        network: network.clone(),
        ws: nominal.clone(),
        factors: Factors::ones(network.facts.segments.len(), network.facts.openings.len()),
        mean: vec![0.0; network.layout.parent.len()],
        nominal,
    };
    let piece = |hand: &mut Hand<'_>, piece: usize| {
        let first = piece * CHUNK;
        let mut rows = vec![0.0; CHUNK.min(draws - first) * columns];
        for (i, row) in rows.chunks_exact_mut(columns).enumerate() {
            let draw = (first + i) as u64;
            tolerances.draw(draw, &mut hand.factors);
            one(hand, openings, row).map_err(|source| AirflowError::Draw { draw, source })?;
        }
        Ok(rows)
    };
    let rows = each(draws.div_ceil(CHUNK), hand, piece)?.concat();
    Ok(Draws { columns, rows })
}

fn one(hand: &mut Hand<'_>, openings: &[usize], row: &mut [f64]) -> Result<(), SolveError> {
    let Hand { network, ws, factors, mean, nominal } = hand;
    network.apply(factors);
    ws.start_from(nominal);
    network.resume(ws)?;
    let layout = &network.layout;
    let (inlets, rest) = row.split_at_mut(layout.inlet.len());
    inlets.copy_from_slice(&ws.flow[layout.first_inlet..layout.first_pipe]);
    let (flows, rest) = rest.split_at_mut(openings.len());
    if !tree_means(network, &ws.flow, mean) {
        let flows = Flows { edges: &ws.flow, chords: &ws.chords.flow, holes: &ws.holes.flow };
        *mean = Ways::new(layout, &network.laws, flows).mean;
    }
    for ((flow, time), &k) in flows.iter_mut().zip(rest.iter_mut()).zip(openings) {
        *flow = ws.solution.opening_flow_m3_s[k];
        let at = layout.position[layout.opening_node[k] as usize] as usize;
        *time = if *flow > 0.0 { mean[at] } else { f64::INFINITY };
    }
    rest[openings.len()] = ws.solution.residual.energy;
    Ok(())
}

/// A standard normal from 32 random bits, by the inverse of the distribution: Wichura, Appl. Statist. 37, 1988, 477-484,
/// algorithm AS 241 (PPND7, accurate to 1 in 10^7); out to 6.3 standard deviations.
#[inline]
pub(crate) fn standard_normal(bits: u32) -> f64 {
    // The middle of one of 2^32 equal parts of (0, 1).
    let p = (f64::from(bits) + 0.5) / 4_294_967_296.0;
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * (((59.109_374_720 * r + 159.291_132_02) * r + 50.434_271_938) * r + 3.387_132_717_9)
            / (((67.187_563_600 * r + 78.757_757_664) * r + 17.895_169_469) * r + 1.0);
    }
    let r = sqrt(-ln(if q < 0.0 { p } else { 1.0 - p }));
    let size = if r <= 5.0 {
        let r = r - 1.6;
        (((0.170_238_211_03 * r + 1.306_728_481_6) * r + 2.756_815_390_0) * r + 1.423_437_277_7)
            / ((0.120_211_329_75 * r + 0.737_001_642_50) * r + 1.0)
    } else {
        let r = r - 5.0;
        (((0.017_337_203_997 * r + 0.428_682_943_37) * r + 3.081_226_386_0) * r + 6.657_905_115_0)
            / ((0.012_258_202_635 * r + 0.241_978_942_25) * r + 1.0)
    };
    if q < 0.0 { -size } else { size }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_of_the_normal_distribution() {
        // Against erfc of libm: Phi(x) = erfc(-x / sqrt 2) / 2, with d Phi = density x dx.
        for bits in (0..4000u32).map(|i| i * 1_073_741 + 7).chain([0, 1, 100, 1 << 12, u32::MAX]) {
            let p = (f64::from(bits) + 0.5) / 4_294_967_296.0;
            let x = standard_normal(bits);
            let tail = 0.5 * libm::erfc(x.abs() / core::f64::consts::SQRT_2);
            let density = libm::exp(-0.5 * x * x) / sqrt(2.0 * core::f64::consts::PI);
            let off = (tail - p.min(1.0 - p)) / density;
            assert!(off.abs() < 3e-7 * x.abs().max(0.1), "{p} {x} {off:e}");
        }
    }
    #[test]
    fn factors_have_the_mean_and_deviation_asked_for() {
        let s = Sigma::of(Tolerance { common: 0.3, individual: 0.2 });
        let (mut sum, mut square) = (0.0, 0.0);
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let n = 400_000;
        for _ in 0..n {
            let f = s.factor(standard_normal(rng.next_u32()), standard_normal(rng.next_u32()));
            sum += f;
            square += f * f;
        }
        let mean = sum / f64::from(n);
        let deviation = sqrt(square / f64::from(n) - mean * mean);
        assert!((mean - 1.0).abs() < 0.003, "{mean}");
        // (1 + 0.09) (1 + 0.04) - 1.
        assert!((deviation - sqrt(0.1336)).abs() < 0.003, "{deviation}");
    }
}
