//! What a person sees at a unit that sends nothing: the moment at which its display or a lamp shows smoke, an alarm level, a
//! fault, and when it no longer does. Each moment is one mark by hand, with the uncertainty of a glance beside the mark's own.
//!
//! Not here: flows that are typed ([`crate::typed`]), and what follows from a moment (the judges).
use super::{
    by_logger,
    by_watch::{self, Timing},
    clear_air::{self, lowest_level},
    release::{Ran, not_released, plateau_s},
};
use crate::{
    context::Context,
    executor::{Either, race},
    facts::missed,
    job::JobInputs,
    judge::{
        alarms::Level,
        smoke::{Marked, Seen, SmokeSeen, Watched},
    },
    mean_flow::coverage_factor,
    outcome::{StageKind, Statement, Subject},
    plan::HoleRef,
    prompt::{Act, Metered},
    readings::Timed,
    rise::Rise,
};
use alloc::{boxed::Box, format, rc::Rc, string::String, vec::Vec};
use plumeline_base::{
    Instant,
    input::Answer,
    obscuration::{Extinction, ObscurationUnit::PercentPerMetre},
    quantity::Estimate,
    time::seconds,
};
use plumeline_detector::{Reading, ask::Look, driver::Wants, vocabulary::ObscurationSensing};

/// How a moment came about.
pub(super) enum Moment {
    Seen(Instant),
    /// It was said that it does not come.
    Not(String),
    /// It can't be told.
    Untold(String),
    /// Nobody marked it in time.
    TimeUp,
}

/// Asks for the moment at which something shows, for at most `within_s`.
pub(super) async fn moment(ctx: &Context, act: Act, text: String, within_s: f64) -> Moment {
    let end = ctx.within(seconds(within_s));
    match race(ctx.ask(act, text, Wants::Moment), ctx.reached(end)).await {
        Either::First((at, Answer::Yes)) => Moment::Seen(at),
        Either::First((_, Answer::No)) => Moment::Not("it does not show".into()),
        Either::First((_, Answer::NoBecause(why))) => Moment::Not(why),
        Either::First((_, Answer::Cannot(why))) => Moment::Untold(why),
        Either::First(_) => Moment::Untold("the moment was not marked".into()),
        Either::Second(()) => Moment::TimeUp,
    }
}

/// What stands now, and the flows where they are wanted too; `None`: nobody could tell.
pub(super) async fn state(ctx: &Context, flows: bool) -> Option<Rc<Timed>> {
    let state = ctx.look(Look::State).await.ok()?;
    if !flows {
        return Some(state);
    }
    let read = ctx.look(Look::Flows).await.ok()?;
    let Reading { flow_m3_s, flow_all_m3_s, .. } = read.reading.clone();
    let reading = Reading { flow_m3_s, flow_all_m3_s, ..state.reading.clone() };
    Some(Rc::new(Timed { at: state.at, reading, alone: read.alone }))
}

/// The display tells how much smoke there is, and not only that a level is reached.
fn tells_smoke(ctx: &Context) -> bool {
    ctx.abilities().is_some_and(|a| a.obscuration != ObscurationSensing::None)
}

/// Looks again and again until the air is clear. `Err`: why that can't be shown.
pub(super) async fn clear(ctx: &Context, says: &str) -> Result<Instant, String> {
    let plan = ctx.inputs().plan.smoke.clone();
    let level = lowest_level(ctx).map_err(|why| format!("the lowest alarm level is not known: {why}"))?;
    let under = Extinction(level.0 * plan.purge_below);
    let mut since: Option<Instant> = None;
    loop {
        let look = if tells_smoke(ctx) { Look::Smoke } else { Look::State };
        let t = ctx.look(look).await.map_err(|trouble| format!("nobody could tell: {trouble}"))?;
        let clear = match look {
            Look::Smoke => t.highest_extinction().ok_or("the unit tells no obscuration")?.0 < under.0,
            _ => t.reading.levels_standing().ok_or("the unit tells no alarm level")? == 0,
        };
        if clear {
            // The second look shows that it stays so.
            let from = *since.get_or_insert(t.at);
            if t.at.since(from) >= seconds(plan.purge_hold_s) {
                return Ok(t.at);
            }
        } else {
            since = None;
        }
        let least = under.stated(PercentPerMetre);
        ctx.progress(format!("{says}: it must stay under {least:.4} %/m"), None, Some(seconds(plan.purge_hold_s)));
        ctx.sleep(seconds(plan.purge_hold_s)).await;
    }
}

/// A release whose smoke a person sees at the unit, for at most `latest_s`. `before`: what such smoke showed.
pub(super) async fn release(
    ctx: &Context,
    inputs: &JobInputs,
    (hole, words): (HoleRef, &str),
    what: &str,
    latest_s: f64,
    before: Option<Marked>,
) -> Ran {
    let calm = match clear_air::quiet(ctx, "waiting for clear air before the next release").await {
        Ok(calm) => calm,
        Err(why) => return Ran::NotReleased(why),
    };
    let logger = by_logger::serves(ctx);
    if let Some(logger) = &logger {
        by_logger::calm(ctx, logger).await;
    }
    let place = inputs.place_words(hole, words);
    let text = format!(
        "Release smoke at {place} and hold it there until it is to be stopped, {what}. Answer at the very moment it starts. Test smoke can \
         alarm people: see that they know."
    );
    let asked = ctx.now();
    let (prompt, released, answer) = ctx.ask_after(None, Act::ReleaseSmoke(hole), text, Wants::Moment).await;
    if answer == Answer::Later {
        return Ran::Later;
    }
    if let Some(why) = not_released(answer) {
        return Ran::NotReleased(why);
    }
    let (paused, tie_u_s) = (ctx.paused(), ctx.tie_u_s(prompt));
    let marks = Marks::at(ctx, before);
    let from_n_m = marks.as_ref().map(|m| libm::round(m.at * 1e9) as u64);
    let mut timed = None;
    let shown = if by_watch::serves(ctx) {
        let quantity = Metered::SmokeTime { at: hole, from_n_m };
        let timing = timing(ctx, hole, (asked, before), quantity, &shows_words(marks.as_ref()));
        match race(by_watch::time(ctx, timing), ctx.reached(ctx.within(seconds(latest_s)))).await {
            Either::First(Ok(read)) => {
                timed = Some(by_watch::of_smoke(ctx, read));
                Moment::Seen(ctx.now())
            }
            Either::First(Err(why)) => Moment::Untold(why),
            Either::Second(()) => Moment::TimeUp,
        }
    } else {
        let act = Act::SmokeShows { at: hole, from_n_m };
        moment(ctx, act, shows_text(words, marks.as_ref()), latest_s).await
    };
    if ctx.paused() != paused {
        clear_air::stop_smoke(ctx).await;
        let because = "nobody watched for a time: the program had been ended".into();
        return Ran::SetAside { because, released, until: ctx.now() };
    }
    let seen = match shown {
        Moment::Seen(at) => {
            // Two marks by one hand, and a glance.
            let rules = &ctx.inputs().plan.advanced.typed.clone();
            let after_s = (at.since(released).as_secs_f64() - rules.seen_late_s).max(0.0);
            Ok(timed.unwrap_or_else(|| Estimate::new(after_s, 0.0, rules.seen_u_s)))
        }
        // Said before anything was seen: another hole, a gust, an empty can.
        Moment::Not(because) => {
            clear_air::stop_smoke(ctx).await;
            return Ran::SetAside { because, released, until: ctx.now() };
        }
        Moment::Untold(why) => Err(why),
        Moment::TimeUp => Err(format!("nobody saw smoke at the unit within {latest_s:.0} s")),
    };
    let seen = match seen {
        Ok(after) => on_rise(ctx, inputs, hole, (released, after), marks).await,
        Err(why) => Err(why),
    };
    if logger.is_some() {
        held(ctx, inputs, hole, released, latest_s).await;
    }
    let alarm_after_s = if seen.is_ok() { levels(ctx, words, released).await } else { None };
    clear_air::stop_smoke(ctx).await;
    let watched = Watched { released, until: ctx.now(), alarm_after_s, elsewhere: None };
    // Seen by whoever stands at the unit: a mark that contradicts the release's leaves no time.
    if let Some(because) = ctx.contradicted(prompt) {
        return Ran::SetAside { because, released, until: ctx.now() };
    }
    if ctx.stage() == StageKind::ProveSmoke {
        ctx.judged(prompt);
    }
    // A watch is no clock that is tied to the log's.
    let tie_u_s = if timed.is_some() && logger.is_none() { 0.0 } else { tie_u_s };
    Ran::Seen(Box::new(SmokeSeen { tie_u_s, calm: Some(calm), ..SmokeSeen::by_eye(seen, watched) }))
}

/// Smoke is held for as long as a unit that streams needs it to show its plateau: a file shows it only afterwards.
async fn held(ctx: &Context, inputs: &JobInputs, hole: HoleRef, released: Instant, latest_s: f64) {
    let predicted = inputs.opening(hole).and_then(|(opening, _)| inputs.predicted(opening));
    let plateau = predicted.map(|p| plateau_s(inputs, p)).filter(|t| t.is_finite()).unwrap_or(latest_s);
    let most = (plateau + inputs.plan.smoke.release_s).min(latest_s);
    let left = (released + seconds(most)).since(ctx.now());
    ctx.progress("smoke is held until its plateau is stored", None, Some(left));
    ctx.sleep(left).await;
}

/// What is timed by a watch, from the release until what the prompt says shows. `asked`: when the release was asked for.
fn timing(
    ctx: &Context,
    hole: HoleRef,
    (asked, before): (Instant, Option<Marked>),
    quantity: Metered,
    what: &str,
) -> Timing {
    let inputs = ctx.inputs();
    let predicted = inputs.opening(hole).and_then(|(opening, _)| inputs.predicted(opening));
    let earliest_s = predicted.map_or(0.0, |p| p.first_s.value - coverage_factor(&inputs) * p.first_s.u());
    Timing {
        quantity,
        what: format!("from the release to the very moment when {what}"),
        asked,
        earliest_s: earliest_s - 2.0 * inputs.plan.advanced.typed.seen_u_s,
        before_s: before.map(|b| by_watch::stood_s(ctx, b.took_s())),
        about_s: predicted.map(|p| p.first_s.value),
    }
}

/// The clear reading, and the one at which smoke is marked, 1/m.
struct Marks {
    clear: f64,
    at: f64,
}
impl Marks {
    /// As far above clear air as counts as smoke and as the display tells well; where such smoke is known, well up its rise. There the
    /// form of the rise says less of its time, and with a mark lower down what form it has. `None`: the display tells no smoke.
    fn at(ctx: &Context, before: Option<Marked>) -> Option<Self> {
        let clear = ctx.get().readings.latest().and_then(|t| t.highest_extinction()).filter(|_| tells_smoke(ctx))?.0;
        // Without a step nobody can say what a rise is: then the lamps tell.
        let step = ctx.abilities().map(|a| a.extinction_step_n_m as f64 * 1e-9).filter(|step| *step > 0.0)?;
        let plan = &ctx.inputs().plan;
        let smoke = lowest_level(ctx).map_or(0.0, |level| level.0 * plan.smoke.purge_below);
        // A level is seen to act by the way, and not once it has long acted.
        let known =
            before.filter(|_| open_levels(ctx).is_empty()).map_or(0.0, |b| b.plateau.0 * plan.advanced.typed.mark_at);
        let rise = smoke.max(known).max(plan.advanced.typed.steps * step);
        Some(Self { clear, at: clear + libm::ceil(rise / step) * step })
    }
}

/// Where on its rise smoke was marked: the display is read once more when the plateau stands. `Err`: it then shows less smoke than was
/// marked, and no time rests on that.
async fn on_rise(
    ctx: &Context,
    inputs: &JobInputs,
    hole: HoleRef,
    (released, after): (Instant, Estimate),
    marks: Option<Marks>,
) -> Result<Seen, String> {
    let nothing_predicted = Seen { onset: after, half: None, marked: None };
    let Some(predicted) = inputs.opening(hole).and_then(|(opening, _)| inputs.predicted(opening)) else {
        return Ok(nothing_predicted);
    };
    let Some(Marks { clear, at }) = marks else { return Ok(Seen::somewhere(after, predicted)) };
    ctx.progress("smoke is held until its plateau stands", None, None);
    ctx.sleep((released + seconds(plateau_s(inputs, predicted))).since(ctx.now())).await;
    let read = ctx.look(Look::Smoke).await.ok().and_then(|t| Some((t.at, t.highest_extinction()?.0)));
    let Some((when, now)) = read else { return Ok(Seen::somewhere(after, predicted)) };
    if now < at {
        let stated = |e: f64| Extinction(e).stated(PercentPerMetre);
        return Err(format!(
            "smoke was marked, and the display then read {:.3} %/m, less than the {:.3} %/m at which it was to be marked",
            stated(now),
            stated(at)
        ));
    }
    let rise = predicted.rise.behind(ctx.abilities().map_or(0.0, |a| f64::from(a.extinction_averaged_ms) * 1e-3));
    let stands = rise.shows(when.since(released).as_secs_f64()).filter(|s| *s > 0.5);
    let plateau = Extinction((now - clear) / stands.unwrap_or(1.0));
    let share = (at - clear) / plateau.0;
    let seen = Seen::on(&rise, after, share, plateau, &inputs.plan.advanced.typed);
    Ok(seen.unwrap_or(nothing_predicted))
}

fn shows_words(marks: Option<&Marks>) -> String {
    match marks {
        Some(m) => {
            format!("its smoke reading first stands at {:.3} %/m or more", Extinction(m.at).stated(PercentPerMetre))
        }
        None => "its first alarm level shows".into(),
    }
}
fn shows_text(words: &str, marks: Option<&Marks>) -> String {
    let what = shows_words(marks);
    format!(
        "Watch the unit: answer at the very moment when {what}, from the smoke at {words}. Type `no, REASON` now if the release went wrong."
    )
}

/// Levels that nobody has seen yet.
fn open_levels(ctx: &Context) -> Vec<Level> {
    let open = |level: &Level| {
        let so_far = ctx.get().record.alarms.get(&level.number).copied();
        matches!(so_far, None | Some(Rise::NotReached))
    };
    super::alarms::levels(ctx).map_or_else(|_| Vec::new(), |levels| levels.into_iter().filter(open).collect())
}

/// Holds the smoke until each level that was not seen yet shows. Gives the time from the release to the first, s.
pub(super) async fn levels(ctx: &Context, words: &str, released: Instant) -> Option<f64> {
    let open = open_levels(ctx);
    let most = ctx.inputs().plan.advanced.typed.level_s;
    let mut first = None;
    for level in open {
        let n = level.number;
        let text = format!(
            "Smoke is still held at {words}. Answer at the moment alarm level {n} shows at the unit. Type `can't, REASON` if the smoke at the \
             unit stays too thin for it, `no, REASON` if the smoke stands above its threshold and it does not show."
        );
        let rise = match moment(ctx, Act::LevelShows { level: n }, text, level.delay_s + most).await {
            Moment::Seen(at) => {
                let after = at.since(released).as_secs_f64();
                first.get_or_insert(after);
                let fact = missed::threshold_by_eye(n);
                ctx.edit().outcome.could_have_missed.push(Statement::of(Subject::Level(n), fact));
                Rise::Seen(after)
            }
            Moment::Not(_) => Rise::Never(ctx.now().since(released).as_secs_f64()),
            Moment::Untold(_) | Moment::TimeUp => Rise::NotReached,
        };
        let mut s = ctx.edit();
        let so_far = s.record.alarms.entry(n).or_insert(Rise::NotReached);
        *so_far = so_far.and(rise);
        drop(s);
        // A level above one that the smoke does not reach is not reached either.
        if rise == Rise::NotReached {
            break;
        }
    }
    first
}
