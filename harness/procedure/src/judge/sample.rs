//! A small sound job for the tests of judges: two pipes of three holes, each pipe predicted to draw 30 L/min.
use crate::{
    job::{JobInputs, Pipe},
    mean_flow::{L_MIN, MeanFlow},
    plan::{HoleRef, Limit, Mark, Plan},
};
use alloc::{string::String, vec, vec::Vec};
use plumeline_airflow::transport::RISE;
use plumeline_airflow::uncertainty::{
    InletPrediction, OF_THE_UNIT, OpeningPrediction, PredictReport, Prediction, Rise, alone::Alone,
};
use plumeline_base::{
    Instant,
    pipework::{Air, AirPath, Drive, Inlet, Loss, Node, Opening, OpeningKind, Pipework},
    quantity::Estimate,
};

/// What each pipe is predicted to draw, L/min.
pub(crate) const FLOW: f64 = 30.0;
/// What closing a hole is predicted to take off its pipe's flow, as a share.
pub(crate) const SHARE: f64 = 0.25;

fn limit(value: f64) -> Limit {
    Limit { value, unit: "1".into(), source: "a test".into(), mark: Mark::ThisJob }
}

/// The usual rules, but for those that the tests here count on.
fn plan() -> Plan {
    let mut plan = Plan::default();
    plan.limits.transport = limit(60.0);
    plan.limits.transport_agreement = limit(0.2);
    plan.limits.transport_agreement_least = limit(2.0);
    plan.limits.clock = limit(60.0);
    plan.limits.supply_voltage = limit(20.0);
    (plan.flow.calibration_common, plan.flow.calibration_individual) = (0.01, 0.005);
    plan.holes.worse = limit(0.15);
    (plan.smoke.runs, plan.smoke.mark_u_s) = (3, 0.3);
    (plan.supply.rule.derating, plan.supply.rule.margin) = (1.0, 1.2);
    plan.supply.unit_u = 0.01;
    plan
}

/// Openings 0 to 2 are the holes of pipe 1, 3 to 5 those of pipe 2.
fn pipework() -> Pipework {
    let opening = |k: u32| Opening {
        node: k / 3,
        number: k % 3 + 1,
        kind: OpeningKind::Hole,
        diameter_m: 0.003,
        discharge: 0.6,
        blocked: false,
        outside_pa: 0.0,
        reachable: true,
        known: 0,
        whereabouts: Default::default(),
    };
    let inlet = |number: u8| Inlet {
        number,
        node: Some(u32::from(number) - 1),
        loss: Loss::default(),
        bore_m: 0.02,
        volume_m3: 0.0,
    };
    Pipework {
        name: String::new(),
        nodes: vec![Node::default(), Node::default()],
        segments: Vec::new(),
        openings: (0..6).map(opening).collect(),
        inlets: vec![inlet(1), inlet(2)],
        unit: AirPath {
            loss: Loss::default(),
            volume_m3: 0.0,
            sensor_lag_s: 0.0,
            drive: Drive::InletSuction(vec![100.0, 100.0]),
            exhaust_loss: Loss::default(),
            exhaust_pa: 0.0,
            exhaust_elevation_m: 0.0,
        },
        air: Air { temperature_c: 20.0, pressure_pa: 101_325.0, relative_humidity: 0.5, given: None },
        known: Vec::new(),
        walk: Vec::new(),
    }
}

/// Common causes: those of the unit, and one of all holes alike (the first).
fn causes(of_all: f64) -> Vec<f64> {
    let n = OF_THE_UNIT.iter().max().map_or(1, |m| m + 1);
    (0..n).map(|k| if k == 0 { of_all } else { 0.0 }).collect()
}

fn prediction() -> Prediction {
    let q = FLOW / L_MIN;
    let flow = Estimate::new(q, 0.015 * q, 0.01 * q);
    let inlet = |number: u8| InletPrediction {
        number,
        inlet: usize::from(number) - 1,
        flow_m3_s: flow,
        flow_common: causes(0.015 * q),
        flow_interval95: (0.96 * q, 1.04 * q),
        suction_pa: Estimate::new(100.0, 1.0, 1.0),
    };
    let time = |s: f64| Estimate::new(s, 0.02 * s, 0.02 * s);
    let hole = |k: usize| OpeningPrediction {
        opening: k,
        inlet: if k < 3 { 1 } else { 2 },
        number: k as u32 % 3 + 1,
        flow_m3_s: Estimate::new(q / 3.0, 0.0, 0.0),
        suction_pa: Estimate::new(60.0, 1.0, 1.0),
        share_of_pipe: 1.0 / 3.0,
        share_of_unit: 1.0 / 6.0,
        mean_s: time(20.0),
        mean_interval95: (19.0, 21.0),
        first_s: time(15.0),
        half_plateau_s: time(20.0),
        rise: Rise {
            here_s: RISE.map(|share| 15.0 + 10.0 * share).to_vec(),
            other_s: RISE.map(|share| 10.0 + 20.0 * share).to_vec(),
        },
        closed_drop_m3_s: Estimate::new(SHARE * q, 0.0, 0.0),
        closed_share: Estimate::new(SHARE, 0.02 * SHARE, 0.02 * SHARE),
        closed_common: causes(0.02 * SHARE),
        open_rise_m3_s: Estimate::new(q, 0.0, 0.0),
    };
    let (common, own) = (0.015 * q, 0.01 * q);
    let all = common * common;
    Prediction {
        inlets: vec![inlet(1), inlet(2)],
        inlet_covariance: vec![vec![all + own * own, all], vec![all, all + own * own]],
        openings: (0..6).map(hole).collect(),
        total_flow_m3_s: Estimate::new(2.0 * q, 0.03 * q, 0.014 * q),
        report: PredictReport::default(),
    }
}

/// What each hole is predicted to draw alone, as a share of its pipe's flow.
pub(crate) const ALONE: f64 = 0.4;
fn alone() -> Vec<Alone> {
    let (share, common) = (Estimate::new(ALONE, 0.02 * ALONE, 0.02 * ALONE), causes(0.02 * ALONE));
    (0..6).map(|opening| Alone { opening, share, common: common.clone(), suction_pa: 120.0 }).collect()
}

/// The job.
pub(crate) fn inputs() -> JobInputs {
    JobInputs {
        plan: plan(),
        pipework: pipework(),
        prediction: prediction(),
        alone: alone(),
        warnings: Vec::new(),
        translations: Vec::new(),
        exponents: Vec::new(),
        defects: Vec::new(),
        to_load: None,
        outgoing: None,
        replacement: None,
    }
}

/// The pipe at this inlet.
pub(crate) fn pipe(inputs: &JobInputs, inlet: u8) -> Pipe {
    inputs.pipes().into_iter().find(|p| p.inlet == inlet).unwrap()
}

pub(crate) fn hole(inlet: u8, number: u32) -> HoleRef {
    HoleRef { inlet, number }
}

/// A mean flow of so many L/min, with a scatter of so many per cent.
pub(crate) fn flow(litres: f64, scatter_percent: f64) -> MeanFlow {
    let q = litres / L_MIN;
    let u_scatter = scatter_percent / 100.0 * FLOW / L_MIN;
    let estimate = Estimate::new(q, 0.01 * q, libm::hypot(u_scatter, 0.005 * q));
    let second = |s: u64| Instant::START + core::time::Duration::from_secs(s);
    MeanFlow {
        estimate,
        dof: 50.0,
        expanded: 2.0 * estimate.u(),
        window: (second(0), second(40)),
        u_scatter,
        u_offset: 0.0,
        share_of: None,
    }
}

/// Of the job's own walk: a module below this one, which sees no sample.
#[cfg(test)]
mod walk {
    use super::*;
    use plumeline_base::pipework::{Walked, Whereabouts};

    fn hole(inlet: u8, number: u32) -> HoleRef {
        HoleRef { inlet, number }
    }

    #[test]
    fn holes_are_walked_pipe_after_pipe_and_a_stated_walk_goes_before_that() {
        let mut inputs = inputs();
        let usual = [(1, 1), (1, 2), (1, 3), (2, 1), (2, 2), (2, 3)].map(|(i, n)| hole(i, n));
        assert_eq!(inputs.walk(), usual);
        inputs.pipework.walk = vec![Walked { inlet: 2, holes: vec![3, 1] }];
        let stated = [(2, 3), (2, 1), (2, 2), (1, 1), (1, 2), (1, 3)].map(|(i, n)| hole(i, n));
        assert_eq!(inputs.walk(), stated);
        // What is judged of a pipe goes by its numbers all the same.
        let pipe = pipe(&inputs, 2);
        assert_eq!(inputs.holes(&pipe).iter().map(|(h, _)| h.number).collect::<Vec<_>>(), [1, 2, 3]);
        assert_eq!(inputs.pipes().iter().map(|p| p.inlet).collect::<Vec<_>>(), [1, 2]);
        inputs.pipework.openings[3].blocked = true;
        inputs.pipework.openings[5].reachable = false;
        assert_eq!(inputs.walk()[..2], [hole(2, 2), hole(1, 1)]);
        assert_eq!(inputs.holes_to_close(&pipe).1, [hole(2, 3)]);
    }
    #[test]
    fn releases_stand_as_the_plan_writes_them_unless_a_walk_is_stated() {
        let mut inputs = inputs();
        let written = vec![hole(2, 3), hole(1, 3), hole(1, 1)];
        inputs.plan.smoke.at = written.clone();
        assert_eq!(inputs.releases(), written);
        inputs.pipework.walk = vec![Walked { inlet: 1, holes: vec![3] }];
        assert_eq!(inputs.releases(), [hole(1, 3), hole(1, 1), hole(2, 3)]);
    }
    #[test]
    fn whoever_is_sent_to_a_hole_is_told_where_it_is() {
        let mut inputs = inputs();
        let words = |inputs: &JobInputs| inputs.place_words(hole(1, 2), "hole 2 of pipe 1");
        assert_eq!(words(&inputs), "hole 2 of pipe 1");
        inputs.pipework.openings[1].whereabouts = Whereabouts { label: "A2".into(), place: "store room".into() };
        assert_eq!(words(&inputs), "hole 2 of pipe 1, labelled A2, \"store room\"");
    }
}
