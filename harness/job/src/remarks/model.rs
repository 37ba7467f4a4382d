//! The pipework's unit and the plan's against the description of the model.
use super::{Code, Read, Remark};
use crate::folder;
use plumeline_base::pipework::{Drive, Fan, Loss, Pipework};
use plumeline_unit::{Description, description::UnitAir};

/// How far two figures of one data sheet may lie apart by rounding, relative.
const ROUNDING: f64 = 0.005;
/// A flow in the middle of every unit's range, at which losses are compared, m3/s (60 L/min).
const LOSS_FLOW: f64 = 1e-3;

/// What differs from the model's description.
pub(super) fn differs(read: &Read) -> Vec<Remark> {
    let mut remarks = Vec::new();
    let model = read.plan.as_ref().map(|p| p.plan.replacement.model.as_deref());
    if model == Some(None) {
        let says = "nothing says which model is ordered";
        remarks.push(Remark::new(Code::ModelUnnamed, folder::PLAN, "replacement.model", says));
    }
    let Some(described) = &read.replacement else {
        if read.unreadable.contains(&folder::UNIT_REPLACEMENT) {
            return remarks;
        }
        let says = "nobody described the replacement";
        remarks.push(Remark::new(Code::DescriptionMissing, folder::UNIT_REPLACEMENT, "", says));
        return remarks;
    };
    if let Some(Some(model)) = model
        && model != described.model
    {
        let says = format!("the plan says {model}, {} describes {}", folder::UNIT_REPLACEMENT, described.model);
        remarks.push(Remark::new(Code::ModelDiffers, folder::PLAN, "replacement.model", says));
    }
    if let Some(file) = &read.pipework {
        remarks.extend(inlets(&file.pipework, described));
        match &described.air {
            Some(air) => air_path(&file.pipework, air, &mut remarks),
            None => {
                let says = format!("the description of {} has no air path", described.model);
                remarks.push(Remark::new(Code::AirPathUnknown, folder::UNIT_REPLACEMENT, "air", says));
            }
        }
    }
    remarks
}

fn inlets(p: &Pipework, described: &Description) -> Option<Remark> {
    let (few, many) = described.inlets;
    let there = p.inlets.iter().map(|i| usize::from(i.number)).max().unwrap_or(0).max(p.inlets.len());
    if (usize::from(few)..=usize::from(many)).contains(&there) {
        return None;
    }
    let says = format!("the unit has {there} inlets here; a {} has {few} to {many}", described.model);
    Some(Remark::new(Code::InletsDiffer, folder::PIPEWORK, "unit.inlets", says))
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= ROUNDING * a.abs().max(b.abs())
}

fn air_path(p: &Pipework, air: &UnitAir, remarks: &mut Vec<Remark>) {
    let mut add = |code, key: &str, says: String| remarks.push(Remark::new(code, folder::PIPEWORK, key, says));
    if let Drive::Fan(fan) = &p.unit.drive
        && let Some(says) = fans(fan, &air.fan)
    {
        add(Code::FanDiffers, "unit.fan", says);
    }
    let at = |l: Loss| (l.linear * LOSS_FLOW, l.quadratic * LOSS_FLOW * LOSS_FLOW);
    let mut losses =
        vec![("unit.loss", p.unit.loss, air.loss), ("unit.exhaust_loss", p.unit.exhaust_loss, air.exhaust_loss)];
    losses.extend(p.inlets.first().map(|i| ("unit.inlet_loss", i.loss, air.inlet_loss)));
    for (key, mine, its) in losses {
        let ((l, q), (its_l, its_q)) = (at(mine), at(its));
        if !(same(l, its_l) && same(q, its_q)) {
            let says = format!(
                "at 60 L/min it is {l:.2} Pa linear and {q:.2} Pa quadratic; the model has {its_l:.2} Pa and {its_q:.2} Pa"
            );
            add(Code::LossesDiffer, key, says);
        }
    }
    let mut volumes = vec![("unit.volume", p.unit.volume_m3, air.volume_m3)];
    volumes.extend(p.inlets.first().map(|i| ("unit.inlet_volume", i.volume_m3, air.inlet_volume_m3)));
    for (key, mine, its) in volumes {
        if !same(mine, its) {
            let says = format!("it is {:.0} mL; the model has {:.0} mL", mine * 1e6, its * 1e6);
            add(Code::VolumesDiffer, key, says);
        }
    }
    if !same(p.unit.sensor_lag_s, air.sensor_lag_s) {
        let says = format!("it is {} s; the model has {} s", p.unit.sensor_lag_s, air.sensor_lag_s);
        add(Code::LagDiffers, "unit.sensor_lag", says);
    }
}

/// How two fans differ at full speed.
fn fans(mine: &Fan, its: &Fan) -> Option<String> {
    if mine.curve.len() != its.curve.len() {
        return Some(format!("its curve has {} points; the model's has {}", mine.curve.len(), its.curve.len()));
    }
    let l_min = |q: f64| q / plumeline_base::quantity::M3_S_PER_L_MIN;
    for (a, b) in mine.curve.iter().zip(&its.curve) {
        if !(same(a.flow_m3_s, b.flow_m3_s) && same(a.pressure_pa, b.pressure_pa)) {
            return Some(format!(
                "its curve has {:.0} Pa at {:.0} L/min; the model has {:.0} Pa at {:.0} L/min",
                a.pressure_pa,
                l_min(a.flow_m3_s),
                b.pressure_pa,
                l_min(b.flow_m3_s)
            ));
        }
    }
    (!same(mine.reference_density, its.reference_density)).then(|| {
        format!("its curve is at {} kg/m3; the model's is at {} kg/m3", mine.reference_density, its.reference_density)
    })
}
