//! The clocks of pages, each start of a page its own, tied to log time. Not here: the tie itself (the measure crate).
use plumeline_base::{Instant, input::Mark};
use plumeline_measure::{
    Error,
    clock::{Exchange, Rule},
    far_clock::FarClock,
};
use std::collections::{BTreeMap, VecDeque};

/// What is known of a phone's clock beforehand: common practice, no source. Browsers count in steps of up to a millisecond.
const RULE: Rule = Rule { max_drift_ppm: 500.0, max_delay_s: 2.0, resolution_s: 1e-3, reach_s: 3600.0 };
/// So many starts of one page are remembered.
const STARTS: usize = 8;
/// A page answers sooner, or not at all: so many pings are under way at most.
const UNDER_WAY: usize = 16;

/// The clocks of one page.
pub struct Clocks {
    /// How many times as fast as the page's clock log time runs: 1 but for simulated sites.
    speed: f64,
    starts: VecDeque<(String, FarClock)>,
    pings: BTreeMap<u32, Instant>,
    next: u32,
}

/// How a moment of this page stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tied {
    /// Standard uncertainty of a moment now, s of log time.
    pub u_s: f64,
    /// Drift, parts per million.
    pub drift_ppm: f64,
}

impl Clocks {
    /// No clock yet.
    pub fn new(speed: f64) -> Self {
        Self { speed, starts: VecDeque::new(), pings: BTreeMap::new(), next: 0 }
    }
    /// The number of a ping that leaves now.
    pub fn ping(&mut self, now: Instant) -> u32 {
        self.next = self.next.wrapping_add(1);
        self.pings.insert(self.next, now);
        while self.pings.len() > UNDER_WAY {
            self.pings.pop_first();
        }
        self.next
    }
    /// No answer to what was sent before comes on this connection.
    pub fn reconnected(&mut self) {
        self.pings.clear();
    }
    fn scaled(&self, us: u64) -> u64 {
        if self.speed == 1.0 { us } else { (us as f64 * self.speed) as u64 }
    }
    /// The answer to a ping.
    ///
    /// # Errors
    /// It is no answer to one that is under way, or its times can't be so. A clock that was set is an error, and is tied anew.
    pub fn pong(&mut self, boot: &str, n: u32, got_us: u64, sent_us: u64, now: Instant) -> Result<(), String> {
        let sent = self.pings.remove(&n).ok_or("an answer to no ping")?;
        let exchange = Exchange {
            sent,
            device_received_us: self.scaled(got_us),
            device_sent_us: self.scaled(sent_us),
            received: now,
        };
        let rule = Rule {
            max_delay_s: RULE.max_delay_s * self.speed,
            resolution_s: RULE.resolution_s * self.speed,
            reach_s: RULE.reach_s * self.speed,
            ..RULE
        };
        if !self.starts.iter().any(|(b, _)| b == boot) {
            self.starts.push_back((boot.into(), FarClock::new(rule)));
            if self.starts.len() > STARTS {
                self.starts.pop_front();
            }
        }
        let clock = self.starts.iter_mut().find(|(b, _)| b == boot);
        match clock.map_or(Ok(()), |(_, clock)| clock.push(&exchange)) {
            // A slow one is left out, and the tie stands.
            Ok(()) | Err(Error::BadExchange { .. } | Error::OutOfOrder { .. }) => Ok(()),
            Err(error) => Err(error.to_string()),
        }
    }
    /// The mark of a touch; `None`: the clock of that start isn't tied to the log's there.
    pub fn mark(&self, boot: &str, touched_us: u64) -> Option<Mark> {
        let (_, clock) = self.starts.iter().find(|(b, _)| b == boot)?;
        let mapped = clock.map(self.scaled(touched_us)).ok()?;
        let u_us = (mapped.u_s * 1e6).ceil();
        (u_us.is_finite() && u_us <= f64::from(u32::MAX)).then_some(Mark { at: mapped.at, u_us: (u_us as u32).max(1) })
    }
    /// How well a moment of this start would be tied.
    pub fn tied(&self, boot: &str, at_us: u64) -> Option<Tied> {
        let (_, clock) = self.starts.iter().find(|(b, _)| b == boot)?;
        let u_s = clock.map(self.scaled(at_us)).ok()?.u_s;
        Some(Tied { u_s, drift_ppm: clock.drift_ppm()?.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn s(s: f64) -> Instant {
        Instant::START + Duration::from_secs_f64(s)
    }
    /// A page whose clock began 100 s of its own before log time, over a line of 20 ms each way.
    fn exchange(clocks: &mut Clocks, boot: &str, at: f64) -> Result<(), String> {
        let n = clocks.ping(s(at));
        let us = ((at + 0.02) / clocks.speed * 1e6) as u64 + 100_000_000;
        clocks.pong(boot, n, us, us, s(at + 0.04))
    }

    #[test]
    fn a_touch_counts_by_its_own_clock() {
        for speed in [1.0, 20.0] {
            let mut clocks = Clocks::new(speed);
            assert_eq!(clocks.mark("a", 5), None);
            for n in 0..8 {
                exchange(&mut clocks, "a", 10.0 + f64::from(n)).unwrap();
            }
            let mark = clocks.mark("a", 100_000_000 + (15.0 / speed * 1e6) as u64).unwrap();
            assert!((mark.at.as_micros() as f64 * 1e-6 - 15.0).abs() < 0.001 * speed, "{mark:?}");
            assert!(mark.u_s() < 0.02 * speed && mark.u_s() > 0.005);
            // Another start of the page has another clock.
            assert_eq!(clocks.mark("b", 100_000_000), None);
        }
    }
    #[test]
    fn made_up_answers_tie_nothing() {
        let mut clocks = Clocks::new(1.0);
        assert!(clocks.pong("a", 7, 1, 1, s(1.0)).is_err());
        let n = clocks.ping(s(1.0));
        // Held for longer than it was away.
        assert!(clocks.pong("a", n, 0, 9_000_000, s(1.1)).is_ok());
        assert_eq!(clocks.mark("a", 5), None);
        assert!(clocks.pong("a", n, 1, 1, s(1.1)).is_err(), "twice");
        exchange(&mut clocks, "a", 2.0).unwrap();
        assert!(clocks.mark("a", u64::MAX).is_none() && clocks.mark("a", 101_900_000).is_some());
    }
}
