//! Timed releases of smoke: the transport time against the limit by the onset; the agreement with the prediction by half of
//! each run's plateau, because the onset depends on how strong the smoke was. All runs count.
use super::{decide, pipes_compared::unit_limit};
use crate::{
    facts::{Fact, fixed, signed, smoke as fact},
    job::JobInputs,
    mean_flow::coverage_factor,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::{HoleRef, Limit},
};
use alloc::{format, string::String, vec::Vec};
use plumeline_airflow::uncertainty::OpeningPrediction;
use plumeline_base::{Instant, quantity::Estimate};
use plumeline_measure::{
    decide::{Because, Limits},
    mean::welch_satterthwaite,
    pool::{Pooled, Series, pool},
    smoke::Outcome,
    stats::normal_quantile,
};

/// What the unit read after a release.
pub(crate) struct SmokeSeen {
    /// From the mark to a tenth of the plateau, s.
    pub(crate) onset: Option<Estimate>,
    /// From the mark to what is held against the prediction: half of the plateau, or what a person saw, s.
    pub(crate) compared: Option<Estimate>,
    /// Why there is no time.
    pub(crate) why_not: Option<String>,
    pub(crate) released: Instant,
    pub(crate) until: Instant,
    /// From the mark to the first alarm level, delays included, s.
    pub(crate) alarm_after_s: Option<f64>,
    /// Another inlet's sensor at which it rose, on a unit that has one for each.
    pub(crate) elsewhere: Option<u8>,
    /// Standard uncertainty of the tie of the clock by which it was marked, s; 0 by the log's own.
    pub(crate) tie_u_s: f64,
}
/// What was seen between a release and the end of its watch.
pub(crate) struct Watched {
    pub(crate) released: Instant,
    pub(crate) until: Instant,
    pub(crate) alarm_after_s: Option<f64>,
    pub(crate) elsewhere: Option<u8>,
}
impl SmokeSeen {
    /// By the readings of a stream.
    pub(crate) fn by_readings(outcome: &Outcome, watched: Watched) -> Self {
        let (onset, compared) = match outcome {
            Outcome::Response(r) => (Some(r.onset_s), Some(r.half_plateau_s)),
            Outcome::Saturated { onset_s, .. } => (Some(*onset_s), None),
            _ => (None, None),
        };
        Self::new(onset, compared, fact::why_not(outcome), watched)
    }
    /// By a person who saw it at the unit's display or lamps so long after the release; `Err`: why not.
    pub(crate) fn by_eye(seen: Result<Estimate, String>, compared: Option<Estimate>, watched: Watched) -> Self {
        let onset = seen.as_ref().ok().copied();
        Self::new(onset, compared, seen.err(), watched)
    }
    fn new(onset: Option<Estimate>, compared: Option<Estimate>, why_not: Option<String>, watched: Watched) -> Self {
        let Watched { released, until, alarm_after_s, elsewhere } = watched;
        let why_not = fact::beside_alarm(why_not, alarm_after_s.filter(|_| onset.is_none()));
        Self { onset, compared, why_not, released, until, alarm_after_s, elsewhere, tie_u_s: 0.0 }
    }
}

/// What a person saw of smoke so long after its release, as half of its plateau would have been seen. `share`: at which part of the
/// plateau it was marked, where the display tells. A smaller part comes sooner; how much, hangs on the shape of the rise.
/// Rises that begin slowly are `slower`.
pub(crate) fn as_half(seen: Estimate, share: Option<f64>, predicted: &OpeningPrediction, slower: f64) -> Estimate {
    let rises = (predicted.half_plateau_s.value - predicted.first_s.value).max(0.0);
    let (least, most) = share.map_or((0.0, 1.5), |share| on_the_way(share, slower));
    let later = rises * (1.0 - 0.5 * (least + most));
    Estimate::new(seen.value + later, rises * (most - least) / libm::sqrt(12.0), seen.u_individual)
}

/// Where between first arrival (0) and half (1) a share of the plateau is seen at the earliest and at the latest: by a first-order
/// lag, which laminar smoke is near to, or by smoke that is dispersed like a normal distribution, never before the first arrival;
/// and later by this much more by rises that begin more slowly.
fn on_the_way(share: f64, slower: f64) -> (f64, f64) {
    let share = share.clamp(FIRST, 0.9);
    let lag = libm::log(1.0 - share) / libm::log(0.5);
    let dispersed = 1.0 - normal_quantile(share) / normal_quantile(FIRST);
    (lag.min(dispersed), lag.max(dispersed) + slower)
}
/// The share of the plateau that counts as first arrival in a prediction.
const FIRST: f64 = 0.01;

/// A place where smoke was released, for findings.
pub(crate) struct Place {
    pub(crate) hole: HoleRef,
    pub(crate) words: String,
    /// The predicted time to half of the plateau, s.
    pub(crate) predicted: Option<Estimate>,
    pub(crate) window: Option<(Instant, Instant)>,
    /// Reasons for which runs were set aside.
    pub(crate) set_aside: Vec<String>,
    /// The unit tells its flows as shares: how much they are, nothing but this time shows.
    pub(crate) shows_level: bool,
    /// Standard uncertainty of its marks, s: of the hand, and of the tie where another clock took them.
    pub(crate) mark_u_s: f64,
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

/// Runs of one person with one habit and one clock: the mark's own uncertainty is common to them, and no number of runs averages
/// it away.
fn marked(place: &Place, mut pooled: Pooled) -> Pooled {
    pooled.estimate.u_common = libm::hypot(pooled.estimate.u_common, place.mark_u_s);
    pooled
}

/// All onsets together against the time limit.
pub(crate) fn within_limit(inputs: &JobInputs, place: &Place, onsets: &Series) -> Finding {
    let limit = &inputs.plan.limits.transport;
    let words = &place.words;
    let mut f = place.not_timed(None);
    f.limit = Some(limit.clone());
    let Pooled { estimate, dof, .. } = match onsets.pooled(Some(place.mark_u_s)) {
        Ok(pooled) => marked(place, pooled),
        Err(error) => {
            f.state(fact::not_judged(words, error, error.remedy()));
            return f;
        }
    };
    f.measured = Some(Figure::with(estimate.value, estimate.u() * coverage_factor(inputs), "s"));
    let dof = welch_satterthwaite(estimate.u(), &[(estimate.u_individual, dof)]);
    match decide(inputs, &estimate, dof, &Limits::at_most(limit.value), None, 1.0) {
        Err(error) => f.state(fact::not_judged(words, error, error.remedy())),
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
    let mut allowed = (limits.transport_agreement.value * predicted.value).max(limits.transport_agreement_least.value);
    if place.shows_level {
        // What stands in for the flows of all pipes is held to no more than those are.
        let most = unit_limit(&inputs.plan.flow.material, &limits.flow_band);
        if most * predicted.value < allowed {
            allowed = most * predicted.value;
            let source = format!("{}; the flow's level is shown by this time alone", limits.flow_band.source);
            f.limit = Some(Limit { value: most, source, ..limits.flow_band.clone() });
        }
    }
    f.expected = Some(Figure::with(predicted.value, predicted.u() * coverage_factor(inputs), "s"));
    if halves.len() != usize::from(inputs.plan.smoke.runs) {
        f.state(fact::no_plateau(words));
        return f;
    }
    let Pooled { estimate, dof, .. } = match pool(halves, Some(place.mark_u_s)) {
        Ok(pooled) => marked(place, pooled),
        Err(error) => {
            f.state(fact::not_compared(words, error, error.remedy()));
            return f;
        }
    };
    f.measured = Some(Figure::with(estimate.value, estimate.u() * coverage_factor(inputs), "s"));
    let dof = welch_satterthwaite(libm::hypot(estimate.u(), predicted.u()), &[(estimate.u_individual, dof)]);
    let difference = Estimate::new(
        estimate.value - predicted.value,
        libm::hypot(estimate.u_common, predicted.u_common),
        libm::hypot(estimate.u_individual, predicted.u_individual),
    );
    match decide(inputs, &difference, dof, &Limits::between(-allowed, allowed), None, 1.0) {
        Err(error) => f.state(fact::not_compared(words, error, error.remedy())),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;
    use plumeline_base::Verdict;

    fn place(predicted: Option<f64>) -> Place {
        let predicted = predicted.map(|t| Estimate::new(t, 0.4, 0.4));
        Place {
            hole: sample::hole(1, 3),
            words: "hole 3".into(),
            predicted,
            window: None,
            set_aside: Vec::new(),
            shows_level: false,
            mark_u_s: 0.3,
        }
    }
    fn times(s: f64) -> Vec<Estimate> {
        [-0.2, 0.0, 0.2].map(|off| Estimate::new(s + off, 0.0, 0.3)).to_vec()
    }
    fn told(f: &Finding) -> (&str, Verdict) {
        assert!(f.subject == Subject::Pipe(1));
        (f.code.as_str(), f.verdict)
    }

    #[test]
    fn an_earlier_part_of_the_plateau_comes_earlier() {
        // A first-order lag: ln(1 - s) / ln(1/2) of the way; dispersed smoke: by the normal distribution, 1 % the first arrival.
        let near = |share, (least, most): (f64, f64)| {
            let (a, b) = on_the_way(share, 0.4);
            assert!((a - least).abs() < 0.005 && (b - most - 0.4).abs() < 0.005, "{share}: {a} {b}");
        };
        near(0.01, (0.0, 0.0145));
        near(0.1, (0.152, 0.449));
        near(0.5, (1.0, 1.0));
    }

    #[test]
    fn onsets_are_held_to_the_limit() {
        let inputs = sample::inputs();
        for (s, code, verdict) in [
            (20.0, "smoke.within-limit", Verdict::Pass),
            (60.0, "smoke.near-limit", Verdict::Undecided),
            (80.0, "smoke.too-late", Verdict::Fail),
        ] {
            let mut series = Series::new();
            for t in times(s) {
                series.open().unwrap();
                series.result(t).unwrap();
            }
            let f = within_limit(&inputs, &place(None), &series);
            assert_eq!(told(&f), (code, verdict));
            assert!(f.measured.is_some() && f.limit.is_some() && f.decision.is_some());
        }
        assert_eq!(
            told(&within_limit(&inputs, &place(None), &Series::new())),
            ("smoke.time-not-judged", Verdict::Undecided)
        );
    }

    #[test]
    fn earlier_than_predicted_is_as_wrong_as_later() {
        let inputs = sample::inputs();
        let of = |halves: &[Estimate]| as_predicted(&inputs, &place(Some(20.0)), halves);
        assert_eq!(told(&of(&times(20.0))), ("smoke.as-predicted", Verdict::Pass));
        assert_eq!(told(&of(&times(24.0))), ("smoke.near-agreement-limit", Verdict::Undecided));
        assert_eq!(told(&of(&times(10.0))), ("smoke.earlier-than-predicted", Verdict::Fail));
        assert_eq!(told(&of(&times(30.0))), ("smoke.later-than-predicted", Verdict::Fail));
        assert_eq!(told(&of(&times(20.0)[..2])), ("smoke.no-plateau", Verdict::Undecided));
        assert_eq!(told(&of(&times(f64::NAN))), ("smoke.not-compared", Verdict::Undecided));
        let f = as_predicted(&inputs, &place(None), &times(20.0));
        assert_eq!(told(&f), ("smoke.not-predicted", Verdict::Undecided));
    }

    #[test]
    fn a_time_that_alone_shows_the_level_is_held_to_the_units_own_band() {
        let inputs = sample::inputs();
        let at = |s: f64, shows_level| {
            let place = Place { shows_level, ..place(Some(8.0)) };
            as_predicted(&inputs, &place, &times(s)).verdict
        };
        assert_eq!((at(8.0, false), at(8.0, true)), (Verdict::Pass, Verdict::Pass));
        // Within the least time that is allowed, but a quarter more than predicted.
        let mut loose = sample::inputs();
        loose.plan.limits.transport_agreement_least.value = 5.0;
        let of = |shows_level| {
            let place = Place { shows_level, ..place(Some(8.0)) };
            as_predicted(&loose, &place, &times(10.0))
        };
        assert_eq!(of(false).verdict, Verdict::Pass);
        assert_ne!(of(true).verdict, Verdict::Pass);
        assert!((of(true).limit.unwrap().value - 0.2).abs() < 1e-9);
    }

    #[test]
    fn a_place_without_times_is_open_with_its_reason() {
        let mut place = place(None);
        assert_eq!(told(&place.not_timed(Some("nothing rose"))), ("smoke.not-timed", Verdict::Undecided));
        assert_eq!(told(&place.not_timed(None)), ("smoke.not-timed", Verdict::Undecided));
        place.set_aside.push("a gust".into());
        assert_eq!(told(&place.not_timed(None)), ("smoke.too-many-set-aside", Verdict::Undecided));
        assert_eq!(told(&place.crossed(2)), ("smoke.pipes-crossed", Verdict::Fail));
        assert!(fact::set_aside(&place.set_aside).contains("a gust"));
    }
}
