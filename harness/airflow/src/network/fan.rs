//! Pressure of a fan by flow: its curve, the affinity laws and what lies beyond its points. Not here: losses.
use crate::error::{BuildError, Fault, Place};
use alloc::vec::Vec;
use libm::sqrt;
use plumeline_base::pipework::{CurveInterpolation, Fan};

/// A fan curve ready to evaluate.
#[derive(Clone, Debug)]
pub(crate) struct FanCurve {
    flow: Vec<f64>,
    pressure: Vec<f64>,
    /// Slope at each point (monotone cubic) or of the piece that starts there (linear).
    slope: Vec<f64>,
    cubic: bool,
    speed: f64,
    reference_density: f64,
}

impl FanCurve {
    pub(crate) fn build(fan: &Fan) -> Result<Self, BuildError> {
        let flow: Vec<f64> = fan.curve.iter().map(|p| p.flow_m3_s).collect();
        let pressure: Vec<f64> = fan.curve.iter().map(|p| p.pressure_pa).collect();
        if flow.len() < 2 || flow.windows(2).any(|w| w[1] <= w[0]) {
            return Err(BuildError::new(Place::Drive, Fault::FanCurve));
        }
        let secant: Vec<f64> =
            (1..flow.len()).map(|i| (pressure[i] - pressure[i - 1]) / (flow[i] - flow[i - 1])).collect();
        let cubic = fan.interpolation == CurveInterpolation::MonotoneCubic;
        let slope = if cubic { fritsch_carlson(&secant) } else { piece_slopes(&secant) };
        Ok(Self { flow, pressure, slope, cubic, speed: fan.speed, reference_density: fan.reference_density })
    }

    /// Pressure rise (Pa) and its slope at a flow (m3/s), at the fan's speed and this density (kg/m3).
    pub(crate) fn at(&self, flow: f64, density: f64) -> (f64, f64) {
        let scale = density / self.reference_density * self.speed;
        let (pressure, slope) = self.reference(flow / self.speed);
        (pressure * scale * self.speed, slope * scale)
    }

    /// True where the flow lies within the points of the curve at the fan's speed.
    pub(crate) fn covers(&self, flow: f64) -> bool {
        let x = flow / self.speed;
        x >= self.flow[0] && x <= self.flow[self.flow.len() - 1]
    }

    /// Relative standard uncertainty of the pressure at a flow beyond the points, for where the curve goes is a guess there: half
    /// of what it has changed since its last point, and no less than a quarter of how far the flow lies beyond, as a share
    /// of the flows that the points span (common practice, no source). Zero within the points.
    pub(crate) fn doubt(&self, flow: f64) -> f64 {
        if self.covers(flow) {
            return 0.0;
        }
        let x = flow / self.speed;
        let end = if x < self.flow[0] { 0 } else { self.flow.len() - 1 };
        let pressure = self.reference(x).0;
        let changed = 0.5 * ((pressure - self.pressure[end]) / pressure).abs();
        let far = 0.25 * self.beyond(flow);
        // Where the pressure is next to nothing the ratio is no number.
        if changed.is_finite() { changed.max(far).min(1.0) } else { 1.0 }
    }

    /// How far the flow lies beyond the points, as a share of what they span.
    pub(crate) fn beyond(&self, flow: f64) -> f64 {
        let (x, first, last) = (flow / self.speed, self.flow[0], self.flow[self.flow.len() - 1]);
        (first - x).max(x - last).max(0.0) / (last - first)
    }

    /// The curve itself; beyond its ends it goes on straight.
    fn reference(&self, x: f64) -> (f64, f64) {
        let last = self.flow.len() - 1;
        if x <= self.flow[0] {
            return (self.pressure[0] + self.slope[0] * (x - self.flow[0]), self.slope[0]);
        }
        if x >= self.flow[last] {
            return (self.pressure[last] + self.slope[last] * (x - self.flow[last]), self.slope[last]);
        }
        let mut i = 0;
        while x > self.flow[i + 1] {
            i += 1;
        }
        if !self.cubic {
            return (self.pressure[i] + self.slope[i] * (x - self.flow[i]), self.slope[i]);
        }
        // Cubic Hermite form.
        let h = self.flow[i + 1] - self.flow[i];
        let t = (x - self.flow[i]) / h;
        let rise = self.pressure[i + 1] - self.pressure[i];
        let (m0, m1) = (self.slope[i] * h, self.slope[i + 1] * h);
        let (c2, c3) = (3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise);
        (self.pressure[i] + t * (m0 + t * (c2 + t * c3)), (m0 + t * (2.0 * c2 + t * 3.0 * c3)) / h)
    }
}

/// The last piece goes on past the last point.
fn piece_slopes(secant: &[f64]) -> Vec<f64> {
    let mut slope = secant.to_vec();
    slope.push(secant[secant.len() - 1]);
    slope
}

/// Slopes of the monotone cubic; Fritsch and Carlson, SIAM J. Numer. Anal. 17, 1980, 238-246.
fn fritsch_carlson(secant: &[f64]) -> Vec<f64> {
    let n = secant.len() + 1;
    let mut m = Vec::with_capacity(n);
    m.push(secant[0]);
    for w in secant.windows(2) {
        m.push(if w[0] * w[1] <= 0.0 { 0.0 } else { 0.5 * (w[0] + w[1]) });
    }
    m.push(secant[n - 2]);
    for (i, &d) in secant.iter().enumerate() {
        if d == 0.0 {
            (m[i], m[i + 1]) = (0.0, 0.0);
            continue;
        }
        let (a, b) = (m[i] / d, m[i + 1] / d);
        let length = a * a + b * b;
        if length > 9.0 {
            let t = 3.0 / sqrt(length);
            (m[i], m[i + 1]) = (t * a * d, t * b * d);
        }
    }
    m
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_base::pipework::FanPoint;

    fn fan(interpolation: CurveInterpolation) -> Fan {
        let point = |(flow_m3_s, pressure_pa)| FanPoint { flow_m3_s, pressure_pa };
        Fan {
            curve: [(0.0, 400.0), (1e-3, 380.0), (2e-3, 250.0), (3e-3, 0.0)].map(point).to_vec(),
            interpolation,
            speed: 1.0,
            reference_density: 1.2,
            u_pressure: 0.0,
        }
    }

    #[test]
    fn passes_through_its_points_and_falls_between_them() {
        for kind in [CurveInterpolation::Linear, CurveInterpolation::MonotoneCubic] {
            let curve = FanCurve::build(&fan(kind)).unwrap();
            for p in fan(kind).curve {
                assert!((curve.at(p.flow_m3_s, 1.2).0 - p.pressure_pa).abs() < 1e-9);
            }
            let mut last = f64::INFINITY;
            for i in -100..500 {
                let (p, slope) = curve.at(f64::from(i) * 1e-5, 1.2);
                assert!(p < last && slope < 0.0, "{kind:?} {i}");
                last = p;
            }
        }
    }

    #[test]
    fn slope_is_the_derivative() {
        let curve = FanCurve::build(&fan(CurveInterpolation::MonotoneCubic)).unwrap();
        for i in 1..40 {
            let (x, h) = (f64::from(i) * 8.1e-5, 1e-8);
            let numeric = (curve.at(x + h, 1.1).0 - curve.at(x - h, 1.1).0) / (2.0 * h);
            assert!((curve.at(x, 1.1).1 / numeric - 1.0).abs() < 1e-5);
        }
    }

    #[test]
    fn affinity_laws_scale_flow_and_pressure() {
        let mut fast = fan(CurveInterpolation::MonotoneCubic);
        fast.speed = 1.3;
        let (one, two) =
            (FanCurve::build(&fan(CurveInterpolation::MonotoneCubic)).unwrap(), FanCurve::build(&fast).unwrap());
        let (p, _) = one.at(1.4e-3, 1.2);
        assert!((two.at(1.3 * 1.4e-3, 0.6).0 - p * 1.3 * 1.3 * 0.5).abs() < 1e-9);
    }

    #[test]
    fn refuses_a_curve_that_turns_back() {
        let mut bad = fan(CurveInterpolation::Linear);
        bad.curve[2].flow_m3_s = 1e-3;
        assert!(FanCurve::build(&bad).is_err());
        bad.curve.truncate(1);
        assert!(FanCurve::build(&bad).is_err());
    }
}
