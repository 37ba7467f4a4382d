//! Monte Carlo draws of the tolerances (JCGM 101:2008): one seeded ChaCha stream per draw, so that a draw does not depend
//! on which thread makes it, nor on how many there are. Not here: what is made of them.
//!
//! Each fact is multiplied by a factor of mean 1 with the relative standard uncertainty given. The factors are
//! log-normal, since none of these facts can be negative; for small uncertainties that is the normal distribution.
use super::ModelTolerance;
use crate::{
    AirflowError, SolveError,
    math::exp,
    network::{Network, Workspace, coefficients::Factors},
    transport::ways::{Flows, Ways, tree_means},
};
use alloc::{vec, vec::Vec};
use libm::{log, log1p, sqrt};
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
        let mut normal = || standard_normal(rng.next_u64());
        let common: [f64; 6] = core::array::from_fn(|_| normal());
        let model = self.model.map(|common| Sigma { common, individual: 0.0 }.factor(normal(), 0.0));
        [out.density, out.viscosity, out.friction, out.unit_loss, out.unit_volume, out.suction, out.fan_pressure] =
            model;
        for (factors, sigmas) in out.segments.iter_mut().zip(&self.segments) {
            for (i, factor) in factors.iter_mut().enumerate() {
                *factor = sigmas[i].factor(common[i], normal());
            }
        }
        for (factors, sigmas) in out.openings.iter_mut().zip(&self.openings) {
            for (i, factor) in factors.iter_mut().enumerate() {
                *factor = sigmas[i].factor(common[4 + i], normal());
            }
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
    let mut rows = vec![0.0; draws * columns];
    let hand = || Hand {
        network: network.clone(),
        ws: nominal.clone(),
        factors: Factors::ones(network.facts.segments.len(), network.facts.openings.len()),
        mean: vec![0.0; network.layout.parent.len()],
        nominal,
    };
    let piece = |hand: &mut Hand<'_>, first: usize, rows: &mut [f64]| {
        for (i, row) in rows.chunks_exact_mut(columns).enumerate() {
            let draw = (first + i) as u64;
            tolerances.draw(draw, &mut hand.factors);
            one(hand, openings, row).map_err(|source| AirflowError::Draw { draw, source })?;
        }
        Ok(())
    };
    share_out(&mut rows, CHUNK * columns, hand, piece)?;
    Ok(Draws { columns, rows })
}

#[cfg(not(feature = "threads"))]
fn share_out<H>(
    rows: &mut [f64],
    chunk: usize,
    hand: impl Fn() -> H,
    piece: impl Fn(&mut H, usize, &mut [f64]) -> Result<(), AirflowError>,
) -> Result<(), AirflowError> {
    let mut hand = hand();
    rows.chunks_mut(chunk).enumerate().try_for_each(|(i, rows)| piece(&mut hand, i * CHUNK, rows))
}

#[cfg(feature = "threads")]
fn share_out<H>(
    rows: &mut [f64],
    chunk: usize,
    hand: impl Fn() -> H + Sync + Send,
    piece: impl Fn(&mut H, usize, &mut [f64]) -> Result<(), AirflowError> + Sync + Send,
) -> Result<(), AirflowError> {
    use rayon::prelude::*;
    // Every piece is made, so that the error reported is that of the first draw that fails, whoever makes it.
    let all: Vec<Result<(), AirflowError>> =
        rows.par_chunks_mut(chunk).enumerate().map_init(hand, |hand, (i, rows)| piece(hand, i * CHUNK, rows)).collect();
    all.into_iter().collect()
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
        let flows = Flows { edges: &ws.flow, chords: &ws.chord_flow, holes: &ws.q };
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

/// A standard normal from 64 random bits, by the inverse of the distribution: Wichura, Appl. Statist. 37, 1988, 477-484,
/// algorithm AS 241 (PPND16, accurate to about 1e-16).
pub(crate) fn standard_normal(bits: u64) -> f64 {
    // The middle of one of 2^53 equal parts of (0, 1).
    let p = ((bits >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0;
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * poly(&A, r) / poly(&B, r);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    let r = sqrt(-log(tail));
    let size = if r <= 5.0 { poly(&C, r - 1.6) / poly(&D, r - 1.6) } else { poly(&E, r - 5.0) / poly(&F, r - 5.0) };
    if q < 0.0 { -size } else { size }
}

fn poly(coefficients: &[f64; 8], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

const A: [f64; 8] = [
    3.387_132_872_796_366_5,
    1.331_416_678_917_843_8e2,
    1.971_590_950_306_551_3e3,
    1.373_169_376_550_946e4,
    4.592_195_393_154_987e4,
    6.726_577_092_700_87e4,
    3.343_057_558_358_813e4,
    2.509_080_928_730_122_7e3,
];
const B: [f64; 8] = [
    1.0,
    4.231_333_070_160_091e1,
    6.871_870_074_920_579e2,
    5.394_196_021_424_751e3,
    2.121_379_430_158_659_7e4,
    3.930_789_580_009_271e4,
    2.872_908_573_572_194_3e4,
    5.226_495_278_852_854e3,
];
const C: [f64; 8] = [
    1.423_437_110_749_683_5,
    4.630_337_846_156_546,
    5.769_497_221_460_691,
    3.647_848_324_763_204_5,
    1.270_458_252_452_368_4,
    2.417_807_251_774_506e-1,
    2.272_384_498_926_918_4e-2,
    7.745_450_142_783_414e-4,
];
const D: [f64; 8] = [
    1.0,
    2.053_191_626_637_759,
    1.676_384_830_183_803_8,
    6.897_673_349_851e-1,
    1.481_039_764_274_800_8e-1,
    1.519_866_656_361_645_7e-2,
    5.475_938_084_995_345e-4,
    1.050_750_071_644_416_9e-9,
];
const E: [f64; 8] = [
    6.657_904_643_501_103,
    5.463_784_911_164_114,
    1.784_826_539_917_291_3,
    2.965_605_718_285_048_7e-1,
    2.653_218_952_657_612_4e-2,
    1.242_660_947_388_078_4e-3,
    2.711_555_568_743_487_6e-5,
    2.010_334_399_292_288_1e-7,
];
const F: [f64; 8] = [
    1.0,
    5.998_322_065_558_88e-1,
    1.369_298_809_227_358e-1,
    1.487_536_129_085_061_5e-2,
    7.868_691_311_456_133e-4,
    1.846_318_317_510_054_7e-5,
    1.421_511_758_316_446e-7,
    2.044_263_103_389_939_8e-15,
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_of_the_normal_distribution() {
        // Against erfc of libm: Phi(x) = erfc(-x / sqrt 2) / 2.
        for i in 0..2000u64 {
            let bits = (i * 2 + 1) * (u64::MAX / 4001);
            let p = ((bits >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0;
            let x = standard_normal(bits);
            let back = 0.5 * libm::erfc(-x / core::f64::consts::SQRT_2);
            assert!((back / p - 1.0).abs() < 1e-13, "{p} {x} {back}");
        }
        for bits in [0, 1 << 20, 1 << 35, 1 << 50] {
            let p = ((bits >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0;
            let back = 0.5 * libm::erfc(-standard_normal(bits) / core::f64::consts::SQRT_2);
            assert!((back / p - 1.0).abs() < 1e-12, "{p} {back}");
        }
    }

    #[test]
    fn factors_have_the_mean_and_deviation_asked_for() {
        let s = Sigma::of(Tolerance { common: 0.3, individual: 0.2 });
        let (mut sum, mut square) = (0.0, 0.0);
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let n = 400_000;
        for _ in 0..n {
            let f = s.factor(standard_normal(rng.next_u64()), standard_normal(rng.next_u64()));
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
