//! Ticks at round numbers. Only + - * / and comparisons, so that they are the same on every platform.

/// Ticks of an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticks {
    /// Where they stand, rising.
    pub values: Vec<f64>,
    /// Decimals that tell them apart.
    pub decimals: usize,
}

/// Ticks between `low` and `high` at steps of 1, 2 or 5 times a power of ten, at most `most` (at least 2) of them.
///
/// Empty if the bounds are not finite or not in order.
pub fn ticks(low: f64, high: f64, most: usize) -> Ticks {
    let none = Ticks { values: Vec::new(), decimals: 0 };
    let span = high - low;
    // Spans outside of this are no readings, and steps would get lost in rounding.
    let size = low.abs().max(high.abs());
    if !(span > 0.0 && span.is_finite() && span > size * 1e-9 && (1e-12..1e12).contains(&span)) {
        return none;
    }
    let least_step = span / most.max(2) as f64;
    let (mut power, mut exponent) = (1.0_f64, 0_i32);
    while power > least_step {
        power /= 10.0;
        exponent -= 1;
    }
    while power * 10.0 <= least_step {
        power *= 10.0;
        exponent += 1;
    }
    let mut times = 1.0;
    for candidate in [1.0, 2.0, 5.0, 10.0, 20.0] {
        times = candidate;
        let first = (low / (power * candidate)).ceil();
        let last = (high / (power * candidate)).floor();
        if last - first + 1.0 <= most.max(2) as f64 {
            break;
        }
    }
    let step = power * times;
    if times >= 10.0 {
        exponent += 1;
    }
    let (first, last) = ((low / step).ceil(), (high / step).floor());
    let values = (0..(last - first + 1.0).max(0.0) as usize).map(|k| (first + k as f64) * step).collect();
    Ticks { values, decimals: usize::try_from(-exponent).unwrap_or(0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn round_steps() {
        let t = ticks(0.0, 100.0, 6);
        assert_eq!(t, Ticks { values: vec![0.0, 20.0, 40.0, 60.0, 80.0, 100.0], decimals: 0 });
        let t = ticks(-0.013, 0.262, 6);
        assert_eq!(t.decimals, 2);
        assert_eq!(t.values.len(), 6);
        assert!((t.values[1] - 0.05).abs() < 1e-12);
        assert_eq!(ticks(37.2, 41.9, 5).values, [38.0, 39.0, 40.0, 41.0]);
        assert_eq!(ticks(0.0, 7200.0, 8).values, [0.0, 1000.0, 2000.0, 3000.0, 4000.0, 5000.0, 6000.0, 7000.0]);
    }
    #[test]
    fn never_too_many_and_all_within_bounds() {
        for k in 0..2000 {
            let low = f64::from(k) * 0.037 - 31.0;
            let high = low + 10f64.powi(k % 15 - 7) * (1.0 + f64::from(k % 9));
            for most in 2..9 {
                let t = ticks(low, high, most);
                assert!(t.values.len() <= most, "{low} {high} {most} {t:?}");
                let slack = (high - low) * 1e-6 + 1e-12;
                assert!(t.values.iter().all(|v| (low - slack..=high + slack).contains(v)));
                assert!(t.values.windows(2).all(|w| w[0] < w[1]));
                let labels: Vec<String> = t.values.iter().map(|v| format!("{v:.*}", t.decimals)).collect();
                assert!(labels.windows(2).all(|w| w[0] != w[1]), "labels tell apart: {labels:?}");
            }
        }
    }
    #[test]
    fn no_ticks_where_there_is_no_axis() {
        for (low, high) in [(1.0, 1.0), (2.0, 1.0), (f64::NAN, 1.0), (0.0, f64::INFINITY), (1e15, 1e15 + 1.0)] {
            assert!(ticks(low, high, 6).values.is_empty());
        }
    }
}
