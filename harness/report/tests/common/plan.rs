//! The plan of the invented jobs.
use plumeline_procedure::{outcome::StageKind, plan::*};

fn limit(value: f64, unit: &str, source: &str, mark: Mark) -> Limit {
    Limit { value, unit: unit.into(), source: source.into(), mark }
}

/// A plan with every stage, three runs of smoke at the end cap of each of three pipes, and four items of hand-work.
pub(crate) fn plan() -> Plan {
    let practice = |value, unit: &str| limit(value, unit, "common practice", Mark::CommonPractice);
    let item = |stage, text: &str, required| ChecklistItem { stage, text: text.into(), required, after: false };
    let unit = |model: &str| ExpectedUnit { model: Some(model.into()), ..ExpectedUnit::default() };
    Plan {
        site: "Invented site: Halm cold store, zone 3".into(),
        technician: "R. Example".into(),
        outgoing: Some(unit("OL-4")),
        replacement: unit("M4 sampler"),
        stages: StageKind::ALL.map(|stage| StagePlan { stage, policy: Policy::Stop, deadline_s: 3600 }).to_vec(),
        visit: None,
        invented: true,
        link: LinkPlan { readings_hz: 2, ..LinkPlan::default() },
        limits: Limits {
            transport: limit(120.0, "s", "NFPA 72, air-sampling detectors", Mark::FromMemory),
            transport_agreement: practice(0.15, "1"),
            transport_agreement_least: practice(5.0, "s"),
            last_hole_suction: practice(25.0, "Pa"),
            flow_band: limit(0.2, "1", "EN 54-20 / ISO 7240-20", Mark::FromMemory),
            flow_fault_within: limit(300.0, "s", "EN 54-20 / ISO 7240-20", Mark::FromMemory),
            out_of_service: limit(14_400.0, "s", "NFPA 101", Mark::FromMemory),
            supply_voltage: practice(20.4, "V"),
            supply_fault_within: limit(100.0, "s", "EN 54-2", Mark::FromMemory),
            ..Limits::default()
        },
        settle: SettlePlan { window_s: 60.0, slope_per_min: limit(0.005, "1", "this job", Mark::ThisJob) },
        flow: FlowPlan {
            average_s: 60.0,
            material: limit(0.1, "1", "this job", Mark::ThisJob),
            calibration_common: 0.02,
            calibration_individual: 0.01,
            ..FlowPlan::default()
        },
        holes: HolePlan {
            choice: HoleChoice::Reachable,
            average_s: 10.0,
            wait_s: 4.0,
            agreement: practice(0.5, "1"),
            ..HolePlan::default()
        },
        smoke: SmokePlan {
            presence: Vec::new(),
            at: (1..=3).map(|inlet| HoleRef { inlet, number: 6 }).collect(),
            runs: 3,
            mark: ReleaseMark::ByHand,
            mark_u_s: 0.3,
            release_s: 15.0,
            purge_below: 0.5,
            purge_hold_s: 30.0,
            ..SmokePlan::default()
        },
        rule: RulePlan { accept_risk: 0.05, reject_risk: 0.05, coverage: 0.95 },
        outputs: OutputPlan::default(),
        supply: SupplyPlan { fitted_ah: Some(17.0), ..SupplyPlan::default() },
        advanced: Advanced::default(),
        sources: Default::default(),
        not_shown: Vec::new(),
        suction_at: Vec::new(),
        instruments: Vec::new(),
        checklist: vec![
            item(StageKind::Swap, "Pipes marked before they were pulled", true),
            item(StageKind::Swap, "Pipes pushed dry into the inlets of their own numbers, not cemented", true),
            item(StageKind::Swap, "Exhaust refitted", true),
            item(StageKind::LastLook, "Tapes and plugs counted off: none left", true),
        ],
    }
}
