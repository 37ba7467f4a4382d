//! A small sound job for the tests of judges: two pipes of three holes, each pipe predicted to draw 30 L/min.
use crate::{
    job::{JobInputs, Pipe},
    mean_flow::{L_MIN, MeanFlow},
    plan::{
        BatteryRule, ExpectedUnit, FlowPlan, HoleChoice, HolePlan, HoleRef, Limit, Limits, Mark, OutputPlan, Plan,
        ReleaseMark, RulePlan, SettlePlan, SmokePlan, SupplyPlan,
    },
};
use alloc::{string::String, vec, vec::Vec};
use plumeline_airflow::uncertainty::{InletPrediction, OF_THE_UNIT, OpeningPrediction, PredictReport, Prediction};
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

fn plan() -> Plan {
    Plan {
        site: String::new(),
        technician: String::new(),
        outgoing: None,
        replacement: ExpectedUnit::default(),
        stages: Vec::new(),
        readings_hz: 1,
        inhibit_lease_s: 60,
        limits: Limits {
            transport: limit(60.0),
            transport_agreement: limit(0.2),
            transport_agreement_least: limit(2.0),
            last_hole_suction: limit(25.0),
            flow_band: limit(0.2),
            flow_fault_within: limit(300.0),
            out_of_service: limit(14_400.0),
            boot: limit(120.0),
            clock: limit(60.0),
            supply_voltage: limit(20.0),
            supply_fault_within: limit(100.0),
        },
        settle: SettlePlan { window_s: 60.0, slope_per_min: limit(0.005) },
        flow: FlowPlan {
            average_s: 60.0,
            material: limit(0.1),
            calibration_common: 0.01,
            calibration_individual: 0.005,
        },
        holes: HolePlan {
            choice: HoleChoice::Reachable,
            average_s: 40.0,
            wait_s: 10.0,
            agreement: limit(0.5),
            worse: limit(0.15),
        },
        smoke: SmokePlan {
            at: Vec::new(),
            presence: Vec::new(),
            runs: 3,
            mark: ReleaseMark::ByHand,
            mark_u_s: 0.3,
            release_s: 10.0,
            purge_below: 0.5,
            purge_hold_s: 30.0,
        },
        rule: RulePlan { accept_risk: 0.05, reject_risk: 0.05, coverage: 0.95 },
        outputs: OutputPlan::default(),
        supply: SupplyPlan {
            rule: BatteryRule {
                standby_h: 24.0,
                alarm_h: 0.5,
                derating: 1.0,
                margin: 1.2,
                source: "a test".into(),
                mark: Mark::ThisJob,
            },
            fitted_ah: None,
            other_standby_a: 0.0,
            other_alarm_a: 0.0,
            alarm_a: None,
            unit_u: 0.01,
            meter_u: 0.01,
        },
        checklist: Vec::new(),
    }
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

/// The job.
pub(crate) fn inputs() -> JobInputs {
    JobInputs {
        plan: plan(),
        pipework: pipework(),
        prediction: prediction(),
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
    MeanFlow { estimate, dof: 50.0, expanded: 2.0 * estimate.u(), window: (second(0), second(40)), u_scatter }
}
