//! Limits that this pipework can't meet by prediction.
//!
//! Not here: the prediction (the airflow engine), and how measured values are judged (the procedure).
use super::{Code, Remark};
use crate::folder;
use plumeline_base::pipework::OpeningKind;
use plumeline_procedure::{JobInputs, Warned};
use std::collections::BTreeMap;

/// Weakest against strongest hole of a pipe (no source: as `plumeline predict` has it).
const BALANCE: f64 = 0.5;

/// What the prediction says of itself, but for what is told by a limit, and what is usual.
fn warning(inputs: &JobInputs, warned: &Warned) -> Option<Remark> {
    if warned.is_usual() {
        return None;
    }
    let limit = inputs.plan.advanced.model.fan_beyond;
    let beyond = warned.beyond_curve(&inputs.pipework).is_some_and(|share| share > limit);
    let code = if beyond { Code::FanBeyondCurve } else { Code::PredictionWarns };
    Some(Remark::new(code, folder::PIPEWORK, "", warned.says.clone()))
}

/// What the prediction lets expect of the limits.
pub fn predicted(inputs: &JobInputs) -> Vec<Remark> {
    let mut remarks = Vec::new();
    let limits = &inputs.plan.limits;
    let mut add = |code, inlet: u8, says: String| {
        remarks.push(Remark::new(code, folder::PIPEWORK, format!("pipe on inlet {inlet}"), says));
    };
    let mut flows: BTreeMap<u8, (f64, f64)> = BTreeMap::new();
    for o in &inputs.prediction.openings {
        let drawn = inputs.pipework.openings.get(o.opening);
        if o.flow_m3_s.value <= 0.0 || !o.mean_s.value.is_finite() {
            add(Code::NothingArrives, o.inlet, format!("hole {} draws nothing by prediction", o.number));
            continue;
        }
        if drawn.is_some_and(|o| o.kind == OpeningKind::Hole) {
            let (least, most) = flows.entry(o.inlet).or_insert((f64::INFINITY, 0.0));
            (*least, *most) = (least.min(o.flow_m3_s.value), most.max(o.flow_m3_s.value));
        }
    }
    for place in &inputs.plan.smoke.at {
        let found = inputs.prediction.openings.iter().find(|o| (o.inlet, o.number) == (place.inlet, place.number));
        let Some(o) = found else { continue };
        let (time, u, limit) = (o.first_s.value, o.first_s.u(), limits.transport.value);
        let says = |by: &str| {
            format!("smoke from hole {} arrives after {time:.0} s by prediction{by}; the limit is {limit} s", o.number)
        };
        if time > limit {
            add(Code::TransportLate, o.inlet, says(""));
        } else if time + 2.0 * u > limit {
            add(Code::TransportNear, o.inlet, says(&format!(" (± {:.0} s)", 2.0 * u)));
        }
        let least = limits.last_hole_suction.value;
        if o.suction_pa.value < least {
            let suction = o.suction_pa.value;
            add(Code::SuctionLow, o.inlet, format!("hole {} has {suction:.0} Pa; the limit is {least} Pa", o.number));
        }
    }
    remarks.extend(inputs.warnings.iter().filter_map(|warned| warning(inputs, warned)));
    let mut add = |code, inlet: u8, says: String| {
        remarks.push(Remark::new(code, folder::PIPEWORK, format!("pipe on inlet {inlet}"), says));
    };
    for (inlet, (least, most)) in flows {
        if least < BALANCE * most {
            let says = format!("its weakest hole draws {:.0} % of what its strongest does", least / most * 100.0);
            add(Code::HoleWeak, inlet, says);
        }
    }
    remarks
}
