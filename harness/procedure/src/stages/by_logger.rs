//! Smoke off the file of a logger on the unit's smoke signal, where the unit itself tells nothing by a line: its clock is marked before
//! the first release and after the last, its file is asked for, and every release is timed on it as on a stream of readings.
//!
//! What a person marks is taken as ever: it counts where there is no file, and stands beside the file where there is one. Not here: what a
//! file must hold ([`crate::judge::logger`]), and how it is read (the job crate).
use super::{clear_air::lowest_level, release, smoke::Made};
use crate::{
    answers::said,
    context::Context,
    facts::{fixed, logger as fact, missed, signed},
    instrument::{Instrument, Stores},
    judge::{
        logger::{self as judge, Beside, By, Mark, Span, Tied},
        smoke::{Marked, Place, SmokeSeen, Watched},
    },
    mean_flow::coverage_factor,
    outcome::{Figure, Finding, StageKind, Statement, Subject},
    plan::ReleaseMark,
    prompt::Act,
};
use alloc::{format, string::String, vec::Vec};
use libm::hypot;
use plumeline_base::{Instant, input::Answer, obscuration::Extinction, quantity::Estimate, time::seconds};
use plumeline_detector::{ask::Look, driver::Wants};
use plumeline_measure::{
    pool::Series,
    smoke::{Outcome, Release, Rule},
};

/// The logger that times the smoke of this stage, where a person reads the unit.
pub(super) fn serves(ctx: &Context) -> Option<Instrument> {
    let asked = ctx.stage() == StageKind::ProveSmoke && ctx.is_asked(Look::Smoke);
    ctx.inputs().plan.logger().filter(|_| asked).cloned()
}

/// Waits until a logger has stored as much clear air as a release must follow.
pub(super) async fn calm(ctx: &Context, logger: &Instrument) {
    let rules = &ctx.inputs().plan.advanced.smoke.clone();
    let stored = f64::from(rules.least_before) * stores(logger).interval_s;
    let more = seconds(rules.before_s.max(stored) + rules.longest_gap_s);
    ctx.progress("waiting until the logger has stored clear air before the next release", None, Some(more));
    ctx.sleep(more).await;
}

fn stores(logger: &Instrument) -> Stores {
    logger.stores.clone().unwrap_or_default()
}

/// A logger whose clock was marked before the first release.
pub(super) struct Begun {
    logger: Instrument,
    marks: Result<Vec<Mark>, Unmarked>,
}
/// Why there is no mark of a clock.
enum Unmarked {
    /// A person goes without it, for this reason.
    Refused(String),
    /// What was typed can't be.
    Never(String),
}
impl From<Unmarked> for Read {
    fn from(why: Unmarked) -> Self {
        match why {
            Unmarked::Refused(why) => Self::Without(why),
            Unmarked::Never(why) => Self::Refused(why),
        }
    }
}

/// Marks the logger's clock: twice, so that a slip of the fingers shows while it can be mended.
pub(super) async fn begin(ctx: &Context, logger: Instrument) -> Begun {
    let rules = ctx.inputs().plan.advanced.logger.clone();
    let mut marks: Vec<Mark> = Vec::new();
    let mut why = String::new();
    for _ in 0..=rules.tries {
        let mark = match mark(ctx, &logger, &why).await {
            Ok(mark) => mark,
            Err(because) => return Begun { logger, marks: Err(because) },
        };
        match marks.last() {
            Some(before) if before.agrees(&mark, &rules) => {
                marks = [before.clone(), mark].into();
                return Begun { logger, marks: Ok(marks) };
            }
            Some(before) => {
                why = format!(
                    "`{}` does not follow from `{}`, which was marked {:.0} s before: mark it twice more. ",
                    mark.text,
                    before.text,
                    mark.at.since(before.at).as_secs_f64()
                );
            }
            None => why = "Once more, so that a slip shows. ".into(),
        }
        marks = [mark].into();
    }
    Begun {
        logger,
        marks: Err(Unmarked::Never("no two marks of its clock that were typed before the releases agree".into())),
    }
}

/// One mark. What is no time is asked for again. `Err`: why there is none.
async fn mark(ctx: &Context, logger: &Instrument, why: &str) -> Result<Mark, Unmarked> {
    let tries = ctx.inputs().plan.advanced.logger.tries;
    let mut why = String::from(why);
    for _ in 0..tries {
        let text = format!(
            "{why}Look at the clock of {}: type a time that it will show in a moment, as its file writes it (with the date, if its file has \
             dates), and press Enter at the very moment when it shows it.",
            logger.label()
        );
        let (at, answer) = ctx.ask(Act::LoggerTime, text, Wants::ClockTime).await;
        let typed = match answer {
            Answer::Text(typed) => typed,
            other => {
                let because = said(&[], other).err().unwrap_or_else(|| "its clock was not marked".into());
                return Err(Unmarked::Refused(because));
            }
        };
        match Mark::read(at, &typed, &stores(logger)) {
            Ok(mark) => return Ok(mark),
            Err(because) => why = format!("Not taken: {because}. "),
        }
    }
    Err(Unmarked::Never("what was typed each time is no time of a clock".into()))
}

/// What became of a logger's file.
enum Read {
    Tied(Tied, usize),
    /// A person goes without it, for this reason.
    Without(String),
    /// Nothing that was given can be used.
    Refused(String),
}

/// After the last release: marks the clock once more, asks for the file, and has every release timed on it. Where there is none, what was
/// marked by hand stands.
pub(super) async fn finish(ctx: &Context, begun: Begun, made: &mut [Made]) {
    let spans: Vec<Span> = made.iter().flat_map(Made::spans).collect();
    if spans.is_empty() {
        return;
    }
    let Begun { logger, marks } = begun;
    let read = match marks {
        Ok(marks) => file(ctx, &logger, marks, &spans).await,
        Err(why) => why.into(),
    };
    let found = |fact| ctx.found(Finding::of(StageKind::ProveSmoke, Subject::Instrument(logger.name.clone()), fact));
    match read {
        Read::Tied(tied, marks) => {
            ctx.used(&logger);
            let u = fixed(tied.u_s * coverage_factor(&ctx.inputs()), 1);
            found(fact::tied(logger.label(), marks, u, signed(tied.drift_ppm, 0)));
            made.iter_mut().for_each(|made| by_file(ctx, &logger, &tied, made));
        }
        Read::Refused(why) => found(fact::not_used(logger.label(), why)),
        Read::Without(why) => {
            ctx.remark(format!("{}: no file is read ({why}); what was marked by hand counts", logger.label()));
            let fact = missed::logger_not_read(logger.label(), why);
            let subject = Subject::Instrument(logger.name);
            ctx.edit().outcome.could_have_missed.push(Statement::of(subject, fact));
        }
    }
}

/// Marks the clock at the end, and asks for the file until one can be used.
async fn file(ctx: &Context, logger: &Instrument, mut marks: Vec<Mark>, spans: &[Span]) -> Read {
    let inputs = ctx.inputs();
    let rules = &inputs.plan.advanced.logger;
    let mut why = String::new();
    for tried in 1..=rules.tries {
        let last = match mark(ctx, logger, &why).await {
            Ok(mark) => mark,
            Err(because) => return because.into(),
        };
        if marks.last().is_some_and(|before| before.agrees(&last, rules)) {
            marks.push(last);
            break;
        }
        let before = marks.last().map_or_else(String::new, |m| m.text.clone());
        let set = format!(
            "its clock showed `{}` at the end, which does not follow from `{before}` before the releases: it was set or it stopped",
            last.text
        );
        if tried == rules.tries {
            return Read::Refused(set);
        }
        why = format!("Not taken: {set}, or this was mistyped. ");
    }
    let by = By {
        logger,
        marks: &marks,
        rules,
        longest_gap_s: inputs.plan.advanced.smoke.longest_gap_s,
        local_us: local_us(ctx, &marks),
    };
    let texts: Vec<String> = marks.iter().map(|m| m.text.clone()).collect();
    let (mut why, mut shows_nothing) = (None::<String>, false);
    for _ in 0..rules.tries {
        let again = why.as_ref().map_or_else(String::new, |why| format!("Not taken: {why}. "));
        let text = format!(
            "{again}Give the file of {}: what it stored from the first mark of its clock to the last. Type its path.",
            logger.label()
        );
        ctx.edit().given = None;
        let (_, answer) = ctx.ask(Act::GiveFile { marks: texts.clone() }, text, Wants::LoggerFile).await;
        let given = ctx.edit().given.take();
        let refused = match (answer, given) {
            (Answer::Text(_), Some(given)) => match judge::tie(&given, spans, &by) {
                Ok(tied) => return Read::Tied(tied, marks.len()),
                Err(refused) => refused,
            },
            (Answer::NoBecause(because), _) => judge::Refused { why: because, shows_nothing: false },
            (Answer::Text(_), None) => judge::Refused { why: "nothing was read of it".into(), shows_nothing: false },
            (other, _) => {
                let because = said(&[], other).err().unwrap_or_else(|| "it was not given".into());
                // A file of these very releases that shows nothing of them contradicts whatever was marked.
                return match why.filter(|_| shows_nothing) {
                    Some(shown) => Read::Refused(format!("{shown}; then: {because}")),
                    None => Read::Without(because),
                };
            }
        };
        ctx.remark(format!("a file of {} is not taken: {}", logger.label(), refused.why));
        (why, shows_nothing) = (Some(refused.why), shows_nothing || refused.shows_nothing);
    }
    Read::Refused(why.unwrap_or_default())
}

/// The local time of this computer at the first mark, us since 1970, where nothing speaks against it.
fn local_us(ctx: &Context, marks: &[Mark]) -> Option<i64> {
    let ms = ctx.utc_ms(marks.first()?.at)?;
    i64::try_from(ms).ok()?.checked_mul(1000)?.checked_add(ctx.get().record.ahead_s.checked_mul(1_000_000)?)
}

/// Times every release at a place on the file.
fn by_file(ctx: &Context, logger: &Instrument, tied: &Tied, made: &mut Made) {
    let inputs = ctx.inputs();
    let (plan, rules) = (&inputs.plan.smoke, &inputs.plan.advanced.logger);
    let lag_s = stores(logger).lag_s;
    let common_s = judge::common_s(tied, lag_s);
    let lowest = lowest_level(ctx).ok();
    let k = coverage_factor(&inputs);
    let figure = |e: Estimate| Figure::with(e.value, e.u() * k, "s");
    let spans = made.spans();
    let (mut onsets, mut compared, mut marked, mut why_not) = (Series::new(), Vec::new(), Vec::new(), None);
    let mut contradicts = None;
    for (kept, span) in made.runs.kept.iter().zip(&spans) {
        let by_hand = &kept.seen;
        let tie_u_s = hypot(by_hand.tie_u_s, common_s);
        made.place.mark_u_s = made.place.mark_u_s.max(hypot(plan.mark_u_s, tie_u_s));
        let told = rule(ctx, logger, made.latest_s)
            .map(|rule| tied.outcome(span, &released(by_hand, plan.mark, hypot(plan.mark_u_s, tie_u_s)), &rule));
        let watched = Watched {
            released: by_hand.released,
            until: by_hand.until,
            alarm_after_s: by_hand.alarm_after_s,
            elsewhere: None,
        };
        let seen = match &told {
            Ok(outcome) => SmokeSeen::by_readings(outcome, watched),
            Err(why) => SmokeSeen::unread(why, watched),
        };
        let off_file = |e: Option<Estimate>| e.map(|e| judge::without_lag(e, lag_s));
        let (onset, half) = (off_file(seen.onset), off_file(seen.compared));
        let _ = onsets.open();
        let _ = match onset {
            Some(t) => onsets.result(t),
            None => onsets.no_result(),
        };
        compared.extend(half);
        marked.push(on_rise(ctx, &made.place, told.as_ref().ok(), (onset, half), hypot(plan.mark_u_s, tie_u_s)));
        if onset.is_none() {
            why_not = seen.why_not.clone();
        }
        let seen_u_s = inputs.plan.advanced.typed.seen_u_s;
        let beside = Beside { span, by_hand, logger, rules, seen_u_s, lowest };
        if let Some(how) = onset.and_then(|onset| judge::contradiction(tied, &onset, &beside)) {
            contradicts.get_or_insert((kept.run, how));
        }
        if let Some(run) = ctx.edit().outcome.smoke.get_mut(kept.record) {
            run.by_hand = by_hand.onset.map(figure);
            (run.onset, run.half_plateau) = (onset.map(figure), half.map(figure));
            run.why_not = seen.why_not.map(|why| why.words);
            run.by = Some(logger.label());
            run.curve = tied.curve(span, by_hand.released);
        }
    }
    // All runs count, or none does: two marks of one run are not one of each of two.
    let marked: Option<Vec<[Marked; 2]>> = marked.into_iter().collect();
    let marked = marked.unwrap_or_default().into_iter().flatten().collect();
    (made.runs.onsets, made.runs.compared, made.runs.marked) = (onsets, compared, marked);
    made.by = Some(logger.label());
    made.contradicts = contradicts;
    made.ended_by_file(usize::from(plan.runs), why_not);
}

/// Half of the plateau, and how long the rise took there from a tenth, as they lie on the predicted rise: together they tell its time and
/// its form apart, which a half alone does not. The signal is averaged as the unit's own display is.
fn on_rise(
    ctx: &Context,
    place: &Place,
    told: Option<&Outcome>,
    (onset, half): (Option<Estimate>, Option<Estimate>),
    release_u_s: f64,
) -> Option<[Marked; 2]> {
    let inputs = ctx.inputs();
    let (Some(Outcome::Response(response)), Some(onset), Some(half)) = (told, onset, half) else { return None };
    let predicted = inputs.opening(place.hole).and_then(|(opening, _)| inputs.predicted(opening));
    let averaged_s = ctx.abilities().map_or(0.0, |a| f64::from(a.extinction_averaged_ms) * 1e-3);
    let rise = predicted?.rise.behind(averaged_s);
    // What the tie and the lag leave open is common to all runs, and counts with them; the press is each run's own as well.
    let signal = |e: Estimate| libm::sqrt((e.u() * e.u() - release_u_s * release_u_s).max(0.0));
    let u = (signal(onset), signal(half), inputs.plan.smoke.mark_u_s);
    let share = inputs.plan.advanced.typed.plateau;
    let plateau = Extinction(response.plateau.value);
    Marked::on_curve(&rise, (onset.value, half.value), u, share, plateau)
}

/// The release as it was marked, whose moment on the file's clock is so sure.
fn released(seen: &SmokeSeen, mark: ReleaseMark, u_s: f64) -> Release {
    let at: Instant = seen.released;
    match mark {
        // By a page's clock: not late, however it was meant to be called.
        _ if seen.tie_u_s > 0.0 => Release::by_device(at, u_s),
        ReleaseMark::ByHand => Release { u_s, ..Release::by_hand(at) },
        ReleaseMark::ByRadio => Release { u_s, ..Release::by_radio(at) },
        ReleaseMark::Device => Release::by_device(at, u_s),
    }
}

/// What counts as a response on the file, as in a stream, with the logger's own step and ceiling. `Err`: it can't be said.
fn rule(ctx: &Context, logger: &Instrument, latest_s: f64) -> Result<Rule, String> {
    let level = lowest_level(ctx).map_err(|why| format!("the lowest alarm level is not known: {why}"))?;
    let of = |reading: Option<f64>| reading.and_then(|r| logger.extinction(r)).map(|e| e.0);
    Ok(Rule {
        full_scale: of(Some(logger.scale.range.1)).unwrap_or(f64::INFINITY),
        resolution: of(logger.scale.step).unwrap_or(0.0),
        ..release::rule(&ctx.inputs(), level, latest_s)
    })
}
