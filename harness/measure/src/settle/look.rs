//! One look at two full windows: everything that could be amiss, in the order in which a person would want to hear of it.
//!
//! Not here: when to look, gaps, restarts, the deadline.
use super::{Reason, Rule, Slope};
use crate::{
    Sample,
    mean::{Mean, welch_satterthwaite},
    stats::{self, Line},
};
use alloc::vec::Vec;
use core::{f64::consts::PI, time::Duration};
use plumeline_base::{Instant, quantity::Estimate};

/// What a look finds.
pub(super) enum Found {
    Steady { mean: Mean, slopes: [Slope; 2], limit: f64, set_aside: usize },
    Not { because: Reason, wait: Option<Duration> },
    Stuck { value: f64, since: Instant },
}

/// Fewest readings per window.
const LEAST: usize = 16;
/// A spike is over once so many readings after it are none.
const OVER: usize = 2;
/// This share of the readings may be spikes, whatever number the rule sets aside.
const SPIKES_SHARE: f64 = 0.02;
/// Readings on each side of one that make its neighbourhood.
const NEIGHBOURS: usize = 5;

/// Judges readings that cover two windows up to `now`, at the error rate `risk`.
pub(super) fn judge(readings: &[Sample], now: Instant, rule: &Rule, risk: f64) -> Found {
    let not = |because, wait| Found::Not { because, wait };
    let whole = rule.window * 2;
    let until_gone = |at: Instant| Some(whole.saturating_sub(now.since(at)));
    let rate_hz = readings.len() as f64 / whole.as_secs_f64();
    if rate_hz < rule.min_rate_hz {
        return not(Reason::TooSlow { rate_hz }, None);
    }
    if let Some((value, since)) = stuck(readings, rule) {
        return Found::Stuck { value, since };
    }
    let values: Vec<f64> = readings.iter().map(|s| s.value).collect();
    let level = stats::median(&values);
    let spikes = spikes(&values, rule.spike_limit.of(level));
    let clean: Vec<Sample> = readings.iter().zip(&spikes).filter(|(_, spike)| !**spike).map(|(s, _)| *s).collect();
    let count = readings.len() - clean.len();
    // What has not come back is no spike: it may be how the reading goes on.
    let open = spikes.iter().rev().take(OVER).any(|s| *s);
    let most = rule.spikes_allowed.max((SPIKES_SHARE * readings.len() as f64) as usize);
    if count > most || open {
        let last = readings.iter().zip(&spikes).rfind(|(_, spike)| **spike).map_or(now, |(s, _)| s.at);
        return not(Reason::Spikes { count, last }, until_gone(last));
    }

    let middle = now - rule.window;
    let split = clean.partition_point(|s| s.at <= middle);
    let (earlier, later) = clean.split_at(split);
    let minutes = |s: &Sample| -now.since(s.at).as_secs_f64() / 60.0;
    let fit = |part: &[Sample]| {
        let x: Vec<f64> = part.iter().map(minutes).collect();
        let y: Vec<f64> = part.iter().map(|s| s.value).collect();
        (part.len() >= LEAST).then(|| stats::line(&x, &y)).flatten()
    };
    let (Some(a), Some(b)) = (fit(earlier), fit(later)) else {
        return not(Reason::TooSlow { rate_hz }, None);
    };
    let Some(whole) = fit(&clean) else {
        return not(Reason::TooSlow { rate_hz }, None);
    };
    let resolution = rule.resolution.max(stats::visible_step(&values));
    let slopes = slopes([&whole, &a, &b], [clean.len(), earlier.len(), later.len()], resolution, risk);
    let mean_level = 0.5 * (a.mean + b.mean);
    let limit = rule.slope_limit.of(mean_level);

    if let Some((index, by)) = step(&clean, rule.step_limit.of(mean_level)) {
        let at = clean.get(index).map_or(now, |s| s.at);
        return not(Reason::Step { at, by }, until_gone(at));
    }
    if let Some((amplitude, period_s)) = oscillation(earlier, later, rule.oscillation_limit.of(mean_level), rule.window)
    {
        return not(Reason::Oscillation { amplitude, period_s }, None);
    }
    let [overall, across, recent] = slopes;
    let reach = |s: &Slope| s.per_minute.abs() + s.half_width;
    // A limit of zero (a relative limit about a mean of zero) can't be met; NaN compares false and is not met either.
    if reach(&overall) <= limit && reach(&across) <= limit && recent.per_minute.abs() <= limit {
        return match mean(&clean, resolution) {
            Some(mean) => Found::Steady { mean, slopes: [overall, across], limit, set_aside: count },
            None => not(Reason::Scatter { slope: overall, limit }, None),
        };
    }
    // It moves where an interval lies outside; where the limit is within it, nobody knows.
    let moves = slopes.iter().filter(|s| s.per_minute.abs() - s.half_width > limit);
    match moves.max_by(|p, q| (p.per_minute.abs() - p.half_width).total_cmp(&(q.per_minute.abs() - q.half_width))) {
        Some(slope) => not(Reason::Trend { slope: *slope, limit }, wait(&a, &b, recent.half_width, limit, rule.window)),
        None if recent.per_minute.abs() > limit => not(Reason::Scatter { slope: recent, limit }, None),
        None => {
            let wider = if reach(&across) > reach(&overall) { across } else { overall };
            not(Reason::Scatter { slope: wider, limit }, None)
        }
    }
}

/// Mean over both windows, its scatter taken about the trend that is left, and that trend as an uncertainty of its own
/// (rectangular over the change across the windows).
fn mean(clean: &[Sample], resolution: f64) -> Option<Mean> {
    let (first, last) = (clean.first()?, clean.last()?);
    let x: Vec<f64> = clean.iter().map(|s| s.at.since(first.at).as_secs_f64()).collect();
    let values: Vec<f64> = clean.iter().map(|s| s.value).collect();
    let line = stats::line(&x, &values)?;
    let n = values.len() as f64;
    let scatter = libm::sqrt(line.long_run.variance / n);
    let trend = line.slope * last.at.since(first.at).as_secs_f64() / libm::sqrt(12.0);
    let rounding = stats::rounding_uncertainty(resolution, stats::before_rounding(line.residual_sd, resolution));
    let estimate = Estimate::new(line.mean, 0.0, libm::hypot(scatter, libm::hypot(trend, rounding)));
    let dof = welch_satterthwaite(estimate.u(), &[(scatter, line.long_run.dof)]);
    let coverage_factor = stats::t_quantile(0.975, dof);
    Some(Mean {
        estimate,
        n: values.len(),
        n_effective: (line.residual_sd * line.residual_sd / (scatter * scatter)).max(1.0),
        sd: line.residual_sd,
        lag1: stats::lag1(&values),
        expanded: coverage_factor * estimate.u(),
        coverage_factor,
        dof,
        dof_scatter: line.long_run.dof,
        from: first.at,
        to: last.at,
    })
}

/// The trend over both windows, from the mean of the earlier to that of the later, and of the later alone, each with its interval at `risk`.
fn slopes(of: [&Line; 3], n: [usize; 3], resolution: f64, risk: f64) -> [Slope; 3] {
    let [whole, a, b] = of;
    let [n_whole, n_a, n_b] = n;
    let rounding =
        |l: &Line| stats::rounding_uncertainty(resolution, stats::before_rounding(l.residual_sd, resolution));
    let inner = |l: &Line, n: usize| {
        // Rounding errors that hang together act on a slope as on its regression on x: u / sd(x).
        let u = libm::hypot(l.slope_se, rounding(l) / libm::sqrt(l.sxx / n as f64));
        Slope { per_minute: l.slope, half_width: u * stats::t_quantile(1.0 - risk, l.long_run.dof) }
    };
    let between = b.x_mean - a.x_mean;
    let (va, vb) = (a.long_run.variance / n_a as f64, b.long_run.variance / n_b as f64);
    let dof = (va + vb) * (va + vb) / (va * va / a.long_run.dof + vb * vb / b.long_run.dof);
    let dof = if dof.is_finite() { dof } else { a.long_run.dof };
    let (ra, rb) = (rounding(a), rounding(b));
    let u = libm::sqrt(va + vb + ra * ra + rb * rb);
    let across =
        Slope { per_minute: (b.mean - a.mean) / between, half_width: u / between * stats::t_quantile(1.0 - risk, dof) };
    [inner(whole, n_whole), across, inner(b, n_b)]
}

/// How long until the earlier window's trend is within the limit, if it dies away as it did from window to window (a
/// first-order approach); `None` if it does not.
fn wait(a: &Line, b: &Line, half_width: f64, limit: f64, window: Duration) -> Option<Duration> {
    let ratio = b.slope / a.slope;
    // The approach's own bend widens the intervals and will be gone by then: of their width, no more than half the limit.
    let room = limit - half_width.min(0.5 * limit);
    if !(ratio > 0.0 && ratio < 0.95) {
        return None;
    }
    let tau_s = -window.as_secs_f64() / libm::log(ratio);
    let wait_s = tau_s * libm::log((a.slope.abs() / room).max(1.0));
    Duration::try_from_secs_f64(wait_s).ok()
}

/// A run of equal readings that lasts a window, or that readings with so many repeats as these would not show once in a million looks.
fn stuck(readings: &[Sample], rule: &Rule) -> Option<(f64, Instant)> {
    let (mut best_from, mut best_len, mut from, mut repeats) = (0, 0, 0, 0_usize);
    for i in 1..=readings.len() {
        let equal = match (readings.get(i), readings.get(i - 1)) {
            (Some(now), Some(before)) => now.value == before.value,
            _ => false,
        };
        if equal {
            repeats += 1;
            continue;
        }
        if i - from > best_len {
            (best_from, best_len) = (from, i - from);
        }
        from = i;
    }
    let (first, last) = (readings.get(best_from)?, readings.get(best_from + best_len - 1)?);
    let lasted = last.at.since(first.at);
    // Repeats elsewhere, with one added on each side so that the estimate is never 0 or 1.
    let elsewhere = (readings.len() - best_len) as f64;
    let p = ((repeats + 1 - best_len) as f64 + 1.0 + 1.0) / (elsewhere + 2.0);
    let odds = elsewhere.max(1.0) * libm::pow(p.min(1.0), best_len as f64);
    let unlikely = best_len >= LEAST && lasted >= rule.window / 4 && odds < 1e-6;
    (lasted >= rule.window.mul_f64(0.95) || unlikely).then_some((first.value, first.at))
}

/// Which readings stand out from their neighbourhood's median (Hampel's filter; Pearson et al., EURASIP J. 2016:87).
fn spikes(values: &[f64], limit: f64) -> Vec<bool> {
    let deviations: Vec<f64> = (0..values.len())
        .map(|i| {
            let near = values.get(i.saturating_sub(NEIGHBOURS)..(i + NEIGHBOURS + 1).min(values.len())).unwrap_or(&[]);
            values.get(i).map_or(0.0, |v| v - stats::median(near))
        })
        .collect();
    let bar = limit.max(6.0 * stats::robust_sd(&deviations, 0.0));
    deviations.iter().map(|d| d.abs() > bar).collect()
}

/// The step that explains the record better than a straight line does, if it is over the limit and stands clear of the scatter.
fn step(clean: &[Sample], limit: f64) -> Option<(usize, f64)> {
    let n = clean.len();
    let values: Vec<f64> = clean.iter().map(|s| s.value).collect();
    let mean = stats::mean(&values);
    let centred: Vec<f64> = values.iter().map(|v| v - mean).collect();
    let total: f64 = centred.iter().map(|v| v * v).sum();
    let (mut left, mut best, mut at) = (0.0, 0.0, 0);
    for (i, v) in centred.iter().enumerate() {
        left += v;
        let k = i + 1;
        if k >= LEAST / 2 && k + LEAST / 2 <= n {
            let explained = left * left * n as f64 / (k as f64 * (n - k) as f64);
            if explained > best {
                (best, at) = (explained, k);
            }
        }
    }
    let x: Vec<f64> = (0..n).map(|i| i as f64).collect();
    let line = stats::line(&x, &values)?;
    let about_line = line.residual_sd * line.residual_sd * (n as f64 - 2.0);
    let about_step = total - best;
    let (before, after) = centred.split_at(at);
    let (mean_before, mean_after) = (stats::mean(before), stats::mean(after));
    let by = mean_after - mean_before;
    let residuals: Vec<f64> =
        before.iter().map(|v| v - mean_before).chain(after.iter().map(|v| v - mean_after)).collect();
    let variance = stats::long_run(&residuals, 1).variance;
    let se = libm::sqrt(variance * (1.0 / before.len() as f64 + 1.0 / after.len() as f64));
    (by.abs() > limit && by.abs() > 6.0 * se && about_step < 0.7 * about_line).then_some((at, by))
}

/// Amplitude and period, s, of the strongest regular oscillation, if its amplitude is over the limit and it stands
/// clear of the scatter. Periods from four readings to two thirds of a window; slower ones show as trends of the windows.
fn oscillation(earlier: &[Sample], later: &[Sample], limit: f64, window: Duration) -> Option<(f64, f64)> {
    let residuals: Vec<f64> = without_curve(earlier).into_iter().chain(without_curve(later)).collect();
    let n = residuals.len() as f64;
    let power: f64 = residuals.iter().map(|r| r * r).sum::<f64>() / n;
    // Half steps of frequency, so that no oscillation falls between two.
    let most = (n as usize / 2).min(240);
    let (mut best, mut cycles) = (0.0, 0.0);
    for from in (6..=most).step_by(TOGETHER) {
        let f: [f64; TOGETHER] = core::array::from_fn(|k| (from + k) as f64 / 2.0);
        // Goertzel's recurrence.
        let twice = f.map(|f| 2.0 * libm::cos(2.0 * PI * f / n));
        let (mut s1, mut s2) = ([0.0; TOGETHER], [0.0; TOGETHER]);
        for r in &residuals {
            for k in 0..TOGETHER {
                (s1[k], s2[k]) = (r + twice[k] * s1[k] - s2[k], s1[k]);
            }
        }
        for k in (0..TOGETHER).take_while(|k| from + k <= most) {
            let square = s1[k] * s1[k] + s2[k] * s2[k] - twice[k] * s1[k] * s2[k];
            if square > best {
                (best, cycles) = (square, f[k]);
            }
        }
    }
    let amplitude = 2.0 * libm::sqrt(best.max(0.0)) / n;
    // The strongest of so many frequencies of plain scatter stays under this with a probability of 99.9 % (Fisher 1929, first term).
    let scatter = 4.0 * power / n * libm::log(most as f64 / 1e-3);
    (amplitude > limit && amplitude * amplitude > scatter).then(|| (amplitude, 2.0 * window.as_secs_f64() / cycles))
}

/// Frequencies whose recurrences run side by side. Each keeps its own order, and so its bits.
const TOGETHER: usize = 8;

/// Residuals about the parabola through a window's readings.
fn without_curve(part: &[Sample]) -> Vec<f64> {
    let values: Vec<f64> = part.iter().map(|s| s.value).collect();
    let x: Vec<f64> = (0..part.len()).map(|i| i as f64).collect();
    let centre = stats::mean(&x);
    match stats::parabola(&x, &values) {
        Some(p) => x
            .iter()
            .zip(&values)
            .map(|(x, v)| v - p.middle - (x - centre) * (p.slope + p.curve * (x - centre)))
            .collect(),
        None => values,
    }
}
