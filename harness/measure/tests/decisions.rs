//! Decisions against limits: guard bands, shared risks, looking again, and evidence that must never be judged.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests are tests
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::{
    Error,
    decide::{Because, Guard, Limits, Rule as DecisionRule, Sharing, decide},
};

#[allow(unreachable_pub)]
mod signals;
use signals::Dice;

#[test]
fn decisions_by_margin_share_and_material_shift() {
    let value = |v: f64, u: f64| Estimate::new(v, 0.0, u);
    let rule = DecisionRule::default();
    let normal = f64::INFINITY;
    let verdict =
        |v, u, rule: &DecisionRule| decide(&value(v, u), normal, &Limits::at_most(120.0), rule).unwrap().verdict;
    assert_eq!(verdict(115.0, 3.0, &rule), Verdict::Pass);
    assert_eq!(verdict(116.0, 3.0, &rule), Verdict::Undecided);
    assert_eq!(verdict(124.0, 3.0, &rule), Verdict::Undecided);
    assert_eq!(verdict(126.0, 3.0, &rule), Verdict::Fail);
    // Shared by four, each side needs 2.24 instead of 1.645 standard uncertainties.
    let four = DecisionRule { tests: 4, ..rule };
    assert_eq!(verdict(115.0, 3.0, &four), Verdict::Undecided);
    assert_eq!(verdict(126.0, 3.0, &four), Verdict::Undecided);
    assert_eq!(verdict(127.0, 3.0, &four), Verdict::Fail);
    let sidak = DecisionRule { sharing: Sharing::Sidak, ..four };
    let d = decide(&value(100.0, 3.0), normal, &Limits::at_most(120.0), &sidak).unwrap();
    assert!((1.0 - (1.0 - d.risk_allowed).powi(4) - 0.05).abs() < 1e-15);
    // Few degrees of freedom widen the guard band.
    let few = decide(&value(115.0, 3.0), 2.0, &Limits::at_most(120.0), &rule).unwrap();
    assert_eq!((few.verdict, few.because), (Verdict::Undecided, Because::InGuardBand));
    // A defect that shifts the value by less than the expanded uncertainty can't be excluded by it.
    let material = DecisionRule { material: Some(5.0), ..rule };
    let d = decide(&value(100.0, 3.0), normal, &Limits::between(80.0, 120.0), &material).unwrap();
    assert_eq!((d.verdict, d.because), (Verdict::Undecided, Because::ProveByHoles));
    assert_eq!(verdict(130.0, 3.0, &material), Verdict::Fail);
    assert_eq!(verdict(100.0, 2.0, &material), Verdict::Pass);
    // Both sides count.
    let wide = decide(&value(0.0, 1.0), normal, &Limits::between(-1.7, 1.7), &rule).unwrap();
    assert_eq!(wide.verdict, Verdict::Undecided);
    let factor = DecisionRule { guard: Guard::Factor(1.0), ..rule };
    assert_eq!(verdict(113.9, 3.0, &factor), Verdict::Pass);
    assert_eq!(verdict(114.1, 3.0, &factor), Verdict::Undecided);
}

/// A value exactly at its limit, looked at after each of up to five pooled runs until it passes: the risk of one look is not that of five. The
/// figures stand in docs/measurement.md.
#[test]
fn looking_again_until_it_passes_raises_the_risk() {
    let mut dice = Dice::new(15);
    let (mut passed, trials) = ([0_u32; 5], 8000);
    for _ in 0..trials {
        let (mut sum, mut at_look) = (0.0, None);
        for (k, n) in [1.0, 2.0, 3.0, 4.0, 5.0_f64].into_iter().enumerate() {
            sum += dice.normal();
            let pooled = Estimate::new(sum / n, 0.0, 1.0 / n.sqrt());
            let ruling = decide(&pooled, f64::INFINITY, &Limits::at_most(0.0), &DecisionRule::default()).unwrap();
            if ruling.verdict == Verdict::Pass {
                at_look = at_look.or(Some(k));
            }
        }
        if let Some(first) = at_look {
            passed[first..].iter_mut().for_each(|p| *p += 1);
        }
    }
    let share = |looks: usize| f64::from(passed[looks - 1]) / f64::from(trials);
    assert!((0.042..0.058).contains(&share(1)), "{}", share(1));
    assert!((0.07..0.10).contains(&share(2)), "{}", share(2));
    assert!((0.12..0.16).contains(&share(5)), "{}", share(5));
}

#[test]
fn decisions_refuse_unsound_evidence_and_rules() {
    let rule = DecisionRule::default();
    let limits = Limits::at_most(1.0);
    for bad in [
        Estimate::new(f64::NAN, 0.0, 1.0),
        Estimate::new(0.0, -1.0, 1.0),
        Estimate::new(0.0, 0.0, 0.0),
        Estimate::new(0.0, 0.0, f64::INFINITY),
    ] {
        assert_eq!(decide(&bad, 5.0, &limits, &rule), Err(Error::UnsoundEstimate));
    }
    let good = Estimate::new(0.0, 0.0, 0.1);
    assert!(decide(&good, f64::NAN, &limits, &rule).is_err());
    assert!(decide(&good, 0.0, &limits, &rule).is_err());
    for bad in [Limits { lower: None, upper: None }, Limits::between(2.0, 1.0), Limits::at_least(f64::NAN)] {
        assert!(matches!(decide(&good, 5.0, &bad, &rule), Err(Error::BadRule { .. })));
    }
    for bad in [
        DecisionRule { guard: Guard::Risk(0.0), ..rule },
        DecisionRule { guard: Guard::Risk(0.6), ..rule },
        DecisionRule { guard: Guard::Factor(f64::NAN), ..rule },
        DecisionRule { tests: 0, ..rule },
        DecisionRule { material: Some(f64::NAN), ..rule },
    ] {
        assert!(matches!(decide(&good, 5.0, &limits, &bad), Err(Error::BadRule { .. })), "{bad:?}");
    }
}
