//! Which stages a plan runs: their order, and what holds for a stage of which the plan says nothing more.
//!
//! Not here: what the stages do.
use super::raw;
use crate::{
    error::{Kind, Problem, Source},
    units::Dimension::Time,
    written::{Bounded, Bounds, Spanned, choice},
};
use plumeline_procedure::{
    outcome::StageKind,
    plan::{Plan, Policy, StagePlan},
};

#[derive(Clone, Debug)]
pub(super) struct Deadline;
impl Bounded for Deadline {
    const BOUNDS: Bounds =
        Bounds::new(Time, 1.0, 172_800.0, "a stage's deadline", "a time from 1 s to 48 h, such as \"30 min\"");
}

/// A stage by name.
pub(super) fn stage(source: &Source<'_>, name: &Spanned<String>) -> Result<StageKind, Problem> {
    choice(source, name, "a stage", &StageKind::ALL.map(|s| (s.name(), s)))
}

pub(super) fn stages(
    source: &Source<'_>,
    list: Option<&Spanned<Vec<Spanned<raw::Stage>>>>,
    of: &Plan,
    notes: &mut Vec<String>,
) -> Result<Vec<StagePlan>, Problem> {
    let default = |stage: StageKind| {
        let row = stage.row();
        StagePlan { stage, policy: row.policy, deadline_s: row.deadline_min * 60 }
    };
    let Some(list) = list else {
        notes.push("stages: all, in their usual order with their usual policies and deadlines".to_owned());
        return Ok(StageKind::ALL.into_iter().filter(|s| of.has(*s)).map(default).collect());
    };
    let mut plan: Vec<StagePlan> = Vec::new();
    for entry in list.as_ref() {
        let s = entry.as_ref();
        let kind = stage(source, &s.stage)?;
        if let Some(before) = plan.last().map(|p| p.stage).filter(|before| *before >= kind) {
            let cause = if before == kind {
                format!("the stage `{kind}` stands twice")
            } else {
                format!("the stage `{kind}` stands behind `{before}`")
            };
            let names: Vec<_> = StageKind::ALL.iter().map(|s| s.name()).collect();
            let remedy = format!("list stages once each, in this order: {}", names.join(", "));
            return Err(source.problem(Kind::Conflict, s.stage.span(), cause, remedy));
        }
        if !of.has(kind) {
            let cause = format!("the stage `{kind}` belongs to an exchange of units, and this is a service visit");
            let remedy = "take the stage out, or the line `visit`";
            return Err(source.problem(Kind::Conflict, s.stage.span(), cause, remedy));
        }
        let mut this = default(kind);
        if let Some(name) = &s.policy {
            this.policy = choice(source, name, "a policy", Policy::NAMES)?;
        }
        if let Some(q) = &s.deadline {
            this.deadline_s = q.read(source)? as u32;
        }
        plan.push(this);
    }
    check_isolation(source, list, &plan)?;
    Ok(plan)
}

/// Nothing that can operate an output comes without isolating first and restoring after.
fn check_isolation(
    source: &Source<'_>,
    list: &Spanned<Vec<Spanned<raw::Stage>>>,
    plan: &[StagePlan],
) -> Result<(), Problem> {
    let runs = |kind| plan.iter().any(|p| p.stage == kind && p.policy != Policy::Skip);
    if let Some(kind) = StageKind::with(|t| t.operates).into_iter().find(|k| runs(*k))
        && !runs(StageKind::Isolate)
    {
        let cause = format!("the stage `{kind}` can operate outputs, but the plan does not run `isolate` before it");
        return Err(source.problem(Kind::Conflict, list.span(), cause, "add { stage = \"isolate\" } at the front"));
    }
    if runs(StageKind::Isolate) && !runs(StageKind::Restore) {
        let cause = "the plan isolates the zone and never restores it";
        return Err(source.problem(Kind::Conflict, list.span(), cause, "add { stage = \"restore\" } near the end"));
    }
    Ok(())
}
