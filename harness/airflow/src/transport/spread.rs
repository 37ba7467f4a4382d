//! Distributions of arrival times: what a run does to a front of smoke. Not here: which runs it passes.
//!
//! - Carried by the laminar profile alone (no mixing across the bore): F(t) = 1 - (tau / 2t)^2 from t = tau/2 on, tau
//!   the mean time (Taylor, Proc. R. Soc. A 219, 1953, 186-203, section A, integrated over the flow).
//! - Mixed across the bore by diffusion: Gaussian with K = D (1 + Pe^2/48), Pe = a V / D (Taylor 1953; Aris, Proc. R. Soc. A
//!   235, 1956, 67-77).
//! - Turbulent: Gaussian with K = 10.1 a u*, u* = V sqrt(f/8) (Taylor, Proc. R. Soc. A 223, 1954, 446-468).
//!
//! A Gaussian run adds the variance 2 K tau / V^2.
use super::Regime;
use alloc::{vec, vec::Vec};
use libm::{erfc, exp, sqrt};

/// Points of a distribution.
const POINTS: usize = 1024;
/// Length of the grid of a convective distribution, in mean times.
const SPAN: f64 = 8.0;

/// Below this Reynolds number a run is laminar, above [`TURBULENT_FROM`] turbulent; between them the flow is taken to be
/// turbulent for a share of the time that rises linearly.
pub(crate) const LAMINAR_TO: f64 = 2000.0;
pub(crate) const TURBULENT_FROM: f64 = 4000.0;

/// Least D t / a^2 at which diffusion counts as having mixed the bore. Taylor asks for well over 1/14.4 = 0.07; by 0.5 the
/// slowest radial mode has died away to exp(-14.7 x 0.5) < 0.1 %.
const MIXED_FROM: f64 = 0.5;

/// A rising curve as (time, fraction arrived).
pub(crate) type Curve = Vec<(f64, f64)>;

/// What one edge does.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Passage {
    /// Mean time in it, s.
    pub(crate) time: f64,
    /// Part of that time carried by the laminar profile, s.
    pub(crate) convective: f64,
    /// Variance added by Gaussian spread, s2.
    pub(crate) variance: f64,
    pub(crate) regime: Regime,
    pub(crate) laminar: bool,
}

/// A passage through a pipe: mean time (s), bore (m), mean velocity (m/s), Reynolds number, friction factor, diffusivity (m2/s).
pub(crate) fn passage(time: f64, bore: f64, velocity: f64, re: f64, friction: f64, diffusivity: f64) -> Passage {
    let a = 0.5 * bore;
    let gaussian = |k: f64| 2.0 * k * time / (velocity * velocity);
    let laminar = re < LAMINAR_TO;
    if laminar && diffusivity * time >= MIXED_FROM * a * a {
        let peclet = a * velocity / diffusivity;
        let variance = gaussian(diffusivity * (1.0 + peclet * peclet / 48.0));
        return Passage { time, convective: 0.0, variance, regime: Regime::TaylorAris, laminar };
    }
    let turbulent = ((re - LAMINAR_TO) / (TURBULENT_FROM - LAMINAR_TO)).clamp(0.0, 1.0);
    let variance = turbulent * gaussian(10.1 * a * velocity * sqrt(friction / 8.0));
    let regime = match () {
        () if laminar => Regime::Convective,
        () if turbulent < 1.0 => Regime::Transition,
        () => Regime::Turbulent,
    };
    Passage { time, convective: (1.0 - turbulent) * time, variance, regime, laminar }
}

/// A distribution of times as masses at `start + i step`.
#[derive(Clone, Debug)]
pub(crate) struct Arrival {
    pub(crate) start: f64,
    pub(crate) step: f64,
    mass: Vec<f64>,
    /// Sum of the means of the convective parts.
    mean: f64,
}

impl Arrival {
    /// All at time 0.
    pub(crate) fn now() -> Self {
        Self { start: 0.0, step: 0.0, mass: vec![1.0], mean: 0.0 }
    }

    /// Followed by an independent convective run of mean time tau. The least time, tau/2, is kept exactly; the rest goes
    /// to the grid so that its mean is kept.
    pub(crate) fn then_convective(&self, tau: f64) -> Self {
        if tau <= 0.0 {
            return self.clone();
        }
        let mean = self.mean + tau;
        let step = SPAN * mean / POINTS as f64;
        let mine = self.regrid(step);
        // Integral of F from the least time on: t - tau + tau^2 / (4 t).
        let integral = |beyond: f64| {
            let t = 0.5 * tau + beyond.max(0.0);
            t - tau + tau * tau / (4.0 * t)
        };
        let kernel: Vec<f64> = (0..POINTS)
            .map(|j| {
                let at = j as f64 * step;
                (integral(at + step) - 2.0 * integral(at) + if j == 0 { 0.0 } else { integral(at - step) }) / step
            })
            .take_while(|&m| m > 1e-9)
            .collect();
        Self { start: self.start + 0.5 * tau, step, mass: convolve(&mine, &kernel), mean }
    }

    /// Followed by Gaussian spread of this standard deviation about its mean.
    pub(crate) fn then_gaussian(&self, sigma: f64) -> Self {
        if sigma <= 0.0 {
            return self.clone();
        }
        let span = self.step * self.mass.len() as f64;
        let step = (span + 10.0 * sigma) / (2 * POINTS) as f64;
        let reach = (5.0 * sigma / step) as usize + 1;
        let below = |x: f64| 0.5 * erfc(-x / (sigma * core::f64::consts::SQRT_2));
        let kernel: Vec<f64> = (0..=2 * reach)
            .map(|j| {
                let x = (j as f64 - reach as f64) * step;
                below(x + 0.5 * step) - below(x - 0.5 * step)
            })
            .collect();
        let mut mine = self.regrid(step);
        mine.resize(mine.len() + 2 * reach, 0.0);
        Self { start: self.start - reach as f64 * step, step, mass: convolve(&mine, &kernel), mean: self.mean }
    }

    /// The masses on a grid of another step from the same start; each is split between its neighbours so that the mean
    /// stays.
    fn regrid(&self, step: f64) -> Vec<f64> {
        let points = ((self.step * (self.mass.len() - 1) as f64 / step) as usize + 2).max(POINTS);
        let mut mass = vec![0.0; points];
        for (i, m) in self.mass.iter().enumerate() {
            let at = i as f64 * self.step / step;
            let j = at as usize;
            let part = at - j as f64;
            mass[j] += m * (1.0 - part);
            if part > 0.0 {
                mass[j + 1] += m * part;
            }
        }
        mass
    }

    /// Fraction arrived by each point of the grid, as (time, fraction), led by a zero.
    pub(crate) fn curve(&self) -> Curve {
        let mut sum = 0.0;
        let mut curve = vec![(self.start - 0.5 * self.step, 0.0)];
        curve.extend(self.mass.iter().enumerate().map(|(i, m)| {
            sum += m;
            (self.start + (i as f64 + 0.5) * self.step, sum)
        }));
        curve
    }
}

/// Convolution of masses on the length of the first. What falls beyond its end is gathered there: late, as it is, but no
/// later.
fn convolve(a: &[f64], kernel: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; a.len()];
    for (i, &m) in a.iter().enumerate().filter(|(_, m)| **m > 1e-12) {
        for (o, k) in out[i..].iter_mut().zip(kernel) {
            *o += m * k;
        }
    }
    let lost: f64 = a.iter().sum::<f64>() - out.iter().sum::<f64>();
    if let Some(end) = out.last_mut() {
        *end += lost.max(0.0);
    }
    out
}

/// A first-order lag after a curve of (time, fraction): exact for straight pieces, with the end drawn out until it has
/// settled.
pub(crate) fn lagged(curve: &[(f64, f64)], lag: f64) -> Curve {
    if lag <= 0.0 || curve.is_empty() {
        return curve.to_vec();
    }
    let mut out = vec![curve[0]];
    let (mut before, mut y) = (curve[0], curve[0].1);
    let &(last_t, last_f) = curve.last().unwrap_or(&before);
    let tail = (1..=64).map(|i| (last_t + lag * 10.0 * f64::from(i) / 64.0, last_f));
    for (t, f) in curve[1..].iter().copied().chain(tail) {
        let dt = t - before.0;
        if dt > 0.0 {
            // y' = (f(t) - y) / lag with f a straight line of slope s: y -> f - s lag, approached as exp(-t/lag).
            let s = (f - before.1) / dt;
            y = f - s * lag + (y - before.1 + s * lag) * exp(-dt / lag);
        }
        out.push((t, y));
        before = (t, f);
    }
    out
}

/// Time at which a curve passes a fraction; its end if it never does.
pub(crate) fn passes(curve: &[(f64, f64)], fraction: f64) -> f64 {
    let after = curve.partition_point(|&(_, f)| f < fraction);
    match (after.checked_sub(1).map(|i| curve[i]), curve.get(after)) {
        (Some((t0, f0)), Some(&(t1, f1))) if f1 > f0 => t0 + (t1 - t0) * (fraction - f0) / (f1 - f0),
        (_, Some(&(t, _))) | (Some((t, _)), None) => t,
        (None, None) => f64::INFINITY,
    }
}

/// The fraction of a curve at a time.
pub(crate) fn at(curve: &[(f64, f64)], time: f64) -> f64 {
    let after = curve.partition_point(|&(t, _)| t < time);
    match (after.checked_sub(1).map(|i| curve[i]), curve.get(after)) {
        (Some((t0, f0)), Some(&(t1, f1))) if t1 > t0 => f0 + (f1 - f0) * (time - t0) / (t1 - t0),
        (Some((_, f)), _) => f,
        (None, _) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_convective_run_is_the_closed_form() {
        let curve = Arrival::now().then_convective(10.0).curve();
        for f in [0.1, 0.3, 0.5, 0.8, 0.9] {
            let want = 5.0 / sqrt(1.0 - f);
            assert!((passes(&curve, f) - want).abs() < 0.005 * want, "{f} {} {want}", passes(&curve, f));
        }
    }

    #[test]
    fn two_convective_runs_against_direct_integration() {
        // P(X + Y < t) by a fine sum over X; no grid of the code under test.
        let f = |tau: f64, t: f64| if t <= 0.5 * tau { 0.0 } else { 1.0 - (tau / (2.0 * t)) * (tau / (2.0 * t)) };
        let curve = Arrival::now().then_convective(4.0).then_convective(7.0).curve();
        for t in [6.0, 7.0, 9.0, 14.0] {
            let n = 20_000;
            let sum: f64 =
                (0..n).map(|i| f(7.0, t - 2.0 / sqrt(1.0 - (f64::from(i) + 0.5) / f64::from(n)))).sum::<f64>()
                    / f64::from(n);
            assert!((passes(&curve, sum) - t).abs() < 0.01 * t, "{t} {}", passes(&curve, sum));
        }
    }

    #[test]
    fn gaussian_quantiles() {
        let curve = Arrival::now().then_gaussian(2.0).curve();
        assert!(passes(&curve, 0.5).abs() < 0.01);
        assert!((passes(&curve, 0.841_345) - 2.0).abs() < 0.01);
        assert!((passes(&curve, 0.01) + 2.326 * 2.0).abs() < 0.02);
    }

    #[test]
    fn lag_of_a_step_is_exponential() {
        let lag = lagged(&[(0.0, 0.0), (0.0, 1.0)], 3.0);
        assert!((passes(&lag, 0.5) - 3.0 * core::f64::consts::LN_2).abs() < 0.05);
    }
}
