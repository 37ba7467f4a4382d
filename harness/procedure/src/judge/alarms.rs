//! Whether each alarm level does what the settings say: by the unit's own readings it must rise once its threshold has stood
//! for its delay, neither before nor much later, stay if it is set to latch, and go if it is not.
//!
//! Not here: how smoke is brought to the unit, and when it is gone.
use crate::{
    facts::alarms as fact,
    outcome::{Figure, Finding, StageKind, Subject},
    rise::{Leaving, Rise},
};
use alloc::{collections::VecDeque, vec::Vec};
use core::time::Duration;
use plumeline_base::Instant;
use plumeline_detector::bit;

/// An alarm level as the settings state it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Level {
    pub(crate) number: u8,
    /// Extinction, 1/m; the lowest where it differs by the time of day.
    pub(crate) threshold: f64,
    /// The highest.
    pub(crate) highest: f64,
    pub(crate) delay_s: f64,
    pub(crate) latches: bool,
}

/// What one reading tells of the alarm levels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Seen {
    pub(crate) at: Instant,
    /// The highest extinction that it tells, 1/m.
    pub(crate) extinction: f64,
    /// Levels reached, bit 0 is the lowest.
    pub(crate) reached: u32,
}

/// How closely a level must follow its settings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Within {
    /// Part of the threshold by which a reading may be off what the unit compares with it.
    pub(crate) threshold: f64,
    /// Time by which a rise may come sooner or later than the delay says, s.
    pub(crate) time_s: f64,
    /// Part of the threshold by which a level may be left lower than it is reached.
    pub(crate) hysteresis: f64,
    /// A level follows a reading that has fallen within, s.
    pub(crate) follows_s: f64,
}

/// The first time for which the reading stood at or over `least` for as long as `for_s`: its start, and when that was.
fn first_stretch(seen: &[Seen], least: f64, for_s: f64) -> Option<(Instant, Instant)> {
    let mut from: Option<Instant> = None;
    for s in seen {
        if s.extinction < least {
            from = None;
            continue;
        }
        let start = *from.get_or_insert(s.at);
        if s.at.since(start).as_secs_f64() >= for_s {
            return Some((start, s.at));
        }
    }
    None
}

/// What a level did in these readings, which begin before the smoke.
pub(crate) fn rise(level: &Level, seen: &[Seen], within: Within) -> Rise {
    let mine = bit(level.number);
    let over = level.highest * (1.0 + within.threshold);
    let under = level.threshold * (1.0 - within.threshold);
    let due = first_stretch(seen, over, level.delay_s + within.time_s);
    let Some(at) = seen.iter().position(|s| s.reached & mine != 0) else {
        return due.map_or(Rise::NotReached, |(from, _)| {
            Rise::Never(seen.last().map_or(0.0, |l| l.at.since(from).as_secs_f64()))
        });
    };
    let rose = seen[at].at;
    // Since when the reading had stood at least about as high as the threshold when the level rose.
    let stood = seen[..=at].iter().rev().take_while(|s| s.extinction >= under);
    let began = at + 1 - stood.count();
    let since = |from: usize| seen[from..=at].first().map_or(0.0, |s| rose.since(s.at).as_secs_f64());
    let stood_s = since(began);
    let early = |stood_s: f64| stood_s + within.time_s < level.delay_s;
    if early(stood_s) || began > at {
        return match began {
            // Smoke that stood before the readings begin, left over from another release, may have stood for longer.
            0 => Rise::NotReached,
            _ if began > at => Rise::Early(stood_s),
            // It may have stood so since right after the reading before.
            _ if early(since(began - 1)) => Rise::Early(stood_s),
            _ => Rise::TooSeldom,
        };
    }
    match due {
        Some((from, latest)) if rose > latest => Rise::Late(rose.since(from).as_secs_f64()),
        _ => Rise::InTime(stood_s),
    }
}

/// Whether more readings could still change what these levels did: one has not risen, and the smoke is over its threshold.
pub(crate) fn still_open(levels: &[Level], seen: &[Seen], within: Within) -> bool {
    let Some(last) = seen.last() else { return true };
    levels
        .iter()
        .any(|l| rise(l, seen, within) == Rise::NotReached && last.extinction >= l.highest * (1.0 + within.threshold))
}

/// Follows the levels as the smoke goes.
#[derive(Clone, Debug, Default)]
pub(crate) struct Goes {
    /// What was read lately: for as long as a level may take to follow.
    recent: VecDeque<Seen>,
}
impl Goes {
    /// Readings are missing: what went meanwhile is not known.
    pub(crate) fn gap(&mut self) {
        self.recent.clear();
    }
    /// Takes one more reading; gives how the levels that went with it did so.
    pub(crate) fn take(&mut self, seen: Seen, levels: &[Level], within: Within) -> Vec<(u8, Leaving)> {
        let before = self.recent.back().map_or(0, |s| s.reached);
        self.recent.push_back(seen);
        let follows = Duration::from_secs_f64(within.follows_s);
        while self.recent.get(1).is_some_and(|second| seen.at.since(second.at) >= follows) {
            self.recent.pop_front();
        }
        // Too short a stretch shows neither the one nor the other.
        if self.recent.front().is_none_or(|first| seen.at.since(first.at) < follows) {
            return Vec::new();
        }
        let share = |level: &Level, pick: fn(f64, f64) -> f64| {
            self.recent.iter().map(|s| s.extinction / level.threshold).reduce(pick).unwrap_or(f64::NAN)
        };
        let gone = levels.iter().filter(|l| before & !seen.reached & bit(l.number) != 0).map(|level| {
            let (least, most) = (share(level, f64::min), share(level, f64::max));
            let above = least * level.threshold / level.highest;
            let how = if above > 1.0 + within.threshold {
                Leaving::Above(above)
            } else if most < (1.0 - within.hysteresis) * (1.0 - within.threshold) {
                Leaving::Below(most)
            } else {
                Leaving::AtThreshold(least, most)
            };
            (level.number, how)
        });
        gone.collect()
    }
}

/// Between which shares of its threshold a level may act that went between these: how far under its threshold it does is its own.
pub(crate) fn may_act_at((least, most): (f64, f64), within: Within) -> (f64, f64) {
    (least * (1.0 - within.threshold), most * (1.0 + within.threshold) / (1.0 - within.hysteresis))
}

/// The finding about how a level went; `None`: it was not seen to go.
pub(crate) fn gone(stage: StageKind, level: u8, leaving: Option<Leaving>) -> Finding {
    let percent = |share: f64| alloc::format!("{:.0}", share * 100.0);
    let fact = match leaving {
        Some(Leaving::AtThreshold(..)) => fact::at_threshold(level),
        Some(Leaving::Above(share)) => fact::left_above(level, percent(share)),
        Some(Leaving::Below(share)) => fact::left_below(level, percent(share)),
        None => fact::leaving_not_seen(level),
    };
    let mut f = Finding::of(stage, Subject::Level(level), fact);
    if let Some(Leaving::AtThreshold(share, _) | Leaving::Above(share) | Leaving::Below(share)) = leaving {
        f.measured = Some(Figure::plain(share * 100.0, "%"));
    }
    f
}

/// The finding about a level's rise. `left_out`: the plan says by name that this level is not shown.
pub(crate) fn risen(level: &Level, rise: Rise, left_out: bool, within: Within) -> Finding {
    let n = level.number;
    let seconds = |s: f64| alloc::format!("{s:.0}");
    let delay = seconds(level.delay_s);
    let (fact, after) = match rise {
        Rise::InTime(after) => (fact::in_time(n), Some(after)),
        Rise::Seen(after) => (fact::seen(n), Some(after)),
        Rise::Early(after) => (fact::early(n, seconds(after), delay), Some(after)),
        Rise::Late(after) => (fact::late(n, seconds(after), delay), Some(after)),
        Rise::Never(after) => (fact::never(n, seconds(after), delay), Some(after)),
        Rise::NotReached | Rise::TooSeldom if left_out => (fact::left_out(n), None),
        Rise::TooSeldom => (fact::too_seldom(n), None),
        Rise::NotReached => (fact::not_reached(n), None),
    };
    let mut f = Finding::of(StageKind::ProveSmoke, Subject::Level(n), fact);
    f.measured = after.map(|s| Figure::plain(s, "s"));
    f.expected = Some(Figure::with(level.delay_s, within.time_s, "s"));
    f
}

/// Levels each of which rose in time, and yet nearer to the other's delay than to its own. Delays that lie nearer to each other than a rise
/// may be off can't be told apart.
pub(crate) fn exchanged(rises: &[(Level, Rise)], within: Within) -> Vec<Finding> {
    let mut found = Vec::new();
    let in_time =
        || rises.iter().filter_map(|(level, rise)| if let Rise::InTime(s) = rise { Some((level, *s)) } else { None });
    for (sooner, first) in in_time() {
        for (later, second) in in_time().filter(|(later, _)| later.delay_s - sooner.delay_s >= within.time_s) {
            let middle = 0.5 * (sooner.delay_s + later.delay_s);
            if first > middle && second < middle {
                let seconds = |s: f64| alloc::format!("{s:.0}");
                let fact = fact::exchanged(sooner.number, later.number, seconds(first), seconds(second));
                let mut f = Finding::of(StageKind::ProveSmoke, Subject::Level(later.number), fact);
                f.measured = Some(Figure::plain(second, "s"));
                f.expected = Some(Figure::with(later.delay_s, within.time_s, "s"));
                found.push(f);
            }
        }
    }
    found
}

/// What stands once the smoke is gone and before latches are reset, for the levels that had risen.
pub(crate) fn after_smoke(levels: &[Level], risen: u32, reached: u32, latched: u32) -> Vec<Finding> {
    let judged = levels.iter().filter(|l| risen & bit(l.number) != 0).map(|l| {
        let mine = bit(l.number);
        let fact = match (l.latches, latched & mine != 0, reached & mine != 0) {
            (true, true, _) => fact::latched(l.number),
            (true, false, _) => fact::not_latched(l.number),
            (false, true, _) => fact::latched_unasked(l.number),
            (false, false, true) => fact::stays(l.number),
            (false, false, false) => fact::went(l.number),
        };
        Finding::of(StageKind::Purge, Subject::Level(l.number), fact)
    });
    judged.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::{borrow::ToOwned, string::String};
    use plumeline_base::Verdict;

    const LEVEL: Level = Level { number: 2, threshold: 1e-3, highest: 1e-3, delay_s: 10.0, latches: true };
    const WITHIN: Within = Within { threshold: 0.1, time_s: 5.0, hysteresis: 0.25, follows_s: 2.0 };

    /// Smoke of this extinction from 20 s to 80 s; the level is reached from `rose` on.
    fn job(extinction: f64, rose: Option<u64>) -> Vec<Seen> {
        let reached = |t| if rose.is_some_and(|r| t >= r) { 0b10 } else { 0 };
        let at = |t: u64| Seen {
            at: Instant::from_secs(t),
            extinction: if (20..80).contains(&t) { extinction } else { 0.0 },
            reached: reached(t),
        };
        (0..100).map(at).collect()
    }

    #[test]
    fn a_level_rises_when_its_threshold_has_stood_for_its_delay() {
        assert_eq!(rise(&LEVEL, &job(2e-3, Some(30)), WITHIN), Rise::InTime(10.0));
        assert_eq!(rise(&LEVEL, &job(2e-3, Some(34)), WITHIN), Rise::InTime(14.0));
        assert_eq!(rise(&LEVEL, &job(2e-3, Some(40)), WITHIN), Rise::Late(20.0));
        assert_eq!(rise(&LEVEL, &job(2e-3, Some(22)), WITHIN), Rise::Early(2.0));
        assert_eq!(rise(&LEVEL, &job(2e-3, Some(10)), WITHIN), Rise::Early(0.0), "before the smoke");
        assert_eq!(rise(&LEVEL, &job(2e-3, None), WITHIN), Rise::Never(79.0));
        // Readings that come every ten seconds don't tell whether a rise came at once or after ten: that is no pass.
        let seldom: Vec<Seen> = job(2e-3, Some(30)).into_iter().step_by(10).collect();
        assert_eq!(rise(&LEVEL, &seldom, WITHIN), Rise::InTime(10.0));
        let seldom: Vec<Seen> = job(2e-3, Some(20)).into_iter().step_by(10).collect();
        assert_eq!(rise(&LEVEL, &seldom, WITHIN), Rise::TooSeldom);
        assert_eq!(risen(&LEVEL, Rise::TooSeldom, false, WITHIN).verdict, Verdict::Undecided);
        assert_eq!(Rise::TooSeldom.and(Rise::InTime(9.0)), Rise::InTime(9.0));
        // Nobody knows for how long smoke had stood that was there before.
        assert_eq!(rise(&LEVEL, &job(2e-3, Some(30))[27..], WITHIN), Rise::NotReached);
        assert_eq!(rise(&LEVEL, &job(2e-3, Some(30))[20..], WITHIN), Rise::InTime(10.0));
    }
    #[test]
    fn delays_in_exchanged_places_are_told_where_each_alone_is_in_time() {
        let level = |number, delay_s| Level { number, delay_s, ..LEVEL };
        let told = |a: (f64, Rise), b: (f64, Rise)| -> Vec<String> {
            let found = exchanged(&[(level(1, a.0), a.1), (level(2, b.0), b.1)], WITHIN);
            found.iter().map(|f| alloc::format!("{} {:?}", f.code.as_str(), f.subject)).collect()
        };
        let one = ["alarms.delays-exchanged Level(2)".to_owned()];
        assert_eq!(told((5.0, Rise::InTime(10.0)), (10.0, Rise::InTime(5.2))), one);
        let one = ["alarms.delays-exchanged Level(1)".to_owned()];
        assert_eq!(told((10.0, Rise::InTime(5.2)), (5.0, Rise::InTime(9.0))), one, "in either order");
        for sound in [
            ((5.0, Rise::InTime(5.0)), (10.0, Rise::InTime(10.0))),
            ((5.0, Rise::InTime(9.0)), (10.0, Rise::InTime(13.0))),
            ((5.0, Rise::InTime(5.0)), (10.0, Rise::InTime(6.0))),
            ((5.0, Rise::InTime(8.0)), (9.0, Rise::InTime(6.0))),
            ((5.0, Rise::Seen(10.0)), (10.0, Rise::Seen(5.0))),
        ] {
            assert!(told(sound.0, sound.1).is_empty(), "{sound:?}");
        }
    }
    #[test]
    fn what_the_smoke_does_not_reach_is_not_shown() {
        assert_eq!(rise(&LEVEL, &job(0.8e-3, None), WITHIN), Rise::NotReached);
        assert_eq!(rise(&LEVEL, &job(1.05e-3, None), WITHIN), Rise::NotReached, "too near the threshold to tell");
        assert_eq!(rise(&LEVEL, &job(1.05e-3, Some(30)), WITHIN), Rise::InTime(10.0));
        assert_eq!(rise(&LEVEL, &job(0.5e-3, Some(40)), WITHIN), Rise::Early(0.0), "another threshold is acted on");
        assert_eq!(rise(&LEVEL, &[], WITHIN), Rise::NotReached);
    }
    #[test]
    fn a_good_trial_does_not_make_a_bad_one_good() {
        assert_eq!(Rise::NotReached.and(Rise::InTime(9.0)), Rise::InTime(9.0));
        assert_eq!(Rise::Late(40.0).and(Rise::InTime(9.0)), Rise::Late(40.0));
        assert_eq!(Rise::InTime(9.0).and(Rise::Never(40.0)), Rise::Never(40.0));
    }
    #[test]
    fn a_trial_is_open_while_smoke_stands_over_a_threshold_that_has_not_risen() {
        let until = |t: usize, rose| job(2e-3, rose)[..t].to_vec();
        assert!(still_open(&[LEVEL], &until(25, None), WITHIN));
        assert!(!still_open(&[LEVEL], &until(40, None), WITHIN), "it never came");
        assert!(!still_open(&[LEVEL], &until(32, Some(30)), WITHIN));
        assert!(!still_open(&[LEVEL], &job(0.5e-3, None)[..40], WITHIN), "the smoke does not reach it");
        assert!(still_open(&[LEVEL], &[], WITHIN));
    }
    #[test]
    fn a_level_goes_at_its_threshold() {
        // The reading falls by a twentieth a second from three times the threshold; the level is left under `left`.
        let falling = |left: f64, gap_at: u64| {
            let (mut goes, mut found) = (Goes::default(), Vec::new());
            for t in 0..80 {
                let share = 3.0 * libm::pow(0.95, t as f64);
                let reached = if share >= left { 0b10 } else { 0 };
                let seen = Seen { at: Instant::from_secs(t), extinction: share * LEVEL.threshold, reached };
                if t == gap_at {
                    goes.gap();
                }
                found.extend(goes.take(seen, &[LEVEL], WITHIN));
            }
            found.first().copied().map(|(n, how)| (n, gone(StageKind::Purge, n, Some(how)).code.as_str().to_owned()))
        };
        let is = |code: &str| Some((2, code.to_owned()));
        assert_eq!(falling(1.0, 99), is("alarms.at-threshold"));
        assert_eq!(falling(0.9, 99), is("alarms.at-threshold"));
        assert_eq!(falling(1.4, 99), is("alarms.left-above"));
        assert_eq!(falling(0.4, 99), is("alarms.left-below"));
        assert_eq!(falling(0.75, 99), is("alarms.at-threshold"), "all the hysteresis that is allowed");
        let at = (libm::log(0.4 / 3.0) / libm::log(0.95)) as u64 + 1;
        assert_eq!(falling(0.4, at), None, "readings were missing when it went");
        assert_eq!(gone(StageKind::Purge, 2, None).code, "alarms.leaving-not-seen");
        let (at, above) = (Leaving::AtThreshold(0.85, 0.9), Leaving::Above(2.0));
        assert_eq!((at.and(above), above.and(at)), (above, above));
        assert_eq!(at.and(Leaving::AtThreshold(0.8, 0.88)), Leaving::AtThreshold(0.85, 0.88));
        let (low, high) = may_act_at((0.85, 0.9), WITHIN);
        assert!((low - 0.765).abs() < 1e-9 && (high - 1.32).abs() < 1e-9);
    }
    #[test]
    fn a_level_that_latches_stays_and_another_goes() {
        let codes = |latches, reached, latched| -> Vec<String> {
            let level = Level { latches, ..LEVEL };
            after_smoke(&[level], 0b10, reached, latched).iter().map(|f| f.code.as_str().into()).collect()
        };
        assert_eq!(codes(true, 0, 0b10), ["alarms.latched"]);
        assert_eq!(codes(true, 0, 0), ["alarms.not-latched"]);
        assert_eq!(codes(true, 0, 0b01), ["alarms.not-latched"]);
        assert_eq!(codes(false, 0, 0), ["alarms.went"]);
        assert_eq!(codes(false, 0, 0b10), ["alarms.latched-unasked"]);
        assert_eq!(codes(false, 0b10, 0), ["alarms.stays"]);
        assert_eq!(after_smoke(&[LEVEL], 0, 0, 0), [], "what never rose shows nothing here");
    }
}
