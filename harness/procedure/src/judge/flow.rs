//! Flow of whole pipes: as found, steady, against the prediction, and what the holes settle of what flow left open.
use super::{alone::together, decide, pipes_compared::PipesShow};
use crate::{
    facts::{Fact, fixed, flow as fact, give_or_take, list, signed},
    job::{JobInputs, Pipe},
    mean_flow::{L_MIN, MeanFlow, coverage_factor},
    outcome::{Figure, Finding, StageKind, Subject},
    plan::HoleRef,
};
use alloc::vec::Vec;
use plumeline_base::{Verdict, quantity::Estimate};
use plumeline_measure::{
    Error,
    decide::{Because, Limits},
    joint::Seen,
    mean::welch_satterthwaite,
    settle::{Fault, State},
};

/// A flow of the outgoing unit, for comparison only.
pub(crate) fn captured(inlet: u8, mean: &Result<MeanFlow, Error>) -> Finding {
    let of = |fact| Finding::of(StageKind::AsFound, Subject::Pipe(inlet), fact);
    match mean {
        Ok(mean) => Finding { measured: Some(mean.figure()), window: Some(mean.window), ..of(fact::captured()) },
        Err(error) => of(fact::not_captured(error)),
    }
}

/// A flow of the outgoing unit that was read once, without an uncertainty.
pub(crate) fn read_once(inlet: u8, told: Option<&Figure>) -> Finding {
    let fact = if told.is_some() { fact::read_once() } else { fact::not_told() };
    Finding { measured: told.cloned(), ..Finding::of(StageKind::AsFound, Subject::Pipe(inlet), fact) }
}

/// How a pipe stood when the wait for steady flow ended.
pub(crate) fn settled(inputs: &JobInputs, inlet: u8, state: &State) -> Finding {
    let mut f = Finding::of(
        StageKind::Settle,
        Subject::Pipe(inlet),
        match state {
            State::Steady { .. } => fact::steady(),
            State::NotYet { because, .. } => fact::cut_short(fact::reason(because)),
            State::DeadlinePassed { because } => fact::not_steady(fact::reason(because)),
            State::Faulty { because: Fault::Stuck { .. } } => fact::stuck(),
            State::Faulty { because } => fact::faulty(fact::fault(because)),
        },
    );
    if let State::Steady { mean, slopes, .. } = state {
        let worst = slopes.iter().map(|s| libm::fabs(s.per_minute) + s.half_width).fold(0.0, f64::max);
        f.measured = Some(Figure::plain(worst / libm::fabs(mean.estimate.value) * 100.0, "% a minute at most"));
        f.window = Some((mean.from, mean.to));
    }
    f.limit = Some(inputs.plan.settle.slope_per_min.clone());
    f
}

/// What the prediction says of itself: where it leaves the ground that its model was checked on. How far beyond its curve a fan
/// may work before nothing is proven by it is a rule.
pub(crate) fn warned(inputs: &JobInputs) -> Vec<Finding> {
    let limit = inputs.plan.advanced.model.fan_beyond;
    let percent = |share: f64| fixed(100.0 * share, 0);
    let all = inputs.warnings.iter().map(|warned| {
        let fact = match warned.beyond_curve(&inputs.pipework) {
            Some(beyond) => {
                let flow = fixed(inputs.prediction.total_flow_m3_s.value * L_MIN, 1);
                if beyond > limit {
                    fact::fan_beyond_curve(flow, percent(beyond), percent(limit))
                } else {
                    fact::fan_near_curve(flow, percent(beyond), percent(limit))
                }
            }
            None => fact::warned(&warned.says),
        };
        Finding::of(StageKind::ProveFlow, Subject::Job, fact)
    });
    all.collect()
}

/// Each pipe's flow against the prediction: both uncertainties combined, against the smallest material change. What is left
/// undecided is to be proven by holes.
pub(crate) fn against_prediction(inputs: &JobInputs, flows: &[(Pipe, Result<MeanFlow, Error>)]) -> Vec<Finding> {
    let held: Vec<_> = flows
        .iter()
        .map(|(pipe, mean)| {
            let (mean, predicted) = (mean.as_ref().ok()?, inputs.predicted_flow(pipe.inlet)?);
            Some((mean, predicted, difference(inputs, mean, &predicted)))
        })
        .collect();
    let side = |h: &Option<(&MeanFlow, Estimate, Result<super::Ruling, Error>)>| {
        let (mean, predicted, ruling) = h.as_ref()?;
        let outside = ruling.as_ref().is_ok_and(|r| r.because == Because::Outside);
        outside.then_some(mean.estimate.value > predicted.value)
    };
    let outside = |more: bool| flows.iter().zip(&held).find(|(_, h)| side(h) == Some(more)).map(|((p, _), _)| p.inlet);
    let draws_more = outside(true);
    // What shifts every pipe alike is the unit's, not each pipe's own.
    let off = held.iter().map(|h| h.as_ref().map(|(mean, predicted, _)| mean.estimate.value / predicted.value - 1.0));
    let all_alike = off.collect::<Option<Vec<f64>>>().is_some_and(|off| one_cause(&off));
    let one_pipe = inputs.pipes().len() == 1;
    flows
        .iter()
        .zip(held)
        .map(|((pipe, mean), held)| {
            let fact = match mean {
                Err(error) => fact::not_measured(error, error.remedy()),
                Ok(_) => fact::not_predicted(),
            };
            let mut f = Finding::of(StageKind::ProveFlow, Subject::Pipe(pipe.inlet), fact);
            f.limit = Some(inputs.plan.flow.material.clone());
            let Some((mean, predicted, ruling)) = held else { return f };
            f.measured = Some(mean.figure());
            let expanded = predicted.u() * coverage_factor(inputs);
            f.expected = Some(Figure::with(predicted.value * L_MIN, expanded * L_MIN, "L/min"));
            f.window = Some(mean.window);
            match ruling {
                Err(error) => f.state(fact::not_judged(error, error.remedy())),
                Ok(ruling) => {
                    let fact = match (said(ruling.because, percent_off(&f), all_alike, one_pipe), draws_more) {
                        (fact, Some(other)) if fact.code == fact::LESS => {
                            fact::less_beside(fixed(libm::fabs(percent_off(&f)), 1), other)
                        }
                        (fact, _) => fact,
                    };
                    ruling.state(&mut f, fact);
                }
            }
            f
        })
        .collect()
}

/// A pipe whose flow is told as a share of what nobody tells: ratios count, its holes show them.
pub(crate) fn level_not_told(inputs: &JobInputs, inlet: u8, mean: &Result<MeanFlow, Error>) -> Finding {
    let fact = match mean {
        Err(error) => fact::not_measured(error, error.remedy()),
        Ok(_) => fact::level_not_told(),
    };
    let mut f = Finding::of(StageKind::ProveFlow, Subject::Pipe(inlet), fact);
    f.limit = Some(inputs.plan.flow.material.clone());
    if let Ok(mean) = mean {
        f.measured = Some(mean.figure());
        f.window = Some(mean.window);
    }
    f
}

/// What the drops at all holes of a pipe show together where the level of its flow is not told: air that comes in anywhere but at
/// a hole lowers the share of each of them. What shifts the flows of all pipes alike changes no share: the smoke's times tell it.
pub(crate) fn by_shares(
    inputs: &JobInputs,
    finding: &mut Finding,
    verdicts: &[Verdict],
    left_out: &[HoleRef],
    (seen, holes): (&[Seen], usize),
) {
    let judged = finding.verdict == Verdict::Fail || finding.measured.is_none();
    // The level that a meter told: the shares still say whether the air enters at the holes.
    let level_told = finding.verdict == Verdict::Pass;
    if judged || verdicts.is_empty() || Verdict::over(verdicts.iter().copied()) != Verdict::Pass {
        return;
    }
    if !left_out.is_empty() || seen.len() < holes || seen.is_empty() {
        if !level_told {
            finding.state(fact::shares_incomplete(seen.len(), holes));
        }
        return;
    }
    let value = together(inputs, seen);
    let material = inputs.plan.flow.material.value;
    let told = give_or_take(value.value * 100.0, coverage_factor(inputs) * value.u() * 100.0, 1);
    let conforms = super::conforms(inputs, &value, &Limits::between(-material, material));
    finding.state(match conforms {
        Some(Verdict::Fail) => fact::shares_shifted(told),
        _ if level_told => return,
        Some(Verdict::Pass) => fact::shares_as_predicted(told),
        _ => fact::shares_unsure(told),
    });
}

fn difference(inputs: &JobInputs, mean: &MeanFlow, predicted: &Estimate) -> Result<super::Ruling, Error> {
    let difference = Estimate::new(
        mean.estimate.value - predicted.value,
        libm::hypot(mean.estimate.u_common, predicted.u_common),
        libm::hypot(mean.estimate.u_individual, predicted.u_individual),
    );
    let u = libm::hypot(mean.estimate.u(), predicted.u());
    let dof = welch_satterthwaite(u, &[(mean.estimate.u(), mean.dof)]);
    let material = inputs.plan.flow.material.value * libm::fabs(predicted.value);
    decide(inputs, &difference, dof, &Limits::between(-material, material), Some(material), L_MIN)
}

/// The part of the greatest shift that the least one must be if all have one cause (practice, no source): pipes differ in how much of
/// their loss lies in the unit.
const ONE_CAUSE: f64 = 0.5;

/// Pipes that are off alike, and so by a cause of the unit: all to one side, none by much more than another.
pub(crate) fn one_cause(off: &[f64]) -> bool {
    let (least, most) = off.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(*x), b.max(*x)));
    let within = |near: f64, far: f64| near >= ONE_CAUSE * far;
    off.len() > 1 && (least > 0.0 && within(least, most) || most < 0.0 && within(-most, -least))
}

fn said(because: Because, percent: f64, all_alike: bool, one_pipe: bool) -> Fact {
    let by = fixed(libm::fabs(percent), 1);
    match (because, percent > 0.0) {
        (Because::Within, _) => fact::as_predicted(signed(percent, 1)),
        (Because::InGuardBand, _) => fact::near_limit(signed(percent, 1)),
        (Because::ProveByHoles, _) => fact::too_uncertain(signed(percent, 1)),
        (Because::Outside, true) if all_alike => fact::all_more(by),
        (Because::Outside, false) if all_alike => fact::all_less(by),
        (Because::Outside, true) => fact::more(by),
        (Because::Outside, false) if one_pipe => fact::only_pipe_less(by),
        (Because::Outside, false) => fact::less(by),
    }
}

/// How far the measured figure of a finding is off the expected one, %.
fn percent_off(f: &Finding) -> f64 {
    match (&f.measured, &f.expected) {
        (Some(m), Some(e)) => (m.value - e.value) / e.value * 100.0,
        _ => f64::NAN,
    }
}

/// Not as predicted, and more than that by half of what matters: the unit tells air of which it is to be shown that it is the pipe's.
pub(crate) fn more_than_expected(inputs: &JobInputs, f: &Finding) -> bool {
    f.verdict != Verdict::Pass && percent_off(f) > 50.0 * inputs.plan.flow.material.value
}

/// Flow alone left it open, and every hole was shown to draw.
pub(crate) fn left_open(finding: &Finding, verdicts: &[Verdict]) -> bool {
    let open = finding.verdict == Verdict::Undecided && finding.decision.is_some();
    open && !verdicts.is_empty() && Verdict::over(verdicts.iter().copied()) == Verdict::Pass
}

/// What flow alone left open, the holes may settle: all of them, or it stays open. What shifts a whole pipe (a leak near the
/// unit) or all pipes alike (filter, fan, exhaust) no hole shows: that the flows of all pipes together must.
pub(crate) fn by_holes(
    inputs: &JobInputs,
    finding: &mut Finding,
    verdicts: &[Verdict],
    left_out: &[HoleRef],
    pipes: &PipesShow,
) {
    if !left_open(finding, verdicts) {
        return;
    }
    let off = signed(percent_off(finding), 1);
    let k = coverage_factor(inputs);
    let shown = |g: &plumeline_measure::joint::Given| give_or_take(g.value * 100.0, k * g.u * 100.0, 1);
    let band = &inputs.plan.limits.flow_band.source;
    finding.state(match pipes {
        _ if !left_out.is_empty() => fact::holes_not_reached(off, list(left_out.iter().map(|h| h.number))),
        PipesShow::Sound { alone: Some(alone), alike, limit } => {
            fact::proven(off, shown(alone), shown(alike), fixed(limit * 100.0, 0), band)
        }
        PipesShow::Sound { alone: None, alike, limit } => {
            fact::only_pipe_proven(off, shown(alike), fixed(limit * 100.0, 0), band)
        }
        PipesShow::ThisPipe(alone) => fact::this_pipe_shifted(off, shown(alone)),
        PipesShow::AllPipes(alike) => fact::all_pipes_shifted(off, shown(alike)),
        PipesShow::Unknown => fact::pipes_not_compared(off),
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample::{self, flow, hole, pipe};
    use alloc::borrow::ToOwned;
    use plumeline_measure::{joint::Given, settle::Reason};

    /// Codes of both pipes where they draw so many L/min.
    fn codes(first: f64, second: f64) -> [Finding; 2] {
        let inputs = sample::inputs();
        let flows = [(pipe(&inputs, 1), Ok(flow(first, 0.5))), (pipe(&inputs, 2), Ok(flow(second, 0.5)))];
        against_prediction(&inputs, &flows).try_into().unwrap()
    }

    #[test]
    fn one_pipe_that_is_off_is_told_from_all_that_are_off() {
        for (first, second, code, verdict) in [
            (30.0, 30.0, "flow.as-predicted", Verdict::Pass),
            (33.0, 30.0, "flow.near-limit", Verdict::Undecided),
            (24.0, 30.0, "flow.less-than-predicted", Verdict::Fail),
            (40.0, 30.0, "flow.more-than-predicted", Verdict::Fail),
            (40.0, 24.0, "flow.more-than-predicted", Verdict::Fail),
            (24.0, 24.0, "flow.all-less-than-predicted", Verdict::Fail),
            // The other is low too, if not by enough to fail: one cause.
            (22.0, 25.5, "flow.all-less-than-predicted", Verdict::Fail),
            (22.0, 29.0, "flow.less-than-predicted", Verdict::Fail),
            (40.0, 40.0, "flow.all-more-than-predicted", Verdict::Fail),
        ] {
            let [f, _] = codes(first, second);
            assert_eq!((f.code.as_str(), f.verdict), (code, verdict), "{first} {second}");
        }
        assert_eq!(codes(40.0, 24.0)[1].code, "flow.less-beside-more");
        assert_eq!(codes(24.0, 30.0)[0].told["percent"], "20.0");
    }

    #[test]
    fn what_the_prediction_says_of_itself_is_found_and_decides_by_the_rule() {
        use plumeline_airflow::warnings::Remark;
        use plumeline_base::pipework::{CurveInterpolation, Drive, Fan, FanPoint};
        let mut inputs = sample::inputs();
        let point = |flow_m3_s, pressure_pa| FanPoint { flow_m3_s, pressure_pa };
        inputs.pipework.unit.drive = Drive::Fan(Fan {
            curve: alloc::vec![point(0.0, 300.0), point(1e-3, 250.0)],
            interpolation: CurveInterpolation::Linear,
            speed: 1.0,
            reference_density: 1.2,
            u_pressure: 0.03,
        });
        let codes = |flow: f64| {
            let mut inputs = inputs.clone();
            let warned = |what| crate::Warned { what, says: "said".into() };
            inputs.warnings = alloc::vec![warned(Remark::OutsideFanCurve(flow)), warned(Remark::Transition(3000.0))];
            warned_codes(&inputs)
        };
        fn warned_codes(inputs: &JobInputs) -> Vec<(alloc::string::String, Verdict)> {
            warned(inputs).into_iter().map(|f| (f.code.as_str().to_owned(), f.verdict)).collect()
        }
        let warns = ("flow.prediction-warns".to_owned(), Verdict::Pass);
        assert_eq!(codes(1.05e-3), [("flow.fan-near-curve".to_owned(), Verdict::Pass), warns.clone()]);
        assert_eq!(codes(1.5e-3), [("flow.fan-beyond-curve".to_owned(), Verdict::Undecided), warns]);
    }

    #[test]
    fn what_was_not_measured_or_not_predicted_is_open() {
        let mut inputs = sample::inputs();
        let missing = [(pipe(&inputs, 1), Err(Error::TooFew { have: 0, need: 2 }))];
        assert_eq!(against_prediction(&inputs, &missing)[0].code, "flow.not-measured");
        let noisy = [(pipe(&inputs, 1), Ok(flow(30.0, 8.0)))];
        assert_eq!(against_prediction(&inputs, &noisy)[0].code, "flow.too-uncertain");
        inputs.prediction.inlets.clear();
        let f = &against_prediction(&inputs, &noisy)[0];
        assert_eq!((f.code.as_str(), f.verdict), ("flow.not-predicted", Verdict::Undecided));
    }

    #[test]
    fn holes_settle_what_flow_left_open_only_if_all_are_shown_and_the_pipes_are_sound() {
        let inputs = sample::inputs();
        let given = Given { value: 0.01, u: 0.01 };
        let sound = PipesShow::Sound { alone: Some(given), alike: given, limit: 0.2 };
        let only = PipesShow::Sound { alone: None, alike: given, limit: 0.2 };
        let pass = [Verdict::Pass; 3];
        let with = |verdicts: &[Verdict], left_out: &[HoleRef], pipes: &PipesShow| {
            let [mut f, _] = codes(33.0, 30.0);
            by_holes(&inputs, &mut f, verdicts, left_out, pipes);
            assert!(f.measured.is_some() && f.decision.is_some() && f.limit.is_some());
            (f.code.as_str().to_owned(), f.verdict)
        };
        let is = |code: &str, verdict| (code.to_owned(), verdict);
        let open = Verdict::Undecided;
        assert_eq!(with(&pass, &[], &sound), is("flow.proven-by-holes", Verdict::Pass));
        assert_eq!(with(&pass, &[], &only), is("flow.only-pipe-proven-by-holes", Verdict::Pass));
        assert_eq!(with(&pass, &[hole(1, 3)], &sound), is("flow.holes-not-reached", open));
        assert_eq!(with(&pass, &[], &PipesShow::ThisPipe(given)), is("flow.this-pipe-shifted", open));
        assert_eq!(with(&pass, &[], &PipesShow::AllPipes(given)), is("flow.all-pipes-shifted", open));
        assert_eq!(with(&pass, &[], &PipesShow::Unknown), is("flow.pipes-not-compared", open));
        assert_eq!(with(&[], &[], &sound), is("flow.near-limit", open));
        assert_eq!(with(&[Verdict::Pass, open], &[], &sound), is("flow.near-limit", open));
        // What failed or passed by flow alone stays.
        let [mut failed, _] = codes(24.0, 30.0);
        by_holes(&inputs, &mut failed, &pass, &[], &sound);
        assert_eq!(failed.code, "flow.less-than-predicted");
    }

    #[test]
    fn only_steady_flow_passes_and_a_stuck_sensor_fails() {
        let inputs = sample::inputs();
        let at = plumeline_base::Instant::START;
        for (state, code, verdict) in [
            (
                State::NotYet { because: Reason::WindowsNotFull, wait_estimate: None },
                "settle.cut-short",
                Verdict::Undecided,
            ),
            (State::DeadlinePassed { because: Reason::WindowsNotFull }, "settle.not-steady", Verdict::Undecided),
            (State::Faulty { because: Fault::Stuck { value: 0.0, since: at } }, "settle.stuck", Verdict::Fail),
            (State::Faulty { because: Fault::NotANumber { at } }, "settle.faulty", Verdict::Undecided),
        ] {
            let f = settled(&inputs, 1, &state);
            assert_eq!((f.code.as_str(), f.verdict), (code, verdict));
        }
    }

    #[test]
    fn flows_as_found_are_told_with_or_without_an_uncertainty() {
        assert_eq!(captured(1, &Ok(flow(30.0, 0.5))).code, "as-found.flow-captured");
        assert_eq!(captured(1, &Err(Error::UnsoundEstimate)).verdict, Verdict::Undecided);
        assert_eq!(read_once(1, Some(&Figure::plain(30.0, "L/min"))).code, "as-found.flow-read-once");
        assert_eq!(read_once(1, None).verdict, Verdict::Undecided);
    }

    /// A meter that told the level as predicted says nothing of where the air enters: the shares may still fail the pipe, and no more.
    #[test]
    fn a_level_that_a_meter_told_is_no_proof_against_air_that_comes_in_elsewhere() {
        let inputs = sample::inputs();
        let metered = [(pipe(&inputs, 1), Ok(flow(30.0, 0.5)))];
        let by = |off: f64, holes: usize| {
            let [mut f] = <[Finding; 1]>::try_from(against_prediction(&inputs, &metered)).unwrap();
            assert_eq!((f.code.as_str(), f.verdict), ("flow.as-predicted", Verdict::Pass));
            let seen = Seen { deviation: off, u: 0.03, spread: 0.02, common: alloc::vec![0.02] };
            let all: Vec<Seen> = (0..8).map(|_| seen.clone()).collect();
            by_shares(&inputs, &mut f, &[Verdict::Pass; 8], &[], (&all[..holes], 8));
            (f.code.as_str().to_owned(), f.verdict)
        };
        let told = ("flow.as-predicted".to_owned(), Verdict::Pass);
        assert_eq!([by(0.0, 8), by(-0.09, 8), by(0.0, 7)], [told.clone(), told.clone(), told]);
        assert_eq!(by(-0.2, 8), ("flow.shares-shifted".to_owned(), Verdict::Fail));
    }

    /// Both holes of a pipe off the predicted share by so much, each known to 3 %, with a common cause of 2 %.
    fn shares(off: f64, holes: usize, left_out: &[HoleRef]) -> (alloc::string::String, Verdict) {
        let inputs = sample::inputs();
        let mut f = level_not_told(&inputs, 1, &Ok(flow(30.0, 0.5)));
        assert_eq!((f.code.as_str(), f.verdict), ("flow.level-not-told", Verdict::Undecided));
        let seen = Seen { deviation: off, u: 0.03, spread: 0.02, common: alloc::vec![0.02] };
        let all: Vec<Seen> = (0..8).map(|_| seen.clone()).collect();
        by_shares(&inputs, &mut f, &[Verdict::Pass; 8], left_out, (&all[..holes], 8));
        (f.code.as_str().to_owned(), f.verdict)
    }
    #[test]
    fn shares_of_all_holes_tell_air_that_comes_in_elsewhere() {
        assert_eq!(shares(0.0, 8, &[]), ("flow.proven-by-shares".to_owned(), Verdict::Pass));
        assert_eq!(shares(-0.2, 8, &[]), ("flow.shares-shifted".to_owned(), Verdict::Fail));
        assert_eq!(shares(-0.09, 8, &[]), ("flow.shares-too-uncertain".to_owned(), Verdict::Undecided));
        assert_eq!(shares(0.0, 7, &[]).1, Verdict::Undecided, "one was shown by smoke only");
        assert_eq!(shares(0.0, 8, &[hole(1, 1)]).1, Verdict::Undecided);
        assert_eq!(shares(0.0, 0, &[]).1, Verdict::Undecided);
    }
}
