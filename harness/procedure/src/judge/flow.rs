//! Flow of whole pipes: as found, steady, against the prediction, and what the holes settle of what flow left open.
use super::{decide, pipes_compared::PipesShow};
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
    // What shifts every pipe to the same side is the unit's, not each pipe's own.
    let first = held.first().and_then(side);
    let all_alike = held.len() > 1 && first.is_some() && held.iter().all(|h| side(h) == first);
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
                Err(error) => f.state(fact::not_judged(&error, error.remedy())),
                Ok(ruling) => {
                    let fact = said(ruling.because, percent_off(&f), all_alike);
                    ruling.state(&mut f, fact);
                }
            }
            f
        })
        .collect()
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

fn said(because: Because, percent: f64, all_alike: bool) -> Fact {
    let by = fixed(libm::fabs(percent), 1);
    match (because, percent > 0.0, all_alike) {
        (Because::Within, ..) => fact::as_predicted(signed(percent, 1)),
        (Because::InGuardBand, ..) => fact::near_limit(signed(percent, 1)),
        (Because::ProveByHoles, ..) => fact::too_uncertain(signed(percent, 1)),
        (Because::Outside, true, true) => fact::all_more(by),
        (Because::Outside, false, true) => fact::all_less(by),
        (Because::Outside, true, false) => fact::more(by),
        (Because::Outside, false, false) => fact::less(by),
    }
}

/// How far the measured figure of a finding is off the expected one, %.
fn percent_off(f: &Finding) -> f64 {
    match (&f.measured, &f.expected) {
        (Some(m), Some(e)) => (m.value - e.value) / e.value * 100.0,
        _ => f64::NAN,
    }
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
    let open = finding.verdict == Verdict::Undecided && finding.decision.is_some();
    if !open || verdicts.is_empty() || Verdict::over(verdicts.iter().copied()) != Verdict::Pass {
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
