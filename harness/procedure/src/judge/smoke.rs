//! Timed releases of smoke: the transport time against the limit by the onset; the agreement with the prediction by half of
//! each run's plateau, because the onset depends on how strong the smoke was. All runs count.
use super::{decide, flow::one_cause, pipes_compared::unit_limit};
use crate::{
    facts::{
        Fact, fixed, give_or_take, signed,
        smoke::{self as fact, WhyNot},
    },
    job::JobInputs,
    mean_flow::coverage_factor,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::{HoleRef, Limit},
    rules::advanced::TypedRules,
};
use alloc::{format, string::String, vec::Vec};
use libm::hypot;
use plumeline_airflow::uncertainty::{OpeningPrediction, Rise};
use plumeline_base::{Instant, Verdict, obscuration::Extinction, quantity::Estimate};
use plumeline_measure::{
    decide::{Because, Limits},
    joint::Given,
    mean::welch_satterthwaite,
    pool::{Pooled, Series, pool},
    rise::{self, Mark},
    smoke::Outcome,
};

/// What the unit read after a release.
pub(crate) struct SmokeSeen {
    /// From the mark to a tenth of the plateau, s.
    pub(crate) onset: Option<Estimate>,
    /// From the mark to half of the plateau, or, by what a person saw, to when that is most likely, s.
    pub(crate) compared: Option<Estimate>,
    /// What a person marked on the rise.
    pub(crate) marked: Option<Marked>,
    /// Why there is no time.
    pub(crate) why_not: Option<WhyNot>,
    pub(crate) released: Instant,
    pub(crate) until: Instant,
    /// From the mark to the first alarm level, delays included, s.
    pub(crate) alarm_after_s: Option<f64>,
    /// Another inlet's sensor at which it rose, on a unit that has one for each.
    pub(crate) elsewhere: Option<u8>,
    /// Standard uncertainty of the tie of the clock by which it was marked, s; 0 by the log's own.
    pub(crate) tie_u_s: f64,
    /// Since when the air was seen to be clear before it, where a person looked.
    pub(crate) calm: Option<Instant>,
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
    /// By a person who saw it at the unit's display or lamps; `Err`: why not.
    pub(crate) fn by_eye(seen: Result<Seen, String>, watched: Watched) -> Self {
        match seen {
            Ok(Seen { onset, half, marked }) => Self { marked, ..Self::new(Some(onset), half, None, watched) },
            Err(why) => Self::new(None, None, Some(WhyNot::came_badly(why)), watched),
        }
    }
    /// By readings that tell nothing, and why.
    pub(crate) fn unread(why: &str, watched: Watched) -> Self {
        Self::new(None, None, Some(WhyNot::unreadable(why)), watched)
    }
    fn new(onset: Option<Estimate>, compared: Option<Estimate>, why_not: Option<WhyNot>, watched: Watched) -> Self {
        let Watched { released, until, alarm_after_s, elsewhere } = watched;
        let why_not = why_not.map(|why| why.beside_alarm(alarm_after_s.filter(|_| onset.is_none())));
        Self {
            onset,
            compared,
            marked: None,
            why_not,
            released,
            until,
            alarm_after_s,
            elsewhere,
            tie_u_s: 0.0,
            calm: None,
        }
    }
}

/// What a person saw of a release.
pub(crate) struct Seen {
    /// When a tenth of the plateau showed, s; or, where the display does not tell, what was seen.
    pub(crate) onset: Estimate,
    /// When half of it showed, as far as that is known.
    pub(crate) half: Option<Estimate>,
    pub(crate) marked: Option<Marked>,
}
/// A moment that a person marked on a rise whose plateau was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Marked {
    /// On the predicted rise.
    mark: Mark,
    /// What it has in common with the others (a watch, a call by radio), standard uncertainty, s.
    common_s: f64,
    /// The plateau, above clear air.
    pub(crate) plateau: Extinction,
}
impl Seen {
    /// By a moment so long after the release at which this share of the plateau showed, on a rise that was predicted so. What is not
    /// known of the share, for smoke is held unevenly, moves the mark along the rise.
    pub(crate) fn on(
        rise: &Rise,
        after: Estimate,
        share: f64,
        plateau: Extinction,
        rules: &TypedRules,
    ) -> Option<Self> {
        let (first_s, second_s) = rise.reached_s(share)?;
        let off = |by: f64| rise.reached_s(share * (1.0 + by)).map(|t| t.0);
        let along = 0.5 * (off(rules.plateau)? - off(-rules.plateau)?);
        let mark = Mark { at_s: after.value, u_s: hypot(after.u_individual, along), first_s, second_s };
        let at = |share: f64| {
            let (first, second) = rise.reached_s(share)?;
            let (here, there) = (mark.at_s * first / mark.first_s, mark.at_s * second / mark.second_s);
            let part = first / mark.first_s;
            let common = hypot(libm::fabs(here - there) * FORM_U, after.u_common * part);
            Some(Estimate::new(here, common, mark.u_s * part))
        };
        Some(Self {
            onset: at(ONSET)?,
            half: at(0.5),
            marked: Some(Marked { mark, common_s: after.u_common, plateau }),
        })
    }
    /// Where the display tells no share of a plateau: somewhere between its first arrival and a half more than the way from there to
    /// half of the plateau.
    pub(crate) fn somewhere(seen: Estimate, predicted: &OpeningPrediction) -> Self {
        let rises = (predicted.half_plateau_s.value - predicted.first_s.value).max(0.0);
        let half = Estimate::new(seen.value + 0.25 * rises, 1.5 * rises / libm::sqrt(12.0), seen.u_individual);
        Self { onset: seen, half: Some(half), marked: None }
    }
}
impl Marked {
    /// The same over another plateau.
    pub(crate) const fn over(self, plateau: Extinction) -> Self {
        Self { plateau, ..self }
    }
    /// What the curve of a run tells of a rise that was predicted so: when half of its plateau showed, and how long it took there from a
    /// tenth. The second hangs on no release and no tie, and tells the form of the rise. `u`: what the signal leaves open of a tenth and of
    /// half, and the release of the run by itself, s. `share`: what is not known of the plateau, for smoke is held unevenly.
    pub(crate) fn on_curve(
        rise: &Rise,
        (tenth_s, half_s): (f64, f64),
        (tenth_u, half_u, release_u): (f64, f64, f64),
        share: f64,
        plateau: Extinction,
    ) -> Option<[Self; 2]> {
        let (tenth, half) = (rise.reached_s(ONSET)?, rise.reached_s(HALF)?);
        let off = |at: f64, by: f64| rise.reached_s(at * (1.0 + by)).map(|t| t.0);
        let along = |at: f64| Some(0.5 * (off(at, share)? - off(at, -share)?));
        let (along_tenth, along_half) = (along(ONSET)?, along(HALF)?);
        let of =
            |at_s, u_s, first_s, second_s| Self { mark: Mark { at_s, u_s, first_s, second_s }, common_s: 0.0, plateau };
        let took_u = hypot(hypot(tenth_u, half_u), along_half - along_tenth);
        Some([
            of(half_s, hypot(hypot(half_u, release_u), along_half), half.0, half.1),
            of(half_s - tenth_s, took_u, half.0 - tenth.0, half.1 - tenth.1),
        ])
    }
    /// How long after its release, s.
    pub(crate) const fn took_s(&self) -> f64 {
        self.mark.at_s
    }
}
/// The share of the plateau at which smoke counts as arrived, as in a stream of readings.
const ONSET: f64 = 0.1;
/// The share at which times are held against the prediction.
const HALF: f64 = 0.5;
/// A rise is as predicted by mixing at each hole, or as far from that as without any, the less likely the farther: a triangle with its
/// mode there (JCGM 100 clause 4.3.9; about the mode 1/6 of the square), as the predicted times have it.
const FORM_U: f64 = 0.408_248_290_463_863;

/// How much longer than predicted all marks together say that the smoke takes to half of the plateau, s; and the prediction, of which
/// the form is held by the marks.
fn by_marks(mark_u_s: f64, predicted: &OpeningPrediction, marked: &[Marked]) -> Option<(Estimate, Estimate)> {
    let marks: Vec<Mark> = marked.iter().map(|m| m.mark).collect();
    let fitted = rise::fit(&marks, FORM_U).ok()?;
    let (half, mean) = (predicted.half_plateau_s.value, predicted.mean_s);
    let by_flow = |u: f64| u * half / mean.value;
    // What all marks have in common counts most where a mark comes early.
    let common = marked.iter().map(|m| m.common_s / m.mark.first_s).fold(0.0, f64::max) * half;
    let measured = Estimate::new(fitted.scale * half, hypot(mark_u_s, common), fitted.u * half);
    Some((measured, Estimate::new(half, by_flow(mean.u_common), by_flow(mean.u_individual))))
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
    /// The unit tells its flows as shares: how much they are, nothing but this time shows.
    pub(crate) shows_level: bool,
    /// Standard uncertainty of its marks, s: of the hand, and of the tie where another clock took them.
    pub(crate) mark_u_s: f64,
    /// What shifts the flows of all pipes alike, as a share, where that was seen.
    pub(crate) alike: Option<Given>,
}
impl Place {
    pub(crate) fn found(&self, fact: Fact) -> Finding {
        let mut f = of_pipe(self.hole.inlet, fact);
        f.window = self.window;
        f
    }
    /// Late smoke that flows may explain which are low alike for all pipes, as far as both intervals go: by how much they are, %. Times go
    /// with one over the flow.
    fn late_as_flows(&self, inputs: &JobInputs, late: &Estimate) -> Option<String> {
        let low = self.alike.filter(|alike| alike.value < -alike.u)?;
        let k = coverage_factor(inputs);
        let least = (1.0 + low.value - k * low.u).max(0.0);
        let explained =
            late.value > 0.0 && least * (late.value - k * late.u()) <= (1.0 - least) * self.predicted?.value;
        explained.then(|| give_or_take(100.0 * low.value, 100.0 * k * low.u, 1))
    }
    /// Smoke showed at another inlet's sensor.
    pub(crate) fn crossed(&self, inlet: u8) -> Finding {
        self.found(fact::crossed(&self.words, inlet, self.hole.inlet))
    }
    /// A run without a time is missing evidence: it can't be left out of the mean.
    pub(crate) fn not_timed(&self, why: Option<&WhyNot>) -> Finding {
        self.found(match why {
            Some(why) if why.unreadable => fact::not_read(&self.words, &why.words),
            Some(why) => fact::not_timed(&self.words, &why.words),
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
    pooled.estimate.u_common = hypot(pooled.estimate.u_common, place.mark_u_s);
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

/// Half-plateau times against the prediction. Earlier is as suspicious as later. What a person marked in every run, or what was read off
/// the curve of each at the same shares, counts as it lies on the predicted rise.
pub(crate) fn as_predicted(inputs: &JobInputs, place: &Place, halves: &[Estimate], marks: &[Marked]) -> Finding {
    let limits = &inputs.plan.limits;
    let words = &place.words;
    let mut f = place.found(fact::not_predicted(words));
    f.limit = Some(limits.transport_agreement.clone());
    let Some(predicted) = place.predicted else { return f };
    let runs = usize::from(inputs.plan.smoke.runs);
    // One mark of each run by hand, two off the curve of each.
    let each_run = runs > 0 && (marks.len() == runs || marks.len() == 2 * runs);
    let on_rise = each_run.then(|| inputs.opening(place.hole)).flatten();
    let on_rise = on_rise.and_then(|(opening, _)| by_marks(place.mark_u_s, inputs.predicted(opening)?, marks));
    let predicted = on_rise.map_or(predicted, |(_, predicted)| predicted);
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
    if halves.len() != runs {
        f.state(fact::no_plateau(words));
        return f;
    }
    let pooled = match on_rise {
        Some((estimate, _)) => Ok(Pooled { estimate, dof: f64::INFINITY, runs, sd_between: 0.0 }),
        None => pool(halves, Some(place.mark_u_s)).map(|pooled| marked(place, pooled)),
    };
    let Pooled { estimate, dof, .. } = match pooled {
        Ok(pooled) => pooled,
        Err(error) => {
            f.state(fact::not_compared(words, error, error.remedy()));
            return f;
        }
    };
    f.measured = Some(Figure::with(estimate.value, estimate.u() * coverage_factor(inputs), "s"));
    let dof = welch_satterthwaite(hypot(estimate.u(), predicted.u()), &[(estimate.u_individual, dof)]);
    let difference = Estimate::new(
        estimate.value - predicted.value,
        hypot(estimate.u_common, predicted.u_common),
        hypot(estimate.u_individual, predicted.u_individual),
    );
    match decide(inputs, &difference, dof, &Limits::between(-allowed, allowed), None, 1.0) {
        Err(error) => f.state(fact::not_compared(words, error, error.remedy())),
        Ok(ruling) => {
            let by = difference.value;
            let fact = match (ruling.because, place.late_as_flows(inputs, &difference)) {
                (Because::InGuardBand, Some(alike)) => fact::late_as_flows(words, signed(by, 1), alike),
                (because, _) => match because {
                    Because::Within => fact::as_predicted(words, signed(by, 1)),
                    Because::Outside if by < 0.0 => fact::earlier(words, fixed(-by, 1)),
                    Because::Outside => fact::later(words, fixed(by, 1)),
                    Because::InGuardBand | Because::ProveByHoles => fact::near_agreement(words, signed(by, 1)),
                },
            };
            ruling.state(&mut f, fact);
        }
    }
    f
}

/// Smoke that comes late at every pipe of several, and by much the same share of its time, tells of the unit and not of a pipe; told where
/// one is off for it. A pipe of which no time is known leaves that open.
pub(crate) fn all_late(inputs: &JobInputs, findings: &[Finding]) -> Option<Finding> {
    let of_pipe = |f: &&Finding, inlet: u8| {
        f.stage == StageKind::ProveSmoke && f.subject == Subject::Pipe(inlet) && f.stands() && f.expected.is_some()
    };
    let late = |f: &Finding| Some(f.measured.as_ref()?.value / f.expected.as_ref()?.value - 1.0);
    let pipes = inputs.pipes();
    // Of several places along a pipe the last stands for it.
    let told: Option<Vec<&Finding>> =
        pipes.iter().map(|pipe| findings.iter().rev().find(|f| of_pipe(f, pipe.inlet))).collect();
    let told = told?;
    let off: Vec<f64> = told.iter().map(|f| late(f)).collect::<Option<_>>()?;
    let open = told.iter().any(|f| f.verdict != Verdict::Pass);
    let least = off.iter().copied().fold(f64::INFINITY, f64::min);
    (open && least > 0.0 && one_cause(&off))
        .then(|| Finding::of(StageKind::ProveSmoke, Subject::Replacement, fact::all_late(fixed(100.0 * least, 0))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;
    use alloc::borrow::ToOwned;
    use plumeline_measure::smoke::Unclear;

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
            alike: None,
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
        let of = |halves: &[Estimate]| as_predicted(&inputs, &place(Some(20.0)), halves, &[]);
        assert_eq!(told(&of(&times(20.0))), ("smoke.as-predicted", Verdict::Pass));
        assert_eq!(told(&of(&times(24.0))), ("smoke.near-agreement-limit", Verdict::Undecided));
        assert_eq!(told(&of(&times(10.0))), ("smoke.earlier-than-predicted", Verdict::Fail));
        assert_eq!(told(&of(&times(30.0))), ("smoke.later-than-predicted", Verdict::Fail));
        assert_eq!(told(&of(&times(20.0)[..2])), ("smoke.no-plateau", Verdict::Undecided));
        assert_eq!(told(&of(&times(f64::NAN))), ("smoke.not-compared", Verdict::Undecided));
        let f = as_predicted(&inputs, &place(None), &times(20.0), &[]);
        assert_eq!(told(&f), ("smoke.not-predicted", Verdict::Undecided));
    }

    /// Marks of a rise that takes so many times longer than predicted, each at its share of the plateau.
    fn marks(shares: [f64; 3], longer: f64) -> (Vec<Estimate>, Vec<Marked>) {
        let inputs = sample::inputs();
        let rise = &inputs.prediction.openings[2].rise;
        let (plateau, rules) = (Extinction(0.04), &inputs.plan.advanced.typed);
        let seen = shares.map(|share| {
            let at = rise.reached_s(share).unwrap().0 * longer;
            Seen::on(rise, Estimate::new(at, 0.0, 0.3), share, plateau, rules).unwrap()
        });
        (seen.iter().filter_map(|s| s.half).collect(), seen.iter().filter_map(|s| s.marked).collect())
    }

    #[test]
    fn marks_on_the_rise_tell_the_time_whatever_their_share() {
        let inputs = sample::inputs();
        let of = |shares, longer: f64| {
            let (halves, marks) = marks(shares, longer);
            as_predicted(&inputs, &place(Some(20.0)), &halves, &marks)
        };
        for shares in [[0.02, 0.75, 0.75], [0.02, 0.4, 0.8], [0.75; 3]] {
            let f = of(shares, 1.0);
            assert_eq!(told(&f), ("smoke.as-predicted", Verdict::Pass), "{shares:?}");
            assert!((f.measured.unwrap().value - 20.0).abs() < 0.02, "{shares:?}");
            assert_eq!(told(&of(shares, 1.5)), ("smoke.later-than-predicted", Verdict::Fail), "{shares:?}");
            assert_eq!(told(&of(shares, 0.6)), ("smoke.earlier-than-predicted", Verdict::Fail), "{shares:?}");
        }
        // Lower down, what is not known of the form counts; well up the rise little of it.
        let wide = |f: Finding| f.measured.unwrap().expanded.unwrap();
        assert!(wide(of([0.02; 3], 1.0)) > 1.5 * wide(of([0.02, 0.75, 0.75], 1.0)));
        // A run without a time is no mark too few: the time is open.
        let (halves, marks) = marks([0.02, 0.75, 0.75], 1.0);
        assert_eq!(told(&as_predicted(&inputs, &place(Some(20.0)), &halves[..2], &marks[..2])).1, Verdict::Undecided);
    }

    #[test]
    fn a_curve_tells_time_and_form_whatever_the_form() {
        let inputs = sample::inputs();
        let rise = &inputs.prediction.openings[2].rise;
        // Three curves that take so many times longer than predicted, and come so much later.
        let of = |longer: f64, later: f64| {
            let at = |share| rise.reached_s(share).unwrap().0 * longer + later;
            let one = || Marked::on_curve(rise, (at(0.1), at(0.5)), (0.1, 0.1, 0.3), 0.05, Extinction(0.04)).unwrap();
            let marks: Vec<Marked> = (0..3).flat_map(|_| one()).collect();
            as_predicted(&inputs, &place(Some(20.0)), &times(at(0.5)), &marks)
        };
        let f = of(1.0, 0.0);
        assert_eq!(told(&f), ("smoke.as-predicted", Verdict::Pass));
        assert!((f.measured.unwrap().value - 20.0).abs() < 0.02);
        assert_eq!(told(&of(1.5, 0.0)), ("smoke.later-than-predicted", Verdict::Fail));
        assert_eq!(told(&of(0.6, 0.0)), ("smoke.earlier-than-predicted", Verdict::Fail));
        assert_eq!(told(&of(1.0, 10.0)), ("smoke.later-than-predicted", Verdict::Fail), "all of it later");
    }

    #[test]
    fn a_mark_tells_a_tenth_and_a_half_by_the_predicted_rise() {
        let inputs = sample::inputs();
        let rise = &inputs.prediction.openings[2].rise;
        let rules = &inputs.plan.advanced.typed;
        let at = |share, after| Seen::on(rise, Estimate::new(after, 0.0, 0.3), share, Extinction(0.04), rules).unwrap();
        // The sample rises from 15 s along a straight line of 10 s: a tenth at 16 s, half at 20 s.
        let seen = at(0.75, 22.5);
        assert!((seen.onset.value - 16.0).abs() < 1e-9 && (seen.half.unwrap().value - 20.0).abs() < 1e-9);
        assert!(seen.onset.u_common > 0.0, "the form of the rise is not known");
        // Where the mark lies at the very part that is asked for, no form comes in.
        assert!(at(0.5, 20.0).half.unwrap().u_common < 1e-9);
        // A display that tells no share leaves the time wide open.
        let seen = Seen::somewhere(Estimate::new(18.0, 0.0, 1.0), &inputs.prediction.openings[2]);
        assert!(seen.half.unwrap().u_common > 2.0 && seen.marked.is_none());
    }

    #[test]
    fn late_smoke_beside_flows_that_are_low_alike_speaks_of_the_unit() {
        let inputs = sample::inputs();
        let told_at = |low: f64, s: f64| {
            let alike = Some(Given { value: -low, u: 0.03 });
            let place = Place { alike, ..place(Some(20.0)) };
            as_predicted(&inputs, &place, &times(s), &[]).code.as_str().to_owned()
        };
        // 15 % less flow, 18 % more time.
        assert_eq!(told_at(0.15, 24.0), "smoke.late-as-flows");
        assert_eq!(told_at(0.0, 24.0), "smoke.near-agreement-limit");
        assert_eq!(told_at(0.02, 24.0), "smoke.near-agreement-limit", "flows that are not seen to be low");
        assert_eq!(
            told_at(0.04, 24.0),
            "smoke.near-agreement-limit",
            "by less than the smoke is late, whatever is open"
        );
        assert_eq!(told_at(0.15, 16.0), "smoke.near-agreement-limit", "early");
        assert_eq!(told_at(0.15, 40.0), "smoke.later-than-predicted");
    }

    #[test]
    fn smoke_that_is_late_at_every_pipe_speaks_of_the_unit() {
        let inputs = sample::inputs();
        let at = |inlet: u8, s: f64| {
            let place = Place { hole: sample::hole(inlet, 3), ..place(Some(20.0)) };
            as_predicted(&inputs, &place, &times(s), &[])
        };
        let of = |all: &[Finding]| all_late(&inputs, all).map(|f| (f.code.as_str().to_owned(), f.verdict));
        let told = |s: [f64; 2]| of(&[at(1, s[0]), at(2, s[1])]);
        let late = Some(("smoke.all-late".to_owned(), Verdict::Undecided));
        assert_eq!((told([24.0, 23.5]), told([24.0, 22.0])), (late.clone(), late));
        assert_eq!(told([24.0, 21.0]), None, "one by itself");
        assert_eq!(told([24.0, 16.0]), None, "one early");
        assert_eq!(told([21.0, 20.8]), None, "nothing is off for it");
        assert_eq!(of(&[at(1, 24.0), at(1, 23.5)]), None, "two places of one pipe, nothing of the other");
        assert_eq!(of(&[]), None);
        // An alarm's figures are no times.
        let mut level = at(2, 30.0);
        level.subject = Subject::Replacement;
        assert_eq!(of(&[at(1, 24.0), level]), None);
    }

    #[test]
    fn a_time_that_alone_shows_the_level_is_held_to_the_units_own_band() {
        let inputs = sample::inputs();
        let at = |s: f64, shows_level| {
            let place = Place { shows_level, ..place(Some(8.0)) };
            as_predicted(&inputs, &place, &times(s), &[]).verdict
        };
        assert_eq!((at(8.0, false), at(8.0, true)), (Verdict::Pass, Verdict::Pass));
        // Within the least time that is allowed, but a quarter more than predicted.
        let mut loose = sample::inputs();
        loose.plan.limits.transport_agreement_least.value = 5.0;
        let of = |shows_level| {
            let place = Place { shows_level, ..place(Some(8.0)) };
            as_predicted(&loose, &place, &times(10.0), &[])
        };
        assert_eq!(of(false).verdict, Verdict::Pass);
        assert_ne!(of(true).verdict, Verdict::Pass);
        assert!((of(true).limit.unwrap().value - 0.2).abs() < 1e-9);
    }

    #[test]
    fn a_place_without_times_is_open_with_its_reason() {
        let mut place = place(None);
        assert_eq!(
            told(&place.not_timed(Some(&WhyNot::came_badly("nothing rose")))),
            ("smoke.not-timed", Verdict::Undecided)
        );
        let restless = Outcome::Undecided { because: Unclear::RestlessBaseline { drift_per_minute: 0.1 } };
        assert_eq!(told(&place.not_timed(fact::why_not(&restless).as_ref())).0, "smoke.not-readable");
        let alarmed = WhyNot::came_badly("nothing rose").beside_alarm(Some(60.0));
        assert_eq!(told(&place.not_timed(Some(&alarmed))).0, "smoke.not-readable", "an alarm says that smoke came");
        assert_eq!(told(&place.not_timed(None)), ("smoke.not-timed", Verdict::Undecided));
        place.set_aside.push("a gust".into());
        assert_eq!(told(&place.not_timed(None)), ("smoke.too-many-set-aside", Verdict::Undecided));
        assert_eq!(told(&place.crossed(2)), ("smoke.pipes-crossed", Verdict::Fail));
        assert!(fact::set_aside(&place.set_aside).contains("a gust"));
    }
}
