//! What is wrong at a site, and the law that its scatter follows. Not here: what a defect does (the simulator).
use super::dice::Dice;
use plumeline_base::pipework::{Drive, Known, OpeningKind, Pipework, SegmentKind, Tolerance};
use plumeline_procedure::rules::advanced::ModelRules;
use plumeline_simulator::{
    Defect, DefectKind,
    physics::friction::{self, Friction},
    scenario::{Law, Scatter, Spread},
};

/// The laws of scatter; the predictor holds the first one only.
const LAWS: [Law; 4] = [Law::Normal, Law::Uniform, Law::HeavyTails, Law::Skewed];

/// A defect at a severity, and how often it is drawn against the others: more often where it has no place in many designs,
/// seldom where it is hardly ever material.
struct Cell(DefectKind, Option<f64>, f64);
const CELLS: &[Cell] = {
    use DefectKind as K;
    &[
        Cell(K::HoleBlocked, None, 1.0),
        Cell(K::HolesBlocked, Some(2.0), 1.0),
        Cell(K::HolesBlocked, Some(4.0), 1.0),
        Cell(K::HolePartlyBlocked, Some(0.3), 1.0),
        Cell(K::HolePartlyBlocked, Some(0.5), 1.0),
        Cell(K::HolePartlyBlocked, Some(0.8), 1.0),
        Cell(K::EndCapMissing, None, 1.0),
        Cell(K::CapBlocked, None, 1.0),
        Cell(K::PipeOff, None, 1.0),
        Cell(K::PipeHalfSeated, Some(3.0), 0.2),
        Cell(K::PipeHalfSeated, Some(5.0), 1.2),
        Cell(K::PipeHalfSeated, Some(10.0), 1.0),
        Cell(K::PipeBroken, Some(0.2), 1.0),
        Cell(K::PipeBroken, Some(0.7), 1.0),
        Cell(K::PipesCrossed, None, 1.4),
        Cell(K::InletLeftOpen, None, 1.4),
        Cell(K::FilterClogged, Some(3.0), 0.2),
        Cell(K::FilterClogged, Some(12.0), 1.5),
        Cell(K::FilterClogged, Some(20.0), 1.1),
        Cell(K::FanSettingWrong, Some(0.9), 0.2),
        Cell(K::FanSettingWrong, Some(0.75), 1.0),
        Cell(K::FanSettingWrong, Some(0.6), 1.0),
        Cell(K::ExhaustOff, Some(30.0), 0.2),
        Cell(K::ExhaustOff, Some(200.0), 1.0),
        Cell(K::WrongHoleDrilled, Some(0.6), 1.0),
        Cell(K::WrongHoleDrilled, Some(0.8), 1.0),
        Cell(K::WrongHoleDrilled, Some(1.3), 0.2),
        Cell(K::WrongHoleDrilled, Some(2.0), 1.2),
        Cell(K::CapillaryKinked, Some(0.4), 1.5),
        Cell(K::CapillaryKinked, Some(0.25), 1.5),
        Cell(K::SettingLost, None, 1.0),
        Cell(K::WiresCrossed, None, 1.0),
    ]
};
/// Items of the settings that a unit may lose.
const ITEMS: usize = 8;

/// How one site scatters: by the very tolerances that its own files and the rules state, so that an interval is held against
/// what it claims; in a shape that the predictor is not told.
pub(super) fn scatter(dice: &mut Dice, design: &Pipework) -> Scatter {
    let spread = |t: Tolerance| Spread { common: t.common, individual: t.individual };
    let common = |common| Spread { common, individual: 0.0 };
    // A drawn design states one basis for all that it has.
    let known: Known =
        design.openings.first().and_then(|o| design.known.get(usize::from(o.known))).copied().unwrap_or_default();
    let rules = ModelRules::default();
    let fan = match &design.unit.drive {
        Drive::Fan(fan) => fan.u_pressure,
        Drive::InletSuction(_) => rules.suction,
    };
    Scatter {
        law: LAWS[dice.below(LAWS.len())],
        diameter: spread(known.diameter),
        discharge: spread(known.discharge),
        length: spread(known.length),
        bore: spread(known.bore),
        roughness: spread(known.roughness),
        minor_k: spread(known.minor_k),
        fan: common(fan),
        unit_loss: common(rules.unit_loss),
        unit_volume: common(rules.unit_volume),
    }
}

/// The laws of friction that the air of a site may follow; the predictor holds none of them. They differ by where a pipe turns turbulent.
const FRICTIONS: [Friction; 3] =
    [Friction::Cheng, Friction::Other(friction::turns_early), Friction::Other(friction::turns_late)];
/// The law of friction of one site.
pub(super) fn friction(dice: &mut Dice) -> Friction {
    FRICTIONS[dice.below(FRICTIONS.len())]
}

/// Zero to three defects of different kinds: none in 20 of 100 jobs, one in 45, two in 20, three in 15.
pub(super) fn defects(dice: &mut Dice, design: &Pipework) -> Vec<Defect> {
    let wanted = match dice.unit() {
        u if u < 0.20 => 0,
        u if u < 0.65 => 1,
        u if u < 0.85 => 2,
        _ => 3,
    };
    let total: f64 = CELLS.iter().map(|c| c.2).sum();
    let mut all: Vec<Defect> = Vec::new();
    while all.len() < wanted {
        let mut at = dice.between(0.0, total);
        let cell = CELLS.iter().find(|c| {
            at -= c.2;
            at < 0.0
        });
        let Some(Cell(kind, severity, _)) = cell else { continue };
        if has_place(*kind, design) && all.iter().all(|d| d.kind != *kind) {
            all.push(place(dice, *kind, *severity, design));
        }
    }
    all
}

/// Kind and severity, without the place: a row of the matrix.
pub(super) fn cell(defect: &Defect) -> String {
    match defect.severity {
        Some(s) if !matches!(defect.kind, DefectKind::SettingLost | DefectKind::WiresCrossed) => {
            format!("{} {s}", defect.kind)
        }
        _ => defect.kind.to_string(),
    }
}

/// Openings at the tips of capillaries.
fn tips(design: &Pipework) -> Vec<usize> {
    let tips = design.segments.iter().filter(|s| s.kind == SegmentKind::Capillary).map(|s| s.far);
    tips.filter_map(|far| design.openings.iter().position(|o| o.node == far)).collect()
}
fn has_place(kind: DefectKind, design: &Pipework) -> bool {
    let pipes = design.inlets.iter().filter(|i| i.node.is_some()).count();
    match kind {
        DefectKind::PipesCrossed => pipes > 1,
        DefectKind::InletLeftOpen => pipes < design.inlets.len(),
        DefectKind::CapillaryKinked => !tips(design).is_empty(),
        _ => true,
    }
}

fn place(dice: &mut Dice, kind: DefectKind, severity: Option<f64>, design: &Pipework) -> Defect {
    use DefectKind as K;
    let mut defect = Defect { severity, ..Defect::usual(kind) };
    match kind {
        K::SettingLost => defect.severity = Some(dice.below(ITEMS) as f64),
        K::WiresCrossed => defect.severity = Some((2 + dice.below(2)) as f64),
        K::InletLeftOpen | K::FilterClogged | K::FanSettingWrong | K::ExhaustOff => {}
        _ => {
            let wanted: Vec<usize> = match kind {
                K::CapillaryKinked => tips(design),
                _ => (0..design.openings.len()).filter(|&o| design.openings[o].kind == OpeningKind::Hole).collect(),
            };
            let Some(&opening) = wanted.get(dice.below(wanted.len())) else { return defect };
            let inlet = design.openings_by_inlet().iter().position(|own| own.contains(&opening)).unwrap_or(0);
            defect.pipe = Some(design.inlets[inlet].number);
            let at_a_hole =
                [K::HoleBlocked, K::HolesBlocked, K::HolePartlyBlocked, K::WrongHoleDrilled, K::CapillaryKinked];
            defect.hole = at_a_hole.contains(&kind).then(|| design.openings[opening].number);
        }
    }
    defect
}
