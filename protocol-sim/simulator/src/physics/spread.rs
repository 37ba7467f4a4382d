//! How smoke spreads along a pipe: shares of the flow ("classes") that take different times to pass.
//!
//! - Laminar, no time to diffuse: the parabolic profile itself. The middle runs at twice the mean, so first arrival is at half
//!   the mean time (Taylor, Proc. R. Soc. A 219 (1953) 186, pure convection).
//! - Laminar, long enough to diffuse across the bore: a normal spread with K = D (1 + Pe^2/48), Pe = a U/D (Taylor 1953;
//!   Aris, Proc. R. Soc. A 235 (1956) 67).
//! - Turbulent: a normal spread with K = 10.1 a u* (Taylor, Proc. R. Soc. A 223 (1954) 446).
//!
//! Between the cases, weights: Cheng's laminar share of the Reynolds number, and the Fourier number of the passage. Classes mix at the
//! end of every length of pipe: jets from holes and bends stir the whole bore (no source; a jet enters at several m/s).
use super::friction::{cheng, laminar_share};

/// Number of classes.
pub(crate) const CLASSES: usize = 14;
/// Share of the flow in each class, the fastest first. The first is thin, so that the first arrival is sharp; the last are, because the
/// parabola's tail has no variance: one class for all of it makes half of the plateau 4 % late behind fifteen holes, and nine tenths 14 %.
pub(crate) const SHARES: [f64; CLASSES] =
    [0.02, 0.08, 0.14, 0.16, 0.16, 0.14, 0.11, 0.08, 0.05, 0.03, 0.016, 0.008, 0.004, 0.002];
/// Time of each class over the mean time for the parabolic profile: with x the share of the area within a radius, the share of the
/// flow is 2x - x^2, and a class takes (its area)/(its flow).
const PARABOLIC: [f64; CLASSES] = [
    0.502_525_316_941_671,
    0.515_827_445_133_160_1,
    0.549_310_781_016_993_6,
    0.607_394_496_666_570_3,
    0.695_448_194_815_021_6,
    0.825_731_432_613_670_4,
    1.016_660_574_100_898_7,
    1.302_842_691_481_589_8,
    1.734_270_095_144_445_6,
    2.391_463_117_381_009_7,
    3.430_217_818_430_975,
    5.107_741_092_230_528,
    8.184_576_843_538_267,
    22.360_679_774_997_283,
];
/// Mean of the standard normal within each class's share, scaled to variance 1 over the classes.
const NORMAL: [f64; CLASSES] = [
    -2.444_375_142_031,
    -1.603_901_444_277_115_1,
    -0.976_337_069_072_187_6,
    -0.476_255_889_604_850_16,
    -0.050_984_916_657_493_135,
    0.337_015_567_981_854_95,
    0.700_611_439_773_450_8,
    1.051_718_866_802_253_5,
    1.391_612_855_717_093_5,
    1.719_206_491_989_882_2,
    2.041_795_334_971_806,
    2.358_141_253_395_569_7,
    2.691_510_402_229_779_3,
    3.200_827_638_483_570_3,
];
/// Widest relative deviation of a normal spread; more would let the first class arrive before the parabola's.
const WIDEST: f64 = 0.2;

/// A passage through a length of pipe.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Passage {
    /// Reynolds number.
    pub(crate) reynolds: f64,
    /// Mean speed, m/s, > 0.
    pub(crate) speed_m_s: f64,
    /// Bore, m.
    pub(crate) bore_m: f64,
    /// Length, m.
    pub(crate) length_m: f64,
    /// Diffusivity of what is carried, m2/s.
    pub(crate) diffusivity_m2_s: f64,
}
impl Passage {
    /// Relative standard deviation of the passage time for a dispersion coefficient `k` (m2/s): sqrt(2 K / (U L)).
    fn deviation(&self, k: f64) -> f64 {
        libm::sqrt(2.0 * k / (self.speed_m_s * self.length_m)).min(WIDEST)
    }
    /// Time of each class over the mean time of passage. Weighted with [`SHARES`] they average to 1.
    pub(crate) fn times(&self) -> [f64; CLASSES] {
        let a = self.bore_m / 2.0;
        let (f, _) = cheng(self.reynolds.max(1.0), 0.0, 0.0);
        let friction_speed = self.speed_m_s * libm::sqrt(f / 8.0);
        let turbulent = self.deviation(10.1 * a * friction_speed);
        let d = self.diffusivity_m2_s;
        let peclet = a * self.speed_m_s / d;
        let diffused = self.deviation(d * (1.0 + peclet * peclet / 48.0));
        // Taylor asks for a passage long against a^2/(3.8^2 D); the weight passes one half at three times that.
        let fourier = d * self.length_m / (self.speed_m_s * a * a);
        let x = fourier / 0.2;
        let long = x * x / (1.0 + x * x);
        let laminar = laminar_share(self.reynolds);
        core::array::from_fn(|i| {
            let slow = long * (1.0 + diffused * NORMAL[i]) + (1.0 - long) * PARABOLIC[i];
            laminar * slow + (1.0 - laminar) * (1.0 + turbulent * NORMAL[i])
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    fn passage(reynolds: f64, speed_m_s: f64, length_m: f64, diffusivity_m2_s: f64) -> Passage {
        Passage { reynolds, speed_m_s, bore_m: 0.021, length_m, diffusivity_m2_s }
    }
    fn moments(times: &[f64; CLASSES]) -> (f64, f64) {
        let mean: f64 = SHARES.iter().zip(times).map(|(s, t)| s * t).sum();
        let var: f64 = SHARES.iter().zip(times).map(|(s, t)| s * (t - mean) * (t - mean)).sum();
        (mean, var)
    }
    #[test]
    fn tables_are_what_they_say() {
        assert!((SHARES.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        let (mut flow, mut area) = (0.0, 0.0);
        for i in 0..CLASSES {
            flow += SHARES[i];
            let edge = 1.0 - libm::sqrt((1.0 - flow).max(0.0));
            assert!((PARABOLIC[i] - (edge - area) / SHARES[i]).abs() < 1e-6, "class {i}");
            area = edge;
        }
        let (mean, var) = moments(&NORMAL);
        assert!(mean.abs() < 1e-12 && (var - 1.0).abs() < 1e-12);
    }
    #[test]
    fn laminar_smoke_first_arrives_at_half_the_mean() {
        let t = passage(600.0, 0.43, 5.0, super::super::SMOKE_DIFFUSIVITY_M2_S).times();
        assert!((t[0] - 0.5).abs() < 0.005, "{t:?}");
        assert!((moments(&t).0 - 1.0).abs() < 1e-9);
    }
    #[test]
    fn many_lengths_in_series_keep_the_parabolas_rise() {
        // Draws of the closed form T / (2 sqrt(1 - F)) (Taylor 1953) beside draws of the classes.
        const DRAWS: usize = 60_000;
        let mut rng = crate::rng::Stream::new(1, 0);
        let classes = |u: f64| {
            let mut below = 0.0;
            let last = |i: &usize| {
                below += SHARES[*i];
                u < below
            };
            PARABOLIC[(0..CLASSES).find(last).unwrap_or(CLASSES - 1)]
        };
        for lengths in [3, 6, 15] {
            let (mut exact, mut stairs) = (vec![0.0f64; DRAWS], vec![0.0f64; DRAWS]);
            for (exact, stairs) in exact.iter_mut().zip(&mut stairs) {
                for i in 1..=lengths {
                    *exact += f64::from(i) / (2.0 * libm::sqrt(1.0 - rng.uniform()));
                    *stairs += f64::from(i) * classes(rng.uniform());
                }
            }
            exact.sort_by(f64::total_cmp);
            stairs.sort_by(f64::total_cmp);
            for share in [0.1, 0.5, 0.75] {
                let at = (share * DRAWS as f64) as usize;
                let off = stairs[at] / exact[at] - 1.0;
                assert!(off.abs() < 0.012, "{lengths} lengths, {share} of the plateau: {off}");
            }
        }
    }
    #[test]
    fn turbulent_spread_is_taylors_of_1954() {
        let p = passage(20_000.0, 14.0, 30.0, 1e-10);
        let (mean, var) = moments(&p.times());
        // u* from Blasius' friction law, f = 0.316 Re^-1/4.
        let f = 0.316 / libm::pow(20_000.0, 0.25);
        let k = 10.1 * 0.0105 * 14.0 * libm::sqrt(f / 8.0);
        let want = 2.0 * k / (14.0 * 30.0);
        assert!((mean - 1.0).abs() < 1e-9);
        assert!((var / want - 1.0).abs() < 0.03, "{var} for {want}");
    }
    #[test]
    fn diffusing_gas_spreads_as_taylor_and_aris_say() {
        // A light gas, D = 4e-5 m2/s, slow in a long pipe: many times a^2/D of passage.
        let (d, u, l, a) = (4e-5, 0.1, 40.0, 0.0105);
        let p = passage(140.0, u, l, d);
        let (_, var) = moments(&p.times());
        let pe = a * u / d;
        let want = 2.0 * d * (1.0 + pe * pe / 48.0) / (u * l);
        assert!(d * l / (u * a * a) > 20.0, "outside the law's validity");
        assert!((var / want - 1.0).abs() < 0.02, "{var} for {want}");
    }
}
