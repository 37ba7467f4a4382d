//! A fan's pressure at a flow, speed and density, by the affinity laws.
use plumeline_base::pipework::{CurveInterpolation, Fan};

/// A curve made ready to be read.
#[derive(Clone, Debug)]
pub(crate) struct Curve {
    /// (flow m3/s, pressure Pa, slope Pa s/m3) by rising flow, at reference speed and density.
    points: Vec<(f64, f64, f64)>,
    straight: bool,
    reference_density: f64,
}

/// Below this share of the reference speed the fan's own curve is read at this share: a stopped wheel turns in the draught
/// and resists it a little (no source; only slow-running matters, and it lasts a second).
const LEAST_SPEED: f64 = 0.02;

impl Curve {
    /// From a fan's points; `None` if there are fewer than two or they don't rise in flow.
    pub(crate) fn new(fan: &Fan) -> Option<Self> {
        let p: Vec<(f64, f64)> = fan.curve.iter().map(|p| (p.flow_m3_s, p.pressure_pa)).collect();
        let sound = p.len() >= 2
            && p.iter().all(|p| p.0.is_finite() && p.1.is_finite())
            && p.windows(2).all(|w| w[1].0 > w[0].0)
            && fan.reference_density > 0.0;
        if !sound {
            return None;
        }
        let chord: Vec<f64> = p.windows(2).map(|w| (w[1].1 - w[0].1) / (w[1].0 - w[0].0)).collect();
        let last = chord.len() - 1;
        let slopes = (0..p.len()).map(|i| match i {
            0 => chord[0],
            i if i > last => chord[last],
            // Fritsch and Butland (SIAM J. Sci. Stat. Comput. 1984): the weighted harmonic mean of the chords' slopes keeps the
            // curve monotone wherever the points are.
            i if chord[i - 1] * chord[i] > 0.0 => {
                let (h0, h1) = (p[i].0 - p[i - 1].0, p[i + 1].0 - p[i].0);
                let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
                (w0 + w1) / (w0 / chord[i - 1] + w1 / chord[i])
            }
            _ => 0.0,
        });
        let points = p.iter().zip(slopes).map(|(p, s)| (p.0, p.1, s)).collect();
        let straight = fan.interpolation == CurveInterpolation::Linear;
        Some(Self { points, straight, reference_density: fan.reference_density })
    }
    /// Pressure rise (Pa) and its slope (Pa s/m3) at volume flow `q` at reference speed and density.
    fn reference(&self, q: f64) -> (f64, f64) {
        let n = self.points.len();
        let i = self.points.partition_point(|p| p.0 <= q).clamp(1, n - 1);
        let (a, b) = (self.points[i - 1], self.points[i]);
        let h = b.0 - a.0;
        let t = (q - a.0) / h;
        let chord = (b.1 - a.1) / h;
        if self.straight || !(0.0..=1.0).contains(&t) {
            // Off the ends the end slopes go on.
            let from = if t > 1.0 { b } else { a };
            let slope = if self.straight { chord } else { from.2 };
            return (from.1 + slope * (q - from.0), slope);
        }
        // Cubic Hermite segment.
        let (t2, t3) = (t * t, t * t * t);
        let value = a.1 * (2.0 * t3 - 3.0 * t2 + 1.0)
            + b.1 * (3.0 * t2 - 2.0 * t3)
            + h * (a.2 * (t3 - 2.0 * t2 + t) + b.2 * (t3 - t2));
        let slope = 6.0 * (t2 - t) * (a.1 - b.1) / h + a.2 * (3.0 * t2 - 4.0 * t + 1.0) + b.2 * (3.0 * t2 - 2.0 * t);
        (value, slope)
    }
    /// Pressure rise (Pa) and its slope at `q`, at `speed` and `density`.
    pub(crate) fn at(&self, q: f64, speed: f64, density: f64) -> (f64, f64) {
        let n = speed.max(LEAST_SPEED);
        let (h, slope) = self.reference(q / n);
        let scale = density / self.reference_density;
        if speed < LEAST_SPEED {
            // Only the resistance is left.
            return ((h - self.reference(0.0).0) * n * n * scale, slope * n * scale);
        }
        (h * n * n * scale, slope * n * scale)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_base::pipework::FanPoint;
    fn fan(interpolation: CurveInterpolation) -> Fan {
        let curve = [(0.0, 400.0), (5e-4, 380.0), (1e-3, 320.0), (2e-3, 100.0)]
            .map(|(flow_m3_s, pressure_pa)| FanPoint { flow_m3_s, pressure_pa })
            .to_vec();
        Fan { curve, interpolation, speed: 1.0, reference_density: 1.2, u_pressure: 0.0 }
    }
    #[test]
    fn goes_through_its_points_and_falls_between() {
        for kind in [CurveInterpolation::Linear, CurveInterpolation::MonotoneCubic] {
            let f = fan(kind);
            let c = Curve::new(&f).unwrap();
            for p in &f.curve {
                assert!((c.at(p.flow_m3_s, 1.0, 1.2).0 - p.pressure_pa).abs() < 1e-9);
            }
            let mut before = f64::INFINITY;
            for i in -20..300 {
                let (h, slope) = c.at(f64::from(i) * 1e-5, 1.0, 1.2);
                assert!(h < before && slope <= 0.0, "{kind:?} at {i}");
                before = h;
            }
        }
    }
    #[test]
    fn affinity_laws() {
        let c = Curve::new(&fan(CurveInterpolation::default())).unwrap();
        let full = c.at(1.2e-3, 1.0, 1.2).0;
        assert!((c.at(0.6e-3, 0.5, 1.2).0 - full / 4.0).abs() < 1e-9);
        assert!((c.at(1.2e-3, 1.0, 0.9).0 - full * 0.75).abs() < 1e-9);
        assert_eq!(c.at(0.0, 0.0, 1.2).0, 0.0);
        assert!(c.at(1e-3, 0.0, 1.2).0 < 0.0);
    }
    #[test]
    fn unsound_curves_are_refused() {
        let mut f = fan(CurveInterpolation::Linear);
        f.curve.swap(0, 1);
        assert!(Curve::new(&f).is_none());
        f.curve.truncate(1);
        assert!(Curve::new(&f).is_none());
    }
}
