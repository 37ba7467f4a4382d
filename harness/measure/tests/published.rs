//! Checks against the outside: NIST StRD, scipy, statsmodels, ruptures, JCGM 100 and 106, RFC 5905. The data are made by
//! `scripts/reference_measure/make.py`; `scripts/reference_measure/check.sh` makes them anew and compares.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests are tests
use plumeline_base::{Instant, Verdict, quantity::Estimate};
use plumeline_measure::{
    Sample,
    clock::{Exchange, exchange},
    decide::{self, Guard, Limits, Rule},
    difference::{Common, Reading},
    joint::{self, Parted, Seen},
    mean::welch_satterthwaite,
    pool, smoke, stats,
};
use serde_json::Value;

fn data(name: &str) -> Value {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap()
}
fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}
fn rows(v: &Value) -> Vec<Vec<f64>> {
    let rows: Vec<Vec<f64>> = v.as_array().unwrap().iter().map(numbers).collect();
    assert!(rows.len() >= 4);
    rows
}
#[track_caller]
fn close(got: f64, wanted: f64, relative: f64) {
    assert!((got - wanted).abs() <= relative * wanted.abs(), "got {got:e}, wanted {wanted:e}");
}

/// NIST Statistical Reference Datasets, univariate summary statistics: certified mean, standard deviation, lag-1 autocorrelation.
/// Python's `statistics.median_grouped`, but for the class of nothing, which is half as wide: sizes have no sign.
#[test]
fn the_median_of_sizes_in_steps_lies_within_their_class() {
    let ten = [1.0, 2.0, 2.0, 3.0, 4.0, 4.0, 4.0, 4.0, 4.0, 5.0];
    close(stats::grouped_median(&ten, 1.0), 3.7, 1e-12);
    close(stats::grouped_median(&[0.5, 0.5, 1.0, 1.0, 1.5], 0.5), 0.875, 1e-12);
    close(stats::grouped_median(&[0.0, 0.0, 0.0, 1.0], 1.0), 1.0 / 3.0, 1e-12);
    assert_eq!(stats::grouped_median(&ten, 0.0), 4.0);
    assert!(stats::grouped_median(&[], 1.0).is_nan());
}

#[test]
fn nist_univariate_sets() {
    let sets = data("nist.json");
    let sets = sets.as_object().unwrap();
    assert_eq!(sets.len(), 9);
    for (name, set) in sets {
        let values: Vec<f64> =
            set["values"].as_array().unwrap().iter().map(|v| v.as_str().unwrap().parse().unwrap()).collect();
        let certified = |what: &str| -> f64 { set[what].as_str().unwrap().parse().unwrap() };
        // Data such as 10000000.1 are no binary numbers: their rounding alone moves the spread by 1e-8 of itself.
        let (sd, lag1) = match name.as_str() {
            "NumAcc3" => (1e-9, 1e-9),
            "NumAcc4" => (1e-7, 1e-9),
            "Mavro" | "Michelson" => (1e-12, 1e-12),
            _ => (1e-14, 1e-13),
        };
        close(stats::mean(&values), certified("mean"), 3e-15);
        close(stats::sd(&values), certified("sd"), sd);
        close(stats::lag1(&values), certified("lag1"), lag1);
    }
}

#[test]
fn distributions_against_scipy() {
    let d = data("distributions.json");
    for r in rows(&d["normal_sf"]) {
        close(stats::normal_cdf(-r[0]), r[1], 1e-12);
    }
    for r in rows(&d["normal_quantile"]) {
        close(stats::normal_quantile(r[0]), r[1], 1e-12);
    }
    for r in rows(&d["t_sf"]) {
        close(stats::t_sf(r[0], r[1]), r[2], 1e-12);
    }
    for r in rows(&d["t_quantile"]) {
        close(stats::t_quantile(r[0], r[1]), r[2], 1e-12);
    }
}

/// JCGM 100:2008, table G.2 (from memory; confirmed by scipy above): t for 95 % and 99 %.
#[test]
fn printed_t_table() {
    for (dof, t95, t99) in [
        (1.0, 12.71, 63.66),
        (2.0, 4.30, 9.92),
        (5.0, 2.57, 4.03),
        (10.0, 2.23, 3.17),
        (16.0, 2.12, 2.92),
        (50.0, 2.01, 2.68),
    ] {
        assert!((stats::t_quantile(0.975, dof) - t95).abs() <= 0.005);
        assert!((stats::t_quantile(0.995, dof) - t99).abs() <= 0.005);
    }
}

#[test]
fn autocorrelation_effective_size_and_trend_against_statsmodels_and_scipy() {
    let series = data("series.json");
    for s in series.as_array().unwrap() {
        let get = |what: &str| s[what].as_f64().unwrap();
        let y = numbers(&s["values"]);
        let n = y.len() as f64;
        close(stats::mean(&y), get("mean"), 1e-14);
        close(stats::sd(&y), get("sd"), 1e-13);
        assert!((stats::lag1(&y) - get("lag1")).abs() < 1e-12);
        let centred: Vec<f64> = y.iter().map(|v| v - stats::mean(&y)).collect();
        let run = stats::long_run(&centred, 1);
        close(run.time, get("time_mean"), 1e-10);
        assert_eq!(run.dof, get("dof_mean"));
        close(run.variance, get("long_run_mean"), 1e-9);
        let x: Vec<f64> = (0..y.len()).map(|i| i as f64 * get("step")).collect();
        let line = stats::line(&x, &y).unwrap();
        close(line.slope, get("slope"), 1e-8);
        close(line.residual_sd / line.sxx.sqrt(), get("slope_se_white"), 1e-9);
        close(line.slope_se, get("slope_se"), 1e-8);
        // Other estimators of the same: Newey & West 1987 (statsmodels), and what the series was made with.
        close((run.variance / n).sqrt(), get("newey_west_mean_se"), 0.35);
        close((run.variance / n).sqrt(), get("true_mean_se"), 0.5);
        if n >= 200.0 {
            close(line.slope_se, get("newey_west_slope_se"), 0.35);
        }
    }
}

fn signal(case: &Value) -> (Vec<Sample>, Vec<Sample>) {
    let (t, y) = (numbers(&case["t"]), numbers(&case["y"]));
    let samples = t.iter().zip(&y).map(|(t, y)| Sample::new(Instant::from_micros((t * 1e6).round() as u64), *y));
    samples.partition(|s| s.at < Instant::from_secs(100))
}

/// Onset on the same data: ruptures 1.1.10 (exact search for one change of the mean) for steps; scipy's fit of the shape
/// that the signal was made with for rises.
#[test]
fn onset_against_ruptures_and_scipy() {
    let cases = data("onset.json");
    for case in cases.as_array().unwrap() {
        let (before, after) = signal(case);
        let release = smoke::Release::by_device(Instant::from_secs(100), 0.0);
        let smoke::Outcome::Response(found) = smoke::analyse(&before, &after, &release, &smoke::Rule::default()) else {
            panic!("no response in {} {}", case["kind"], case["true"]);
        };
        let (step, reference) = (case["step"].as_f64().unwrap(), case["reference"].as_f64().unwrap());
        let apart = (found.onset.at_s - reference).abs();
        let u = case["reference_u"].as_f64().unwrap_or(step / 12f64.sqrt());
        assert!(apart <= 2.0 * u, "{}: {apart} s apart, {u} s", case["kind"]);
        let (low, high) = found.onset.interval95_s;
        assert!((low..=high).contains(&reference), "{}: {reference} not in {low}..{high}", case["kind"]);
        assert!((low..=high).contains(&case["true"].as_f64().unwrap()));
        // The interval is as wide as the fit that knows the shape says, give or take that it does not know the shape.
        assert!(
            found.onset.u_s > 0.5 * u && found.onset.u_s < 4.0 * u,
            "{}: {} against {u}",
            case["kind"],
            found.onset.u_s
        );
    }
}

/// JCGM 100:2008, 4.4.3, table 1 (from memory; the twenty temperatures give the printed mean and deviations).
#[test]
fn gum_temperatures() {
    let t = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11,
        101.20, 101.57, 101.84, 102.36, 102.72,
    ];
    assert!((stats::mean(&t) - 100.145).abs() < 5e-4);
    assert!((stats::sd(&t) - 1.489).abs() < 5e-4);
    assert!((stats::sd(&t) / 20f64.sqrt() - 0.333).abs() < 5e-4);
}

/// JCGM 100:2008, annex H.1 (from memory): the end gauge. u_c = 32 nm, 16 degrees of freedom, U99 = 93 nm.
#[test]
fn gum_end_gauge() {
    let parts = [(25.0, 18.0), (9.7, 25.6), (16.6, 2.0)];
    let all: Vec<(f64, f64)> = parts.into_iter().chain([(2.9, 50.0)]).collect();
    let u = all.iter().map(|p| p.0 * p.0).sum::<f64>().sqrt();
    assert!((u - 32.0).abs() < 0.5);
    let dof = welch_satterthwaite(u, &all);
    assert_eq!(dof.floor(), 16.0);
    let factor = stats::t_quantile(0.995, 16.0);
    assert!((factor - 2.92).abs() < 0.005);
    assert!((factor * 32.0 - 93.0).abs() < 0.6);
}

/// JCGM 100:2008, F.2.2.1: a resolution of dx leaves u = 0.29 dx.
#[test]
fn gum_resolution() {
    assert!((stats::rounding_uncertainty(1.0, 0.0) - 0.29).abs() < 0.002);
    // With scatter, against rounding done a thousand times over all phases.
    for ratio in [0.1, 0.2, 0.3, 0.4] {
        let phases = 200;
        let mean_of_rounded = |mu: f64| -> f64 {
            (-8..=8)
                .map(|k| {
                    f64::from(k)
                        * (stats::normal_cdf((f64::from(k) + 0.5 - mu) / ratio)
                            - stats::normal_cdf((f64::from(k) - 0.5 - mu) / ratio))
                })
                .sum()
        };
        let square: f64 = (0..phases)
            .map(|i| (f64::from(i) + 0.5) / f64::from(phases))
            .map(|mu| (mean_of_rounded(mu) - mu).powi(2))
            .sum();
        close(stats::rounding_uncertainty(1.0, ratio), (square / f64::from(phases)).sqrt(), 1e-3);
    }
}

/// JCGM 106:2012, clause 7 (from memory; scipy's distribution functions): one-sided examples and two-sided cases.
#[test]
fn probability_of_conformity() {
    for case in data("decisions.json")["conformity"].as_array().unwrap() {
        let get = |i: usize| case[i].as_f64();
        let value = Estimate::new(get(0).unwrap(), 0.0, get(1).unwrap());
        let limits = Limits { lower: get(3), upper: get(4) };
        let d = decide::decide(&value, get(2).unwrap_or(f64::INFINITY), &limits, &Rule::default()).unwrap();
        close(d.probability_of_conformity, get(5).unwrap(), 1e-12);
        close(d.consumers_risk, 1.0 - get(5).unwrap(), 1e-11);
        close(d.producers_risk, get(5).unwrap(), 1e-11);
    }
    // Bursting strength 509.7 kPa, u = 8.6 kPa, at least 490 kPa: 0.99. Zener voltage 5.47 V, u = 0.05 V, at least 5.40 V: 0.92.
    let p = |v, u, l| {
        decide::decide(&Estimate::new(v, 0.0, u), f64::INFINITY, &Limits::at_least(l), &Rule::default()).unwrap()
    };
    assert_eq!((p(509.7, 8.6, 490.0).probability_of_conformity * 100.0).round(), 99.0);
    assert_eq!((p(5.47, 0.05, 5.40).probability_of_conformity * 100.0).round(), 92.0);
    assert_eq!(p(509.7, 8.6, 490.0).verdict, Verdict::Pass);
    assert_eq!(p(5.47, 0.05, 5.40).verdict, Verdict::Undecided);
}

/// JCGM 106:2012, 8.3.2: a guard band of U (k = 2) keeps the one-sided risk under 2.3 %; of 1.645 u, at 5 %.
#[test]
fn guard_bands() {
    let value = Estimate::new(0.0, 0.0, 1.0);
    let rule = |guard| Rule { guard, ..Rule::default() };
    let d = decide::decide(&value, f64::INFINITY, &Limits::at_most(2.0), &rule(Guard::Factor(1.0))).unwrap();
    close(d.guard_band, 2.0, 1e-12);
    close(d.consumers_risk, 0.022_750_131_948_179, 1e-10);
    let d = decide::decide(&value, f64::INFINITY, &Limits::at_most(2.0), &rule(Guard::Risk(0.05))).unwrap();
    close(d.guard_band, 1.644_853_626_951_47, 1e-10);
}

/// The conditional normal distribution (Rasmussen and Williams 2006, equation A.6), by numpy's dense matrices.
#[test]
fn parts_of_a_deviation() {
    for case in data("parts.json").as_array().unwrap() {
        let things: Vec<Vec<f64>> = case["things"].as_array().unwrap().iter().map(numbers).collect();
        let common = case["common"].as_array().unwrap().iter().map(numbers);
        let seen = |(t, common): (&Vec<f64>, Vec<f64>)| Seen { deviation: t[0], u: t[1], spread: t[2], common };
        let all: Vec<Seen> = things.iter().zip(common).map(seen).collect();
        for (t, parted) in things.iter().zip(joint::part(&all)) {
            let Parted { own, common } = parted.unwrap();
            for (a, b) in [own.value, own.u, common.value, common.u].into_iter().zip(&t[3..]) {
                assert!((a - b).abs() < 1e-12, "{a} {b}");
            }
        }
    }
}

/// RFC 5905, section 8: offset = ((T2 - T1) + (T3 - T4)) / 2, delay = (T4 - T1) - (T3 - T2).
#[test]
fn ntp_offset_and_delay() {
    let at = Instant::from_micros;
    let e = Exchange {
        sent: at(1_000_000),
        device_received_us: 501_230_000,
        device_sent_us: 501_231_500,
        received: at(1_061_500),
    };
    let o = exchange(&e).unwrap();
    // T2 - T1 = 500.23 s, T3 - T4 = 500.17 s; T4 - T1 = 61.5 ms, T3 - T2 = 1.5 ms.
    close(o.offset_s, 500.2, 1e-15);
    close(o.delay_s, 0.060, 1e-12);
}

/// Three runs 40.1, 41.3, 39.8 s: mean 40.4, s = 0.7937, s / sqrt 3 = 0.4583, t(2) = 4.30 (JCGM 100, 4.2.3 and table G.2).
#[test]
fn pooled_runs() {
    let runs = [40.1, 41.3, 39.8].map(|v| Estimate::new(v, 0.0, 0.3));
    let p = pool::pool(&runs, None).unwrap();
    close(p.estimate.value, 40.4, 1e-14);
    close(p.estimate.u_individual, (0.63f64 / 3.0).sqrt(), 1e-12);
    close(p.dof, 2.0, 1e-12);
}

/// JCGM 100, equation 13 over the whole covariance matrix of three readings of one instrument; its derivatives by differences.
#[test]
fn differences_of_one_instrument_by_their_covariance() {
    let d = data("differences.json");
    for r in rows(&d["rows"]) {
        let [x1, x2, x3, u1, u2, u3, offset, gain, by, by_common, by_own, share, share_common, share_own] = r[..]
        else {
            panic!("{r:?}")
        };
        let common = Common { offset, gain };
        let read = |value, u_own| Reading { value, u_own };
        let difference = common.difference(read(x1, u1), read(x2, u2));
        // Offsets that cancel leave rounding in a matrix of their squares.
        close(difference.value, by, 1e-12);
        assert!((difference.u_common - by_common).abs() < 1e-6 * (offset + by_common), "{difference:?} {by_common}");
        close(difference.u_individual, by_own, 1e-8);
        let told = common.share(read(x1, u1), read(x2, u2), read(x3, u3));
        close(told.value, share, 1e-12);
        assert!((told.u_common - share_common).abs() < 1e-6 * (offset / x3 + share_common), "{told:?} {share_common}");
        close(told.u_individual, share_own, 1e-7);
    }
    // The example of clause 5.2.2, note 1: ten resistors against one standard of u = 100 mohm add up to 1 ohm; two of them differ by nothing.
    assert!((d["series"].as_f64().unwrap() - 1.0).abs() < 1e-9 && d["two"].as_f64().unwrap() < 1e-9);
    let standard = Common { offset: 0.1, gain: 0.0 };
    let resistor = Reading { value: 1000.0, u_own: 0.0 };
    assert_eq!(standard.difference(resistor, resistor).u(), 0.0);
}
