//! Why readings, limits or rules can't be judged, each with its remedy.
use core::{fmt, time::Duration};
use plumeline_base::Instant;
use serde::Serialize;

/// Evidence or a rule that can't be used. Never a verdict: whoever sees one is left undecided.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Error {
    /// A reading is not a finite number.
    NotANumber {
        /// The reading's instant.
        at: Instant,
    },
    /// A reading is not later than the one before it.
    OutOfOrder {
        /// The reading's instant.
        at: Instant,
        /// That of the one before it.
        before: Instant,
    },
    /// A reading stands out so far that it belongs to no mean.
    Outlier {
        /// The reading's instant.
        at: Instant,
        /// What was read.
        value: f64,
    },
    /// Readings are missing.
    Gap {
        /// The last reading before the gap.
        after: Instant,
        /// How long nothing was read.
        missing: Duration,
    },
    /// The last reading is too old to speak for now.
    Stale {
        /// The last reading.
        last: Instant,
        /// How old it is.
        age: Duration,
    },
    /// Too few readings.
    TooFew {
        /// How many there are.
        have: usize,
        /// How many are needed.
        need: usize,
    },
    /// Every reading is the same: a stuck sensor, not a quiet one.
    Stuck {
        /// The first of the equal readings.
        since: Instant,
    },
    /// The readings hang together so strongly that their mean has no usable uncertainty.
    TooCorrelated {
        /// Lag-1 autocorrelation.
        lag1: f64,
    },
    /// An estimate is not finite, or its uncertainty is negative, zero or missing.
    UnsoundEstimate,
    /// A rule's parameter is out of its range.
    BadRule {
        /// Which parameter.
        what: &'static str,
        /// Its range.
        range: &'static str,
    },
    /// A clock exchange that can't be true: the reply would have come before the request, or took too long.
    BadExchange {
        /// When the reply came.
        at: Instant,
    },
    /// The device's clock jumped or its drift is beyond the bound: ties made before this are void.
    ClockJump {
        /// When it was noticed.
        at: Instant,
        /// By how much the clock was off the tie, s.
        by_s: f64,
    },
    /// An instant lies too far from the exchanges that the tie rests on.
    BeyondTie {
        /// How far beyond.
        by: Duration,
    },
    /// A run was to be set aside after its result was known, or a result came for no open run.
    RunOrder {
        /// What was wrong.
        what: &'static str,
    },
}

impl Error {
    /// What to do about it, in plain words.
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::NotANumber { .. } => "find out why the unit sends no number (sensor fault, link), then read again",
            Self::OutOfOrder { at, before } if at.as_micros() == before.as_micros() => {
                "give each reading its own time: two are stored with the same"
            }
            Self::OutOfOrder { .. } => "sort the readings by time, or look for a clock that was set back",
            Self::Outlier { .. } => "find out what it is; leave it out by hand if it is no reading, and say so",
            Self::Gap { .. } => "wait for a whole window without a gap; check the link if gaps come again",
            Self::Stale { .. } => "wait for new readings; check that the link is up",
            Self::TooFew { .. } => "read for longer or faster",
            Self::Stuck { .. } => "a live sensor never reads the same for so long: check the sensor and its resolution",
            Self::TooCorrelated { .. } => "read for longer, or wait until the readings stop wandering",
            Self::UnsoundEstimate => "look for the missing or corrupt reading behind this value; it is not judged",
            Self::BadRule { .. } => "correct the parameter in the job's rule",
            Self::BadExchange { .. } => "repeat the clock exchange",
            Self::ClockJump { .. } => "make new clock exchanges; repeat what was timed across the jump",
            Self::BeyondTie { .. } => "make a clock exchange close to the moments that are to be timed",
            Self::RunOrder { .. } => "open a run, set it aside or give its result, in this order",
        }
    }
}
impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotANumber { at } => write!(f, "the reading at {at} is not a number"),
            Self::OutOfOrder { at, before } if at == before => {
                write!(f, "the reading at {at} has the same time as the one before it")
            }
            Self::OutOfOrder { at, .. } => write!(f, "the reading at {at} is not later than the one before it"),
            Self::Outlier { at, value } => write!(f, "the reading at {at} is {value:e}, far off all others"),
            Self::Gap { after, missing } => write!(f, "no readings for {:.1} s after {after}", missing.as_secs_f64()),
            Self::Stale { last, age } => {
                write!(f, "the last reading, at {last}, is {:.1} s old", age.as_secs_f64())
            }
            Self::TooFew { have, need } => write!(f, "{have} readings where {need} are needed"),
            Self::Stuck { since } => write!(f, "every reading since {since} is the same"),
            Self::TooCorrelated { lag1 } => write!(f, "readings hang together (lag-1 autocorrelation {lag1:.3})"),
            Self::UnsoundEstimate => f.write_str("a value is not finite, or its uncertainty is negative or missing"),
            Self::BadRule { what, range } => write!(f, "{what} must be {range}"),
            Self::BadExchange { at } => write!(f, "the clock exchange that ended at {at} can't be true"),
            Self::ClockJump { at, by_s } => write!(f, "the unit's clock was off by {by_s:+.3} s at {at}"),
            Self::BeyondTie { by } => write!(f, "the moment lies {:.1} s beyond the clock tie", by.as_secs_f64()),
            Self::RunOrder { what } => f.write_str(what),
        }
    }
}
impl core::error::Error for Error {}
