//! What the plan leaves out or asks of no use, and what a port can't show.
use super::{Code, Read, Remark};
use crate::{folder, plan::farthest::farthest};
use plumeline_base::pipework::Pipework;
use plumeline_detector::{
    display::{Face, Lamp},
    vocabulary::{FlowBasis, ObscurationSensing, ReadingsBy},
};
use plumeline_procedure::{
    instrument::Measurand,
    outcome::StageKind,
    plan::{HoleChoice, HoleRef, Limit, Plan, Policy, Untold},
};
use plumeline_unit::Description;

/// Risks that make sense, as fractions (common practice, no source).
const RISK: std::ops::RangeInclusive<f64> = 0.001..=0.10;

/// What is open in the plan.
pub(super) fn open(read: &Read) -> Vec<Remark> {
    let Some(file) = &read.plan else { return Vec::new() };
    let mut remarks = stages(&file.plan);
    remarks.extend(risks(&file.plan));
    remarks.extend(lax(&file.plan));
    if file.plan.supply.fitted_ah.is_none() && runs(&file.plan, StageKind::Supply) {
        let says = "no battery is stated";
        remarks.push(Remark::new(Code::BatteryMissing, folder::PLAN, "supply.battery", says));
    }
    if !file.plan.suction_at.is_empty() && file.plan.instrument(Measurand::Pressure, None).is_none() {
        let says = "the plan names no manometer";
        remarks.push(Remark::new(Code::ManometerMissing, folder::PLAN, "suction.at", says));
    }
    if let Some(pipework) = &read.pipework {
        remarks.extend(smoke(&file.plan, &pipework.pipework));
        remarks.extend(unproven(&file.plan, &pipework.pipework));
    }
    if let Some(described) = &read.replacement {
        remarks.extend(model_can(described));
        remarks.extend(not_shown(&file.plan, described));
    }
    remarks
}

fn runs(plan: &Plan, stage: StageKind) -> bool {
    plan.stages.iter().any(|s| s.stage == stage && s.policy != Policy::Skip)
}

fn stages(plan: &Plan) -> Vec<Remark> {
    let left = StageKind::ALL.into_iter().filter(|s| plan.has(*s) && s.is_needed() && !runs(plan, *s));
    left.map(|s| Remark::new(Code::StageLeftOut, folder::PLAN, "stages", format!("`{s}` is left out"))).collect()
}

fn smoke(plan: &Plan, pipework: &Pipework) -> Vec<Remark> {
    if !runs(plan, StageKind::ProveSmoke) {
        return Vec::new();
    }
    let mut remarks = Vec::new();
    let mut add = |code, says: String| remarks.push(Remark::new(code, folder::PLAN, "smoke.at", says));
    for (far, _) in farthest(pipework) {
        let named: Vec<u32> = plan.smoke.at.iter().filter(|h| h.inlet == far.inlet).map(|h| h.number).collect();
        if named.is_empty() {
            add(Code::SmokePlaceMissing, format!("pipe {} has no place for smoke", far.inlet));
        } else if !named.contains(&far.number) {
            add(Code::SmokeNotFarthest, format!("the farthest hole of pipe {} is hole {}", far.inlet, far.number));
        }
    }
    let holes = holes(pipework);
    for h in &plan.smoke.at {
        if holes.iter().any(|(hole, reachable)| hole == h && !reachable) {
            add(Code::SmokeOutOfReach, format!("hole {} of pipe {} is marked as out of reach", h.number, h.inlet));
        }
    }
    remarks
}

/// Every hole that draws by design, and whether it is in reach.
fn holes(pipework: &Pipework) -> Vec<(HoleRef, bool)> {
    let by_inlet = pipework.inlets.iter().zip(pipework.openings_by_inlet());
    let all = by_inlet.flat_map(|(inlet, owned)| owned.into_iter().map(move |i| (inlet.number, i)));
    let drawing = all.filter_map(|(inlet, i)| Some((inlet, pipework.openings.get(i)?)));
    drawing
        .filter(|(_, o)| !o.blocked && o.diameter_m > 0.0)
        .map(|(inlet, o)| (HoleRef { inlet, number: o.number }, o.reachable))
        .collect()
}

fn unproven(plan: &Plan, pipework: &Pipework) -> Vec<Remark> {
    let closed = |(hole, reachable): &(HoleRef, bool)| match &plan.holes.choice {
        HoleChoice::Reachable => *reachable,
        HoleChoice::These(list) => list.contains(hole),
        HoleChoice::None => false,
    };
    let shown = |h: &HoleRef| [&plan.smoke.presence, &plan.smoke.at].iter().any(|all| all.contains(h));
    let left: Vec<HoleRef> = holes(pipework).into_iter().filter(|h| !closed(h) && !shown(&h.0)).map(|h| h.0).collect();
    let Some(first) = left.first() else { return Vec::new() };
    let says = format!(
        "{} holes are neither closed in turn nor shown by smoke, hole {} of pipe {} among them",
        left.len(),
        first.number,
        first.inlet
    );
    vec![Remark::new(Code::HoleUnproven, folder::PLAN, "holes.which", says)]
}

fn risks(plan: &Plan) -> Vec<Remark> {
    let both = [("rule.accept_risk", plan.rule.accept_risk), ("rule.reject_risk", plan.rule.reject_risk)];
    let odd = both.into_iter().filter_map(|(key, risk)| {
        let code = match risk {
            r if r > *RISK.end() => Code::RiskHigh,
            r if r < *RISK.start() => Code::RiskTiny,
            _ => return None,
        };
        Some(Remark::new(code, folder::PLAN, key, format!("it is {} %", risk * 100.0)))
    });
    odd.collect()
}

/// Limits beyond the laxest that is usual (the laxest preset, or a multiple of common practice).
fn lax(plan: &Plan) -> Vec<Remark> {
    let l = &plan.limits;
    let most: [(&str, &Limit, f64); 9] = [
        ("limits.transport", &l.transport, 120.0),
        ("limits.transport_agreement", &l.transport_agreement, 0.5),
        ("limits.transport_agreement_least", &l.transport_agreement_least, 20.0),
        ("limits.flow_band", &l.flow_band, 0.3),
        ("limits.flow_fault_within", &l.flow_fault_within, 300.0),
        ("limits.supply_fault_within", &l.supply_fault_within, 200.0),
        ("flow.material", &plan.flow.material, 0.3),
        ("holes.agreement", &plan.holes.agreement, 0.8),
        ("holes.worse", &plan.holes.worse, 0.5),
    ];
    let over = most.into_iter().filter(|(_, limit, most)| limit.value > most * (1.0 + 1e-9));
    let mut remarks: Vec<Remark> = over
        .map(|(key, limit, most)| {
            let says = format!("it is {} {}; the laxest that is usual is {most}", limit.value, limit.unit);
            Remark::new(Code::LimitLax, folder::PLAN, key, says)
        })
        .collect();
    let suction = l.last_hole_suction.value;
    if suction < 10.0 {
        let says = format!("it is {suction} Pa; the laxest that is usual is 10");
        remarks.push(Remark::new(Code::LimitLax, folder::PLAN, "limits.last_hole_suction", says));
    }
    remarks
}

fn model_can(described: &Description) -> Vec<Remark> {
    // What its line can't, a person at its display may.
    let person = described.offers().person.map(|person| person.can);
    let lacks = |can: bool, what: &str| {
        (!can).then(|| {
            let says = format!("a {} can't be asked to {what} over a line, so `load` ends undecided", described.model);
            Remark::new(Code::PortShowsLess, folder::UNIT_REPLACEMENT, "can", says)
        })
    };
    let (reads, writes) = person.map_or((false, false), |can| (can.read_settings, can.write_settings));
    [
        lacks(described.can.read_settings || reads, "read settings"),
        lacks(described.can.write_settings || writes, "write settings"),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// What the plan goes without by name against what a unit of this model has no way to show.
fn not_shown(plan: &Plan, described: &Description) -> Vec<Remark> {
    let offers = described.offers();
    let can = offers.line.is_some().then(|| offers.all()).flatten();
    if can.is_none() && described.display.is_some() {
        // A person reads it: what nobody could show there is not asked of it.
        return Vec::new();
    }
    let shows = |what: Untold| match (&can, what) {
        // No unit says of itself that air enters past its pipes, nor what an instrument is worth: what the job does shows that.
        (_, Untold::Air | Untold::Calibration | Untold::Baseline) => None,
        // A unit that speaks plumewire shows the others, and says itself whether it keeps a date.
        (None, what) => (what != Untold::DateAndTime).then_some(true),
        (Some(can), what) => Some(what.is_shown(can)),
    };
    let remark = |(name, what): (&str, Untold)| {
        let (code, says) = match (shows(what)?, plan.not_shown.contains(&what)) {
            (false, false) => (Code::NotShownUnnamed, format!("a {} has no way to show its {name}", described.model)),
            (true, true) => (Code::NotShownNeedless, format!("a {} shows its {name}", described.model)),
            _ => return None,
        };
        Some(Remark::new(code, folder::PLAN, "not_shown", says))
    };
    Untold::NAMES.into_iter().filter_map(remark).collect()
}

/// What a unit behind this port can't show, of the stages that the plan runs.
pub fn port(port: &str, face: &Face, inlets: u8, plan: &Plan) -> Vec<Remark> {
    let can = face.abilities(inlets);
    let lamp = |wanted: fn(&Lamp) -> bool| face.shows.lamps.iter().any(|(_, lamp)| wanted(lamp));
    let faults = lamp(|l| *l == Lamp::AnyFault);
    let smoke = can.obscuration != ObscurationSensing::None || lamp(|l| matches!(l, Lamp::Level(_)));
    let reads = can.readings != ReadingsBy::None;
    // What a display shows of its baseline is nothing that a meter shows.
    let shown = face.shows.baseline.is_some() && plan.exhaust_meter().is_none();
    let needs = [
        (StageKind::Load, can.read_settings && can.write_settings, "load settings and read them back"),
        (StageKind::Settle, reads, "tell flows"),
        (StageKind::ProveFlow, reads, "tell flows"),
        (
            StageKind::Baseline,
            can.baseline && (shown || can.flow_basis == FlowBasis::Share || plan.not_shown.contains(&Untold::Baseline)),
            "take the baseline and read it back",
        ),
        (StageKind::ProveSmoke, smoke, "see smoke arrive"),
        (StageKind::Purge, smoke, "see the air clear"),
        (StageKind::Purge, can.reset_latches, "reset what is latched"),
        (StageKind::Supervise, faults, "show its faults"),
        (StageKind::Supply, faults, "show its faults"),
        (StageKind::Outputs, lamp(|l| matches!(l, Lamp::Output(_))), "show which outputs are operated"),
        (StageKind::Restore, faults, "show its faults"),
        (StageKind::Outputs, can.drive_outputs, "drive outputs one by one"),
    ];
    let lacking = needs.into_iter().filter(|(stage, can, _)| !can && runs(plan, *stage));
    lacking
        .map(|(stage, _, what)| {
            let says = format!("`{port}` can't {what}, so `{stage}` ends undecided");
            Remark::new(Code::PortShowsLess, "port", stage.name(), says)
        })
        .collect()
}
