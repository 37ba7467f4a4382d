//! What one instrument shows in two states: their difference, and that difference as a share of a third reading.
//!
//! What its certificate leaves open is the same in all of them, so the readings are correlated (JCGM 100:2008, clauses 5.2.2 and
//! F.1.2): an error that shifts all by as much drops out of a difference, one that goes with their size stays in it by the size of
//! the difference, and in a share the roles are the other way round. Only what each reading scatters is its own. Not here: how a
//! reading came about, and what a difference shows.
use plumeline_base::quantity::Estimate;

/// A reading, or a mean of some: its value and the standard uncertainty that it shares with no other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Value.
    pub value: f64,
    /// What it scatters, same unit.
    pub u_own: f64,
}

/// What is common to all readings of one instrument, by its certificate.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Common {
    /// Standard uncertainty of what shifts all by as much, unit of the reading.
    pub offset: f64,
    /// Standard uncertainty of what goes with their size, as a share.
    pub gain: f64,
}

impl Common {
    /// The first less the second. With x = (1 + g) X + o for each, the derivatives by o cancel, and that by g is the difference.
    pub fn difference(&self, first: Reading, second: Reading) -> Estimate {
        let value = first.value - second.value;
        Estimate::new(value, self.gain * libm::fabs(value), libm::hypot(first.u_own, second.u_own))
    }
    /// What an offset shifts every share of this whole by, as a part of that share.
    pub fn of_share(&self, whole: f64) -> f64 {
        self.offset / libm::fabs(whole)
    }
    /// The difference as a share of a third reading that scatters by itself: the gain cancels, and an offset stays in the whole alone.
    pub fn share(&self, first: Reading, second: Reading, whole: Reading) -> Estimate {
        let difference = self.difference(first, second);
        let value = difference.value / whole.value;
        let own = libm::hypot(difference.u_individual, value * whole.u_own) / libm::fabs(whole.value);
        Estimate::new(value, libm::fabs(value) * self.of_share(whole.value), own)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn read(value: f64, u_own: f64) -> Reading {
        Reading { value, u_own }
    }
    #[test]
    fn an_offset_drops_out_of_a_difference_and_a_gain_out_of_a_share() {
        let offset = Common { offset: 0.5, gain: 0.0 };
        assert_eq!(offset.difference(read(42.0, 0.0), read(38.0, 0.0)).u(), 0.0);
        let gain = Common { offset: 0.0, gain: 0.02 };
        assert_eq!(gain.share(read(42.0, 0.0), read(38.0, 0.0), read(42.0, 0.0)).u(), 0.0);
        // By hand: 2 % of 4 L/min are 0.08; 0.5 of 42 is 1.19 % of the share.
        assert!((gain.difference(read(42.0, 0.0), read(38.0, 0.0)).u_common - 0.08).abs() < 1e-12);
        let share = offset.share(read(42.0, 0.0), read(38.0, 0.0), read(42.0, 0.0));
        assert!((share.u_common / share.value - 0.5 / 42.0).abs() < 1e-12, "{share:?}");
    }
}
