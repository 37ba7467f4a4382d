//! The airflow baseline against what was measured just before it, and the last look against the baseline.
//!
//! The same sensor read twice: the calibration is common and drops out, only scatter counts.
use super::{Ruling, decide};
use crate::{
    facts::{Fact, baseline as fact},
    job::JobInputs,
    mean_flow::{L_MIN, MeanFlow},
    outcome::{Figure, Finding, StageKind, Subject},
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
pub(crate) fn read_back(taken: &Baseline, read: &Baseline, boot_id: Option<u64>) -> Vec<Finding> {
    let another = (read != taken).then(fact::another_read_back);
    let before_start = boot_id.is_some_and(|id| id != read.boot_id).then(fact::before_start);
    another.into_iter().chain(before_start).map(of_unit).collect()
}

/// The baseline that the unit tells for a pipe, m3/s, against the flow just before it.
pub(crate) fn taken(inputs: &JobInputs, inlet: u8, told: Option<f64>, before: &Result<MeanFlow, Error>) -> Finding {
    let of = |fact| {
        let mut f = Finding::of(StageKind::Baseline, Subject::Pipe(inlet), fact);
        f.limit = Some(inputs.plan.flow.material.clone());
        f
    };
    let (q, mean) = match (told, before) {
        (None, _) => return of(fact::none_held()),
        (_, Err(error)) => return of(fact::not_measured(error)),
        (Some(q), Ok(mean)) => (q, mean),
    };
    let mut f = of(fact::near_limit());
    f.measured = Some(Figure::plain(q * L_MIN, "L/min"));
    f.expected = Some(mean.figure());
    f.window = Some(mean.window);
    match against(inputs, q - mean.estimate.value, mean, mean.estimate.value) {
        Err(error) => f.state(fact::not_judged(&error, error.remedy())),
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

/// The flow of a pipe at the last look against its baseline, L/min.
pub(crate) fn last_look(
    inputs: &JobInputs,
    inlet: u8,
    mean: &Result<MeanFlow, Error>,
    baseline: Option<f64>,
) -> Finding {
    let of = |fact| {
        let mut f = Finding::of(StageKind::LastLook, Subject::Pipe(inlet), fact);
        f.limit = Some(inputs.plan.flow.material.clone());
        f
    };
    let (mean, baseline) = match (mean, baseline) {
        (Err(error), _) => return of(fact::look_not_measured(error)),
        (_, None) => return of(fact::no_baseline()),
        (Ok(mean), Some(baseline)) => (mean, baseline),
    };
    let mut f = of(fact::look_near_limit());
    f.measured = Some(mean.figure());
    f.expected = Some(Figure::plain(baseline, "L/min"));
    f.window = Some(mean.window);
    let base = baseline * M3_S_PER_L_MIN;
    match against(inputs, mean.estimate.value - base, mean, base) {
        Err(error) => f.state(fact::look_not_judged(&error)),
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

/// A difference of one sensor's flows against the smallest material change of `whole`.
fn against(inputs: &JobInputs, difference: f64, mean: &MeanFlow, whole: f64) -> Result<Ruling, Error> {
    // The unit's own average has scatter of its own, taken to be as large.
    let difference = Estimate::new(difference, 0.0, mean.u_scatter * core::f64::consts::SQRT_2);
    let material = inputs.plan.flow.material.value * whole;
    decide(inputs, &difference, mean.dof, &Limits::between(-material, material), None, L_MIN)
}

/// What no reading shows: pipes, cover, filter and fan left alone since the baseline was taken.
pub(crate) fn left_alone(answer: &Answer) -> Finding {
    looked(match answer {
        Answer::Yes => fact::left_alone(),
        Answer::No => fact::touched(),
        _ => fact::not_told_left_alone(),
    })
}

/// Whether the unit still holds the baseline that was taken; `None`: another answer came.
pub(crate) fn still_held(taken: &Baseline, now: &Result<Option<Baseline>, Trouble>) -> Finding {
    looked(match now {
        Ok(Some(now)) if now == taken => fact::still_held(),
        Ok(_) => fact::no_longer_held(),
        Err(trouble) => fact::not_shown_held(trouble),
    })
}

/// Whether the settings are still as they were left; `None`: no settings came.
pub(crate) fn settings_held(left: &Settings, now: &Result<Option<Settings>, Trouble>) -> Finding {
    let now = match now {
        Ok(Some(now)) => now,
        Ok(None) => return looked(fact::settings_not_shown("no settings came")),
        Err(trouble) => return looked(fact::settings_not_shown(trouble)),
    };
    match left.differences(now).first() {
        None => looked(fact::settings_as_loaded()),
        Some(d) => Finding { subject: Subject::Setting(d.key().into()), ..looked(fact::settings_changed(d)) },
    }
}
