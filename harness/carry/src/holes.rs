//! What a threshold at the sensor asks of every hole, with the old unit's fan and with the new one's.
//!
//! What mixes is extinction: smoke at a hole with the share s of the unit's flow comes to s times its extinction at the
//! sensor. Not here: how the units' sensors answer one smoke; that differs by their principle and can't be computed.
use crate::{
    account::{AtMost, Hole, Holes, LevelAtHoles, Need},
    description::UnitAir,
};
use alloc::{format, string::String, vec::Vec};
use plumeline_airflow::{
    SolveOptions,
    dilution::{needed_at_hole, shares},
    solve,
};
use plumeline_base::{
    obscuration::Extinction,
    pipework::{AirPath, Drive, Pipework},
};

/// The pipework with another unit in its place. Where the exhaust ends is the site's and stays.
pub(crate) fn with_unit(pipework: &Pipework, unit: &UnitAir, speed: f64) -> Pipework {
    let mut other = pipework.clone();
    let mut fan = unit.fan.clone();
    fan.speed = speed;
    other.unit = AirPath {
        loss: unit.loss,
        volume_m3: unit.volume_m3,
        sensor_lag_s: unit.sensor_lag_s,
        drive: Drive::Fan(fan),
        exhaust_loss: unit.exhaust_loss,
        ..pipework.unit.clone()
    };
    for inlet in &mut other.inlets {
        inlet.loss = unit.inlet_loss;
        inlet.bore_m = unit.inlet_bore_m;
        inlet.volume_m3 = unit.inlet_volume_m3;
    }
    other
}

/// Every hole's share of the flow of the old and of the new unit. Which inlet a pipe is on makes no difference: a unit's
/// inlets are alike.
pub(crate) fn compare(
    pipework: &Pipework,
    (old, old_speed): (&UnitAir, f64),
    (new, new_speed): (&UnitAir, f64),
    options: &SolveOptions,
) -> Result<Holes, String> {
    let (before, after) = (with_unit(pipework, old, old_speed), with_unit(pipework, new, new_speed));
    let solved = |p: &Pipework, which: &str| {
        solve(p, options).map_err(|e| format!("the airflow with the {which} unit can't be computed: {e}"))
    };
    let (flow_before, flow_after) = (solved(&before, "old")?, solved(&after, "new")?);
    let (share_before, share_after) = (shares(&before, &flow_before), shares(&after, &flow_after));
    let mut holes = Vec::new();
    for (inlet, openings) in pipework.inlets.iter().zip(pipework.openings_by_inlet()) {
        for k in openings {
            let (Some(o), Some(b), Some(a)) = (pipework.openings.get(k), share_before.get(k), share_after.get(k))
            else {
                continue;
            };
            if !o.blocked && o.diameter_m > 0.0 {
                let (share_before, share_after) = (b.of_unit, a.of_unit);
                holes.push(Hole { inlet: inlet.number, number: o.number, share_before, share_after });
            }
        }
    }
    holes.sort_by_key(|h| (h.inlet, h.number));
    Ok(Holes {
        flow_before_m3_s: flow_before.total_flow_m3_s,
        flow_after_m3_s: flow_after.total_flow_m3_s,
        holes,
        levels: Vec::new(),
    })
}

impl Holes {
    /// The hole whose share of the unit's flow falls most, and by which factor. `None` if no hole drew with the old unit.
    pub fn most_diluted(&self) -> Option<(&Hole, f64)> {
        let drew = self.holes.iter().filter(|h| h.share_before > 0.0);
        drew.map(|h| (h, h.share_after / h.share_before)).min_by(|a, b| a.1.total_cmp(&b.1))
    }
    /// The greatest change of a share, as a share of what it was.
    pub fn greatest_change(&self) -> f64 {
        let change = |h: &Hole| {
            if h.share_before > 0.0 {
                libm::fabs(h.share_after / h.share_before - 1.0)
            } else {
                f64::from(h.share_after > 0.0)
            }
        };
        self.holes.iter().map(change).fold(0.0, libm::fmax)
    }
    /// What a level asks of every hole.
    pub(crate) fn level(
        &self,
        set: u8,
        levels: (u8, u8),
        before: f64,
        after: f64,
        limit: Option<AtMost>,
    ) -> LevelAtHoles {
        let need =
            |at_sensor: f64, share: f64| needed_at_hole(Extinction(at_sensor), libm::fmin(share, 1.0)).map(|e| e.0);
        let needs = self
            .holes
            .iter()
            .map(|h| Need { before: need(before, h.share_before), after: need(after, h.share_after) })
            .collect();
        LevelAtHoles { set, old_level: levels.0, new_level: levels.1, before, after, needs, limit }
    }
}
impl LevelAtHoles {
    /// Holes that need more smoke than before, by more than rounding: their places in [`Holes::holes`].
    pub fn worse(&self) -> impl Iterator<Item = usize> {
        let worse = |n: &Need| match (n.before, n.after) {
            (Some(b), Some(a)) => a > b * (1.0 + 1e-9),
            (Some(_), None) => true,
            _ => false,
        };
        self.needs.iter().enumerate().filter(move |(_, n)| worse(n)).map(|(i, _)| i)
    }
    /// Holes that need more than the limit allows, or draw nothing.
    pub fn beyond(&self) -> impl Iterator<Item = usize> {
        let limit = self.limit.as_ref().map_or(f64::INFINITY, |l| l.extinction);
        let over = move |n: &Need| limit.is_finite() && n.after.is_none_or(|a| a > limit);
        self.needs.iter().enumerate().filter(move |(_, n)| over(n)).map(|(i, _)| i)
    }
    /// The hole that needs most: its place in [`Holes::holes`].
    pub fn worst(&self) -> Option<usize> {
        let need = |i: usize| self.needs.get(i).map_or(0.0, |n| n.after.unwrap_or(f64::INFINITY));
        (0..self.needs.len()).max_by(|a, b| need(*a).total_cmp(&need(*b)))
    }
}
