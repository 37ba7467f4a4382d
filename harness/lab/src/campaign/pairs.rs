//! Two visits to one site a year apart: what the comparison of their records names, and what is so.
//!
//! In between the air is another season's, the filter is dirtier or was renewed, and at every other site a hole is partly blocked. Another
//! unit of the same model measures at the second visit, which is the harder case. Not here: the comparison.
use super::{
    dice::Dice,
    one::{self, Drawn},
};
use plumeline_base::pipework::OpeningKind;
use plumeline_compare::{Record, compare};
use plumeline_procedure::{Outcome, outcome::Subject};
use plumeline_runtime::{failure::Failure, keep::MemoryKeeper};
use plumeline_simulator::{Defect, DefectKind, physics::Laws, scenario::Scatter};

/// Share of a hole's area that is blocked at the second visit.
const BLOCKED: (f64, f64) = (0.25, 0.6);
/// Loss of the filter at the second visit, times a clean one's.
const FILTER: (f64, f64) = (1.0, 4.0);
/// Another season at the same place, K.
const SEASON_K: f64 = 10.0;

/// What came of a pair.
#[derive(Clone, Debug)]
pub struct Pair {
    /// Its seed.
    pub seed: u64,
    /// The hole that was partly blocked, if one was.
    pub blocked: Option<(u8, u32)>,
    /// It was named.
    pub named: bool,
    /// What was named though it did not change.
    pub wrong: Vec<String>,
}

/// How the pipes of a site turn turbulent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Friction {
    /// Gently, by the simulator's own law.
    Gentle,
    /// By one of the campaign's laws, drawn: gently, early or late.
    Drawn,
}

/// Draws a site without defects, does the job at it twice, and compares the records.
///
/// # Errors
/// What the jobs themselves end on.
pub fn run(seed: u64, friction: Friction) -> Result<Pair, Failure> {
    let mut old = Drawn::new(seed, true, 0)?;
    old.scenario.defects.clear();
    let dice = &mut Dice::new(seed, 3);
    let mut new = Drawn::new(seed, true, 0)?;
    if friction == Friction::Gentle {
        for drawn in [&mut old, &mut new] {
            drawn.scenario.laws = Laws::default();
        }
    }
    // The pipes stay as they were built; the unit and its sensors are drawn anew.
    new.scenario.pipework = old.scenario.as_built();
    let Scatter { fan, unit_loss, unit_volume, .. } = old.scenario.scatter;
    new.scenario.scatter = Scatter { fan, unit_loss, unit_volume, ..Scatter::NONE };
    new.scenario.seed = seed ^ 0x5EA5_0000_0000;
    new.scenario.pipework.air.temperature_c += dice.between(-SEASON_K, SEASON_K);
    let filter = Defect::usual(DefectKind::FilterClogged);
    new.scenario.defects = vec![Defect { severity: Some(dice.between(FILTER.0, FILTER.1)), ..filter }];
    let holes: Vec<usize> = (0..new.design.pipework.openings.len())
        .filter(|&o| new.design.pipework.openings[o].kind == OpeningKind::Hole)
        .collect();
    let mut blocked = None;
    if seed.is_multiple_of(2)
        && let Some(&opening) = holes.get(dice.below(holes.len()))
    {
        let by_inlet = new.design.pipework.openings_by_inlet();
        let inlet = by_inlet.iter().position(|own| own.contains(&opening)).unwrap_or(0);
        let at = (new.design.pipework.inlets[inlet].number, new.design.pipework.openings[opening].number);
        let partly = Defect::usual(DefectKind::HolePartlyBlocked);
        let severity = Some(dice.between(BLOCKED.0, BLOCKED.1));
        new.scenario.defects.push(Defect { pipe: Some(at.0), hole: Some(at.1), severity, ..partly });
        blocked = Some(at);
    }
    let found = compare(&record(&old)?, &record(&new)?);
    let is_it = |about: &Subject| matches!(about, Subject::Hole(p, n) if Some((*p, *n)) == blocked);
    let named = found.changes.iter().any(|c| is_it(&c.about) && c.code == "hole.less");
    let wrong = found.changes.iter().filter(|c| {
        // Another unit measures, and the filter may be seen.
        !(c.code == "unit.another" || c.code == "all.less" || is_it(&c.about) && c.code == "hole.less")
    });
    let wrong = wrong.map(|c| format!("{}: {} ({})", c.about, c.says, c.code)).collect();
    Ok(Pair { seed, blocked, named, wrong })
}

fn record(drawn: &Drawn) -> Result<Record, Failure> {
    let (files, loaded) = drawn.load()?;
    let outcome: Outcome = one::outcome(&drawn.play(&files, &loaded, MemoryKeeper::default())?)?;
    Ok(Record {
        site: loaded.inputs.plan.site.clone(),
        date: None,
        verdict: outcome.verdict,
        invented: true,
        coverage: loaded.inputs.plan.rule.coverage,
        outcome,
        found: None,
        left: loaded.inputs.to_load.clone(),
    })
}
