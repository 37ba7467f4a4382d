//! A tie to a clock across a network whose delays vary a hundredfold and are as lopsided as they like: of all exchanges only the
//! quickest are used, as the clock filter of RFC 5905 (section 10) does.
//!
//! An exchange bounds the offset by half of its delay. Where slow ones are averaged in, their lopsidedness adds up and no spread
//! tells of it; among exchanges of nearly the same delay the bound of the quickest holds for all. Not here: the line through the
//! offsets ([`crate::clock`]).
use crate::{
    Error,
    clock::{Exchange, Mapped, Offset, Rule, Tie},
};
use alloc::collections::VecDeque;

/// So many exchanges are kept to choose from (practice, no source).
const KEPT: usize = 64;
/// Those no slower than this many times the quickest are used: the bound of the slowest, half of its delay, is then still
/// within two standard uncertainties of the quickest (1.15 / 2 against 2 / sqrt(12)).
const AS_QUICK: f64 = 1.15;

/// The tie of a far clock.
#[derive(Clone, Debug)]
pub struct FarClock {
    rule: Rule,
    /// In order, with what each told.
    kept: VecDeque<(Exchange, Offset)>,
    tie: Tie,
    /// What the far clock showed at the first exchange of this tie: before that it may have been set or stood still.
    since_us: Option<u64>,
    jumped: bool,
}

impl FarClock {
    /// No exchange yet.
    pub fn new(rule: Rule) -> Self {
        Self { rule, kept: VecDeque::new(), tie: Tie::new(rule), since_us: None, jumped: false }
    }
    /// Takes an exchange.
    ///
    /// # Errors
    /// As [`Tie::push`]. After [`Error::ClockJump`] only moments behind the jump can be mapped.
    pub fn push(&mut self, e: &Exchange) -> Result<(), Error> {
        // Each is held against the one before it, used or not.
        let mut pair = Tie::new(self.rule);
        if let Some((last, _)) = self.kept.back() {
            pair.push(last)?;
        }
        let (offset, jump) = match pair.push(e) {
            Ok(offset) => (offset, None),
            Err(jump @ Error::ClockJump { .. }) => (crate::clock::exchange(e)?, Some(jump)),
            Err(error) => return Err(error),
        };
        if jump.is_some() {
            self.kept.clear();
            self.since_us = None;
            self.jumped = true;
        }
        self.since_us.get_or_insert(e.device_received_us);
        self.kept.push_back((*e, offset));
        if self.kept.len() > KEPT {
            self.kept.pop_front();
        }
        self.tie = self.of_quickest();
        jump.map_or(Ok(()), Err)
    }
    /// The tie of the exchanges that bound the offset best by now: what an earlier one told has drifted since.
    fn of_quickest(&self) -> Tie {
        let latest = self.kept.back().map(|(_, o)| o.at);
        let bound = |o: &Offset| {
            let age = latest.map_or(0.0, |latest| latest.since(o.at).as_secs_f64());
            o.delay_s + self.rule.resolution_s + 2.0 * self.rule.max_drift_ppm * 1e-6 * age
        };
        let least = self.kept.iter().map(|(_, o)| bound(o)).fold(f64::INFINITY, f64::min);
        let mut tie = Tie::new(self.rule);
        for (e, _) in self.kept.iter().filter(|(_, o)| bound(o) <= AS_QUICK * least) {
            // Each was sound and in order when it came, and no two of these can be a jump apart.
            let _ = tie.push(e);
        }
        tie
    }
    /// Maps a moment of the far clock, in us, to log time.
    ///
    /// # Errors
    /// As [`Tie::map`]; [`Error::BeyondTie`] also for moments before the far clock was found to have been set.
    pub fn map(&self, device_us: u64) -> Result<Mapped, Error> {
        if let Some(since) = self.since_us.filter(|since| self.jumped && device_us < *since) {
            return Err(Error::BeyondTie { by: core::time::Duration::from_micros(since - device_us) });
        }
        self.tie.map(device_us)
    }
    /// Drift in parts per million with its standard uncertainty; `None` without an exchange.
    pub fn drift_ppm(&self) -> Option<(f64, f64)> {
        self.tie.drift_ppm()
    }
}
