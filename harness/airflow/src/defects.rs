//! The smallest visible defect: what closing, opening or losing each hole does to each measurable, against how well
//! the measurable is predicted. Not here: how well a reading measures it, nor verdicts (the job combines both).
use crate::{
    AirflowError,
    network::solve,
    transport::mean_times,
    uncertainty::{PredictOptions, Prediction},
};
use alloc::{vec, vec::Vec};
use plumeline_base::pipework::{NodeId, OpeningKind, Pipework, Segment};
use serde::{Deserialize, Serialize};

/// Discharge coefficient of a plain open pipe end: 1 / sqrt(1 + 0.5), for the loss of a sharp-edged entrance, 0.5 velocity
/// heads (White, Fluid Mechanics, minor losses; from memory).
pub const OPEN_END_DISCHARGE: f64 = 0.816_496_580_927_726;

/// What is wrong at an opening.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Defect {
    /// Closed: blocked or taped.
    Closed,
    /// Opened to the bore of its pipe: a cap lost.
    Opened,
    /// The pipe parted there: open to the bore, and everything beyond lost.
    Parted,
}

/// A shift of one measurable, with what it is held against.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Shift {
    /// Value with the defect less value without; m3/s or s.
    pub shift: f64,
    /// Standard uncertainty of the prediction without the defect, same unit.
    pub u_predicted: f64,
}
impl Shift {
    /// The shift in units of the prediction's standard uncertainty; infinite where that is zero and the shift is not.
    pub fn ratio(&self) -> f64 {
        if self.shift == 0.0 { 0.0 } else { self.shift.abs() / self.u_predicted }
    }
}

/// What one defect at one opening shifts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DefectShift {
    /// Index into `Pipework::openings`.
    pub opening: usize,
    /// What is wrong there.
    pub defect: Defect,
    /// Flow of each inlet of `Prediction::inlets`, m3/s.
    pub inlet_flows: Vec<Shift>,
    /// Flow through the unit, m3/s.
    pub total_flow: Shift,
    /// Mean transport time of the slowest other opening of the same inlet, s; `None` where there is none, or nothing
    /// arrives from it any more.
    pub far_time: Option<Shift>,
}

/// The shifts of all three defects at every opening of the prediction, in its order. A defect that leaves nothing to solve
/// (the only opening closed) is left out.
pub fn visible(
    pipework: &Pipework,
    options: &PredictOptions,
    prediction: &Prediction,
) -> Result<Vec<DefectShift>, AirflowError> {
    let mut all = Vec::with_capacity(3 * prediction.openings.len());
    for one in &prediction.openings {
        for defect in [Defect::Closed, Defect::Opened, Defect::Parted] {
            let (damaged, old) = damage(pipework, one.opening, defect);
            if damaged.openings.iter().all(|o| o.blocked || o.diameter_m == 0.0) {
                continue;
            }
            let solution = solve(&damaged, &options.solve)?;
            let shift =
                |now: f64, e: plumeline_base::quantity::Estimate| Shift { shift: now - e.value, u_predicted: e.u() };
            let far = prediction
                .openings
                .iter()
                .filter(|o| o.inlet == one.inlet && o.opening != one.opening && o.mean_s.value.is_finite())
                .max_by(|a, b| a.mean_s.value.total_cmp(&b.mean_s.value));
            let far_time = far.and_then(|far| {
                let index = old.iter().position(|&k| k == far.opening)?;
                let time = *mean_times(&damaged, &solution).get(index)?;
                time.is_finite().then(|| shift(time, far.mean_s))
            });
            all.push(DefectShift {
                opening: one.opening,
                defect,
                inlet_flows: prediction
                    .inlets
                    .iter()
                    .map(|i| shift(solution.inlet_flow_m3_s[i.inlet], i.flow_m3_s))
                    .collect(),
                total_flow: shift(solution.total_flow_m3_s, prediction.total_flow_m3_s),
                far_time,
            });
        }
    }
    Ok(all)
}

/// A pipework with a defect, and the old index of each of its openings.
pub fn damage(pipework: &Pipework, opening: usize, defect: Defect) -> (Pipework, Vec<usize>) {
    let mut p = pipework.clone();
    let all = (0..p.openings.len()).collect();
    let Some(o) = p.openings.get_mut(opening) else { return (p, all) };
    let node = o.node;
    match defect {
        Defect::Closed => {
            o.blocked = true;
            return (p, all);
        }
        Defect::Opened | Defect::Parted => {
            o.blocked = false;
            o.kind = OpeningKind::OpenEnd;
            o.discharge = OPEN_END_DISCHARGE;
            o.diameter_m = bore_at(pipework, node).unwrap_or(o.diameter_m);
        }
    }
    if defect == Defect::Parted {
        // Whatever starts here and leads outward falls off.
        p.segments.retain(|s| s.near != node);
        return keep_joined(p);
    }
    (p, all)
}

/// Bore of the pipe that leads from a node to the unit.
pub(crate) fn bore_at(pipework: &Pipework, node: NodeId) -> Option<f64> {
    let by = |end: fn(&Segment) -> NodeId| pipework.segments.iter().find(|s| end(s) == node);
    by(|s| s.far).or_else(|| by(|s| s.near)).map(|s| s.bore_m)
}

/// Drops what no inlet reaches any more.
fn keep_joined(p: Pipework) -> (Pipework, Vec<usize>) {
    let mut joined = vec![false; p.nodes.len()];
    let mut adjacent: Vec<Vec<usize>> = vec![Vec::new(); p.nodes.len()];
    for s in &p.segments {
        adjacent[s.near as usize].push(s.far as usize);
        adjacent[s.far as usize].push(s.near as usize);
    }
    let mut stack: Vec<usize> = p.inlets.iter().filter_map(|i| i.node).map(|n| n as usize).collect();
    while let Some(at) = stack.pop() {
        if !core::mem::replace(&mut joined[at], true) {
            stack.extend(&adjacent[at]);
        }
    }
    let mut number = vec![0u32; joined.len()];
    for (count, (n, _)) in number.iter_mut().zip(&joined).filter(|(_, j)| **j).enumerate() {
        *n = count as u32;
    }
    let mut left = p;
    let mut at = 0;
    left.nodes.retain(|_| {
        at += 1;
        joined[at - 1]
    });
    left.segments.retain(|s| joined[s.near as usize]);
    for s in &mut left.segments {
        (s.near, s.far) = (number[s.near as usize], number[s.far as usize]);
    }
    let old: Vec<usize> = (0..left.openings.len()).filter(|&k| joined[left.openings[k].node as usize]).collect();
    left.openings = old.iter().map(|&k| left.openings[k].clone()).collect();
    for o in &mut left.openings {
        o.node = number[o.node as usize];
    }
    for i in &mut left.inlets {
        i.node = i.node.map(|n| number[n as usize]);
    }
    (left, old)
}
