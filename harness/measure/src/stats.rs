//! Statistics: distributions, moments, autocorrelation, long-run variance, trend. Each function names its source.
//!
//! Not here: instants, units, rules. Everything takes plain numbers; nothing here refuses a value, so callers check
//! first that readings are finite.
use alloc::vec::Vec;
use core::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

/// Normal cumulative distribution.
pub fn normal_cdf(x: f64) -> f64 {
    0.5 * libm::erfc(-x * FRAC_1_SQRT_2)
}

/// Normal density.
pub fn normal_pdf(x: f64) -> f64 {
    libm::exp(-0.5 * x * x) / libm::sqrt(2.0 * PI)
}

/// Normal quantile for `0 < p < 1` (else infinite or NaN): Wichura, algorithm AS 241 (PPND16), Applied Statistics 37 (1988) 477.
pub fn normal_quantile(p: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return match p {
            0.0 => f64::NEG_INFINITY,
            1.0 => f64::INFINITY,
            _ => f64::NAN,
        };
    }
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180625 - q * q;
        return q * polynomial(&AS241_A, r) / polynomial(&AS241_B, r);
    }
    let r = libm::sqrt(-libm::log(if q < 0.0 { p } else { 1.0 - p }));
    let x = if r <= 5.0 {
        polynomial(&AS241_C, r - 1.6) / polynomial(&AS241_D, r - 1.6)
    } else {
        polynomial(&AS241_E, r - 5.0) / polynomial(&AS241_F, r - 5.0)
    };
    x.copysign(q)
}

fn polynomial(coefficients: &[f64; 8], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}
const AS241_A: [f64; 8] = [
    3.387_132_872_796_366_5,
    1.331_416_678_917_843_8e2,
    1.971_590_950_306_551_3e3,
    1.373_169_376_550_946e4,
    4.592_195_393_154_987e4,
    6.726_577_092_700_87e4,
    3.343_057_558_358_813e4,
    2.509_080_928_730_122_7e3,
];
const AS241_B: [f64; 8] = [
    1.0,
    4.231_333_070_160_091e1,
    6.871_870_074_920_579e2,
    5.394_196_021_424_751e3,
    2.121_379_430_158_659_7e4,
    3.930_789_580_009_271e4,
    2.872_908_573_572_194_3e4,
    5.226_495_278_852_854e3,
];
const AS241_C: [f64; 8] = [
    1.423_437_110_749_683_5,
    4.630_337_846_156_546,
    5.769_497_221_460_691,
    3.647_848_324_763_204_5,
    1.270_458_252_452_368_4,
    2.417_807_251_774_506e-1,
    2.272_384_498_926_918_4e-2,
    7.745_450_142_783_414e-4,
];
const AS241_D: [f64; 8] = [
    1.0,
    2.053_191_626_637_759,
    1.676_384_830_183_803_8,
    6.897_673_349_851e-1,
    1.481_039_764_274_800_8e-1,
    1.519_866_656_361_645_7e-2,
    5.475_938_084_995_345e-4,
    1.050_750_071_644_416_9e-9,
];
const AS241_E: [f64; 8] = [
    6.657_904_643_501_103,
    5.463_784_911_164_114,
    1.784_826_539_917_291_3,
    2.965_605_718_285_048_7e-1,
    2.653_218_952_657_612_4e-2,
    1.242_660_947_388_078_4e-3,
    2.711_555_568_743_487_6e-5,
    2.010_334_399_292_288e-7,
];
const AS241_F: [f64; 8] = [
    1.0,
    5.998_322_065_558_879e-1,
    1.369_298_809_227_358e-1,
    1.487_536_129_085_061_5e-2,
    7.868_691_311_456_133e-4,
    1.846_318_317_510_054_8e-5,
    1.421_511_758_316_446e-7,
    2.044_263_103_389_939_8e-15,
];

/// Degrees of freedom beyond which the first term of the expansion about the normal distribution is exact to 1e-14.
const NEARLY_NORMAL: f64 = 1e13;

/// Upper tail of Student's t with `dof > 0` (may be infinite): probability of more than `t`.
///
/// Regularised incomplete beta function by a continued fraction (Didonato & Morris, ACM TOMS 18 (1992) 360, algorithm 708,
/// BFRAC); beyond 1e13 degrees of freedom the first term of Fisher's expansion about the normal (Abramowitz & Stegun 26.7.8).
pub fn t_sf(t: f64, dof: f64) -> f64 {
    if t < 0.0 {
        return 1.0 - t_sf(-t, dof);
    }
    if dof > NEARLY_NORMAL {
        return normal_cdf(-t) + normal_pdf(t) * t * (1.0 + t * t) / (4.0 * dof);
    }
    0.5 * incomplete_beta_half(dof / 2.0, t * t / dof)
}

fn t_pdf(t: f64, dof: f64) -> f64 {
    if dof > NEARLY_NORMAL {
        return normal_pdf(t);
    }
    libm::exp(ln_gamma_half_step(dof / 2.0) - 0.5 * (dof + 1.0) * libm::log1p(t * t / dof)) / libm::sqrt(PI * dof)
}

/// Quantile of Student's t for `0 < p < 1`, `dof > 0` (may be infinite): Newton's method on the tail, kept within a bracket.
pub fn t_quantile(p: f64, dof: f64) -> f64 {
    if !(p > 0.0 && p < 1.0 && dof > 0.0) {
        return if dof > 0.0 { normal_quantile(p) } else { f64::NAN };
    }
    let tail = if p < 0.5 { p } else { 1.0 - p };
    let mut low = -normal_quantile(tail);
    if dof == f64::INFINITY || low <= 0.0 {
        return normal_quantile(p);
    }
    let mut high = 2.0 * low;
    while t_sf(high, dof) > tail && high < 1e300 {
        low = high;
        high *= 2.0;
    }
    let mut t = 0.5 * (low + high);
    for _ in 0..200 {
        let excess = t_sf(t, dof) - tail;
        if excess > 0.0 {
            low = t
        } else {
            high = t
        }
        let newton = t + excess / t_pdf(t, dof);
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        let step = (next - t).abs();
        t = next;
        if step <= 1e-15 * t {
            break;
        }
    }
    if p < 0.5 { -t } else { t }
}

/// ln(Gamma(a + 1/2) / Gamma(a)); for large `a` by the ratio's own expansion, since the difference would cancel (DLMF 5.11.13).
fn ln_gamma_half_step(a: f64) -> f64 {
    if a < 20.0 {
        return libm::lgamma(a + 0.5) - libm::lgamma(a);
    }
    let r = 1.0 / (a * a);
    0.5 * libm::log(a)
        - (1.0 / 8.0 - r * (1.0 / 192.0 - r * (1.0 / 640.0 - r * (17.0 / 14336.0 - r * 31.0 / 18432.0)))) / a
}

/// I_x(a, 1/2) with x = 1 / (1 + ratio), where the tail of Student's t lives.
fn incomplete_beta_half(a: f64, ratio: f64) -> f64 {
    let (x, y) = (1.0 / (1.0 + ratio), ratio / (1.0 + ratio));
    if y <= 0.0 {
        return 1.0;
    }
    // x^a y^(1/2) / B(a, 1/2), with Gamma(1/2) = sqrt(pi).
    let front = libm::exp(ln_gamma_half_step(a) - 0.5 * libm::log(PI) - a * libm::log1p(ratio) + 0.5 * libm::log(y));
    let direct = (a + 0.5) * y >= 0.5;
    if direct { front * beta_fraction(a, 0.5, x, y) } else { 1.0 - front * beta_fraction(0.5, a, y, x) }
}

/// The continued fraction BFRAC for x <= a / (a + b), which takes 1 - x as `y` and so loses no digits where x is nearly 1.
fn beta_fraction(a: f64, b: f64, x: f64, y: f64) -> f64 {
    // a - (a + b) x, from whichever of x and y is the smaller.
    let lambda = if x < 0.5 { a - (a + b) * x } else { (a + b) * y - b };
    let mut value = a / (a + 1.0) * (lambda + 1.0);
    let (mut c, mut d) = (value, 0.0);
    for n in 1..50_000_u32 {
        let n = f64::from(n);
        let s = a + 2.0 * n - 1.0;
        let alpha = (a + n - 1.0) / s * (a + b + n - 1.0) / s * n * (b - n) * x * x;
        let beta = n + n * (b - n) * x / s + (a + n) / (s + 2.0) * (lambda + 1.0 + n * (1.0 + y));
        d = 1.0 / (beta + alpha * d);
        c = beta + alpha / c;
        value *= c * d;
        if (c * d - 1.0).abs() < 2e-16 {
            break;
        }
    }
    1.0 / value
}

/// Sum with Neumaier's compensation (ZAMM 54 (1974) 39).
pub fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut sum, mut lost) = (0.0_f64, 0.0);
    for v in values {
        let next = sum + v;
        lost += if sum.abs() >= v.abs() { (sum - next) + v } else { (v - next) + sum };
        sum = next;
    }
    sum + lost
}

/// Arithmetic mean, corrected by the mean of the residuals; NaN for no values.
pub fn mean(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let first = sum(values.iter().copied()) / n;
    first + sum(values.iter().map(|v| v - first)) / n
}

/// Standard deviation with n - 1; NaN for fewer than two values. Two passes with the correction term of
/// Chan, Golub & LeVeque (American Statistician 37 (1983) 242).
pub fn sd(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let m = mean(values);
    let squares = sum(values.iter().map(|v| (v - m) * (v - m)));
    let rest = sum(values.iter().map(|v| v - m));
    if n < 2.0 { f64::NAN } else { libm::sqrt((squares - rest * rest / n) / (n - 1.0)) }
}

/// Lag-1 autocorrelation, sum of products over sum of squares about the mean (NIST/SEMATECH e-Handbook 1.3.5.12); 0 for constant values.
pub fn lag1(values: &[f64]) -> f64 {
    let m = mean(values);
    let squares = sum(values.iter().map(|v| (v - m) * (v - m)));
    let products = sum(values.iter().zip(values.iter().skip(1)).map(|(a, b)| (a - m) * (b - m)));
    if squares > 0.0 { products / squares } else { 0.0 }
}

/// Median; NaN for no values.
pub fn median(values: &[f64]) -> f64 {
    let mut sorted: Vec<f64> = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    match (sorted.get(middle), sorted.len() % 2) {
        (Some(v), 1) => *v,
        (Some(v), _) => sorted.get(middle.wrapping_sub(1)).map_or(*v, |w| 0.5 * (v + w)),
        (None, _) => f64::NAN,
    }
}

/// Scaled median of absolute deviations from `centre`: the standard deviation of normal values, deaf to outliers
/// (Rousseeuw & Croux, JASA 88 (1993) 1273).
pub fn robust_sd(values: &[f64], centre: f64) -> f64 {
    let deviations: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    NORMAL_BY_MEDIAN * median(&deviations)
}

/// A normal distribution's standard deviation by its median absolute deviation.
pub const NORMAL_BY_MEDIAN: f64 = 1.482_602_218_505_602;

/// Median of sizes that are whole steps: within the class of a step around the middle one its values are taken to lie evenly (the
/// median of grouped data, as textbooks of statistics have it). The plain one where there is no step.
pub fn grouped_median(sizes: &[f64], step: f64) -> f64 {
    let middle = median(sizes);
    if step <= 0.0 || !middle.is_finite() {
        return middle;
    }
    let from = (libm::round(middle / step) - 0.5).max(0.0) * step;
    let to = (libm::round(middle / step) + 0.5) * step;
    let below = sizes.iter().filter(|s| **s < from).count() as f64;
    let within = sizes.iter().filter(|s| (from..to).contains(*s)).count() as f64;
    if within > 0.0 { from + (0.5 * sizes.len() as f64 - below) / within * (to - from) } else { middle }
}

/// Of more readings than this, only so many lags are summed one by one; beyond them neighbours are taken together in pairs, so that the work
/// stays linear.
const MANY: usize = 10_000;
const LAGS: usize = 256;

/// Integrated autocorrelation time 1 + 2 (rho_1 + rho_2 + ...), at least 1, summed up to the first lag of five times itself
/// (Sokal 1997, "Monte Carlo methods in statistical mechanics", section 3). `residuals` have mean zero.
pub fn integrated_time(residuals: &[f64]) -> f64 {
    let square: f64 = residuals.iter().map(|r| r * r).sum();
    if square <= 0.0 {
        return 1.0;
    }
    let mut tau = 1.0;
    let (mut pairs, mut together) = (Vec::new(), 1);
    let mut lag = 1;
    loop {
        let now = if together == 1 { residuals } else { &pairs };
        if lag >= now.len() / 2 {
            break;
        }
        let product: f64 = now.iter().zip(now.iter().skip(lag)).map(|(a, b)| a * b).sum();
        // A lag of means of so many stands for as many lags, and its products are as many times fewer.
        let weight = (together * together) as f64;
        tau += 2.0 * weight * product / square;
        if (lag * together) as f64 >= 5.0 * tau {
            break;
        }
        lag += 1;
        if lag > LAGS && residuals.len() > MANY {
            let halved: Vec<f64> = now.chunks_exact(2).map(|p| p.iter().sum::<f64>() / 2.0).collect();
            (pairs, together, lag) = (halved, 2 * together, LAGS / 2 + 1);
        }
    }
    tau.max(1.0)
}

/// The variance that governs means and trends of correlated readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LongRun {
    /// Long-run variance of one reading: the variance of the mean of n readings is this over n.
    pub variance: f64,
    /// Degrees of freedom of the estimate.
    pub dof: f64,
    /// Integrated autocorrelation time, readings.
    pub time: f64,
}

/// More cosines than this tell no more of an interval, and their number must not grow with the readings.
const MOST_COSINES: f64 = 200.0;

/// Readings whose cosines are worked out side by side.
const BESIDE: usize = 8;

/// Long-run variance by equal-weighted cosines with a t reference distribution of as many degrees of freedom as
/// cosines (Mueller, J. Econometrics 141 (2007) 1331; Lazarus, Lewis, Stock & Watson, JBES 36 (2018) 541).
///
/// As many cosines as a quarter of the effective number of readings, from 4 to 0.4 n^(2/3). `fitted` is how many
/// low-order terms (1: mean, 2: mean and trend) were fitted to get the residuals: a trend takes up one more cosine.
pub fn long_run(residuals: &[f64], fitted: usize) -> LongRun {
    let n = residuals.len() as f64;
    let time = integrated_time(residuals);
    let most = (0.4 * libm::cbrt(n * n)).clamp(4.0, MOST_COSINES);
    let cosines = libm::floor((n / time / 4.0).clamp(4.0, most)) as usize;
    let used = cosines + fitted.saturating_sub(1);
    let mut projections = alloc::vec![0.0; used];
    for (part, readings) in residuals.chunks(BESIDE).enumerate() {
        // cos(j theta) by Chebyshev's recurrence; j stays far below where its error would matter. Readings side by side, summed in their order.
        let mut twice = [0.0; BESIDE];
        for (k, twice) in twice.iter_mut().enumerate() {
            *twice = 2.0 * libm::cos(PI * ((part * BESIDE + k) as f64 + 0.5) / n);
        }
        let mut r = [0.0; BESIDE];
        r[..readings.len()].copy_from_slice(readings);
        let (mut before, mut now) = ([1.0; BESIDE], twice.map(|t| 0.5 * t));
        for p in &mut projections {
            for k in 0..BESIDE {
                *p += r[k] * now[k];
                (before[k], now[k]) = (now[k], twice[k] * now[k] - before[k]);
            }
        }
    }
    let squares: f64 = projections.iter().map(|p| p * p).sum();
    LongRun { variance: 2.0 / n * squares / cosines as f64, dof: cosines as f64, time }
}

/// A straight line through readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Slope per unit of x.
    pub slope: f64,
    /// Standard error of the slope, corrected for autocorrelation.
    pub slope_se: f64,
    /// Value at the mean of x.
    pub mean: f64,
    /// Mean of x.
    pub x_mean: f64,
    /// Sum of squares of x about its mean.
    pub sxx: f64,
    /// Standard deviation of the residuals.
    pub residual_sd: f64,
    /// Long-run variance of the residuals, its degrees of freedom and time.
    pub long_run: LongRun,
}
impl Line {
    /// The line at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.mean + self.slope * (x - self.x_mean)
    }
}

/// Least-squares line with a standard error from [`long_run`]; `None` for fewer than 8 points or no spread of x.
pub fn line(x: &[f64], y: &[f64]) -> Option<Line> {
    let n = x.len().min(y.len());
    if n < 8 {
        return None;
    }
    let (x, y) = (x.get(..n)?, y.get(..n)?);
    let (x_mean, y_mean) = (mean(x), mean(y));
    let sxx: f64 = x.iter().map(|v| (v - x_mean) * (v - x_mean)).sum();
    let sxy: f64 = x.iter().zip(y).map(|(a, b)| (a - x_mean) * (b - y_mean)).sum();
    let slope = sxy / sxx;
    if !slope.is_finite() {
        return None;
    }
    let residuals: Vec<f64> = x.iter().zip(y).map(|(a, b)| b - y_mean - slope * (a - x_mean)).collect();
    let squares: f64 = residuals.iter().map(|r| r * r).sum();
    let long_run = long_run(&residuals, 2);
    let slope_se = libm::sqrt(long_run.variance / sxx);
    Some(Line {
        slope,
        slope_se,
        mean: y_mean,
        x_mean,
        sxx,
        residual_sd: libm::sqrt(squares / (n as f64 - 2.0)),
        long_run,
    })
}

/// A parabola through readings: `middle + slope d + curve d^2`, d counted from the mean of x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parabola {
    /// Value at the mean of x.
    pub middle: f64,
    /// Slope there.
    pub slope: f64,
    /// Half of the second derivative.
    pub curve: f64,
}

/// Least-squares parabola by orthogonal polynomials (Forsythe, J. SIAM 5 (1957) 74); `None` if x does not spread.
pub fn parabola(x: &[f64], y: &[f64]) -> Option<Parabola> {
    let n = x.len().min(y.len()) as f64;
    let (x_mean, y_mean) = (mean(x), mean(y));
    let moment = |f: &dyn Fn(f64, f64) -> f64| x.iter().zip(y).map(|(x, y)| f(x - x_mean, y - y_mean)).sum::<f64>();
    let (xx, xxx) = (moment(&|x, _| x * x), moment(&|x, _| x * x * x));
    // Second polynomial: x^2 - tilt x - level.
    let (tilt, level) = (xxx / xx, xx / n);
    let second = |x: f64| x * x - tilt * x - level;
    let linear = moment(&|x, y| x * y) / xx;
    let curve = moment(&|x, y| second(x) * y) / moment(&|x, _| second(x) * second(x));
    let found = Parabola { middle: y_mean - curve * level, slope: linear - curve * tilt, curve };
    (found.middle.is_finite() && found.slope.is_finite() && curve.is_finite()).then_some(found)
}

/// Standard uncertainty that rounding to steps of `resolution` leaves in the mean of many readings with scatter `sd`
/// (before rounding): resolution / sqrt(12) without scatter (JCGM 100, F.2.2.1), vanishing as scatter dithers it
/// (Widrow & Kollar, Quantization Noise, 2008, section 19: harmonics of the sawtooth damped by the characteristic function).
pub fn rounding_uncertainty(resolution: f64, sd: f64) -> f64 {
    if resolution <= 0.0 {
        return 0.0;
    }
    let ratio = sd / resolution;
    if ratio < 0.02 {
        return resolution / libm::sqrt(12.0);
    }
    let series: f64 = (1..=60)
        .map(|k| {
            let k = f64::from(k);
            libm::exp(-4.0 * PI * PI * k * k * ratio * ratio) / (k * k)
        })
        .sum();
    resolution / (PI * SQRT_2) * libm::sqrt(series)
}

/// The step of which all readings are multiples apart, where they show one by repeating its values; else 0.
pub fn visible_step(values: &[f64]) -> f64 {
    let mut sorted: Vec<f64> = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let gaps = || sorted.iter().zip(sorted.iter().skip(1)).map(|(a, b)| b - a).filter(|d| *d > 0.0);
    let step = gaps().fold(f64::INFINITY, f64::min);
    let multiple = |d: f64| (d / step - libm::round(d / step)).abs() < 1e-3;
    let repeats = 2 * (gaps().count() + 1) <= values.len();
    if step.is_finite() && repeats && gaps().all(multiple) { step } else { 0.0 }
}

/// Standard deviation before rounding, from that of rounded values (Sheppard's correction); not below zero.
pub fn before_rounding(sd: f64, resolution: f64) -> f64 {
    libm::sqrt((sd * sd - resolution * resolution / 12.0).max(0.0))
}
