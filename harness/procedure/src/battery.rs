//! The capacity that a standby battery must have.
//!
//! Not here: how the currents were measured, and whether the battery fitted still has what is printed on it.
use crate::plan::BatteryRule;
use plumeline_base::quantity::Estimate;

/// Capacity needed, A h, from the currents at standby and in alarm, A: `margin * (T1 I1 + derating * T2 I2)`.
///
/// BS 5839-1 writes it as C = 1.25 (T1 I1 + D I2 / 2), the half being half an hour of alarm; NFPA 72 as the sum of both
/// charges with a fifth more (both from memory). One instrument measures both currents, so that their uncertainties add.
pub fn needed_ah(rule: &BatteryRule, standby_a: &Estimate, alarm_a: &Estimate) -> Estimate {
    let of = |standby: f64, alarm: f64| rule.margin * (rule.standby_h * standby + rule.derating * rule.alarm_h * alarm);
    let individual = libm::hypot(of(standby_a.u_individual, 0.0), of(0.0, alarm_a.u_individual));
    Estimate::new(of(standby_a.value, alarm_a.value), of(standby_a.u_common, alarm_a.u_common), individual)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Mark;
    fn rule(standby_h: f64, alarm_h: f64, derating: f64, margin: f64) -> BatteryRule {
        BatteryRule { standby_h, alarm_h, derating, margin, source: "".into(), mark: Mark::FromMemory }
    }
    fn exact(a: f64) -> Estimate {
        Estimate::new(a, 0.0, 0.0)
    }
    /// Worked by hand from BS 5839-1, C = 1.25 (T1 I1 + D I2 / 2), D = 1.75 (from memory): 24 h at 0.45 A, half an hour at
    /// 0.60 A: 1.25 x (10.8 + 0.525) = 14.15625 A h. 72 h at 0.1 A, 0.4 A: 1.25 x (7.2 + 0.35) = 9.4375 A h.
    #[test]
    fn bs_5839_1_by_hand() {
        let c = needed_ah(&rule(24.0, 0.5, 1.75, 1.25), &exact(0.45), &exact(0.60)).value;
        assert!((c - 14.156_25).abs() < 1e-12, "{c}");
        let c = needed_ah(&rule(72.0, 0.5, 1.75, 1.25), &exact(0.1), &exact(0.4)).value;
        assert!((c - 9.437_5).abs() < 1e-12, "{c}");
    }
    /// Worked by hand from NFPA 72 (from memory): 24 h and 5 min, 20 % more. 0.45 A and 0.60 A: (10.8 + 0.05) x 1.2 = 13.02 A h.
    #[test]
    fn nfpa_72_by_hand() {
        let c = needed_ah(&rule(24.0, 5.0 / 60.0, 1.0, 1.2), &exact(0.45), &exact(0.60)).value;
        assert!((c - 13.02).abs() < 1e-12, "{c}");
    }
    /// One meter that reads 2 % high makes the capacity 2 % high, whatever the shares.
    #[test]
    fn a_common_error_carries_over_whole() {
        let at = |a: f64| Estimate::new(a, 0.02 * a, 0.0);
        let c = needed_ah(&rule(24.0, 0.5, 1.75, 1.25), &at(0.45), &at(0.60));
        assert!((c.u() / c.value - 0.02).abs() < 1e-12);
        let apart = Estimate::new(0.45, 0.0, 0.01);
        let c = needed_ah(&rule(24.0, 0.5, 1.0, 1.0), &apart, &exact(0.6));
        assert!((c.u() - 0.24).abs() < 1e-12);
    }
}
