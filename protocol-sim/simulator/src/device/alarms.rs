//! Alarm levels: reached after their delay, latched if so set.
use super::config::Level;
use plumeline_base::Instant;

/// A level that was reached is left below this share of its threshold.
const LEAVE: f64 = 0.9;

/// State of all levels. Bit 0 is level 1.
#[derive(Clone, Debug, Default)]
pub(crate) struct Alarms {
    over_since: Vec<Option<Instant>>,
    pub(crate) reached: u32,
    pub(crate) latched: u32,
}
impl Alarms {
    /// Judges a reading; gives the levels newly reached and newly left.
    pub(crate) fn judge(&mut self, now: Instant, levels: &[Level], extinction_per_m: f64) -> (u32, u32) {
        self.over_since.resize(levels.len(), None);
        let before = self.reached;
        for (n, (level, since)) in levels.iter().zip(&mut self.over_since).enumerate() {
            let bit = 1 << n;
            let share = if self.reached & bit != 0 { LEAVE } else { 1.0 };
            if extinction_per_m < level.threshold.0 * share {
                *since = None;
                self.reached &= !bit;
            } else {
                let since = *since.get_or_insert(now);
                if now.since(since).as_secs_f64() >= level.delay_s {
                    self.reached |= bit;
                    if level.latched {
                        self.latched |= bit;
                    }
                }
            }
        }
        (self.reached & !before, before & !self.reached)
    }
    /// Levels that an output follows: reached, or still latched.
    pub(crate) const fn shown(&self) -> u32 {
        self.reached | self.latched
    }
    /// Lets go what is no longer reached.
    pub(crate) const fn reset(&mut self) {
        self.latched &= self.reached;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_base::obscuration::Extinction;
    #[test]
    fn delay_latch_and_reset() {
        let levels = [Level { threshold: Extinction(1e-3), delay_s: 5.0, latched: true }];
        let mut a = Alarms::default();
        let at = Instant::from_secs;
        assert_eq!(a.judge(at(0), &levels, 2e-3), (0, 0));
        assert_eq!(a.judge(at(4), &levels, 2e-3), (0, 0));
        assert_eq!(a.judge(at(5), &levels, 2e-3), (1, 0));
        a.reset();
        assert_eq!(a.latched, 1, "still reached");
        assert_eq!(a.judge(at(6), &levels, 0.95e-3), (0, 0), "not left before nine tenths");
        assert_eq!(a.judge(at(7), &levels, 0.5e-3), (0, 1));
        assert_eq!(a.shown(), 1);
        a.reset();
        assert_eq!(a.shown(), 0);
        // A short whiff starts the delay anew.
        a.judge(at(8), &levels, 2e-3);
        a.judge(at(12), &levels, 0.0);
        assert_eq!(a.judge(at(13), &levels, 2e-3), (0, 0));
    }
}
