//! One release of smoke at one hole: clear air before it, its mark, what the unit then reads, and what that shows.
//!
//! A release is set aside only before its result is known: by a person who says so before anything is judged, or
//! because nobody watched or readings were missing meanwhile. Not here: what a time or a presence is held against.
use super::clear_air;
use crate::{
    context::{Context, Deadline, Stop},
    job::JobInputs,
    plan::{HoleRef, ReleaseMark},
    prompt::Act,
    readings::Item,
};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{Instant, input::Answer, time::seconds};
use plumeline_detector::{driver::Wants, vocabulary::ObscurationSensing};
use plumeline_measure::{
    Sample,
    smoke::{self, Outcome, Release, Rule},
};

/// How a release went.
pub(super) enum Ran {
    /// No smoke was released.
    NotReleased(String),
    /// It does not count, for a reason that was known before its result.
    SetAside {
        because: String,
        released: Instant,
        until: Instant,
    },
    Shown(Box<Shown>),
}

/// What the unit read after a release.
pub(super) struct Shown {
    pub(super) outcome: Outcome,
    pub(super) released: Instant,
    pub(super) until: Instant,
    /// From the mark to the first alarm level, delays included, s.
    pub(super) alarm_after_s: Option<f64>,
    /// Another inlet's sensor at which it rose, on a unit that has one for each.
    pub(super) elsewhere: Option<u8>,
}

/// Waits for clear air, asks for a release at `hole`, and gathers until the plateau is seen, for at most `latest_s`.
pub(super) async fn release(
    ctx: &Context,
    inputs: &JobInputs,
    hole: HoleRef,
    words: &str,
    what: &str,
    latest_s: f64,
) -> Result<Ran, Stop> {
    let plan = &inputs.plan.smoke;
    let rules = &inputs.plan.advanced.smoke;
    let predicted = inputs.opening(hole).and_then(|(opening, _)| inputs.predicted(opening));
    let arrives = predicted.map(|p| p.first_s.value + rules.spreads_held * (p.mean_s.value - p.first_s.value));
    let lag = inputs.pipework.unit.sensor_lag_s;
    let held_s = (arrives.filter(|t| t.is_finite()).unwrap_or(0.0) + 3.0 * lag + plan.release_s).min(latest_s);
    if let Err(why) = clear_air::quiet(ctx, "waiting for clear air before the next release").await {
        return Ok(Ran::NotReleased(why.into()));
    }
    let mut gather = Gather::new(ctx, inputs);
    let rule = rule(ctx, inputs, latest_s);
    let own = usize::from(hole.inlet).saturating_sub(1);
    let mut restless = 0;
    loop {
        gather.until(ctx.within(seconds(rules.before_s))).await;
        if !gather.broken {
            if restless == rules.most_restless || smoke::is_at_rest(gather.of(own), &rule) {
                break;
            }
            restless += 1;
            ctx.progress(format!("waiting for a reading at rest before smoke is released at {words}"), None, None);
        }
        gather.begin_again();
    }
    let text = format!(
        "Release smoke at {words} and hold it there until it is to be stopped (about {held_s:.0} s), {what}. Answer at the very moment it \
         starts. Test smoke can alarm people: see that they know."
    );
    let asked = ctx.ask(Act::ReleaseSmoke(hole), text, Wants::Moment);
    let (at, answer) = gather.during(asked).await;
    match answer {
        Answer::Yes => {}
        Answer::Cannot(why) => return Ok(Ran::NotReleased(why)),
        _ => return Ok(Ran::NotReleased("the release was not confirmed".into())),
    }
    // Whatever comes or fails to come from here on, the run does not end before it began.
    gather.last = gather.last.max(at);
    if gather.broken {
        clear_air::stop_smoke(ctx).await;
        return Ok(Ran::SetAside {
            because: "readings were missing before it".into(),
            released: at,
            until: gather.last,
        });
    }
    let paused = ctx.paused();
    let end = ctx.within(seconds(latest_s));
    gather.until(ctx.within(seconds(plan.release_s))).await;
    let text = format!(
        "Did the release at {words} go as it was meant to? If not (another hole, a gust, smoke spilt at the unit), say why now: once its \
         result shows it counts."
    );
    let went = gather.during(ctx.ask_done(Act::ReleaseWent(hole), text)).await;
    let set_aside = |gather: &Gather, because: String| Ran::SetAside { because, released: at, until: gather.last };
    if let Err(why) = went {
        clear_air::stop_smoke(ctx).await;
        return Ok(set_aside(&gather, why));
    }
    let mark = match plan.mark {
        ReleaseMark::ByHand => Release { u_s: plan.mark_u_s, ..Release::by_hand(at) },
        ReleaseMark::ByRadio => Release { u_s: plan.mark_u_s, ..Release::by_radio(at) },
        ReleaseMark::Device => Release::by_device(at, plan.mark_u_s),
    };
    let outcome = loop {
        let left = ctx.left(end).min(seconds(rules.look_s));
        gather.until(ctx.within(left)).await;
        if ctx.paused() != paused {
            clear_air::stop_smoke(ctx).await;
            return Ok(set_aside(&gather, "nobody watched for a time: the program had been ended".into()));
        }
        if gather.broken {
            clear_air::stop_smoke(ctx).await;
            return Ok(set_aside(&gather, "readings were missing".into()));
        }
        let left = ctx.left(end);
        let waited = latest_s - left.as_secs_f64();
        // The plateau has been seen for as long as it needs, or nothing more can come; before that no answer is wanted.
        if waited >= held_s || left.is_zero() {
            let outcome = gather.analyse(own, at, &mark, &rule);
            if left.is_zero() || matches!(&outcome, Outcome::Response(_)) {
                break outcome;
            }
        }
        ctx.progress(
            format!("smoke released at {words} {waited:.0} s ago"),
            Some((waited / latest_s).min(1.0)),
            Some(left),
        );
    };
    clear_air::stop_smoke(ctx).await;
    let others = (0..gather.samples.len()).filter(|i| *i != own);
    let elsewhere = others
        .filter(|i| matches!(gather.analyse(*i, at, &mark, &rule), Outcome::Response(_) | Outcome::Saturated { .. }))
        .find_map(|i| u8::try_from(i + 1).ok());
    Ok(Ran::Shown(Box::new(Shown {
        outcome,
        released: at,
        until: gather.last,
        alarm_after_s: gather.alarm.filter(|t| *t >= at).map(|t| t.since(at).as_secs_f64()),
        elsewhere,
    })))
}

/// What counts as a response here; the resolution is unknown. The risk of taking noise
/// for smoke is shared out over the looks of a run.
fn rule(ctx: &Context, inputs: &JobInputs, latest_s: f64) -> Rule {
    let least = clear_air::lowest_level(ctx).map_or(0.0, |level| level.0 * inputs.plan.smoke.purge_below);
    let rules = &inputs.plan.advanced.smoke;
    let looks = (latest_s / rules.look_s).max(1.0);
    Rule {
        min_rise: least,
        min_rise_sd: rules.least_rise,
        min_duration_s: rules.least_duration_s,
        min_before: rules.least_before as usize,
        max_gap_s: rules.longest_gap_s,
        false_alarm: rules.false_alarm / looks,
        ..Rule::default()
    }
}

/// Why there is no time, in plain words.
pub(super) fn why_not(outcome: &Outcome) -> Option<String> {
    match outcome {
        Outcome::Response(_) => None,
        Outcome::Saturated { .. } => Some("the reading ran into its ceiling".into()),
        Outcome::TooWeak { .. } => Some("something rose, but too little to be timed".into()),
        Outcome::NoRise { .. } => Some("nothing rose".into()),
        Outcome::Undecided { because } => Some(unclear_words(because)),
    }
}

fn unclear_words(why: &smoke::Unclear) -> String {
    use smoke::Unclear as U;
    match why {
        U::Evidence(error) => format!("{error}"),
        U::BeforeRelease { .. } => "it rose before the release".into(),
        U::TooShort { lasted_s } => format!("it rose for {lasted_s:.1} s only"),
        U::RestlessBaseline { .. } => "the reading was restless before the release".into(),
        U::EndsTooSoon => "the record ends before the plateau".into(),
        U::TooSlow => "it rose too slowly to tell a start".into(),
    }
}

/// Gathers the extinction that concerns each inlet, and the first alarm level.
struct Gather {
    feed: crate::readings::Feed,
    /// By inlet: all of them on a unit with a sensor for each, else the same one for all.
    samples: Vec<Vec<Sample>>,
    shared: bool,
    longest_gap: Duration,
    alarm: Option<Instant>,
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
                if t.reading.levels != 0 {
                    self.alarm.get_or_insert(t.at);
                }
                self.last = self.last.max(t.at);
            }
        }
    }
    fn begin_again(&mut self) {
        self.samples.iter_mut().for_each(Vec::clear);
        (self.alarm, self.broken) = (None, false);
    }
    async fn until(&mut self, end: Deadline) {
        while let Some(item) = self.feed.next_before(end).await {
            self.take(&item);
        }
    }
    /// Gathers while something else is waited for.
    async fn during<T>(&mut self, other: impl Future<Output = T>) -> T {
        let mut other = core::pin::pin!(other);
        loop {
            match crate::executor::race(other.as_mut(), self.feed.next()).await {
                crate::executor::Either::First(done) => return done,
                crate::executor::Either::Second(item) => self.take(&item),
            }
        }
    }
    /// What concerns an inlet (counted from 0).
    fn of(&self, inlet: usize) -> &[Sample] {
        self.samples.get(if self.shared { 0 } else { inlet }).map_or(&[][..], Vec::as_slice)
    }
    fn analyse(&self, inlet: usize, at: Instant, release: &Release, rule: &Rule) -> Outcome {
        let samples = self.of(inlet);
        let split = samples.partition_point(|s| s.at < at);
        smoke::analyse(&samples[..split], &samples[split..], release, rule)
    }
}
