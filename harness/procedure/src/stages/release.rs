//! One release of smoke at one hole: clear air before it, its mark, what the unit then reads, and what that shows.
//!
//! A release is set aside only before its result is known: by a person who says so before anything is judged, or
//! because nobody watched or readings were missing meanwhile. Not here: what a time or a presence is held against.
use super::{alarms, by_eye, clear_air, dilution};
use crate::{
    answers::said,
    context::{Context, Deadline},
    executor::{Either, race},
    job::JobInputs,
    judge::{
        alarms::Seen,
        smoke::{Marked, SmokeSeen, Watched},
    },
    outcome::StageKind,
    plan::{HoleRef, ReleaseMark},
    prompt::Act,
    readings::Item,
};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use core::{pin::pin, time::Duration};
use plumeline_airflow::uncertainty::OpeningPrediction;
use plumeline_base::{Instant, input::Answer, obscuration::Extinction, time::seconds};
use plumeline_detector::{ask::Look, driver::Wants, vocabulary::ObscurationSensing};
use plumeline_measure::{
    Sample,
    smoke::{self, Outcome, Release, Rule, Unclear},
};

/// How a release went.
pub(super) enum Ran {
    /// No smoke was released.
    NotReleased(String),
    /// Not now: at the end of the walk.
    Later,
    /// It does not count, for a reason that was known before its result.
    SetAside {
        because: String,
        released: Instant,
        until: Instant,
    },
    Seen(Box<SmokeSeen>),
}

/// A release that is to be made.
struct Wanted<'a> {
    hole: HoleRef,
    words: &'a str,
    /// The unit's reading that concerns it, counted from 0.
    own: usize,
    /// Smoke is held to the hole for about this long, s.
    held_s: f64,
    /// Nothing more is waited for after this, s.
    latest_s: f64,
    rule: Rule,
}

/// Waits for clear air, asks for a release at `hole`, and gathers until the plateau is seen, for at most `latest_s`. `before`: what
/// such smoke showed to a person.
pub(super) async fn release(
    ctx: &Context,
    inputs: &JobInputs,
    hole: HoleRef,
    words: &str,
    what: &str,
    latest_s: f64,
    before: Option<Marked>,
) -> Ran {
    if ctx.is_asked(Look::Smoke) {
        return by_eye::release(ctx, inputs, (hole, words), what, latest_s, before).await;
    }
    let predicted = inputs.opening(hole).and_then(|(opening, _)| inputs.predicted(opening));
    let plateau = predicted.map(|p| plateau_s(inputs, p)).filter(|t| t.is_finite());
    let least = plateau.unwrap_or(0.0) + inputs.plan.smoke.release_s;
    let (own, held_s) = (usize::from(hole.inlet).saturating_sub(1), least.min(latest_s));
    let rule = match clear_air::lowest_level(ctx) {
        Ok(level) => Rule { full_scale: full_scale(ctx), ..rule(inputs, level, latest_s) },
        Err(why) => return Ran::NotReleased(format!("the lowest alarm level is not known: {why}")),
    };
    let wanted = Wanted { hole, words, own, held_s, latest_s, rule };
    if let Err(why) = clear_air::quiet(ctx, "waiting for clear air before the next release").await {
        return Ran::NotReleased(why);
    }
    let mut gather = Gather::new(ctx, inputs);
    at_rest(ctx, &wanted, &mut gather).await;
    let text = format!(
        "Release smoke at {} and hold it there until it is to be stopped (about {held_s:.0} s), {what}. Answer at the very moment it \
         starts. Test smoke can alarm people: see that they know.",
        inputs.place_words(hole, words)
    );
    let asked = ctx.ask_after(None, Act::ReleaseSmoke(hole), text, Wants::Moment);
    let (prompt, at, answer) = gather.during(asked).await;
    if answer == Answer::Later {
        return Ran::Later;
    }
    if let Some(why) = not_released(answer) {
        return Ran::NotReleased(why);
    }
    // Whatever comes or fails to come from here on, the run does not end before it began.
    gather.last = gather.last.max(at);
    let seen = watched(ctx, inputs, &wanted, &mut gather, (prompt, at)).await;
    if seen.is_ok() && ctx.stage() == StageKind::ProveSmoke {
        ctx.judged(prompt);
    }
    if seen.is_ok() {
        if ctx.is_asked(Look::State) {
            by_eye::levels(ctx, words, at).await;
        } else {
            alarms::watch(ctx, words, &mut gather).await;
        }
    }
    if seen.as_ref().is_ok_and(|s| s.compared.is_some()) && ctx.stage() == StageKind::ProveSmoke {
        dilution::tried(ctx, inputs, hole, words).await;
    }
    clear_air::stop_smoke(ctx).await;
    match seen {
        Ok(seen) => Ran::Seen(Box::new(seen)),
        Err(because) => Ran::SetAside { because, released: at, until: gather.last },
    }
}

/// How long after a release the plateau of its smoke stands at the sensor, s.
pub(super) fn plateau_s(inputs: &JobInputs, predicted: &OpeningPrediction) -> f64 {
    let rules = &inputs.plan.advanced.smoke;
    let (first, mean) = (predicted.first_s.value, predicted.mean_s.value);
    first + rules.spreads_held * (mean - first) + rules.lags_held * inputs.pipework.unit.sensor_lag_s
}

/// Why no smoke was released, by the answer to the question for it; `None`: it was.
pub(super) fn not_released(answer: Answer) -> Option<String> {
    match answer {
        Answer::Yes => None,
        Answer::Cannot(why) => Some(why),
        _ => Some("the release was not confirmed".into()),
    }
}

/// Gathers until the reading is at rest without a gap, or has been restless for too long.
async fn at_rest(ctx: &Context, wanted: &Wanted<'_>, gather: &mut Gather) {
    let rules = &ctx.inputs().plan.advanced.smoke.clone();
    let mut restless = 0;
    loop {
        gather.until(ctx.within(seconds(rules.before_s))).await;
        if !gather.broken {
            if restless == rules.most_restless || smoke::is_at_rest(gather.of(wanted.own), &wanted.rule) {
                return;
            }
            restless += 1;
            let says = format!("waiting for a reading at rest before smoke is released at {}", wanted.words);
            ctx.progress(says, None, None);
        }
        gather.begin_again();
    }
}

/// Watches what comes after the release at `at`. `Err`: it is set aside, with the reason.
async fn watched(
    ctx: &Context,
    inputs: &JobInputs,
    wanted: &Wanted<'_>,
    gather: &mut Gather,
    (prompt, at): (u32, Instant),
) -> Result<SmokeSeen, String> {
    if gather.broken {
        return Err("readings were missing before it".into());
    }
    // Known before any of its smoke could show: another release is asked for, and nothing is picked by its result.
    // A mark may come late: what was read between it and now is no longer before it.
    let before = gather.of(wanted.own);
    if !smoke::is_at_rest(&before[..before.partition_point(|s| s.at < at)], &wanted.rule) {
        return Err("the reading was restless before it".into());
    }
    let plan = &inputs.plan.smoke;
    let paused = ctx.paused();
    let late = ctx.now().since(at);
    let of = |s: f64| ctx.within(seconds(s).saturating_sub(late));
    let (counts, end) = (of(wanted.held_s), of(wanted.latest_s));
    gather.until(ctx.within(seconds(plan.release_s))).await;
    // Readings of before the mark may have been under way when it came: what they show of that time is still no result.
    let before = gather.of(wanted.own);
    if !smoke::is_at_rest(&before[..before.partition_point(|s| s.at < at)], &wanted.rule) {
        return Err("the reading was restless before it".into());
    }
    objected(ctx, wanted, gather, counts).await?;
    let tie_u_s = ctx.tie_u_s(prompt);
    let mark = match plan.mark {
        // By a clock of its own: not late, however it was meant to be called.
        _ if tie_u_s > 0.0 => Release::by_device(at, libm::hypot(plan.mark_u_s, tie_u_s)),
        ReleaseMark::ByHand => Release { u_s: plan.mark_u_s, ..Release::by_hand(at) },
        ReleaseMark::ByRadio => Release { u_s: plan.mark_u_s, ..Release::by_radio(at) },
        ReleaseMark::Device => Release::by_device(at, plan.mark_u_s),
    };
    let outcome = loop {
        let left = ctx.left(end).min(seconds(inputs.plan.advanced.smoke.look_s));
        gather.until(ctx.within(left)).await;
        if ctx.paused() != paused {
            return Err("nobody watched for a time: the program had been ended".into());
        }
        if gather.broken {
            return Err("readings were missing".into());
        }
        if let Some(why) = ctx.contradicted(prompt) {
            return Err(why);
        }
        let left = ctx.left(end);
        let waited = wanted.latest_s - left.as_secs_f64();
        // The plateau has been seen for as long as it needs, or nothing more can come; before that no answer is wanted.
        if waited >= wanted.held_s || left.is_zero() {
            let outcome = gather.analyse(wanted.own, at, &mark, &wanted.rule);
            if left.is_zero() || matches!(&outcome, Outcome::Response(_) | Outcome::Saturated { .. }) {
                break outcome;
            }
        }
        let says = format!("keep the smoke at {}: released {waited:.0} s ago, at most", wanted.words);
        ctx.progress(says, None, Some(left));
    };
    if matches!(outcome, Outcome::Undecided { because: Unclear::RestlessBaseline { .. } }) {
        // By the whole record the readings before the release were restless after all. It says nothing of what came after.
        return Err("the reading was restless before it".into());
    }
    let elsewhere = gather.elsewhere(wanted, at, &mark);
    let alarm_after_s = gather.alarm.filter(|t| *t >= at).map(|t| t.since(at).as_secs_f64());
    let seen = SmokeSeen::by_readings(&outcome, Watched { released: at, until: gather.last, alarm_after_s, elsewhere });
    Ok(SmokeSeen { tie_u_s, ..seen })
}

/// Until the release `counts` it can be said that it did not go as it was meant to. `Err`: it was.
async fn objected(ctx: &Context, wanted: &Wanted<'_>, gather: &mut Gather, counts: Deadline) -> Result<(), String> {
    let text = format!(
        "Keep the smoke at {}. If this release is not as it was meant to be (another hole, a gust, smoke spilt at the unit), say so now: \
         once its result shows it counts.",
        wanted.words
    );
    let mut asked = pin!(ctx.ask(Act::ReleaseWent(wanted.hole), text, Wants::Notice));
    loop {
        let left = ctx.left(counts);
        if left.is_zero() {
            return Ok(());
        }
        ctx.progress(format!("keep the smoke at {}", wanted.words), None, Some(left));
        let look = ctx.reached(ctx.within(left.min(LOOK)));
        if let Either::First((_, answer)) = gather.during(race(asked.as_mut(), look)).await {
            return said(&[], answer).map(|_| ());
        }
    }
}
/// How long smoke is still to be held is told this often.
const LOOK: Duration = Duration::from_secs(2);

/// What counts as a response here; the resolution is unknown. The risk of taking noise
/// for smoke is shared out over the looks of a run.
pub(super) fn rule(inputs: &JobInputs, level: Extinction, latest_s: f64) -> Rule {
    let rules = &inputs.plan.advanced.smoke;
    let looks = (latest_s / rules.look_s).max(1.0);
    Rule {
        min_rise: level.0 * inputs.plan.smoke.purge_below,
        min_rise_sd: rules.least_rise,
        min_duration_s: rules.least_duration_s,
        min_before: rules.least_before as usize,
        max_gap_s: rules.longest_gap_s,
        false_alarm: rules.false_alarm / looks,
        ..Rule::default()
    }
}

/// What the unit's sensor reads at most, by its own words.
fn full_scale(ctx: &Context) -> f64 {
    match ctx.abilities().map_or(0, |a| a.extinction_max_n_m) {
        0 => f64::INFINITY,
        most => most as f64 * 1e-9,
    }
}

/// Gathers the extinction that concerns each inlet, and the alarm levels.
pub(super) struct Gather {
    feed: crate::feed::Feed,
    /// By inlet: all of them on a unit with a sensor for each, else the same one for all.
    samples: Vec<Vec<Sample>>,
    shared: bool,
    longest_gap: Duration,
    alarm: Option<Instant>,
    levels: Vec<Seen>,
    last: Instant,
    broken: bool,
}
impl Gather {
    fn new(ctx: &Context, inputs: &JobInputs) -> Self {
        let shared = ctx.abilities().is_none_or(|a| a.obscuration != ObscurationSensing::PerInlet);
        let most = inputs.pipes().iter().map(|p| usize::from(p.inlet)).max().unwrap_or(1);
        let inlets = if shared { 1 } else { most };
        Self {
            feed: ctx.feed(),
            samples: alloc::vec![Vec::new(); inlets],
            shared,
            longest_gap: seconds(inputs.plan.advanced.smoke.longest_gap_s),
            alarm: None,
            levels: Vec::new(),
            last: ctx.now(),
            broken: false,
        }
    }
    fn take(&mut self, item: &Item) {
        match item {
            Item::Gap(_) => self.broken = true,
            Item::Reading(t) => {
                // Missing readings show in the times of those that came.
                let longest = self.longest_gap;
                self.broken |= self.samples.iter().any(|s| s.last().is_some_and(|l| t.at.since(l.at) > longest));
                for (inlet, samples) in (1u8..).zip(&mut self.samples) {
                    samples.extend(t.extinction(inlet));
                }
                // What is told without an extinction can't be held against a threshold, nor one without levels against them.
                let seen = |(k, reached): (Extinction, u32)| Seen { at: t.at, extinction: k.0, reached };
                self.levels.extend(t.highest_extinction().zip(t.reading.levels).map(seen));
                if t.reading.levels.is_some_and(|levels| levels != 0) {
                    self.alarm.get_or_insert(t.at);
                }
                self.last = self.last.max(t.at);
            }
        }
    }
    fn begin_again(&mut self) {
        self.samples.iter_mut().for_each(Vec::clear);
        self.levels.clear();
        (self.alarm, self.broken) = (None, false);
    }
    /// What each reading told of the alarm levels.
    pub(super) fn levels(&self) -> &[Seen] {
        &self.levels
    }
    /// Readings are missing.
    pub(super) const fn is_broken(&self) -> bool {
        self.broken
    }
    pub(super) async fn until(&mut self, end: Deadline) {
        while let Some(item) = self.feed.next_before(end).await {
            self.take(&item);
        }
    }
    /// Gathers while something else is waited for.
    async fn during<T>(&mut self, other: impl Future<Output = T>) -> T {
        let mut other = pin!(other);
        loop {
            match race(other.as_mut(), self.feed.next()).await {
                Either::First(done) => return done,
                Either::Second(item) => self.take(&item),
            }
        }
    }
    /// What concerns an inlet (counted from 0).
    fn of(&self, inlet: usize) -> &[Sample] {
        self.samples.get(if self.shared { 0 } else { inlet }).map_or(&[][..], Vec::as_slice)
    }
    /// Another inlet than the hole's own at which smoke shows.
    fn elsewhere(&self, wanted: &Wanted<'_>, at: Instant, mark: &Release) -> Option<u8> {
        let shows = |i: usize| {
            let outcome = self.analyse(i, at, mark, &wanted.rule);
            matches!(outcome, Outcome::Response(_) | Outcome::Saturated { .. })
        };
        (0..self.samples.len()).filter(|i| *i != wanted.own && shows(*i)).find_map(|i| u8::try_from(i + 1).ok())
    }
    fn analyse(&self, inlet: usize, at: Instant, release: &Release, rule: &Rule) -> Outcome {
        let samples = self.of(inlet);
        let split = samples.partition_point(|s| s.at < at);
        smoke::analyse(&samples[..split], &samples[split..], release, rule)
    }
}
