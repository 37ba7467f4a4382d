//! Timed releases of smoke: the transport time against the limit by the onset; the agreement with the prediction by half of
//! each run's plateau, because the onset depends on how strong the smoke was. All runs count.
use super::decide;
use crate::{
    facts::{Fact, fixed, signed, smoke as fact},
    job::JobInputs,
    mean_flow::coverage_factor,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::HoleRef,
};
use alloc::{string::String, vec::Vec};
use plumeline_base::{Instant, quantity::Estimate};
use plumeline_measure::{
    decide::{Because, Limits},
    mean::welch_satterthwaite,
    pool::{Pooled, Series, pool},
    smoke::Outcome,
};

/// What the unit read after a release.
pub(crate) struct SmokeSeen {
    pub(crate) outcome: Outcome,
    pub(crate) released: Instant,
    pub(crate) until: Instant,
    /// From the mark to the first alarm level, delays included, s.
    pub(crate) alarm_after_s: Option<f64>,
    /// Another inlet's sensor at which it rose, on a unit that has one for each.
    pub(crate) elsewhere: Option<u8>,
}
impl SmokeSeen {
    /// From the mark to the first significant rise, s.
    pub(crate) fn onset(&self) -> Option<Estimate> {
        match &self.outcome {
            Outcome::Response(r) => Some(r.onset_s),
            Outcome::Saturated { onset_s, .. } => Some(*onset_s),
            _ => None,
        }
    }
    /// From the mark to half of the plateau, s.
    pub(crate) fn half_plateau(&self) -> Option<Estimate> {
        match &self.outcome {
            Outcome::Response(r) => Some(r.half_plateau_s),
            _ => None,
        }
    }
}

/// A place where smoke was released, for findings.
pub(crate) struct Place {
    pub(crate) hole: HoleRef,
    pub(crate) words: String,
    /// The predicted time to half of the plateau, s.
    pub(crate) predicted: Option<Estimate>,
    pub(crate) window: Option<(Instant, Instant)>,
    /// Reasons for which runs were set aside.
    pub(crate) set_aside: Vec<String>,
}
impl Place {
    fn found(&self, fact: Fact) -> Finding {
        let mut f = of_pipe(self.hole.inlet, fact);
        f.window = self.window;
        f
    }
    /// Smoke showed at another inlet's sensor.
    pub(crate) fn crossed(&self, inlet: u8) -> Finding {
        self.found(fact::crossed(&self.words, inlet, self.hole.inlet))
    }
    /// A run without a time is missing evidence: it can't be left out of the mean.
    pub(crate) fn not_timed(&self, why: Option<&str>) -> Finding {
        self.found(match why {
            Some(why) => fact::not_timed(&self.words, why),
            None if self.set_aside.is_empty() => fact::not_timed(&self.words, "runs are missing"),
            None => fact::too_many_set_aside(&self.words, self.set_aside.len()),
        })
    }
}

pub(crate) fn of_pipe(inlet: u8, fact: Fact) -> Finding {
    Finding::of(StageKind::ProveSmoke, Subject::Pipe(inlet), fact)
}

/// Runs of one person with one habit: the mark's own uncertainty is common to them, and no number of runs averages it away.
fn marked(inputs: &JobInputs, mut pooled: Pooled) -> Pooled {
    pooled.estimate.u_common = libm::hypot(pooled.estimate.u_common, inputs.plan.smoke.mark_u_s);
    pooled
}

/// All onsets together against the time limit.
pub(crate) fn within_limit(inputs: &JobInputs, place: &Place, onsets: &Series) -> Finding {
    let limit = &inputs.plan.limits.transport;
    let words = &place.words;
    let mut f = place.not_timed(None);
    f.limit = Some(limit.clone());
    let Pooled { estimate, dof, .. } = match onsets.pooled(Some(inputs.plan.smoke.mark_u_s)) {
        Ok(pooled) => marked(inputs, pooled),
        Err(error) => {
            f.state(fact::not_judged(words, &error, error.remedy()));
            return f;
        }
    };
    f.measured = Some(Figure::with(estimate.value, estimate.u() * coverage_factor(inputs), "s"));
    let dof = welch_satterthwaite(estimate.u(), &[(estimate.u_individual, dof)]);
    match decide(inputs, &estimate, dof, &Limits::at_most(limit.value), None, 1.0) {
        Err(error) => f.state(fact::not_judged(words, &error, error.remedy())),
        Ok(ruling) => {
            let (time, aside) = (fixed(estimate.value, 1), fact::set_aside(&place.set_aside));
            let fact = match ruling.because {
                Because::Within => fact::within(words, time, aside),
                Because::Outside => fact::longer(words, time, aside),
                Because::InGuardBand | Because::ProveByHoles => fact::near_limit(words, time, aside),
            };
            ruling.state(&mut f, fact);
        }
    }
    f
}

/// Half-plateau times against the prediction. Earlier is as suspicious as later.
pub(crate) fn as_predicted(inputs: &JobInputs, place: &Place, halves: &[Estimate]) -> Finding {
    let limits = &inputs.plan.limits;
    let words = &place.words;
    let mut f = place.found(fact::not_predicted(words));
    f.limit = Some(limits.transport_agreement.clone());
    let Some(predicted) = place.predicted else { return f };
    f.expected = Some(Figure::with(predicted.value, predicted.u() * coverage_factor(inputs), "s"));
    if halves.len() != usize::from(inputs.plan.smoke.runs) {
        f.state(fact::no_plateau(words));
        return f;
    }
    let Pooled { estimate, dof, .. } = match pool(halves, Some(inputs.plan.smoke.mark_u_s)) {
        Ok(pooled) => marked(inputs, pooled),
        Err(error) => {
            f.state(fact::not_compared(words, &error, error.remedy()));
            return f;
        }
    };
    f.measured = Some(Figure::with(estimate.value, estimate.u() * coverage_factor(inputs), "s"));
    let allowed = (limits.transport_agreement.value * predicted.value).max(limits.transport_agreement_least.value);
    let dof = welch_satterthwaite(libm::hypot(estimate.u(), predicted.u()), &[(estimate.u_individual, dof)]);
    let difference = Estimate::new(
        estimate.value - predicted.value,
        libm::hypot(estimate.u_common, predicted.u_common),
        libm::hypot(estimate.u_individual, predicted.u_individual),
    );
    match decide(inputs, &difference, dof, &Limits::between(-allowed, allowed), None, 1.0) {
        Err(error) => f.state(fact::not_compared(words, &error, error.remedy())),
        Ok(ruling) => {
            let by = difference.value;
            let fact = match ruling.because {
                Because::Within => fact::as_predicted(words, signed(by, 1)),
                Because::Outside if by < 0.0 => fact::earlier(words, fixed(-by, 1)),
                Because::Outside => fact::later(words, fixed(by, 1)),
                Because::InGuardBand | Because::ProveByHoles => fact::near_agreement(words, signed(by, 1)),
            };
            ruling.state(&mut f, fact);
        }
    }
    f
}
