//! Smoke released at the far end of each pipe, timed to a tenth of the plateau at the sensor.
//!
//! Not here: what the times show ([`crate::judge::smoke`]).
use super::{
    alarms, by_logger, by_watch, dilution,
    release::{Ran, release},
};
use crate::{
    again::Part,
    context::{Context, Stop},
    facts::{
        logger,
        smoke::{self as fact, WhyNot},
    },
    job::{JobInputs, hole_words},
    judge::{
        logger::Span,
        smoke::{self as judge, Marked, Place, SmokeSeen},
    },
    mean_flow::coverage_factor,
    outcome::{Figure, Finding, SmokeRun, StageKind, Subject},
    plan::HoleRef,
};
use alloc::{boxed::Box, collections::VecDeque, format, string::String, vec::Vec};
use plumeline_base::{Instant, quantity::Estimate};
use plumeline_detector::{ask::Look, vocabulary::FlowBasis};
use plumeline_measure::pool::{Run, Series};

/// Smoke at every place of the plan.
pub(crate) async fn prove_smoke(ctx: Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    if ctx.get().stream.hz.is_none() {
        ctx.start_readings().await?;
    }
    let part = ctx.edit().running.part.take();
    // The smoke at other pipes stands where it was shown.
    let stands = |inlet: u8| {
        let of_pipe = |f: &Finding| f.stage == StageKind::ProveSmoke && f.subject == Subject::Pipe(inlet);
        let shown = |f: &Finding| of_pipe(f) && f.stands() && f.void.is_none();
        part.as_ref().is_some_and(|part| *part != Part::Smoke(inlet)) && ctx.get().outcome.findings.iter().any(shown)
    };
    for pipe in inputs.pipes() {
        if !inputs.plan.smoke.at.iter().any(|h| h.inlet == pipe.inlet) {
            ctx.found(judge::of_pipe(pipe.inlet, fact::not_planned()));
        }
    }
    let open: Vec<HoleRef> = inputs.releases().into_iter().filter(|hole| !stands(hole.inlet)).collect();
    let begun = match by_logger::serves(&ctx).filter(|_| !open.is_empty()) {
        Some(logger) => Some(by_logger::begin(&ctx, logger).await),
        None => None,
    };
    let mut stored: Vec<Made> = Vec::new();
    // What can't be reached now comes at the end of the walk, and is then done or refused.
    let mut walk: VecDeque<(HoleRef, bool)> = open.into_iter().map(|hole| (hole, false)).collect();
    while let Some((hole, put_off)) = walk.pop_front() {
        ctx.edit().prompts.may_wait = !put_off && walk.iter().any(|(_, put_off)| !put_off);
        match at_hole(&ctx, &inputs, hole).await {
            Walk::Done => {}
            Walk::Later => walk.push_back((hole, true)),
            // The file of a logger tells of all places together.
            Walk::Made(made) if begun.is_some() => stored.push(*made),
            Walk::Made(made) => made.tell(&ctx, &inputs),
        }
    }
    if let Some(begun) = begun {
        by_logger::finish(&ctx, begun, &mut stored).await;
        stored.into_iter().for_each(|made| made.tell(&ctx, &inputs));
    }
    let late = judge::all_late(&inputs, &ctx.get().outcome.findings);
    late.into_iter().for_each(|f| ctx.found(f));
    dilution::conclude(&ctx);
    alarms::conclude(&ctx);
    Ok(())
}

/// Whether a place on the walk is done with.
enum Walk {
    Done,
    Later,
    /// Its releases are made, and not judged yet.
    Made(Box<Made>),
}

/// What came of the releases at a place.
pub(super) struct Made {
    pub(super) place: Place,
    pub(super) runs: Runs,
    ended: Ended,
    /// How long after a release smoke was waited for at most, s.
    pub(super) latest_s: f64,
    /// The logger off whose file the times were read.
    pub(super) by: Option<String>,
    /// A run of which the file shows what can't be so beside what was marked, and how.
    pub(super) contradicts: Option<(u8, String)>,
}
impl Made {
    /// What a logger's file must hold: the runs in their order.
    pub(super) fn spans(&self) -> Vec<Span> {
        let span = |kept: &Kept| Span {
            words: format!("run {} at {}", kept.run, self.place.words),
            from: kept.seen.calm.unwrap_or(kept.seen.released),
            until: kept.seen.until,
        };
        self.runs.kept.iter().map(span).collect()
    }
    /// How the runs ended by a file. A release that was not made, or too many that were set aside, no file mends.
    pub(super) fn ended_by_file(&mut self, wanted: usize, why_not: Option<WhyNot>) {
        if self.runs.kept.len() == wanted {
            self.ended = self.runs.ended(wanted, why_not);
        }
    }
    fn tell(self, ctx: &Context, inputs: &JobInputs) {
        let Self { place, runs, ended, by, contradicts, .. } = self;
        if let Some((run, how)) = contradicts {
            return ctx.found(place.found(logger::contradicts(&place.words, run, how)));
        }
        match ended {
            Ended::Later => {}
            Ended::Crossed(inlet) => ctx.found(place.crossed(inlet)),
            // A run without a time is missing evidence: it can't be left out of the mean.
            Ended::Short(why) => ctx.found(place.not_timed(why.as_ref())),
            Ended::Complete => {
                let told = [
                    judge::within_limit(inputs, &place, &runs.onsets),
                    judge::as_predicted(inputs, &place, &runs.compared, &runs.marked),
                ];
                let by_eye = ctx.is_asked(Look::Smoke);
                for mut f in told {
                    match (&by, f.measured.as_mut()) {
                        (Some(logger), Some(figure)) => figure.by = Some(logger.clone()),
                        _ if by_eye => f = by_watch::read_off(ctx, f),
                        _ => {}
                    }
                    ctx.found(f);
                }
            }
        }
    }
}

async fn at_hole(ctx: &Context, inputs: &JobInputs, hole: HoleRef) -> Walk {
    let Some((opening, geometry)) = inputs.opening(hole) else {
        let subject = Subject::Hole(hole.inlet, hole.number);
        ctx.found(Finding::of(StageKind::ProveSmoke, subject, fact::no_hole(hole.number, hole.inlet)));
        return Walk::Done;
    };
    let predicted = inputs.predicted(opening).map(|p| p.half_plateau_s).filter(Estimate::is_sound);
    let words = hole_words(hole, geometry.kind);
    let shows_level = ctx.abilities().is_some_and(|a| a.flow_basis == FlowBasis::Share);
    let alike = ctx.get().record.alike;
    let mut place = Place {
        hole,
        words,
        predicted,
        window: None,
        set_aside: Vec::new(),
        shows_level,
        mark_u_s: inputs.plan.smoke.mark_u_s,
        alike,
    };
    let mut runs = Runs::default();
    let ended = all_runs(ctx, inputs, &mut place, &mut runs).await;
    // A unit whose levels and readings contradict each other is told before what those readings say of the pipe.
    alarms::wrong_so_far(ctx);
    let latest_s = latest_s(inputs, &place);
    match ended {
        Ended::Later => Walk::Later,
        ended => Walk::Made(Box::new(Made { place, runs, ended, latest_s, by: None, contradicts: None })),
    }
}

/// Long enough for the limit and the prediction, whichever is later, and for the plateau.
fn latest_s(inputs: &JobInputs, place: &Place) -> f64 {
    let rules = &inputs.plan.advanced.smoke;
    inputs.plan.limits.transport.value.max(place.predicted.map_or(0.0, |p| rules.waits_times * p.value))
        + inputs.plan.smoke.release_s
        + rules.waits_more_s
}

/// What the runs at one place came to. The order is kept: a run is set aside before its result is known, or it counts.
#[derive(Default)]
pub(super) struct Runs {
    pub(super) onsets: Series,
    /// What is held against the prediction.
    pub(super) compared: Vec<Estimate>,
    /// What a person marked on the rise.
    pub(super) marked: Vec<Marked>,
    /// The runs that count, in their order.
    pub(super) kept: Vec<Kept>,
}
/// A run that counts.
pub(super) struct Kept {
    /// Its number at this place.
    pub(super) run: u8,
    /// Where the record has it.
    pub(super) record: usize,
    pub(super) seen: Box<SmokeSeen>,
}

impl Runs {
    /// The last mark, with the thinnest plateau so far.
    fn before(&self) -> Option<Marked> {
        let thinnest = self.marked.iter().map(|m| m.plateau).reduce(|a, b| if b.0 < a.0 { b } else { a })?;
        self.marked.last().map(|m| m.over(thinnest))
    }
    /// How they ended, where so many are wanted.
    fn ended(&self, wanted: usize, why_not: Option<WhyNot>) -> Ended {
        let timed = self.onsets.runs().iter().filter(|r| matches!(r, Run::Result(_))).count();
        if timed == wanted && timed > 0 { Ended::Complete } else { Ended::Short(why_not) }
    }
}

/// How the runs at one place ended.
enum Ended {
    /// Each has a time.
    Complete,
    /// Not now: at the end of the walk.
    Later,
    /// Times are missing, for this reason if there is one.
    Short(Option<WhyNot>),
    /// The smoke showed at the sensor of this inlet.
    Crossed(u8),
}

async fn all_runs(ctx: &Context, inputs: &JobInputs, place: &mut Place, runs: &mut Runs) -> Ended {
    let (plan, rules) = (&inputs.plan.smoke, &inputs.plan.advanced.smoke);
    let hole = place.hole;
    let latest = latest_s(inputs, place);
    let mut why_not: Option<WhyNot> = None;
    let (mut run, mut counted) = (0u8, 0u8);
    while counted < plan.runs && place.set_aside.len() <= usize::from(rules.most_set_aside) {
        run = run.saturating_add(1);
        let kept = runs.onsets.open();
        let what = format!("run {} of {}", counted + 1, plan.runs);
        match release(ctx, inputs, hole, &place.words, &what, latest, runs.before()).await {
            Ran::Later => return Ended::Later,
            Ran::NotReleased(why) => {
                let _ = runs.onsets.no_result();
                return Ended::Short(Some(WhyNot::came_badly(why)));
            }
            Ran::SetAside { because, released, until } => {
                if kept.and_then(|()| runs.onsets.set_aside(&because)).is_err() {
                    return Ended::Short(Some(WhyNot::came_badly("a run was set aside without a reason")));
                }
                ctx.remark(format!("run {run} at {} is set aside: {because}", place.words));
                let record = SmokeRun { set_aside: Some(because.clone()), ..record(hole, run, released, until) };
                ctx.edit().outcome.smoke.push(record);
                place.set_aside.push(because);
            }
            Ran::Seen(seen) => {
                counted += 1;
                // Whoever stands there now finishes what was begun there.
                ctx.edit().prompts.may_wait = false;
                place.mark_u_s = place.mark_u_s.max(libm::hypot(plan.mark_u_s, seen.tie_u_s));
                place.window = Some((place.window.map_or(seen.released, |w| w.0), seen.until));
                runs.compared.extend(seen.compared);
                runs.marked.extend(seen.marked);
                let _ = match seen.onset {
                    Some(t) => runs.onsets.result(t),
                    None => runs.onsets.no_result(),
                };
                let record = {
                    let mut s = ctx.edit();
                    s.outcome.smoke.push(timed(inputs, hole, run, &seen));
                    s.outcome.smoke.len() - 1
                };
                if seen.onset.is_none() {
                    why_not = seen.why_not.clone();
                    if let Some(inlet) = seen.elsewhere {
                        return Ended::Crossed(inlet);
                    }
                }
                runs.kept.push(Kept { run, record, seen });
            }
        }
    }
    runs.ended(usize::from(plan.runs), why_not)
}

/// A run as the record keeps it.
fn timed(inputs: &JobInputs, hole: HoleRef, run: u8, seen: &SmokeSeen) -> SmokeRun {
    let k = coverage_factor(inputs);
    let figure = |e: Estimate| Figure::with(e.value, e.u() * k, "s");
    SmokeRun {
        onset: seen.onset.map(figure),
        half_plateau: seen.compared.map(figure),
        alarm_after_s: seen.alarm_after_s,
        why_not: seen.why_not.as_ref().map(|why| why.words.clone()),
        ..record(hole, run, seen.released, seen.until)
    }
}

/// A run that has shown nothing yet.
fn record(hole: HoleRef, run: u8, released: Instant, until: Instant) -> SmokeRun {
    SmokeRun {
        inlet: hole.inlet,
        hole: hole.number,
        run,
        released,
        onset: None,
        half_plateau: None,
        alarm_after_s: None,
        until,
        why_not: None,
        by: None,
        by_hand: None,
        curve: Vec::new(),
        set_aside: None,
    }
}
