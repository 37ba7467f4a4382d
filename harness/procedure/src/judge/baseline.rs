//! The airflow baseline against what was measured just before it, and the last look against the baseline.
//!
//! The same sensor read twice: the calibration is common and drops out, only scatter counts.
use super::{Ruling, decide};
use crate::{
    facts::{Fact, Reason, baseline as fact},
    job::JobInputs,
    mean_flow::{L_MIN, MeanFlow},
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
};
use alloc::vec::Vec;
use plumeline_base::{
    input::Answer,
    quantity::{Estimate, M3_S_PER_L_MIN},
};
use plumeline_detector::{Baseline, Trouble, settings::Settings};
use plumeline_measure::{
    Error,
    decide::{Because, Limits},
};

/// What is said of the unit's baseline as a whole.
pub(crate) fn of_unit(fact: Fact) -> Finding {
    Finding::of(StageKind::Baseline, Subject::Replacement, fact)
}
/// What the last look says of the unit.
fn looked(fact: Fact) -> Finding {
    Finding::of(StageKind::LastLook, Subject::Replacement, fact)
}

/// What is wrong with the baseline that was read back, as such. `boot_id` is the unit's last start.
pub(crate) fn read_back(taken: &Baseline, read: &Baseline, boot_id: Option<u64>, by_hand: bool) -> Vec<Finding> {
    // Whoever took it by hand has seen no number of it.
    let another = (!by_hand && read != taken).then(fact::another_read_back);
    let before_start = boot_id.zip(read.boot_id).is_some_and(|(now, then)| now != then).then(fact::before_start);
    another.into_iter().chain(before_start).map(of_unit).collect()
}

/// How far a flow may be off, as a share of it: a part of the band that supervises it from then on, so that the band stays
/// about what it is set to.
fn part_of_band(part: &Limit, band: f64) -> Limit {
    Limit {
        value: part.value * band,
        source: alloc::format!("{}; band {:.0} %", part.source, band * 100.0),
        ..part.clone()
    }
}

/// The baseline that the unit tells for a pipe, m3/s, against the flow just before it. `band`: the narrower side of the band
/// in which it is supervised, as a share of it.
pub(crate) fn taken(
    inputs: &JobInputs,
    inlet: u8,
    told: Option<f64>,
    before: &Result<MeanFlow, Error>,
    band: f64,
) -> Finding {
    let limit = part_of_band(&inputs.plan.flow.baseline_off, band);
    let of = |fact| {
        let mut f = Finding::of(StageKind::Baseline, Subject::Pipe(inlet), fact);
        f.limit = Some(limit.clone());
        f
    };
    let (q, mean) = match (told, before) {
        (None, _) => return of(fact::none_held()),
        (_, Err(error)) => return of(fact::not_measured(error)),
        (Some(q), Ok(mean)) => (q, mean),
    };
    let mut f = of(fact::near_limit());
    f.measured = Some(baseline_figure(mean, q));
    f.expected = Some(mean.figure());
    f.window = Some(mean.window);
    match against(inputs, q - mean.estimate.value, mean, limit.value * mean.estimate.value) {
        Err(error) => f.state(fact::not_judged(error, error.remedy())),
        Ok(ruling) => {
            let fact = match ruling.because {
                Because::Within => fact::as_measured(),
                Because::Outside => fact::not_as_measured(),
                Because::InGuardBand | Because::ProveByHoles => fact::near_limit(),
            };
            ruling.state(&mut f, fact);
        }
    }
    f
}

/// The flow of the baseline that is held for an inlet, m3/s; `scale`: what its terms are worth. A unit that tells shares tells them of
/// the baseline itself, where one is held. `None`: none is.
pub(crate) fn flow_held(held: &Baseline, inlet: u8, now: Option<&MeanFlow>, scale: f64) -> Option<f64> {
    let q = usize::from(inlet).checked_sub(1).and_then(|i| *held.flow_m3_s.get(i)?)?;
    Some(now.and_then(|mean| mean.share_of).unwrap_or(q * scale))
}

/// The flow of a pipe against a baseline of an earlier job that the unit keeps, m3/s.
pub(crate) fn kept(
    inputs: &JobInputs,
    inlet: u8,
    told: Option<f64>,
    now: &Result<MeanFlow, Error>,
    band: f64,
) -> Finding {
    let limit = part_of_band(&inputs.plan.advanced.baseline.kept_off, band);
    let of = |fact| {
        let mut f = Finding::of(StageKind::Baseline, Subject::Pipe(inlet), fact);
        f.limit = Some(limit.clone());
        f
    };
    let (base, mean) = match (told, now) {
        (None, _) => return of(fact::none_held()),
        (_, Err(error)) => return of(fact::not_measured(error)),
        (Some(q), Ok(mean)) => (q, mean),
    };
    let mut f = of(fact::kept_near_limit());
    f.measured = Some(mean.figure());
    f.expected = Some(baseline_figure(mean, base));
    f.window = Some(mean.window);
    match against(inputs, mean.estimate.value - base, mean, limit.value * base) {
        Err(error) => f.state(fact::not_judged(error, error.remedy())),
        Ok(ruling) => {
            let fact = match ruling.because {
                Because::Within => fact::kept(),
                Because::Outside => fact::kept_too_far(),
                Because::InGuardBand | Because::ProveByHoles => fact::kept_near_limit(),
            };
            ruling.state(&mut f, fact);
        }
    }
    f
}

/// A baseline's flow in the terms in which the unit tells the pipe's.
fn baseline_figure(mean: &MeanFlow, q: f64) -> Figure {
    match mean.share_of {
        Some(of) => Figure::plain(q / of * 100.0, "% of its normal flow"),
        None => Figure::plain(q * L_MIN, "L/min"),
    }
}

/// The flow of a pipe at the last look against its baseline, L/min.
pub(crate) fn last_look(
    inputs: &JobInputs,
    inlet: u8,
    mean: &Result<MeanFlow, Error>,
    baseline: Option<f64>,
    band: f64,
) -> Finding {
    let limit = part_of_band(&inputs.plan.flow.last_look_off, band);
    let of = |fact| {
        let mut f = Finding::of(StageKind::LastLook, Subject::Pipe(inlet), fact);
        f.limit = Some(limit.clone());
        f
    };
    let (mean, baseline) = match (mean, baseline) {
        (Err(error), _) => return of(fact::look_not_measured(error)),
        (_, None) => return of(fact::no_baseline()),
        (Ok(mean), Some(baseline)) => (mean, baseline),
    };
    let mut f = of(fact::look_near_limit());
    f.measured = Some(mean.figure());
    f.expected = Some(baseline_figure(mean, baseline * M3_S_PER_L_MIN));
    f.window = Some(mean.window);
    let base = baseline * M3_S_PER_L_MIN;
    match against(inputs, mean.estimate.value - base, mean, limit.value * base) {
        Err(error) => f.state(fact::look_not_judged(error)),
        Ok(ruling) => {
            let fact = match ruling.because {
                Because::Within => fact::as_at_baseline(),
                Because::Outside => fact::not_as_at_baseline(),
                Because::InGuardBand | Because::ProveByHoles => fact::look_near_limit(),
            };
            ruling.state(&mut f, fact);
        }
    }
    f
}

/// A difference of one sensor's flows against a limit, both m3/s.
fn against(inputs: &JobInputs, difference: f64, mean: &MeanFlow, limit: f64) -> Result<Ruling, Error> {
    // The unit's own average has scatter of its own, taken to be as large.
    let difference = Estimate::new(difference, 0.0, mean.u_scatter * core::f64::consts::SQRT_2);
    decide(inputs, &difference, mean.dof, &Limits::between(-limit, limit), None, L_MIN)
}

/// What no reading shows: pipes, cover, filter and fan left alone since the baseline was taken.
pub(crate) fn left_alone(answer: &Answer) -> Finding {
    looked(match answer {
        Answer::Yes => fact::left_alone(),
        no if no.is_no() => fact::touched(Reason(no)),
        told => fact::not_told_left_alone(Reason(told)),
    })
}

/// Whether the unit still holds the baseline that was taken; `None`: another answer came.
/// `allowed`: the plan goes without it by name.
pub(crate) fn still_held(taken: &Baseline, now: &Result<Baseline, Trouble>, allowed: bool) -> Finding {
    looked(match now {
        Ok(now) if now == taken => fact::still_held(),
        Ok(_) => fact::no_longer_held(),
        // A unit that shows none of it has not lost it.
        Err(trouble @ Trouble::CannotDo(_)) if allowed => fact::not_shown_held_allowed(trouble),
        Err(trouble) => fact::not_shown_held(trouble),
    })
}

/// Whether the settings are still as they were left.
pub(crate) fn settings_held(left: &Settings, now: &Result<Settings, Trouble>) -> Finding {
    let now = match now {
        Ok(now) => now,
        Err(trouble) => return looked(fact::settings_not_shown(trouble)),
    };
    match left.differences(now).first() {
        None => looked(fact::settings_as_loaded()),
        Some(d) => Finding { subject: Subject::Setting(d.key().into()), ..looked(fact::settings_changed(d)) },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample::{self, flow};
    use alloc::{borrow::ToOwned, vec};
    use plumeline_base::Verdict;
    use plumeline_detector::settings::{Item, Value};

    fn told(f: &Finding) -> (&str, Verdict) {
        (f.code.as_str(), f.verdict)
    }
    fn held(boot_id: u64) -> Baseline {
        Baseline {
            flow_m3_s: vec![Some(5e-4)],
            u_m3_s: vec![None],
            duration_ms: 0,
            fan_rpm: None,
            settings_revision: None,
            device_us: Some(1),
            boot_id: Some(boot_id),
            number: None,
        }
    }

    #[test]
    fn the_baseline_is_what_was_measured_just_before() {
        let inputs = sample::inputs();
        let of = |told: Option<f64>, before: Result<MeanFlow, Error>| {
            taken(&inputs, 1, told.map(|q| q / L_MIN), &before, 0.2)
        };
        let before = || Ok(flow(30.0, 0.5));
        assert_eq!(told(&of(Some(30.1), before())), ("baseline.as-measured", Verdict::Pass));
        assert_eq!(told(&of(Some(30.6), before())), ("baseline.near-limit", Verdict::Undecided));
        assert_eq!(told(&of(Some(31.5), before())), ("baseline.not-as-measured", Verdict::Fail), "5 %");
        assert_eq!(told(&of(Some(24.0), before())), ("baseline.not-as-measured", Verdict::Fail));
        assert_eq!(told(&of(None, before())), ("baseline.none-held", Verdict::Fail));
        assert_eq!(told(&of(Some(30.0), Err(Error::UnsoundEstimate))), ("baseline.not-measured", Verdict::Undecided));
        assert_eq!(told(&of(Some(30.0), Ok(flow(30.0, 0.0)))), ("baseline.not-judged", Verdict::Undecided));
    }

    #[test]
    fn the_last_look_finds_flow_as_at_the_baseline() {
        let inputs = sample::inputs();
        let of = |mean: Result<MeanFlow, Error>, baseline: Option<f64>| last_look(&inputs, 1, &mean, baseline, 0.2);
        let base = Some(30.0);
        assert_eq!(told(&of(Ok(flow(30.1, 0.5)), base)), ("last-look.as-at-baseline", Verdict::Pass));
        assert_eq!(told(&of(Ok(flow(29.1, 0.5)), base)), ("last-look.near-limit", Verdict::Undecided));
        assert_eq!(told(&of(Ok(flow(28.2, 0.5)), base)), ("last-look.not-as-at-baseline", Verdict::Fail), "6 %");
        assert_eq!(told(&of(Ok(flow(24.0, 0.5)), base)), ("last-look.not-as-at-baseline", Verdict::Fail));
        assert_eq!(told(&of(Ok(flow(30.0, 0.0)), base)), ("last-look.not-judged", Verdict::Undecided));
        assert_eq!(told(&of(Err(Error::UnsoundEstimate), base)), ("last-look.not-measured", Verdict::Undecided));
        assert_eq!(told(&of(Ok(flow(30.0, 0.5)), None)), ("last-look.no-baseline", Verdict::Undecided));
    }

    #[test]
    fn a_baseline_is_kept_while_the_band_about_it_is_left_wide_enough() {
        let inputs = sample::inputs();
        let of = |q: f64, told: Option<f64>| kept(&inputs, 1, told.map(|q| q / L_MIN), &Ok(flow(q, 0.5)), 0.2);
        assert_eq!(told(&of(29.0, Some(30.0))), ("baseline.kept", Verdict::Pass));
        assert_eq!(told(&of(27.1, Some(30.0))), ("baseline.kept-near-limit", Verdict::Undecided), "10 % of 30");
        assert_eq!(told(&of(25.0, Some(30.0))), ("baseline.kept-too-far", Verdict::Fail));
        assert_eq!(told(&of(30.0, None)), ("baseline.none-held", Verdict::Fail));
    }

    #[test]
    fn a_share_is_of_a_baseline_only_where_one_is_held() {
        let shares = MeanFlow { share_of: Some(4e-4), ..flow(30.0, 0.5) };
        let (baseline, none) = (held(1), Baseline { flow_m3_s: vec![None], ..held(1) });
        assert_eq!(flow_held(&baseline, 1, Some(&shares), 2.0), Some(4e-4));
        assert_eq!(flow_held(&baseline, 1, Some(&flow(30.0, 0.5)), 2.0), Some(1e-3));
        for (of, inlet) in [(&none, 1), (&baseline, 2), (&baseline, 0)] {
            assert_eq!(flow_held(of, inlet, Some(&shares), 2.0), None);
        }
    }

    #[test]
    fn another_baseline_or_one_of_an_earlier_start_fails() {
        assert!(read_back(&held(7), &held(7), Some(7), false).is_empty());
        assert!(read_back(&held(7), &held(7), None, false).is_empty());
        let codes = |read: &Baseline, boot| {
            let all = read_back(&held(7), read, boot, false);
            assert!(all.iter().all(|f| f.verdict == Verdict::Fail));
            all.iter().map(|f| f.code.as_str().to_owned()).collect::<Vec<_>>()
        };
        assert_eq!(codes(&held(7), Some(8)), ["baseline.taken-before-start"]);
        assert_eq!(codes(&held(6), Some(7)), ["baseline.another-read-back", "baseline.taken-before-start"]);
    }

    #[test]
    fn what_was_touched_or_changed_since_stays_open() {
        assert_eq!(told(&left_alone(&Answer::Yes)), ("last-look.left-alone", Verdict::Pass));
        assert_eq!(told(&left_alone(&Answer::No)), ("last-look.touched", Verdict::Undecided));
        assert_eq!(told(&left_alone(&Answer::Text("?".into()))), ("last-look.not-told-left-alone", Verdict::Undecided));
        let still = |now| still_held(&held(7), &now, false);
        assert_eq!(told(&still(Ok(held(7)))), ("last-look.baseline-still-held", Verdict::Pass));
        assert_eq!(told(&still(Ok(held(8)))), ("last-look.baseline-no-longer-held", Verdict::Undecided));
        assert_eq!(told(&still(Err(Trouble::Silent))), ("last-look.baseline-not-shown", Verdict::Undecided));
        let settings = |n: i64| Settings {
            revision: None,
            items: vec![Item { key: "fan".into(), value: Value::Int(n), unit: None }],
        };
        let of = |now| settings_held(&settings(1), &now);
        assert_eq!(told(&of(Ok(settings(1)))), ("last-look.settings-as-loaded", Verdict::Pass));
        let changed = of(Ok(settings(2)));
        assert_eq!(told(&changed), ("last-look.settings-changed", Verdict::Undecided));
        assert_eq!(changed.subject, Subject::Setting("fan".into()));
        assert_eq!(told(&of(Err(Trouble::Silent))), ("last-look.settings-not-shown", Verdict::Undecided));
    }
}
