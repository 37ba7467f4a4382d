//! Tells when a reading is steady, and if not, why not and how long to wait.
//!
//! Steady means: over two adjacent windows that do not overlap, the whole confidence interval of the trend lies
//! within the limit in each window and from one to the other, and nothing else is amiss (step, oscillation, spikes, gap, stuck sensor). Looks are
//! made on a preset schedule, and the error rate is shared out over all looks up to the deadline.
//!
//! Not here: what to do about it.
use crate::{Sample, mean::Mean};
use core::time::Duration;
use plumeline_base::Instant;
use serde::{Deserialize, Serialize};

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
    /// Spikes that are set aside within the two windows; more are a reason to wait.
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
        /// Trend of the earlier window, of the later one, and from one to the other.
        slopes: [Slope; 3],
        /// The limit that the intervals lie within, per minute, unit of the reading.
        limit: f64,
        /// The first look of an unbroken row of looks at which it was steady.
        since: Instant,
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

/// Follows one reading. Feed it every sample; ask for the state at any time.
#[derive(Clone, Debug)]
pub struct Settler {
    rule: Rule,
    started: Instant,
}
impl Settler {
    /// Starts to follow; the deadline counts from `started`.
    pub fn new(rule: Rule, started: Instant) -> Self {
        Self { rule, started }
    }
    /// Takes a reading. Cheap: the work is done at the looks, every quarter of a window.
    pub fn push(&mut self, sample: Sample) {
        let _ = sample;
    }
    /// Readings are known to be missing up to `at` (a lost link, refused polls).
    pub fn gap(&mut self, at: Instant) {
        let _ = at;
    }
    /// The unit restarted at `at`: what was read before counts no more.
    pub fn restart(&mut self, at: Instant) {
        let _ = at;
    }
    /// What is known at `now`.
    pub fn state(&self, now: Instant) -> State {
        let because = Reason::WindowsNotFull;
        if now.since(self.started) > self.rule.deadline {
            State::DeadlinePassed { because }
        } else {
            State::NotYet { because, wait_estimate: None }
        }
    }
    /// The rule followed.
    pub fn rule(&self) -> &Rule {
        &self.rule
    }
}
