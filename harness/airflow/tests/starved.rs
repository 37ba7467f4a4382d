//! Pipes so long that most of their holes starve: what a closed or a widened hole does must be found there too.
#![allow(clippy::unwrap_used)]
mod common;
use common::*;
use plumeline_airflow::uncertainty::{PredictOptions, predict};
use plumeline_base::pipework::*;

/// The flows of the sound pipe are a poor start there: Newton's method crept along the pipe hole by hole and gave up.
#[test]
fn a_pipe_whose_holes_starve_is_predicted() {
    let mut p = empty();
    pipe(&mut p, 0.05, 0.05, 1200, 0.001, 0.001);
    p.segments.iter_mut().for_each(|s| s.minor_k = 0.0);
    p.unit.drive = Drive::InletSuction(vec![250.0]);
    let all = predict(&p, &PredictOptions { draws: 100, ..PredictOptions::default() }).unwrap();
    assert!(all.report.worst_residual_energy < 1e-10, "{}", all.report.worst_residual_energy);
    // Whatever closes, the near holes make up for it: no hole is missed by more than it draws.
    let rounding = 1e-9 * all.total_flow_m3_s.value;
    for o in &all.openings {
        let (drop, flow) = (o.closed_drop_m3_s.value, o.flow_m3_s.value);
        assert!(drop >= -rounding && drop <= flow + rounding, "{}: {drop} of {flow}", o.number);
    }
}
