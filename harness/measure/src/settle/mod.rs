//! Tells when a reading is steady, and if not, why not and how long to wait.
//!
//! Steady means: over two adjacent windows that do not overlap, the whole confidence interval of the trend lies
//! within the limit over both and from one to the other, that of the later window is within it as far as its scatter tells, and nothing else is
//! amiss (step, oscillation, spikes, gap, stuck sensor). Looks are
//! made on a preset schedule, and the error rate is shared out over all looks up to the deadline.
//!
//! Not here: what to do about it.
use crate::{Sample, mean::Mean};
use alloc::collections::VecDeque;
use core::time::Duration;
use plumeline_base::{Instant, time::micros};
use serde::{Deserialize, Serialize};

mod look;

/// A limit given in the unit of the reading, or as a share of the mean.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Limit {
    /// Share of the absolute mean: 0.01 is 1 %.
    Relative(f64),
    /// In the unit of the reading.
    Absolute(f64),
}

/// When a reading counts as steady. Part of the job.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rule {
    /// Length of each of the two windows.
    pub window: Duration,
    /// Largest trend per minute that is steady.
    pub slope_limit: Limit,
    /// Largest amplitude (half of peak to peak) of a regular oscillation.
    pub oscillation_limit: Limit,
    /// Largest step within the two windows.
    pub step_limit: Limit,
    /// A reading further than this (and than six times the scatter) from its neighbourhood is a spike.
    pub spike_limit: Limit,
    /// Spikes that are set aside within the two windows, or 2 % of the readings if that is more; more still are a reason to wait.
    pub spikes_allowed: usize,
    /// Step of the display or of the transmitted number, unit of the reading.
    pub resolution: f64,
    /// Longest time between readings that is no gap.
    pub max_gap: Duration,
    /// Fewest readings per second over the windows.
    pub min_rate_hz: f64,
    /// Stop waiting this long after the start.
    pub deadline: Duration,
    /// Probability that a reading which is not steady at any time up to the deadline is never called steady, for example 0.99.
    pub confidence: f64,
}
impl Default for Rule {
    /// Windows of 60 s, trend 2 %/min, oscillation 2 %, step 2 %, spikes over 5 % (two set aside), no resolution,
    /// gaps up to 3 s, 0.5 Hz, 30 min, 99 %. Common practice, no source.
    fn default() -> Self {
        Self {
            window: Duration::from_secs(60),
            slope_limit: Limit::Relative(0.02),
            oscillation_limit: Limit::Relative(0.02),
            step_limit: Limit::Relative(0.02),
            spike_limit: Limit::Relative(0.05),
            spikes_allowed: 2,
            resolution: 0.0,
            max_gap: Duration::from_secs(3),
            min_rate_hz: 0.5,
            deadline: Duration::from_secs(1800),
            confidence: 0.99,
        }
    }
}

/// A trend with its interval, per minute, unit of the reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Slope {
    /// Best estimate, per minute.
    pub per_minute: f64,
    /// Half width of its interval at this look, per minute.
    pub half_width: f64,
}

/// Why it is not steady yet.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// The two windows are not full yet.
    WindowsNotFull,
    /// Readings were missing within the windows.
    Gap {
        /// Last reading before it.
        after: Instant,
        /// How long nothing was read.
        missing: Duration,
    },
    /// The unit restarted within the windows.
    Restart {
        /// When.
        at: Instant,
    },
    /// The latest reading is older than the longest gap allowed.
    Stale {
        /// The latest reading.
        last: Instant,
    },
    /// Fewer readings per second than the rule asks for.
    TooSlow {
        /// Readings per second.
        rate_hz: f64,
    },
    /// It still moves.
    Trend {
        /// The worst of the trends.
        slope: Slope,
        /// The limit, per minute, unit of the reading.
        limit: f64,
    },
    /// The trend may be within the limit, but the scatter hides it.
    Scatter {
        /// The worst of the trends.
        slope: Slope,
        /// The limit, per minute, unit of the reading.
        limit: f64,
    },
    /// It jumped within the windows.
    Step {
        /// When.
        at: Instant,
        /// By how much, unit of the reading.
        by: f64,
    },
    /// It swings regularly.
    Oscillation {
        /// Half of peak to peak, unit of the reading.
        amplitude: f64,
        /// Period, s.
        period_s: f64,
    },
    /// More spikes than the rule sets aside.
    Spikes {
        /// How many within the windows.
        count: usize,
        /// The latest.
        last: Instant,
    },
}

/// What makes the reading useless.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fault {
    /// The sensor reads the same all the time.
    Stuck {
        /// What it reads.
        value: f64,
        /// Since when.
        since: Instant,
    },
    /// A reading was not a number.
    NotANumber {
        /// When.
        at: Instant,
    },
    /// A reading came that was not later than the one before it.
    OutOfOrder {
        /// When.
        at: Instant,
        /// The reading before it.
        before: Instant,
    },
    /// The rule itself can't be used.
    BadRule {
        /// Which parameter.
        what: &'static str,
    },
}

/// What is known at an instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Steady at the last look.
    Steady {
        /// Mean over both windows (no calibration term; 95 %).
        mean: Mean,
        /// Trend over both windows, and from the mean of the earlier to that of the later.
        slopes: [Slope; 2],
        /// The limit that the intervals lie within, per minute, unit of the reading.
        limit: f64,
        /// The first look of an unbroken row of looks at which it was steady.
        since: Instant,
        /// How many single readings stood out so far that they are left out of the mean.
        set_aside: usize,
    },
    /// Not steady yet.
    NotYet {
        /// Why.
        because: Reason,
        /// How long it will take at least, if that can be told.
        wait_estimate: Option<Duration>,
    },
    /// The reading can't be judged.
    Faulty {
        /// Why.
        because: Fault,
    },
    /// Not steady by the deadline.
    DeadlinePassed {
        /// What stood in the way last.
        because: Reason,
    },
}

/// Looks per window.
const LOOKS: u32 = 4;
/// So many readings off the mean are a departure.
const DEPARTED: usize = 3;

/// Follows one reading. Feed it every sample; ask for the state at any time.
#[derive(Clone, Debug)]
pub struct Settler {
    rule: Rule,
    started: Instant,
    readings: VecDeque<Sample>,
    /// The first reading of the unbroken record, and what broke the one before.
    unbroken_from: Option<Instant>,
    broken_by: Option<Reason>,
    fault: Option<Fault>,
    next_look: Instant,
    last_look: Look,
    steady_since: Option<Instant>,
}

/// What the last look saw.
#[derive(Clone, Copy, Debug)]
enum Look {
    None,
    Steady { mean: Mean, slopes: [Slope; 2], limit: f64, set_aside: usize },
    NotYet { because: Reason, wait: Option<Duration> },
}

impl Settler {
    /// Starts to follow; the deadline counts from `started`.
    pub fn new(rule: Rule, started: Instant) -> Self {
        let next_look = started + rule.window.saturating_mul(2);
        let fault = rule.check().err().map(|what| Fault::BadRule { what });
        Self {
            rule,
            started,
            readings: VecDeque::new(),
            unbroken_from: None,
            broken_by: None,
            fault,
            next_look,
            last_look: Look::None,
            steady_since: None,
        }
    }
    /// Takes a reading. Cheap: the work is done at the looks, every quarter of a window.
    pub fn push(&mut self, sample: Sample) {
        if matches!(self.fault, Some(Fault::BadRule { .. })) {
            return;
        }
        let last = self.readings.back().map(|s| s.at);
        if !sample.value.is_finite() {
            return self.fail(Fault::NotANumber { at: sample.at });
        }
        if let Some(before) = last.filter(|last| sample.at <= *last) {
            return self.fail(Fault::OutOfOrder { at: sample.at, before });
        }
        if let Some(after) = last
            && sample.at.since(after) > self.rule.max_gap
        {
            self.begin_again(Reason::Gap { after, missing: sample.at.since(after) });
        }
        self.unbroken_from.get_or_insert(sample.at);
        self.readings.push_back(sample);
        let oldest = sample.at - self.rule.window * 2;
        while self.readings.front().is_some_and(|s| s.at < oldest) {
            self.readings.pop_front();
        }
        let departs = self.departs();
        if sample.at >= self.next_look || departs {
            self.look(sample.at);
            let stride = micros(self.rule.window / LOOKS).max(1);
            let done = micros(sample.at.since(self.started)) / stride;
            self.next_look = self.started + Duration::from_micros(stride.saturating_mul(done.saturating_add(1)));
        }
    }
    /// True if the last readings lie off the mean that was called steady: it is looked at again before its time. Such a look can only take
    /// back what was said, and so costs nothing of the error rate.
    fn departs(&self) -> bool {
        let Look::Steady { mean, .. } = self.last_look else { return false };
        let far = self.rule.step_limit.of(mean.estimate.value).max(6.0 * mean.sd);
        let mut last = self.readings.iter().rev().take(DEPARTED);
        last.len() == DEPARTED && last.all(|s| (s.value - mean.estimate.value).abs() > far)
    }
    /// No more readings come: looks at what was read last, whatever the schedule.
    pub fn conclude(&mut self) {
        if let Some(last) = self.readings.back().map(|s| s.at) {
            self.look(last);
        }
    }
    /// Readings are known to be missing up to `at` (a lost link, refused polls).
    pub fn gap(&mut self, at: Instant) {
        let after = self.readings.back().map_or(self.started, |s| s.at);
        self.begin_again(Reason::Gap { after, missing: at.since(after) });
    }
    /// The unit restarted at `at`: what was read before counts no more.
    pub fn restart(&mut self, at: Instant) {
        self.begin_again(Reason::Restart { at });
    }
    /// What is known at `now`.
    pub fn state(&self, now: Instant) -> State {
        if let Some(because) = self.fault {
            return State::Faulty { because };
        }
        let until_full = self.unbroken_from.map(|from| (self.rule.window * 2).saturating_sub(now.since(from)));
        let (because, wait_estimate) = match (self.readings.back(), self.last_look) {
            (Some(last), _) if now.since(last.at) > self.rule.max_gap => (Reason::Stale { last: last.at }, None),
            (Some(_), Look::Steady { mean, slopes, limit, set_aside }) => {
                let since = self.steady_since.unwrap_or(now);
                return State::Steady { mean, slopes, limit, since, set_aside };
            }
            (Some(_), Look::NotYet { because, wait }) => (because, wait),
            _ => (self.broken_by.unwrap_or(Reason::WindowsNotFull), until_full),
        };
        if now.since(self.started) > self.rule.deadline {
            State::DeadlinePassed { because }
        } else {
            State::NotYet { because, wait_estimate }
        }
    }
    /// The rule followed.
    pub fn rule(&self) -> &Rule {
        &self.rule
    }

    fn begin_again(&mut self, because: Reason) {
        self.readings.clear();
        self.unbroken_from = None;
        self.broken_by = Some(because);
        self.last_look = Look::None;
        self.steady_since = None;
    }
    fn fail(&mut self, fault: Fault) {
        self.begin_again(Reason::WindowsNotFull);
        self.fault = Some(fault);
    }

    /// Judges the two windows that end at `now`.
    fn look(&mut self, now: Instant) {
        let full = self.unbroken_from.is_some_and(|from| now.since(from) + self.rule.max_gap >= self.rule.window * 2);
        let covered =
            self.readings.front().is_some_and(|s| now.since(s.at) + self.rule.max_gap >= self.rule.window * 2);
        if !(full && covered) {
            return;
        }
        self.fault = None;
        let readings = self.readings.make_contiguous();
        let in_time = now.since(self.started) <= self.rule.deadline || self.steady_since.is_some();
        let found = look::judge(readings, now, &self.rule, self.rule.risk_per_look());
        self.last_look = match found {
            look::Found::Stuck { value, since } => {
                self.fault = Some(Fault::Stuck { value, since });
                Look::None
            }
            look::Found::Not { because, wait } => Look::NotYet { because, wait },
            look::Found::Steady { mean, slopes, limit, set_aside } if in_time => {
                Look::Steady { mean, slopes, limit, set_aside }
            }
            look::Found::Steady { slopes, limit, .. } => {
                Look::NotYet { because: Reason::Scatter { slope: slopes[0], limit }, wait: None }
            }
        };
        self.steady_since = match self.last_look {
            Look::Steady { .. } => self.steady_since.or(Some(now)),
            _ => None,
        };
    }
}

impl Rule {
    /// The error rate of one look: shared out evenly over all looks up to the deadline, so that the rates add up
    /// however the looks depend on one another (linear spending, Lan & DeMets, Biometrika 70 (1983) 659; Bonferroni).
    fn risk_per_look(&self) -> f64 {
        let looks = micros(self.deadline) / micros(self.window / LOOKS).max(1);
        (1.0 - self.confidence) / looks.saturating_sub(u64::from(2 * LOOKS) - 1).max(1) as f64
    }
    /// The first parameter that is out of its range.
    fn check(&self) -> Result<(), &'static str> {
        let limit = |l: Limit| match l {
            Limit::Relative(v) | Limit::Absolute(v) => v.is_finite() && v > 0.0,
        };
        let checks = [
            (
                self.window >= Duration::from_secs(1) && self.window <= Duration::from_secs(86_400),
                "window (1 s to 1 day)",
            ),
            (limit(self.slope_limit), "slope_limit (positive)"),
            (limit(self.oscillation_limit), "oscillation_limit (positive)"),
            (limit(self.step_limit), "step_limit (positive)"),
            (limit(self.spike_limit), "spike_limit (positive)"),
            (self.resolution.is_finite() && self.resolution >= 0.0, "resolution (not negative)"),
            (
                !self.max_gap.is_zero() && self.max_gap <= self.window / LOOKS,
                "max_gap (at most a quarter of the window)",
            ),
            (self.min_rate_hz.is_finite() && self.min_rate_hz > 0.0, "min_rate_hz (positive)"),
            (self.deadline >= self.window.saturating_mul(2), "deadline (at least two windows)"),
            (self.confidence > 0.5 && self.confidence < 1.0, "confidence (over 0.5, under 1)"),
        ];
        checks.iter().find(|(sound, _)| !sound).map_or(Ok(()), |(_, what)| Err(what))
    }
}

impl Limit {
    /// The limit in the unit of the reading.
    pub fn of(self, mean: f64) -> f64 {
        match self {
            Self::Relative(share) => share * mean.abs(),
            Self::Absolute(limit) => limit,
        }
    }
}
