//! Rounding to the steps that a device takes or shows.
//!
//! Steps are decimal: what comes out is the double nearest to a multiple of the step, so that it is written with as few
//! digits as the step has.

/// A step as a whole number of units of the last decimal place, and how many of these make one: 0.0005 is 5 of 10,000.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    units: f64,
    per_one: f64,
}

/// How near to a multiple of its step a number has to be to count as one, in steps. Far over the rounding of a
/// conversion, far under anything that a device could show.
const ON_STEP: f64 = 1e-7;

impl Grid {
    /// The grid of a step; `None` if it is not over 0 or has more than nine decimals.
    pub fn of(step: f64) -> Option<Self> {
        let mut per_one = 1.0;
        for _ in 0..=9 {
            let units = libm::round(step * per_one);
            if units >= 1.0 && libm::fabs(step * per_one - units) < 1e-9 * units && units < 1e15 {
                return Some(Self { units, per_one });
            }
            per_one *= 10.0;
        }
        None
    }
    /// The multiple `k` of the step.
    fn at(self, k: f64) -> f64 {
        k * self.units / self.per_one
    }
    /// How many steps, not whole.
    fn steps(self, value: f64) -> f64 {
        value * self.per_one / self.units
    }
    /// The nearest multiple if `value` is one, but for the rounding of conversions.
    pub fn exact(self, value: f64) -> Option<f64> {
        let k = libm::round(self.steps(value));
        (libm::fabs(self.steps(value) - k) <= ON_STEP * libm::fmax(1.0, libm::fabs(k) * 1e-6)).then(|| self.at(k))
    }
    /// The largest multiple that is not over `value`.
    pub fn down(self, value: f64) -> f64 {
        self.exact(value).unwrap_or_else(|| self.at(libm::floor(self.steps(value))))
    }
    /// The multiple nearest to `value`.
    pub fn near(self, value: f64) -> f64 {
        self.at(libm::round(self.steps(value)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::format;
    #[test]
    fn steps_are_decimal() {
        let g = Grid::of(0.0001).unwrap();
        assert_eq!(g.down(0.039_366), 0.0393);
        assert_eq!(g.down(0.0394), 0.0394);
        assert_eq!(format!("{}", g.down(0.164_04)), "0.164");
        assert_eq!(Grid::of(0.05).unwrap().near(0.12), 0.1);
        assert_eq!(Grid::of(30.0).unwrap().down(150.0), 150.0);
        assert_eq!(Grid::of(30.0).unwrap().down(149.0), 120.0);
        assert_eq!(Grid::of(0.0), None);
        assert_eq!(Grid::of(f64::NAN), None);
    }
}
