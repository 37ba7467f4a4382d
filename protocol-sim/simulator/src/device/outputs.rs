//! Outputs: what they follow, the inhibit on a lease, the drive test.
use crate::models::Follows;
use plumeline_base::Instant;
use plumewire::Faults;
use std::time::Duration;

/// After a lapse the fault stands at least this long before outputs are given back, so that it is seen first.
const FAULT_FIRST: Duration = Duration::from_secs(5);

/// The inhibit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Inhibit {
    #[default]
    Free,
    Leased {
        lease: u32,
        until: Instant,
    },
    Lapsed {
        lease: u32,
        since: Instant,
    },
}
impl Inhibit {
    /// Outputs that follow alarms are held back.
    pub(crate) const fn holds(self) -> bool {
        !matches!(self, Self::Free)
    }
    /// Time goes by; `clear` means: no smoke, no latches, nothing driven. True if something changed.
    pub(crate) fn tick(&mut self, now: Instant, clear: bool) -> bool {
        match *self {
            Self::Leased { lease, until } if now >= until => {
                *self = Self::Lapsed { lease, since: now };
                true
            }
            Self::Lapsed { since, .. } if clear && now.since(since) >= FAULT_FIRST => {
                *self = Self::Free;
                true
            }
            _ => false,
        }
    }
}

/// What holds outputs back or operates them besides what they follow.
#[derive(Clone, Debug, Default)]
pub(crate) struct Control {
    pub(crate) inhibit: Inhibit,
    /// Leases given so far.
    pub(crate) leases: u32,
    pub(crate) driven: Driven,
    /// Outputs that stay operated until latches are reset.
    pub(crate) held: u32,
}

/// Outputs driven for test, with the instants at which they go back.
#[derive(Clone, Debug, Default)]
pub(crate) struct Driven(Vec<(u8, Instant)>);
impl Driven {
    /// Drives output `n` until `until`.
    pub(crate) fn drive(&mut self, n: u8, until: Instant) {
        self.stop(n);
        self.0.push((n, until));
    }
    /// Stops driving output `n`.
    pub(crate) fn stop(&mut self, n: u8) {
        self.0.retain(|(m, _)| *m != n);
    }
    /// Lets go what has run out.
    pub(crate) fn tick(&mut self, now: Instant) {
        self.0.retain(|(_, until)| *until > now);
    }
    /// Those driven; bit 0 is output 1.
    pub(crate) fn bits(&self) -> u32 {
        self.0.iter().fold(0, |bits, (n, _)| bits | bit(*n))
    }
}
/// The bit of output or level `n`, from 1.
pub(crate) fn bit(n: u8) -> u32 {
    n.checked_sub(1).and_then(|n| 1u32.checked_shl(n.into())).unwrap_or(0)
}

/// The bits of the first `n` outputs.
pub(crate) fn first(n: u8) -> u32 {
    1u32.checked_shl(n.into()).unwrap_or(0).wrapping_sub(1)
}

/// Outputs that are operated by what they follow. The inhibit holds back what follows alarms; a fault is always shown, or a
/// lapse could not be seen.
pub(crate) fn operated(follows: &[Follows], levels: u32, faults: Faults, inhibited: bool) -> u32 {
    (1..).zip(follows).fold(0, |bits, (n, f)| {
        let on = match f {
            Follows::Nothing => false,
            Follows::Fault => faults.0 != 0,
            Follows::FlowFault => faults.has(Faults::FLOW),
            Follows::Level(level) => !inhibited && levels & bit(*level) != 0,
            Follows::Power => true,
        };
        if on { bits | bit(n) } else { bits }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn lapse_raises_the_fault_first_and_waits_until_clear() {
        let at = Instant::from_secs;
        let mut i = Inhibit::Leased { lease: 4, until: at(60) };
        assert!(!i.tick(at(59), true));
        assert!(i.tick(at(60), true));
        assert_eq!(i, Inhibit::Lapsed { lease: 4, since: at(60) });
        assert!(!i.tick(at(61), true), "the fault must be seen first");
        assert!(!i.tick(at(100), false), "smoke");
        assert!(i.tick(at(101), true) && !i.holds());
    }
    #[test]
    fn inhibited_outputs_show_faults_only() {
        let follows = [Follows::Fault, Follows::Level(1), Follows::FlowFault, Follows::Level(2), Follows::Power];
        assert_eq!(operated(&follows, 0b11, Faults::COVER, false), 0b11011);
        assert_eq!(operated(&follows, 0b11, Faults::FLOW, true), 0b10101);
        assert_eq!(operated(&follows, 0b11, Faults(0), true), 0b10000);
    }
}
